//! Which settled decisions and limits cannot be kept together.

use std::collections::BTreeMap;
use std::fmt;

use crate::instance::{Instance, Limits};
use crate::solve::{Error, Pin, Settings, solve_once};

/// Something that a plan has to keep.
#[derive(Debug, Clone, PartialEq)]
pub enum Settled {
    /// A decision about a machine.
    Machine(String, Pin),
    /// The remedy for a part of a machine: machine and part.
    Remedy(String, String),
    /// The money limit.
    Money(i64),
    /// The limit of minutes.
    Minutes(f64),
    /// The least number of machines expected to work.
    Working(f64),
}

impl fmt::Display for Settled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Settled::Machine(id, pin) => write!(f, "`{id}` {pin}"),
            Settled::Remedy(id, part) => write!(f, "the remedy for `{part}` of `{id}`"),
            Settled::Money(limit) => write!(f, "the money limit of {limit}"),
            Settled::Minutes(limit) => write!(f, "the limit of {limit} minutes"),
            Settled::Working(least) => write!(f, "{least} working machines"),
        }
    }
}

/// A smallest set that no plan keeps: without any one of it there is a plan. Called when all together are impossible.
pub(crate) fn conflict(instance: &Instance, settings: &Settings) -> Result<Vec<Settled>, Error> {
    let mut kept = everything(instance, settings);
    let mut at = 0;
    while at < kept.len() {
        let mut fewer = kept.clone();
        fewer.remove(at);
        if possible(instance, settings, &fewer)? {
            at += 1;
        } else {
            kept = fewer;
        }
    }
    Ok(kept)
}

/// Limits first: they are dropped first, so that decisions are named where these alone suffice.
fn everything(instance: &Instance, settings: &Settings) -> Vec<Settled> {
    let limits = instance.limits;
    let mut all = Vec::new();
    all.extend(limits.least_working.map(Settled::Working));
    all.extend(limits.minutes.map(Settled::Minutes));
    all.extend(limits.money.map(Settled::Money));
    let pins = settings.pins.iter();
    all.extend(pins.map(|(id, pin)| Settled::Machine(id.clone(), *pin)));
    for (id, parts) in &settings.remedies {
        all.extend(
            parts
                .keys()
                .map(|part| Settled::Remedy(id.clone(), part.clone())),
        );
    }
    all
}

fn possible(instance: &Instance, settings: &Settings, kept: &[Settled]) -> Result<bool, Error> {
    let mut looser = instance.clone();
    looser.limits = Limits::default();
    let mut fewer = Settings {
        pins: BTreeMap::new(),
        remedies: BTreeMap::new(),
        ..settings.clone()
    };
    for one in kept {
        match one {
            Settled::Machine(id, pin) => {
                fewer.pins.insert(id.clone(), *pin);
            }
            Settled::Remedy(id, part) => {
                let ids = settings.remedies.get(id).and_then(|parts| parts.get(part));
                let parts = fewer.remedies.entry(id.clone()).or_default();
                parts.insert(part.clone(), ids.cloned().unwrap_or_default());
            }
            Settled::Money(limit) => looser.limits.money = Some(*limit),
            Settled::Minutes(limit) => looser.limits.minutes = Some(*limit),
            Settled::Working(least) => looser.limits.least_working = Some(*least),
        }
    }
    match solve_once(&looser, &fewer) {
        Ok(_) => Ok(true),
        Err(Error::Impossible | Error::NoKit(_)) => Ok(false),
        // no proof either way in the time given: take it as kept
        Err(Error::Search(_)) => Ok(true),
        Err(error) => Err(error),
    }
}
