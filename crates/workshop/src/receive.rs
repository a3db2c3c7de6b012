//! Booking a parcel in, wholly or in part, and who can be worked on then.

use std::collections::BTreeMap;

use jiff::civil::Date;
use journal::{Draft, Line};
use planning::Choice;
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    drawer::{Drawer, is_from_drawer},
    item_names::{Items, Meant},
    names::{choices, plain},
    offer::is_from_donor,
    plan::core,
    stock::{counted_name, counted_names},
    words::{counted, listed, quoted, sentence},
    workshop::{Inner, Result, State},
};

/// A parcel that came in.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Receive {
    /// Its letter in the ledger.
    pub letter: String,
    /// What was in it, `3 4164-150ns; 2 74LS04`; empty: all that was still to come.
    pub what: String,
    /// Nothing more will come of it.
    pub closed: bool,
    /// Say what would be written, write nothing.
    pub dry_run: bool,
}

/// What came in.
#[derive(Debug, Clone, Serialize)]
pub struct CameIn {
    /// `Parcel A came in whole.`
    pub heading: String,
    /// What came: `3 × 4164-150ns`.
    pub came: Vec<String>,
    /// What was not ordered, and is in the drawer all the same.
    pub wrong: Vec<String>,
    /// What is still to come, or will not come any more.
    pub missing: Vec<String>,
    /// Whose work waits for what now, a sentence each.
    pub waits: Vec<String>,
    /// Journal lines written; empty while it is only looked at.
    pub lines: Vec<i64>,
}

impl Workshop {
    /// Books a parcel in: what came goes into the drawer, the plan reckons with it from here on.
    ///
    /// # Errors
    /// If there is no such parcel, or it came in already.
    pub fn receive(&self, asked: &Receive) -> Result<CameIn> {
        let mut inner = self.fresh()?;
        let state = inner.state();
        let came = came_in(&state, asked)?;
        let mut view = came.view(&state, asked);
        if asked.dry_run {
            return Ok(view);
        }
        let entries = inner.write(|state| {
            let came = came_in(state, asked)?;
            Ok(vec![Draft {
                machine: None,
                epoch: 0,
                line: Line::Received {
                    parcel: came.parcel,
                    items: came.items,
                    closed: asked.closed,
                },
            }])
        })?;
        view.lines = entries.iter().map(|entry| entry.id).collect();
        view.waits = waits(&mut inner)?;
        Ok(view)
    }
}

/// What would be booked in.
struct Came {
    parcel: i64,
    items: Vec<(String, u32)>,
    expected: BTreeMap<String, u32>,
}

fn came_in(state: &State, asked: &Receive) -> Result<Came> {
    let letter = asked.letter.trim().to_uppercase();
    let (parcel, names) = parcel(state, &letter)?;
    let expected = Drawer::of(state, &state.boards()?)
        .coming
        .remove(&parcel)
        .unwrap_or_default();
    let booked = state
        .pile
        .holding()
        .any(|entry| matches!(&entry.line, Line::Received { parcel: one, .. } if *one == parcel));
    if expected.is_empty() && booked && asked.what.trim().is_empty() {
        return Err(Error::new(
            ErrorKind::Refused,
            format!("parcel {letter} came in already, nothing more is to come"),
        )
        .hint("`undo` takes back what was booked in; name what came if something came late"));
    }
    let items = if asked.what.trim().is_empty() && !asked.closed {
        expected
            .iter()
            .map(|(item, count)| (item.clone(), *count))
            .collect()
    } else {
        named(state, &asked.what, &names)?
    };
    Ok(Came {
        parcel,
        items,
        expected,
    })
}

/// The line that ordered a parcel, and the names of its items.
fn parcel(state: &State, letter: &str) -> Result<(i64, Vec<(String, String)>)> {
    let mut known = Vec::new();
    for id in state.pile.ordered.iter().rev() {
        let Some(Line::Ordered {
            letter: own,
            items,
            lines,
            ..
        }) = state.pile.entry(*id).map(|entry| &entry.line)
        else {
            continue;
        };
        if own == letter {
            let words = lines.iter().map(|(_, text, _)| text.clone());
            let items = items.iter().map(|(item, _)| item.clone());
            return Ok((*id, items.zip(words).collect()));
        }
        known.push(own.clone());
    }
    known.reverse();
    let known = if known.is_empty() {
        "no parcel is on its way".to_string()
    } else {
        format!("ordered were {}", listed(&known, "and"))
    };
    Err(Error::new(
        ErrorKind::NotFound,
        format!("there is no parcel {} to book in; {known}", quoted(letter)),
    )
    .hint("`order --placed A` writes that parcel A was ordered"))
}

/// `3 4164-150ns; 2 × 74LS04`: of the parcel's items if the words fit one, else of all that are known.
fn named(state: &State, text: &str, names: &[(String, String)]) -> Result<Vec<(String, u32)>> {
    let mut items: Vec<(String, u32)> = Vec::new();
    for piece in counted_names(text) {
        let (count, name) = counted_name(piece)?;
        let word = plain(&name);
        let own = names.iter().find(|(item, _)| plain(item) == word);
        let start = || {
            let mut fits = names.iter().filter(|(item, words)| {
                plain(item).starts_with(&word) || plain(words).contains(&word)
            });
            fits.next().filter(|_| fits.next().is_none())
        };
        let item = match own.or_else(start) {
            Some((item, _)) => item.clone(),
            None => match Items::of(state).meant("", &[&name]) {
                Meant::Item(item) => item,
                Meant::Open { own, near } => match piece.trim() == name {
                    true => return Err(unknown(&name, near, names)),
                    false => own,
                },
            },
        };
        match items.iter_mut().find(|(known, _)| *known == item) {
            Some((_, known)) => *known += count,
            None => items.push((item, count)),
        }
    }
    Ok(items)
}

/// What nobody ordered and nobody knows is taken in only with its count: else it is rather a slip.
fn unknown(name: &str, near: Vec<String>, names: &[(String, String)]) -> Error {
    let ordered = names.iter().map(|(item, _)| item.clone());
    let near: Vec<String> = if near.is_empty() {
        ordered.take(3).collect()
    } else {
        near
    };
    Error::new(
        ErrorKind::NotFound,
        format!(
            "expected something of the parcel, found {}; nearest are {}",
            quoted(name),
            choices(near.iter().map(String::as_str))
        ),
    )
    .hint("without a list everything that was ordered is booked in; what is new is written with its count, `1 NAME`")
}

impl Came {
    fn view(&self, state: &State, asked: &Receive) -> CameIn {
        let title = crate::drawer::parcel_name(state, self.parcel);
        let each = |(item, count): &(String, u32)| format!("{count} × {item}");
        let mut missing = Vec::new();
        for (item, count) in &self.expected {
            let came = self
                .items
                .iter()
                .find(|(one, _)| one == item)
                .map_or(0, |(_, n)| *n);
            if came < *count {
                missing.push(format!("{} × {item}", count - came));
            }
        }
        let mut wrong = Vec::new();
        for (item, count) in &self.items {
            let expected = self.expected.get(item).copied().unwrap_or(0);
            if *count > expected {
                wrong.push(format!("{} × {item}", count - expected));
            }
        }
        let end = match (missing.is_empty(), asked.closed) {
            (true, _) => "came in whole".to_string(),
            (false, true) => format!(
                "came in; {} will not come any more",
                counted(missing.len(), "line", "lines")
            ),
            (false, false) => format!(
                "came in in part; {} still to come",
                counted(missing.len(), "line is", "lines are")
            ),
        };
        CameIn {
            heading: sentence(&format!("{} {end}", crate::words::capital(&title))),
            came: self.items.iter().map(each).collect(),
            wrong,
            missing,
            waits: Vec::new(),
            lines: Vec::new(),
        }
    }
}

/// For each machine that the plan mends: it can be worked on now, or what it waits for.
pub(crate) fn waits(inner: &mut Inner) -> Result<Vec<String>> {
    let core = core(inner)?;
    let state = inner.state();
    let mut drawer = Drawer::of(&state, &state.boards()?);
    let mut ready = Vec::new();
    let mut waiting: BTreeMap<i64, Vec<String>> = BTreeMap::new();
    let mut to_order = Vec::new();
    for decision in &core.plan.machines {
        let Choice::Repair(kit) = &decision.choice else {
            continue;
        };
        let needs = kit
            .items
            .iter()
            .filter(|(item, _)| !is_from_donor(item) && !is_from_drawer(item));
        let needs: Vec<(&String, u32)> = needs.map(|(item, count)| (item, *count)).collect();
        if needs.is_empty() {
            continue;
        }
        let last = needs
            .iter()
            .map(|(item, count)| drawer.source(item, *count))
            .max();
        match last {
            Some(Source::Here) => ready.push(decision.id.clone()),
            Some(Source::Coming(line)) => {
                waiting.entry(line).or_default().push(decision.id.clone())
            }
            _ => to_order.push(decision.id.clone()),
        }
    }
    let mut said = Vec::new();
    let verb = |tags: &[String], one: &str, many: &str| {
        if tags.len() == 1 {
            one.to_string()
        } else {
            many.to_string()
        }
    };
    if !ready.is_empty() {
        said.push(format!(
            "{} can be worked on now: what {} lies in the drawer.",
            listed(&ready, "and"),
            verb(&ready, "it needs", "they need")
        ));
    }
    for (line, tags) in &waiting {
        said.push(format!(
            "{} {} for {}{}.",
            listed(tags, "and"),
            verb(tags, "waits", "wait"),
            crate::drawer::parcel_name(&state, *line),
            due(&state, *line)
        ));
    }
    if !to_order.is_empty() {
        said.push(format!(
            "{} {} for what is still to be ordered.",
            listed(&to_order, "and"),
            verb(&to_order, "waits", "wait")
        ));
    }
    Ok(said)
}

/// `, due Friday 20 November`.
fn due(state: &State, line: i64) -> String {
    let Some(Line::Ordered { arrives, .. }) = state.pile.entry(line).map(|entry| &entry.line)
    else {
        return String::new();
    };
    let day: Option<Date> = arrives.parse().ok();
    day.map(|day| format!(", due {}", day.strftime("%A %-d %B")))
        .unwrap_or_default()
}

/// Where the last unit of a need comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Source {
    Here,
    Coming(i64),
    Bought,
}

impl Drawer {
    /// Sets some of an item aside, and says where the last of them comes from.
    pub(crate) fn source(&mut self, item: &str, count: u32) -> Source {
        let mut source = Source::Here;
        for _ in 0..count {
            let lot = self.lots.get_mut(item).and_then(|lots| {
                lots.iter_mut()
                    .find(|lot| lot.works.is_none() && lot.count > 0)
            });
            if let Some(lot) = lot {
                lot.count -= 1;
                continue;
            }
            let coming = self
                .coming
                .iter_mut()
                .find_map(|(line, items)| Some((*line, items.get_mut(item).filter(|n| **n > 0)?)));
            match coming {
                Some((line, left)) => {
                    *left -= 1;
                    source = source.max(Source::Coming(line));
                }
                None => return Source::Bought,
            }
        }
        source
    }
}
