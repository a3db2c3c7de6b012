//! One pass up and one pass down through the cliques.
//!
//! Up, each clique adds its entries up and hands the sums on (Shafer & Shenoy 1990, without division, for the signed auxiliaries of
//! the noisy-OR may leave zeros). Down go the derivatives of the total by each sum (Darwiche, "A differential approach to
//! inference in Bayesian networks", Journal of the ACM 50, 2003).
//!
//! The unmodelled fault of one machine sits at one function at most. Its chance is carried as a multiple of an ε with ε² = 0 (dual
//! numbers: Clifford 1873), so that products count it once and no variable has to remember where it was; ε is set to 1 when the total is
//! read. In the cliques below which it cannot sit, the second part stays away.

use std::collections::BTreeMap;

use crate::{
    clique::{Cliques, Node},
    number::Number,
};

/// Numbers without and with the unmodelled fault.
pub(crate) type Dual<T> = [T; 2];

/// Product of two dual numbers.
pub(crate) fn times<T: Number>([a, b]: Dual<T>, [c, d]: Dual<T>) -> Dual<T> {
    [a * c, a * d + b * c]
}

/// Where numbers leave this range they are brought back by a power of two.
pub(crate) const RANGE: std::ops::RangeInclusive<f64> = 1e-30..=1e30;

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
            weighed: vec![0; cliques.nodes.len()],
            weights: Vec::new(),
            without: BTreeMap::new(),
            with: BTreeMap::new(),
        }
    }

    /// The weights of a clique's classes, to be multiplied into.
    pub(crate) fn weights(&mut self, cliques: &Cliques, node: usize) -> &mut [T] {
        let classes = cliques.nodes[node].classes;
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

/// The messages of an upward pass: by message entry the sum, a power of two by clique standing beside it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Messages<T> {
    pub(crate) sums: Vec<T>,
    /// The part with the unmodelled fault; empty where no clique has it.
    pub(crate) faulty: Vec<T>,
    pub(crate) exponents: Vec<i32>,
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
    /// For each child, what stands before it.
    before: Vec<T>,
}

impl<'a, T: Number> Pass<'a, T> {
    pub(crate) fn new(cliques: &'a Cliques, changes: &'a Changes<T>) -> Self {
        Self {
            cliques,
            changes,
            own: Vec::new(),
            before: Vec::new(),
        }
    }

    pub(crate) fn up(&mut self) -> Messages<T> {
        let mut messages = Messages::empty(self.cliques);
        for node in 0..self.cliques.nodes.len() {
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
            let of = &self.cliques.nodes[node];
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
    fn own(&mut self, node: &Node, index: usize) {
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
            match self.changes.without.get(&table).map(|left_out| !left_out) {
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
        let node = &self.cliques.nodes[index];
        self.own(node, index);
        let largest = if node.dual {
            self.dual_sums(node, messages)
        } else {
            self.plain_sums(node, messages)
        };
        let mut exponent = node
            .children
            .iter()
            .map(|&child| messages.exponents[child])
            .sum();
        if largest > 0.0 && !RANGE.contains(&largest) {
            let shift = largest.log2().floor() as i32;
            let power = 2.0_f64.powi(-shift);
            let scale = |sum: &mut T| *sum = sum.shifted(power);
            messages.sums[node.groups.clone()]
                .iter_mut()
                .for_each(scale);
            if node.dual {
                messages.faulty[node.groups.clone()]
                    .iter_mut()
                    .for_each(scale);
            }
            exponent += shift;
        }
        messages.exponents[index] = exponent;
    }

    /// Sums where no fault is carried; returns the largest.
    fn plain_sums(&self, node: &Node, messages: &mut Messages<T>) -> f64 {
        let cliques = self.cliques;
        let width = node.children.len();
        let mut largest = 0.0_f64;
        for group in node.groups.clone() {
            let mut sum = T::ZERO;
            for at in self.within(node, group) {
                let mut value = self.own[at];
                let map = node.maps + at * width;
                for &entry in &cliques.maps[map..map + width] {
                    value = value * messages.sums[entry as usize];
                }
                sum += value;
            }
            largest = largest.max(sum.size());
            messages.sums[group] = sum;
        }
        largest
    }

    fn dual_sums(&self, node: &Node, messages: &mut Messages<T>) -> f64 {
        let cliques = self.cliques;
        let width = node.children.len();
        let mut largest = 0.0_f64;
        for group in node.groups.clone() {
            let mut sum = [T::ZERO; 2];
            for at in self.within(node, group) {
                let mut value = self.dual_own(node, at);
                let map = node.maps + at * width;
                for &entry in &cliques.maps[map..map + width] {
                    value = times(value, messages.at(entry as usize));
                }
                sum[0] += value[0];
                sum[1] += value[1];
            }
            largest = largest.max(sum[0].size()).max(sum[1].size());
            messages.sums[group] = sum[0];
            messages.faulty[group] = sum[1];
        }
        largest
    }

    /// The entries of a message entry, counted from the clique's first.
    fn within(&self, node: &Node, group: usize) -> std::ops::Range<usize> {
        let starts = &self.cliques.starts;
        let first = node.entries.start;
        starts[group] as usize - first..starts[group + 1] as usize - first
    }

    fn dual_own(&self, node: &Node, at: usize) -> Dual<T> {
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
        let cliques = self.cliques;
        let mut down = Down {
            by_sum: vec![T::ZERO; messages.sums.len()],
            by_faulty: vec![T::ZERO; messages.faulty.len()],
        };
        let mut sums: Vec<T> = Vec::new();
        for index in (0..cliques.nodes.len())
            .rev()
            .filter(|&index| needed[index])
        {
            let node = &cliques.nodes[index];
            if node.parent.is_none() {
                let [sum, faulty] = reading(index);
                down.by_sum[node.groups.start] = sum;
                if node.dual {
                    down.by_faulty[node.groups.start] = faulty;
                }
            }
            down.rescale(node);
            self.own(node, index);
            sums.clear();
            sums.resize(node.classes, T::ZERO);
            let sends = node.children.iter().any(|&child| needed[child]);
            if node.dual {
                self.dual_down(node, messages, sends, &mut down, &mut sums);
            } else {
                self.plain_down(node, messages, sends, &mut down, &mut sums);
            }
            if asked[index] {
                visit(index, &sums);
            }
        }
    }

    fn plain_down(
        &mut self,
        node: &Node,
        messages: &Messages<T>,
        sends: bool,
        down: &mut Down<T>,
        sums: &mut [T],
    ) {
        let cliques = self.cliques;
        let width = node.children.len();
        let from = &messages.sums[..];
        self.before.resize(width, T::ZERO);
        for group in node.groups.clone() {
            let above = down.by_sum[group];
            for at in self.within(node, group) {
                let map = &cliques.maps[node.maps + at * width..][..width];
                let own = self.own[at] * above;
                let value = match *map {
                    [] => own,
                    [child] => {
                        let child = child as usize;
                        down.by_sum[child] += own;
                        own * from[child]
                    }
                    [left, right] => {
                        let (left, right) = (left as usize, right as usize);
                        let with_left = own * from[left];
                        down.by_sum[left] += own * from[right];
                        down.by_sum[right] += with_left;
                        with_left * from[right]
                    }
                    _ => {
                        let mut value = own;
                        for (before, &child) in self.before.iter_mut().zip(map) {
                            *before = value;
                            value = value * from[child as usize];
                        }
                        // what stands right of each child
                        let mut after = T::ONE;
                        for (&before, &child) in self.before.iter().zip(map).rev().filter(|_| sends)
                        {
                            let child = child as usize;
                            down.by_sum[child] += before * after;
                            after = after * from[child];
                        }
                        value
                    }
                };
                sums[usize::from(cliques.class[node.entries.start + at])] += value;
            }
        }
    }

    /// The derivatives by the two parts form a dual number themselves, in the opposite order.
    fn dual_down(
        &self,
        node: &Node,
        messages: &Messages<T>,
        sends: bool,
        down: &mut Down<T>,
        sums: &mut [T],
    ) {
        let cliques = self.cliques;
        let width = node.children.len();
        let mut before = vec![[T::ZERO; 2]; width];
        for group in node.groups.clone() {
            let above = [down.by_faulty[group], down.by_sum[group]];
            for at in self.within(node, group) {
                let map = &cliques.maps[node.maps + at * width..][..width];
                let own = times(self.dual_own(node, at), above);
                let value = match *map {
                    [] => own,
                    [child] => {
                        down.add(child as usize, own);
                        times(own, messages.at(child as usize))
                    }
                    _ => {
                        let mut value = own;
                        for (before, &child) in before.iter_mut().zip(map) {
                            *before = value;
                            value = times(value, messages.at(child as usize));
                        }
                        let mut after = [T::ONE, T::ZERO];
                        for (&before, &child) in before.iter().zip(map).rev().filter(|_| sends) {
                            down.add(child as usize, times(before, after));
                            after = times(after, messages.at(child as usize));
                        }
                        value
                    }
                };
                sums[usize::from(cliques.class[node.entries.start + at])] += value[1];
            }
        }
    }

    /// How far each root can be off by rounding, by a running error analysis.
    pub(crate) fn rounding(&mut self, messages: &Messages<T>) -> Vec<Lost> {
        let cliques = self.cliques;
        let mut errors = vec![0.0; messages.sums.len()];
        let mut faulty = vec![0.0; messages.faulty.len()];
        let mut lost = Vec::new();
        for (index, node) in cliques.nodes.iter().enumerate() {
            self.own(node, index);
            let shifts = node.children.iter().map(|&child| messages.exponents[child]);
            let shift = messages.exponents[index] - shifts.sum::<i32>();
            let power = 2.0_f64.powi(-shift);
            // at least one, so that one more, of what is said later, at most doubles what is lost
            let roundings = (node.roundings + cliques.said(index).count()).max(1);
            let own_error = roundings as f64 * T::ROUNDING;
            for group in node.groups.clone() {
                let mut sum = [0.0; 2];
                let mut error = [0.0; 2];
                // the first number is added to nothing
                let mut adding = 0.0;
                for at in self.within(node, group) {
                    if node.dual {
                        let errors = (&errors[..], &faulty[..]);
                        let (value, lost) = self.rounded(node, at, messages, errors, own_error);
                        for part in 0..2 {
                            sum[part] += value[part];
                            error[part] += lost[part] + sum[part].abs() * adding;
                        }
                    } else {
                        let (value, lost) =
                            self.rounded_plain(node, at, messages, &errors, own_error);
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
        node: &Node,
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
        node: &Node,
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

impl<T: Number> Messages<T> {
    pub(crate) fn empty(cliques: &Cliques) -> Self {
        let groups = cliques.starts.len() - 1;
        let dual = cliques.nodes.iter().any(|node| node.dual);
        Self {
            sums: vec![T::ZERO; groups],
            faulty: vec![T::ZERO; if dual { groups } else { 0 }],
            exponents: vec![0; cliques.nodes.len()],
        }
    }

    pub(crate) fn at(&self, entry: usize) -> Dual<T> {
        [
            self.sums[entry],
            self.faulty.get(entry).copied().unwrap_or(T::ZERO),
        ]
    }

    /// The message of a clique as it is in another pass.
    pub(crate) fn restore(&mut self, from: &Self, node: &Node, index: usize) {
        let groups = node.groups.clone();
        self.sums[groups.clone()].copy_from_slice(&from.sums[groups.clone()]);
        if node.dual {
            self.faulty[groups.clone()].copy_from_slice(&from.faulty[groups]);
        }
        self.exponents[index] = from.exponents[index];
    }

    pub(crate) fn exponent(&self, node: usize) -> i32 {
        self.exponents[node]
    }
}

/// Derivatives of the total by each message entry.
struct Down<T> {
    by_sum: Vec<T>,
    by_faulty: Vec<T>,
}

impl<T: Number> Down<T> {
    fn add(&mut self, entry: usize, [by_faulty, by_sum]: Dual<T>) {
        self.by_sum[entry] += by_sum;
        self.by_faulty[entry] += by_faulty;
    }

    /// Only how they compare within the clique counts.
    fn rescale(&mut self, node: &Node) {
        let by_sum = &mut self.by_sum[node.groups.clone()];
        let largest = by_sum
            .iter()
            .fold(0.0_f64, |largest, by| largest.max(by.size()));
        let mut all = largest;
        if node.dual {
            let faulty = &self.by_faulty[node.groups.clone()];
            all = faulty
                .iter()
                .fold(all, |largest, by| largest.max(by.size()));
        }
        if all > 0.0 && !RANGE.contains(&all) {
            let power = 2.0_f64.powi(-(all.log2().floor() as i32));
            let scale = |by: &mut T| *by = by.shifted(power);
            by_sum.iter_mut().for_each(scale);
            if node.dual {
                self.by_faulty[node.groups.clone()]
                    .iter_mut()
                    .for_each(scale);
            }
        }
    }
}
