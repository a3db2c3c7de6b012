//! What groups share, and what they say to each other about it.

use std::collections::{BTreeMap, BTreeSet};

use crate::{
    error::Error,
    model::{Likelihood, Model, Table, Var, for_each_state},
    tree::{Question, Tree},
    unroll::Unrolled,
};

use super::{Group, Outer, Part, Rough, SharedKey};

/// P(all findings) as a logarithm, and what the others say to one group.
pub(super) fn said_to(index: usize, rough: &[Rough]) -> Result<(f64, Option<Outer>), Error> {
    let mut network = Network::default();
    for (number, group) in rough.iter().enumerate() {
        network.add(number, group);
    }
    let tree = Tree::compile(&network.model)?;
    let factors: f64 = rough.iter().map(|group| group.says.log_factor).sum();
    let log_total = tree.upward(&Question::default()).log_total + factors;
    Ok((log_total, network.outer(index, &rough[index], &tree)))
}

/// Lets the groups speak to each other.
pub(super) fn couple(rough: Vec<Rough>) -> Result<(Vec<Group>, f64), Error> {
    let factors: f64 = rough.iter().map(|group| group.says.log_factor).sum();
    if rough.iter().all(|group| group.says.keys.is_empty()) {
        let groups = rough.into_iter().map(|group| group.with(None));
        return Ok((groups.collect::<Result<_, _>>()?, factors));
    }
    let mut network = Network::default();
    for (index, group) in rough.iter().enumerate() {
        network.add(index, group);
    }
    let tree = Tree::compile(&network.model)?;
    let upward = tree.upward(&Question::default());
    let mut groups = Vec::with_capacity(rough.len());
    for (index, group) in rough.into_iter().enumerate() {
        let outer = network.outer(index, &group, &tree);
        groups.push(group.with(outer)?);
    }
    Ok((groups, upward.log_total + factors))
}

/// The shared things and what each group says of them.
#[derive(Default)]
struct Network {
    model: Model,
    vars: BTreeMap<SharedKey, (Var, f64)>,
}

impl Network {
    fn add(&mut self, index: usize, group: &Rough) {
        if group.says.keys.is_empty() {
            return;
        }
        let mut vars = Vec::with_capacity(group.says.keys.len());
        for key in &group.says.keys {
            let chance = prior(&group.unrolled, key);
            let model = &mut self.model;
            let (var, _) = self.vars.entry(key.clone()).or_insert_with(|| {
                let var = model.root(vec![1.0 - chance, chance]);
                (var, chance)
            });
            vars.push(*var);
        }
        self.model.likelihoods.push(Likelihood {
            table: Table {
                vars,
                values: group.says.values.clone(),
            },
            finding: index,
        });
    }

    /// What all other groups say of what this one shares.
    fn outer(&self, index: usize, group: &Rough, tree: &Tree) -> Option<Outer> {
        let keys = &group.says.keys;
        if keys.is_empty() {
            return None;
        }
        let alone = Question {
            without: vec![index],
            ..Question::default()
        };
        let base = tree.upward(&alone);
        let mut outer = Outer::open(keys.clone());
        if base.log_total == f64::NEG_INFINITY {
            // the others contradict each other: they say nothing
            return Some(outer);
        }
        let mut place = 0;
        for_each_state(&vec![2; keys.len()], |at| {
            let mut question = Question::default();
            let mut chance = 1.0;
            for (key, &state) in keys.iter().zip(at) {
                let (var, prior) = self.vars[key];
                chance *= if state == 1 { prior } else { 1.0 - prior };
                question.fix(tree, var, state);
            }
            let log = tree.log_total_with(&base, &alone, &question) - base.log_total;
            outer.values[place] = if chance > 0.0 {
                log.exp() / chance
            } else {
                0.0
            };
            place += 1;
        });
        let largest = outer.values.iter().copied().fold(0.0, f64::max);
        if largest > 0.0 {
            outer.values.iter_mut().for_each(|value| *value /= largest);
        }
        Some(outer)
    }
}

pub(super) fn prior(unrolled: &Unrolled, key: &SharedKey) -> f64 {
    match key {
        SharedKey::Event(key) => unrolled.graph.events.get(key).copied().unwrap_or(0.0),
        SharedKey::Outside(id) => unrolled.graph.outside.get(id).copied().unwrap_or(0.0),
    }
}

/// By group: what it shares with another one.
pub(super) fn shared(parts: &[Part<'_>]) -> Vec<Vec<SharedKey>> {
    let mut uses: BTreeMap<SharedKey, usize> = BTreeMap::new();
    let keys: Vec<BTreeSet<SharedKey>> = parts
        .iter()
        .map(|part| shared_keys(&part.unrolled))
        .collect();
    for key in keys.iter().flatten() {
        *uses.entry(key.clone()).or_default() += 1;
    }
    keys.into_iter()
        .map(|keys| keys.into_iter().filter(|key| uses[key] > 1).collect())
        .collect()
}

/// Unknown lot events and outside things of some machines.
fn shared_keys(unrolled: &Unrolled) -> BTreeSet<SharedKey> {
    let tags: BTreeSet<&str> = unrolled.tags().collect();
    let events = unrolled
        .graph
        .events
        .keys()
        .filter(|key| !tags.contains(key.0.as_str()))
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
