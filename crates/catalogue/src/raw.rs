//! A profile file as it was read: every value checked by itself, names not yet looked up.

use std::collections::BTreeMap;

use crate::fields::At;
use crate::profile::{Check, Mode, Mount, Outcome, Scope, Tells};
use crate::source::Span;

/// Everything of one file.
#[derive(Debug, Default)]
pub(crate) struct Raw {
    pub(crate) board: RawBoard,
    pub(crate) rails: Vec<RawRail>,
    pub(crate) blocks: Vec<RawBlock>,
    pub(crate) outside: Vec<RawOutside>,
    pub(crate) parts: Vec<RawPart>,
    pub(crate) events: Vec<RawEvent>,
    pub(crate) functions: Vec<RawFunction>,
    pub(crate) checks: Vec<RawCheck>,
    /// Parts that were taken to pieces, with those.
    pub(crate) pieces: BTreeMap<String, Vec<String>>,
}

/// `[board]`.
#[derive(Debug, Default)]
pub(crate) struct RawBoard {
    pub(crate) id: String,
    pub(crate) title: Option<String>,
    pub(crate) unmodelled: Option<f64>,
    pub(crate) derive: bool,
    /// What devices do only at times is derived, too.
    pub(crate) at_times: bool,
    /// What the chances of derived modes are multiplied by.
    pub(crate) chances: Option<f64>,
    /// Derived modes, functions, checks and events that this board does not take.
    pub(crate) without: Vec<At<String>>,
}

/// `[[rail]]`.
#[derive(Debug)]
pub(crate) struct RawRail {
    pub(crate) name: At<String>,
    pub(crate) volts: f64,
    pub(crate) tolerance: f64,
    pub(crate) fed_by: Vec<At<String>>,
    pub(crate) leak: f64,
    /// The chance that a derived function fails while the rail is low.
    pub(crate) breaks: f64,
}

/// `[[block]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawBlock {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
}

/// `[[outside]]`.
#[derive(Debug)]
pub(crate) struct RawOutside {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) serves: Vec<At<String>>,
    pub(crate) chance: f64,
}

/// `[[part]]`, one for each position of a range.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawPart {
    pub(crate) reference: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) block: Option<At<String>>,
    pub(crate) device: Option<At<String>>,
    /// What it does on the board, where that is not the device's role or no device is named.
    pub(crate) role: Option<At<String>>,
    /// A device with the same pins and supplies, where the part is a whole block.
    pub(crate) like: Option<At<String>>,
    /// The part that this one is a piece of.
    pub(crate) of: Option<At<String>>,
    /// Its share of that part's faults.
    pub(crate) share: Option<f64>,
    pub(crate) mount: Option<Mount>,
    pub(crate) optional: bool,
    pub(crate) modes: Vec<RawMode>,
    pub(crate) area: Option<[f64; 4]>,
    pub(crate) span: Span,
}

/// `[[part.mode]]`; `spoils` and `spares` of the inner mode are still empty.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawMode {
    pub(crate) mode: Mode,
    pub(crate) spoils: Vec<(At<String>, f64)>,
    pub(crate) spares: Vec<At<String>>,
    pub(crate) span: Span,
}

/// `[[event]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawEvent {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) chance: f64,
    pub(crate) scope: Scope,
    pub(crate) causes: Vec<(At<String>, f64)>,
}

/// `[[function]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawFunction {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) needs: Vec<RawNeed>,
    pub(crate) leak: Option<f64>,
}

/// One entry of `needs`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum RawNeed {
    /// A bare name.
    Name(At<String>),
    /// `{ mode = "U1.weak", chance = 0.6 }`.
    Mode(At<String>, f64),
    /// `{ function = "reset", chance = 1.0 }`, also with `rail`.
    Target(At<String>, f64),
}

/// `[[check]]`; names in the inner check are still empty.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawCheck {
    pub(crate) id: At<String>,
    pub(crate) check: Check,
    pub(crate) minutes: Option<f64>,
    pub(crate) false_pass: Option<f64>,
    pub(crate) false_fail: Option<f64>,
    pub(crate) blunder: Option<f64>,
    pub(crate) requires: Vec<At<String>>,
    pub(crate) harms: Vec<RawHarm>,
    pub(crate) at: Vec<At<String>>,
    pub(crate) outcomes: Option<Vec<At<Outcome>>>,
    pub(crate) tells: Option<RawTells>,
    pub(crate) limits_span: Option<Span>,
    pub(crate) errors_span: Option<Span>,
}

/// `harms`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawHarm {
    pub(crate) when: At<String>,
    pub(crate) mode: At<String>,
    pub(crate) chance: f64,
}

/// `tells`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum RawTells {
    /// One function or rail.
    Target(At<String>),
    /// A table of rows.
    Rows(Vec<RawRow>, Span),
}

/// One row of `tells`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawRow {
    pub(crate) fails: Vec<At<String>>,
    pub(crate) otherwise: bool,
    pub(crate) shows: Vec<(At<String>, f64)>,
    pub(crate) span: Span,
}

impl RawFunction {
    /// What this function says, with the title and the leak of `other` where it is silent.
    pub(crate) fn completed_by(mut self, other: Self) -> Self {
        self.title = self.title.or(other.title);
        self.leak = self.leak.or(other.leak);
        self
    }
}

impl RawCheck {
    /// What this check says, and what `other` says where this one is silent.
    pub(crate) fn completed_by(mut self, other: Self) -> Self {
        let (check, rest) = (&mut self.check, other.check);
        let said = |own: &mut String, other: String| {
            if own.is_empty() {
                *own = other;
            }
        };
        said(&mut check.title, rest.title);
        said(&mut check.how, rest.how);
        if check.aliases.is_empty() {
            check.aliases = rest.aliases;
        }
        if check.set_up.is_empty() {
            check.set_up = rest.set_up;
        }
        check.caution = check.caution.take().or(rest.caution);
        check.limits = check.limits.or(rest.limits);
        check.repeats_same |= rest.repeats_same;
        if self.requires.is_empty() {
            self.requires = other.requires;
        }
        if self.harms.is_empty() {
            self.harms = other.harms;
        }
        if self.at.is_empty() {
            self.at = other.at;
        }
        if self.outcomes.is_none() {
            self.outcomes = other.outcomes;
        }
        self.minutes = self.minutes.or(other.minutes);
        self.false_pass = self.false_pass.or(other.false_pass);
        self.false_fail = self.false_fail.or(other.false_fail);
        self.blunder = self.blunder.or(other.blunder);
        self.tells = self.tells.or(other.tells);
        self
    }

    /// A check of which nothing is said yet.
    pub(crate) fn empty(id: At<String>) -> Self {
        let check = Check {
            id: id.value.clone(),
            aliases: Vec::new(),
            title: String::new(),
            how: String::new(),
            caution: None,
            minutes: 0.0,
            set_up: Vec::new(),
            requires: Vec::new(),
            harms: Vec::new(),
            at: Vec::new(),
            outcomes: Vec::new(),
            tells: Tells::Rows(Vec::new()),
            blunder: 0.0,
            limits: None,
            repeats_same: false,
        };
        Self {
            id,
            check,
            minutes: None,
            false_pass: None,
            false_fail: None,
            blunder: None,
            requires: Vec::new(),
            harms: Vec::new(),
            at: Vec::new(),
            outcomes: None,
            tells: None,
            limits_span: None,
            errors_span: None,
        }
    }
}

impl RawNeed {
    /// Where it stands.
    pub(crate) fn span(&self) -> &Span {
        match self {
            Self::Name(name) | Self::Mode(name, _) | Self::Target(name, _) => &name.span,
        }
    }

    /// What it names.
    pub(crate) fn name(&self) -> &str {
        match self {
            Self::Name(name) | Self::Mode(name, _) | Self::Target(name, _) => &name.value,
        }
    }
}
