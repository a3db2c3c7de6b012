//! What is asked of a network beside what is known of it.

use std::sync::Arc;

use crate::{
    asking::Works,
    messages::Dual,
    model::Var,
    number::{Lanes, Number},
    pass::Changes,
};

use super::Tree;

/// What changes from question to question: weights of single variables, findings left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Question {
    /// Weights for the states of a variable; several for one variable multiply.
    pub(crate) weights: Vec<(Var, Arc<[f64]>)>,
    /// Findings left out.
    pub(crate) without: Vec<usize>,
    /// Functions that work.
    pub(crate) works: Option<Arc<Works>>,
}

impl Question {
    /// That these functions work.
    pub(crate) fn that(works: &Arc<Works>) -> Self {
        Self {
            works: Some(Arc::clone(works)),
            ..Self::default()
        }
    }

    /// The logarithm of what the functions that work weigh beside the variables.
    pub(super) fn log_scale(&self) -> f64 {
        self.works.as_ref().map_or(0.0, |works| works.scale.ln())
    }

    /// Both questions at once.
    pub(super) fn and(&self, more: &Self) -> Self {
        let mut both = self.clone();
        both.weights.extend(more.weights.iter().cloned());
        both.without.extend(&more.without);
        both
    }

    /// What one of two questions weighs and the other does not.
    pub(super) fn apart_from(&self, other: &Self) -> Self {
        let only = |one: &Self, other: &Self| {
            let weights = one.weights.iter();
            let weights = weights.filter(|weighed| !other.weights.contains(weighed));
            weights.cloned().collect::<Vec<_>>()
        };
        Self {
            weights: [only(self, other), only(other, self)].concat(),
            ..Self::default()
        }
    }

    /// This variable is in this state.
    pub(crate) fn fix(&mut self, tree: &Tree, var: Var, state: usize) {
        let mut weights = vec![0.0; tree.states[var]];
        weights[state] = 1.0;
        self.weights.push((var, weights.into()));
    }
}

/// A question, by cliques, and the weights of "no unmodelled fault" and of "one".
pub(super) struct Changed<T> {
    pub(super) cliques: Changes<T>,
    pub(super) once: Dual<T>,
}

impl Tree {
    /// A question, by cliques.
    pub(super) fn changes<T: Number>(&self, question: &Question) -> Changed<T> {
        let mut changed = self.unchanged();
        let multiply = |value: &mut T, by| *value = *value * T::of(by, 0.0);
        self.weigh(&mut changed, &question.weights, multiply);
        if let Some(works) = &question.works {
            self.weigh(&mut changed, &works.weights, multiply);
            self.multiply_in(&mut changed, works, 1);
        }
        self.leave_out(&mut changed, &question.without, 1);
        changed
    }

    pub(super) fn leave_out<T: Number>(
        &self,
        changed: &mut Changed<T>,
        without: &[usize],
        chosen: u8,
    ) {
        for (table, _) in self.said_by(without) {
            changed.cliques.leave_out(table, chosen);
        }
    }

    /// What these findings say, with the cliques where they say it.
    pub(super) fn said_by(&self, findings: &[usize]) -> impl Iterator<Item = (usize, usize)> {
        let all = match findings {
            [] => &[][..],
            _ => &self.cliques.evidence,
        };
        let some = all.iter().enumerate();
        let some = some.filter(|(_, evidence)| findings.contains(&evidence.finding));
        some.map(|(table, evidence)| (table, evidence.node))
    }

    /// Several questions, by cliques. What all of them weigh alike is weighed once.
    pub(super) fn changes_of_each(&self, questions: &[Question]) -> Changed<Lanes> {
        let mut changed = self.unchanged();
        let everywhere = |value: &mut Lanes, by| *value = *value * Lanes::of(by, 0.0);
        let first = &questions[0];
        let alike = |at: usize| {
            let (var, weights) = &first.weights[at];
            questions.iter().all(|question| {
                let other = question.weights.get(at);
                other.is_some_and(|other| other.0 == *var && Arc::ptr_eq(&other.1, weights))
            })
        };
        let alike: Vec<bool> = (0..first.weights.len()).map(alike).collect();
        for (weights, _) in first
            .weights
            .iter()
            .zip(&alike)
            .filter(|(_, alike)| **alike)
        {
            self.weigh(&mut changed, std::slice::from_ref(weights), everywhere);
        }
        let same_works = questions.iter().all(|question| match &question.works {
            Some(works) => first
                .works
                .as_ref()
                .is_some_and(|one| Arc::ptr_eq(one, works)),
            None => first.works.is_none(),
        });
        if let Some(works) = first.works.as_ref().filter(|_| same_works) {
            self.weigh(&mut changed, &works.weights, everywhere);
            self.multiply_in(&mut changed, works, Lanes::ALL);
        }
        for (lane, question) in questions.iter().enumerate() {
            let multiply = |value: &mut Lanes, by| value.0[lane] *= by;
            for (at, weights) in question.weights.iter().enumerate() {
                if alike.get(at) != Some(&true) {
                    self.weigh(&mut changed, std::slice::from_ref(weights), multiply);
                }
            }
            if let Some(works) = question.works.as_ref().filter(|_| !same_works) {
                self.weigh(&mut changed, &works.weights, multiply);
                self.multiply_in(&mut changed, works, 1 << lane);
            }
            self.leave_out(&mut changed, &question.without, 1 << lane);
        }
        changed
    }

    /// The tables over several variables that say that functions work.
    pub(super) fn multiply_in<T: Number>(
        &self,
        changed: &mut Changed<T>,
        works: &Works,
        chosen: u8,
    ) {
        for &table in &works.tables {
            let node = self.cliques.optional[table].node;
            changed.cliques.multiply_in(node, table, chosen);
        }
    }

    pub(super) fn unchanged<T: Number>(&self) -> Changed<T> {
        let once = self.once.as_ref().map_or([1.0, 0.0], |once| once.weights);
        Changed {
            cliques: Changes::none(&self.cliques),
            once: once.map(|weight| T::of(weight, 0.0)),
        }
    }

    pub(super) fn weigh<T: Number>(
        &self,
        changed: &mut Changed<T>,
        weights: &[(Var, Arc<[f64]>)],
        multiply: impl Fn(&mut T, f64),
    ) {
        for (var, more) in weights {
            if self.once.as_ref().is_some_and(|once| once.var == *var) {
                for (weight, &by) in changed.once.iter_mut().zip(&**more) {
                    multiply(weight, by);
                }
                continue;
            }
            let node = self.cliques.home(*var);
            let of = self.cliques.node(node);
            let runs = of.runs(*var, &self.states);
            let classes = changed.cliques.weights(&self.cliques, node);
            for (state, run) in runs {
                for value in &mut classes[run] {
                    multiply(value, more[state]);
                }
            }
        }
    }

    /// The cliques that a question changes.
    pub(super) fn touched_by(&self, question: &Question) -> Vec<bool> {
        let mut touched = vec![false; self.cliques.count()];
        self.touched(question).for_each(|node| touched[node] = true);
        touched
    }

    /// The same, some of them several times.
    pub(super) fn touched(&self, question: &Question) -> impl Iterator<Item = usize> {
        let works = || question.works.iter();
        let tables = works().flat_map(|works| &works.tables);
        let tables = tables.map(|&table| self.cliques.optional[table].node);
        let weighed = works().flat_map(|works| &works.weights);
        let weighed = weighed.chain(&question.weights);
        let weighed = weighed.map(|(var, _)| self.cliques.home(*var));
        let said = self.said_by(&question.without);
        tables.chain(weighed).chain(said.map(|(_, node)| node))
    }
}
