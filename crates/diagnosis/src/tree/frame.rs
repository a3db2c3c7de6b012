//! Passes over what is known without a question, in room that is kept from one to the next.

use std::cell::RefCell;

use crate::{
    clique::Node,
    messages::{Down, Entries, Messages, Wanted},
    number::{Lanes, Number},
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

/// Questions passed up and down beside each other.
pub(super) struct Frame<'a> {
    pub(super) tree: &'a Tree,
    /// By entry: all that is known without a question.
    found: &'a [f64],
    pub(super) changed: Changed<Lanes>,
    pub(super) up: Messages<Lanes>,
    /// What is passed up without a question.
    pub(super) base: &'a Messages<f64>,
    /// By clique: its message is no longer that of the base.
    pub(super) dirty: Vec<bool>,
    pub(super) down: Down<Lanes>,
    /// By class of the clique at hand; empty for 1.
    weights: Vec<Lanes>,
    /// By entry of the clique at hand, where what is known there differs from question to question.
    own: Vec<Lanes>,
    /// Messages of the ground, of those cliques where they were others meanwhile.
    pub(super) of_ground: Messages<Lanes>,
    /// By clique: its message stands there.
    pub(super) copied: Vec<bool>,
    /// Cliques whose message is another one now.
    pub(super) others: Vec<usize>,
}

/// What frames need room for.
#[derive(Default)]
struct Room {
    up: Messages<Lanes>,
    down: Down<Lanes>,
    of_ground: Messages<Lanes>,
}

/// Message entries above which the room is given back; of so many up to 5 MB stay with each thread.
const MOST_KEPT: usize = 1 << 15;

thread_local! {
    /// The room of the frame before: new memory would have to be made empty first.
    static ROOM: RefCell<Room> = RefCell::default();
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

impl<'a> Frame<'a> {
    pub(super) fn new(tree: &'a Tree, found: &'a [f64], base: &'a Messages<f64>) -> Self {
        let room = ROOM.take();
        let up = base.beside_each_other(room.up);
        let cliques = up.exponents.len();
        Self {
            tree,
            found,
            changed: tree.unchanged(),
            down: Down::in_room(&up, room.down),
            base,
            dirty: vec![false; cliques],
            up,
            weights: Vec::new(),
            own: Vec::new(),
            of_ground: room.of_ground,
            copied: vec![false; cliques],
            others: Vec::new(),
        }
    }

    pub(super) fn node(&self, index: usize) -> Node<'a> {
        self.tree.cliques.node(index)
    }

    /// Makes the weights of a clique ready, and hands back what is known of its entries beside them; none where that differs from
    /// question to question and was made ready itself.
    fn prepare<'t>(
        &mut self,
        index: usize,
        node: &Node<'_>,
        touch: Option<&'t Touch>,
    ) -> Option<&'t [f64]>
    where
        'a: 't,
    {
        let cliques = &self.tree.cliques;
        let changes = &self.changed.cliques;
        self.weights.clear();
        let weights = changes.of(index, node.classes).unwrap_or_default();
        self.weights.extend_from_slice(weights);
        let beside = touch.map_or(&[][..], |touch| &touch.weights);
        if !beside.is_empty() {
            self.weights.resize(node.classes, Lanes::ONE);
        }
        for (weight, &beside) in self.weights.iter_mut().zip(beside) {
            *weight = *weight * Lanes::of(beside, 0.0);
        }
        let left_out = changes.leave_anything_out(cliques.said(index));
        let touched = touch.and_then(|touch| touch.found.as_deref());
        debug_assert!(
            !left_out || touched.is_none(),
            "a ground leaves nothing out"
        );
        let found = touched.unwrap_or(&self.found[node.entries.clone()]);
        let tables = changes.tables(index);
        if !left_out && tables.is_empty() {
            return Some(found);
        }
        let found = match left_out {
            true => &cliques.base[node.entries.clone()],
            false => found,
        };
        self.own.clear();
        let lanes = found.iter().map(|&found| Lanes::of(found, 0.0));
        self.own.extend(lanes);
        let mut multiply_in = |values: &[f64], chosen: u8| {
            let own = self.own.iter_mut().zip(values);
            if chosen & Lanes::ALL != 0 {
                own.for_each(|(own, &value)| *own = own.times_where(value, chosen));
            }
        };
        for &(table, chosen) in tables {
            multiply_in(&cliques.optional[table].values, chosen);
        }
        for table in cliques.said(index).filter(|_| left_out) {
            let without = changes.without(table).unwrap_or(0);
            multiply_in(&cliques.evidence[table].values, !without);
        }
        None
    }

    /// A clique's message anew.
    pub(super) fn message(&mut self, index: usize, touch: Option<&Touch>) {
        let node = self.node(index);
        match self.prepare(index, &node, touch) {
            Some(own) => self.up.sum_up(Entries {
                cliques: &self.tree.cliques,
                index,
                node: &node,
                own,
                off: 0.0,
                weights: &self.weights,
            }),
            None => self.up.sum_up(Entries {
                cliques: &self.tree.cliques,
                index,
                node: &node,
                own: &self.own,
                off: 0.0,
                weights: &self.weights,
            }),
        }
    }

    /// How much the messages to a clique count, and its sums by class; after all cliques above it.
    pub(super) fn hand_down(
        &mut self,
        index: usize,
        node: &Node<'_>,
        wanted: Wanted,
        by_class: &mut Vec<Lanes>,
    ) {
        match self.prepare(index, node, None) {
            Some(own) => {
                let entries = Entries {
                    cliques: &self.tree.cliques,
                    index,
                    node,
                    own,
                    off: 0.0,
                    weights: &self.weights,
                };
                self.down.hand_down(entries, &self.up, wanted, by_class);
            }
            None => {
                let entries = Entries {
                    cliques: &self.tree.cliques,
                    index,
                    node,
                    own: &self.own,
                    off: 0.0,
                    weights: &self.weights,
                };
                self.down.hand_down(entries, &self.up, wanted, by_class);
            }
        }
    }
}

impl Drop for Frame<'_> {
    fn drop(&mut self) {
        if self.up.sums.capacity() <= MOST_KEPT {
            ROOM.set(Room {
                up: std::mem::take(&mut self.up),
                down: std::mem::take(&mut self.down),
                of_ground: std::mem::take(&mut self.of_ground),
            });
        }
    }
}
