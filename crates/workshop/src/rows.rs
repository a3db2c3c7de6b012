//! Journal lines as people read them.

use catalogue::Check;
use journal::{Act, Chip, Entry, Line, Places, Shown, Supply, Truth};

use crate::{
    Workshop, say,
    views::JournalRow,
    words::{capital, counted, listed, minutes, percent, trimmed},
    workshop::{Result, State, date, time},
};

impl Workshop {
    /// The journal of one machine or of all, oldest first.
    ///
    /// # Errors
    /// If there is no such machine.
    pub fn journal(&self, tag: Option<&str>) -> Result<Vec<JournalRow>> {
        let inner = self.fresh()?;
        let state = inner.state();
        let tag = tag
            .map(|tag| state.machine(tag).map(|machine| machine.tag.clone()))
            .transpose()?;
        Ok(rows(&state, tag.as_deref()))
    }
}

/// The rows of one machine or of all.
pub(crate) fn rows(state: &State, tag: Option<&str>) -> Vec<JournalRow> {
    let wanted = |entry: &&Entry| {
        let of_machine = tag.is_none_or(|tag| concerns(entry, tag));
        of_machine && !matches!(entry.line, Line::TakenBack { .. })
    };
    state
        .pile
        .entries
        .iter()
        .filter(wanted)
        .map(|entry| with_tag(state, entry, tag))
        .collect()
}

/// A line is about this machine; a swap is about two.
fn concerns(entry: &Entry, tag: &str) -> bool {
    let other = match &entry.line {
        Line::Act {
            done: Act::Swap { with, .. },
        } => Some(with.as_str()),
        _ => None,
    };
    entry.machine.as_deref() == Some(tag) || other == Some(tag)
}

/// A line on the card of one machine, or in the journal of all.
fn with_tag(state: &State, entry: &Entry, card: Option<&str>) -> JournalRow {
    let mut row = row(state, entry);
    if let Some(tag) = &entry.machine
        && card != Some(tag)
    {
        row.text = format!("{tag}: {}", row.text);
    }
    row
}

/// One line of the journal.
pub(crate) fn row(state: &State, entry: &Entry) -> JournalRow {
    let (text, entered, after) = words(state, entry);
    let by = state
        .pile
        .taken_back
        .get(&entry.id)
        .and_then(|id| state.pile.entry(*id));
    JournalRow {
        line: entry.id,
        date: date(&entry.time),
        time: time(&entry.time),
        who: entry.who.clone(),
        text,
        entered,
        after,
        act: matches!(entry.line, Line::Act { .. }),
        taken_back: by.map(|by| format!("taken back at {} by {}", time(&by.time), by.who)),
    }
}

fn words(state: &State, entry: &Entry) -> (String, String, String) {
    let plain = |text: String| (text, String::new(), String::new());
    match &entry.line {
        Line::Lot {
            lot,
            from,
            count,
            price,
            currency,
            events,
        } => {
            let known = if events.is_empty() {
                String::new()
            } else {
                format!("; known: {}", events.join(", "))
            };
            let what = counted(*count, "machine", "machines");
            (
                format!("Lot {lot} taken in:"),
                format!("{what} from {from}, {price} {currency}"),
                known,
            )
        }
        Line::TakenIn {
            lot,
            board,
            paid,
            empty,
            events,
            mule,
        } => {
            let title = state
                .folder
                .board(board)
                .map_or_else(|_| board.clone(), |board| board.title.clone());
            if *mule {
                return plain(format!("The mule, a good {title}."));
            }
            let mut known: Vec<String> = Vec::new();
            if !empty.is_empty() {
                let verb = if empty.len() == 1 { "is" } else { "are" };
                known.push(format!("{} {verb} absent", listed(empty, "and")));
            }
            known.extend(events.iter().map(|event| event_title(state, board, event)));
            (
                format!("Taken in with lot {lot}, {title}, {paid}."),
                known.join("; "),
                String::new(),
            )
        }
        Line::Finding {
            check,
            shown,
            supply,
            minutes_on,
            ..
        } => finding(state, entry, check, shown, *supply, *minutes_on),
        Line::Act { done } => (act(done), String::new(), after_act(done)),
        Line::Settled { truth } => match truth {
            Truth::Mode { part, mode } => (
                format!("Settled: {part}"),
                mode.replace('-', " "),
                String::new(),
            ),
            Truth::Joint(what) => (
                "Settled: a fault the profile does not know,".to_string(),
                what.clone(),
                String::new(),
            ),
            Truth::Works => plain("Settled: it works.".to_string()),
        },
        Line::Power { on: true, supply } => plain(match supply {
            Supply::Usual => "Switched on.".to_string(),
            Supply::Bench => "Switched on, on a bench supply.".to_string(),
        }),
        Line::Power { on: false, .. } => plain("Switched off.".to_string()),
        Line::Shelved { away: true } => plain("Put away on the shelf.".to_string()),
        Line::Shelved { away: false } => plain("Taken back to the bench.".to_string()),
        Line::TakenBack { line } => plain(format!("Line {line} taken back.")),
        Line::Ordered {
            letter,
            title,
            landed,
            ..
        } => plain(format!(
            "Parcel {letter} ordered at {title}, {landed} landed."
        )),
        Line::Received {
            parcel,
            items,
            closed,
        } => received(state, *parcel, items, *closed),
        Line::Offers {
            vendor,
            seen,
            how,
            offers,
        } => {
            let what = counted(offers.len(), "price", "prices");
            (
                format!("Offers of {vendor}, seen on {seen}:"),
                match offers.as_slice() {
                    [one] => crate::offers_read::said(one),
                    _ => format!("{what}, {how}"),
                },
                String::new(),
            )
        }
        Line::Kept {
            item,
            count,
            works,
            note,
        } => {
            let good = works.map(|works| format!(", each good with {}", percent(works)));
            let where_ = if note.is_empty() {
                String::new()
            } else {
                format!(", {note}")
            };
            let verb = if *count < 0 {
                "Taken out of the drawer:"
            } else {
                "Put into the drawer:"
            };
            (
                verb.to_string(),
                format!(
                    "{} × {item}{}{where_}",
                    count.unsigned_abs(),
                    good.unwrap_or_default()
                ),
                String::new(),
            )
        }
        Line::Wish { item, count } => (
            "Wanted for the drawer:".to_string(),
            match count {
                0 => format!("{item} no more"),
                count => format!("{count} × {item}"),
            },
            String::new(),
        ),
        Line::Pinned { pins, without } => {
            let mut said = pins.clone();
            said.extend(without.iter().map(|vendor| format!("without {vendor}")));
            let said = if said.is_empty() {
                "nothing".to_string()
            } else {
                said.join("; ")
            };
            ("Settled before the plan".to_string(), said, String::new())
        }
        Line::Limits {
            money,
            evenings,
            working,
        } => {
            let money = money
                .as_ref()
                .map_or("no money limit".to_string(), |money| {
                    format!("at most {money}")
                });
            let evenings = evenings.map_or("no limit of evenings".to_string(), |evenings| {
                format!("{evenings} evenings")
            });
            let working = working.map_or(String::new(), |least| {
                format!(", at least {} working", trimmed(least, 2))
            });
            (
                "The plan may spend".to_string(),
                format!("{money}, {evenings}{working}"),
                String::new(),
            )
        }
    }
}

fn received(
    state: &State,
    parcel: i64,
    items: &[(String, u32)],
    closed: bool,
) -> (String, String, String) {
    let letter = match state.pile.entry(parcel).map(|entry| &entry.line) {
        Some(Line::Ordered { letter, .. }) => letter.as_str(),
        _ => "?",
    };
    let came: Vec<String> = items
        .iter()
        .map(|(item, count)| format!("{count} × {item}"))
        .collect();
    let came = if came.is_empty() {
        "nothing".to_string()
    } else {
        listed(&came, "and")
    };
    let end = if closed {
        "; nothing more will come of it"
    } else {
        ""
    };
    (
        format!("Of parcel {letter} came in:"),
        format!("{came}{end}"),
        String::new(),
    )
}

fn event_title(state: &State, board: &str, event: &str) -> String {
    let board = state.folder.board(board);
    let title = board.ok().and_then(|board| {
        Some(
            board
                .events
                .iter()
                .find(|one| one.id == event)?
                .title
                .clone(),
        )
    });
    title.unwrap_or_else(|| event.to_string())
}

fn finding(
    state: &State,
    entry: &Entry,
    id: &str,
    shown: &Shown,
    supply: Supply,
    minutes_on: Option<f64>,
) -> (String, String, String) {
    let board = entry
        .machine
        .as_deref()
        .and_then(|tag| state.pile.machine(tag))
        .map(|machine| machine.board.as_str());
    let board = board.and_then(|board| state.folder.board(board).ok());
    let check: Option<&Check> = board.as_ref().and_then(|board| board.check(id));
    let text = check.map_or_else(|| id.to_string(), |check| capital(&say::check_at(check)));
    let entered = say::shown_text(check, shown);
    let mut after: Vec<String> = say::plus_minus(shown).into_iter().collect();
    if supply == Supply::Bench {
        after.push("on a bench supply".to_string());
    }
    after.extend(minutes_on.map(|on| format!("after {}", minutes(on))));
    (text, entered, after.join(", "))
}

fn places(places: &Places) -> String {
    match places {
        Places::Parts(parts) => listed(parts, "and"),
        Places::Block(block) => format!("all of the block {block}"),
    }
}

fn act(act: &Act) -> String {
    match act {
        Act::Pull { part, mark: None } => format!("Pulled {part}."),
        Act::Pull {
            part,
            mark: Some(mark),
        } => format!("Pulled {part}, marked {mark}."),
        Act::Fit {
            part,
            chip,
            old_mark,
        } => {
            let chip = match chip {
                Chip::New { works } => {
                    format!("a new part in {part}, good with {}", percent(*works))
                }
                Chip::Marked(mark) => format!("the chip marked {mark} in {part}"),
            };
            match old_mark {
                Some(mark) => format!("Fitted {chip}; the old one is marked {mark}."),
                None => format!("Fitted {chip}."),
            }
        }
        Act::Swap { part, with, there } if part == there => {
            format!("Exchanged {part} with {}.", owner(with))
        }
        Act::Swap { part, with, there } => {
            format!("Exchanged {part} with {there} of {with}.")
        }
        Act::Mend { what } => format!("Mended: {what}."),
        Act::Strip { chips } => {
            let parts: Vec<String> = chips.iter().map(|(part, _)| part.clone()).collect();
            format!("Stripped, {} into the drawer.", listed(&parts, "and"))
        }
        Act::Reseat(what) => format!("Reseated {}.", places(what)),
        Act::Resolder(what) => format!("Resoldered {}.", places(what)),
        Act::Clean(what) => format!("Cleaned {}.", places(what)),
    }
}

/// `the mule`, `T-05`.
pub(crate) fn owner(tag: &str) -> String {
    if tag == crate::intake::MULE {
        format!("the {tag}")
    } else {
        tag.to_string()
    }
}

fn after_act(act: &Act) -> String {
    let what = match act {
        Act::Mend { .. } => {
            return "A fault the profile does not know is over from here.".to_string();
        }
        Act::Strip { .. } => return "The machine is put away.".to_string(),
        Act::Swap { part, .. } => {
            return format!("What touches {part} counts anew from here, on both.");
        }
        Act::Pull { part, .. } | Act::Fit { part, .. } => part.clone(),
        Act::Reseat(what) | Act::Resolder(what) | Act::Clean(what) => places(what),
    };
    format!("What touches {what} counts anew from here.")
}
