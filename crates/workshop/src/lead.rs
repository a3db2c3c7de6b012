//! Who leads the suspicion, what is known beforehand, and where a machine stands.

use catalogue::{Check, Profile};
use journal::{Line, Shown, Supply, Truth};

use crate::{
    pile::Machine,
    reckon::Suspicion,
    say,
    words::{listed, percent, small},
    workshop::State,
};

/// A machine that is whole with this chance looks whole.
pub(crate) const WHOLE: f64 = 0.85;

/// `picture black`, `+5 V 4.61 V`.
pub(crate) fn finding_words(check: &Check, shown: &Shown) -> String {
    let title = small(&say::check_title(check));
    match shown {
        Shown::Outcome(id) if id == "fail" => format!("{title} not right"),
        Shown::Outcome(id) => format!("{title} {}", say::outcome_word(check, id)),
        _ => format!("{title} {}", say::shown_text(Some(check), shown)),
    }
}

/// `U9 is absent`, for parts the board needs.
pub(crate) fn absent_words(machine: &Machine, board: &Profile) -> Option<String> {
    let needed = |part: &&String| board.part(part).is_none_or(|part| !part.optional);
    let absent: Vec<String> = machine.empty.iter().filter(needed).cloned().collect();
    match absent.len() {
        0 => None,
        1 => Some(format!("{} is absent", absent[0])),
        _ => Some(format!("{} are absent", listed(&absent, "and"))),
    }
}

/// The set-up of a check that wants the machine switched on.
const POWERED: &str = "powered";

/// The part that is missing to switch a machine on; none on a bench supply.
pub(crate) fn absent_supply(machine: &Machine, board: &Profile) -> Option<String> {
    if machine.powered == Some(Supply::Bench) {
        return None;
    }
    let feeds = board.rails.iter().flat_map(|rail| &rail.fed_by);
    let needed = |part: &&String| board.part(part).is_none_or(|part| !part.optional);
    feeds
        .filter(needed)
        .find(|part| machine.empty.contains(*part))
        .cloned()
}

/// Whether a machine cannot be switched on for a check that wants it.
pub(crate) fn cannot_be_on(machine: &Machine, board: &Profile, check: &Check) -> bool {
    let powered = check.set_up.iter().any(|name| name == POWERED);
    powered && absent_supply(machine, board).is_some()
}

/// What is known from the take-in: `U9 is absent`, `the battery leaked`.
pub(crate) fn known_words(machine: &Machine, board: &Profile) -> Option<String> {
    let events = machine
        .events
        .iter()
        .filter_map(|id| board.events.iter().find(|event| event.id == *id));
    let known: Vec<String> = absent_words(machine, board)
        .into_iter()
        .chain(events.map(|event| small(&event.title)))
        .collect();
    (!known.is_empty()).then(|| listed(&known, "and"))
}

/// The parts that lead the suspicion, with the chances of their likeliest modes.
pub(crate) struct Lead {
    pub(crate) parts: Vec<(String, f64)>,
}

impl Lead {
    /// The largest chance.
    pub(crate) fn chance(&self) -> f64 {
        self.parts.first().map_or(0.0, |(_, chance)| *chance)
    }

    /// More than one are likely, so all of them and not one or another.
    fn together(&self) -> bool {
        self.parts.len() > 1 && self.parts.iter().all(|(_, chance)| *chance >= 0.5)
    }

    /// `most likely U9`, `first suspects U30 and PS1`.
    pub(crate) fn words(&self) -> String {
        let names: Vec<String> = self.parts.iter().map(|(part, _)| part.clone()).collect();
        match (names.as_slice(), self.chance()) {
            ([], _) => "no suspect stands out".to_string(),
            (_, chance) if chance < 0.1 => "no suspect stands out".to_string(),
            (names, chance) if chance >= 0.5 => format!("most likely {}", listed(names, "and")),
            ([one], _) => format!("first suspect {one}"),
            (several, _) => format!("first suspects {}", listed(several, "and")),
        }
    }

    /// `U9, 63 %`, `U30, 41 %, or PS1, 36 %`.
    pub(crate) fn with_chances(&self) -> String {
        let each: Vec<String> = self
            .parts
            .iter()
            .map(|(part, chance)| format!("{part}, {}", percent(*chance)))
            .collect();
        match each.as_slice() {
            [first @ .., last] if !first.is_empty() => {
                format!(
                    "{}, {} {last}",
                    first.join(", "),
                    if self.together() { "and" } else { "or" }
                )
            }
            _ => each.concat(),
        }
    }
}

/// The likeliest part; several if none leads by much.
pub(crate) fn lead(board: &Profile, modes: &[Suspicion]) -> Lead {
    let mut by_part: Vec<(String, f64)> = Vec::new();
    for mode in modes.iter().filter(|mode| mode.chance >= 0.02) {
        let name = match board
            .outside
            .iter()
            .find(|outside| outside.id == mode.part && mode.outside)
        {
            Some(outside) => outside.title.clone(),
            None => say::short(&mode.part),
        };
        if by_part.iter().all(|(known, _)| *known != name) {
            by_part.push((name, mode.chance));
        }
    }
    let most = by_part.first().map_or(0.0, |(_, chance)| *chance);
    // Certain faults are all named; of uncertain ones those that come near the first.
    let least = if most >= 0.5 { 0.5 } else { 0.7 * most };
    by_part.retain(|(_, chance)| *chance >= least);
    by_part.truncate(3);
    Lead { parts: by_part }
}

/// Somebody has looked at it, or said that a look was left out.
pub(crate) fn is_looked_at(state: &State, machine: &Machine) -> bool {
    state
        .pile
        .lines(machine)
        .any(|entry| matches!(entry.line, Line::Finding { .. }))
}

/// `waiting`, `working`, `on the bench`.
pub(crate) fn standing_words(state: &State, machine: &Machine, whole: f64) -> String {
    let waits = state.pile.ordered.iter().filter_map(|line| state.pile.entry(*line)).any(|entry| {
        matches!(&entry.line, Line::Ordered { waiting, .. } if waiting.contains(&machine.tag))
    });
    let looked = is_looked_at(state, machine);
    let board = state.folder.board(&machine.board);
    let complete = board.is_ok_and(|board| absent_words(machine, &board).is_none());
    let works = machine.settled == Some(Truth::Works)
        || (machine.settled.is_none() && looked && complete && whole >= WHOLE);
    if machine.mule {
        return "the mule".to_string();
    }
    if machine.shelved {
        return "shelved".to_string();
    }
    match (works, waits) {
        (true, _) => "working",
        (false, true) => "waiting",
        (false, false) => "on the bench",
    }
    .to_string()
}
