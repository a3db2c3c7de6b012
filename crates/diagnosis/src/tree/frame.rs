//! Passes over what is known without a question, in room that is kept from one to the next.

use crate::{
    clique::Node,
    messages::{Down, Entries, Messages, Wanted},
    number::Number,
};

use super::{Changed, Tree};

/// What is said in one clique beside all else.
#[derive(Default)]
pub(super) struct Touch {
    /// By class; empty for 1.
    pub(super) weights: Vec<f64>,
    /// By entry: all that is known, with what is said.
    pub(super) found: Option<Vec<f64>>,
}

/// A question passed up and down.
pub(super) struct Frame<'a, T> {
    pub(super) tree: &'a Tree,
    /// By entry: all that is known without a question.
    found: &'a [f64],
    pub(super) changed: Changed<T>,
    pub(super) up: Messages<T>,
    pub(super) down: Down<T>,
    /// By class of the clique at hand; empty for 1.
    weights: Vec<T>,
    /// By entry of the clique at hand.
    own: Vec<T>,
}

impl Tree {
    /// By entry: all that is known without a question.
    pub(super) fn found(&self) -> Vec<f64> {
        let mut found = self.cliques.base.clone();
        for evidence in &self.cliques.evidence {
            let entries = self.cliques.entries(evidence.node);
            let values = found[entries].iter_mut().zip(&*evidence.values);
            values.for_each(|(found, value)| *found *= value);
        }
        found
    }
}

impl<'a, T: Number> Frame<'a, T> {
    pub(super) fn new(tree: &'a Tree, found: &'a [f64], up: Messages<T>) -> Self {
        Self {
            tree,
            found,
            changed: tree.unchanged(),
            down: Down::new(&up),
            up,
            weights: Vec::new(),
            own: Vec::new(),
        }
    }

    pub(super) fn node(&self, index: usize) -> Node<'a> {
        self.tree.cliques.node(index)
    }

    /// Makes the entries of a clique ready.
    fn prepare(&mut self, index: usize, node: &Node<'_>, touch: Option<&Touch>) {
        let cliques = &self.tree.cliques;
        let changes = &self.changed.cliques;
        let left_out = changes.leave_anything_out(cliques.said(index));
        let touched = touch.and_then(|touch| touch.found.as_deref());
        debug_assert!(
            !left_out || touched.is_none(),
            "a ground leaves nothing out"
        );
        let found = match touched {
            Some(found) => found,
            None if left_out => &cliques.base[node.entries.clone()],
            None => &self.found[node.entries.clone()],
        };
        self.weights.clear();
        let weights = changes.of(index, node.classes).unwrap_or_default();
        self.weights.extend_from_slice(weights);
        let beside = touch.map_or(&[][..], |touch| &touch.weights);
        if !beside.is_empty() {
            self.weights.resize(node.classes, T::ONE);
        }
        for (weight, &beside) in self.weights.iter_mut().zip(beside) {
            *weight = *weight * T::of(beside, 0.0);
        }
        self.own.clear();
        let own = found.iter().map(|&found| T::of(found, 0.0));
        if self.weights.is_empty() {
            self.own.extend(own);
        } else {
            let classes = cliques.class[node.entries.clone()].iter();
            let weights = classes.map(|&class| self.weights[usize::from(class)]);
            self.own
                .extend(own.zip(weights).map(|(own, weight)| own * weight));
        }
        let mut multiply_in = |values: &[f64], chosen: u8| {
            let own = self.own.iter_mut().zip(values);
            if chosen & T::ALL != 0 {
                own.for_each(|(own, &value)| *own = own.times_where(value, chosen));
            }
        };
        for &(table, chosen) in changes.tables(index) {
            multiply_in(&cliques.optional[table].values, chosen);
        }
        for table in cliques.said(index).filter(|_| left_out) {
            let without = changes.without(table).unwrap_or(0);
            multiply_in(&cliques.evidence[table].values, !without);
        }
    }

    /// A clique's message anew.
    pub(super) fn message(&mut self, index: usize, touch: Option<&Touch>) {
        let node = self.node(index);
        self.prepare(index, &node, touch);
        self.up.sum_up(Entries {
            cliques: &self.tree.cliques,
            index,
            node: &node,
            own: &self.own,
        });
    }

    /// How much the messages to a clique count, and its sums by class; after all cliques above it.
    pub(super) fn hand_down(&mut self, index: usize, wanted: Wanted, by_class: &mut Vec<T>) {
        let node = self.node(index);
        self.prepare(index, &node, None);
        let entries = Entries {
            cliques: &self.tree.cliques,
            index,
            node: &node,
            own: &self.own,
        };
        self.down.hand_down(entries, &self.up, wanted, by_class);
    }
}
