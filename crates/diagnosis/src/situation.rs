//! What is on the bench: machines, and everything done and seen so far, in order.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Profile;
use units::Component;

/// Machines and all steps made with them, the whole input of a diagnosis.
#[derive(Debug, Clone, Default)]
pub struct Situation {
    /// Board profiles by id.
    pub profiles: BTreeMap<String, Arc<Profile>>,
    /// Machines on hand.
    pub machines: Vec<Machine>,
    /// Lot events known from the history: lot, event, whether it happened.
    pub lots: BTreeMap<String, BTreeMap<String, bool>>,
    /// What was done and seen, in order.
    pub steps: Vec<Step>,
}

/// A copy that can be shared.
impl From<&Situation> for Arc<Situation> {
    fn from(situation: &Situation) -> Self {
        Self::new(situation.clone())
    }
}

impl Situation {
    /// The same with one more step.
    pub(crate) fn with(&self, step: Step) -> Self {
        let mut steps = Vec::with_capacity(self.steps.len() + 1);
        steps.extend_from_slice(&self.steps);
        steps.push(step);
        Self {
            profiles: self.profiles.clone(),
            machines: self.machines.clone(),
            lots: self.lots.clone(),
            steps,
        }
    }
}

/// One machine as it came in.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Machine {
    /// Its tag: `T-07`.
    pub tag: String,
    /// The id of its board profile.
    pub profile: String,
    /// The lot it came with.
    pub lot: Option<String>,
    /// Machine events known from the history.
    pub known: BTreeMap<String, bool>,
    /// Positions without a chip at take-in.
    pub empty: Vec<String>,
    /// Outside things it is used with; all of the profile's if absent.
    pub outside: Option<Vec<String>>,
    /// The fully socketed good board.
    pub mule: bool,
}

/// One thing done or seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// When, in minutes from any fixed moment; steps without a time let no time pass.
    pub time: Option<f64>,
    /// What.
    pub action: Action,
}

/// What was done or seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Action {
    /// A check was made.
    Measure(Measure),
    /// A power-up begins.
    Power {
        /// Machine tag.
        machine: String,
        /// The supply used.
        supply: Supply,
    },
    /// A new set-up at this machine: ends its sessions.
    SetUp {
        /// Machine tag.
        machine: String,
    },
    /// The chip comes out.
    Pull {
        /// Machine tag.
        machine: String,
        /// Position.
        part: String,
        /// Mark put on the chip.
        mark: Option<String>,
    },
    /// A chip goes in.
    Fit {
        /// Machine tag.
        machine: String,
        /// Position.
        part: String,
        /// What goes in.
        chip: Chip,
        /// Mark put on the chip that comes out.
        old_mark: Option<String>,
    },
    /// The chips of two positions change places.
    Swap {
        /// Machine and position.
        a: (String, String),
        /// Machine and position.
        b: (String, String),
    },
    /// Places are treated.
    Treat {
        /// Machine tag.
        machine: String,
        /// How.
        treatment: Treatment,
        /// Which positions.
        places: Places,
    },
    /// A fault outside the profile was mended.
    Mend {
        /// Machine tag.
        machine: String,
    },
    /// The truth was found out.
    Settle {
        /// Machine tag, or nothing for a loose chip.
        machine: Option<String>,
        /// The truth.
        truth: Truth,
    },
}

/// A check made on a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// Machine tag.
    pub machine: String,
    /// Check id.
    pub check: String,
    /// What it showed.
    pub shown: Shown,
    /// Who did it.
    pub person: Option<String>,
    /// Minutes since power-on, if known.
    pub minutes_on: Option<f64>,
    /// The supply used.
    pub supply: Supply,
}

/// What a check showed.
#[derive(Debug, Clone, PartialEq)]
pub enum Shown {
    /// One of the check's outcomes.
    Outcome(String),
    /// A reading in the base unit of the limits, with the components of the instrument's uncertainty.
    Reading {
        /// The reading.
        value: f64,
        /// Rectangular components of its uncertainty.
        components: Vec<Component>,
    },
    /// It could not be done.
    Cannot,
    /// It was skipped, which says nothing.
    Skipped,
}

/// The supply used for a power-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, PartialOrd, Ord, Hash)]
pub enum Supply {
    /// The machine's own.
    #[default]
    Usual,
    /// A bench supply in place of the feeding parts.
    Bench,
}

/// A chip that goes into a position.
#[derive(Debug, Clone, PartialEq)]
pub enum Chip {
    /// From outside, good with this chance.
    New {
        /// Chance that it is good.
        works: f64,
    },
    /// A marked chip pulled before.
    Marked(String),
}

/// What is done to a place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Treatment {
    /// Pull and press in again.
    Reseat,
    /// Resolder the joints.
    Resolder,
    /// Clean the contacts.
    Clean,
}

/// Which positions are treated.
#[derive(Debug, Clone, PartialEq)]
pub enum Places {
    /// Named positions.
    Parts(Vec<String>),
    /// All positions of a block.
    Block(String),
}

/// A truth found out; a finding that cannot err.
#[derive(Debug, Clone, PartialEq)]
pub enum Truth {
    /// The chip or place at this position has this mode.
    Mode {
        /// Position.
        part: String,
        /// Mode id.
        mode: String,
    },
    /// A marked loose chip has this mode.
    MarkedMode {
        /// The chip's mark.
        mark: String,
        /// Mode id.
        mode: String,
    },
    /// The fault was one the profile does not know.
    Unmodelled,
    /// No function fails with every present mode showing.
    Works,
}
