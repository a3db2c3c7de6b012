//! What a rehearsal is played with: a board, what things cost, and what can be done.

use std::sync::Arc;

use catalogue::{Check, Harm, Need, Outcome, Profile, RailSide, Target, Tells};
use diagnosis::{Economy, Treatment};

use crate::{
    board::{Board, is_powered},
    error::Error,
};

/// The id of the look whether a machine works; the same in every rehearsal.
pub const RETEST: &str = "retest";

/// How a remedy of the economy is done at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// A chip from outside goes in.
    Fit,
    /// The place is treated.
    Treat(Treatment),
}

/// Board, costs and remedies.
#[derive(Debug, Clone)]
pub struct Terms {
    /// The board, and the retest as its last check.
    pub(crate) profile: Arc<Profile>,
    /// Money and minutes; its set-ups begin with none standing.
    pub(crate) economy: Economy,
    /// How each remedy of the economy is done, in the same order.
    pub(crate) how: Vec<How>,
    /// By check: all its instruments are there.
    pub(crate) at_hand: Vec<bool>,
    /// The number of the retest.
    pub(crate) retest: usize,
}

impl Terms {
    /// Adds the retest to a board: switch it on and try everything. It takes the economy's `retest_minutes`, does not err,
    /// and fails if any function fails at that look; a fault that comes and goes may stay hidden from it. It harms what any
    /// other check with the power on may harm.
    ///
    /// # Errors
    /// The remedies and how they are done differ in number, a remedy is for no part, or the board has a `retest` already.
    pub fn new(profile: &Profile, mut economy: Economy, how: Vec<How>) -> Result<Self, Error> {
        if how.len() != economy.remedies.len() {
            return Err(Error::new(format!(
                "found {} ways of doing {} remedies, expected one each",
                how.len(),
                economy.remedies.len()
            )));
        }
        let stray = economy
            .remedies
            .iter()
            .find(|remedy| profile.part(&remedy.part).is_none());
        if let Some(remedy) = stray {
            return Err(Error::new(format!(
                "found a remedy for `{}`, expected a part of board `{}`",
                remedy.part, profile.id
            )));
        }
        if profile.check(RETEST).is_some() || profile.function(RETEST).is_some() {
            return Err(Error::new(format!(
                "found `{RETEST}` on board `{}`, expected no check or function of that name; rename it",
                profile.id
            )));
        }
        economy.standing = Vec::new();
        let mut profile = profile.clone();
        let retest = profile.checks.len();
        add_retest(&mut profile, economy.retest_minutes);
        let missing = |check: &Check| {
            let mut set_up = check.set_up.iter();
            set_up.any(|set_up| economy.missing.contains(set_up))
        };
        Ok(Self {
            at_hand: profile.checks.iter().map(|check| !missing(check)).collect(),
            profile: Arc::new(profile),
            economy,
            how,
            retest,
        })
    }

    /// The board as it is played: the retest is its last check.
    #[must_use]
    pub fn profile(&self) -> &Arc<Profile> {
        &self.profile
    }

    /// What things cost.
    #[must_use]
    pub fn economy(&self) -> &Economy {
        &self.economy
    }

    pub(crate) fn board(&self) -> Board<'_> {
        Board::new(&self.profile)
    }
}

/// A function that needs everything, and the check that tells of it.
fn add_retest(profile: &mut Profile, minutes: f64) {
    let needs = ends(profile).into_iter().map(|target| Need::Target {
        target,
        chance: 1.0,
    });
    let harms = harms(profile);
    profile.functions.push(catalogue::Function {
        id: RETEST.to_owned(),
        title: "everything works".to_owned(),
        needs: needs.collect(),
        leak: 0.0,
    });
    let outcome = |id: &str, title: &str| Outcome {
        id: id.to_owned(),
        title: title.to_owned(),
    };
    profile.checks.push(Check {
        id: RETEST.to_owned(),
        aliases: Vec::new(),
        title: "Does it work?".to_owned(),
        how: "Switch it on and try everything.".to_owned(),
        caution: None,
        minutes,
        set_up: vec!["powered".to_owned()],
        requires: Vec::new(),
        harms,
        at: Vec::new(),
        outcomes: vec![outcome("pass", "works"), outcome("fail", "does not work")],
        tells: Tells::Target {
            target: Target::Function(RETEST.to_owned()),
            false_pass: 0.0,
            false_fail: 0.0,
        },
        blunder: 0.0,
        limits: None,
        repeats_same: false,
    });
}

/// Whoever tries everything switches it on: what any powered check harms, at its worst.
fn harms(profile: &Profile) -> Vec<Harm> {
    let mut harms: Vec<Harm> = Vec::new();
    for harm in profile
        .checks
        .iter()
        .filter(|check| is_powered(check))
        .flat_map(|check| &check.harms)
    {
        let known = harms.iter_mut().find(|known| {
            known.when == harm.when && known.part == harm.part && known.mode == harm.mode
        });
        match known {
            Some(known) => known.chance = known.chance.max(harm.chance),
            None => harms.push(harm.clone()),
        }
    }
    harms
}

/// Functions and rails whose failing does not surely break another function: with them everything is seen.
fn ends(profile: &Profile) -> Vec<Target> {
    let needs = profile
        .functions
        .iter()
        .flat_map(|function| &function.needs);
    let sure: Vec<&Target> = needs
        .filter_map(|need| match need {
            Need::Target { target, chance } if *chance >= 1.0 => Some(target),
            _ => None,
        })
        .collect();
    let functions = profile
        .functions
        .iter()
        .map(|function| Target::Function(function.id.clone()));
    let rails = profile
        .rails
        .iter()
        .map(|rail| Target::Rail(rail.name.clone(), RailSide::Whole));
    functions
        .chain(rails)
        .filter(|target| !sure.contains(&target))
        .collect()
}
