//! Passes over what is known without a question, in room that is kept from one to the next.

use crate::{
    clique::Node,
    number::Number,
    pass::{Dual, Messages, RANGE, times},
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
    /// By message entry: how much its two parts count for the total of its tree; a power of two stands beside it by clique.
    pub(super) down: Vec<T>,
    down_faulty: Vec<T>,
    pub(super) down_exponents: Vec<i32>,
    /// By class of the clique at hand; empty for 1.
    weights: Vec<T>,
    /// By entry of the clique at hand, where the question multiplies tables in.
    own: Vec<T>,
}

impl Tree {
    /// By entry: all that is known without a question.
    pub(super) fn found(&self) -> Vec<f64> {
        let mut found = self.cliques.base.clone();
        for evidence in &self.cliques.evidence {
            let entries = self.cliques.nodes[evidence.node].entries.clone();
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
            down: vec![T::ZERO; up.sums.len()],
            down_faulty: vec![T::ZERO; up.faulty.len()],
            down_exponents: vec![0; tree.cliques.nodes.len()],
            up,
            weights: Vec::new(),
            own: Vec::new(),
        }
    }

    fn node(&self, index: usize) -> &'a Node {
        &self.tree.cliques.nodes[index]
    }

    /// Makes the weights of a clique ready; returns what is known of its entries.
    fn prepare<'t>(&mut self, index: usize, touch: Option<&'t Touch>) -> &'t [f64]
    where
        'a: 't,
    {
        let node = self.node(index);
        let found = match touch.and_then(|touch| touch.found.as_deref()) {
            Some(found) => found,
            None => &self.found[node.entries.clone()],
        };
        let changes = &self.changed.cliques;
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
        self.multiply_in(node, index, found);
        found
    }

    /// Makes the entries of a clique ready where tables are multiplied in.
    fn multiply_in(&mut self, node: &Node, index: usize, found: &[f64]) {
        self.own.clear();
        let tables = self.changed.cliques.tables(index);
        if tables.is_empty() {
            return;
        }
        let cliques = &self.tree.cliques;
        let classes = cliques.class[node.entries.clone()].iter();
        let weight = |class: u16| weight_of(&self.weights, class);
        let own = found.iter().zip(classes);
        self.own
            .extend(own.map(|(&found, &class)| weight(class) * T::of(found, 0.0)));
        for &(table, chosen) in tables {
            let values = cliques.optional[table].values.iter();
            let own = self.own.iter_mut().zip(values);
            own.for_each(|(own, &value)| *own = own.times_where(value, chosen));
        }
    }

    /// An entry without messages.
    fn own(&self, found: &[f64], class: u16, at: usize) -> T {
        match self.own.get(at) {
            Some(own) => *own,
            None => weight_of(&self.weights, class) * T::of(found[at], 0.0),
        }
    }

    /// Sums of a clique by message entry.
    pub(super) fn sums(
        &mut self,
        index: usize,
        touch: Option<&Touch>,
        mut take: impl FnMut(&mut Self, usize, Dual<T>),
    ) {
        let found = self.prepare(index, touch);
        let cliques = &self.tree.cliques;
        let node = self.node(index);
        let width = node.children.len();
        let first = node.entries.start;
        for group in node.groups.clone() {
            let within = cliques.starts[group] as usize..cliques.starts[group + 1] as usize;
            let mut all = [T::ZERO; 2];
            for (at, &class) in (within.start - first..).zip(&cliques.class[within]) {
                let own = self.own(found, class, at);
                let map = &cliques.maps[node.maps + at * width..][..width];
                if node.dual {
                    let mut value = carried(node, class, own);
                    for &entry in map {
                        value = times(value, self.up.at(entry as usize));
                    }
                    all[0] += value[0];
                    all[1] += value[1];
                } else {
                    let sums = &self.up.sums;
                    all[0] += map
                        .iter()
                        .fold(own, |value, &entry| value * sums[entry as usize]);
                }
            }
            take(self, group, all);
        }
    }

    /// A clique's message anew.
    pub(super) fn message(&mut self, index: usize, touch: Option<&Touch>) {
        let node = self.node(index);
        self.sums(index, touch, |frame, group, [sum, faulty]| {
            frame.up.sums[group] = sum;
            if node.dual {
                frame.up.faulty[group] = faulty;
            }
        });
        let sums = &mut self.up.sums[node.groups.clone()];
        let shift = match node.dual {
            true => brought_back(sums, &mut self.up.faulty[node.groups.clone()]),
            false => brought_back(sums, &mut []),
        };
        self.up.exponents[index] = self.below(index) + shift;
    }

    /// The powers of two that the messages to a clique have together.
    pub(super) fn below(&self, index: usize) -> i32 {
        let children = self.node(index).children.iter();
        children.map(|&child| self.up.exponents[child]).sum()
    }

    /// Nothing was handed down yet.
    pub(super) fn clear_down(&mut self) {
        self.down.fill(T::ZERO);
        self.down_faulty.fill(T::ZERO);
        self.down_exponents.fill(0);
    }

    /// How much the two parts of a root count.
    pub(super) fn begin_down(&mut self, root: usize, [sum, faulty]: Dual<T>) {
        let node = self.node(root);
        self.down[node.groups.start] = sum;
        if node.dual {
            self.down_faulty[node.groups.start] = faulty;
        }
    }

    /// How much the messages to a clique count, and its sums by class; after all cliques above it.
    pub(super) fn hand_down(&mut self, index: usize, by_class: &mut Vec<T>) {
        let node = self.node(index);
        let down = &mut self.down[node.groups.clone()];
        self.down_exponents[index] += match node.dual {
            true => brought_back(down, &mut self.down_faulty[node.groups.clone()]),
            false => brought_back(down, &mut []),
        };
        let all = self.down_exponents[index] + self.below(index);
        for &child in &node.children {
            self.down_exponents[child] = all - self.up.exponents[child];
        }
        by_class.clear();
        by_class.resize(node.classes, T::ZERO);
        let found = self.prepare(index, None);
        if node.dual {
            self.dual_down(node, found, by_class);
        } else {
            self.plain_down(node, found, by_class);
        }
    }

    fn plain_down(&mut self, node: &Node, found: &[f64], by_class: &mut [T]) {
        let cliques = &self.tree.cliques;
        let width = node.children.len();
        let first = node.entries.start;
        let mut before = vec![T::ZERO; width];
        for group in node.groups.clone() {
            let above = self.down[group];
            let within = cliques.starts[group] as usize..cliques.starts[group + 1] as usize;
            for (at, &class) in (within.start - first..).zip(&cliques.class[within]) {
                let own = self.own(found, class, at) * above;
                let from = &self.up.sums;
                let down = &mut self.down;
                let value = match cliques.maps[node.maps + at * width..][..width] {
                    [] => own,
                    [child] => {
                        let child = child as usize;
                        down[child] += own;
                        own * from[child]
                    }
                    [left, right] => {
                        let (left, right) = (left as usize, right as usize);
                        let with_left = own * from[left];
                        down[left] += own * from[right];
                        down[right] += with_left;
                        with_left * from[right]
                    }
                    ref map => {
                        let mut value = own;
                        for (before, &child) in before.iter_mut().zip(map) {
                            *before = value;
                            value = value * from[child as usize];
                        }
                        let mut after = T::ONE;
                        for (&before, &child) in before.iter().zip(map).rev() {
                            down[child as usize] += before * after;
                            after = after * from[child as usize];
                        }
                        value
                    }
                };
                by_class[usize::from(class)] += value;
            }
        }
    }

    /// The derivatives by the two parts form a dual number themselves, in the opposite order.
    fn dual_down(&mut self, node: &Node, found: &[f64], by_class: &mut [T]) {
        let cliques = &self.tree.cliques;
        let width = node.children.len();
        let first = node.entries.start;
        let mut before = vec![[T::ZERO; 2]; width];
        for group in node.groups.clone() {
            let [none, once] = [self.down_faulty[group], self.down[group]];
            let within = cliques.starts[group] as usize..cliques.starts[group + 1] as usize;
            for (at, &class) in (within.start - first..).zip(&cliques.class[within]) {
                let own = self.own(found, class, at);
                let own = match node.carries.get(usize::from(class)) {
                    Some(true) => [T::ZERO, own * none],
                    _ => [own * none, own * once],
                };
                let value = match cliques.maps[node.maps + at * width..][..width] {
                    [] => own[1],
                    [child] => {
                        self.add_down(child, own);
                        second(own, self.up.at(child as usize))
                    }
                    [left, right] => {
                        let from_right = self.up.at(right as usize);
                        let with_left = times(own, self.up.at(left as usize));
                        self.add_down(left, times(own, from_right));
                        self.add_down(right, with_left);
                        second(with_left, from_right)
                    }
                    ref map => {
                        let mut value = own;
                        for (before, &child) in before.iter_mut().zip(map) {
                            *before = value;
                            value = times(value, self.up.at(child as usize));
                        }
                        let mut after = [T::ONE, T::ZERO];
                        for (&before, &child) in before.iter().zip(map).rev() {
                            self.add_down(child, times(before, after));
                            after = times(after, self.up.at(child as usize));
                        }
                        value[1]
                    }
                };
                by_class[usize::from(class)] += value;
            }
        }
    }

    fn add_down(&mut self, entry: u32, [by_faulty, by_sum]: Dual<T>) {
        let entry = entry as usize;
        self.down[entry] += by_sum;
        if let Some(faulty) = self.down_faulty.get_mut(entry) {
            *faulty += by_faulty;
        }
    }
}

fn weight_of<T: Number>(weights: &[T], class: u16) -> T {
    weights.get(usize::from(class)).copied().unwrap_or(T::ONE)
}

/// An entry's two parts.
fn carried<T: Number>(node: &Node, class: u16, own: T) -> Dual<T> {
    match node.carries.get(usize::from(class)) {
        Some(true) => [T::ZERO, own],
        _ => [own, T::ZERO],
    }
}

/// The second part of a product.
fn second<T: Number>([a, b]: Dual<T>, [c, d]: Dual<T>) -> T {
    a * d + b * c
}

/// Brings numbers back into range by a power of two, which is handed back.
pub(super) fn brought_back<T: Number>(some: &mut [T], others: &mut [T]) -> i32 {
    let sizes = some.iter().chain(&*others).map(|number| number.size());
    let largest = sizes.fold(0.0, f64::max);
    if largest <= 0.0 || RANGE.contains(&largest) {
        return 0;
    }
    let shift = largest.log2().floor() as i32;
    let power = 2.0_f64.powi(-shift);
    for number in some.iter_mut().chain(others) {
        *number = number.shifted(power);
    }
    shift
}
