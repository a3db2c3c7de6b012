//! One machine and those it exchanged chips with, apart from the rest of the pile.
//!
//! The other machines speak to it only through what they share: events of the lot, outside things. What they say is
//! one likelihood over those, computed once; after that a question about this machine costs no more with nine on the bench
//! than with one.

use std::collections::BTreeSet;

use crate::{
    diagnosis::Compiled,
    error::Error,
    graph::EventKey,
    lower::Lowered,
    model::{Var, for_each_state},
    situation::{Action, Chip, Situation, Truth},
    tree::Question,
    unroll::{Unrolled, unroll},
};

/// Things shared by machines that are followed one by one; with more of them the machines stay together.
const MOST_SHARED: usize = 10;

/// A machine with those it exchanged chips with.
#[derive(Debug)]
pub(crate) struct Focus {
    pub(crate) unrolled: Unrolled,
    pub(crate) machine: usize,
    /// What the other machines say of the shared things.
    pub(crate) outer: Option<Outer>,
}

/// A likelihood over shared things, the last one varying fastest.
#[derive(Debug, Clone)]
pub(crate) struct Outer {
    pub(crate) keys: Vec<SharedKey>,
    pub(crate) values: Vec<f64>,
}

/// Something several machines share.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SharedKey {
    Event(EventKey),
    Outside(String),
}

impl SharedKey {
    pub(crate) fn var(&self, lowered: &Lowered) -> Option<Var> {
        match self {
            Self::Event(key) => lowered.events.get(key).copied(),
            Self::Outside(id) => lowered.outside.get(id).copied(),
        }
    }
}

/// Takes one machine apart from the others.
pub(crate) fn focus(situation: &Situation, tag: &str) -> Result<Focus, Error> {
    let group = group_of(situation, tag);
    let own = part_of(situation, |machine| group.contains(machine));
    let others = part_of(situation, |machine| !group.contains(machine));
    let unrolled = unroll(&own)?;
    let shared: Vec<SharedKey> = shared_keys(&unrolled)
        .into_iter()
        .filter(|key| shared_keys(&others_of(&others)).contains(key))
        .collect();
    let spoken = !shared.is_empty()
        && others
            .steps
            .iter()
            .any(|step| matches!(step.action, Action::Measure(_) | Action::Settle { .. }));
    if !spoken {
        let machine = unrolled.machine(tag)?;
        return Ok(Focus {
            unrolled,
            machine,
            outer: None,
        });
    }
    if shared.len() > MOST_SHARED {
        let unrolled = unroll(situation)?;
        let machine = unrolled.machine(tag)?;
        return Ok(Focus {
            unrolled,
            machine,
            outer: None,
        });
    }
    let outer = say(&unroll(&others)?, shared)?;
    let machine = unrolled.machine(tag)?;
    Ok(Focus {
        unrolled,
        machine,
        outer: Some(outer),
    })
}

/// What unrolled machines say of shared things: P(their findings | each combination), up to a factor.
fn say(others: &Unrolled, keys: Vec<SharedKey>) -> Result<Outer, Error> {
    let Compiled {
        lowered,
        tree,
        upward: base,
    } = Compiled::of(others, &[], None)?;
    if base.log_total == f64::NEG_INFINITY {
        // they contradict each other: they say nothing of what is shared
        return Ok(Outer {
            values: vec![1.0; 1 << keys.len()],
            keys,
        });
    }
    let priors: Vec<f64> = keys.iter().map(|key| prior(others, key)).collect();
    let mut values = Vec::with_capacity(1 << keys.len());
    for_each_state(&vec![2; keys.len()], |at| {
        let mut question = Question::default();
        let mut chance = 1.0;
        for ((key, &state), prior) in keys.iter().zip(at).zip(&priors) {
            chance *= if state == 1 { *prior } else { 1.0 - prior };
            if let Some(var) = key.var(&lowered) {
                question.fix(&tree, var, state);
            }
        }
        let log = tree.log_total_with(&base, &Question::default(), &question) - base.log_total;
        values.push(if chance > 0.0 {
            log.exp() / chance
        } else {
            0.0
        });
    });
    let largest = values.iter().copied().fold(0.0, f64::max);
    if largest > 0.0 {
        values.iter_mut().for_each(|value| *value /= largest);
    }
    Ok(Outer { keys, values })
}

fn prior(unrolled: &Unrolled, key: &SharedKey) -> f64 {
    match key {
        SharedKey::Event(key) => unrolled.graph.events.get(key).copied().unwrap_or(0.0),
        SharedKey::Outside(id) => unrolled.graph.outside.get(id).copied().unwrap_or(0.0),
    }
}

/// Unknown lot events and outside things of some machines.
fn shared_keys(unrolled: &Unrolled) -> BTreeSet<SharedKey> {
    let tags: BTreeSet<&String> = unrolled
        .graph
        .boards
        .iter()
        .map(|board| &board.tag)
        .collect();
    let events = unrolled
        .graph
        .events
        .keys()
        .filter(|key| !tags.contains(&key.0))
        .cloned()
        .map(SharedKey::Event);
    let outside = unrolled
        .graph
        .boards
        .iter()
        .flat_map(|board| &board.outside)
        .cloned()
        .map(SharedKey::Outside);
    events.chain(outside).collect()
}

/// The machines of a situation before any step.
fn others_of(situation: &Situation) -> Unrolled {
    unroll(&Situation {
        steps: Vec::new(),
        ..situation.clone()
    })
    .unwrap_or_default()
}

/// The machines and steps that concern some of the machines.
fn part_of(situation: &Situation, belongs: impl Fn(&str) -> bool) -> Situation {
    let concerns = |action: &Action| tags_of(situation, action).iter().any(|tag| belongs(tag));
    Situation {
        profiles: situation.profiles.clone(),
        machines: situation
            .machines
            .iter()
            .filter(|machine| belongs(&machine.tag))
            .cloned()
            .collect(),
        lots: situation.lots.clone(),
        steps: situation
            .steps
            .iter()
            .filter(|step| concerns(&step.action))
            .cloned()
            .collect(),
    }
}

/// This machine and all it exchanged chips with, directly or through others.
fn group_of(situation: &Situation, tag: &str) -> BTreeSet<String> {
    let links: Vec<BTreeSet<String>> = situation
        .steps
        .iter()
        .map(|step| tags_of(situation, &step.action))
        .filter(|tags| tags.len() > 1)
        .collect();
    let mut group = BTreeSet::from([tag.to_owned()]);
    while let Some(link) = links
        .iter()
        .find(|link| !link.is_subset(&group) && !link.is_disjoint(&group))
    {
        group.extend(link.iter().cloned());
    }
    group
}

/// The machines that an action concerns; a marked chip brings those it was pulled from.
fn tags_of(situation: &Situation, action: &Action) -> BTreeSet<String> {
    match action {
        Action::Measure(measure) => BTreeSet::from([measure.machine.clone()]),
        Action::Power { machine, .. }
        | Action::SetUp { machine }
        | Action::Pull { machine, .. }
        | Action::Treat { machine, .. }
        | Action::Mend { machine } => BTreeSet::from([machine.clone()]),
        Action::Fit { machine, chip, .. } => {
            let mut tags = BTreeSet::from([machine.clone()]);
            if let Chip::Marked(mark) = chip {
                tags.extend(origins(situation, mark));
            }
            tags
        }
        Action::Swap { a, b } => BTreeSet::from([a.0.clone(), b.0.clone()]),
        Action::Settle { machine, truth } => {
            let mut tags: BTreeSet<String> = machine.iter().cloned().collect();
            if let Truth::MarkedMode { mark, .. } = truth {
                tags.extend(origins(situation, mark));
            }
            tags
        }
    }
}

/// Machines from which a chip with this mark came out.
fn origins<'a>(situation: &'a Situation, mark: &'a str) -> impl Iterator<Item = String> + 'a {
    situation
        .steps
        .iter()
        .filter_map(move |step| match &step.action {
            Action::Pull {
                machine,
                mark: Some(other),
                ..
            }
            | Action::Fit {
                machine,
                old_mark: Some(other),
                ..
            } if other == mark => Some(machine.clone()),
            _ => None,
        })
}
