//! Posteriors of variables: the downward pass.

use std::ops::Index;

use crate::{messages::Messages, model::Var, number::Number, pass::Pass};

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
        if self.with_pairs() {
            let answer = |question: &Question| {
                let upward = self.upward(question);
                let marginals = self.marginals_of(question, &upward, wanted);
                (upward.log_total, marginals)
            };
            return questions.iter().map(answer).collect();
        }
        let way = self.way_to(wanted);
        self.by_chunks(questions, |some| {
            let changed = self.changes_of_each(some);
            let messages = Pass::new(&self.cliques, &changed.cliques).up();
            let mut lanes = vec![Marginals::empty(&self.states); some.len()];
            self.down(&changed, &messages, &way, &mut lanes, |sum, lane| {
                sum.0[lane]
            });
            let (total, log) = self.total(&messages, changed.once);
            let logs = total.0.iter().zip(some);
            let logs = logs.map(|(total, question)| total.ln() + log + question.log_scale());
            logs.zip(lanes).collect()
        })
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
        let mut found = [Marginals::empty(&self.states)];
        match &upward.messages {
            Kept::Plain(messages) => {
                let changed = self.changes(question);
                self.down(&changed, messages, &way, &mut found, |sum, _| sum);
            }
            Kept::Pairs(messages) => {
                let changed = self.changes(question);
                self.down(&changed, messages, &way, &mut found, |sum, _| sum.high());
            }
        }
        let [marginals] = found;
        marginals
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

    /// The downward pass; `part` takes a question's number out of those of all.
    pub(super) fn down<T: Number>(
        &self,
        changed: &Changed<T>,
        messages: &Messages<T>,
        way: &Way,
        found: &mut [Marginals],
        part: impl Fn(T, usize) -> f64,
    ) {
        let reading = |root: usize| self.reading(root, messages, changed.once);
        let mut by_state: Vec<T> = Vec::new();
        Pass::new(&self.cliques, &changed.cliques).down(
            messages,
            &way.needed,
            &way.asked,
            reading,
            |node, sums| {
                let node = self.cliques.node(node);
                for &var in node.vars {
                    by_state.clear();
                    by_state.resize(self.states[var], T::ZERO);
                    for (state, run) in node.runs(var, &self.states) {
                        for &sum in &sums[run] {
                            by_state[state] += sum;
                        }
                    }
                    for (lane, marginals) in found.iter_mut().enumerate() {
                        let marginal = marginals.of_mut(var);
                        for (value, &sum) in marginal.iter_mut().zip(&by_state) {
                            *value = part(sum, lane);
                        }
                        normalise(marginal);
                    }
                }
            },
        );
        if let Some(once) = &self.once {
            let total = self.product_of_roots(messages, None).0;
            for (lane, marginals) in found.iter_mut().enumerate() {
                let marginal = marginals.of_mut(once.var);
                for (state, value) in marginal.iter_mut().enumerate() {
                    *value = part(total[state] * changed.once[state], lane);
                }
                normalise(marginal);
            }
        }
    }
}

pub(super) fn normalise(marginal: &mut [f64]) {
    let total: f64 = marginal.iter().sum();
    if total != 0.0 {
        marginal
            .iter_mut()
            .for_each(|value| *value = (*value / total).clamp(0.0, 1.0));
    }
}
