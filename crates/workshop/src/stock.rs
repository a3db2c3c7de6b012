//! The drawer as a person sees it, and what he puts in or takes out by hand.

use journal::{Draft, Line};
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    drawer::{Drawer, Lot, loose, parcel_name},
    item_names::{Items, Meant},
    names::{choices, nearest},
    requests::parse_chance,
    views::Written,
    wish,
    words::{capital, counted, percent, quoted, sentence},
    workshop::{Inner, Result, State},
};

/// Something put into the drawer or taken out of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StockChange {
    /// `3 4164-150ns`, `2 × z80a`.
    pub what: String,
    /// It goes out.
    pub out: bool,
    /// Chance that one of them is good, if it is no matter of course: `0.8`, `80 %`.
    pub works: Option<String>,
    /// Where they come from, or go.
    pub note: String,
}

/// What is in the drawer and on its way.
#[derive(Debug, Clone, Serialize)]
pub struct StockView {
    /// `Twelve things in the drawer, one parcel on its way.`
    pub heading: String,
    /// Bought or kept: things without a mark.
    pub things: Vec<StockRow>,
    /// Marked chips out of machines, each with its chance.
    pub chips: Vec<StockRow>,
    /// Still to come.
    pub coming: Vec<StockRow>,
    /// Wanted for the drawer where it costs nothing more.
    pub wishes: Vec<StockRow>,
    /// What the machines are expected to use up later.
    pub used_later: Vec<StockRow>,
    /// Whose work waits for what, a sentence each.
    pub waits: Vec<String>,
}

/// One thing of the drawer.
#[derive(Debug, Clone, Serialize)]
pub struct StockRow {
    /// `3 ×`, or the chance that a chip is good: `97 %`.
    pub amount: String,
    /// What it is: item, or device.
    pub what: String,
    /// The chip's mark.
    pub mark: Option<String>,
    /// Where it came from: `parcel A, northgate`, `T-05 U9`.
    pub from: String,
    /// Chance that it is good, 0 to 1, if it is no matter of course.
    pub works: Option<f64>,
}

impl Workshop {
    /// What is in the drawer, what is on its way, and who waits for it.
    ///
    /// # Errors
    /// If the pile cannot be reckoned.
    pub fn stock(&self) -> Result<StockView> {
        let mut inner = self.fresh()?;
        view(&mut inner)
    }

    /// Puts something into the drawer by hand, or takes it out.
    ///
    /// # Errors
    /// If no number and name can be read, or there are not so many to take out.
    pub fn keep(&self, change: &StockChange) -> Result<Written> {
        let mut inner = self.fresh()?;
        let works = chance(change.works.as_deref())?;
        let (count, name) = one_thing(&change.what)?;
        let entries = inner.write(|state| {
            let item = item(state, &name);
            if change.out {
                enough(state, &item, works, count)?;
            }
            let count = i64::from(count);
            Ok(vec![Draft {
                machine: None,
                epoch: 0,
                line: Line::Kept {
                    item,
                    count: if change.out { -count } else { count },
                    works,
                    note: change.note.trim().to_string(),
                },
            }])
        })?;
        let item = entries.iter().find_map(|entry| match &entry.line {
            Line::Kept { item, .. } => Some(item.clone()),
            _ => None,
        });
        let item = item.unwrap_or_default();
        let state = inner.state();
        let left = Drawer::of(&state, &state.boards()?).count(&item, works);
        let asked = Items::of(&state).is_wanted(&item) || is_device(&state, &item);
        let use_ = if asked {
            "; the plan uses what is there before it buys"
        } else {
            "; no remedy for a machine of the pile asks for that name"
        };
        Ok(Written {
            lines: entries.iter().map(|entry| entry.id).collect(),
            understood: Vec::new(),
            changed: format!("{left} × {item} in the drawer now{use_}."),
        })
    }
}

/// Several counted names: `3 4164-150ns; 2 7805`, `3 4164, 150 ns and 2 7805`.
pub(crate) fn counted_names(text: &str) -> Vec<&str> {
    let mut pieces = Vec::new();
    for piece in text.split([';', '\n']) {
        let mut begin = 0;
        for (at, joint) in joints(piece) {
            // `1,5 4164` is a slip of one count
            let head = counted_name(&piece[begin..at]);
            let named = head.is_ok_and(|(_, name)| !is_number(&name) || name.len() > 2);
            if named && begins_with_count(&piece[at + joint.len()..]) {
                pieces.push(&piece[begin..at]);
                begin = at + joint.len();
            }
        }
        pieces.push(&piece[begin..]);
    }
    pieces.retain(|piece| !piece.trim().is_empty());
    pieces
}

/// Where one name may end and the next begin.
fn joints(piece: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut joints: Vec<(usize, &str)> = [",", " and ", " + "]
        .into_iter()
        .flat_map(|joint| piece.match_indices(joint))
        .collect();
    joints.sort_unstable();
    joints.into_iter()
}

/// A count and a name, such as `2 7805`, but no value with its unit, such as `150 ns`.
fn begins_with_count(text: &str) -> bool {
    let text = text.trim_start();
    let rest = text.trim_start_matches(|c: char| c.is_ascii_digit());
    let counted = rest.len() < text.len();
    let name = rest.trim_start_matches([' ', '×']);
    let name = name.strip_prefix("x ").unwrap_or(name);
    let word = name.split_whitespace().next().unwrap_or_default();
    let is_unit = word.chars().count() <= 3 && word.chars().all(char::is_alphabetic);
    counted && name.len() < rest.len() && !is_unit
}

/// One thing where only one can be meant.
pub(crate) fn one_thing(text: &str) -> Result<(u32, String)> {
    match counted_names(text)[..] {
        [first, next, ..] => Err(Error::new(
            ErrorKind::Usage,
            format!(
                "expected one thing, such as `3 4164-150ns`, found {} and {}; write one after the other",
                quoted(first.trim()),
                quoted(next.trim())
            ),
        )),
        _ => counted_name(text),
    }
}

/// `3 4164-150ns`, `3 × 4164, 150 ns`, `z80a`.
pub(crate) fn counted_name(text: &str) -> Result<(u32, String)> {
    let text = text.trim();
    let digits: String = text.chars().take_while(char::is_ascii_digit).collect();
    let rest = &text[digits.len()..];
    let (count, name) = match rest.chars().next() {
        Some(c) if !digits.is_empty() && (c.is_whitespace() || matches!(c, '×' | 'x')) => {
            (digits.parse().unwrap_or(0), rest)
        }
        _ => (1, text),
    };
    let name = name.trim_start();
    let name = name
        .strip_prefix('×')
        .or(name.strip_prefix("x "))
        .unwrap_or(name)
        .trim();
    let odd = match name.split_once(char::is_whitespace) {
        // such as `-3 4164` or `1.5 4164`
        Some((first, _)) => is_number(first) && !first.chars().all(|c| c.is_ascii_digit()),
        None => false,
    };
    if name.is_empty() || odd || !(1..=100_000).contains(&count) {
        return Err(Error::new(
            ErrorKind::Usage,
            format!(
                "expected how many of what, such as `3 4164-150ns`, found {}",
                quoted(text)
            ),
        ));
    }
    Ok((count, name.to_string()))
}

fn is_number(word: &str) -> bool {
    let plain = word.replace(',', ".").replace('\u{2212}', "-");
    plain.parse::<f64>().is_ok()
}

/// A chance as a person writes it.
fn chance(text: Option<&str>) -> Result<Option<f64>> {
    let Some(text) = text.map(str::trim).filter(|text| !text.is_empty()) else {
        return Ok(None);
    };
    match parse_chance(text).filter(|chance| (0.0..=1.0).contains(chance)) {
        Some(chance) => Ok(Some(chance)),
        None => Err(Error::new(
            ErrorKind::Usage,
            format!(
                "expected a chance such as `0.8` or `80 %`, found {}",
                quoted(text)
            ),
        )),
    }
}

/// The item or device that is meant; an unknown name stays as it is.
pub(crate) fn item(state: &State, name: &str) -> String {
    let lower = name.to_lowercase();
    if is_device(state, &lower) {
        return lower;
    }
    match Items::of(state).meant("", &[name]) {
        Meant::Item(item) => item,
        Meant::Open { own, .. } => own,
    }
}

fn is_device(state: &State, id: &str) -> bool {
    state.folder.library.device(id).is_some()
}

fn enough(state: &State, item: &str, works: Option<f64>, count: u32) -> Result<()> {
    let drawer = Drawer::of(state, &state.boards()?);
    let there = drawer.count(item, works);
    if there >= count {
        return Ok(());
    }
    Err(Error::new(
        ErrorKind::Refused,
        format!("expected {count} × {item} in the drawer, found {there}"),
    )
    .hint(like_it(&drawer, item)))
}

/// What in the drawer has a name like this.
fn like_it(drawer: &Drawer, item: &str) -> String {
    let held = drawer.lots.keys().filter(|name| *name != item);
    let near = nearest(item, held.map(String::as_str));
    match near.is_empty() {
        true => "see `stock`".to_string(),
        false => format!(
            "nearest in the drawer are {}; doubtful ones are taken out with their chance",
            choices(near)
        ),
    }
}

fn view(inner: &mut Inner) -> Result<StockView> {
    let state = inner.state();
    let boards = state.boards()?;
    let reckoned = inner.reckon(&[&[]])?;
    let chips = match reckoned.first() {
        Some(now) => loose(&state, &boards, now),
        None => Vec::new(),
    };
    let drawer = Drawer::of(&state, &boards);
    let thing = |(item, lot): (&String, &Lot)| StockRow {
        amount: format!("{} ×", lot.count),
        what: item.clone(),
        mark: None,
        from: match lot.works {
            None => lot.from.clone(),
            Some(works) => join(&lot.from, &format!("each good with {}", percent(works))),
        },
        works: lot.works,
    };
    let things: Vec<StockRow> = drawer
        .lots
        .iter()
        .flat_map(|(item, lots)| lots.iter().map(move |lot| (item, lot)))
        .map(thing)
        .collect();
    let chips: Vec<StockRow> = chips
        .into_iter()
        .map(|chip| StockRow {
            amount: percent(chip.good),
            what: chip.device.unwrap_or_else(|| "chip".to_string()),
            from: format!("{} {}", chip.origin.0, chip.origin.1),
            mark: Some(chip.mark),
            works: Some(chip.good),
        })
        .collect();
    let coming: Vec<StockRow> = drawer
        .coming
        .iter()
        .flat_map(|(line, items)| items.iter().map(move |one| (*line, one)))
        .map(|(line, (item, count))| StockRow {
            amount: format!("{count} ×"),
            what: item.clone(),
            mark: None,
            from: parcel_name(&state, line),
            works: None,
        })
        .collect();
    let (waits, used_later) = match state.pile.machines.is_empty() {
        true => (Vec::new(), Vec::new()),
        false => {
            let waits = crate::receive::waits(inner)?;
            let core = crate::plan::core(inner)?;
            (waits, wish::used_later(&state, &core))
        }
    };
    let pieces = drawer.lots.values().flatten().map(|lot| lot.count as usize);
    Ok(StockView {
        heading: heading(pieces.sum::<usize>() + chips.len(), drawer.coming.len()),
        things,
        chips,
        coming,
        wishes: wish::rows(&state),
        used_later,
        waits,
    })
}

fn join(a: &str, b: &str) -> String {
    if a.is_empty() {
        b.to_string()
    } else {
        format!("{a}; {b}")
    }
}

fn heading(things: usize, parcels: usize) -> String {
    let drawer = match things {
        0 => "Nothing in the drawer".to_string(),
        n => format!("{} in the drawer", capital(&counted(n, "thing", "things"))),
    };
    let coming = match parcels {
        0 => "nothing on its way".to_string(),
        n => format!("{} on the way", counted(n, "parcel", "parcels")),
    };
    sentence(&format!("{drawer}, {coming}"))
}

#[cfg(test)]
mod tests {
    use super::counted_names;

    #[test]
    fn several_things_in_one_line() {
        let check = |text: &str, expect: &[&str]| {
            let names = counted_names(text);
            let names: Vec<&str> = names.into_iter().map(str::trim).collect();
            assert_eq!(names, expect, "{text}");
        };
        check("3 4164-150ns; 2 7805", &["3 4164-150ns", "2 7805"]);
        check("3 4164-150ns, 2 7805", &["3 4164-150ns", "2 7805"]);
        check("3 74LS04,1 7805", &["3 74LS04", "1 7805"]);
        check("2 7805 and 1 × z80a", &["2 7805", "1 × z80a"]);
        check("3 × 4164, 150 ns", &["3 × 4164, 150 ns"]);
        check(
            "2 capacitors, 25 V and 1 x fuse",
            &["2 capacitors, 25 V", "1 x fuse"],
        );
        check("1,5 4164", &["1,5 4164"]);
        check("a lamp and socket", &["a lamp and socket"]);
        check(" ; ", &[]);
    }
}
