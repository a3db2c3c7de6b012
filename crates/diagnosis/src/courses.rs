//! What courses ask of the network in which all suspects but a few are good: suspects put right one after the other, and what is seen
//! beside that. What several courses ask is asked once.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use crate::{
    advise::{Adviser, Seen},
    asking::{Sum, Works},
    model::Var,
    tree::{Question, Tree},
};

/// What is asked of the small network: suspects that are put right, and what is seen beside them; each once.
pub(crate) struct Courses<'a> {
    adviser: &'a Adviser<'a>,
    pub(crate) grounds: Vec<Question>,
    /// By suspects with their remedies.
    known: BTreeMap<Vec<(Var, usize)>, usize>,
    pub(crate) beside: Vec<Arc<Works>>,
    pub(crate) pairs: Vec<(usize, usize)>,
    paired: BTreeMap<(usize, usize), usize>,
}

impl<'a> Courses<'a> {
    pub(crate) fn of(
        adviser: &'a Adviser<'a>,
        tree: &Tree,
        free: &BTreeSet<Var>,
        beside: Vec<Arc<Works>>,
    ) -> Self {
        let mut all_good = Question::default();
        for &var in free {
            all_good.fix(tree, var, 0);
        }
        Self {
            adviser,
            grounds: vec![all_good],
            known: BTreeMap::from([(Vec::new(), 0)]),
            beside,
            pairs: Vec::new(),
            paired: BTreeMap::new(),
        }
    }

    /// For each number of remedies done: factors, and the pairs that they belong to.
    pub(crate) fn along(
        &mut self,
        seen: &Seen<'_>,
        tried: &[(Var, usize)],
    ) -> Vec<Vec<(f64, usize)>> {
        let sum: Sum = match seen {
            Seen::Sum(sum) => (*sum).clone(),
            Seen::Nothing => vec![(1.0, self.said(Arc::new(Works::nothing())))],
            Seen::Chip(var, shown) => vec![(1.0, self.said(Works::weighing(*var, shown)))],
        };
        let mut ground = 0;
        let mut along = Vec::with_capacity(tried.len() + 1);
        for done in 0..=tried.len() {
            if done > 0 {
                ground = self.cured(ground, &tried[..done]);
            }
            let terms = sum
                .iter()
                .map(|&(factor, beside)| (factor, self.pair(ground, beside)));
            along.push(terms.collect());
        }
        along
    }

    fn said(&mut self, beside: Arc<Works>) -> usize {
        self.beside.push(beside);
        self.beside.len() - 1
    }

    /// The ground after the last of these remedies, given that before it.
    fn cured(&mut self, before: usize, done: &[(Var, usize)]) -> usize {
        let mut key = done.to_vec();
        key.sort_unstable();
        let grounds = &mut self.grounds;
        *self.known.entry(key).or_insert_with(|| {
            let mut ground = grounds[before].clone();
            if let Some(&(var, remedy)) = done.last() {
                let works = self.adviser.economy.remedies[remedy].works;
                cure(&mut ground, var, |_| works);
                if let Some((place, cured)) = self.adviser.with_it.get(&var) {
                    cure(&mut ground, *place, |state| cured[state]);
                }
            }
            grounds.push(ground);
            grounds.len() - 1
        })
    }

    fn pair(&mut self, ground: usize, beside: usize) -> usize {
        let pairs = &mut self.pairs;
        *self.paired.entry((ground, beside)).or_insert_with(|| {
            pairs.push((ground, beside));
            pairs.len() - 1
        })
    }
}

/// Puts a variable's bad states right with these chances, beside what was done to it before.
fn cure(question: &mut Question, var: Var, chance: impl Fn(usize) -> f64) {
    let slot = question.weights.iter_mut().find(|(other, _)| *other == var);
    if let Some((_, weights)) = slot {
        let put_right = weights
            .iter()
            .enumerate()
            .map(|(state, weight)| match state {
                0 => *weight,
                _ => 1.0 - (1.0 - *weight) * (1.0 - chance(state)),
            });
        *weights = put_right.collect();
    }
}
