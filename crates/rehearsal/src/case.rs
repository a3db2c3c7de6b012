//! One machine on the bench as the person sees it: what was done, what it showed, what it cost.

use catalogue::Site;
use diagnosis::{Action, BenchStep, Chip, Machine, Measure, Places, Shown, Situation, Supply};

use crate::terms::{How, Terms};

/// The tag under which a policy sees the machine it is asked about.
pub const TAG: &str = "M";
/// The lot of every machine of a pile.
pub(crate) const LOT: &str = "lot";

/// What a policy may decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Decision {
    /// Make the check of this number.
    Check(usize),
    /// Do the remedy of this number, then the retest.
    Remedy(usize),
    /// Leave the machine as it is.
    Stop,
}

/// What was done, and what was seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Move {
    /// A check and its outcome; one more than the last is `cannot`.
    Check(usize, usize),
    /// A remedy.
    Remedy(usize),
}

/// Whether time passes at the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    /// Minutes pass: long work ends sessions and power-ups.
    Runs,
    /// Steps without a time: sessions last as long as the machine is on the bench.
    Stands,
}

/// Minutes by what they went into.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Minutes {
    /// Checks.
    pub checks: f64,
    /// Set-ups.
    pub set_ups: f64,
    /// Remedies.
    pub remedies: f64,
    /// Looking whether it works.
    pub retests: f64,
}

impl Minutes {
    /// All of them.
    #[must_use]
    pub fn sum(&self) -> f64 {
        self.checks + self.set_ups + self.remedies + self.retests
    }
}

/// A machine on the bench as it is seen.
#[derive(Debug, Clone)]
pub struct Case<'a> {
    pub(crate) terms: &'a Terms,
    pub(crate) situation: Situation,
    pub(crate) history: Vec<Move>,
    /// Set-ups that stand.
    pub(crate) standing: Vec<String>,
    /// Checks made since the last remedy.
    pub(crate) made: Vec<usize>,
    pub(crate) minutes: Minutes,
    pub(crate) money: f64,
    clock: Clock,
}

impl<'a> Case<'a> {
    /// A machine of which nothing is known.
    pub(crate) fn new(terms: &'a Terms, clock: Clock) -> Self {
        let machine = Machine {
            tag: TAG.to_owned(),
            profile: terms.profile.id.clone(),
            lot: Some(LOT.to_owned()),
            ..Machine::default()
        };
        let profile = (terms.profile.id.clone(), terms.profile.clone());
        Self {
            terms,
            situation: Situation {
                profiles: [profile].into(),
                machines: vec![machine],
                ..Situation::default()
            },
            history: Vec::new(),
            standing: Vec::new(),
            made: Vec::new(),
            minutes: Minutes::default(),
            money: 0.0,
            clock,
        }
    }

    /// What is forced now: after a remedy the retest.
    pub(crate) fn forced(&self) -> Option<Decision> {
        matches!(self.history.last(), Some(Move::Remedy(_)))
            .then_some(Decision::Check(self.terms.retest))
    }

    /// The last look was the retest, and it passed.
    pub(crate) fn passed(&self) -> bool {
        self.history.last() == Some(&Move::Check(self.terms.retest, 0))
    }

    /// Whether the retest passed since the last remedy.
    pub(crate) fn is_known_to_work(&self) -> bool {
        self.since_remedy()
            .any(|one| *one == Move::Check(self.terms.retest, 0))
    }

    /// Whether the retest was made since the last remedy.
    pub(crate) fn is_retested(&self) -> bool {
        self.since_remedy()
            .any(|one| matches!(one, Move::Check(check, _) if *check == self.terms.retest))
    }

    fn since_remedy(&self) -> impl Iterator<Item = &Move> {
        let moves = self.history.iter().rev();
        moves.take_while(|one| !matches!(one, Move::Remedy(_)))
    }

    /// Money spent, minutes at their rate.
    pub(crate) fn spent(&self) -> f64 {
        self.money + self.minutes.sum() * self.terms.economy.rate_per_minute
    }

    /// What a decision costs now, minutes at their rate; the retest after a remedy is a decision of its own.
    pub(crate) fn price(&self, decision: Decision) -> f64 {
        let mut then = self.clone_of_costs();
        then.pay(decision);
        then.spent() - self.spent()
    }

    fn clone_of_costs(&self) -> Case<'a> {
        Case {
            situation: Situation::default(),
            history: Vec::new(),
            standing: self.standing.clone(),
            made: Vec::new(),
            ..*self
        }
    }

    /// Pays for a decision: its minutes, its money, set-ups that do not stand yet.
    fn pay(&mut self, decision: Decision) {
        let economy = &self.terms.economy;
        match decision {
            Decision::Check(index) => {
                let check = &self.terms.profile.checks[index];
                for set_up in &check.set_up {
                    if !self.standing.contains(set_up) {
                        self.minutes.set_ups +=
                            economy.set_up_minutes.get(set_up).copied().unwrap_or(0.0);
                        self.standing.push(set_up.clone());
                    }
                }
                if index == self.terms.retest {
                    self.minutes.retests += check.minutes;
                } else {
                    self.minutes.checks += check.minutes;
                }
            }
            Decision::Remedy(index) => {
                let remedy = &economy.remedies[index];
                self.minutes.remedies += remedy.minutes;
                self.money += remedy.money;
            }
            Decision::Stop => {}
        }
    }

    /// What is done at the bench for a decision, on the machine of a tag.
    pub(crate) fn step(&self, decision: Decision, tag: &str) -> Option<BenchStep> {
        let machine = tag.to_owned();
        let action = match decision {
            Decision::Check(index) => Action::Measure(Measure {
                machine,
                check: self.terms.profile.checks[index].id.clone(),
                shown: Shown::Skipped,
                person: None,
                minutes_on: None,
                supply: Supply::Usual,
            }),
            Decision::Remedy(index) => {
                let remedy = &self.terms.economy.remedies[index];
                let part = remedy.part.clone();
                match self.terms.how[index] {
                    How::Fit => Action::Fit {
                        machine,
                        part,
                        chip: Chip::New {
                            works: remedy.works,
                        },
                        old_mark: None,
                    },
                    How::Treat(treatment) => Action::Treat {
                        machine,
                        treatment,
                        places: Places::Parts(vec![part]),
                    },
                }
            }
            Decision::Stop => return None,
        };
        let time = match self.clock {
            Clock::Runs => Some(self.minutes.sum()),
            Clock::Stands => None,
        };
        Some(BenchStep { time, action })
    }

    /// Writes down what was done and seen, and pays for it.
    pub(crate) fn write(&mut self, decision: Decision, outcome: usize) {
        let Some(mut step) = self.step(decision, TAG) else {
            return;
        };
        self.pay(decision);
        match (&mut step.action, decision) {
            (Action::Measure(measure), Decision::Check(check)) => {
                let outcomes = &self.terms.profile.checks[check].outcomes;
                measure.shown = outcomes
                    .get(outcome)
                    .map_or(Shown::Cannot, |shown| Shown::Outcome(shown.id.clone()));
                self.history.push(Move::Check(check, outcome));
                self.made.push(check);
            }
            (_, Decision::Remedy(remedy)) => {
                self.history.push(Move::Remedy(remedy));
                self.made.clear();
            }
            _ => {}
        }
        self.situation.steps.push(step);
    }

    /// How often a remedy was done.
    pub(crate) fn times(&self, remedy: usize) -> usize {
        self.history
            .iter()
            .filter(|one| **one == Move::Remedy(remedy))
            .count()
    }

    /// The remedy for a part's chip or place that does most for its cost.
    pub(crate) fn best_remedy(&self, part: &str, site: Site) -> Option<usize> {
        let economy = &self.terms.economy;
        let ratio = |index: &usize| {
            let remedy = &economy.remedies[*index];
            let minutes = remedy.minutes + economy.retest_minutes;
            remedy.works / (remedy.money + minutes * economy.rate_per_minute).max(1e-9)
        };
        (0..economy.remedies.len())
            .filter(|&index| {
                economy.remedies[index].part == part && economy.remedies[index].site == site
            })
            .max_by(|a, b| ratio(a).total_cmp(&ratio(b)).then(b.cmp(a)))
    }
}

/// The number of an outcome; one more than the last is `cannot`.
pub(crate) fn outcome_of(terms: &Terms, check: usize, shown: &Shown) -> usize {
    let outcomes = &terms.profile.checks[check].outcomes;
    let found = match shown {
        Shown::Outcome(id) => outcomes.iter().position(|outcome| outcome.id == *id),
        _ => None,
    };
    found.unwrap_or(outcomes.len())
}
