//! A network with its tree and the pass that holds the findings.

use crate::{
    error::Error,
    groups::Outer,
    lower::{Asked, Lowered, Unmodelled, lower},
    model::{Likelihood, Model, OUTER},
    tree::{Question, Tree, Upward},
    unroll::Unrolled,
};

/// Relative rounding error above which the form without signs is used.
const MOST_ROUNDING: f64 = 5e-10;

/// Bound of the relative rounding error above which an answer is refused where the form without signs is too large.
const LEAST_DIGITS: f64 = 1e-6;

/// How much larger the form without signs may come out before the digits are kept as they are.
const MOST_GROWTH: usize = 8;

/// Entries that the form without signs may always have.
const FEW_ENTRIES: usize = 20_000;

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
        let tree = Tree::compile_within(&lowered.model, most)?;
        let upward = tree.upward(&Question::default());
        Self {
            lowered,
            tree,
            upward,
        }
        .with_digits()
    }

    /// In a form that keeps enough digits.
    fn with_digits(mut self) -> Result<Self, Error> {
        let rounding = self.tree.rounding(&self.upward);
        if rounding <= MOST_ROUNDING || self.lowered.model.ors.is_empty() {
            return Ok(self);
        }
        let unsigned = self.lowered.model.unsigned(&self.tree);
        let most = FEW_ENTRIES.max(MOST_GROWTH * self.tree.entries());
        match Tree::compile_within(&unsigned, most) {
            Ok(tree) => {
                self.upward = tree.upward(&Question::default());
                self.tree = tree;
                self.lowered.model = unsigned;
                Ok(self)
            }
            Err(_) if rounding <= LEAST_DIGITS => Ok(self),
            Err(_) => Err(Error::new(
                "the findings are so unlikely together that fewer than six digits of the answer would be certain; take back the one that is wrong, or settle a part",
            )),
        }
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
        changed.upward = changed.tree.upward(&Question::default());
        changed.with_digits()
    }

    /// The network with findings added to it, if nothing else is new in `lowered` and they fit into the cliques there are.
    pub(crate) fn with_more(&self, lowered: &Lowered) -> Option<Self> {
        let (old, new) = (&self.lowered.model, &lowered.model);
        let more = new_likelihoods(old, new)?;
        let mut changed = self.clone();
        for likelihood in more {
            changed.tree.add(likelihood)?;
        }
        changed.lowered = lowered.clone();
        changed.upward = changed.tree.upward(&Question::default());
        changed.with_digits().ok()
    }
}

/// The likelihoods that a network has beyond those of another one that is the same otherwise.
fn new_likelihoods<'a>(old: &Model, new: &'a Model) -> Option<Vec<&'a Likelihood>> {
    let same = old.variables == new.variables
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
