//! A network with its tree and the pass that holds the findings.

use crate::{
    error::Error,
    groups::Outer,
    lower::{Asked, Lowered, Unmodelled, lower},
    model::{Likelihood, Model, OUTER},
    tree::{Tree, Upward},
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
    pub(crate) fn of(
        unrolled: &Unrolled,
        asked: &[Asked],
        outer: Option<&Outer>,
    ) -> Result<Self, Error> {
        Self::within(unrolled, asked, outer, usize::MAX)
    }

    /// The same, refused if it needs more entries than this.
    pub(crate) fn within(
        unrolled: &Unrolled,
        asked: &[Asked],
        outer: Option<&Outer>,
        most: usize,
    ) -> Result<Self, Error> {
        Self::of_lowered(lower(unrolled, asked, outer, Unmodelled::Beside), most)
    }

    pub(crate) fn of_lowered(lowered: Lowered, most: usize) -> Result<Self, Error> {
        let (tree, upward) = Tree::with_pass(&lowered.model, most)?;
        Ok(Self {
            lowered,
            tree,
            upward,
        })
    }

    /// The same network after other machines said something else about what is shared.
    pub(crate) fn with_outer(&self, outer: &Outer) -> Result<Self, Error> {
        let mut changed = self.clone();
        changed.lowered.set_outer(outer);
        for likelihood in &changed.lowered.model.likelihoods {
            if likelihood.finding == OUTER {
                changed.tree.set(likelihood);
            }
        }
        match changed.tree.first_pass() {
            Some(upward) => changed.upward = upward,
            None => return Self::of_lowered(changed.lowered, usize::MAX),
        }
        Ok(changed)
    }

    /// The network with findings added to it, if nothing else is new in `lowered` and they fit into the cliques there are.
    pub(crate) fn with_more(&self, lowered: &Lowered) -> Option<Self> {
        let (old, new) = (&self.lowered.model, &lowered.model);
        let more = new_likelihoods(old, new)?;
        let mut tree = self.tree.clone();
        for likelihood in more {
            tree.add(likelihood)?;
        }
        let upward = tree.pass_after(&self.upward)?;
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
