//! Policies: what to do next with a machine on the bench.

use std::collections::BTreeMap;

use catalogue::Site;
use diagnosis::{Diagnosis, Economy, Holder, Limits};

use crate::{
    case::{Case, Decision, Move, TAG},
    error::Error,
};

/// A suspect below this chance is not replaced.
const LEAST_CHANCE: f64 = 1e-3;
/// A suspect above this chance is replaced without a further look, by the policy that asks for most information.
const SURE: f64 = 0.7;
/// Thousands of decisions are asked for: what is next to impossible is set aside early, and stays so.
const LIMITS: Limits = Limits {
    entries: 1 << 14,
    worst: 1.0,
};
/// Bits below which a check tells nothing.
const LEAST_BITS: f64 = 0.01;

/// What to do next.
pub trait Policy {
    /// Decides what to do next with a machine.
    ///
    /// # Errors
    /// The findings cannot be reckoned.
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error>;
}

/// The policies that can be rehearsed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Name {
    /// What the diagnosis advises.
    Ours,
    /// The checks in the order of the file, then what the first failing one tells.
    FixedOrder,
    /// Replace the likeliest suspect.
    MostProbable,
    /// The check that clears up most by the minute, until a suspect stands out.
    MostInformation,
    /// Replace parts by their prior chance, socketed ones first.
    UsualSuspects,
}

impl Name {
    /// All of them, ours first.
    pub const ALL: [Name; 5] = [
        Name::Ours,
        Name::FixedOrder,
        Name::MostProbable,
        Name::MostInformation,
        Name::UsualSuspects,
    ];

    /// One word for it: `ours`.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Name::Ours => "ours",
            Name::FixedOrder => "fixed-order",
            Name::MostProbable => "most-probable-first",
            Name::MostInformation => "most-information-first",
            Name::UsualSuspects => "usual-suspects",
        }
    }

    /// The policy itself.
    #[must_use]
    pub fn policy(self) -> Box<dyn Policy> {
        match self {
            Name::Ours => Box::new(Remembering::new(Ours::default())),
            Name::FixedOrder => Box::new(crate::thumb::FixedOrder),
            Name::MostProbable => Box::new(Remembering::new(MostProbable::default())),
            Name::MostInformation => Box::new(Remembering::new(MostInformation::default())),
            Name::UsualSuspects => Box::new(crate::thumb::UsualSuspects),
        }
    }
}

/// Decides the same as before where everything was the same.
struct Remembering<P> {
    policy: P,
    decided: BTreeMap<Vec<Move>, Decision>,
}

impl<P> Remembering<P> {
    fn new(policy: P) -> Self {
        Self {
            policy,
            decided: BTreeMap::new(),
        }
    }
}

impl<P: Policy> Policy for Remembering<P> {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        if let Some(&decision) = self.decided.get(&case.history) {
            return Ok(decision);
        }
        let decision = self.policy.decide(case)?;
        self.decided.insert(case.history.clone(), decision);
        Ok(decision)
    }
}

/// The diagnosis of the case at hand, carried on from the case before where it is the same machine.
#[derive(Debug, Default)]
struct Reader {
    read: Option<(Vec<Move>, Diagnosis)>,
}

impl Reader {
    fn read(&mut self, case: &Case<'_>) -> Result<&Diagnosis, Error> {
        let before = self
            .read
            .take()
            .filter(|(moves, _)| case.history.starts_with(moves));
        let diagnosis = diagnosed(before, case)?;
        Ok(&self.read.insert((case.history.clone(), diagnosis)).1)
    }
}

/// Diagnoses a case; `before` is a diagnosis of its first moves, each of which is a step.
fn diagnosed(before: Option<(Vec<Move>, Diagnosis)>, case: &Case<'_>) -> Result<Diagnosis, Error> {
    let Some((moves, mut diagnosis)) = before else {
        return Ok(Diagnosis::of_within(&case.situation, LIMITS)?);
    };
    for step in &case.situation.steps[moves.len()..] {
        diagnosis = diagnosis.then(step.clone())?;
    }
    Ok(diagnosis)
}

/// The economy with the set-ups that stand now.
fn economy(case: &Case<'_>) -> Economy {
    Economy {
        standing: case.standing.clone(),
        ..case.terms.economy.clone()
    }
}

/// What the diagnosis advises: the check that saves most, else the next step of the best course, else nothing more.
#[derive(Debug, Default)]
pub(crate) struct Ours {
    reader: Reader,
}

impl Policy for Ours {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        let (steps, course) = self.reader.read(case)?.next(TAG, &economy(case))?;
        let checks = &case.terms.profile.checks;
        let at_hand = |step: &&diagnosis::Step| {
            let check = checks.iter().position(|check| check.id == step.check);
            check.is_some_and(|check| case.terms.at_hand[check])
        };
        let best = steps.iter().filter(at_hand).find(|step| step.saving > 0.0);
        let later = steps
            .iter()
            .filter(at_hand)
            .map(|step| step.saving_later)
            .fold(0.0, f64::max);
        let look = course.look_first && !case.is_retested();
        Ok(match (best, course.remedies.first()) {
            (Some(best), _) if !look || best.saving > later => {
                let check = checks.iter().position(|check| check.id == best.check);
                check.map_or(Decision::Stop, Decision::Check)
            }
            (_, Some(_)) if case.is_known_to_work() => Decision::Stop,
            (_, Some(_)) if look => Decision::Check(case.terms.retest),
            (_, Some(&remedy)) => Decision::Remedy(remedy),
            (_, None) => Decision::Stop,
        })
    }
}

/// Whether a rule of thumb ends here: it works, or the machine has eaten what it would bring.
pub(crate) fn is_over(case: &Case<'_>) -> bool {
    let economy = &case.terms.economy;
    case.passed() || case.spent() > economy.worth - economy.hold
}

/// The suspects of a machine with their chances, the likeliest first.
fn suspects(diagnosis: &Diagnosis) -> Vec<(String, Site, f64)> {
    let mut chances: BTreeMap<(String, bool), f64> = BTreeMap::new();
    for mode in diagnosis.modes() {
        if let Holder::Position { part, .. } = mode.holder {
            *chances
                .entry((part, mode.site == Site::Place))
                .or_insert(0.0) += mode.chance;
        }
    }
    let site = |place| if place { Site::Place } else { Site::Chip };
    let mut suspects: Vec<_> = chances
        .into_iter()
        .map(|((part, place), chance)| (part, site(place), chance))
        .collect();
    suspects.sort_by(|a, b| b.2.total_cmp(&a.2));
    suspects
}

/// The remedy for the likeliest suspect that has one, and the suspect's chance.
fn likeliest(case: &Case<'_>, diagnosis: &Diagnosis) -> Option<(usize, f64)> {
    suspects(diagnosis)
        .into_iter()
        .filter(|(_, _, chance)| *chance >= LEAST_CHANCE)
        .find_map(|(part, site, chance)| Some((case.best_remedy(&part, site)?, chance)))
}

/// See whether it works; replace the likeliest suspect until it does.
#[derive(Debug, Default)]
struct MostProbable {
    reader: Reader,
}

impl Policy for MostProbable {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        if case.history.is_empty() {
            return Ok(Decision::Check(case.terms.retest));
        }
        if is_over(case) {
            return Ok(Decision::Stop);
        }
        let found = likeliest(case, self.reader.read(case)?);
        Ok(found.map_or(Decision::Stop, |(remedy, _)| Decision::Remedy(remedy)))
    }
}

/// The check with most bits by the minute until a suspect stands out; then replace that.
#[derive(Debug, Default)]
struct MostInformation {
    reader: Reader,
}

impl Policy for MostInformation {
    fn decide(&mut self, case: &Case<'_>) -> Result<Decision, Error> {
        if is_over(case) {
            return Ok(Decision::Stop);
        }
        let diagnosis = self.reader.read(case)?;
        let found = likeliest(case, diagnosis);
        if let Some((remedy, chance)) = found
            && chance >= SURE
        {
            return Ok(Decision::Remedy(remedy));
        }
        let rate = case.terms.economy.rate_per_minute.max(1e-9);
        let number = |id: &str| {
            case.terms
                .profile
                .checks
                .iter()
                .position(|check| check.id == id)
        };
        let best = diagnosis
            .predictions(TAG)?
            .into_iter()
            .filter(|one| one.entropy_fall_bits >= LEAST_BITS)
            .filter_map(|one| Some((number(&one.check)?, one.entropy_fall_bits)))
            .filter(|(check, _)| case.terms.at_hand[*check])
            .map(|(check, bits)| {
                let minutes = case.price(Decision::Check(check)) / rate;
                (check, bits / minutes.max(0.1))
            })
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        Ok(match (best, found) {
            (Some((check, _)), _) => Decision::Check(check),
            (None, Some((remedy, _))) => Decision::Remedy(remedy),
            (None, None) => Decision::Stop,
        })
    }
}
