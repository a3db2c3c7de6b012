//! One pass up and one pass down through the cliques, and what rounding can have done to it.

use std::collections::BTreeMap;

use crate::{
    clique::{Cliques, Node},
    messages::{Bounded, Down, Dual, Entries, Messages, Own, Passed, Wanted, room_for},
    number::Number,
};

/// What a question changes, by cliques.
#[derive(Debug)]
pub(crate) struct Changes<T> {
    /// By clique: where its weights end; 0 for none.
    weighed: Vec<u32>,
    /// By class of each clique that is weighed.
    weights: Vec<T>,
    /// By number of a finding's table that is left out: the questions that do, a bit for each.
    without: BTreeMap<usize, u8>,
    /// By clique: numbers of the tables that questions multiply in, and which of the questions do.
    with: BTreeMap<usize, Vec<(usize, u8)>>,
}

impl<T: Number> Changes<T> {
    pub(crate) fn none(cliques: &Cliques) -> Self {
        Self {
            weighed: vec![0; cliques.count()],
            weights: Vec::new(),
            without: BTreeMap::new(),
            with: BTreeMap::new(),
        }
    }

    /// The weights of a clique's classes, to be multiplied into.
    pub(crate) fn weights(&mut self, cliques: &Cliques, node: usize) -> &mut [T] {
        let classes = cliques.classes(node);
        let end = &mut self.weighed[node];
        if *end == 0 {
            self.weights.resize(self.weights.len() + classes, T::ONE);
            *end = self.weights.len() as u32;
        }
        let end = *end as usize;
        &mut self.weights[end - classes..end]
    }

    /// Leaves a finding's table out, for these of the questions.
    pub(crate) fn leave_out(&mut self, table: usize, chosen: u8) {
        *self.without.entry(table).or_default() |= chosen;
    }

    /// The questions that leave a finding's table out.
    pub(crate) fn without(&self, table: usize) -> Option<u8> {
        self.without.get(&table).copied()
    }

    /// Whether a question leaves one of these out.
    pub(crate) fn leave_anything_out(&self, mut tables: impl Iterator<Item = usize>) -> bool {
        !self.without.is_empty() && tables.any(|table| self.without.contains_key(&table))
    }

    /// Multiplies a table in, for these of the questions.
    pub(crate) fn multiply_in(&mut self, node: usize, table: usize, chosen: u8) {
        self.with.entry(node).or_default().push((table, chosen));
    }

    /// The tables multiplied in at a clique, each with the questions that do.
    pub(crate) fn tables(&self, node: usize) -> &[(usize, u8)] {
        self.with.get(&node).map_or(&[], Vec::as_slice)
    }

    pub(crate) fn of(&self, node: usize, classes: usize) -> Option<&[T]> {
        match self.weighed[node] as usize {
            0 => None,
            end => Some(&self.weights[end - classes..end]),
        }
    }
}

/// What rounding can have done to the total of a root; a power of two stands beside both numbers.
#[derive(Debug, Clone)]
pub(crate) struct Lost {
    pub(crate) root: usize,
    pub(crate) value: f64,
    pub(crate) error: f64,
    pub(crate) exponent: i32,
}

impl Lost {
    pub(crate) fn relative(&self) -> f64 {
        if self.error > 0.0 {
            self.error / self.value
        } else {
            0.0
        }
    }
}

/// One pass over cliques: the room it needs, made once.
pub(crate) struct Pass<'a, T> {
    cliques: &'a Cliques,
    changes: &'a Changes<T>,
    own: Vec<T>,
}

impl<'a, T: Number> Pass<'a, T> {
    pub(crate) fn new(cliques: &'a Cliques, changes: &'a Changes<T>) -> Self {
        Self {
            cliques,
            changes,
            own: Vec::new(),
        }
    }

    pub(crate) fn up<N: Number, M: Passed<N>>(&mut self) -> M
    where
        T: Own<N>,
    {
        let (mut messages, mut spare) = (M::empty(self.cliques), Vec::new());
        for (index, node) in self.cliques.nodes().enumerate() {
            messages.take(self.entries(&node, index), &mut spare);
        }
        messages
    }

    /// Does those cliques anew that are marked, and those above whose messages change by it.
    pub(crate) fn again<N: Number>(&mut self, messages: &mut impl Passed<N>, dirty: &mut [bool])
    where
        T: Own<N>,
    {
        let mut spare = Vec::new();
        for index in 0..dirty.len() {
            if !dirty[index] {
                continue;
            }
            let node = self.cliques.node(index);
            let changed = messages.replace(self.entries(&node, index), &mut spare);
            if let Some(parent) = node.parent {
                dirty[parent] |= changed;
            }
        }
    }

    /// Base, findings and weights of a clique, without messages.
    fn own(&mut self, node: &Node<'_>, index: usize) {
        let cliques = self.cliques;
        let base = &cliques.base[node.entries.clone()];
        let own = &mut self.own;
        own.clear();
        room_for(own, base.len());
        if cliques.base_low.is_empty() {
            own.extend(base.iter().map(|&base| T::of(base, 0.0)));
        } else {
            let low = &cliques.base_low[node.entries.clone()];
            own.extend(base.iter().zip(low).map(|(&base, &low)| T::of(base, low)));
        }
        for table in cliques.said(index) {
            let values = own.iter_mut().zip(&*cliques.evidence[table].values);
            match self.changes.without(table).map(|left_out| !left_out) {
                None => values.for_each(|(own, &value)| *own = *own * T::of(value, 0.0)),
                Some(chosen) if chosen & T::ALL == 0 => {}
                Some(chosen) => {
                    values.for_each(|(own, &value)| *own = own.times_where(value, chosen));
                }
            }
        }
        for (table, chosen) in self.changes.with.get(&index).into_iter().flatten() {
            for (own, &value) in own.iter_mut().zip(&*cliques.optional[*table].values) {
                *own = own.times_where(value, *chosen);
            }
        }
        if let Some(weights) = self.changes.of(index, node.classes) {
            for (own, class) in own.iter_mut().zip(cliques.classes_of(node)) {
                *own = *own * weights[class];
            }
        }
    }

    /// The entries of a clique with all that is known of them. Where nothing is said beside the base, that is taken as it is. What
    /// questions change is not bounded.
    fn entries<'e, N: Number>(&'e mut self, node: &'e Node<'e>, index: usize) -> Entries<'e, N, T> {
        let cliques = self.cliques;
        let findings = cliques.said(index).count();
        // at least once in all, so that one time more, by what is said later, at most doubles what is lost
        let roundings = (node.roundings + findings).max(1);
        let said = findings > 0
            || self.changes.with.contains_key(&index)
            || self.changes.of(index, node.classes).is_some();
        let base = T::doubles(&cliques.base[node.entries.clone()]).filter(|_| !said);
        let own = base.unwrap_or_else(|| {
            self.own(node, index);
            &self.own
        });
        Entries {
            cliques,
            index,
            node,
            own,
            off: roundings as f64 * T::ROUNDING,
            weights: &[],
        }
    }

    /// The downward pass to the cliques that are needed. `reading` says for each root how much its two parts count; `visit` is told
    /// for each clique that is `asked` the sums of its entries by class.
    pub(crate) fn down(
        &mut self,
        messages: &Messages<T>,
        needed: &[bool],
        asked: &[bool],
        reading: impl Fn(usize) -> Dual<T>,
        mut visit: impl FnMut(&Node<'_>, &[T]),
    ) {
        let mut down = Down::new(messages);
        let mut by_class: Vec<T> = Vec::new();
        for index in (0..self.cliques.count())
            .rev()
            .filter(|&index| needed[index])
        {
            let node = self.cliques.node(index);
            if node.parent.is_none() {
                down.begin(index, &node, reading(index));
            }
            let wanted = Wanted::of(&node, needed, asked[index]);
            down.hand_down(self.entries(&node, index), messages, wanted, &mut by_class);
            if asked[index] {
                visit(&node, &by_class);
            }
        }
    }
}

impl<T: Number> Bounded<T> {
    /// How far each root can be off by rounding.
    pub(crate) fn lost(&self, cliques: &Cliques) -> Vec<Lost> {
        let lost = cliques.roots().map(|root| {
            let [none, faulty] = self.at(cliques.groups(root).start);
            Lost {
                root,
                value: none.high().max(0.0) + faulty.high().max(0.0),
                error: none.error + faulty.error,
                exponent: self.messages.exponent(root),
            }
        });
        lost.collect()
    }
}
