//! One pass up and one pass down through the cliques, and what rounding can have done to it.

use std::collections::BTreeMap;

use crate::{
    clique::{Cliques, Node},
    messages::{Down, Dual, Entries, Messages, Wanted, times},
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

    pub(crate) fn up(&mut self) -> Messages<T> {
        let mut messages = Messages::empty(self.cliques);
        for node in 0..self.cliques.count() {
            self.message(node, &mut messages);
        }
        messages
    }

    /// Does those cliques anew that are marked, and those above whose messages change by it.
    pub(crate) fn again(&mut self, messages: &mut Messages<T>, dirty: &mut [bool]) {
        let mut before = Vec::new();
        for node in 0..dirty.len() {
            if !dirty[node] {
                continue;
            }
            let of = self.cliques.node(node);
            let Some(parent) = of.parent else {
                self.message(node, messages);
                continue;
            };
            before.clear();
            before.extend_from_slice(&messages.sums[of.groups.clone()]);
            if of.dual {
                before.extend_from_slice(&messages.faulty[of.groups.clone()]);
            }
            let exponent = messages.exponents[node];
            self.message(node, messages);
            let sums = &messages.sums[of.groups.clone()];
            let same = exponent == messages.exponents[node]
                && *sums == before[..sums.len()]
                && (!of.dual || messages.faulty[of.groups.clone()] == before[sums.len()..]);
            dirty[parent] |= !same;
        }
    }

    /// Base, findings and weights of a clique, without messages.
    fn own(&mut self, node: &Node<'_>, index: usize) {
        let cliques = self.cliques;
        let own = &mut self.own;
        own.clear();
        let base = &cliques.base[node.entries.clone()];
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
            let class = &cliques.class[node.entries.clone()];
            for (own, &class) in own.iter_mut().zip(class) {
                *own = *own * weights[usize::from(class)];
            }
        }
    }

    fn message(&mut self, index: usize, messages: &mut Messages<T>) {
        let node = self.cliques.node(index);
        self.own(&node, index);
        messages.sum_up(self.entries(&node, index));
    }

    fn entries<'e>(&'e self, node: &'e Node<'e>, index: usize) -> Entries<'e, T> {
        Entries {
            cliques: self.cliques,
            index,
            node,
            own: &self.own,
        }
    }

    /// The entries of a message entry, counted from the clique's first.
    fn within(&self, node: &Node<'_>, group: usize) -> std::ops::Range<usize> {
        let starts = &self.cliques.starts;
        let first = node.entries.start;
        starts[group] as usize - first..starts[group + 1] as usize - first
    }

    fn dual_own(&self, node: &Node<'_>, at: usize) -> Dual<T> {
        let class = usize::from(self.cliques.class[node.entries.start + at]);
        match node.carries.get(class) {
            Some(true) => [T::ZERO, self.own[at]],
            _ => [self.own[at], T::ZERO],
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
        mut visit: impl FnMut(usize, &[T]),
    ) {
        let mut down = Down::new(messages);
        let mut by_class: Vec<T> = Vec::new();
        for index in (0..self.cliques.count())
            .rev()
            .filter(|&index| needed[index])
        {
            let node = self.cliques.node(index);
            if node.parent.is_none() {
                down.begin(&node, reading(index));
            }
            self.own(&node, index);
            let wanted = Wanted::of(&node, needed, asked[index]);
            down.hand_down(self.entries(&node, index), messages, wanted, &mut by_class);
            if asked[index] {
                visit(index, &by_class);
            }
        }
    }

    /// How far each root can be off by rounding, by a running error analysis.
    pub(crate) fn rounding(&mut self, messages: &Messages<T>) -> Vec<Lost> {
        let cliques = self.cliques;
        let mut errors = vec![0.0; messages.sums.len()];
        let mut faulty = vec![0.0; messages.faulty.len()];
        let mut lost = Vec::new();
        for (index, node) in cliques.nodes().enumerate() {
            self.own(&node, index);
            let shift = messages.exponents[index] - messages.below(&node);
            let power = 2.0_f64.powi(-shift);
            // at least one, so that one more, of what is said later, at most doubles what is lost
            let roundings = (node.roundings + cliques.said(index).count()).max(1);
            let own_error = roundings as f64 * T::ROUNDING;
            for group in node.groups.clone() {
                let mut sum = [0.0; 2];
                let mut error = [0.0; 2];
                // the first number is added to nothing
                let mut adding = 0.0;
                for at in self.within(&node, group) {
                    if node.dual {
                        let errors = (&errors[..], &faulty[..]);
                        let (value, lost) = self.rounded(&node, at, messages, errors, own_error);
                        for part in 0..2 {
                            sum[part] += value[part];
                            error[part] += lost[part] + sum[part].abs() * adding;
                        }
                    } else {
                        let (value, lost) =
                            self.rounded_plain(&node, at, messages, &errors, own_error);
                        sum[0] += value;
                        error[0] += lost + sum[0].abs() * adding;
                    }
                    adding = T::ROUNDING;
                }
                let error = error.map(|error| error * power);
                errors[group] = error[0];
                if node.dual {
                    faulty[group] = error[1];
                }
                if node.parent.is_none() {
                    let value = messages.at(group).map(|value| value.high().max(0.0));
                    lost.push(Lost {
                        root: index,
                        value: value[0] + value[1],
                        error: error[0] + error[1],
                        exponent: messages.exponents[index],
                    });
                }
            }
        }
        lost
    }

    /// An entry with all its messages, and how far it can be off.
    fn rounded_plain(
        &self,
        node: &Node<'_>,
        at: usize,
        messages: &Messages<T>,
        errors: &[f64],
        own_error: f64,
    ) -> (f64, f64) {
        let mut value = self.own[at].high();
        let mut error = value.abs() * own_error;
        let width = node.children.len();
        for &entry in &self.cliques.maps[node.maps + at * width..][..width] {
            let entry = entry as usize;
            let factor = messages.sums[entry].high();
            error = error * factor.abs() + value.abs() * errors[entry];
            value *= factor;
            error += value.abs() * T::ROUNDING;
        }
        (value, error)
    }

    /// The same where the unmodelled fault is carried: two products are added.
    fn rounded(
        &self,
        node: &Node<'_>,
        at: usize,
        messages: &Messages<T>,
        (errors, faulty): (&[f64], &[f64]),
        own_error: f64,
    ) -> (Dual<f64>, Dual<f64>) {
        let mut value = self.dual_own(node, at).map(Number::high);
        let mut error = value.map(|value| value.abs() * own_error);
        let width = node.children.len();
        for &entry in &self.cliques.maps[node.maps + at * width..][..width] {
            let entry = entry as usize;
            let factor = messages.at(entry).map(Number::high);
            let size = factor.map(f64::abs);
            let [none, once] = times(error, size);
            let lost = [errors[entry], faulty.get(entry).copied().unwrap_or(0.0)];
            let [none_too, once_too] = times(value.map(f64::abs), lost);
            value = times(value, factor);
            let rounded = value.map(|value| value.abs() * 2.0 * T::ROUNDING);
            error = [none + none_too + rounded[0], once + once_too + rounded[1]];
        }
        (value, error)
    }
}
