//! What is settled before the plan is made: decisions about machines, remedies, vendors left out.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::RemedyKind;
use planning::{Pin, Settled};
use purchasing::Vendor;

use crate::{
    Error, ErrorKind, PlanLimits,
    economy::kind_title,
    names,
    offer::Offered,
    pile::Pinned,
    words::{listed, quoted},
    workshop::{Result, State},
};

/// Decisions as they are typed.
const DECISIONS: [(&str, Pin); 5] = [
    ("fix", Pin::Repair),
    ("hold", Pin::Hold),
    ("donor", Pin::Donor),
    ("sell", Pin::Sell),
    ("keep", Pin::Keep),
];

/// Ways to put a part right.
const WAYS: [RemedyKind; 10] = [
    RemedyKind::Reseat,
    RemedyKind::Resolder,
    RemedyKind::Clean,
    RemedyKind::Salvage,
    RemedyKind::UsedOriginal,
    RemedyKind::NewOldStock,
    RemedyKind::ModernEquivalent,
    RemedyKind::Adapter,
    RemedyKind::HomeBuilt,
    RemedyKind::ProgrammedLogic,
];

/// One settled decision.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum One {
    /// About a machine.
    Machine(String, Pin),
    /// About a part of a machine: tag, position, way.
    Part(String, String, RemedyKind),
}

impl One {
    pub(crate) fn tag(&self) -> &str {
        match self {
            One::Machine(tag, _) | One::Part(tag, ..) => tag,
        }
    }

    /// As it is typed.
    pub(crate) fn typed(&self) -> String {
        match self {
            One::Machine(tag, pin) => format!("{tag} {}", word(*pin)),
            One::Part(tag, part, way) => format!("{tag} {part} {}", way.word()),
        }
    }

    /// `T-06 is given up`, `U9 of T-07 is put right: used original`.
    pub(crate) fn sentence(&self) -> String {
        match self {
            One::Machine(tag, Pin::Sell) => format!("{tag} is sold as it stands"),
            One::Machine(tag, Pin::Keep) => format!("{tag} is neither given up nor sold"),
            One::Machine(tag, pin) => format!("{tag} is {pin}"),
            One::Part(tag, part, way) => {
                format!("{part} of {tag} is put right: {}", kind_title(*way))
            }
        }
    }

    fn replaces(&self, other: &One) -> bool {
        match (self, other) {
            (One::Machine(tag, _), One::Machine(other, _)) => tag == other,
            (One::Part(tag, part, _), One::Part(other, place, _)) => tag == other && part == place,
            _ => false,
        }
    }
}

fn word(pin: Pin) -> &'static str {
    let known = DECISIONS.iter().find(|(_, known)| *known == pin);
    known.map_or("", |(word, _)| word)
}

/// Reads `T-06 donor` or `T-07 U9 used-original`.
pub(crate) fn read(state: &State, typed: &str) -> Result<One> {
    let words: Vec<&str> = typed.split_whitespace().collect();
    let wrong = |found: &str| {
        let decisions = DECISIONS.map(|(word, _)| word.to_string());
        Error::new(
            ErrorKind::Usage,
            format!(
                "expected {}, found {}",
                listed(&decisions, "or"),
                quoted(found)
            ),
        )
        .hint("`T-06 donor`, or a part and a way: `T-07 U9 used-original`")
    };
    match words.as_slice() {
        [tag, decision] => {
            let tag = state.machine(tag)?.tag.clone();
            let known = DECISIONS.iter().find(|(word, _)| word == decision);
            let (_, pin) = known.ok_or_else(|| wrong(decision))?;
            Ok(One::Machine(tag, *pin))
        }
        [tag, part, way] => {
            let machine = state.machine(tag)?;
            let board = state.folder.board(&machine.board)?;
            let parts = || board.parts.iter().map(|part| part.reference.as_str());
            let Some(part) = parts().find(|one| one.eq_ignore_ascii_case(part)) else {
                let near = names::nearest(part, parts());
                let hint = near.first().map_or_else(
                    || "the board's file names its parts".to_string(),
                    |near| format!("is it {near}?"),
                );
                let message = format!("{} has no part {}", machine.tag, quoted(part));
                return Err(Error::new(ErrorKind::NotFound, message).hint(hint));
            };
            let known = WAYS.into_iter().find(|known| known.word() == *way);
            let way = known.ok_or_else(|| {
                let ways = WAYS.map(|way| way.word().to_string());
                Error::new(
                    ErrorKind::Usage,
                    format!("expected {}, found {}", listed(&ways, "or"), quoted(way)),
                )
            })?;
            Ok(One::Part(machine.tag.clone(), part.to_string(), way))
        }
        _ => Err(wrong(typed)),
    }
}

/// What was settled so far, with what is asked now.
pub(crate) fn merged(state: &State, limits: &PlanLimits) -> Result<Pinned> {
    let mut pinned = state.pile.pinned.clone();
    for typed in &limits.free {
        if typed == "all" {
            pinned.pins.clear();
            continue;
        }
        let tag = state.machine(typed)?.tag.clone();
        let own = |pin: &String| pin.split_whitespace().next() == Some(tag.as_str());
        pinned.pins.retain(|pin| !own(pin));
    }
    let mut now: Vec<One> = Vec::new();
    for typed in &limits.pins {
        let one = read(state, typed)?;
        if let Some(other) = now
            .iter()
            .find(|other| one.replaces(other) && one != **other)
        {
            return Err(contradiction(&[other.typed(), one.typed()]));
        }
        pinned
            .pins
            .retain(|old| !read(state, old).is_ok_and(|old| one.replaces(&old)));
        pinned.pins.push(one.typed());
        now.push(one);
    }
    pinned.pins.sort();
    pinned.pins.dedup();
    let vendors = &state.folder.vendors;
    let vendor = |typed: &str| {
        let is = |vendor: &&Vendor| {
            vendor.id == typed || names::plain(&vendor.title) == names::plain(typed)
        };
        vendors.iter().find(is).map(|vendor| &vendor.id)
    };
    for typed in &limits.with {
        let meant = vendor(typed).unwrap_or(typed);
        pinned.without.retain(|id| typed != "all" && id != meant);
    }
    for typed in &limits.without {
        let Some(meant) = vendor(typed) else {
            let known: Vec<String> = vendors.iter().map(|vendor| vendor.id.clone()).collect();
            let known = match known.as_slice() {
                [] => "there are none yet".to_string(),
                known => format!("there are {}", listed(known, "and")),
            };
            return Err(Error::new(
                ErrorKind::NotFound,
                format!("there is no vendor {}; {known}", quoted(typed)),
            ));
        };
        if !pinned.without.contains(meant) {
            pinned.without.push(meant.clone());
        }
    }
    pinned.without.sort();
    Ok(pinned)
}

fn contradiction(pins: &[String]) -> Error {
    Error::new(
        ErrorKind::Refused,
        format!("these cannot be kept together: {}", listed(pins, "and")),
    )
    .hint("let one of them go: `--free` with its machine")
}

/// Settled decisions as the search takes them, those that still mean something, and what is to be said of the others.
#[derive(Debug, Clone, Default)]
pub(crate) struct Taken {
    pub(crate) pins: Vec<One>,
    pub(crate) left_out: Vec<String>,
}

/// Takes the settled decisions that can be taken with this pile.
pub(crate) fn taken(state: &State, pins: &[String], offered: &Offered) -> Taken {
    let mut taken = Taken::default();
    for typed in pins {
        match read(state, typed) {
            Err(error) => taken.left_out.push(format!("{typed}: {}", error.message)),
            Ok(one) if !offered.instance.machines.iter().any(|m| m.id == one.tag()) => taken
                .left_out
                .push(format!("{typed}: it is not on the bench")),
            Ok(one) => taken.pins.push(one),
        }
    }
    taken
}

/// The settled decisions of a search.
pub(crate) fn settle(
    settings: &mut planning::Settings,
    state: &State,
    pins: &[One],
    offered: &Offered,
) {
    for one in pins {
        match one {
            One::Machine(tag, pin) => {
                settings.pins.insert(tag.clone(), *pin);
            }
            One::Part(tag, part, way) => {
                let ids = ids(state, tag, part, *way, offered);
                let parts = settings.remedies.entry(tag.clone()).or_default();
                parts.insert(part.clone(), ids);
            }
        }
    }
}

fn ids(
    state: &State,
    tag: &str,
    part: &str,
    way: RemedyKind,
    offered: &Offered,
) -> BTreeSet<String> {
    let board = state
        .pile
        .machine(tag)
        .map(|machine| machine.board.as_str());
    let device = format!("{} {part}", board.unwrap_or_default());
    let remedies = offered.instance.remedies.iter();
    let fitting = remedies.filter(|remedy| remedy.device == device);
    let ways: BTreeMap<&String, &RemedyKind> = offered.kinds.iter().collect();
    fitting
        .filter(|remedy| ways.get(&remedy.id) == Some(&&way))
        .map(|remedy| remedy.id.clone())
        .collect()
}

/// The settled decisions among what cannot be kept together, as they are typed.
pub(crate) fn named(settled: &[Settled], pins: &[One]) -> Vec<One> {
    let is = |one: &&One| match one {
        One::Machine(tag, pin) => settled.contains(&Settled::Machine(tag.clone(), *pin)),
        One::Part(tag, part, _) => settled.contains(&Settled::Remedy(tag.clone(), part.clone())),
    };
    pins.iter().filter(is).cloned().collect()
}

/// Why nothing can be planned, in the words of the workshop.
pub(crate) fn refused(error: planning::Error, pins: &[One], limits: &crate::pile::Limits) -> Error {
    let planning::Error::Conflict(settled) = &error else {
        return match &error {
            planning::Error::NoKit(tag) => Error::new(
                ErrorKind::Refused,
                format!("{tag} cannot be settled so: nothing that can be had brings it about"),
            )
            .hint("add an offer for its parts, or let the decision go: `--free` with its machine"),
            _ => Error::new(ErrorKind::Refused, error.to_string()),
        };
    };
    let mut named: Vec<String> = named(settled, pins).iter().map(One::typed).collect();
    for one in settled {
        match one {
            Settled::Money(_) => named.extend(
                limits
                    .money
                    .as_ref()
                    .map(|money| format!("the limit of {money}")),
            ),
            Settled::Minutes(_) => named.extend(
                limits
                    .evenings
                    .map(|evenings| format!("the limit of {evenings} evenings")),
            ),
            Settled::Working(least) => named.push(format!("{least} machines working")),
            Settled::Machine(..) | Settled::Remedy(..) => {}
        }
    }
    match named.as_slice() {
        [one] => Error::new(
            ErrorKind::Refused,
            format!("{one} cannot be: nothing that can be had brings it about"),
        )
        .hint("let it go: `--free` with its machine"),
        named => contradiction(named),
    }
}
