//! Writing acts, and truths found out.

use std::collections::BTreeSet;

use catalogue::{Mount, Profile};
use journal::{Draft, Entry, Line, Places, Truth};

use crate::{
    Act, Error, ErrorKind, Fitted, Power, Shelf, Workshop,
    change::{leads, written},
    contradiction::Why,
    drawer::Drawer,
    intake::find_part,
    lead::absent_supply,
    names::{best, choices, fit, nearest, plain},
    pile::Machine,
    reckon::Reckoned,
    swap::{Typed, exchanged, fits, swap},
    views::Written,
    words::{listed, quoted},
    workshop::{Result, State},
};

/// Chance that a new part works when nothing is said.
const NEW_WORKS: f64 = 0.97;

impl Workshop {
    /// Writes an act; it opens an epoch.
    ///
    /// # Errors
    /// If a position or block is not there, is empty, or a mark is not free.
    pub fn act(&self, tag: &str, act: &Act) -> Result<Written> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let before = leads(&mut inner, &tag);
        let known = Known::of(&inner.state(), &tag)?;
        let entries = inner.write(|state| drafts(state, &tag, act))?;
        let said = entries.first().and_then(|entry| said(&tag, &entry.line));
        let mut written = match said {
            Some(changed) => Written {
                lines: entries.iter().map(|entry| entry.id).collect(),
                understood: Vec::new(),
                changed,
            },
            None => written(&mut inner, &entries, Vec::new(), &before)?,
        };
        for more in known.more(&inner.state(), &tag, &entries) {
            if !written.changed.is_empty() {
                written.changed.push('\n');
            }
            written.changed.push_str(&more);
        }
        Ok(written)
    }

    /// Writes that a machine was switched on, on its own or a bench supply, or off.
    ///
    /// # Errors
    /// If there is no such machine, or the part that feeds it is absent.
    pub fn power(&self, tag: &str, power: Power) -> Result<Written> {
        if power == Power::On {
            self.can_be_on(tag)?;
        }
        let (on, supply) = match power {
            Power::On => (true, journal::Supply::Usual),
            Power::OnBenchSupply => (true, journal::Supply::Bench),
            Power::Off => (false, journal::Supply::Usual),
        };
        let changed = match power {
            Power::Off => "Switched off. The next look with power begins a new power-up.",
            Power::On | Power::OnBenchSupply => {
                "A power-up begins: what comes and goes may show now, or not. Write `minutes 20` with what only a warm machine shows."
            }
        };
        self.note(tag, Line::Power { on, supply }, changed)
    }

    fn can_be_on(&self, tag: &str) -> Result<()> {
        let inner = self.fresh()?;
        let state = inner.state();
        let machine = state.machine(tag)?;
        let board = state.folder.board(&machine.board)?;
        match absent_supply(machine, &board) {
            Some(part) => Err(Error::new(
                ErrorKind::Refused,
                format!("{} cannot be switched on: {part} is absent", machine.tag),
            )
            .hint("say that it is on a bench supply, or that the part was fitted")),
            None => Ok(()),
        }
    }

    /// Puts a machine away, or takes it back to the bench; its findings stay.
    ///
    /// # Errors
    /// If there is no such machine, or it is there already.
    pub fn shelve(&self, tag: &str, shelf: Shelf) -> Result<Written> {
        let away = shelf == Shelf::Away;
        let changed = if away {
            "On the shelf: bench plan and plan leave it out, its findings stay."
        } else {
            "Back on the bench, with all its findings."
        };
        self.note(tag, Line::Shelved { away }, changed)
    }

    /// Writes a line that changes no chance by itself.
    fn note(&self, tag: &str, line: Line, changed: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let entries = inner.write(|state| {
            Ok(vec![Draft {
                machine: Some(tag.clone()),
                epoch: state.machine(&tag)?.epoch,
                line: line.clone(),
            }])
        })?;
        Ok(Written {
            lines: entries.iter().map(|entry| entry.id).collect(),
            understood: Vec::new(),
            changed: changed.to_string(),
        })
    }

    /// Writes the truth found out: `U9.dead`, `joint "track U7.3 to U12.5"`, `works`.
    ///
    /// # Errors
    /// If the mode is not one of the board's, or the findings rule it out.
    pub fn settle(&self, tag: &str, truth: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let tag = inner.state().machine(tag)?.tag.clone();
        let before = leads(&mut inner, &tag);
        let entries = inner.write(|state| {
            let machine = state.machine(&tag)?;
            let board = state.folder.board(&machine.board)?;
            let truth = find_truth(truth, machine, &board)?;
            let draft = Draft {
                machine: Some(tag.clone()),
                epoch: machine.epoch,
                line: Line::Settled { truth },
            };
            possible(state, &draft)?;
            Ok(vec![draft])
        })?;
        written(&mut inner, &entries, Vec::new(), &before)
    }
}

/// What was known before an act: of a machine's positions, and of the drawer.
struct Known {
    empty: BTreeSet<String>,
    marked: BTreeSet<String>,
    /// None where a board's file is not there: that stops no act.
    drawer: Option<Drawer>,
}

impl Known {
    fn of(state: &State, tag: &str) -> Result<Self> {
        let machine = state.machine(tag)?;
        Ok(Self {
            empty: machine.empty.clone(),
            marked: machine.marked.keys().cloned().collect(),
            drawer: drawer(state),
        })
    }

    /// Where a new part came from, and which chip is lost track of.
    fn more(&self, state: &State, tag: &str, entries: &[Entry]) -> Vec<String> {
        let mut more = Vec::new();
        let new = entries.iter().find_map(|entry| match &entry.line {
            Line::Act {
                done:
                    journal::Act::Fit {
                        part,
                        chip: journal::Chip::New { .. },
                        ..
                    },
            } => Some(part),
            _ => None,
        });
        if let (Some(part), Some(before), Some(now)) = (new, &self.drawer, drawer(state)) {
            more.extend(now.given(before, state, tag, part));
        }
        let lost = self.lost_track(entries.iter().map(|entry| &entry.line));
        more.extend(lost.map(|part| {
            format!(
                "What sat in {part} is no longer kept track of; if it may be used again, take this back and give it a mark."
            )
        }));
        more
    }

    /// The position of a chip that came out without a mark by which it would be known.
    fn lost_track<'a>(&self, mut lines: impl Iterator<Item = &'a Line>) -> Option<&'a str> {
        lines.find_map(|line| match line {
            Line::Act {
                done:
                    journal::Act::Fit {
                        part,
                        old_mark: None,
                        ..
                    }
                    | journal::Act::Pull { part, mark: None },
            } if !self.empty.contains(part) && !self.marked.contains(part) => Some(&**part),
            _ => None,
        })
    }
}

fn drawer(state: &State) -> Option<Drawer> {
    Some(Drawer::of(state, &state.boards().ok()?))
}

/// Acts of which more is to be said than whose chance they change.
fn said(tag: &str, line: &Line) -> Option<String> {
    match line {
        Line::Act {
            done: journal::Act::Swap { part, with, there },
        } => Some(exchanged((tag, part), (with, there))),
        Line::Act {
            done: journal::Act::Mend { what },
        } => Some(format!(
            "Mended, {what}: a fault that the profile does not know is over from here. Look again."
        )),
        _ => None,
    }
}

/// The lines of an act on a machine.
pub(crate) fn drafts(state: &State, tag: &str, act: &Act) -> Result<Vec<Draft>> {
    let machine = state.machine(tag)?;
    let board = state.folder.board(&machine.board)?;
    let drafts = done(state, machine, act, &board)?
        .into_iter()
        .enumerate()
        .map(|(index, done)| Draft {
            machine: Some(machine.tag.clone()),
            epoch: machine.epoch + u32::try_from(index).unwrap_or(0),
            line: Line::Act { done },
        });
    Ok(drafts.collect())
}

/// A mark that was typed; an empty one is a slip.
pub(crate) fn mark(mark: &Option<String>) -> Result<Option<String>> {
    match mark.as_deref().map(str::trim) {
        Some("") => Err(Error::new(
            ErrorKind::Usage,
            "expected a mark such as `dot-1`, found nothing",
        )),
        other => Ok(other.map(str::to_string)),
    }
}

fn done(state: &State, machine: &Machine, act: &Act, board: &Profile) -> Result<Vec<journal::Act>> {
    let refuse =
        |problem: String| Error::new(ErrorKind::NotFound, problem).hint("nothing was written");
    let part = |typed: &str| find_part(typed, board).map_err(refuse);
    Ok(match act {
        Act::Pull {
            part: typed,
            mark: on,
        } => vec![journal::Act::Pull {
            part: part(typed)?,
            mark: mark(on)?,
        }],
        Act::Fit {
            part: typed,
            what,
            old_mark,
        } => {
            let at = part(typed)?;
            let chip = match what {
                Fitted::New { works } => journal::Chip::New {
                    works: sound_chance(works.unwrap_or(NEW_WORKS))?,
                },
                Fitted::Marked(mark) => {
                    fits(state, machine, &at, board, mark.trim())?;
                    journal::Chip::Marked(mark.trim().to_string())
                }
            };
            vec![journal::Act::Fit {
                part: at,
                chip,
                old_mark: mark(old_mark)?,
            }]
        }
        Act::Swap {
            part: typed,
            with,
            there,
            old_mark,
        } => {
            let how = Typed {
                with,
                there: there.as_deref(),
                old_mark,
            };
            vec![swap(state, machine, part(typed)?, board, &how)?]
        }
        Act::Mend(what) => {
            let what = what.trim().trim_matches('"').trim();
            if what.is_empty() {
                return Err(Error::new(
                    ErrorKind::Usage,
                    "expected what was mended, such as `track U7.3 to U12.5`, found nothing",
                ));
            }
            vec![journal::Act::Mend {
                what: what.to_string(),
            }]
        }
        Act::Reseat(names) => places(names, board, true)?
            .into_iter()
            .map(journal::Act::Reseat)
            .collect(),
        Act::Resolder(names) => places(names, board, false)?
            .into_iter()
            .map(journal::Act::Resolder)
            .collect(),
        Act::Clean(names) => places(names, board, false)?
            .into_iter()
            .map(journal::Act::Clean)
            .collect(),
    })
}

fn sound_chance(chance: f64) -> Result<f64> {
    if (0.0..=1.0).contains(&chance) {
        return Ok(chance);
    }
    Err(Error::new(
        ErrorKind::Usage,
        format!("expected a chance from 0 to 1, found `{chance}`"),
    )
    .hint("0.97 is usual for a new part, 0.8 for a used one"))
}

/// Positions, all in one act, or blocks, an act each.
fn places(names: &[String], board: &Profile, reseat: bool) -> Result<Vec<Places>> {
    let mut parts = Vec::new();
    let mut blocks = Vec::new();
    let mut problems = Vec::new();
    for name in names
        .iter()
        .flat_map(|name| name.split([',', ' ']))
        .filter(|name| !name.is_empty())
    {
        let part = board
            .parts
            .iter()
            .find(|part| part.reference.eq_ignore_ascii_case(name));
        let block = board
            .blocks
            .iter()
            .find(|block| block.id.eq_ignore_ascii_case(name));
        match (part, block) {
            (Some(part), _) if reseat && part.mount == Mount::Soldered => {
                problems.push(format!(
                    "{} is soldered in, so it cannot be reseated; resolder it",
                    part.reference
                ));
            }
            (Some(part), _) if !parts.contains(&part.reference) => {
                parts.push(part.reference.clone())
            }
            (Some(_), _) => {}
            (None, Some(block)) => blocks.push(Places::Block(block.id.clone())),
            (None, None) => {
                let known = board
                    .parts
                    .iter()
                    .map(|part| &*part.reference)
                    .chain(board.blocks.iter().map(|block| &*block.id));
                problems.push(format!(
                    "the board `{}` has no part or block {}; nearest are {}",
                    board.id,
                    quoted(name),
                    choices(nearest(name, known))
                ));
            }
        }
    }
    if parts.is_empty() && blocks.is_empty() && problems.is_empty() {
        problems.push("expected a part or a block, found nothing".to_string());
    }
    if !problems.is_empty() {
        return Err(
            Error::new(ErrorKind::NotFound, problems.join("\n")).hint("nothing was written")
        );
    }
    let parts = (!parts.is_empty()).then_some(Places::Parts(parts));
    Ok(parts.into_iter().chain(blocks).collect())
}

/// Refuses a truth that cannot be, given all findings.
fn possible(state: &State, draft: &Draft) -> Result<()> {
    let then = state.pile.with([Entry {
        id: state.pile.last() + 1,
        batch: state.pile.last() + 1,
        time: state
            .pile
            .entries
            .last()
            .map(|entry| entry.time.clone())
            .unwrap_or_default(),
        who: String::new(),
        machine: draft.machine.clone(),
        epoch: draft.epoch,
        line: draft.line.clone(),
    }]);
    let line = then.last();
    let reckoned = Reckoned::of(&then, &state.boards()?, &[], None)?;
    let Some(out) = reckoned.left_out.iter().find(|out| {
        out.line == line || matches!(&out.why, Why::Contradicts(with) if with.contains(&line))
    }) else {
        return Ok(());
    };
    let with = match &out.why {
        Why::Unusable(why) => why.clone(),
        Why::Contradicts(with) => {
            let others = with
                .iter()
                .chain([&out.line])
                .filter(|other| **other != line);
            let others: Vec<String> = others.map(|other| format!("line {other}")).collect();
            match others.as_slice() {
                [] => "no fault the board's file knows would show as that".to_string(),
                others => format!("{} would have been impossible", listed(others, "and")),
            }
        }
    };
    Err(Error::new(
        ErrorKind::Refused,
        format!("that cannot be true together with the rest: {with}"),
    )
    .hint("see `journal`, and take back what is wrong"))
}

pub(crate) fn find_truth(typed: &str, machine: &Machine, board: &Profile) -> Result<Truth> {
    let typed = typed.trim();
    let word = plain(typed);
    if ["works", "it works", "fine"].contains(&word.as_str()) {
        return Ok(Truth::Works);
    }
    if let Some(rest) = ["joint", "track", "other"]
        .iter()
        .find_map(|start| word.strip_prefix(start))
        && (rest.is_empty() || rest.starts_with([' ', '"']))
    {
        let what = typed
            .split_once(char::is_whitespace)
            .map_or("", |(_, what)| what)
            .trim()
            .trim_matches('"');
        return Ok(Truth::Joint(if what.is_empty() {
            typed.to_string()
        } else {
            what.to_string()
        }));
    }
    let refuse = |problem: String| {
        Error::new(ErrorKind::NotFound, problem)
            .hint("write `U9.dead`, `joint \"track U7.3 to U12.5\"` or `works`")
    };
    let Some((part, mode)) = typed.split_once(['.', ' ']) else {
        return Err(refuse(format!(
            "expected a part and its mode such as `U9.dead`, found {}",
            quoted(typed)
        )));
    };
    let reference = find_part(part, board).map_err(refuse)?;
    let modes = board
        .part(&reference)
        .map(|part| part.modes.as_slice())
        .unwrap_or_default();
    let word = plain(mode);
    let found = best(
        modes
            .iter()
            .filter_map(|mode| Some((fit(&word, [&*mode.id, &*mode.title])?, mode))),
    );
    let known = choices(modes.iter().map(|mode| &*mode.id));
    let mode = match found.as_ref().map(|(_, found)| found.as_slice()) {
        Some([one]) => *one,
        Some(_) => {
            return Err(refuse(format!(
                "{} could be several modes of {reference}; known are {known}",
                quoted(mode)
            )));
        }
        None => {
            return Err(refuse(format!(
                "{reference} has no mode {}; known are {known}",
                quoted(mode)
            )));
        }
    };
    if mode.site == catalogue::Site::Chip && machine.empty.contains(&reference) {
        return Err(Error::new(
            ErrorKind::Refused,
            format!("{reference} is absent on {}", machine.tag),
        )
        .hint("nothing was written"));
    }
    Ok(Truth::Mode {
        part: reference,
        mode: mode.id.clone(),
    })
}
