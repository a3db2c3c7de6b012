//! One look more at what is known already: it only adds a finding.
//!
//! Where everything that the look names was looked at under the same condition before, nothing but its likelihood is new, and nothing
//! has to be unrolled, lowered or compiled again.

use crate::{
    compiled::Compiled,
    graph::OrId,
    looks::{Looking, Repeated},
    model::{Likelihood, Model, Table},
    situation::{Action, Step},
    unroll::{Look, Unrolled, What},
};

impl Unrolled {
    /// The situation with one more step, if that only adds a finding.
    pub(crate) fn with_finding(&self, index: usize, step: &Step) -> Option<Self> {
        if !matches!(step.action, Action::Measure(_)) {
            return None;
        }
        let mut more = self.clone();
        // what is wrong with the step is said where everything is unrolled
        more.step(index, step.time, &step.action).ok()?;
        let one_more = more.findings.len() == self.findings.len() + 1;
        (one_more && more.graph.is_as_large_as(&self.graph)).then_some(more)
    }
}

impl Compiled {
    /// What the last finding adds to the network; none if it needs more than the variables there are.
    pub(crate) fn likelihoods_of_last(&self, unrolled: &Unrolled) -> Option<Vec<Likelihood>> {
        let finding = unrolled.findings.len().checked_sub(1)?;
        let look = look(&unrolled.findings[finding].what)?;
        // the variable of an OR has its number
        let states: Vec<usize> = self.states().collect();
        let known = |or: OrId| states[or] > 1;
        let mut ors = look.ors.iter().copied().chain(look.requires.get());
        if !ors.all(known) {
            return None;
        }
        let mut model = Model {
            states,
            ..Model::default()
        };
        let mut draws = self.places.looks.clone();
        let tables = Looking {
            graph: &unrolled.graph,
            model: &mut model,
            draws: &mut draws,
        }
        .look(look, Repeated::of(look, unrolled));
        let new = model.states.len() > self.states().len();
        let number = |table: &Table| table.vars.is_empty();
        if new || tables.iter().any(number) {
            return None;
        }
        let tables = tables.into_iter();
        Some(tables.map(|table| Likelihood { table, finding }).collect())
    }
}

fn look(what: &What) -> Option<&Look> {
    match what {
        What::Look(look) => Some(look),
        _ => None,
    }
}
