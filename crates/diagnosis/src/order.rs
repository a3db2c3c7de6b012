//! In which order variables are summed out.

use std::collections::BTreeSet;

use crate::model::Var;

/// What the greedy elimination takes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Greed {
    /// Fewest new edges, then smallest clique.
    Fill,
    /// Smallest clique, then fewest new edges.
    Size,
}

/// Total size above which a second order is tried.
const SMALL_ENOUGH: f64 = 20_000.0;

/// Eliminates greedily; each clique starts with its eliminated variable. Where the cliques come out large another rule of
/// choice is tried and the smaller result kept.
pub(crate) fn eliminate(states: &[usize], scopes: &[&[Var]]) -> (Vec<Var>, Vec<Vec<Var>>) {
    let first = eliminate_by(states, scopes, Greed::Fill);
    if entries_of(&first.1, states) <= SMALL_ENOUGH {
        return first;
    }
    let second = eliminate_by(states, scopes, Greed::Size);
    if entries_of(&second.1, states) < entries_of(&first.1, states) {
        second
    } else {
        first
    }
}

/// Entries of all cliques together, zeros included.
fn entries_of(cliques: &[Vec<Var>], states: &[usize]) -> f64 {
    let size = |clique: &Vec<Var>| {
        clique
            .iter()
            .map(|&var| states[var] as f64)
            .product::<f64>()
    };
    cliques.iter().map(size).sum()
}

fn eliminate_by(states: &[usize], scopes: &[&[Var]], greed: Greed) -> (Vec<Var>, Vec<Vec<Var>>) {
    let mut neighbours: Vec<BTreeSet<Var>> = vec![BTreeSet::new(); states.len()];
    for scope in scopes {
        for &a in *scope {
            neighbours[a].extend(scope.iter().filter(|&&b| b != a));
        }
    }
    let cost = |var: Var, neighbours: &[BTreeSet<Var>]| -> (u64, u64) {
        let around: Vec<Var> = neighbours[var].iter().copied().collect();
        let unknown = |(i, &a): (usize, &Var)| {
            around[i + 1..]
                .iter()
                .filter(|b| !neighbours[a].contains(b))
                .count() as u64
        };
        let fill = around.iter().enumerate().map(unknown).sum();
        let size = around.iter().fold(states[var] as u64, |size, &var| {
            size.saturating_mul(states[var] as u64)
        });
        match greed {
            Greed::Fill => (fill, size),
            Greed::Size => (size, fill),
        }
    };
    let mut costs: Vec<(u64, u64)> = (0..states.len())
        .map(|var| cost(var, &neighbours))
        .collect();
    let mut queue: BTreeSet<((u64, u64), Var)> = costs.iter().copied().zip(0..).collect();
    let mut order = Vec::with_capacity(states.len());
    let mut cliques = Vec::with_capacity(states.len());
    while let Some((_, var)) = queue.pop_first() {
        let around: Vec<Var> = std::mem::take(&mut neighbours[var]).into_iter().collect();
        let mut stale: BTreeSet<Var> = around.iter().copied().collect();
        for (i, &a) in around.iter().enumerate() {
            neighbours[a].remove(&var);
            for &b in &around[i + 1..] {
                if neighbours[a].insert(b) {
                    neighbours[b].insert(a);
                    // a new edge changes the fill of those that see both ends
                    stale.extend(neighbours[a].intersection(&neighbours[b]));
                }
            }
        }
        for &other in &stale {
            let new = cost(other, &neighbours);
            if new != costs[other] {
                queue.remove(&(costs[other], other));
                queue.insert((new, other));
                costs[other] = new;
            }
        }
        order.push(var);
        let mut clique = vec![var];
        clique.extend(around);
        cliques.push(clique);
    }
    (order, cliques)
}
