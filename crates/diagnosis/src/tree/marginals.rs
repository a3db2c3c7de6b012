//! Posteriors of variables: the downward pass.

use std::ops::Index;

use crate::{clique::Node, messages::Messages, model::Var, number::Number, pass::Pass};

use super::{Changed, Kept, Question, Tree, Upward};

/// By variable the chances of its states; those of variables that were not asked for are 0.
#[derive(Debug, Clone)]
pub(crate) struct Marginals {
    starts: Vec<u32>,
    values: Vec<f64>,
}

impl Marginals {
    /// All 0.
    pub(super) fn empty(states: &[usize]) -> Self {
        let mut starts = Vec::with_capacity(states.len() + 1);
        let mut end = 0;
        for &states in states {
            starts.push(end);
            end += states as u32;
        }
        starts.push(end);
        Self {
            starts,
            values: vec![0.0; end as usize],
        }
    }

    /// Of the same variables, all 0.
    pub(crate) fn zeros(&self) -> Self {
        Self {
            starts: self.starts.clone(),
            values: vec![0.0; self.values.len()],
        }
    }

    /// Takes in numbers to which the chances of a variable's states are proportional.
    pub(super) fn write(&mut self, var: Var, proportional: impl Iterator<Item = f64>) {
        let marginal = self.of_mut(var);
        let values = marginal.iter_mut().zip(proportional);
        values.for_each(|(value, number)| *value = number);
        normalise(marginal);
    }

    pub(crate) fn of_mut(&mut self, var: Var) -> &mut [f64] {
        &mut self.values[self.starts[var] as usize..self.starts[var + 1] as usize]
    }
}

impl Index<Var> for Marginals {
    type Output = [f64];

    fn index(&self, var: Var) -> &[f64] {
        &self.values[self.starts[var] as usize..self.starts[var + 1] as usize]
    }
}

/// The cliques that a downward pass goes through, and those that are asked.
pub(super) struct Way {
    pub(super) asked: Vec<bool>,
    pub(super) needed: Vec<bool>,
}

impl Tree {
    /// Posteriors of these variables under several questions, with the logarithms of the totals.
    pub(crate) fn marginals_of_each(
        &self,
        questions: &[Question],
        wanted: &[Var],
    ) -> Vec<(f64, Marginals)> {
        let answer = |question: &Question| {
            let upward = self.upward(question);
            let marginals = self.marginals_of(question, &upward, wanted);
            (upward.log_total, marginals)
        };
        questions.iter().map(answer).collect()
    }

    /// Posterior of every variable that is no function under a question, after its upward pass; those of functions are left at 0.
    pub(crate) fn marginals(&self, question: &Question, upward: &Upward) -> Marginals {
        let is_told = |var: &Var| !self.functions[*var];
        let wanted: Vec<Var> = (0..self.functions.len()).filter(is_told).collect();
        self.marginals_of(question, upward, &wanted)
    }

    /// Posteriors of these variables; those of others are left at 0.
    pub(crate) fn marginals_of(
        &self,
        question: &Question,
        upward: &Upward,
        wanted: &[Var],
    ) -> Marginals {
        let way = self.way_to(wanted);
        match &upward.messages {
            Kept::Plain(messages) => self.down(&self.changes(question), messages, &way),
            Kept::Pairs(messages) => self.down(&self.changes(question), messages, &way),
        }
    }

    /// The cliques of these variables and all above them.
    pub(super) fn way_to(&self, wanted: &[Var]) -> Way {
        let count = self.cliques.count();
        let mut way = Way {
            asked: vec![false; count],
            needed: vec![false; count],
        };
        for &var in wanted {
            way.asked[self.cliques.home(var)] = true;
            let mut at = Some(self.cliques.home(var));
            while let Some(node) = at.filter(|&node| !way.needed[node]) {
                way.needed[node] = true;
                at = self.parent(node);
            }
        }
        way
    }

    /// The downward pass.
    fn down<T: Number>(
        &self,
        changed: &Changed<T>,
        messages: &Messages<T>,
        way: &Way,
    ) -> Marginals {
        let mut found = Marginals::empty(&self.states);
        let reading = |root: usize| self.reading(root, messages, changed.once);
        let mut by_state: Vec<T> = Vec::new();
        let mut read = |node: &Node<'_>, sums: &[T]| {
            if let [var] = *node.vars {
                return found.write(var, sums.iter().map(|sum| sum.high()));
            }
            for &var in node.vars {
                by_state.clear();
                by_state.resize(self.states[var], T::ZERO);
                for (state, run) in node.runs(var, &self.states) {
                    sums[run].iter().for_each(|&sum| by_state[state] += sum);
                }
                found.write(var, by_state.iter().map(|sum| sum.high()));
            }
        };
        Pass::new(&self.cliques, &changed.cliques).down(
            messages,
            &way.needed,
            &way.asked,
            reading,
            &mut read,
        );
        if let Some(once) = &self.once {
            let total = self.product_of_roots(messages, None).0;
            let each = total.into_iter().zip(changed.once);
            found.write(once.var, each.map(|(total, once)| (total * once).high()));
        }
        found
    }
}

fn normalise(marginal: &mut [f64]) {
    let total: f64 = marginal.iter().sum();
    if total != 0.0 {
        marginal
            .iter_mut()
            .for_each(|value| *value = (*value / total).clamp(0.0, 1.0));
    }
}
