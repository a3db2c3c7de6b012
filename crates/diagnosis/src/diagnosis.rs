//! The answers about one situation: posteriors, fits, predictions.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::{Arc, OnceLock},
};

use catalogue::{Check, Part, Site};

use crate::{
    answer::{Explanation, Fit, FunctionChance, Holder, ModeChance, Prediction, SetAside},
    asking::{Asking, Open, Sum, chance_of, posteriors_of},
    compiled::Compiled,
    error::Error,
    explain,
    graph::StateId,
    groups::{Group, Limits, Outer, groups, is_same_pile, with_finding},
    lower::Places,
    model::Var,
    situation::{Action, Situation, Step},
    tree::{Marginals, Question},
    unroll::{Finding, Unrolled, unknown_machine, unroll},
};

/// A diagnosed situation; each answer is exact, but for what [`Diagnosis::aside`] tells.
#[derive(Debug)]
pub struct Diagnosis {
    situation: Arc<Situation>,
    groups: Vec<Group>,
    /// Posteriors of each group's variables.
    marginals: Vec<OnceLock<Marginals>>,
    /// By group and machine: what is asked about it.
    asked: Vec<Vec<Asks>>,
    log_total: f64,
    limits: Limits,
}

/// What is asked about a machine, once it was asked.
type Asks = OnceLock<Result<Vec<Asking>, Error>>;

/// A mode that can be present now: where it sits, its variable and state; no variable where it cannot be bad.
#[derive(Debug, Clone)]
pub(crate) struct Listed {
    pub(crate) holder: Holder,
    pub(crate) mode: String,
    pub(crate) site: Site,
    pub(crate) at: Option<(Var, usize)>,
}

impl Listed {
    fn new(holder: Holder, mode: &str, site: Site, at: Option<(Var, usize)>) -> Self {
        Self {
            holder,
            mode: mode.to_owned(),
            site,
            at,
        }
    }
}

impl Diagnosis {
    /// Unrolls and compiles a situation. One that comes in an [`Arc`] is shared, another one is copied.
    ///
    /// # Errors
    /// A step names something that is not there, or the findings tie too much together for an exact answer.
    pub fn of(situation: impl Into<Arc<Situation>>) -> Result<Self, Error> {
        Self::of_within(situation, Limits::default())
    }

    /// The same with other limits.
    ///
    /// # Errors
    /// As for [`Diagnosis::of`].
    pub fn of_within(situation: impl Into<Arc<Situation>>, limits: Limits) -> Result<Self, Error> {
        Self::after(timed(situation.into()), &[], limits)
    }

    /// The same situation with one more step; what the step does not touch is not reckoned again.
    ///
    /// # Errors
    /// As for [`Diagnosis::of`].
    pub fn then(&self, step: Step) -> Result<Self, Error> {
        let now = self.situation.steps.last().and_then(|step| step.time);
        let time = step.time.or(now);
        let situation = Arc::new(self.situation.with(Step { time, ..step }));
        match with_finding(&situation, &self.groups) {
            Some(groups) => Ok(Self::with(situation, groups?, self.limits)),
            None => Self::after(situation, &self.groups, self.limits),
        }
    }

    /// Another situation; what is the same in this one is not reckoned again.
    ///
    /// # Errors
    /// As for [`Diagnosis::of`].
    pub fn again(&self, situation: impl Into<Arc<Situation>>) -> Result<Self, Error> {
        let situation = timed(situation.into());
        if self.is_one_step_before(&situation)
            && let Some(groups) = with_finding(&situation, &self.groups)
        {
            return Ok(Self::with(situation, groups?, self.limits));
        }
        Self::after(situation, &self.groups, self.limits)
    }

    fn is_one_step_before(&self, after: &Situation) -> bool {
        let before = &*self.situation;
        let steps = after.steps.split_last();
        steps.is_some_and(|(_, steps)| steps == before.steps) && is_same_pile(before, after)
    }

    fn after(situation: Arc<Situation>, before: &[Group], limits: Limits) -> Result<Self, Error> {
        let groups = groups(&situation, before, limits)?;
        Ok(Self::with(situation, groups, limits))
    }

    fn with(
        situation: Arc<Situation>,
        (groups, log_total): (Vec<Group>, f64),
        limits: Limits,
    ) -> Self {
        Self {
            situation,
            marginals: vec![OnceLock::new(); groups.len()],
            asked: groups.iter().map(none_asked).collect(),
            groups,
            log_total,
            limits,
        }
    }

    /// P(all findings).
    #[must_use]
    pub fn p_findings(&self) -> f64 {
        self.log_total.exp()
    }

    /// Natural logarithm of P(all findings); minus infinity if they contradict each other.
    #[must_use]
    pub fn log_p_findings(&self) -> f64 {
        self.log_total
    }

    /// Variables in the largest clique of the compiled networks.
    #[must_use]
    pub fn width(&self) -> usize {
        let widths = self.groups.iter().map(|group| group.tree().width());
        widths.max().unwrap_or(0)
    }

    /// Numbers held by the compiled networks.
    #[must_use]
    pub fn entries(&self) -> usize {
        let entries = self.groups.iter().map(|group| group.tree().entries());
        entries.sum()
    }

    /// What was set aside, as too much hangs together for an exact answer.
    #[must_use]
    pub fn aside(&self) -> Option<SetAside> {
        let mut found: Option<SetAside> = None;
        for group in &self.groups {
            if let Some(aside) = &group.aside {
                let found = found.get_or_insert_default();
                found.modes.extend(aside.modes(&group.unrolled));
                found.at_most = (found.at_most + group.aside_at_most).min(1.0);
            }
        }
        found
    }

    /// Every mode that can be present now, with its posterior.
    #[must_use]
    pub fn modes(&self) -> Vec<ModeChance> {
        let tags = self.situation.machines.iter().map(|machine| &machine.tag);
        // room for the answer is taken last: what is reckoned for it needs some too
        (0..self.groups.len()).for_each(|group| {
            self.marginals(group);
        });
        let all: usize = self.groups.iter().map(Group::most_modes).sum();
        let mut modes = Vec::with_capacity(all);
        tags.for_each(|tag| self.put_modes_of(tag, &mut modes));
        for (index, group) in self.groups.iter().enumerate() {
            let loose = loose(&group.unrolled, &group.compiled().places);
            modes.extend(chances_in(self.marginals(index), loose));
        }
        modes.extend(self.outside());
        modes
    }

    /// The modes of one machine with their posteriors; none for an unknown tag.
    #[must_use]
    pub fn modes_of(&self, tag: &str) -> Vec<ModeChance> {
        let mut modes = Vec::new();
        self.put_modes_of(tag, &mut modes);
        modes
    }

    fn put_modes_of(&self, tag: &str, modes: &mut Vec<ModeChance>) {
        let Ok((group, machine)) = self.place(tag) else {
            return;
        };
        let of = &self.groups[group];
        let listed = listed_on(&of.unrolled, machine, &of.compiled().places);
        // iterators inside each other are faster driven by `for_each` than by `next`, as `extend` does
        chances_in(self.marginals(group), listed).for_each(|mode| modes.push(mode));
    }

    /// The chance that each outside thing is bad.
    #[must_use]
    pub fn outside(&self) -> Vec<ModeChance> {
        // a group that uses a thing knows best; of those, one that was asked already
        let mut tellers: BTreeMap<&String, (bool, bool, usize, Var)> = BTreeMap::new();
        for (index, group) in self.groups.iter().enumerate() {
            let boards = &group.unrolled.graph.boards;
            for (id, &var) in group.outside() {
                let used = boards.iter().any(|board| board.outside.contains(id));
                let asked = self.marginals[index].get().is_some();
                let known = tellers.get(id);
                if known.is_none_or(|known| (used, asked) > (known.0, known.1)) {
                    tellers.insert(id, (used, asked, index, var));
                }
            }
        }
        let known = tellers
            .into_iter()
            .map(|(id, (_, _, group, var))| (id, self.marginals(group)[var][1]));
        known.map(|(id, chance)| bad_thing(id, chance)).collect()
    }

    /// Every event of a machine or a lot, with its posterior; known ones are 0 or 1.
    #[must_use]
    pub fn events(&self) -> Vec<(String, String, f64)> {
        let groups = self.groups.iter();
        let known = groups.flat_map(|group| &group.unrolled.graph.known);
        let mut events: BTreeMap<(String, String), f64> = known
            .map(|(key, &known)| (key.clone(), f64::from(u8::from(known))))
            .collect();
        for (index, group) in self.groups.iter().enumerate() {
            for (key, &var) in &group.compiled().places.events {
                events.insert(key.clone(), self.marginals(index)[var][1]);
            }
        }
        events
            .into_iter()
            .map(|((whose, event), chance)| (whose, event, chance))
            .collect()
    }

    /// Chance that a machine has a fault its profile does not know now; 0 for an unknown tag.
    #[must_use]
    pub fn unmodelled(&self, tag: &str) -> f64 {
        let Ok((group, machine)) = self.place(tag) else {
            return 0.0;
        };
        let of = &self.groups[group];
        if !of.unrolled.graph.boards[machine].unmodelled {
            return 0.0;
        }
        of.compiled().places.unmodelled[machine].map_or(0.0, |var| self.marginals(group)[var][1])
    }

    /// The likeliest sets of modes present now, with their shares, best first; proven: no set left out has a larger share.
    ///
    /// # Errors
    /// The machine is unknown.
    pub fn explanations(&self, tag: &str, count: usize) -> Result<Vec<Explanation>, Error> {
        let (group, machine) = self.place(tag)?;
        let of = &self.groups[group];
        let compiled = of.compiled();
        let members = members_of(&of.unrolled, machine, &compiled.places);
        Ok(explain::best(
            compiled,
            self.marginals(group),
            &members,
            count,
        ))
    }

    /// Chance that nothing at all is wrong with a machine and the outside things it uses.
    ///
    /// # Errors
    /// The machine is unknown.
    pub fn nothing_wrong(&self, tag: &str) -> Result<f64, Error> {
        let (group, machine) = self.place(tag)?;
        let of = &self.groups[group];
        let Compiled {
            places,
            tree,
            upward,
            ..
        } = of.compiled();
        if upward.log_total == f64::NEG_INFINITY {
            return Ok(0.0);
        }
        let mut question = Question::default();
        for member in members_of(&of.unrolled, machine, places) {
            question.fix(tree, member.var, 0);
        }
        let log = tree.log_total_with(upward, &Question::default(), &question);
        Ok((log - upward.log_total).exp().min(1.0))
    }

    /// P(finding | all other findings) for each finding.
    #[must_use]
    pub fn given_others(&self) -> Vec<Fit> {
        let mut fits: Vec<Fit> = self.groups.iter().flat_map(fits_of).collect();
        fits.sort_by(|a, b| a.steps.cmp(&b.steps));
        fits
    }

    /// The same for the findings on a machine and on those with which it exchanged chips; none for an unknown tag.
    #[must_use]
    pub fn given_others_of(&self, tag: &str) -> Vec<Fit> {
        let group = self.place(tag).ok().map(|(group, _)| &self.groups[group]);
        let mut fits: Vec<Fit> = group.into_iter().flat_map(fits_of).collect();
        fits.sort_by(|a, b| a.steps.cmp(&b.steps));
        fits
    }

    /// The modes of a machine, and the outside things it uses, as they were without the last look at it or at one it exchanged chips
    /// with. None where the look did more than show something: then the situation without it has to be diagnosed.
    #[must_use]
    pub fn modes_before(&self, tag: &str, step: usize) -> Option<Vec<ModeChance>> {
        let (group, machine) = self.place(tag).ok()?;
        let of = &self.groups[group];
        let Action::Measure(measure) = &self.situation.steps.get(step)?.action else {
            return None;
        };
        let number = of.unrolled.machine(&measure.machine).ok()?;
        let board = &of.unrolled.graph.boards[number];
        let harms = |check: &Check| check.id == measure.check && !check.harms.is_empty();
        // power-ups and sessions of later looks may hang on this one
        let later = of
            .steps_after(step)
            .map(|later| &self.situation.steps[later].action);
        let mut looked = later.filter(|action| looks_at(action, &measure.machine));
        if looked.next().is_some() || board.profile.checks.iter().any(harms) {
            return None;
        }
        let findings = of.unrolled.findings.iter().enumerate();
        let about: Vec<(usize, &Arc<Finding>)> = findings
            .filter(|(_, finding)| of.steps_of(finding).contains(&step))
            .collect();
        if about.iter().any(|(_, finding)| finding.steps.len() > 1) {
            return None;
        }
        let question = Question {
            without: about.into_iter().map(|(number, _)| number).collect(),
            ..Question::default()
        };
        let Compiled {
            places,
            tree,
            upward,
            ..
        } = of.compiled();
        let pass = tree.again(upward, &question, &question);
        let marginals = tree.marginals(&question, &pass);
        let listed = listed_on(&of.unrolled, machine, places);
        let outside = &of.unrolled.graph.boards[machine].outside;
        let things = places.outside.iter().filter(|(id, _)| outside.contains(id));
        let things = things.map(|(id, &var)| bad_thing(id, marginals[var][1]));
        Some(chances_in(&marginals, listed).chain(things).collect())
    }

    /// Chance that each function fails, as the next powered look on the usual supply would find it.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn functions(&self, tag: &str) -> Result<Vec<FunctionChance>, Error> {
        let (group, machine) = self.place(tag)?;
        let Some(asking) = self.asked(group, machine)?.first() else {
            return Ok(Vec::new());
        };
        let chances = asking.chances(&asking.functions);
        let board = &self.groups[group].unrolled.graph.boards[machine];
        let targets = board.wiring.sides();
        Ok(targets
            .zip(chances)
            .map(|(target, works)| FunctionChance {
                target: board.wiring.name(target),
                chance: (1.0 - works).clamp(0.0, 1.0),
            })
            .collect())
    }

    /// For each check not yet made in the present epoch what it would show and how much it would clear up over all machines.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn predictions(&self, tag: &str) -> Result<Vec<Prediction>, Error> {
        let (group, _) = self.place(tag)?;
        let alone = &self.groups[group];
        let aside = self.groups.iter().any(|group| group.aside.is_some());
        if alone.outer.is_none() || aside {
            return self.predictions_of_group(tag);
        }
        // an answer here says something of other machines too: all of them together
        let groups = self.groups.iter();
        let known = |profile: &_| {
            groups
                .clone()
                .find_map(|group| group.unrolled.wiring(profile))
        };
        let whole = unroll(&self.situation, &known)?;
        let machine = whole.machine(tag)?;
        let asked = ask(&whole, machine, None, self.entries())?;
        Ok(predictions(&whole, machine, &asked))
    }

    /// The same, but how much it would clear up over the machine and those that it exchanged chips with.
    ///
    /// # Errors
    /// The machine is unknown, or the answer would be too large.
    pub fn predictions_of_group(&self, tag: &str) -> Result<Vec<Prediction>, Error> {
        let (group, machine) = self.place(tag)?;
        let asked = self.asked(group, machine)?;
        Ok(predictions(&self.groups[group].unrolled, machine, asked))
    }

    /// Sum of the binary entropies of all modes, in bits.
    #[must_use]
    pub fn entropy_bits(&self) -> f64 {
        self.modes()
            .iter()
            .map(|mode| binary_entropy(mode.chance))
            .sum()
    }

    /// The group of a machine and its number there.
    pub(crate) fn place(&self, tag: &str) -> Result<(usize, usize), Error> {
        let mut groups = self.groups.iter().enumerate();
        groups
            .find_map(|(index, group)| Some((index, group.unrolled.machine(tag).ok()?)))
            .ok_or_else(|| unknown_machine(tag))
    }

    /// The checks open on a machine, and its functions, ready to be asked for.
    pub(crate) fn asked(&self, group: usize, machine: usize) -> Result<&[Asking], Error> {
        let asked = self.asked[group][machine].get_or_init(|| {
            let of = &self.groups[group];
            let entries = of.compiled().tree.entries();
            ask(&of.unrolled, machine, of.outer.as_ref(), entries)
        });
        asked.as_deref().map_err(Clone::clone)
    }

    pub(crate) fn situation(&self) -> &Arc<Situation> {
        &self.situation
    }

    pub(crate) fn groups(&self) -> &[Group] {
        &self.groups
    }

    pub(crate) fn marginals(&self, group: usize) -> &Marginals {
        self.marginals[group].get_or_init(|| {
            let Compiled { tree, upward, .. } = self.groups[group].compiled();
            tree.marginals(&Question::default(), upward)
        })
    }
}

/// The action looks at this machine, or makes it ready for that.
fn looks_at(action: &Action, tag: &str) -> bool {
    match action {
        Action::Measure(measure) => measure.machine == tag,
        Action::Power { machine, .. } | Action::SetUp { machine } => machine == tag,
        _ => false,
    }
}

/// An outside thing that may be bad.
fn bad_thing(id: &str, chance: f64) -> ModeChance {
    ModeChance {
        holder: Holder::Outside(id.to_owned()),
        mode: "bad".to_owned(),
        site: Site::Chip,
        chance,
    }
}

/// Modes with their posteriors.
fn chances_in(
    marginals: &Marginals,
    listed: impl Iterator<Item = Listed>,
) -> impl Iterator<Item = ModeChance> {
    listed.map(|listed| ModeChance {
        chance: listed.at.map_or(0.0, |(var, state)| marginals[var][state]),
        holder: listed.holder,
        mode: listed.mode,
        site: listed.site,
    })
}

fn none_asked(group: &Group) -> Vec<Asks> {
    let boards = group.unrolled.graph.boards.iter();
    boards.map(|_| OnceLock::new()).collect()
}

/// P(finding | all other findings) for each finding of a group.
fn fits_of(group: &Group) -> Vec<Fit> {
    let Compiled { tree, upward, .. } = group.compiled();
    let findings = &group.unrolled.findings;
    let questions = (0..findings.len()).map(|finding| Question {
        without: vec![finding],
        ..Question::default()
    });
    let others = tree.log_totals_of(upward, &questions.collect::<Vec<_>>());
    // where the others contradict each other already this is no number, and the finding is not to blame
    let fit = |(finding, others): (&Arc<Finding>, f64)| Fit {
        steps: group.steps_of(finding),
        p: (upward.log_total - others).exp().min(1.0),
    };
    findings.iter().zip(others).map(fit).collect()
}

/// Entries up to which several checks are asked for in one network, given those of the network without them: where it grows
/// more, one network a check is quicker.
pub(crate) fn most_for_many(entries: usize) -> usize {
    4 * entries + 10_000
}

/// Checks of a machine that are asked for in as few networks as may be.
fn ask(
    unrolled: &Unrolled,
    machine: usize,
    outer: Option<&Outer>,
    entries: usize,
) -> Result<Vec<Asking>, Error> {
    let mut askings = Vec::new();
    let mut most = most_for_many(entries);
    let mut open = vec![unrolled.open_checks(machine)];
    while let Some(checks) = open.pop() {
        let (unrolled, asked, functions) = unrolled.ask_each(machine, &checks);
        let alone = checks.len() < 2;
        let limit = if alone { usize::MAX } else { most };
        match Asking::of(&unrolled, &asked, &functions, outer, limit) {
            Ok(asking) => {
                if alone {
                    most = most.max(most_for_many(asking.tree.entries()));
                }
                askings.push(asking);
            }
            Err(error) if alone => return Err(error),
            Err(_) => {
                // the first one by itself tells how much any of them takes
                let some = if askings.is_empty() {
                    1
                } else {
                    checks.len() / 2
                };
                let (some, rest) = checks.split_at(some);
                open.extend([rest.to_vec(), some.to_vec()]);
            }
        }
    }
    Ok(askings)
}

fn predictions(unrolled: &Unrolled, machine: usize, asked: &[Asking]) -> Vec<Prediction> {
    let each = asked.iter();
    each.flat_map(|asking| predict(unrolled, machine, asking))
        .collect()
}

/// What checks that are asked for in one network would show, each by itself.
fn predict(unrolled: &Unrolled, machine: usize, asking: &Asking) -> Vec<Prediction> {
    let listed = all_listed(unrolled, &asking.lowered.places);
    let modes: BTreeSet<Var> = listed.iter().map(|(var, _)| *var).collect();
    let modes: Vec<Var> = modes.into_iter().collect();
    let entropy = |marginals: &Marginals| -> f64 {
        listed
            .iter()
            .map(|&(var, state)| binary_entropy(marginals[var][state]))
            .sum()
    };
    let (chances, each) = asking.posteriors(&modes);
    let before = entropy(&each[0]);
    let known = &unrolled.graph.boards[machine].profile.checks;
    let predict = |open: &Open| {
        let shown = open
            .outcomes
            .iter()
            .map(|sum| (sum, chance_of(sum, &chances)));
        let shown: Vec<(&Sum, f64)> = shown.collect();
        let expected = shown.iter().filter(|(_, chance)| *chance > 0.0);
        let expected = expected.map(|&(sum, chance)| {
            chance * entropy(&posteriors_of(sum, chance, &chances, &each, &modes))
        });
        let entropy_fall_bits = before - expected.sum::<f64>();
        let chances = shown.iter().map(|(_, chance)| *chance);
        Prediction {
            check: known[open.check].id.clone(),
            outcomes: outcome_names(&known[open.check]).zip(chances).collect(),
            entropy_fall_bits,
        }
    };
    asking.open.iter().map(predict).collect()
}

/// Everything that is listed as a mode now: its variable and state.
fn all_listed(unrolled: &Unrolled, places: &Places) -> Vec<(Var, usize)> {
    let machines = 0..unrolled.graph.boards.len();
    let outside = places.outside.values().map(|&var| (var, 1));
    machines
        .flat_map(|machine| listed_on(unrolled, machine, places))
        .chain(loose(unrolled, places))
        .filter_map(|listed| listed.at)
        .chain(outside)
        .collect()
}

/// The modes of marked chips that sit nowhere.
fn loose<'a>(unrolled: &'a Unrolled, places: &'a Places) -> impl Iterator<Item = Listed> + 'a {
    let chips = unrolled.graph.chips.iter().enumerate();
    chips
        .filter(|(_, chip)| chip.position().is_none())
        .filter_map(|(number, chip)| Some((chip.state(), unrolled.graph.mark(number)?.to_owned())))
        .flat_map(|(state, mark)| {
            let modes = modes_in(unrolled, state, places);
            modes.map(move |(mode, at)| {
                Listed::new(Holder::Marked(mark.clone()), mode, Site::Chip, at)
            })
        })
}

/// The modes of one machine's chips and places.
pub(crate) fn listed_on<'a>(
    unrolled: &'a Unrolled,
    machine: usize,
    places: &'a Places,
) -> impl Iterator<Item = Listed> + 'a {
    let graph = &unrolled.graph;
    let board = &graph.boards[machine];
    let positions = board.profile.parts.iter().zip(&board.positions);
    positions.flat_map(move |(part, position)| {
        let listed = move |site, (mode, at): (&str, _)| {
            let holder = Holder::Position {
                machine: board.tag.clone(),
                part: part.reference.clone(),
            };
            Listed::new(holder, mode, site, at)
        };
        let chip = position.chip().map(|chip| graph.chips[chip].state());
        let of_chip = chip
            .into_iter()
            .flat_map(|state| modes_in(unrolled, state, places));
        let place = position.place().into_iter();
        let of_place = place.flat_map(|place| modes_in(unrolled, place, places));
        let given = |mode: &str| position.touched || is_given(&board.profile, part, mode);
        let of_place = of_place.filter(move |(mode, _)| given(mode));
        let of_chip = of_chip.map(move |mode| listed(Site::Chip, mode));
        of_chip.chain(of_place.map(move |mode| listed(Site::Place, mode)))
    })
}

/// What an explanation of a machine is made of: its modes, its outside things, its unmodelled fault.
pub(crate) fn members_of(
    unrolled: &Unrolled,
    machine: usize,
    places: &Places,
) -> Vec<explain::Member> {
    let board = &unrolled.graph.boards[machine];
    let mut members = explain::members(listed_on(unrolled, machine, places));
    for id in &board.outside {
        if let Some(&var) = places.outside.get(id) {
            members.push(explain::Member {
                var,
                states: vec![None, Some((id.clone(), "bad".to_owned()))],
                unmodelled: false,
            });
        }
    }
    if let (Some(var), true) = (places.unmodelled[machine], board.unmodelled) {
        members.push(explain::Member {
            var,
            states: vec![None, None],
            unmodelled: true,
        });
    }
    members
}

/// The outcomes of a check by name, and after them `cannot`.
pub(crate) fn outcome_names(check: &Check) -> impl Iterator<Item = String> + '_ {
    check
        .outcomes
        .iter()
        .map(|outcome| outcome.id.clone())
        .chain(std::iter::once("cannot".to_owned()))
}

/// Every step with its time: a step without one lets no time pass, whichever machine the step before was on.
fn timed(mut situation: Arc<Situation>) -> Arc<Situation> {
    let mut steps = situation.steps.iter();
    let untimed =
        steps.find(|step| step.time.is_some()).is_some() && steps.any(|step| step.time.is_none());
    if untimed {
        let mut now = None;
        for step in &mut Arc::make_mut(&mut situation).steps {
            now = step.time.or(now);
            step.time = now;
        }
    }
    situation
}

/// The modes of one state, each with its variable and state there.
fn modes_in<'a>(
    unrolled: &'a Unrolled,
    state: StateId,
    places: &Places,
) -> impl Iterator<Item = (&'a str, Option<(Var, usize)>)> + use<'a> {
    let var = places.states.get(state);
    let modes = unrolled.graph.modes(state).iter().enumerate();
    modes.map(move |(mode, known)| (&*known.id, var.map(|var| (var, mode + 1))))
}

/// A place mode that the profile gives a chance or an event; the implicit joint has neither.
fn is_given(profile: &catalogue::Profile, part: &Part, mode: &str) -> bool {
    let struck = || {
        profile
            .events
            .iter()
            .flat_map(|event| &event.causes)
            .any(|cause| cause.part == part.reference && cause.mode == mode)
    };
    part.mode(mode).is_some_and(|mode| mode.chance > 0.0) || struck()
}

/// Entropy of a two-way question, in bits.
#[must_use]
pub fn binary_entropy(chance: f64) -> f64 {
    let part = |p: f64| if p > 0.0 { -p * p.log2() } else { 0.0 };
    part(chance) + part(1.0 - chance)
}
