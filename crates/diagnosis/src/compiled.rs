//! A network with its tree and the pass that holds the findings.

use crate::{
    error::Error,
    groups::Outer,
    lower::{Lowered, Unmodelled, lower},
    model::{Likelihood, Model, OUTER},
    tree::{Question, Tree, Upward},
    unroll::Unrolled,
};

/// A network with its tree and the pass that holds the findings.
#[derive(Debug, Clone)]
pub(crate) struct Compiled {
    pub(crate) lowered: Lowered,
    pub(crate) tree: Tree,
    pub(crate) upward: Upward,
}

impl Compiled {
    pub(crate) fn of(unrolled: &Unrolled, outer: Option<&Outer>) -> Result<Self, Error> {
        let lowered = lower(unrolled, &[], outer, Unmodelled::Beside);
        Self::of_lowered(lowered, usize::MAX)
    }

    pub(crate) fn of_lowered(lowered: Lowered, most: usize) -> Result<Self, Error> {
        let (tree, upward) = Tree::with_pass(&lowered.model, &[], most)?;
        Ok(Self {
            lowered,
            tree,
            upward,
        })
    }

    /// The same network after other machines said something else about what is shared.
    pub(crate) fn with_outer(&self, outer: &Outer) -> Result<Self, Error> {
        let mut changed = self.clone();
        changed.set_outer(outer);
        match changed.tree.first_pass() {
            Some(upward) => changed.upward = upward,
            None => return Self::of_lowered(changed.lowered, usize::MAX),
        }
        Ok(changed)
    }

    /// The same where what is said makes no number more than so many times larger, and enough digits are known to be left.
    pub(crate) fn told(&self, outer: &Outer, times: f64) -> Self {
        let mut changed = self.clone();
        changed.set_outer(outer);
        match changed.tree.pass_after(&self.upward, times) {
            Some(upward) => changed.upward = upward,
            None => match Self::of_lowered(changed.lowered.clone(), usize::MAX) {
                Ok(surer) => return surer,
                Err(_) => changed.upward = changed.tree.upward(&Question::default()),
            },
        }
        changed
    }

    fn set_outer(&mut self, outer: &Outer) {
        self.lowered.set_outer(outer);
        for likelihood in &self.lowered.model.likelihoods {
            if likelihood.finding == OUTER {
                self.tree.set(likelihood);
            }
        }
    }

    /// The network with findings added to it, if nothing else is new in `lowered` and they fit into the cliques there are.
    pub(crate) fn with_more(&self, lowered: &Lowered) -> Option<Self> {
        let (old, new) = (&self.lowered.model, &lowered.model);
        let more = new_likelihoods(old, new)?;
        let mut tree = self.tree.clone();
        for likelihood in more {
            tree.add(likelihood)?;
        }
        let upward = tree.pass_after(&self.upward, 1.0)?;
        Some(Self {
            lowered: lowered.clone(),
            tree,
            upward,
        })
    }
}

/// The likelihoods that a network has beyond those of another one that is the same otherwise.
fn new_likelihoods<'a>(old: &Model, new: &'a Model) -> Option<Vec<&'a Likelihood>> {
    let same = old.states == new.states
        && old.once == new.once
        && old.ors == new.ors
        && old.conditionals == new.conditionals;
    if !same {
        return None;
    }
    let mut before = old.likelihoods.iter().peekable();
    let more = new
        .likelihoods
        .iter()
        .filter(|likelihood| before.next_if(|old| old == likelihood).is_none())
        .collect();
    before.peek().is_none().then_some(more)
}
