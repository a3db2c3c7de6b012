//! The likeliest explanations: best-first over sets of explanations, each bounded by what it could hold at most.
//!
//! A set is given by a prefix of states of the machine's chips and places, the last of them bad. Its best guess has all
//! others good; the rest of it splits by the first of the others that is bad (Lawler, "A procedure for computing the K best solutions",
//! Management Science 18, 1972). A set is bounded by the chance of its prefix, so the first explanations taken from the queue are proven to be the best.
//! Parts that depend on nothing the others depend on are searched apart and joined.

use std::{cmp::Ordering, collections::BTreeMap, collections::BinaryHeap};

use crate::{
    answer::{Explanation, Holder},
    compiled::Compiled,
    diagnosis::Listed,
    digits::nine_digits,
    model::Var,
    tree::{Marginals, Question, Upward},
};

/// A share below this cannot be told from 0: the signed auxiliaries leave rounding of this order.
const LEAST_SHARE: f64 = 1e-12;

/// What rounding can add to a share relative to it, beside that: far more than it does.
const ROUNDING: f64 = 1e-6;

/// A variable whose states an explanation names.
#[derive(Debug, Clone)]
pub(crate) struct Member {
    pub(crate) var: Var,
    /// By state: the mode that is present in it.
    pub(crate) states: Vec<Option<(String, String)>>,
    pub(crate) unmodelled: bool,
}

/// Groups listed modes by their variable.
pub(crate) fn members(listed: impl Iterator<Item = Listed>) -> Vec<Member> {
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
        nine_digits(self.share)
            .total_cmp(&nine_digits(other.share))
            .then_with(|| other.states.cmp(&self.states))
    }
}

/// The best sets, likeliest first.
pub(crate) fn best(
    compiled: &Compiled,
    marginals: &Marginals,
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

/// A set of explanations, or one that is complete.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Node {
    /// What it holds at most; exact where it is complete.
    bound: Found,
    complete: bool,
}

/// The best sets over members that depend on each other.
fn search(
    compiled: &Compiled,
    marginals: &Marginals,
    group: &[&Member],
    count: usize,
) -> Vec<Found> {
    // the least certain first, so that the sets split early
    let mut order: Vec<Var> = group.iter().map(|member| member.var).collect();
    order.sort_by(|&a, &b| marginals[a][0].total_cmp(&marginals[b][0]).then(a.cmp(&b)));
    let mut all_good = AllGood::of(compiled, &order);
    let mut search = Search {
        compiled,
        marginals,
        least: least(&mut all_good, marginals, &order, count),
        order,
        all_good,
    };
    let everything = Node {
        bound: Found {
            share: 1.0,
            states: Vec::new(),
        },
        complete: false,
    };
    let mut queue = BinaryHeap::from([everything]);
    let mut guessed = Vec::new();
    let mut found = Vec::new();
    while let Some(node) = queue.pop() {
        if node.complete {
            found.push(node.bound);
            if found.len() == count {
                break;
            }
        } else {
            let nodes = search.split(&node.bound.states);
            let complete = nodes.iter().filter(|node| node.complete);
            guessed.extend(complete.map(|node| node.bound.share));
            search.least = search.least.max(last_of(&mut guessed, count));
            let enough = |node: &Node| node.bound.share > LEAST_SHARE;
            queue.extend(nodes.into_iter().filter(enough));
        }
    }
    found
}

/// The pass where all members are good: explanations have few that are not, and differ from it at these.
struct AllGood<'a> {
    compiled: &'a Compiled,
    question: Question,
    upward: Upward,
    /// A copy of it, for what differs.
    near: Upward,
}

impl<'a> AllGood<'a> {
    fn of(compiled: &'a Compiled, members: &[Var]) -> Self {
        let mut question = Question::default();
        for &var in members {
            question.fix(&compiled.tree, var, 0);
        }
        let upward = compiled.tree.upward(&question);
        Self {
            compiled,
            near: upward.clone(),
            upward,
            question,
        }
    }

    /// The share of the explanation with these bad states.
    fn but(&mut self, bad: impl Iterator<Item = (Var, usize)>) -> f64 {
        let Compiled { tree, upward, .. } = self.compiled;
        let mut question = self.question.clone();
        let mut differs = Question::default();
        for (var, state) in bad {
            question.weights.retain(|(other, _)| *other != var);
            question.fix(tree, var, state);
            differs.fix(tree, var, state);
        }
        let log = tree.log_total_near(&mut self.near, &self.upward, &question, &differs);
        (log - upward.log_total).exp()
    }

    /// A complete explanation with its share.
    fn guess(&mut self, states: Vec<(Var, usize)>) -> Node {
        let bad = states.iter().copied().filter(|(_, state)| *state > 0);
        Node {
            bound: Found {
                share: self.but(bad),
                states,
            },
            complete: true,
        }
    }
}

/// What the last of the explanations that are asked for has at least: so many are known that have it.
fn least(all_good: &mut AllGood<'_>, marginals: &Marginals, order: &[Var], count: usize) -> f64 {
    let bad = |&var: &Var| (1..marginals[var].len()).map(move |state| (var, state));
    let mut single: Vec<(Var, usize)> = order.iter().flat_map(bad).collect();
    single.sort_by(|a, b| marginals[b.0][b.1].total_cmp(&marginals[a.0][a.1]));
    single.truncate(count);
    let mut shares = vec![all_good.but(std::iter::empty())];
    let single = single.into_iter();
    shares.extend(single.map(|one| all_good.but(std::iter::once(one))));
    last_of(&mut shares, count)
}

/// The so many-th of these shares, less what rounding may have added; [`LEAST_SHARE`] if there are fewer.
fn last_of(shares: &mut [f64], count: usize) -> f64 {
    shares.sort_by(|a, b| b.total_cmp(a));
    let last = count.checked_sub(1).and_then(|last| shares.get(last));
    last.map_or(LEAST_SHARE, |last| {
        LEAST_SHARE.max(last * (1.0 - ROUNDING) - 10.0 * LEAST_SHARE)
    })
}

/// A search for the best sets.
struct Search<'a> {
    compiled: &'a Compiled,
    /// Posteriors of the set of everything.
    marginals: &'a Marginals,
    order: Vec<Var>,
    all_good: AllGood<'a>,
    /// What holds less than this is not among the best.
    least: f64,
}

impl Search<'_> {
    /// The best guess of a set, and the sets that make up the rest of it.
    fn split(&mut self, prefix: &[(Var, usize)]) -> Vec<Node> {
        let Compiled { tree, upward, .. } = self.compiled;
        let rest = &self.order[prefix.len()..];
        // in a part of all sets nothing has a larger share than in all
        let suspect = |var: &&Var| {
            self.marginals[**var][1..]
                .iter()
                .any(|&chance| chance >= self.least)
        };
        let suspects: Vec<Var> = rest.iter().filter(suspect).copied().collect();
        let (mut share, mut inside) = (1.0, None);
        if !prefix.is_empty() {
            let mut question = Question::default();
            for &(var, state) in prefix {
                question.fix(tree, var, state);
            }
            let pass = tree.again(upward, &question, &question);
            share = (pass.log_total - upward.log_total).exp();
            if share < self.least {
                return Vec::new();
            }
            inside = Some(tree.marginals_of(&question, &pass, &suspects));
        }
        let marginals = inside.as_ref().unwrap_or(self.marginals);
        let with = |extra: &[Var], last: Option<(Var, usize)>| {
            let good = extra.iter().map(|&var| (var, 0));
            let states = prefix.iter().copied().chain(good).chain(last);
            states.collect::<Vec<_>>()
        };
        let mut nodes = vec![self.all_good.guess(with(rest, None))];
        for (place, &var) in rest
            .iter()
            .enumerate()
            .filter(|(_, var)| suspects.contains(var))
        {
            for (state, chance) in marginals[var].iter().enumerate().skip(1) {
                let bound = share * chance;
                if bound >= self.least {
                    nodes.push(Node {
                        bound: Found {
                            share: bound,
                            states: with(&rest[..place], Some((var, state))),
                        },
                        complete: false,
                    });
                }
            }
        }
        nodes
    }
}
