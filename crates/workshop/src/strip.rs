//! A machine given up: its good chips into the drawer, each with its mark.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Mount, Part, Profile, Site};
use journal::{Act, Draft, Line};
use planning::Choice;
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    handling::taking_out,
    intake::find_part,
    pile::{Machine, Pile},
    plan::core,
    words::{capital, counted, listed, minutes, percent, sentence},
    workshop::{Result, State},
};

/// Chips that are good with less than this are left in, unless they are named.
const GOOD_ENOUGH: f64 = 0.85;

/// A machine to be stripped.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Strip {
    /// The machine.
    pub tag: String,
    /// The positions; empty: all good chips in sockets.
    pub parts: Vec<String>,
    /// Good chips that are soldered in too.
    pub soldered: bool,
    /// Write it; else only say what would come out.
    pub take: bool,
}

/// What comes out of a machine.
#[derive(Debug, Clone, Serialize)]
pub struct StripView {
    /// `Eleven chips of T-05 would go into the drawer, 22 min.`
    pub heading: String,
    /// Tag.
    pub tag: String,
    /// What the plan says of the machine, in a sentence.
    pub plan: String,
    /// Chips that come out.
    pub chips: Vec<StripRow>,
    /// Chips that stay in, with the reason.
    pub left: Vec<StripRow>,
    /// Minutes of work.
    pub minutes: f64,
    /// Journal lines written; empty while it is only looked at.
    pub lines: Vec<i64>,
}

/// One chip of a donor.
#[derive(Debug, Clone, Serialize)]
pub struct StripRow {
    /// Position.
    pub part: String,
    /// Device.
    pub device: String,
    /// Chance that it is good once it is out, 0 to 1.
    pub good: f64,
    /// The mark that it gets.
    pub mark: String,
    /// Why it stays in, or `unsoldered`; empty for a chip out of a socket.
    pub note: String,
}

impl Workshop {
    /// Says which chips a donor would give; writes that they came out if that is asked for. The machine is put away then.
    ///
    /// # Errors
    /// If there is no such machine or position, or no good chip in it.
    pub fn strip(&self, asked: &Strip) -> Result<StripView> {
        let mut inner = self.fresh()?;
        let state = inner.state();
        let machine = state.machine(&asked.tag)?.clone();
        if machine.mule {
            return Err(Error::new(ErrorKind::Refused, "the mule stays whole")
                .hint("strip a machine of the pile"));
        }
        let board = state.folder.board(&machine.board)?;
        let reckoned = inner.reckon(&[&[]])?;
        let bad = match reckoned.first() {
            Some(now) => bad_chips(&now.modes(&machine, &board)),
            None => BTreeMap::new(),
        };
        let named = named(asked, &machine, &board)?;
        let mut view = view(&state, &machine, &board, &bad, asked, &named);
        if view.chips.is_empty() {
            return Err(Error::new(
                ErrorKind::Refused,
                format!(
                    "{} has no chip in a socket that is good enough to keep",
                    machine.tag
                ),
            )
            .hint("name the positions, or add `--soldered`"));
        }
        let core = core(&mut inner)?;
        view.plan = planned(&core, &machine.tag);
        if asked.take {
            let tag = machine.tag.clone();
            let chips: Vec<(String, String)> = view
                .chips
                .iter()
                .map(|row| (row.part.clone(), row.mark.clone()))
                .collect();
            let entries = inner.write(|state: &State| {
                Ok(vec![Draft {
                    machine: Some(tag.clone()),
                    epoch: state.machine(&tag)?.epoch,
                    line: Line::Act {
                        done: Act::Strip {
                            chips: chips.clone(),
                        },
                    },
                }])
            })?;
            view.lines = entries.iter().map(|entry| entry.id).collect();
            view.heading = sentence(&format!(
                "{} of {} in the drawer, marked {} and so on; {} is put away",
                capital(&counted(view.chips.len(), "chip", "chips")),
                machine.tag,
                view.chips
                    .first()
                    .map(|row| row.mark.as_str())
                    .unwrap_or_default(),
                machine.tag
            ));
        }
        Ok(view)
    }
}

/// Chance that the chip of each position is bad.
fn bad_chips(modes: &[crate::reckon::Suspicion]) -> BTreeMap<String, f64> {
    let mut bad: BTreeMap<String, f64> = BTreeMap::new();
    let own = modes
        .iter()
        .filter(|mode| mode.site == Site::Chip && !mode.outside);
    for mode in own {
        *bad.entry(mode.part.clone()).or_default() += mode.chance;
    }
    bad
}

fn named(asked: &Strip, machine: &Machine, board: &Profile) -> Result<BTreeSet<String>> {
    let mut parts = BTreeSet::new();
    let typed = asked.parts.iter().flat_map(|part| part.split([',', ' ']));
    for part in typed.filter(|part| !part.is_empty()) {
        let part = find_part(part, board).map_err(|problem| {
            Error::new(ErrorKind::NotFound, problem).hint("nothing was written")
        })?;
        if machine.empty.contains(&part) {
            return Err(Error::new(
                ErrorKind::Refused,
                format!("{part} of {} is empty", machine.tag),
            ));
        }
        parts.insert(part);
    }
    Ok(parts)
}

fn view(
    state: &State,
    machine: &Machine,
    board: &Profile,
    bad: &BTreeMap<String, f64>,
    asked: &Strip,
    named: &BTreeSet<String>,
) -> StripView {
    let mut view = StripView {
        heading: String::new(),
        tag: machine.tag.clone(),
        plan: String::new(),
        chips: Vec::new(),
        left: Vec::new(),
        minutes: 0.0,
        lines: Vec::new(),
    };
    let library = &state.folder.library;
    let held = board
        .parts
        .iter()
        .filter(|part| !machine.empty.contains(&part.reference));
    for part in held {
        let Some(device) = &part.device else { continue };
        let soldered = part.mount == Mount::Soldered;
        let out = taking_out(library, part);
        let chance = bad.get(&part.reference).copied().unwrap_or(0.0);
        let mut row = StripRow {
            part: part.reference.clone(),
            device: device.clone(),
            good: (1.0 - chance).clamp(0.0, 1.0) * out.whole,
            mark: mark(&state.pile, machine, part),
            note: if soldered {
                "unsoldered".to_string()
            } else {
                String::new()
            },
        };
        let wanted = match named.is_empty() {
            true => 1.0 - chance >= GOOD_ENOUGH && (!soldered || asked.soldered),
            false => named.contains(&part.reference),
        };
        if wanted {
            view.minutes += out.minutes;
            view.chips.push(row);
            continue;
        }
        row.note = match (1.0 - chance < GOOD_ENOUGH, soldered) {
            (true, _) => format!("bad with {}", percent(chance)),
            (false, true) => "soldered in".to_string(),
            (false, false) => "not asked for".to_string(),
        };
        view.left.push(row);
    }
    view.heading = sentence(&format!(
        "{} of {} would go into the drawer, {} of work",
        capital(&counted(view.chips.len(), "chip", "chips")),
        machine.tag,
        minutes(view.minutes)
    ));
    view
}

/// The chip's own mark, else one made of tag and position.
fn mark(pile: &Pile, machine: &Machine, part: &Part) -> String {
    if let Some(own) = machine.marked.get(&part.reference) {
        return own.clone();
    }
    let first = format!("{}.{}", machine.tag, part.reference);
    let mut mark = first.clone();
    let mut nth = 1;
    while pile.marks.contains_key(&mark) {
        nth += 1;
        mark = format!("{first}-{nth}");
    }
    mark
}

/// What the plan does with the machine.
fn planned(core: &crate::plan::Core, tag: &str) -> String {
    let decision = core.plan.machines.iter().find(|one| one.id == tag);
    let takers: BTreeSet<String> = core
        .given
        .iter()
        .filter(|(_, from)| from.iter().any(|(giver, _)| giver == tag))
        .map(|((taker, _), _)| taker.clone())
        .collect();
    let takers: Vec<String> = takers.into_iter().collect();
    match decision.map(|one| &one.choice) {
        Some(Choice::Donor) if !takers.is_empty() => {
            format!("The plan gives it up too, for {}.", listed(&takers, "and"))
        }
        Some(Choice::Donor) => "The plan gives it up too.".to_string(),
        Some(Choice::Repair(kit)) => format!(
            "The plan would mend it: it would work then with {}.",
            percent(kit.chance)
        ),
        Some(Choice::Sell) => "The plan sells it as it stands.".to_string(),
        Some(Choice::Hold) => "The plan leaves it as it is.".to_string(),
        None => "The plan does not speak of it: it is put away.".to_string(),
    }
}
