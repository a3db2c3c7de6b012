//! What to do next: the expected saving of each check against the best course without it.
//!
//! The course without checks fits suspects one at a time in the order of chance by cost (p/C; Kadane & Simon, "Optimal
//! strategies for a class of constrained sequential problems", Annals of Statistics 5, 1977; for troubleshooting with repairs:
//! Heckerman, Breese & Rommelse, CACM 38(3), 1995), with a retest after each, and stops where going on no longer pays; leaving the
//! machine as it is, is its shortest form. Whether it works already is looked at first where that is cheaper than a needless
//! remedy. What a course is worth is exact for the given order: after the first suspects are put right the machine works if
//! every other part is good, and that chance is asked of the network for each length.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use catalogue::{Check, Profile, Site};

use crate::{
    answer::{Course, Economy, Holder, ModeChance, Step},
    asking::{Asking, Sum, Works, chance_of, posteriors_of, without_numbers},
    compiled::Compiled,
    courses::Courses,
    diagnosis::{Diagnosis, Listed, listed_on, members_of, most_for_many, outcome_names},
    digits::{first_of_most, nine_digits},
    error::Error,
    graph::Board,
    lower::Places,
    model::{Model, Table, Var},
    tree::{Marginals, Question, Tree},
    unroll::Unrolled,
    workers::side_by_side,
};

/// Suspects that a course tries at most.
const MOST_TRIED: usize = 8;
/// Suspects of courses that are asked of one network at most, where courses that try much the same can be parted from others.
const MOST_TOGETHER: usize = 16;
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
        let of = &self.groups()[group];
        let unrolled = &of.unrolled;
        if of.compiled().upward.log_total == f64::NEG_INFINITY {
            // the findings contradict each other: nothing can be weighed before one is taken back
            return Ok((Vec::new(), leave(economy)));
        }
        let mut course = leave(economy);
        let mut steps = Vec::new();
        for asking in self.asked(group, machine)? {
            let adviser = Adviser::new(unrolled, machine, Ground::asking(asking), economy);
            let (base, some) = adviser.steps(asking)?;
            course = base.course;
            steps.extend(some);
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

    /// The best course without further checks.
    ///
    /// # Errors
    /// As for [`Diagnosis::next`].
    pub fn course(&self, tag: &str, economy: &Economy) -> Result<Course, Error> {
        let (group, machine) = self.place(tag)?;
        let of = &self.groups()[group];
        let compiled = of.compiled();
        if compiled.upward.log_total == f64::NEG_INFINITY {
            return Ok(leave(economy));
        }
        let adviser = Adviser::new(&of.unrolled, machine, Ground::plain(compiled), economy);
        let now = adviser.now(self.marginals(group));
        let best = adviser.weighed_each(&[now])?.into_iter().next();
        Ok(best.map_or_else(|| leave(economy), |best| best.course))
    }

    /// What [`Diagnosis::next`] says of several machines, side by side where there are several processors.
    ///
    /// # Errors
    /// As for one.
    pub fn next_each(&self, asked: &[(&str, &Economy)]) -> Result<Vec<(Vec<Step>, Course)>, Error> {
        let next = |(tag, economy): (&str, &Economy)| self.next(tag, economy);
        side_by_side(asked.to_vec(), next).into_iter().collect()
    }
}

/// What is known at a point from which courses are weighed.
#[derive(Clone, Copy)]
pub(crate) struct Point<'a> {
    pub(crate) seen: Seen<'a>,
    /// The logarithm of its chance, all findings included.
    pub(crate) log_chance: f64,
    /// Posteriors of the members that may be tried.
    pub(crate) marginals: &'a Marginals,
}

/// What was seen beside the findings.
#[derive(Clone, Copy)]
pub(crate) enum Seen<'a> {
    Nothing,
    /// How much it speaks for each state of a chip.
    Chip(Var, &'a [f64]),
    Sum(&'a Sum),
}

/// A network, and what can be asked about it.
#[derive(Clone, Copy)]
pub(crate) struct Ground<'a> {
    places: &'a Places,
    model: &'a Model,
    log_total: f64,
    entries: usize,
    tables: &'a [Table],
    works: &'a [Arc<Works>],
}

impl<'a> Ground<'a> {
    pub(crate) fn plain(compiled: &'a Compiled) -> Self {
        Self {
            places: &compiled.places,
            model: compiled.model(),
            log_total: compiled.upward.log_total,
            entries: compiled.tree.entries(),
            tables: &[],
            works: &[],
        }
    }

    fn asking(asking: &'a Asking) -> Self {
        Self {
            places: &asking.lowered.places,
            model: &asking.lowered.model,
            log_total: asking.upward.log_total,
            entries: asking.tree.entries(),
            tables: &asking.tables,
            works: &asking.works,
        }
    }
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
    board: &'a Board,
    ground: Ground<'a>,
    pub(crate) economy: &'a Economy,
    /// Modes of this machine.
    pub(crate) listed: Vec<Listed>,
    /// Everything that must be good for the machine to work.
    pub(crate) members: Vec<Var>,
    /// By variable: the remedy that puts it right for the least money and minutes by chance.
    remedies: BTreeMap<Var, usize>,
    /// By a chip's variable: that of its place, and with which chance fitting another chip cures each of its states.
    pub(crate) with_it: BTreeMap<Var, (Var, Vec<f64>)>,
    /// Remedies for positions without a chip: nothing works before them.
    forced: Vec<usize>,
    /// A position without a chip has no remedy.
    hopeless: bool,
}

impl<'a> Adviser<'a> {
    pub(crate) fn new(
        unrolled: &'a Unrolled,
        machine: usize,
        ground: Ground<'a>,
        economy: &'a Economy,
    ) -> Self {
        let listed: Vec<Listed> = listed_on(unrolled, machine, ground.places).collect();
        let members = members_of(unrolled, machine, ground.places)
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
            board,
            ground,
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
            seen: Seen::Nothing,
            log_chance: self.ground.log_total,
            marginals,
        }
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
        let solved = self.solved_by_parts(points, &tried)?;
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

    /// What [`Adviser::solved_each`] says, of points that try much the same together where they try much in all.
    fn solved_by_parts(
        &self,
        points: &[Point<'_>],
        tried: &[Vec<(Var, usize)>],
    ) -> Result<Vec<Vec<f64>>, Error> {
        let suspects: BTreeSet<Var> = tried.iter().flatten().map(|(var, _)| *var).collect();
        let count = suspects.len().div_ceil(MOST_TOGETHER).max(1);
        let mut order: Vec<usize> = (0..points.len()).collect();
        order.sort_by(|&a, &b| tried[a].cmp(&tried[b]));
        let parts: Vec<&[usize]> = order.chunks(points.len().div_ceil(count).max(1)).collect();
        let solve = |part: &[usize]| {
            let some: Vec<Point<'_>> = part.iter().map(|&at| points[at]).collect();
            let tried: Vec<_> = part.iter().map(|&at| tried[at].clone()).collect();
            self.solved_each(&some, &tried)
        };
        let mut all = vec![Vec::new(); points.len()];
        for (part, solved) in parts.iter().zip(side_by_side(parts.clone(), solve)) {
            for (&at, solved) in part.iter().zip(solved?) {
                all[at] = solved;
            }
        }
        Ok(all)
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
            _ => most_for_many(self.ground.entries),
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
        let (tree, works) = self.all_good_but(points, &free, most)?;
        let mut asked = Courses::of(self, &tree, &free, works);
        let terms: Vec<Vec<Vec<(f64, usize)>>> = points
            .iter()
            .zip(tried)
            .map(|(point, tried)| asked.along(&point.seen, tried))
            .collect();
        let logs = tree.log_totals_beside(&asked.grounds, &asked.beside, &asked.pairs);
        let chance = |point: &Point<'_>, terms: &[(f64, usize)]| {
            let each = terms.iter();
            let terms = each.map(|(factor, pair)| factor * (logs[*pair] - point.log_chance).exp());
            terms.sum::<f64>().max(0.0)
        };
        let solved = points.iter().zip(&terms).map(|(point, along)| {
            let along = along.iter().map(|terms| chance(point, terms));
            along.collect()
        });
        Ok(solved.collect())
    }

    /// A small network: all members are known to be good but these.
    fn all_good_but(
        &self,
        points: &[Point<'_>],
        free: &BTreeSet<Var>,
        most: usize,
    ) -> Result<(Tree, Vec<Arc<Works>>), Error> {
        let Ground {
            model,
            tables,
            works,
            ..
        } = self.ground;
        let good: BTreeMap<Var, usize> = self
            .members
            .iter()
            .filter(|var| !free.contains(var))
            .map(|&var| (var, 0))
            .collect();
        let mut kept: BTreeSet<Var> = self.members.iter().copied().collect();
        kept.extend(tables.iter().flat_map(|table| &table.vars));
        let weighed = works.iter().flat_map(|works| &works.weights);
        kept.extend(weighed.map(|(var, _)| *var));
        kept.extend(points.iter().filter_map(|point| match point.seen {
            Seen::Chip(var, _) => Some(var),
            _ => None,
        }));
        let model = model.clone().pruned(&kept);
        let cut = tables.iter().map(|table| table.cut(&model, &good));
        let cut: Vec<Table> = cut.collect();
        let (tables, works) = without_numbers(&cut, works);
        let mut model = model.clamped(&good);
        model.keep_findings();
        let tree = Tree::compile_within(&model, &tables, most)?;
        Ok((tree, works))
    }

    /// Every check asked for, and the best courses without them.
    fn steps(&self, asking: &Asking) -> Result<(Weighed, Vec<Step>), Error> {
        let (chances, each) = asking.posteriors(&self.members);
        let outcomes = asking.open.iter().flat_map(|open| &open.outcomes);
        let after = outcomes.map(|sum| {
            let chance = chance_of(sum, &chances);
            let followed = chance >= LEAST_OUTCOME;
            let after = || posteriors_of(sum, chance, &chances, &each, &self.members);
            (sum, chance, followed.then(after))
        });
        let after: Vec<(&Sum, f64, Option<Marginals>)> = after.collect();
        let mut points = vec![self.now(&each[0])];
        points.extend(after.iter().filter_map(|(sum, chance, marginals)| {
            Some(Point {
                seen: Seen::Sum(sum),
                log_chance: self.ground.log_total + chance.ln(),
                marginals: marginals.as_ref()?,
            })
        }));
        let mut weighed = self.weighed_each(&points)?.into_iter();
        let base = weighed
            .next()
            .ok_or_else(|| unreachable!("there is a point"))?;
        let mut after = after.iter();
        let mut steps = Vec::with_capacity(asking.open.len());
        let harms = self.expected_harms(asking);
        for (open, harm) in asking.open.iter().zip(harms) {
            let ways = after.by_ref().take(open.outcomes.len());
            let ways = ways.map(|(_, chance, marginals)| Way {
                chance: *chance,
                after: marginals
                    .as_ref()
                    .and_then(|marginals| Some((marginals, weighed.next()?))),
            });
            let ways: Vec<Way<'_>> = ways.collect();
            let check = &self.board.profile.checks[open.check];
            let cost = Cost {
                minutes: check.minutes,
                set_ups: &check.set_up,
                harm,
            };
            steps.push(self.step(check, cost, &ways, &base));
        }
        Ok((base, steps))
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

    /// Expected number of parts harmed, by check asked for: only a good chip is harmed, and only if the check can be done.
    fn expected_harms(&self, asking: &Asking) -> Vec<f64> {
        let mut questions = Vec::new();
        // the check of each harm, and what the chances of its questions count
        let mut counts: Vec<(usize, Vec<f64>)> = Vec::new();
        for (place, open) in asking.open.iter().enumerate() {
            let check = &self.board.profile.checks[open.check];
            for (harm, when) in check.harms.iter().zip(&open.harms) {
                let (Some(when), Some(chip)) = (when, self.chip_of(&harm.part)) else {
                    continue;
                };
                for (_, works) in when {
                    let mut question = Question::that(&asking.works[*works]);
                    if let Some(var) = chip {
                        question.fix(&asking.tree, var, 0);
                    }
                    questions.push(question);
                }
                let each = when.iter().map(|(factor, _)| harm.chance * factor);
                counts.push((place, each.collect()));
            }
        }
        let logs = asking.tree.log_totals_of(&asking.upward, &questions);
        let mut logs = logs.into_iter();
        let mut harms = vec![0.0; asking.open.len()];
        for (place, each) in counts {
            let terms = each.iter().zip(logs.by_ref());
            let terms = terms.map(|(count, log)| count * (log - self.ground.log_total).exp());
            harms[place] += terms.sum::<f64>().max(0.0);
        }
        harms
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
        let best = first_of_most(self.listed.iter(), |listed| chance(listed))?;
        Some(ModeChance {
            holder: best.holder.clone(),
            mode: best.mode.clone(),
            site: best.site,
            chance: chance(best),
        })
    }
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
    let ratio = |&index: &usize| nine_digits(suspects[index].0 / suspects[index].1.max(1e-9));
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
