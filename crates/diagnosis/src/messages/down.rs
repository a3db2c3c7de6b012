//! Handing down how much each message counts for the total.

use std::ops::Range;

use super::{
    Dual, Entries, Messages, Own, brought_back, second, times,
    up::{Below, MANY, OfPass, Run},
};
use crate::{clique::Node, number::Number, widest::widest};

/// What is wanted of a clique on the way down.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Wanted {
    /// Derivatives for a clique below.
    below: bool,
    /// Its sums by class.
    sums: bool,
}

/// Derivatives of the total by each message entry, a power of two by clique standing beside them. Those of cliques that were not needed
/// mean nothing.
#[derive(Debug)]
pub(crate) struct Down<T> {
    pub(crate) by_sum: Vec<T>,
    by_faulty: Vec<T>,
    pub(crate) exponents: Vec<i32>,
}

impl Wanted {
    /// Derivatives where one of these cliques is below.
    pub(crate) fn of(node: &Node<'_>, needed: &[bool], sums: bool) -> Self {
        let below = node.children.iter().any(|&child| needed[child as usize]);
        Self { below, sums }
    }
}

impl<T> Default for Down<T> {
    fn default() -> Self {
        Self {
            by_sum: Vec::new(),
            by_faulty: Vec::new(),
            exponents: Vec::new(),
        }
    }
}

impl<T: Number> Down<T> {
    pub(crate) fn new(messages: &Messages<T>) -> Self {
        Self::in_room(messages, Self::default())
    }

    /// The same in room that was used before; what is in it does not matter.
    pub(crate) fn in_room(messages: &Messages<T>, mut room: Self) -> Self {
        room.by_sum.resize(messages.sums.len(), T::ZERO);
        room.by_faulty.resize(messages.faulty.len(), T::ZERO);
        room.exponents.resize(messages.exponents.len(), 0);
        room
    }

    /// How much the two parts of a root count.
    pub(crate) fn begin(&mut self, index: usize, root: &Node<'_>, [sum, faulty]: Dual<T>) {
        self.by_sum[root.groups.start] = sum;
        if root.dual {
            self.by_faulty[root.groups.start] = faulty;
        }
        self.exponents[index] = 0;
    }

    /// The derivatives by the messages to a clique, after all cliques above it, and its sums by class.
    pub(crate) fn hand_down<O: Own<T>>(
        &mut self,
        entries: Entries<'_, T, O>,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut Vec<T>,
    ) {
        widest(
            #[inline(always)]
            || {
                self.set_up(entries, messages, wanted);
                by_class.clear();
                by_class.resize(entries.node.classes, T::ZERO);
                match (entries.node.dual, entries.weights.is_empty()) {
                    (false, true) => self.plain::<O, false>(entries, messages, wanted, by_class),
                    (false, false) => self.plain::<O, true>(entries, messages, wanted, by_class),
                    (true, true) => self.dual::<O, false>(entries, messages, wanted, by_class),
                    (true, false) => self.dual::<O, true>(entries, messages, wanted, by_class),
                }
            },
        );
    }

    /// Powers of two, and room for what is handed down.
    #[inline(always)]
    fn set_up<O: Own<T>>(
        &mut self,
        entries: Entries<'_, T, O>,
        messages: &Messages<T>,
        wanted: Wanted,
    ) {
        let node = entries.node;
        let groups = node.groups.clone();
        let exponent = &mut self.exponents[entries.index];
        *exponent += match node.dual {
            true => brought_back(
                &mut self.by_sum[groups.clone()],
                &mut self.by_faulty[groups],
            ),
            false => brought_back(&mut self.by_sum[groups], &mut []),
        };
        let all = *exponent + messages.below(node);
        for child in node.children.iter().map(|&child| child as usize) {
            self.exponents[child] = all - messages.exponents[child];
            if wanted.below {
                self.clear(entries.cliques.groups(child), node.dual);
            }
        }
    }

    /// Of these messages nothing is known yet.
    fn clear(&mut self, groups: Range<usize>, dual: bool) {
        self.by_sum[groups.clone()].fill(T::ZERO);
        if dual {
            self.by_faulty[groups].fill(T::ZERO);
        }
    }

    #[inline(always)]
    fn plain<O: Own<T>, const WEIGHED: bool>(
        &mut self,
        entries: Entries<'_, T, O>,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut [T],
    ) {
        let node = entries.node;
        let (width, first) = (node.children.len(), node.groups.start);
        let (below, above) = self.by_sum.split_at_mut(first);
        let mut plain = Plain {
            from: &messages.sums[..first],
            below,
            by_class,
            wanted,
            before: vec![T::ZERO; if width > 4 { width } else { 0 }],
        };
        entries.for_each_run(
            #[inline(always)]
            |run| {
                let above = &above[run.row.group - first..];
                if run.counts_for_nothing(above) {
                    return;
                }
                match width {
                    0 => plain.none::<O, WEIGHED>(&run, above),
                    1 => plain.one::<O, WEIGHED>(&run, above),
                    2 => plain.two::<O, WEIGHED>(&run, above),
                    3 => plain.three::<O, WEIGHED>(&run, above),
                    4 => plain.four::<O, WEIGHED>(&run, above),
                    _ => plain.many::<O, WEIGHED>(&run, above),
                }
            },
        );
    }

    /// The derivatives by the two parts form a dual number themselves, in the opposite order.
    #[inline(always)]
    fn dual<O: Own<T>, const WEIGHED: bool>(
        &mut self,
        entries: Entries<'_, T, O>,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut [T],
    ) {
        let node = entries.node;
        let (width, first) = (node.children.len(), node.groups.start);
        let (below, above) = self.by_sum.split_at_mut(first);
        let (faulty_below, faulty_above) = self.by_faulty.split_at_mut(first);
        let mut dual = WithFault {
            from: OfPass {
                sums: &messages.sums[..first],
                faulty: &messages.faulty[..first],
            },
            below,
            faulty_below,
            by_class,
            wanted,
            before: vec![[T::ZERO; 2]; if width > 2 { width } else { 0 }],
        };
        entries.for_each_run(
            #[inline(always)]
            |run| {
                let group = run.row.group - first;
                let above = [&above[group..], &faulty_above[group..]];
                match width {
                    0 => dual.none::<O, WEIGHED>(&run, above),
                    1 => dual.one::<O, WEIGHED>(&run, above),
                    2 => dual.two::<O, WEIGHED>(&run, above),
                    _ => dual.many::<O, WEIGHED>(&run, above),
                }
            },
        );
    }
}

/// The way down in a clique where no fault is carried.
struct Plain<'a, T> {
    from: &'a [T],
    below: &'a mut [T],
    by_class: &'a mut [T],
    wanted: Wanted,
    /// What stands left of each child.
    before: Vec<T>,
}

impl<T: Number> Plain<'_, T> {
    #[inline(always)]
    fn own<O: Own<T>, const WEIGHED: bool>(run: &Run<'_, T, O>, entry: usize, above: &[T]) -> T {
        run.number::<WEIGHED>(entry) * above[run.group(entry)]
    }

    #[inline(always)]
    fn none<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            self.by_class[run.class(entry)] += Self::own::<O, WEIGHED>(run, entry, above);
        }
    }

    #[inline(always)]
    fn one<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            let own = Self::own::<O, WEIGHED>(run, entry, above);
            let child = run.place::<1>(entry, 0);
            self.below[child] += own;
            if self.wanted.sums {
                self.by_class[run.class(entry)] += own * self.from[child];
            }
        }
    }

    #[inline(always)]
    fn two<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            let own = Self::own::<O, WEIGHED>(run, entry, above);
            let (left, right) = (run.place::<2>(entry, 0), run.place::<2>(entry, 1));
            let with_left = own * self.from[left];
            let from_right = self.from[right];
            self.below[left] += own * from_right;
            self.below[right] += with_left;
            if self.wanted.sums {
                self.by_class[run.class(entry)] += with_left * from_right;
            }
        }
    }

    #[inline(always)]
    fn three<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            let own = Self::own::<O, WEIGHED>(run, entry, above);
            let left = run.place::<3>(entry, 0);
            let middle = run.place::<3>(entry, 1);
            let right = run.place::<3>(entry, 2);
            let (with_left, from_right) = (own * self.from[left], self.from[right]);
            let from_middle = self.from[middle];
            let with_both = with_left * from_middle;
            if self.wanted.below {
                self.below[left] += own * from_middle * from_right;
                self.below[middle] += with_left * from_right;
                self.below[right] += with_both;
            }
            self.by_class[run.class(entry)] += with_both * from_right;
        }
    }

    #[inline(always)]
    fn four<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            let mut value = Self::own::<O, WEIGHED>(run, entry, above);
            if value == T::ZERO {
                continue;
            }
            let (mut places, mut before) = ([0; 4], [T::ZERO; 4]);
            for child in 0..4 {
                places[child] = run.place::<4>(entry, child);
                before[child] = value;
                value = value * self.from[places[child]];
            }
            if self.wanted.sums {
                self.by_class[run.class(entry)] += value;
            }
            if self.wanted.below {
                let mut after = T::ONE;
                for child in (0..4).rev() {
                    self.below[places[child]] += before[child] * after;
                    after = after * self.from[places[child]];
                }
            }
        }
    }

    #[inline(always)]
    fn many<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: &[T]) {
        for entry in 0..run.own.len() {
            let mut value = Self::own::<O, WEIGHED>(run, entry, above);
            if value == T::ZERO {
                // many message entries count for nothing
                continue;
            }
            for child in 0..self.before.len() {
                self.before[child] = value;
                value = value * self.from[run.place::<MANY>(entry, child)];
            }
            self.by_class[run.class(entry)] += value;
            if self.wanted.below {
                // what stands right of each child
                let mut after = T::ONE;
                for child in (0..self.before.len()).rev() {
                    let place = run.place::<MANY>(entry, child);
                    self.below[place] += self.before[child] * after;
                    after = after * self.from[place];
                }
            }
        }
    }
}

/// The way down in a clique at or below which the unmodelled fault can sit.
struct WithFault<'a, T> {
    from: OfPass<'a, T>,
    below: &'a mut [T],
    faulty_below: &'a mut [T],
    by_class: &'a mut [T],
    wanted: Wanted,
    /// What stands left of each child.
    before: Vec<Dual<T>>,
}

impl<T: Number> WithFault<'_, T> {
    #[inline(always)]
    fn own<O: Own<T>, const WEIGHED: bool>(
        run: &Run<'_, T, O>,
        entry: usize,
        [above, faulty_above]: [&[T]; 2],
    ) -> Dual<T> {
        let (own, group) = (run.number::<WEIGHED>(entry), run.group(entry));
        match run.carries(entry) {
            true => [T::ZERO, own * faulty_above[group]],
            false => [own * faulty_above[group], own * above[group]],
        }
    }

    #[inline(always)]
    fn add(&mut self, child: usize, [by_faulty, by_sum]: Dual<T>) {
        self.below[child] += by_sum;
        self.faulty_below[child] += by_faulty;
    }

    #[inline(always)]
    fn none<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: [&[T]; 2]) {
        for entry in 0..run.own.len() {
            self.by_class[run.class(entry)] += Self::own::<O, WEIGHED>(run, entry, above)[1];
        }
    }

    #[inline(always)]
    fn one<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: [&[T]; 2]) {
        for entry in 0..run.own.len() {
            let own = Self::own::<O, WEIGHED>(run, entry, above);
            let child = run.place::<1>(entry, 0);
            self.add(child, own);
            if self.wanted.sums {
                self.by_class[run.class(entry)] += second(own, self.from.dual(child));
            }
        }
    }

    #[inline(always)]
    fn two<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: [&[T]; 2]) {
        for entry in 0..run.own.len() {
            let own = Self::own::<O, WEIGHED>(run, entry, above);
            let (left, right) = (run.place::<2>(entry, 0), run.place::<2>(entry, 1));
            let from_right = self.from.dual(right);
            let with_left = times(own, self.from.dual(left));
            self.add(left, times(own, from_right));
            self.add(right, with_left);
            if self.wanted.sums {
                self.by_class[run.class(entry)] += second(with_left, from_right);
            }
        }
    }

    #[inline(always)]
    fn many<O: Own<T>, const WEIGHED: bool>(&mut self, run: &Run<'_, T, O>, above: [&[T]; 2]) {
        for entry in 0..run.own.len() {
            let mut value = Self::own::<O, WEIGHED>(run, entry, above);
            for child in 0..self.before.len() {
                self.before[child] = value;
                value = times(value, self.from.dual(run.place::<MANY>(entry, child)));
            }
            self.by_class[run.class(entry)] += value[1];
            if self.wanted.below {
                let mut after = [T::ONE, T::ZERO];
                for child in (0..self.before.len()).rev() {
                    let place = run.place::<MANY>(entry, child);
                    self.add(place, times(self.before[child], after));
                    after = times(after, self.from.dual(place));
                }
            }
        }
    }
}
