//! What to do next: the expected saving of each check against the best course without it.
//!
//! The course without checks fits suspects one at a time in the order of chance by cost (p/C; Kadane & Simon, "Optimal
//! strategies for a class of constrained sequential problems", Annals of Statistics 5, 1977; for troubleshooting with repairs:
//! Heckerman, Breese & Rommelse, CACM 38(3), 1995), with a retest after each, and stops where going on no longer pays; leaving the
//! machine as it is, is its shortest form. What it is worth is exact for the given order: after the first suspects are put
//! right the machine works if every other part is good, and that chance is asked of the network for each length.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Check, Site};

use crate::{
    answer::{Course, Economy, Holder, ModeChance, Step},
    compiled::Compiled,
    diagnosis::{Diagnosis, Listed, listed_on, members_of, outcome_names},
    error::Error,
    groups::Group,
    lower::Asked,
    model::Var,
    tree::{Question, Tree, Upward},
    unroll::Unrolled,
};

/// Suspects that a course tries at most.
const MOST_TRIED: usize = 8;
/// A suspect below this chance is not tried.
const LEAST_CHANCE: f64 = 1e-3;
/// An outcome below this chance is not followed.
const LEAST_OUTCOME: f64 = 1e-9;

impl Diagnosis {
    /// Every check not yet made in the present epoch with what it saves, the largest saving first (those whose
    /// instrument is missing last), and the best course without further checks.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn next(&self, tag: &str, economy: &Economy) -> Result<(Vec<Step>, Course), Error> {
        let (group, machine) = self.place(tag)?;
        let marginals = self.marginals(group);
        let Group {
            unrolled,
            outer,
            compiled: plain,
            ..
        } = &self.groups()[group];
        if plain.upward.log_total == f64::NEG_INFINITY {
            // the findings contradict each other: nothing can be weighed before one is taken back
            let leave = Course {
                remedies: Vec::new(),
                value: economy.hold,
                works: 0.0,
                minutes: 0.0,
            };
            return Ok((Vec::new(), leave));
        }
        let adviser = Adviser::new(unrolled, machine, plain, economy);
        let course = adviser.course(&Question::default(), &plain.upward, marginals)?;
        let mut steps = Vec::new();
        for check in unrolled.open_checks(machine) {
            let (unrolled, asked) = unrolled.ask(machine, check);
            let compiled = Compiled::of(&unrolled, std::slice::from_ref(&asked), outer.as_ref())?;
            let check = &unrolled.graph.boards[machine].profile.checks[check];
            steps.push(
                Adviser::new(&unrolled, machine, &compiled, economy)
                    .step(check, &asked, &course)?,
            );
        }
        let missing = |step: &Step| {
            step.new_set_ups
                .iter()
                .any(|set_up| economy.missing.contains(set_up))
        };
        steps.sort_by(|a, b| {
            missing(a)
                .cmp(&missing(b))
                .then(b.saving.total_cmp(&a.saving))
        });
        Ok((steps, course))
    }
}

struct Adviser<'a> {
    compiled: &'a Compiled,
    economy: &'a Economy,
    /// Modes of this machine.
    listed: Vec<Listed>,
    /// Everything that must be good for the machine to work.
    members: Vec<Var>,
    /// By variable: the remedy that puts it right for the least money and minutes by chance.
    remedies: BTreeMap<Var, usize>,
    /// Remedies for positions without a chip: nothing works before them.
    forced: Vec<usize>,
    /// A position without a chip has no remedy.
    hopeless: bool,
}

impl<'a> Adviser<'a> {
    fn new(
        unrolled: &Unrolled,
        machine: usize,
        compiled: &'a Compiled,
        economy: &'a Economy,
    ) -> Self {
        let listed = listed_on(unrolled, machine, &compiled.lowered);
        let members = members_of(unrolled, machine, &compiled.lowered)
            .iter()
            .map(|member| member.var)
            .collect();
        let cost = |index: usize| cost_of(economy, index);
        let better = |a: usize, b: usize| {
            cost(a) * economy.remedies[b].works < cost(b) * economy.remedies[a].works
        };
        let mut remedies: BTreeMap<Var, usize> = BTreeMap::new();
        for (index, remedy) in economy.remedies.iter().enumerate() {
            let vars: BTreeSet<Var> = listed
                .iter()
                .filter(|listed| {
                    listed.site == remedy.site && part_of(listed) == Some(&remedy.part)
                })
                .filter_map(|listed| listed.at)
                .map(|(var, _)| var)
                .collect();
            for var in vars {
                remedies
                    .entry(var)
                    .and_modify(|best| {
                        if better(index, *best) {
                            *best = index
                        }
                    })
                    .or_insert(index);
            }
        }
        let mut forced = Vec::new();
        let mut hopeless = false;
        for part in unrolled.missing_parts(machine) {
            let fitting = (0..economy.remedies.len()).filter(|&index| {
                economy.remedies[index].part == part && economy.remedies[index].site == Site::Chip
            });
            match fitting.reduce(|best, index| if better(index, best) { index } else { best }) {
                Some(index) => forced.push(index),
                None => hopeless = true,
            }
        }
        Self {
            compiled,
            economy,
            listed,
            members,
            remedies,
            forced,
            hopeless,
        }
    }

    /// The best course under a question, whose posteriors are known.
    fn course(
        &self,
        question: &Question,
        upward: &Upward,
        marginals: &[Vec<f64>],
    ) -> Result<Course, Error> {
        let economy = self.economy;
        let leave = Course {
            remedies: Vec::new(),
            value: economy.hold,
            works: 0.0,
            minutes: 0.0,
        };
        if self.hopeless {
            return Ok(leave);
        }
        let tried = self.order(marginals);
        let solved = self.solved(question, upward, &tried)?;
        let mut now = Course {
            remedies: self.forced.clone(),
            value: 0.0,
            works: solved[0],
            minutes: 0.0,
        };
        let mut spent = 0.0;
        for &index in &self.forced {
            now.works *= economy.remedies[index].works;
            now.minutes += economy.remedies[index].minutes + economy.retest_minutes;
            spent += cost_of(economy, index);
        }
        let value =
            |works: f64, spent: f64| economy.worth * works + economy.hold * (1.0 - works) - spent;
        let mut best = if self.forced.is_empty() {
            Course {
                value: value(now.works, 0.0),
                ..now.clone()
            }
        } else {
            leave
        };
        let sure: f64 = self
            .forced
            .iter()
            .map(|&index| economy.remedies[index].works)
            .product();
        if value(now.works, spent) > best.value {
            best = Course {
                value: value(now.works, spent),
                ..now.clone()
            };
        }
        for (place, &(_, index)) in tried.iter().enumerate() {
            let remedy = &economy.remedies[index];
            let reached = 1.0 - now.works;
            spent += cost_of(economy, index) * reached;
            now.minutes += (remedy.minutes + economy.retest_minutes) * reached;
            now.works = solved[place + 1] * sure;
            now.remedies.push(index);
            if value(now.works, spent) > best.value {
                best = Course {
                    value: value(now.works, spent),
                    ..now.clone()
                };
            }
        }
        Ok(best)
    }

    /// Suspects in the order of chance by cost.
    fn order(&self, marginals: &[Vec<f64>]) -> Vec<(Var, usize)> {
        let mut tried: Vec<(Var, usize)> = self
            .remedies
            .iter()
            .map(|(&var, &index)| (var, index))
            .collect();
        tried.retain(|(var, _)| 1.0 - marginals[*var][0] >= LEAST_CHANCE);
        let suspects: Vec<(f64, f64)> = tried
            .iter()
            .map(|&(var, index)| {
                (
                    (1.0 - marginals[var][0]) * self.economy.remedies[index].works,
                    cost_of(self.economy, index),
                )
            })
            .collect();
        by_chance_and_cost(&suspects)
            .into_iter()
            .take(MOST_TRIED)
            .map(|place| tried[place])
            .collect()
    }

    /// By number of remedies done: the chance that the machine works, each remedy putting its suspect right with its own
    /// chance and everything else being good. With all but the suspects known to be good the network is small.
    fn solved(
        &self,
        question: &Question,
        upward: &Upward,
        tried: &[(Var, usize)],
    ) -> Result<Vec<f64>, Error> {
        let is_tried = |var: &Var| tried.iter().any(|(other, _)| other == var);
        let good: BTreeMap<Var, usize> = self
            .members
            .iter()
            .filter(|var| !is_tried(var))
            .map(|&var| (var, 0))
            .collect();
        let model = self.compiled.lowered.model.clamped(&good);
        let tree = Tree::compile(&model)?;
        let mut solved = Vec::with_capacity(tried.len() + 1);
        for done in 0..=tried.len() {
            let mut whole = question.clone();
            for (place, &(var, remedy)) in tried.iter().enumerate() {
                let cured = if place < done {
                    self.economy.remedies[remedy].works
                } else {
                    0.0
                };
                let states = model.variables[var].states;
                whole.weights.push((
                    var,
                    (0..states)
                        .map(|state| if state == 0 { 1.0 } else { cured })
                        .collect(),
                ));
            }
            solved.push((tree.upward(&whole).log_total - upward.log_total).exp());
        }
        Ok(solved)
    }

    /// A check, what it costs and what it saves against the course without it.
    fn step(&self, check: &Check, asked: &Asked, course: &Course) -> Result<Step, Error> {
        let (economy, tree) = (self.economy, &self.compiled.tree);
        let var = self.compiled.lowered.outcomes[0];
        let marginals = tree.marginals_of(&Question::default(), &self.compiled.upward, &[var]);
        let new_set_ups: Vec<String> = check
            .set_up
            .iter()
            .filter(|set_up| !economy.standing.contains(set_up))
            .cloned()
            .collect();
        let minutes = check.minutes
            + new_set_ups
                .iter()
                .filter_map(|set_up| economy.set_up_minutes.get(set_up))
                .sum::<f64>();
        let harm = self.expected_harm(check, asked);
        let mut expected = 0.0;
        let mut then = Vec::new();
        for ((outcome, &chance), name) in
            marginals[var].iter().enumerate().zip(outcome_names(check))
        {
            if chance < LEAST_OUTCOME {
                expected += chance * course.value;
                then.push((name, None));
                continue;
            }
            let mut question = Question::default();
            question.fix(tree, var, outcome);
            let upward = tree.again(&self.compiled.upward, &question, &question);
            let after = tree.marginals_of(&question, &upward, &self.members);
            expected += chance * self.course(&question, &upward, &after)?.value;
            then.push((name, self.leader(&after)));
        }
        Ok(Step {
            check: check.id.clone(),
            minutes,
            new_set_ups,
            saving: expected
                - course.value
                - minutes * economy.rate_per_minute
                - harm * economy.harm_cost,
            outcomes: outcome_names(check)
                .zip(marginals[var].iter().copied())
                .collect(),
            then,
        })
    }

    /// Expected number of parts harmed by a check: only a good chip is harmed, and only if the check can be done.
    fn expected_harm(&self, check: &Check, asked: &Asked) -> f64 {
        let Compiled {
            lowered,
            tree,
            upward,
        } = self.compiled;
        let outcomes = check.outcomes.len();
        let could = (0..outcomes + usize::from(asked.requires.is_some()))
            .map(|outcome| f64::from(u8::from(outcome < outcomes)));
        let done = (lowered.outcomes[0], could.collect::<Vec<_>>());
        let harmed = check.harms.iter().zip(&asked.harms).map(|(harm, when)| {
            let (Some(when), Some(chip)) = (when, self.chip_of(&harm.part)) else {
                return 0.0;
            };
            let mut question = Question {
                weights: vec![done.clone()],
                ..Question::default()
            };
            question.fix(tree, lowered.ors[*when], 1);
            if let Some(var) = chip {
                question.fix(tree, var, 0);
            }
            harm.chance
                * (tree.log_total_with(upward, &Question::default(), &question) - upward.log_total)
                    .exp()
        });
        harmed.sum()
    }

    /// The variable of the chip at a position; none inside if it cannot be bad, none at all if the position is empty.
    fn chip_of(&self, part: &str) -> Option<Option<Var>> {
        let here = |listed: &&Listed| {
            listed.site == Site::Chip && part_of(listed).is_some_and(|other| other == part)
        };
        self.listed
            .iter()
            .find(here)
            .map(|listed| listed.at.map(|(var, _)| var))
    }

    /// The likeliest mode.
    fn leader(&self, marginals: &[Vec<f64>]) -> Option<ModeChance> {
        let chance = |listed: &Listed| listed.at.map_or(0.0, |(var, state)| marginals[var][state]);
        let best = self
            .listed
            .iter()
            .max_by(|a, b| chance(a).total_cmp(&chance(b)))?;
        Some(ModeChance {
            holder: best.holder.clone(),
            mode: best.mode.clone(),
            site: best.site,
            chance: chance(best),
        })
    }
}

fn part_of(listed: &Listed) -> Option<&String> {
    match &listed.holder {
        Holder::Position { part, .. } => Some(part),
        _ => None,
    }
}

/// The order by decreasing chance over cost of (chance, cost) pairs; equal ones stay in order.
#[must_use]
pub fn by_chance_and_cost(suspects: &[(f64, f64)]) -> Vec<usize> {
    let ratio = |&index: &usize| suspects[index].0 / suspects[index].1.max(1e-9);
    let mut order: Vec<usize> = (0..suspects.len()).collect();
    order.sort_by(|a, b| ratio(b).total_cmp(&ratio(a)));
    order
}

/// Expected cost of trying (chance, cost) pairs in an order until the one that is at fault is found, exactly one being at fault.
#[must_use]
pub fn expected_cost(suspects: &[(f64, f64)], order: &[usize]) -> f64 {
    let mut left = 1.0;
    let mut cost = 0.0;
    for &index in order {
        cost += suspects[index].1 * left;
        left -= suspects[index].0;
    }
    cost
}

/// Money, minutes of work and retest of one remedy.
fn cost_of(economy: &Economy, index: usize) -> f64 {
    let remedy = &economy.remedies[index];
    remedy.money + (remedy.minutes + economy.retest_minutes) * economy.rate_per_minute
}
