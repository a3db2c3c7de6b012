//! The likeliest explanations: best-first over partial sets, each bounded by the chance of what is fixed so far.
//!
//! A partial set's chance is at least that of any of its completions, so the first complete sets taken from the queue
//! are the best ones (uniform-cost search; Shimony, "Finding MAPs for belief networks is NP-hard", Artificial Intelligence 68, 1994, for why one must search).
//! Parts that depend on nothing the others depend on are searched apart and joined.

use std::{cmp::Ordering, collections::BTreeMap, collections::BinaryHeap};

use crate::{
    answer::{Explanation, Holder},
    diagnosis::{Compiled, Listed},
    model::Var,
    tree::Question,
};

/// A variable whose states an explanation names.
#[derive(Debug, Clone)]
pub(crate) struct Member {
    pub(crate) var: Var,
    /// By state: the mode that is present in it.
    pub(crate) states: Vec<Option<(String, String)>>,
    pub(crate) unmodelled: bool,
}

/// Groups listed modes by their variable.
pub(crate) fn members(listed: Vec<Listed>) -> Vec<Member> {
    let mut members: BTreeMap<Var, Vec<Option<(String, String)>>> = BTreeMap::new();
    for mode in listed {
        let (Some((var, state)), Holder::Position { part, .. }) = (mode.at, mode.holder) else {
            continue;
        };
        let states = members.entry(var).or_insert_with(|| vec![None]);
        if states.len() <= state {
            states.resize(state + 1, None);
        }
        states[state] = Some((part, mode.mode));
    }
    members
        .into_iter()
        .map(|(var, states)| Member {
            var,
            states,
            unmodelled: false,
        })
        .collect()
}

/// A set of states with its share.
#[derive(Debug, Clone, PartialEq)]
struct Found {
    share: f64,
    states: Vec<(Var, usize)>,
}

impl Eq for Found {}

impl PartialOrd for Found {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Found {
    fn cmp(&self, other: &Self) -> Ordering {
        self.share
            .total_cmp(&other.share)
            .then_with(|| other.states.cmp(&self.states))
    }
}

/// The best sets, likeliest first.
pub(crate) fn best(
    compiled: &Compiled,
    marginals: &[Vec<f64>],
    members: &[Member],
    count: usize,
) -> Vec<Explanation> {
    let mut groups: BTreeMap<usize, Vec<&Member>> = BTreeMap::new();
    for member in members {
        groups
            .entry(compiled.tree.component(member.var))
            .or_default()
            .push(member);
    }
    let mut joined = vec![Found {
        share: 1.0,
        states: Vec::new(),
    }];
    for group in groups.values() {
        let found = search(compiled, marginals, group, count);
        joined = join(&joined, &found, count);
    }
    joined
        .into_iter()
        .map(|found| named(&found, members))
        .collect()
}

fn named(found: &Found, members: &[Member]) -> Explanation {
    let mut explanation = Explanation {
        modes: Vec::new(),
        unmodelled: false,
        share: found.share,
    };
    for (var, state) in &found.states {
        let Some(member) = members.iter().find(|member| member.var == *var) else {
            continue;
        };
        explanation.unmodelled |= member.unmodelled && *state > 0;
        explanation
            .modes
            .extend(member.states.get(*state).cloned().flatten());
    }
    explanation.modes.sort();
    explanation
}

/// The best pairs of two independent lists.
fn join(a: &[Found], b: &[Found], count: usize) -> Vec<Found> {
    let pairs = a.iter().flat_map(|a| {
        b.iter().map(move |b| Found {
            share: a.share * b.share,
            states: a.states.iter().chain(&b.states).copied().collect(),
        })
    });
    let mut pairs: Vec<Found> = pairs.collect();
    pairs.sort_by(|a, b| b.cmp(a));
    pairs.truncate(count);
    pairs
}

/// The best sets over members that depend on each other.
fn search(
    compiled: &Compiled,
    marginals: &[Vec<f64>],
    group: &[&Member],
    count: usize,
) -> Vec<Found> {
    // the least certain first, so that the queue splits early
    let mut members: Vec<&Member> = group.to_vec();
    members.sort_by(|a, b| {
        marginals[a.var][0]
            .total_cmp(&marginals[b.var][0])
            .then(a.var.cmp(&b.var))
    });
    let mut queue = BinaryHeap::from([Found {
        share: 1.0,
        states: Vec::new(),
    }]);
    let mut found = Vec::new();
    while let Some(node) = queue.pop() {
        let Some(member) = members.get(node.states.len()) else {
            found.push(node);
            if found.len() == count {
                break;
            }
            continue;
        };
        queue.extend(children(compiled, marginals, &node, member.var));
    }
    found
}

fn children(compiled: &Compiled, marginals: &[Vec<f64>], node: &Found, var: Var) -> Vec<Found> {
    let states = marginals[var].len();
    let mut children = Vec::with_capacity(states);
    let mut left = node.share;
    for state in (0..states).rev() {
        if marginals[var][state] <= 0.0 {
            continue;
        }
        let share = match (node.states.is_empty(), state) {
            (true, _) => marginals[var][state],
            // what the others leave; exact enough unless little is left
            (false, 0) if left > 1e-3 * node.share => left,
            _ => share_of(compiled, node, var, state),
        };
        left -= share;
        if share > 0.0 {
            let mut states = node.states.clone();
            states.push((var, state));
            children.push(Found { share, states });
        }
    }
    children
}

fn share_of(compiled: &Compiled, node: &Found, var: Var, state: usize) -> f64 {
    let mut question = Question::default();
    for &(var, state) in node.states.iter().chain([&(var, state)]) {
        question.fix(&compiled.tree, var, state);
    }
    let log = compiled
        .tree
        .log_total_with(&compiled.upward, &Question::default(), &question);
    (log - compiled.upward.log_total).exp()
}
