//! Taking back what was written.

use journal::{Draft, Line};

use crate::{
    Error, ErrorKind, Workshop,
    change::{changed, leads},
    views::Undone,
    workshop::{Result, State},
};

impl Workshop {
    /// Takes back the given line, or what this person wrote last. The lines stay; a later one says that they do not hold.
    ///
    /// # Errors
    /// If there is no such line, it is taken back already, or later lines build on it.
    pub fn undo(&self, line: Option<i64>) -> Result<Undone> {
        let mut inner = self.fresh()?;
        let who = inner.who().to_string();
        let lines = to_take_back(&inner.state(), line, &who)?;
        let state = inner.state();
        let tag = lines
            .iter()
            .find_map(|line| state.pile.entry(*line)?.machine.clone());
        let before = tag
            .as_deref()
            .map(|tag| leads(&mut inner, tag))
            .unwrap_or_default();
        inner.write(|state| {
            let lines = to_take_back(state, line, &who)?;
            let draft = |line: &i64| Draft {
                machine: state
                    .pile
                    .entry(*line)
                    .and_then(|entry| entry.machine.clone()),
                epoch: 0,
                line: Line::TakenBack { line: *line },
            };
            Ok(lines.iter().map(draft).collect())
        })?;
        let texts: Vec<String> = lines
            .iter()
            .filter_map(|line| undone(&state, *line))
            .collect();
        let text = match texts.as_slice() {
            [] => "Taken back.".to_string(),
            texts if texts.len() <= 4 => format!("Taken back: {}.", texts.join("; ")),
            [first, ..] => format!("Taken back: {first} and {} more lines.", texts.len() - 1),
        };
        let changed = tag
            .map(|tag| changed(&mut inner, &[tag], &before))
            .unwrap_or_default();
        Ok(Undone {
            lines,
            text,
            changed,
        })
    }
}

fn to_take_back(state: &State, line: Option<i64>, who: &str) -> Result<Vec<i64>> {
    let pile = &state.pile;
    let Some(line) = line else {
        let mut own = pile.holding().filter(|entry| entry.who == who);
        let last = own.next_back().ok_or_else(|| {
            Error::new(
                ErrorKind::Refused,
                format!("{who} has written nothing that could be taken back"),
            )
            .hint("name a line of the journal to take back what somebody else wrote")
        })?;
        return Ok(pile
            .holding()
            .filter(|entry| entry.batch == last.batch)
            .map(|entry| entry.id)
            .collect());
    };
    let entry = pile.entry(line).ok_or_else(|| {
        Error::new(ErrorKind::NotFound, format!("there is no line {line}"))
            .hint("the numbers stand at the start of each line of the journal")
    })?;
    if let Some(by) = pile.taken_back.get(&line) {
        return Err(Error::new(
            ErrorKind::Refused,
            format!("line {line} is taken back already"),
        )
        .hint(format!("`undo {by}` makes it hold again")));
    }
    match entry.line {
        // A lot goes with its machines.
        Line::Lot { .. } => Ok(pile
            .holding()
            .filter(|other| other.batch == entry.batch)
            .map(|other| other.id)
            .collect()),
        _ => Ok(vec![line]),
    }
}

fn undone(state: &State, line: i64) -> Option<String> {
    let entry = state.pile.entry(line)?;
    let row = crate::rows::row(state, entry);
    let text = [row.text.trim_end_matches('.'), &row.entered].join(" ");
    let text = crate::words::small(text.trim());
    Some(match &entry.machine {
        Some(tag) => format!("{tag}, {text}"),
        None => text,
    })
}
