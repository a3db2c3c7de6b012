//! Summing the entries of a clique up, row by row.
//!
//! Most of the time goes here and in [`super::down`], so all of it is compiled for the processor at hand (see [`widest`]): what is called
//! for each entry is plain loops over lists, inlined.

use super::{Dual, Entries, Own, brought_back, times};
use crate::{clique::Row, number::Number, widest::widest};

/// The messages from below.
pub(super) trait Below<T>: Copy {
    fn sum(self, entry: usize) -> T;
    fn dual(self, entry: usize) -> Dual<T>;
}

/// Those of a pass.
#[derive(Clone, Copy)]
pub(super) struct OfPass<'a, T> {
    pub(super) sums: &'a [T],
    /// Empty where no clique has it.
    pub(super) faulty: &'a [T],
}

impl<T: Number> Below<T> for OfPass<'_, T> {
    #[inline(always)]
    fn sum(self, entry: usize) -> T {
        self.sums[entry]
    }

    #[inline(always)]
    fn dual(self, entry: usize) -> Dual<T> {
        [self.sums[entry], self.faulty[entry]]
    }
}

/// A row with what is its own.
pub(super) struct Run<'a, T, O> {
    pub(super) own: &'a [O],
    off: f64,
    pub(super) row: Row<'a>,
    weights: &'a [T],
    carries: &'a [bool],
}

impl<'a, T: Number, O: Own<T>> Entries<'a, T, O> {
    /// The sums of its message; the power of two that was taken from them is handed back.
    pub(super) fn sums(self, below: impl Below<T>, sums: &mut [T]) -> i32 {
        widest(
            #[inline(always)]
            || {
                match self.weights.is_empty() {
                    true => self.sums_of::<false>(below, sums),
                    false => self.sums_of::<true>(below, sums),
                }
                brought_back(sums, &mut [])
            },
        )
    }

    /// The same with the unmodelled fault.
    pub(super) fn dual_sums(self, below: impl Below<T>, sums: &mut [T], faulty: &mut [T]) -> i32 {
        widest(
            #[inline(always)]
            || {
                match self.weights.is_empty() {
                    true => self.dual_sums_of::<false>(below, sums, faulty),
                    false => self.dual_sums_of::<true>(below, sums, faulty),
                }
                brought_back(sums, faulty)
            },
        )
    }

    /// Does something with each row, and what is its own.
    #[inline(always)]
    pub(super) fn for_each_run(self, mut each: impl FnMut(Run<'a, T, O>)) {
        let mut left = self.own;
        for row in self.cliques.rows(self.node) {
            let (own, others) = left.split_at(row.classes.len());
            left = others;
            each(Run {
                own,
                off: self.off,
                row,
                weights: self.weights,
                carries: self.node.carries,
            });
        }
    }

    #[inline(always)]
    fn sums_of<const WEIGHED: bool>(self, below: impl Below<T>, sums: &mut [T]) {
        sums.fill(T::ZERO);
        let (width, first) = (self.node.children.len(), self.node.groups.start);
        let alone = self.node.wide == 1;
        self.for_each_run(
            #[inline(always)]
            |run| {
                let sums = &mut sums[run.row.group - first..];
                match width {
                    0 => run.sums::<0, WEIGHED>(below, alone, sums),
                    1 => run.sums::<1, WEIGHED>(below, alone, sums),
                    2 => run.sums::<2, WEIGHED>(below, alone, sums),
                    3 => run.sums::<3, WEIGHED>(below, alone, sums),
                    4 => run.sums::<4, WEIGHED>(below, alone, sums),
                    _ => run.sums::<MANY, WEIGHED>(below, alone, sums),
                }
            },
        );
    }

    #[inline(always)]
    fn dual_sums_of<const WEIGHED: bool>(
        self,
        below: impl Below<T>,
        sums: &mut [T],
        faulty: &mut [T],
    ) {
        sums.fill(T::ZERO);
        faulty.fill(T::ZERO);
        let (width, first) = (self.node.children.len(), self.node.groups.start);
        let alone = self.node.wide == 1;
        self.for_each_run(
            #[inline(always)]
            |run| {
                let group = run.row.group - first;
                let (sums, faulty) = (&mut sums[group..], &mut faulty[group..]);
                match width {
                    0 => run.dual_sums::<0, WEIGHED>(below, alone, sums, faulty),
                    1 => run.dual_sums::<1, WEIGHED>(below, alone, sums, faulty),
                    2 => run.dual_sums::<2, WEIGHED>(below, alone, sums, faulty),
                    _ => run.dual_sums::<MANY, WEIGHED>(below, alone, sums, faulty),
                }
            },
        );
    }
}

/// So many children that they are counted while it runs.
pub(super) const MANY: usize = usize::MAX;

impl<T: Number, O: Own<T>> Run<'_, T, O> {
    /// How many children there are, known beforehand or not.
    #[inline(always)]
    pub(super) fn width<const WIDTH: usize>(&self) -> usize {
        match WIDTH {
            MANY => self.row.places.len(),
            _ => WIDTH,
        }
    }

    /// An entry's number without messages.
    #[inline(always)]
    pub(super) fn number<const WEIGHED: bool>(&self, entry: usize) -> T {
        let own = self.own[entry].to(self.off);
        match WEIGHED {
            true => own * self.weights[self.class(entry)],
            false => own,
        }
    }

    #[inline(always)]
    pub(super) fn class(&self, entry: usize) -> usize {
        usize::from(self.row.classes[entry])
    }

    /// How much farther an entry's message entry stands than that of the first slot.
    #[inline(always)]
    pub(super) fn group(&self, entry: usize) -> usize {
        usize::from(self.row.groups[entry])
    }

    /// Whether no message entry of the row counts for anything.
    #[inline(always)]
    pub(super) fn counts_for_nothing(&self, above: &[T]) -> bool {
        let mut nothing = true;
        for &group in self.row.groups {
            nothing &= above[usize::from(group)] == T::ZERO;
        }
        nothing
    }

    /// The entry of a child's message.
    #[inline(always)]
    pub(super) fn place<const WIDTH: usize>(&self, entry: usize, child: usize) -> usize {
        let offset = self.row.offsets[entry * self.width::<WIDTH>() + child];
        self.row.places[child] as usize + usize::from(offset)
    }

    /// Whether the unmodelled fault sits at one of the variables of an entry.
    #[inline(always)]
    pub(super) fn carries(&self, entry: usize) -> bool {
        self.carries.get(self.class(entry)) == Some(&true)
    }

    /// What its entries add to those of the message, where no fault is carried; of one alone, their sum.
    #[inline(always)]
    fn sums<const WIDTH: usize, const WEIGHED: bool>(
        &self,
        below: impl Below<T>,
        alone: bool,
        sums: &mut [T],
    ) {
        if alone {
            let mut all = T::ZERO;
            for entry in 0..self.own.len() {
                all += self.value::<WIDTH, WEIGHED>(entry, below);
            }
            sums[0] += all;
        } else {
            for entry in 0..self.own.len() {
                sums[self.group(entry)] += self.value::<WIDTH, WEIGHED>(entry, below);
            }
        }
    }

    /// An entry's number with the messages.
    #[inline(always)]
    fn value<const WIDTH: usize, const WEIGHED: bool>(
        &self,
        entry: usize,
        below: impl Below<T>,
    ) -> T {
        let mut value = self.number::<WEIGHED>(entry);
        for child in 0..self.width::<WIDTH>() {
            value = value * below.sum(self.place::<WIDTH>(entry, child));
        }
        value
    }

    #[inline(always)]
    fn dual_sums<const WIDTH: usize, const WEIGHED: bool>(
        &self,
        below: impl Below<T>,
        alone: bool,
        sums: &mut [T],
        faulty: &mut [T],
    ) {
        if alone {
            let mut all = [T::ZERO; 2];
            for entry in 0..self.own.len() {
                let value = self.dual::<WIDTH, WEIGHED>(entry, below);
                all[0] += value[0];
                all[1] += value[1];
            }
            sums[0] += all[0];
            faulty[0] += all[1];
        } else {
            for entry in 0..self.own.len() {
                let value = self.dual::<WIDTH, WEIGHED>(entry, below);
                let group = self.group(entry);
                sums[group] += value[0];
                faulty[group] += value[1];
            }
        }
    }

    #[inline(always)]
    fn dual<const WIDTH: usize, const WEIGHED: bool>(
        &self,
        entry: usize,
        below: impl Below<T>,
    ) -> Dual<T> {
        let (own, carries) = (self.number::<WEIGHED>(entry), self.carries(entry));
        let width = self.width::<WIDTH>();
        if width == 0 {
            return match carries {
                true => [T::ZERO, own],
                false => [own, T::ZERO],
            };
        }
        let [none, faulty] = below.dual(self.place::<WIDTH>(entry, 0));
        let mut value = match carries {
            true => [T::ZERO, own * none],
            false => [own * none, own * faulty],
        };
        for child in 1..width {
            value = times(value, below.dual(self.place::<WIDTH>(entry, child)));
        }
        value
    }
}
