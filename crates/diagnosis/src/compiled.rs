//! A network with its tree and the pass that holds the findings.

use std::sync::{Arc, OnceLock};

use crate::{
    error::Error,
    groups::Outer,
    lower::{Lowered, Places, Unmodelled, lower},
    model::{Likelihood, Model, OUTER, Table, Var},
    packed::Packed,
    tree::{Question, Tree, Upward},
    unroll::Unrolled,
};

/// A network with its tree and the pass that holds the findings; a copy shares what no finding changes.
#[derive(Debug, Clone)]
pub(crate) struct Compiled {
    pub(crate) places: Arc<Places>,
    /// As it was lowered: other machines say nothing yet.
    lowered: Arc<Packed>,
    /// Findings added since, in their order.
    more: Vec<Arc<Likelihood>>,
    /// What other machines say.
    outer: Option<Arc<[f64]>>,
    model: OnceLock<Model>,
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
            places: Arc::new(lowered.places),
            lowered: Arc::new(Packed::of(lowered.model)),
            more: Vec::new(),
            outer: None,
            model: OnceLock::new(),
            tree,
            upward,
        })
    }

    /// The network with all findings and what other machines say.
    pub(crate) fn model(&self) -> &Model {
        self.model.get_or_init(|| {
            let mut model = self.lowered.model(self.likelihoods());
            for likelihood in &mut model.likelihoods {
                if let (OUTER, Some(outer)) = (likelihood.finding, &self.outer) {
                    likelihood.table.values = outer.to_vec();
                }
            }
            model
        })
    }

    /// By variable: how many states it has.
    pub(crate) fn states(&self) -> impl ExactSizeIterator<Item = usize> {
        self.lowered.states()
    }

    pub(crate) fn states_of(&self, var: Var) -> usize {
        self.lowered.states_of(var)
    }

    /// What is known, in the order of lowering: what other machines say comes last.
    fn likelihoods(&self) -> impl Iterator<Item = &Likelihood> {
        let lowered = &self.lowered.likelihoods;
        let outer = lowered.iter().filter(|one| one.finding == OUTER);
        let findings = lowered.iter().filter(|one| one.finding != OUTER);
        findings
            .chain(self.more.iter().map(|one| &**one))
            .chain(outer)
    }

    /// The same network after other machines said something else about what is shared.
    pub(crate) fn with_outer(&self, outer: &Outer) -> Result<Self, Error> {
        let mut changed = self.saying(outer);
        match changed.tree.first_pass() {
            Some(upward) => changed.upward = upward,
            None => return changed.anew(),
        }
        Ok(changed)
    }

    /// The same where what is said makes no number more than so many times larger, and enough digits are known to be left.
    pub(crate) fn told(&self, outer: &Outer, times: f64) -> Self {
        let mut changed = self.saying(outer);
        match changed.tree.pass_after(&self.upward, times) {
            Some(upward) => changed.upward = upward,
            None => match changed.anew() {
                Ok(surer) => return surer,
                Err(_) => changed.upward = changed.tree.upward(&Question::default()),
            },
        }
        changed
    }

    fn saying(&self, outer: &Outer) -> Self {
        let mut changed = self.clone();
        changed.model = OnceLock::new();
        changed.outer = Some(outer.values.as_slice().into());
        let said = |one: &&Likelihood| one.finding == OUTER;
        for likelihood in self.lowered.likelihoods.iter().filter(said) {
            let table = Table {
                vars: likelihood.table.vars.clone(),
                values: outer.values.clone(),
            };
            changed.tree.set(OUTER, &table);
        }
        changed
    }

    /// Compiled once more, with the digits that it needs now.
    fn anew(&self) -> Result<Self, Error> {
        let (tree, upward) = Tree::with_pass(self.model(), &[], usize::MAX)?;
        Ok(Self {
            tree,
            upward,
            ..self.clone()
        })
    }

    /// Nothing but what other machines say can differ.
    pub(crate) fn is_of(&self, lowered: &Lowered) -> bool {
        self.new_findings(&lowered.model)
            .is_some_and(|new| new.is_empty())
    }

    /// The network with findings added to it, if nothing else is new in `lowered` and they fit into the cliques there are.
    pub(crate) fn with_more(&self, lowered: &Lowered) -> Option<Self> {
        self.adding(self.new_findings(&lowered.model)?)
    }

    /// The network with findings added, if they fit into the cliques there are.
    pub(crate) fn adding(&self, findings: Vec<Likelihood>) -> Option<Self> {
        let mut tree = self.tree.with_room(findings.len());
        let mut touched = Vec::with_capacity(findings.len());
        for likelihood in &findings {
            touched.push(tree.add(likelihood)?);
        }
        let upward = tree.pass_after_adding(&self.upward, &touched)?;
        let mut more = Vec::with_capacity(self.more.len() + findings.len());
        more.extend_from_slice(&self.more);
        more.extend(findings.into_iter().map(Arc::new));
        Some(Self {
            places: Arc::clone(&self.places),
            lowered: Arc::clone(&self.lowered),
            more,
            outer: self.outer.clone(),
            model: OnceLock::new(),
            tree,
            upward,
        })
    }

    /// The findings that a network has beyond this one; none if it is another one.
    fn new_findings(&self, new: &Model) -> Option<Vec<Likelihood>> {
        if !self.lowered.is_of(new) {
            return None;
        }
        let alike = |a: &Likelihood, b: &Likelihood| {
            a.finding == b.finding
                && a.table.vars == b.table.vars
                && (a.finding == OUTER || a.table.values == b.table.values)
        };
        let mut before = self.likelihoods().peekable();
        let new = new.likelihoods.iter();
        let more = new.filter(|one| before.next_if(|old| alike(old, one)).is_none());
        let more = more.cloned().collect();
        before.peek().is_none().then_some(more)
    }
}
