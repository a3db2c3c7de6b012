//! What is allowed in a profile but hardly meant.

use std::collections::BTreeSet;
use std::fmt;

use crate::library::Library;
use crate::profile::{Check, Function, Need, Part, Profile, Target, Tells};

/// Something that is allowed but hardly meant.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Smell {
    /// No check tells of this function, nor of one that needs it.
    Untested(String),
    /// Nothing can go wrong with this part but by handling.
    WithoutModes(String),
    /// No function needs this part, it feeds no rail and spoils nothing.
    Useless(String),
    /// The catalogue does not know this part's device.
    UnknownDevice {
        /// The part's reference.
        part: String,
        /// The device it names.
        device: String,
    },
}

impl fmt::Display for Smell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Untested(id) => write!(
                f,
                "no check tells of function `{id}` or of one that needs it"
            ),
            Self::WithoutModes(part) => write!(
                f,
                "part `{part}` has no mode with a chance, so it is never suspected"
            ),
            Self::Useless(part) => write!(
                f,
                "no function and no rail needs part `{part}`, and it spoils nothing"
            ),
            Self::UnknownDevice { part, device } => {
                write!(
                    f,
                    "part `{part}` names device `{device}`, which the catalogue does not know"
                )
            }
        }
    }
}

/// Looks for what is hardly meant; an optional part may well be there for the drawing only.
#[must_use]
pub fn check_profile(profile: &Profile) -> Vec<Smell> {
    let mut smells = untested(profile);
    for part in profile.parts.iter().filter(|part| !part.optional) {
        if part.modes.iter().all(|mode| mode.chance == 0.0) && !struck(profile, &part.reference) {
            smells.push(Smell::WithoutModes(part.reference.clone()));
        }
        let spoils = part.modes.iter().any(|mode| !mode.spoils.is_empty());
        if !spoils && !used(profile, &part.reference) {
            smells.push(Smell::Useless(part.reference.clone()));
        }
    }
    smells
}

/// Parts whose device the catalogue does not know.
#[must_use]
pub fn unknown_devices(profile: &Profile, library: &Library) -> Vec<Smell> {
    let unknown = |part: &Part| {
        let device = part
            .device
            .clone()
            .filter(|device| library.device(device).is_none())?;
        Some(Smell::UnknownDevice {
            part: part.reference.clone(),
            device,
        })
    };
    profile.parts.iter().filter_map(unknown).collect()
}

fn struck(profile: &Profile, part: &str) -> bool {
    profile
        .events
        .iter()
        .flat_map(|event| &event.causes)
        .any(|cause| cause.part == part && cause.chance > 0.0)
}

fn used(profile: &Profile, part: &str) -> bool {
    let needs = |need: &Need| match need {
        Need::Part(name) | Need::Mode { part: name, .. } => name == part,
        Need::Target { .. } => false,
    };
    let feeds = profile
        .rails
        .iter()
        .any(|rail| rail.fed_by.iter().any(|name| name == part));
    feeds
        || profile
            .functions
            .iter()
            .any(|function| function.needs.iter().any(needs))
}

/// Functions that no check tells of, directly or through what needs them.
fn untested(profile: &Profile) -> Vec<Smell> {
    let mut told: BTreeSet<&str> = profile.checks.iter().flat_map(told_by).collect();
    let mut open: Vec<&str> = told.iter().copied().collect();
    while let Some(id) = open.pop() {
        for needed in profile.function(id).into_iter().flat_map(needed_by) {
            if told.insert(needed) {
                open.push(needed);
            }
        }
    }
    let untold = profile
        .functions
        .iter()
        .filter(|function| !told.contains(function.id.as_str()));
    untold
        .map(|function| Smell::Untested(function.id.clone()))
        .collect()
}

fn told_by(check: &Check) -> Vec<&str> {
    match &check.tells {
        Tells::Target { target, .. } => function_id(target).into_iter().collect(),
        Tells::Rows(rows) => rows
            .iter()
            .flat_map(|row| &row.fails)
            .filter_map(function_id)
            .collect(),
    }
}

fn needed_by(function: &Function) -> impl Iterator<Item = &str> {
    function.needs.iter().filter_map(|need| match need {
        Need::Target { target, .. } => function_id(target),
        _ => None,
    })
}

fn function_id(target: &Target) -> Option<&str> {
    match target {
        Target::Function(id) => Some(id),
        Target::Rail(..) => None,
    }
}
