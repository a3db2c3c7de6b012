//! The finding that does not fit the rest.

use catalogue::{Check, Profile, RailSide, Target, Tells};
use diagnosis::FunctionChance;
use journal::{Line, Shown};

use crate::{pile::Machine, reckon::Reckoned, say, views::CellState, workshop::State};

/// A finding with a smaller chance given all others is in doubt.
const DOUBTFUL: f64 = 0.05;

/// A finding that does not fit the rest.
pub(crate) struct Doubted {
    pub(crate) line: i64,
    pub(crate) chance: f64,
}

/// The finding of the present epoch with the least chance given all others, unless what it says is believed all the same.
pub(crate) fn doubted(
    state: &State,
    machine: &Machine,
    board: &Profile,
    now: &Reckoned,
    functions: &[FunctionChance],
) -> Option<Doubted> {
    let mut least: Option<Doubted> = None;
    for fit in now.fits(&machine.tag).iter() {
        let lines: Vec<i64> = fit
            .steps
            .iter()
            .filter_map(|step| now.setting.lines.get(*step).copied())
            .collect();
        let Some(entry) = lines.last().and_then(|line| state.pile.entry(*line)) else {
            continue;
        };
        let Line::Finding { check, shown, .. } = &entry.line else {
            continue;
        };
        let own = entry.machine.as_deref() == Some(&machine.tag) && entry.id > machine.opened;
        if !own || fit.p >= DOUBTFUL || least.as_ref().is_some_and(|least| least.chance <= fit.p) {
            continue;
        }
        let Some(check) = board.check(check) else {
            continue;
        };
        if taken_again(state, now, entry.id, machine, &check.id) {
            continue;
        }
        if !believed(check, shown, functions) {
            least = Some(Doubted {
                line: entry.id,
                chance: fit.p,
            });
        }
    }
    least
}

/// The same check was made again after this line, in the same epoch of the machine: what could be asked for was done.
fn taken_again(state: &State, now: &Reckoned, line: i64, machine: &Machine, check: &str) -> bool {
    let later = now.setting.lines.iter().filter(|other| **other > line);
    later
        .filter_map(|other| state.pile.entry(*other))
        .any(|entry| {
            let same = matches!(&entry.line, Line::Finding { check: other, shown, .. } if other == check && *shown != Shown::Skipped);
            same && entry.machine.as_deref() == Some(&machine.tag) && entry.id > machine.opened
        })
}

/// What a finding says is likelier than not, all findings taken together.
fn believed(check: &Check, shown: &Shown, functions: &[FunctionChance]) -> bool {
    let fails = |target: &Target| -> f64 {
        let sides: Vec<Target> = match target {
            Target::Rail(name, RailSide::Whole) => [RailSide::Present, RailSide::High]
                .map(|side| Target::Rail(name.clone(), side))
                .to_vec(),
            other => vec![other.clone()],
        };
        functions
            .iter()
            .filter(|one| sides.contains(&one.target))
            .map(|one| one.chance)
            .fold(0.0, f64::max)
    };
    match &check.tells {
        Tells::Target { target, .. } => {
            let bad = match shown {
                Shown::Outcome(id) => check.outcomes.first().is_some_and(|good| good.id != *id),
                _ => say::band(check, shown).is_some_and(|band| band.state() == CellState::Bad),
            };
            if bad {
                fails(target) >= 0.5
            } else {
                fails(target) < 0.5
            }
        }
        Tells::Rows(rows) => {
            let Shown::Outcome(id) = shown else {
                return false;
            };
            let Some(index) = check.outcomes.iter().position(|outcome| outcome.id == *id) else {
                return false;
            };
            let holds = |row: &catalogue::Row| row.fails.iter().all(|target| fails(target) >= 0.5);
            let row = rows.iter().find(|row| holds(row));
            row.and_then(|row| row.shows.get(index))
                .is_some_and(|chance| *chance >= 0.1)
        }
    }
}
