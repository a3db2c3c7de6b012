//! From the pile's lines to what the diagnosis asks for.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Check, Profile};
use diagnosis::{
    Action, BenchStep, Chip, Machine, Measure, Places, Shown, Situation, Supply, Treatment, Truth,
};
use journal::{Entry, Line};

use crate::pile::Pile;

/// The diagnosis' input, and the journal line behind each step.
#[derive(Debug, Clone)]
pub(crate) struct Setting {
    pub(crate) situation: Arc<Situation>,
    pub(crate) lines: Vec<i64>,
}

impl Setting {
    /// All that holds, without these lines.
    pub(crate) fn of(
        pile: &Pile,
        boards: &BTreeMap<String, Arc<Profile>>,
        without: &[i64],
    ) -> Setting {
        let mut situation = Situation {
            profiles: boards.clone(),
            ..Situation::default()
        };
        for machine in &pile.machines {
            // a board's file may have lost what was written of it
            let board = boards.get(&machine.board);
            situation.machines.push(Machine {
                tag: machine.tag.clone(),
                profile: machine.board.clone(),
                lot: (!machine.mule).then(|| machine.lot.clone()),
                known: machine
                    .events
                    .iter()
                    .filter(|event| {
                        board.is_some_and(|board| board.events.iter().any(|one| one.id == **event))
                    })
                    .map(|event| (event.clone(), true))
                    .collect(),
                empty: machine
                    .came_empty
                    .iter()
                    .flat_map(|part| board.map(|board| board.now(part)).unwrap_or_default())
                    .filter(|part| board.is_some_and(|board| board.part(part).is_some()))
                    .collect(),
                outside: None,
                mule: machine.mule,
            });
        }
        for (id, lot) in &pile.lots {
            let known = lot
                .events
                .iter()
                .map(|event| (event.clone(), true))
                .collect();
            situation.lots.insert(id.clone(), known);
        }
        let start = pile.entries.first().map(|entry| entry.time.timestamp());
        let mut lines = Vec::new();
        // machines switched off, and the line that says so
        let mut off: BTreeMap<&str, i64> = BTreeMap::new();
        for entry in pile.holding().filter(|entry| !without.contains(&entry.id)) {
            if let (Line::Power { on: false, .. }, Some(tag)) = (&entry.line, &entry.machine) {
                off.insert(tag, entry.id);
                continue;
            }
            let time = start
                .map(|start| entry.time.timestamp().duration_since(start).as_secs_f64() / 60.0);
            for action in actions(pile, boards, entry) {
                if let Some((line, again)) = switched_on(pile, boards, entry, &action, &mut off) {
                    situation.steps.push(BenchStep {
                        time,
                        action: again,
                    });
                    lines.push(line);
                }
                situation.steps.push(BenchStep { time, action });
                lines.push(entry.id);
            }
        }
        // what is off now begins a power-up with its next look
        for (tag, line) in off {
            let action = Action::Power {
                machine: tag.to_string(),
                supply: Supply::Usual,
            };
            situation.steps.push(BenchStep { time: None, action });
            lines.push(line);
        }
        Setting {
            situation: Arc::new(situation),
            lines,
        }
    }
}

/// A powered finding on a machine that was switched off: somebody switched it on again. With the line that switched it off.
fn switched_on<'p>(
    pile: &Pile,
    boards: &BTreeMap<String, Arc<Profile>>,
    entry: &'p Entry,
    action: &Action,
    off: &mut BTreeMap<&'p str, i64>,
) -> Option<(i64, Action)> {
    let tag = entry.machine.as_deref()?;
    match action {
        Action::Power { .. } => {
            off.remove(tag);
            None
        }
        Action::Measure(measure) if measure.shown != Shown::Skipped => {
            let powered = check_of(pile, boards, entry)?
                .set_up
                .iter()
                .any(|set_up| set_up == "powered");
            let line = powered.then(|| off.remove(tag)).flatten()?;
            let again = Action::Power {
                machine: tag.to_string(),
                supply: measure.supply,
            };
            Some((line, again))
        }
        _ => None,
    }
}

/// The check of a finding, if the machine's board still has it.
pub(crate) fn check_of<'b>(
    pile: &Pile,
    boards: &'b BTreeMap<String, Arc<Profile>>,
    entry: &Entry,
) -> Option<&'b Check> {
    let Line::Finding { check, .. } = &entry.line else {
        return None;
    };
    let machine = pile.machine(entry.machine.as_deref()?)?;
    boards.get(&machine.board)?.check(check)
}

/// What a line says was done or seen; several chips that came out at once are a step each, and an act on a part that was taken to
/// pieces since was one on all of them.
fn actions(pile: &Pile, boards: &BTreeMap<String, Arc<Profile>>, entry: &Entry) -> Vec<Action> {
    let actions = as_said(pile, boards, entry);
    let machine = entry.machine.as_deref().and_then(|tag| pile.machine(tag));
    match machine.and_then(|machine| boards.get(&machine.board)) {
        Some(board) if !board.pieces.is_empty() => {
            let each = actions.into_iter();
            each.flat_map(|action| on_pieces(action, board)).collect()
        }
        _ => actions,
    }
}

fn as_said(pile: &Pile, boards: &BTreeMap<String, Arc<Profile>>, entry: &Entry) -> Vec<Action> {
    if let Line::Act {
        done: journal::Act::Strip { chips },
    } = &entry.line
    {
        let machine = entry.machine.clone().unwrap_or_default();
        let pull = |(part, mark): &(String, String)| Action::Pull {
            machine: machine.clone(),
            part: part.clone(),
            mark: Some(mark.clone()),
        };
        return chips.iter().map(pull).collect();
    }
    action(pile, boards, entry).into_iter().collect()
}

fn on_pieces(action: Action, board: &Profile) -> Vec<Action> {
    let mark = |mark: &str, piece: &str| format!("{mark} {piece}");
    match &action {
        Action::Treat {
            machine,
            treatment,
            places: Places::Parts(parts),
        } => vec![Action::Treat {
            machine: machine.clone(),
            treatment: *treatment,
            places: Places::Parts(parts.iter().flat_map(|part| board.now(part)).collect()),
        }],
        Action::Pull {
            machine,
            part,
            mark: on,
        } if board.pieces.contains_key(part) => {
            let pull = |piece: String| Action::Pull {
                machine: machine.clone(),
                mark: on.as_ref().map(|on| mark(on, &piece)),
                part: piece,
            };
            board.now(part).into_iter().map(pull).collect()
        }
        Action::Fit {
            machine,
            part,
            chip,
            old_mark,
        } if board.pieces.contains_key(part) => {
            let pieces = board.now(part);
            // all of them together work as often as the whole was said to
            let each = |works: f64| works.powf(1.0 / count(pieces.len()));
            let fit = |piece: &String| Action::Fit {
                machine: machine.clone(),
                part: piece.clone(),
                chip: match chip {
                    Chip::New { works } => Chip::New {
                        works: each(*works),
                    },
                    Chip::Marked(on) => Chip::Marked(mark(on, piece)),
                },
                old_mark: old_mark.as_ref().map(|on| mark(on, piece)),
            };
            pieces.iter().map(fit).collect()
        }
        Action::Swap { a, b } if board.pieces.contains_key(&a.1) && a.1 == b.1 => {
            let swap = |piece: String| Action::Swap {
                a: (a.0.clone(), piece.clone()),
                b: (b.0.clone(), piece),
            };
            board.now(&a.1).into_iter().map(swap).collect()
        }
        _ => vec![action],
    }
}

fn count(pieces: usize) -> f64 {
    f64::from(u32::try_from(pieces).unwrap_or(u32::MAX)).max(1.0)
}

fn action(pile: &Pile, boards: &BTreeMap<String, Arc<Profile>>, entry: &Entry) -> Option<Action> {
    let machine = entry.machine.clone();
    match &entry.line {
        Line::Finding {
            check,
            shown,
            supply,
            minutes_on,
            ..
        } => {
            let known = check_of(pile, boards, entry)?;
            Some(Action::Measure(Measure {
                machine: machine?,
                check: check.clone(),
                shown: show(shown, known)?,
                person: Some(entry.who.clone()),
                minutes_on: *minutes_on,
                supply: supply_of(*supply),
            }))
        }
        Line::Power { supply, .. } => Some(Action::Power {
            machine: machine?,
            supply: supply_of(*supply),
        }),
        Line::Act { done } => act(machine?, done),
        Line::Settled { truth } => Some(Action::Settle {
            machine,
            truth: match truth {
                journal::Truth::Mode { part, mode } => Truth::Mode {
                    part: part.clone(),
                    mode: mode.clone(),
                },
                journal::Truth::Joint(_) => Truth::Unmodelled,
                journal::Truth::Works => Truth::Works,
            },
        }),
        Line::Lot { .. }
        | Line::TakenIn { .. }
        | Line::TakenBack { .. }
        | Line::Ordered { .. }
        | Line::Received { .. }
        | Line::Offers { .. }
        | Line::Kept { .. }
        | Line::Wish { .. }
        | Line::Shelved { .. }
        | Line::Limits { .. }
        | Line::Pinned { .. } => None,
    }
}

fn supply_of(supply: journal::Supply) -> Supply {
    match supply {
        journal::Supply::Usual => Supply::Usual,
        journal::Supply::Bench => Supply::Bench,
    }
}

/// What was shown, unless the board's file no longer knows that outcome.
fn show(shown: &journal::Shown, check: &Check) -> Option<Shown> {
    match shown {
        journal::Shown::Outcome(id) => check
            .outcomes
            .iter()
            .any(|outcome| outcome.id == *id)
            .then(|| Shown::Outcome(id.clone())),
        journal::Shown::Reading {
            value,
            unit,
            components,
            ..
        } => {
            let same = check
                .limits
                .is_some_and(|limits| limits.unit.symbol() == unit);
            same.then(|| Shown::Reading {
                value: *value,
                components: components.iter().map(component).collect(),
            })
        }
        journal::Shown::Cannot => Some(Shown::Cannot),
        journal::Shown::Skipped => Some(Shown::Skipped),
    }
}

/// A component of an uncertainty, from the journal.
pub(crate) fn component(component: &journal::Component) -> units::Component {
    units::Component {
        percent: component.percent,
        counts: component.counts,
        digit: component.digit,
    }
}

fn act(machine: String, done: &journal::Act) -> Option<Action> {
    let treat = |machine, treatment, places: &journal::Places| Action::Treat {
        machine,
        treatment,
        places: match places {
            journal::Places::Parts(parts) => Places::Parts(parts.clone()),
            journal::Places::Block(block) => Places::Block(block.clone()),
        },
    };
    Some(match done {
        journal::Act::Pull { part, mark } => Action::Pull {
            machine,
            part: part.clone(),
            mark: mark.clone(),
        },
        journal::Act::Fit {
            part,
            chip,
            old_mark,
        } => Action::Fit {
            machine,
            part: part.clone(),
            chip: match chip {
                journal::Chip::New { works } => Chip::New { works: *works },
                journal::Chip::Marked(mark) => Chip::Marked(mark.clone()),
            },
            old_mark: old_mark.clone(),
        },
        journal::Act::Swap { part, with, there } => Action::Swap {
            a: (machine, part.clone()),
            b: (with.clone(), there.clone()),
        },
        journal::Act::Mend { .. } => Action::Mend { machine },
        journal::Act::Reseat(places) => treat(machine, Treatment::Reseat, places),
        journal::Act::Resolder(places) => treat(machine, Treatment::Resolder, places),
        journal::Act::Clean(places) => treat(machine, Treatment::Clean, places),
        journal::Act::Strip { .. } => return None,
    })
}
