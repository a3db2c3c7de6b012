//! Chips tried in the mule: what each would show there, and what knowing it saves.
//!
//! The mule is good and holds one chip of the pile: what its checks show then depends on that chip alone. So a try is a look at the
//! chip itself, weighed like any other look; putting the chip back is part of its minutes. What moving a chip does to the contacts
//! of its place is a cost here; once the swap is made it is part of what is known.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Mount, Part, Profile, Site};

use crate::{
    advise::{Adviser, Cost, Ground, Point, Seen, Way, part_of},
    answer::{Economy, Step},
    asking::{Works, chance_of},
    compiled::Compiled,
    diagnosis::{Diagnosis, Listed, listed_on},
    digits::first_of_most,
    error::Error,
    model::Var,
    situation::{Action, Chip, Machine, Situation, Step as BenchStep},
    tree::{Marginals, Question},
};

/// The mule's tag in its own small situation.
const MULE: &str = "mule";
/// Chips less likely to be bad are not worth a try.
const LEAST_CHANCE: f64 = 0.01;
/// An outcome below this chance is not followed.
const LEAST_OUTCOME: f64 = 1e-9;

/// By state of a chip, the good one first: the chance of each outcome of a check; `cannot` comes last.
type ByState = Vec<Vec<f64>>;

/// What a good board shows with a chip in one of its positions.
#[derive(Debug, Clone)]
pub struct Trial {
    /// The position.
    pub part: String,
    /// Checks that tell a bad chip from a good one: their numbers in the profile, and what each shows.
    checks: Vec<(usize, ByState)>,
}

impl Trial {
    /// The try of one chip of a board; none where it is soldered in, or where no look tells a bad one from a good one. What feeds a rail
    /// is never tried on a good board: too high a supply would hurt it (common practice, no source).
    ///
    /// # Errors
    /// The board ties too much together.
    pub fn of(profile: &Arc<Profile>, part: &Part) -> Result<Option<Self>, Error> {
        let mut rails = profile.rails.iter();
        if part.mount == Mount::Soldered || rails.any(|rail| rail.fed_by.contains(&part.reference))
        {
            return Ok(None);
        }
        if !part.modes.iter().any(|mode| mode.site == Site::Chip) {
            return Ok(None);
        }
        let mut shown = Diagnosis::of(held(profile, part))?.shown_by(MULE, &part.reference)?;
        let tells = |states: &ByState| {
            let apart = |a: &f64, b: &f64| (a - b).abs() > 0.1;
            states
                .iter()
                .any(|other| other.iter().zip(&states[0]).any(|(a, b)| apart(a, b)))
        };
        // a new chip has no mode whose chance is 0, and what that would show is not known
        let known = |states: &ByState| states.iter().all(|state| state.iter().sum::<f64>() > 0.0);
        shown.retain(|(_, states)| known(states) && tells(states));
        Ok((!shown.is_empty()).then(|| Self {
            part: part.reference.clone(),
            checks: shown,
        }))
    }
}

/// The mule with a chip that is as likely good as bad.
fn held(profile: &Arc<Profile>, part: &Part) -> Situation {
    let fit = Action::Fit {
        machine: MULE.to_owned(),
        part: part.reference.clone(),
        chip: Chip::New { works: 0.5 },
        old_mark: None,
    };
    Situation {
        profiles: BTreeMap::from([(profile.id.clone(), Arc::clone(profile))]),
        machines: vec![Machine {
            tag: MULE.to_owned(),
            profile: profile.id.clone(),
            mule: true,
            ..Machine::default()
        }],
        steps: vec![BenchStep {
            time: None,
            action: fit,
        }],
        ..Situation::default()
    }
}

/// What moving the chip of a position to the mule and back takes.
#[derive(Debug, Clone, Copy)]
pub struct Moving {
    /// Minutes for both chips, there and back.
    pub minutes: f64,
    /// Expected number of parts hurt by it.
    pub harm: f64,
}

/// A chip that may be tried, with its variable, its chances and the look that tells most.
struct Candidate<'a> {
    part: &'a String,
    var: Var,
    check: usize,
    /// By outcome: its chance for each state of the chip.
    shown: Vec<Vec<f64>>,
    /// By outcome.
    chances: Vec<f64>,
    moving: Moving,
}

impl Diagnosis {
    /// The number in the profile of each check not yet made, with what it shows by state of the chip at a position.
    fn shown_by(&self, tag: &str, part: &str) -> Result<Vec<(usize, ByState)>, Error> {
        let (group, machine) = self.place(tag)?;
        let unrolled = &self.groups()[group].unrolled;
        let mut shown = Vec::new();
        for asking in self.asked(group, machine)? {
            let listed: Vec<Listed> =
                listed_on(unrolled, machine, &asking.lowered.places).collect();
            let Some(var) = variable_of(&listed, part) else {
                // it cannot be bad
                return Ok(Vec::new());
            };
            let told = asking.told_by(var);
            shown.extend(asking.open.iter().map(|open| {
                let outcomes = |chances: &Vec<f64>| {
                    let outcomes = open.outcomes.iter();
                    outcomes.map(|sum| chance_of(sum, chances)).collect()
                };
                (open.check, told.iter().map(outcomes).collect())
            }));
        }
        shown.sort_by_key(|(check, _)| *check);
        Ok(shown)
    }

    /// Every suspect chip that could be tried in a mule with what the try saves, the largest saving first; of each the look that
    /// tells most a minute. `trial` says how a chip is tried.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn tries(
        &self,
        tag: &str,
        economy: &Economy,
        trial: impl Fn(&Part) -> Result<Option<Arc<Trial>>, Error>,
        moving: impl Fn(&Part) -> Moving,
    ) -> Result<Vec<Step>, Error> {
        let (group, machine) = self.place(tag)?;
        let of = &self.groups()[group];
        let board = &of.unrolled.graph.boards[machine];
        if of.compiled().upward.log_total == f64::NEG_INFINITY || board.mule {
            return Ok(Vec::new());
        }
        let marginals = self.marginals(group);
        let adviser = Adviser::new(&of.unrolled, machine, Ground::plain(of.compiled()), economy);
        let profile = &board.profile;
        let suspect = |part: &&Part| {
            let chip = chip(&adviser.listed, part, |var| &marginals[var]);
            chip.is_some_and(|(_, chances)| 1.0 - chances[0] >= LEAST_CHANCE)
        };
        let mut trials = Vec::new();
        for part in profile.parts.iter().filter(suspect) {
            trials.extend(trial(part)?.map(|trial| (part, trial)));
        }
        let candidates: Vec<Candidate<'_>> = trials
            .iter()
            .filter_map(|(part, trial)| {
                let (var, chances) = chip(&adviser.listed, part, |var| &marginals[var])?;
                let moving = moving(part);
                let minutes = |check: usize| moving.minutes + profile.checks[check].minutes;
                let usable = |check: usize| {
                    let mut set_ups = profile.checks[check].set_up.iter();
                    !set_ups.any(|set_up| economy.missing.contains(set_up))
                };
                let mut checks = trial.checks.iter();
                let whole = checks.all(|(_, states)| states.len() == chances.len());
                let best = || trial.best(var, &chances, usable, minutes, moving);
                whole.then(best).flatten()
            })
            .collect();
        if candidates.is_empty() {
            return Ok(Vec::new());
        }
        let shown = candidates.iter().flat_map(|one| {
            let each = one.shown.iter().zip(&one.chances);
            each.map(|(shown, &chance)| (one.var, shown, chance))
        });
        let shown = shown.filter(|(_, _, chance)| *chance >= LEAST_OUTCOME);
        let shown: Vec<(Var, &Vec<f64>, f64)> = shown.collect();
        let beside = shown
            .iter()
            .map(|&(var, shown, _)| Question::that(&Works::weighing(var, shown)));
        let beside: Vec<Question> = beside.collect();
        let Compiled { tree, upward, .. } = of.compiled();
        let after = tree.posteriors_beside(upward, &beside, &adviser.members);
        let after: Vec<Marginals> = after.into_iter().map(|(_, marginals)| marginals).collect();
        let mut points = vec![adviser.now(marginals)];
        let each = shown.iter().zip(&after);
        points.extend(each.map(|((var, shown, chance), marginals)| Point {
            seen: Seen::Chip(*var, shown),
            log_chance: upward.log_total + chance.ln(),
            marginals,
        }));
        let mut weighed = adviser.weighed_each(&points)?.into_iter();
        let base = weighed
            .next()
            .ok_or_else(|| unreachable!("there is a point"))?;
        let mut found = after.iter().zip(weighed);
        let mut steps: Vec<Step> = candidates
            .iter()
            .map(|one| {
                let ways = one.chances.iter().map(|&chance| Way {
                    chance,
                    after: (chance >= LEAST_OUTCOME).then(|| found.next()).flatten(),
                });
                let ways: Vec<Way<'_>> = ways.collect();
                let check = &profile.checks[one.check];
                let mut set_ups = vec![MULE.to_owned()];
                set_ups.extend(check.set_up.iter().cloned());
                let cost = Cost {
                    minutes: check.minutes + one.moving.minutes,
                    set_ups: &set_ups,
                    harm: one.moving.harm,
                };
                let step = adviser.step(check, cost, &ways, &base);
                Step {
                    tried: Some(one.part.clone()),
                    ..step
                }
            })
            .collect();
        let size = |step: &Step| (step.saving * 1e9).round();
        steps.sort_by(|a, b| size(b).total_cmp(&size(a)));
        Ok(steps)
    }
}

/// The variable of the chip at a position and the chances of its states.
fn chip<'m>(
    listed: &[Listed],
    part: &Part,
    marginals: impl Fn(Var) -> &'m [f64],
) -> Option<(Var, Vec<f64>)> {
    let var = variable_of(listed, &part.reference)?;
    Some((var, marginals(var).to_vec()))
}

/// The variable of the chip at a position.
fn variable_of(listed: &[Listed], part: &str) -> Option<Var> {
    let here =
        |one: &&Listed| one.site == Site::Chip && part_of(one).is_some_and(|other| other == part);
    Some(listed.iter().find(here)?.at?.0)
}

impl Trial {
    /// With the look that tells most a minute.
    fn best(
        &self,
        var: Var,
        chances: &[f64],
        usable: impl Fn(usize) -> bool,
        minutes: impl Fn(usize) -> f64,
        moving: Moving,
    ) -> Option<Candidate<'_>> {
        let told = |one: &&(usize, ByState)| information(chances, &one.1) / minutes(one.0);
        let usable = self.checks.iter().filter(|(check, _)| usable(*check));
        let (check, states) = first_of_most(usable, told)?;
        let outcomes = states.first().map_or(0, Vec::len);
        let shown: Vec<Vec<f64>> = (0..outcomes)
            .map(|outcome| states.iter().map(|state| state[outcome]).collect())
            .collect();
        let of = |shown: &Vec<f64>| shown.iter().zip(chances).map(|(a, b)| a * b).sum();
        Some(Candidate {
            part: &self.part,
            var,
            check: *check,
            chances: shown.iter().map(of).collect(),
            shown,
            moving,
        })
    }
}

/// Bits that what is shown tells of the state.
fn information(chances: &[f64], states: &[Vec<f64>]) -> f64 {
    let mixed = |outcome: usize| -> f64 {
        let each = chances.iter().zip(states);
        each.map(|(chance, state)| chance * state[outcome]).sum()
    };
    let mut bits = 0.0;
    for (chance, state) in chances.iter().zip(states) {
        for (outcome, &shown) in state.iter().enumerate() {
            if chance * shown > 0.0 {
                bits += chance * shown * (shown / mixed(outcome)).log2();
            }
        }
    }
    bits
}
