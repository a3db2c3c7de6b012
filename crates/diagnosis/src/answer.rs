//! What a diagnosis answers.

use catalogue::{Site, Target};

/// A mode and the chance that it is present now.
#[derive(Debug, Clone, PartialEq)]
pub struct ModeChance {
    /// Whose: a machine's tag, a marked chip, or an outside thing.
    pub holder: Holder,
    /// The mode's id, `bad` for an outside thing.
    pub mode: String,
    /// Chip or place.
    pub site: Site,
    /// Posterior.
    pub chance: f64,
}

/// Where a mode sits.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Holder {
    /// At a position of a machine.
    Position {
        /// Machine tag.
        machine: String,
        /// Position.
        part: String,
    },
    /// In a loose chip with this mark.
    Marked(String),
    /// In an outside thing.
    Outside(String),
}

/// An exact set of present modes and its share.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// The modes present, by position and mode id; `(outside id, "bad")` for outside things.
    pub modes: Vec<(String, String)>,
    /// The machine has a fault its profile does not know.
    pub unmodelled: bool,
    /// P(this set | findings).
    pub share: f64,
}

/// How well one finding fits the others.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Indices of the steps that make up the finding; more than one for averaged readings.
    pub steps: Vec<usize>,
    /// P(finding | all other findings).
    pub p: f64,
}

/// What a check not yet made would show.
#[derive(Debug, Clone, PartialEq)]
pub struct Prediction {
    /// Check id.
    pub check: String,
    /// Chance of each outcome, in the order of the check's outcomes.
    pub outcomes: Vec<(String, f64)>,
    /// Expected fall of the sum of binary entropies of all modes, in bits.
    pub entropy_fall_bits: f64,
}

/// A check worth making, and what it saves.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Check id.
    pub check: String,
    /// The position whose chip goes into the mule for it, which is looked at in the machine's place.
    pub tried: Option<String>,
    /// Minutes, its share of new set-ups included.
    pub minutes: f64,
    /// Set-ups that are not standing yet.
    pub new_set_ups: Vec<String>,
    /// Expected saving against the best course without it, in money; its own cost is taken off.
    pub saving: f64,
    /// The same if the machine is switched on first and this check is only made where it turns out not to work.
    pub saving_later: f64,
    /// Chance of each outcome.
    pub outcomes: Vec<(String, f64)>,
    /// For each outcome the suspect that would then lead, with its chance.
    pub then: Vec<(String, Option<ModeChance>)>,
}

/// The best course without further checks: fit or treat these one at a time, retest after each.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Remedies in order, as indices into the economy's remedies; empty: leave it as it is.
    pub remedies: Vec<usize>,
    /// Expected worth less expected cost.
    pub value: f64,
    /// Chance that the machine works at its end.
    pub works: f64,
    /// Expected minutes.
    pub minutes: f64,
    /// It begins with looking whether the machine works.
    pub look_first: bool,
}

/// One function's chance to fail at the next look.
#[derive(Debug, Clone, PartialEq)]
pub struct FunctionChance {
    /// The function, or one side of a rail.
    pub target: Target,
    /// Chance that it fails.
    pub chance: f64,
}

/// What money and minutes are worth when the next step is chosen.
#[derive(Debug, Clone, Default)]
pub struct Economy {
    /// Money a bench minute costs.
    pub rate_per_minute: f64,
    /// Worth of the machine when it works.
    pub worth: f64,
    /// Worth when left as it is.
    pub hold: f64,
    /// Minutes of one retest after a remedy.
    pub retest_minutes: f64,
    /// What could be done to each part.
    pub remedies: Vec<RemedyCost>,
    /// Minutes each set-up takes; one that is missing here takes none.
    pub set_up_minutes: std::collections::BTreeMap<String, f64>,
    /// Set-ups that stand already.
    pub standing: Vec<String>,
    /// Set-ups he cannot make: the instrument is missing.
    pub missing: Vec<String>,
    /// Money lost when a check harms a part.
    pub harm_cost: f64,
}

/// What putting one part right costs.
#[derive(Debug, Clone, PartialEq)]
pub struct RemedyCost {
    /// Position.
    pub part: String,
    /// Which side it puts right.
    pub site: Site,
    /// Minutes of work.
    pub minutes: f64,
    /// Price of the part.
    pub money: f64,
    /// Chance that it puts it right.
    pub works: f64,
    /// What it is called: `reseat`, `used original`.
    pub title: String,
}

/// How all that one check showed on one machine speaks for or against the modes of a machine.
///
/// Findings that repeat each other say nothing more each by itself, all others given; together they do.
#[derive(Debug, Clone, PartialEq)]
pub struct Speaks {
    /// Indices of the findings' steps.
    pub steps: Vec<usize>,
    /// Each mode of the machine and of the things outside that it uses, with the decibans for it (above 0) or against it.
    pub decibans: Vec<(Holder, String, f64)>,
}

/// How a finding speaks for or against a suspect.
#[derive(Debug, Clone, PartialEq)]
pub struct Weight {
    /// Indices of the finding's steps.
    pub steps: Vec<usize>,
    /// Decibans: 10 make the odds ten times larger, −10 ten times smaller.
    pub decibans: f64,
}

/// Modes taken as not there, so that the rest could be answered.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SetAside {
    /// Each with its chip or place. Settling one of them, or what hangs together with it, makes the answers exact again.
    pub modes: Vec<(Holder, String)>,
    /// Proven: the chance that any of them is there, and so the error of every chance given, is at most this.
    pub at_most: f64,
}
