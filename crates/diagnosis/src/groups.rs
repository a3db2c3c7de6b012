//! The pile taken apart: machines that exchanged chips form a group, groups speak to each other only through what they
//! share (events of a lot, outside things).
//!
//! What a group says is one likelihood over its shared things. These likelihoods make a small network of their own, from which
//! each group gets what all others say; after that a question about one machine costs no more with thirty on the bench than with one.

mod apart;
mod coupling;

use std::{
    cmp::Reverse,
    collections::BTreeMap,
    sync::{Arc, OnceLock},
};

pub(crate) use self::apart::is_same_pile;
use self::{
    apart::{all_steps, check_names, group_sets, is_same, part_of},
    coupling::{couple, prior, said_to, shared},
};
use crate::{
    aside::{Aside, Clearing},
    compiled::Compiled,
    error::Error,
    graph::EventKey,
    lower::{Places, Unmodelled, lower},
    model::{OUTER, Var, for_each_state},
    situation::{Action, Situation},
    tree::{Question, Tree},
    unroll::{Finding, Unrolled, unroll},
    workers::{side_by_side, threads},
};

/// Things that one group may share with others; with more of them the machines stay together.
const MOST_SHARED: usize = 10;

/// When something is set aside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Table entries of machines that belong together, above which something is set aside.
    pub entries: usize,
    /// What was set aside is chosen anew with the next step if its chance may be larger than this.
    pub worst: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            entries: 1 << 20,
            worst: 0.01,
        }
    }
}

/// Machines that exchanged chips, with what is known of them and what the others say.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    /// Its machines and steps.
    part: Arc<Situation>,
    /// Indices of its steps in the whole situation.
    pub(crate) steps: Vec<usize>,
    pub(crate) unrolled: Arc<Unrolled>,
    pub(crate) outer: Option<Outer>,
    /// With what the others said when it was compiled.
    before: Arc<Compiled>,
    said_before: Option<Outer>,
    /// With what the others say now.
    compiled: OnceLock<Arc<Compiled>>,
    /// What it says of what it shares.
    says: Arc<Says>,
    /// What had to be set aside.
    pub(crate) aside: Option<Aside>,
    /// The chance that what was set aside is there is at most this.
    pub(crate) aside_at_most: f64,
    /// What the others say now makes no number more than so many times larger.
    times: f64,
}

impl Group {
    /// The network with what the others say; made when it is first asked for.
    pub(crate) fn compiled(&self) -> &Compiled {
        self.compiled.get_or_init(|| match &self.outer {
            Some(outer) => Arc::new(self.before.told(outer, self.times)),
            None => Arc::clone(&self.before),
        })
    }

    pub(crate) fn tree(&self) -> &Tree {
        &self.ready().0.tree
    }

    /// The variables of outside things.
    pub(crate) fn outside(&self) -> &BTreeMap<String, Var> {
        &self.ready().0.places.outside
    }

    /// Its steps after one of them, numbered as in the whole situation.
    pub(crate) fn steps_after(&self, step: usize) -> impl Iterator<Item = usize> {
        self.steps
            .iter()
            .copied()
            .filter(move |&other| other > step)
    }

    /// The network that there is, and what the others said in it.
    fn ready(&self) -> (&Arc<Compiled>, &Option<Outer>) {
        match self.compiled.get() {
            Some(compiled) => (compiled, &self.outer),
            None => (&self.before, &self.said_before),
        }
    }

    /// At least as many as it lists modes.
    pub(crate) fn most_modes(&self) -> usize {
        let graph = &self.unrolled.graph;
        let states = 0..graph.states.len();
        states.map(|state| graph.modes(state).len()).sum()
    }

    /// As it was before it knew what the others say now.
    fn rough(&self) -> Rough {
        let (compiled, outer) = self.ready();
        Rough {
            part: Arc::clone(&self.part),
            steps: self.steps.clone(),
            unrolled: Arc::clone(&self.unrolled),
            compiled: Arc::clone(compiled),
            says: Arc::clone(&self.says),
            outer: outer.clone(),
            aside: self.aside.clone(),
        }
    }

    /// What it set aside, for a situation that has only more steps; not if too much was.
    fn still_aside(&self, part: &Situation, limits: Limits) -> Option<Aside> {
        let before = &self.part;
        let longer = part.steps.starts_with(&before.steps) && part.machines == before.machines;
        let same = longer && part.lots == before.lots && part.profiles == before.profiles;
        let little = self.aside_at_most <= limits.worst;
        self.aside.clone().filter(|_| same && little)
    }

    /// A finding's steps, numbered as in the whole situation.
    pub(crate) fn steps_of(&self, finding: &Finding) -> Vec<usize> {
        finding.steps.iter().map(|&step| self.steps[step]).collect()
    }
}

/// What a group says of the things it shares.
#[derive(Debug, Clone)]
struct Says {
    keys: Vec<SharedKey>,
    /// P(its findings | each combination), up to the factor.
    values: Vec<f64>,
    log_factor: f64,
}

/// A likelihood over shared things, the last one varying fastest.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Outer {
    pub(crate) keys: Vec<SharedKey>,
    pub(crate) values: Vec<f64>,
}

/// Something several machines share. In a list of their states the last one varies fastest: outside things touch little and so are
/// mostly summed out far from the root, events nearer to it, where less has to be summed anew.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SharedKey {
    Outside(String),
    Event(EventKey),
}

impl SharedKey {
    pub(crate) fn var(&self, places: &Places) -> Option<Var> {
        match self {
            Self::Event(key) => places.events.get(key).copied(),
            Self::Outside(id) => places.outside.get(id).copied(),
        }
    }
}

/// The groups of a situation, and the logarithm of P(all findings).
pub(crate) fn groups(
    situation: &Arc<Situation>,
    before: &[Group],
    limits: Limits,
) -> Result<(Vec<Group>, f64), Error> {
    check_names(situation)?;
    let sets = group_sets(situation);
    let whole =
        |others: &[Part<'_>]| Part::of(Arc::clone(situation), all_steps(situation), before, others);
    let mut parts = Vec::with_capacity(sets.len());
    if sets.len() == 1 {
        parts.push(whole(&parts)?);
    } else {
        for set in &sets {
            let (part, steps) = part_of(situation, |tag| set.contains(tag));
            parts.push(Part::of(Arc::new(part), steps, before, &parts)?);
        }
    }
    let keys = shared(&parts);
    if parts.len() > 1 && keys.iter().any(|keys| keys.len() > MOST_SHARED) {
        return bounded(vec![Rough::of(whole(&parts)?, Vec::new(), before, limits)?]);
    }
    bounded(reckoned(
        parts.into_iter().zip(keys).collect(),
        before,
        limits,
    )?)
}

/// The groups after one look more that only adds a finding to a network that is there; none where more has to be done.
pub(crate) fn with_finding(
    situation: &Arc<Situation>,
    before: &[Group],
) -> Option<Result<(Vec<Group>, f64), Error>> {
    if before.iter().any(|group| group.aside.is_some()) {
        return None;
    }
    let step = situation.steps.last()?;
    let Action::Measure(measure) = &step.action else {
        return None;
    };
    let of_machine = |group: &Group| group.unrolled.machine(&measure.machine).is_ok();
    let place = before.iter().position(of_machine)?;
    let group = &before[place];
    let (known, outer) = group.ready();
    let unrolled = group.unrolled.with_finding(group.steps.len(), step)?;
    let compiled = known.adding(known.likelihoods_of_last(&unrolled)?)?;
    let part = if before.len() == 1 {
        Arc::clone(situation)
    } else {
        Arc::new(group.part.with(step.clone()))
    };
    let mut steps = Vec::with_capacity(group.steps.len() + 1);
    steps.extend(&group.steps);
    steps.push(situation.steps.len() - 1);
    let one_more = Rough {
        part,
        steps,
        says: Arc::new(Says::of(&unrolled, &compiled, group.says.keys.clone())),
        unrolled: Arc::new(unrolled),
        compiled: Arc::new(compiled),
        outer: outer.clone(),
        aside: None,
    };
    let mut rough: Vec<Rough> = Vec::with_capacity(before.len());
    rough.extend(before[..place].iter().map(Group::rough));
    rough.push(one_more);
    rough.extend(before[place + 1..].iter().map(Group::rough));
    Some(couple(rough))
}

/// The groups, side by side where there are several processors; what comes out does not depend on how many.
fn reckoned(
    parts: Vec<(Part<'_>, Vec<SharedKey>)>,
    before: &[Group],
    limits: Limits,
) -> Result<Vec<Rough>, Error> {
    let new = parts.iter().filter(|(part, _)| part.same.is_none()).count();
    let each = |(part, keys): (Part<'_>, Vec<SharedKey>)| Rough::of(part, keys, before, limits);
    if new < 2 || threads() < 2 {
        return parts.into_iter().map(each).collect();
    }
    // those that take longest come first
    let mut waiting: Vec<_> = parts.into_iter().enumerate().collect();
    let long = |part: &Part<'_>| (part.same.is_none(), part.unrolled.findings.len());
    waiting.sort_by_key(|(_, (part, _))| Reverse(long(part)));
    let mut done = side_by_side(waiting, |(place, one)| (place, each(one)));
    done.sort_by_key(|(place, _)| *place);
    done.into_iter().map(|(_, rough)| rough).collect()
}

/// Machines that exchanged chips, with their steps.
struct Part<'a> {
    part: Arc<Situation>,
    steps: Vec<usize>,
    unrolled: Arc<Unrolled>,
    /// The group that is the same.
    same: Option<&'a Group>,
}

impl<'a> Part<'a> {
    fn of(
        part: Arc<Situation>,
        steps: Vec<usize>,
        before: &'a [Group],
        others: &[Part<'_>],
    ) -> Result<Self, Error> {
        if let Some(same) = before.iter().find(|group| is_same(&group.part, &part)) {
            return Ok(Self {
                part: Arc::clone(&same.part),
                steps,
                unrolled: Arc::clone(&same.unrolled),
                same: Some(same),
            });
        }
        let others = || others.iter().map(|other| &other.unrolled);
        let known = |profile: &_| {
            let before = before.iter().map(|group| &group.unrolled);
            others().chain(before).find_map(|one| one.wiring(profile))
        };
        let unrolled = unroll(&part, &known).map_err(|error| Error {
            step: error.step.and_then(|step| steps.get(step).copied()),
            ..error
        })?;
        Ok(Self {
            part,
            steps,
            unrolled: Arc::new(unrolled),
            same: None,
        })
    }
}

/// A group that does not know yet what the others say.
#[derive(Clone)]
struct Rough {
    part: Arc<Situation>,
    steps: Vec<usize>,
    unrolled: Arc<Unrolled>,
    compiled: Arc<Compiled>,
    says: Arc<Says>,
    outer: Option<Outer>,
    aside: Option<Aside>,
}

impl Rough {
    fn of(
        part: Part<'_>,
        keys: Vec<SharedKey>,
        before: &[Group],
        limits: Limits,
    ) -> Result<Self, Error> {
        let Part {
            part,
            steps,
            unrolled,
            same,
        } = part;
        if let Some(same) = same.filter(|same| same.says.keys == keys) {
            return Ok(Self {
                steps,
                ..same.rough()
            });
        }
        let like: Vec<&Group> = before
            .iter()
            .filter(|group| group.unrolled.tags().eq(unrolled.tags()) && group.says.keys == keys)
            .collect();
        let aside = like
            .iter()
            .find_map(|group| group.still_aside(&part, limits));
        let unrolled = match &aside {
            Some(aside) => Arc::new(unrolled.without(&part, &aside.set())?),
            None => unrolled,
        };
        let open = (!keys.is_empty()).then(|| Outer::open(keys.clone()));
        let lowered = lower(&unrolled, &[], open.as_ref(), Unmodelled::Beside);
        for group in like {
            // what the others say is set afterwards: the old one's may stand here
            let (known, said) = group.ready();
            if known.is_of(&lowered) {
                return Ok(Self {
                    part,
                    steps,
                    unrolled,
                    compiled: Arc::clone(known),
                    says: Arc::clone(&group.says),
                    outer: said.clone(),
                    aside,
                });
            }
            if let Some(compiled) = known.with_more(&lowered) {
                let says = Says::of(&unrolled, &compiled, keys);
                return Ok(Self {
                    part,
                    steps,
                    unrolled,
                    says: Arc::new(says),
                    compiled: Arc::new(compiled),
                    outer: said.clone(),
                    aside,
                });
            }
        }
        let whole = Compiled::of_lowered(lowered, limits.entries);
        let (unrolled, compiled, aside) = match whole {
            Err(error) if error.too_large => {
                let clearing = Clearing {
                    situation: &part,
                    whole: &unrolled,
                    outer: open.as_ref(),
                    most: limits.entries,
                };
                let (aside, unrolled, compiled) = clearing.clear(aside.unwrap_or_default())?;
                (Arc::new(unrolled), compiled, Some(aside))
            }
            compiled => (unrolled, compiled?, aside),
        };
        Ok(Self {
            part,
            steps,
            says: Arc::new(Says::of(&unrolled, &compiled, keys)),
            unrolled,
            compiled: Arc::new(compiled),
            outer: open,
            aside,
        })
    }

    /// The same group with the early findings of a stage alone, from which what it sets aside is bounded.
    fn early(&self, stage: usize) -> Self {
        let Some(stage) = self
            .aside
            .as_ref()
            .and_then(|aside| aside.stages.get(stage))
        else {
            return self.clone();
        };
        let early = &stage.early;
        let keys = self.says.keys.clone();
        Self {
            says: Arc::new(Says::of(&early.unrolled, &early.compiled, keys.clone())),
            unrolled: Arc::new(early.unrolled.clone()),
            compiled: Arc::new(early.compiled.clone()),
            outer: (!keys.is_empty()).then(|| Outer::open(keys)),
            ..self.clone()
        }
    }

    fn with(self, outer: Option<Outer>) -> Result<Group, Error> {
        let mut times = 1.0;
        let compiled = match &outer {
            Some(new) if self.outer.as_ref() != Some(new) => match self.times_larger(new) {
                Some(most) => {
                    times = most;
                    OnceLock::new()
                }
                None => OnceLock::from(Arc::new(self.compiled.with_outer(new)?)),
            },
            _ => OnceLock::from(Arc::clone(&self.compiled)),
        };
        Ok(Group {
            part: self.part,
            steps: self.steps,
            unrolled: self.unrolled,
            outer,
            before: self.compiled,
            said_before: self.outer,
            compiled,
            says: self.says,
            aside: self.aside,
            aside_at_most: 0.0,
            times,
        })
    }

    /// How many times larger a number gets at most if the others say this; none if rounding might have done too much then, or if that
    /// is not known. What is said weighs every number, and so what rounding did to it; how it weighs the total is known from what the
    /// group itself says.
    fn times_larger(&self, new: &Outer) -> Option<f64> {
        let (mut before, mut now, mut most) = (0.0, 0.0, 0.0_f64);
        let mut place = 0;
        let priors = self.says.keys.iter().map(|key| prior(&self.unrolled, key));
        let priors: Vec<f64> = priors.collect();
        for_each_state(&vec![2; priors.len()], |at| {
            let each = at.iter().zip(&priors);
            let chance: f64 = each
                .map(|(&state, prior)| if state == 1 { *prior } else { 1.0 - prior })
                .product();
            let old = self.outer.as_ref().map_or(1.0, |old| old.values[place]);
            before += chance * self.says.values[place] * old;
            now += chance * self.says.values[place] * new.values[place];
            if new.values[place] > 0.0 {
                most = most.max(new.values[place] / old);
            }
            place += 1;
        });
        let enough = self.compiled.upward.enough_after(most * before / now);
        enough.then_some(most)
    }
}

impl Outer {
    /// Nothing is said.
    fn open(keys: Vec<SharedKey>) -> Self {
        Self {
            values: vec![1.0; 1 << keys.len()],
            keys,
        }
    }
}

impl Says {
    fn of(unrolled: &Unrolled, compiled: &Compiled, keys: Vec<SharedKey>) -> Self {
        let Compiled {
            places,
            tree,
            upward,
            ..
        } = compiled;
        if keys.is_empty() {
            return Self {
                keys,
                values: vec![1.0],
                log_factor: upward.log_total,
            };
        }
        let alone = Question {
            without: vec![OUTER],
            ..Question::default()
        };
        let base = tree.again(upward, &alone, &alone);
        if base.log_total == f64::NEG_INFINITY || unrolled.findings.is_empty() {
            // its findings contradict each other: it says nothing of what is shared
            return Self {
                values: vec![1.0; 1 << keys.len()],
                keys,
                log_factor: base.log_total,
            };
        }
        let priors: Vec<f64> = keys.iter().map(|key| prior(unrolled, key)).collect();
        let mut chances = Vec::with_capacity(1 << keys.len());
        let mut questions = Vec::with_capacity(1 << keys.len());
        for_each_state(&vec![2; keys.len()], |at| {
            let mut question = Question::default();
            let mut chance = 1.0;
            for ((key, &state), prior) in keys.iter().zip(at).zip(&priors) {
                chance *= if state == 1 { *prior } else { 1.0 - prior };
                if let Some(var) = key.var(places) {
                    question.fix(tree, var, state);
                }
            }
            chances.push(chance);
            questions.push(question);
        });
        let log_factor = base.log_total;
        let logs = tree.log_totals_with(base, &alone, &questions);
        let values = chances.into_iter().zip(logs).map(|(chance, log)| {
            if chance > 0.0 {
                (log - log_factor).exp() / chance
            } else {
                0.0
            }
        });
        let values = values.collect();
        Self {
            keys,
            values,
            log_factor,
        }
    }
}

/// Lets the groups speak to each other, and bounds what they set aside.
fn bounded(rough: Vec<Rough>) -> Result<(Vec<Group>, f64), Error> {
    if rough.iter().all(|group| group.aside.is_none()) {
        return couple(rough);
    }
    let mut early: Vec<Rough> = rough.iter().map(|group| group.early(0)).collect();
    let mut logs = Vec::with_capacity(rough.len());
    for (index, group) in rough.iter().enumerate() {
        let stages = group.aside.iter().flat_map(|aside| &aside.stages);
        let mut of_group = Vec::new();
        for (number, stage) in stages.enumerate() {
            // of the others, what bounds them best: their own first findings with nothing set aside
            let first = std::mem::replace(&mut early[index], group.early(number));
            let (log_total, outer) = said_to(index, &early)?;
            let compiled = match &outer {
                Some(outer) => &early[index].compiled.with_outer(outer)?,
                None => &*early[index].compiled,
            };
            of_group.push(log_total + stage.chance(compiled).ln());
            early[index] = first;
        }
        logs.push(of_group);
    }
    let (mut groups, log_total) = couple(rough)?;
    for (group, logs) in groups.iter_mut().zip(logs) {
        let odds: f64 = logs.iter().map(|log| (log - log_total).exp()).sum();
        group.aside_at_most = if odds.is_finite() {
            odds / (1.0 + odds)
        } else {
            1.0
        };
    }
    Ok((groups, log_total))
}
