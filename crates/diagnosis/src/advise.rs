//! What to do next: the expected saving of each check against the best course without it.
//!
//! The course without checks fits suspects one at a time in the order of chance by cost (p/C; Kadane & Simon, "Optimal
//! strategies for a class of constrained sequential problems", Annals of Statistics 5, 1977; for troubleshooting with repairs:
//! Heckerman, Breese & Rommelse, CACM 38(3), 1995), with a retest after each, and stops where going on no longer pays; leaving the
//! machine as it is, is its shortest form. Whether it works already is looked at first where that is cheaper than a needless
//! remedy. What a course is worth is exact for the given order: after the first suspects are put right the machine works if
//! every other part is good, and that chance is asked of the network for each length.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Check, Profile, Site};

use crate::{
    answer::{Course, Economy, Holder, ModeChance, Step},
    compiled::Compiled,
    diagnosis::{Diagnosis, Listed, listed_on, members_of, most_for_many, outcome_names},
    error::Error,
    groups::{Group, Outer},
    lower::Asked,
    model::Var,
    tree::{Marginals, Question, Tree},
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
            return Ok((Vec::new(), leave(economy)));
        }
        let adviser = Adviser::new(unrolled, machine, plain, economy);
        let base = adviser.weighed(adviser.now(marginals))?;
        let course = base.course.clone();
        let mut steps = Vec::new();
        let mut open = vec![unrolled.open_checks(machine)];
        while let Some(checks) = open.pop() {
            let (unrolled, asked) = unrolled.ask_each(machine, &checks);
            match Bench::of(unrolled, asked, outer.as_ref(), plain) {
                Ok(bench) => steps.extend(bench.steps(machine, economy, &base)?),
                Err(error) if checks.len() < 2 => return Err(error),
                Err(_) => {
                    let (some, rest) = checks.split_at(checks.len() / 2);
                    open.extend([rest.to_vec(), some.to_vec()]);
                }
            }
        }
        let missing = |step: &Step| {
            step.new_set_ups
                .iter()
                .any(|set_up| economy.missing.contains(set_up))
        };
        // equal savings differ by rounding: then the profile's order counts
        let size = |step: &Step| (step.saving * 1e9).round();
        let checks = &unrolled.graph.boards[machine].profile.checks;
        let place = |step: &Step| checks.iter().position(|check| check.id == step.check);
        steps.sort_by(|a, b| {
            missing(a)
                .cmp(&missing(b))
                .then(size(b).total_cmp(&size(a)))
                .then(place(a).cmp(&place(b)))
        });
        Ok((steps, course))
    }
}

/// Checks not yet made, in one network with their outcomes.
struct Bench {
    unrolled: Unrolled,
    asked: Vec<Asked>,
    compiled: Compiled,
}

impl Bench {
    /// Many checks that tie the network too much together are refused; fewer may do.
    fn of(
        unrolled: Unrolled,
        asked: Vec<Asked>,
        outer: Option<&Outer>,
        plain: &Compiled,
    ) -> Result<Self, Error> {
        let most = if asked.len() > 1 {
            most_for_many(plain.tree.entries())
        } else {
            usize::MAX
        };
        let compiled = Compiled::within(&unrolled, &asked, outer, most)?;
        Ok(Self {
            unrolled,
            asked,
            compiled,
        })
    }

    fn steps(&self, machine: usize, economy: &Economy, base: &Weighed) -> Result<Vec<Step>, Error> {
        let adviser = Adviser::new(&self.unrolled, machine, &self.compiled, economy);
        let Compiled {
            lowered,
            tree,
            upward,
        } = &self.compiled;
        let wanted: Vec<Var> = adviser
            .members
            .iter()
            .chain(&lowered.outcomes)
            .copied()
            .collect();
        let marginals = tree.marginals_of(&Question::default(), upward, &wanted);
        let after = adviser.after_each(&lowered.outcomes, &marginals);
        let points: Vec<Point<'_>> = after
            .iter()
            .zip(&lowered.outcomes)
            .flat_map(|(after, &outcome)| {
                let followed = after.iter().enumerate();
                let marginals = &marginals;
                followed.filter_map(move |(state, after)| {
                    Some(Point {
                        seen: Some((outcome, only(state, tree.states_of(outcome)))),
                        log_chance: upward.log_total + marginals[outcome][state].ln(),
                        marginals: after.as_ref()?,
                    })
                })
            })
            .collect();
        let mut weighed = adviser.weighed_each(&points)?.into_iter();
        let checks = &self.unrolled.graph.boards[machine].profile.checks;
        let each = self.asked.iter().zip(&lowered.outcomes).zip(&after);
        let steps = each.map(|((asked, &outcome), after)| {
            let ways = marginals[outcome].iter().zip(after);
            let ways = ways.map(|(&chance, after)| Way {
                chance,
                after: after
                    .as_ref()
                    .and_then(|after| Some((after, weighed.next()?))),
            });
            let ways: Vec<Way<'_>> = ways.collect();
            let check = &checks[asked.check];
            let cost = Cost {
                minutes: check.minutes,
                set_ups: &check.set_up,
                harm: adviser.expected_harm(check, asked, outcome),
            };
            adviser.step(check, cost, &ways, base)
        });
        Ok(steps.collect())
    }
}

/// What is known at a point from which courses are weighed.
pub(crate) struct Point<'a> {
    /// What was seen: a variable and how much it speaks for each of its states.
    pub(crate) seen: Option<(Var, Vec<f64>)>,
    /// The logarithm of its chance, all findings included.
    pub(crate) log_chance: f64,
    /// Posteriors of the members that may be tried.
    pub(crate) marginals: &'a Marginals,
}

/// The best courses from a point.
pub(crate) struct Weighed {
    course: Course,
    /// Chance that the machine works as it is.
    works: f64,
    /// What the best course is worth once it was seen that the machine does not work.
    value_broken: f64,
}

/// An outcome of a check, and what follows from it if it is followed.
pub(crate) struct Way<'a> {
    pub(crate) chance: f64,
    pub(crate) after: Option<(&'a Marginals, Weighed)>,
}

/// What a look costs before it shows anything.
pub(crate) struct Cost<'a> {
    /// Set-ups left out.
    pub(crate) minutes: f64,
    pub(crate) set_ups: &'a [String],
    /// Expected number of parts hurt.
    pub(crate) harm: f64,
}

pub(crate) struct Adviser<'a> {
    compiled: &'a Compiled,
    economy: &'a Economy,
    /// Modes of this machine.
    pub(crate) listed: Vec<Listed>,
    /// Everything that must be good for the machine to work.
    pub(crate) members: Vec<Var>,
    /// By variable: the remedy that puts it right for the least money and minutes by chance.
    remedies: BTreeMap<Var, usize>,
    /// By a chip's variable: that of its place, and with which chance fitting another chip cures each of its states.
    with_it: BTreeMap<Var, (Var, Vec<f64>)>,
    /// Remedies for positions without a chip: nothing works before them.
    forced: Vec<usize>,
    /// A position without a chip has no remedy.
    hopeless: bool,
}

impl<'a> Adviser<'a> {
    pub(crate) fn new(
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
        let board = &unrolled.graph.boards[machine];
        Self {
            compiled,
            economy,
            with_it: with_it(&board.profile, &listed),
            listed,
            members,
            remedies,
            forced,
            hopeless,
        }
    }

    /// Nothing more was seen.
    pub(crate) fn now<'m>(&self, marginals: &'m Marginals) -> Point<'m> {
        Point {
            seen: None,
            log_chance: self.compiled.upward.log_total,
            marginals,
        }
    }

    /// The best courses from a point.
    pub(crate) fn weighed(&self, point: Point<'_>) -> Result<Weighed, Error> {
        let mut weighed = self.weighed_each(&[point])?;
        weighed
            .pop()
            .ok_or_else(|| unreachable!("one point has one answer"))
    }

    /// The best courses from each point.
    pub(crate) fn weighed_each(&self, points: &[Point<'_>]) -> Result<Vec<Weighed>, Error> {
        if self.hopeless {
            let leave = leave(self.economy);
            let left = |_| Weighed {
                works: 0.0,
                value_broken: leave.value,
                course: leave.clone(),
            };
            return Ok(points.iter().map(left).collect());
        }
        let tried: Vec<Vec<(Var, usize)>> = points
            .iter()
            .map(|point| self.order(point.marginals))
            .collect();
        let solved = self.solved_each(points, &tried)?;
        let each = tried.iter().zip(&solved);
        Ok(each
            .map(|(tried, solved)| self.weigh(tried, solved))
            .collect())
    }

    fn weigh(&self, tried: &[(Var, usize)], solved: &[f64]) -> Weighed {
        // without a chip somewhere it does not work
        let works = if self.forced.is_empty() {
            solved[0].min(1.0)
        } else {
            0.0
        };
        let left = 1.0 - works;
        let broken: Vec<f64> = solved
            .iter()
            .map(|solved| {
                if left > 0.0 {
                    (solved - works).max(0.0) / left
                } else {
                    0.0
                }
            })
            .collect();
        Weighed {
            course: self.course(tried, solved),
            works,
            value_broken: self.course(tried, &broken).value,
        }
    }

    /// The best course with these suspects, `solved` being the chance that the machine works by number of remedies done.
    fn course(&self, tried: &[(Var, usize)], solved: &[f64]) -> Course {
        let economy = self.economy;
        let mut now = Course {
            remedies: self.forced.clone(),
            value: 0.0,
            works: solved[0],
            minutes: 0.0,
            look_first: false,
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
            leave(economy)
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
        if let (true, Some(&(_, first))) = (self.forced.is_empty(), tried.first()) {
            self.begin(first, &mut now, &mut spent);
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
        best
    }

    /// Nobody knows yet whether it works: either that is looked at first, or the first remedy is done in any case.
    fn begin(&self, first: usize, now: &mut Course, spent: &mut f64) {
        let economy = self.economy;
        let look = economy.retest_minutes * economy.rate_per_minute;
        let needless = cost_of(economy, first) * now.works;
        now.look_first = look < needless;
        if now.look_first {
            *spent += look;
            now.minutes += economy.retest_minutes;
        } else {
            *spent += needless;
            now.minutes += (economy.remedies[first].minutes + economy.retest_minutes) * now.works;
        }
    }

    /// Suspects in the order of chance by cost.
    fn order(&self, marginals: &Marginals) -> Vec<(Var, usize)> {
        let mut tried: Vec<(Var, usize)> = self
            .remedies
            .iter()
            .map(|(&var, &index)| (var, index))
            .collect();
        tried.retain(|(var, _)| bad(&marginals[*var]) >= LEAST_CHANCE);
        let suspects: Vec<(f64, f64)> = tried
            .iter()
            .map(|&(var, index)| {
                (
                    bad(&marginals[var]) * self.economy.remedies[index].works,
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

    /// From each point, by number of remedies done: the chance that the machine works, each remedy putting its suspect right with its
    /// own chance and everything else being good.
    fn solved_each(
        &self,
        points: &[Point<'_>],
        tried: &[Vec<(Var, usize)>],
    ) -> Result<Vec<Vec<f64>>, Error> {
        let most = match points.len() {
            0 | 1 => usize::MAX,
            _ => most_for_many(self.compiled.tree.entries()),
        };
        match self.solved_within(points, tried, most) {
            Err(_) if points.len() > 1 => {
                let half = points.len() / 2;
                let mut solved = self.solved_each(&points[..half], &tried[..half])?;
                solved.extend(self.solved_each(&points[half..], &tried[half..])?);
                Ok(solved)
            }
            solved => solved,
        }
    }

    fn solved_within(
        &self,
        points: &[Point<'_>],
        tried: &[Vec<(Var, usize)>],
        most: usize,
    ) -> Result<Vec<Vec<f64>>, Error> {
        let mut free: BTreeSet<Var> = BTreeSet::new();
        for (var, _) in tried.iter().flatten() {
            free.insert(*var);
            free.extend(self.with_it.get(var).map(|(place, _)| *place));
        }
        let tree = self.all_good_but(points, &free, most)?;
        let mut questions = Vec::new();
        for (point, tried) in points.iter().zip(tried) {
            let mut question = Question::default();
            for &var in &free {
                question.fix(&tree, var, 0);
            }
            question.weights.extend(point.seen.clone());
            questions.push(question.clone());
            for &(var, remedy) in tried {
                let works = self.economy.remedies[remedy].works;
                cure(&mut question, var, |_| works);
                if let Some((place, cured)) = self.with_it.get(&var) {
                    cure(&mut question, *place, |state| cured[state]);
                }
                questions.push(question.clone());
            }
        }
        let mut logs = tree.log_totals(&questions).into_iter();
        let each = points.iter().zip(tried);
        Ok(each
            .map(|(point, tried)| {
                let logs = logs.by_ref().take(tried.len() + 1);
                logs.map(|log| (log - point.log_chance).exp()).collect()
            })
            .collect())
    }

    /// A small network: all members are known to be good but these; of the outcomes only those that were seen.
    fn all_good_but(
        &self,
        points: &[Point<'_>],
        free: &BTreeSet<Var>,
        most: usize,
    ) -> Result<Tree, Error> {
        let good: BTreeMap<Var, usize> = self
            .members
            .iter()
            .filter(|var| !free.contains(var))
            .map(|&var| (var, 0))
            .collect();
        let seen = points
            .iter()
            .filter_map(|point| Some(point.seen.as_ref()?.0));
        let kept = self.members.iter().copied().chain(seen).collect();
        let lowered = &self.compiled.lowered;
        let model = lowered.model.clone().pruned(&lowered.outcomes, &kept);
        Tree::compile_within(&model.clamped(&good), most)
    }

    /// A check, what it costs and what it saves against the course without it.
    pub(crate) fn step(
        &self,
        check: &Check,
        cost: Cost<'_>,
        ways: &[Way<'_>],
        base: &Weighed,
    ) -> Step {
        let economy = self.economy;
        let new_set_ups: Vec<String> = cost
            .set_ups
            .iter()
            .filter(|set_up| !economy.standing.contains(set_up))
            .cloned()
            .collect();
        let minutes = cost.minutes
            + new_set_ups
                .iter()
                .filter_map(|set_up| economy.set_up_minutes.get(set_up))
                .sum::<f64>();
        let (mut expected, mut broken) = (0.0, 0.0);
        let mut then = Vec::new();
        for (Way { chance, after }, name) in ways.iter().zip(outcome_names(check)) {
            match after {
                Some((after, weighed)) => {
                    expected += chance * weighed.course.value;
                    broken += chance * (1.0 - weighed.works) * weighed.value_broken;
                    then.push((name, self.leader(after)));
                }
                None => {
                    expected += chance * base.course.value;
                    broken += chance * (1.0 - base.works) * base.value_broken;
                    then.push((name, None));
                }
            }
        }
        let cost = minutes * economy.rate_per_minute + cost.harm * economy.harm_cost;
        let left = 1.0 - base.works;
        Step {
            check: check.id.clone(),
            tried: None,
            minutes,
            new_set_ups,
            saving: expected - base.course.value - cost,
            saving_later: broken - left * (base.value_broken + cost),
            outcomes: outcome_names(check)
                .zip(ways.iter().map(|way| way.chance))
                .collect(),
            then,
        }
    }

    /// By check and outcome: the members' posteriors after it, none where it is too unlikely to be followed. Members that stay below
    /// the chance at which they are tried may be left at 0. A check's likeliest outcome takes what its others leave.
    fn after_each(&self, outcomes: &[Var], marginals: &Marginals) -> Vec<Vec<Option<Marginals>>> {
        let tree = &self.compiled.tree;
        let mut questions = Vec::new();
        let mut least = 1.0_f64;
        for &outcome in outcomes {
            for state in asked_for(&marginals[outcome]) {
                let mut question = Question::default();
                question.fix(tree, outcome, state);
                questions.push(question);
                least = least.min(marginals[outcome][state]);
            }
        }
        let can = |var: &Var| bad(&marginals[*var]) >= LEAST_CHANCE * least;
        let wanted: Vec<Var> = self.members.iter().copied().filter(can).collect();
        let mut found = tree.marginals_of_each(&questions, &wanted).into_iter();
        let each = outcomes.iter();
        each.map(|&outcome| {
            let chances = &marginals[outcome];
            let mut after: Vec<Option<Marginals>> = vec![None; chances.len()];
            for state in asked_for(chances) {
                after[state] = found.next();
            }
            let likeliest = likeliest(chances);
            if after[likeliest].is_none() {
                after[likeliest] = Some(rest(marginals, chances, &after, &wanted));
            }
            after
        })
        .collect()
    }

    /// Expected number of parts harmed by a check: only a good chip is harmed, and only if the check can be done.
    fn expected_harm(&self, check: &Check, asked: &Asked, outcome: Var) -> f64 {
        let Compiled {
            lowered,
            tree,
            upward,
        } = self.compiled;
        let outcomes = check.outcomes.len();
        let could = (0..outcomes + usize::from(asked.requires.is_some()))
            .map(|outcome| f64::from(u8::from(outcome < outcomes)));
        let done = (outcome, could.collect::<Vec<_>>());
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
    fn leader(&self, marginals: &Marginals) -> Option<ModeChance> {
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

/// The outcome with the largest chance.
pub(crate) fn likeliest(chances: &[f64]) -> usize {
    (0..chances.len())
        .max_by(|&a, &b| chances[a].total_cmp(&chances[b]))
        .unwrap_or(0)
}

/// The outcomes that are followed by a question of their own: the likeliest one only if some possible outcome is not followed.
fn asked_for(chances: &[f64]) -> impl Iterator<Item = usize> {
    let likeliest = likeliest(chances);
    let followed = |&state: &usize| chances[state] >= LEAST_OUTCOME;
    let left = (0..chances.len()).any(|state| chances[state] > 0.0 && !followed(&state));
    (0..chances.len())
        .filter(move |state| chances[*state] >= LEAST_OUTCOME && (left || *state != likeliest))
}

/// What the likeliest outcome leaves of these variables: everything less what the others took.
pub(crate) fn rest(
    marginals: &Marginals,
    chances: &[f64],
    after: &[Option<Marginals>],
    wanted: &[Var],
) -> Marginals {
    let mut rest = marginals.zeros();
    let chance = chances[likeliest(chances)];
    for &var in wanted {
        for (state, rest) in rest.of_mut(var).iter_mut().enumerate() {
            let others: f64 = after
                .iter()
                .zip(chances)
                .filter_map(|(after, chance)| Some(chance * after.as_ref()?[var][state]))
                .sum();
            *rest = ((marginals[var][state] - others) / chance).clamp(0.0, 1.0);
        }
    }
    rest
}

/// This state and no other.
fn only(state: usize, states: usize) -> Vec<f64> {
    (0..states)
        .map(|other| f64::from(u8::from(other == state)))
        .collect()
}

/// Leave it as it is.
fn leave(economy: &Economy) -> Course {
    Course {
        remedies: Vec::new(),
        value: economy.hold,
        works: 0.0,
        minutes: 0.0,
        look_first: false,
    }
}

/// By a chip's variable: its place, which is pressed together anew when another chip is fitted.
fn with_it(profile: &Profile, listed: &[Listed]) -> BTreeMap<Var, (Var, Vec<f64>)> {
    let at = |site: Site| {
        listed.iter().filter_map(move |one| {
            let (var, state) = one.at?;
            (one.site == site).then_some((part_of(one)?, var, state, &one.mode))
        })
    };
    let mut places: BTreeMap<&String, (Var, Vec<f64>)> = BTreeMap::new();
    for (part, var, state, mode) in at(Site::Place) {
        let cured = profile
            .part(part)
            .and_then(|part| part.mode(mode))
            .map_or(0.0, |mode| mode.cured_by.reseat);
        let (_, chances) = places.entry(part).or_insert_with(|| (var, vec![1.0]));
        chances.resize(chances.len().max(state + 1), 0.0);
        chances[state] = cured;
    }
    at(Site::Chip)
        .filter_map(|(part, var, _, _)| Some((var, places.get(part)?.clone())))
        .collect()
}

/// Puts a variable's bad states right with these chances, beside what was done to it before.
fn cure(question: &mut Question, var: Var, chance: impl Fn(usize) -> f64) {
    let slot = question.weights.iter_mut().find(|(other, _)| *other == var);
    if let Some((_, weights)) = slot {
        for (state, weight) in weights.iter_mut().enumerate().skip(1) {
            *weight = 1.0 - (1.0 - *weight) * (1.0 - chance(state));
        }
    }
}

/// Chance of all states but the good one; 0 for a variable that was not asked for.
fn bad(chances: &[f64]) -> f64 {
    chances[1..].iter().sum()
}

pub(crate) fn part_of(listed: &Listed) -> Option<&String> {
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
