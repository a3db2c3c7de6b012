//! What cliques hand each other: sums upwards, derivatives of the total downwards.
//!
//! Up, each clique adds its entries up and hands the sums on (Shafer & Shenoy 1990, without division, for the signed auxiliaries of
//! the noisy-OR may leave zeros). Down go the derivatives of the total by each sum (Darwiche, "A differential approach to
//! inference in Bayesian networks", Journal of the ACM 50, 2003).
//!
//! The unmodelled fault of one machine sits at one function at most. Its chance is carried as a multiple of an ε with ε² = 0 (dual
//! numbers: Clifford 1873), so that products count it once and no variable has to remember where it was; ε is set to 1 when the total is
//! read. In the cliques below which it cannot sit, the second part stays away.

mod down;
mod up;

pub(crate) use self::down::{Down, Wanted};
use self::up::{Below, OfPass};
use crate::{
    clique::{Cliques, Node},
    number::{Bound, Lanes, Number, Running},
};

/// Numbers without and with the unmodelled fault.
pub(crate) type Dual<T> = [T; 2];

/// Product of two dual numbers.
#[inline(always)]
pub(crate) fn times<T: Number>([a, b]: Dual<T>, [c, d]: Dual<T>) -> Dual<T> {
    [a * c, a * d + b * c]
}

/// The second part of a product.
#[inline(always)]
fn second<T: Number>([a, b]: Dual<T>, [c, d]: Dual<T>) -> T {
    a * d + b * c
}

/// Makes room in a list whose contents do not matter: nothing has to be moved, so the old room goes before the new one comes.
pub(crate) fn room_for<T>(list: &mut Vec<T>, count: usize) {
    if list.capacity() < count {
        *list = Vec::new();
        list.reserve_exact(count);
    }
}

/// Where numbers leave this range they are brought back by a power of two.
const RANGE: std::ops::RangeInclusive<f64> = 1e-30..=1e30;

/// Brings numbers back into range by a power of two, which is handed back.
#[inline(always)]
pub(crate) fn brought_back<T: Number>(some: &mut [T], others: &mut [T]) -> i32 {
    let largest = largest(some).max(largest(others));
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

/// The largest size. Several are compared beside each other, for a processor would wait for the one before.
#[inline(always)]
fn largest<T: Number>(numbers: &[T]) -> f64 {
    let mut greatest = [T::ZERO; 4];
    let chunks = numbers.chunks_exact(greatest.len());
    for &number in chunks.remainder() {
        greatest[0] = greatest[0].or_greater(number);
    }
    for chunk in chunks {
        for (greatest, &number) in greatest.iter_mut().zip(chunk) {
            *greatest = greatest.or_greater(number);
        }
    }
    let sizes = greatest.iter().map(|number| number.size());
    sizes.fold(0.0, f64::max)
}

/// The entries of a clique, with all that is known of them but the messages.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Entries<'a, T, O> {
    pub(crate) cliques: &'a Cliques,
    pub(crate) index: usize,
    pub(crate) node: &'a Node<'a>,
    pub(crate) own: &'a [O],
    /// How far each of those can be off, relatively; only where bounds are reckoned.
    pub(crate) off: f64,
    /// What that is multiplied by, by class; empty for 1.
    pub(crate) weights: &'a [T],
}

/// A number that passes can begin with.
pub(crate) trait Own<T>: Copy {
    /// Itself, which can be off by so much relatively.
    fn to(self, off: f64) -> T;
}

impl<T: Number> Own<T> for T {
    #[inline(always)]
    fn to(self, _off: f64) -> T {
        self
    }
}

impl<T: Number> Own<Running<T>> for T {
    #[inline(always)]
    fn to(self, off: f64) -> Running<T> {
        Running {
            value: self,
            error: self.size() * off,
        }
    }
}

impl Own<Lanes> for f64 {
    #[inline(always)]
    fn to(self, _off: f64) -> Lanes {
        Lanes::of(self, 0.0)
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

impl<T> Default for Messages<T> {
    fn default() -> Self {
        Self {
            sums: Vec::new(),
            faulty: Vec::new(),
            exponents: Vec::new(),
        }
    }
}

impl<T: Number> Messages<T> {
    pub(crate) fn empty(cliques: &Cliques) -> Self {
        let groups = cliques.all_groups();
        let dual = cliques.nodes().any(|node| node.dual);
        Self {
            sums: vec![T::ZERO; groups],
            faulty: vec![T::ZERO; if dual { groups } else { 0 }],
            exponents: vec![0; cliques.count()],
        }
    }

    pub(crate) fn at(&self, entry: usize) -> Dual<T> {
        [
            self.sums[entry],
            self.faulty.get(entry).copied().unwrap_or(T::ZERO),
        ]
    }

    /// The message of a clique, after those of the cliques below it.
    pub(crate) fn sum_up<O: Own<T>>(&mut self, entries: Entries<'_, T, O>) {
        let groups = &entries.node.groups;
        let (below, sums) = self.sums.split_at_mut(groups.start);
        let sums = &mut sums[..groups.len()];
        let shift = if entries.node.dual {
            let (faulty_below, faulty) = self.faulty.split_at_mut(groups.start);
            let faulty = &mut faulty[..groups.len()];
            let below = OfPass {
                sums: below,
                faulty: faulty_below,
            };
            entries.dual_sums(below, sums, faulty)
        } else {
            let below = OfPass {
                sums: below,
                faulty: &[],
            };
            entries.sums(below, sums)
        };
        self.exponents[entries.index] = self.below(entries.node) + shift;
    }

    /// The powers of two that the messages to a clique have together.
    pub(crate) fn below(&self, node: &Node<'_>) -> i32 {
        let children = node.children.iter();
        children.map(|&child| self.exponents[child as usize]).sum()
    }

    /// The message of a clique as it is in another pass.
    pub(crate) fn restore(&mut self, from: &Self, node: &Node<'_>, index: usize) {
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

/// The messages of a pass, kept as they are reckoned with or in less room.
pub(crate) trait Passed<T> {
    fn empty(cliques: &Cliques) -> Self;

    /// The message of a clique, after those of the cliques below it. What is in `spare` does not matter.
    fn take<O: Own<T>>(&mut self, entries: Entries<'_, T, O>, spare: &mut Vec<T>);

    /// The same where there was one before; says whether it is another one now.
    fn replace<O: Own<T>>(&mut self, entries: Entries<'_, T, O>, spare: &mut Vec<T>) -> bool;
}

impl<T: Number> Passed<T> for Messages<T> {
    fn empty(cliques: &Cliques) -> Self {
        Self::empty(cliques)
    }

    fn take<O: Own<T>>(&mut self, entries: Entries<'_, T, O>, _spare: &mut Vec<T>) {
        self.sum_up(entries);
    }

    fn replace<O: Own<T>>(&mut self, entries: Entries<'_, T, O>, before: &mut Vec<T>) -> bool {
        let Entries { node, index, .. } = entries;
        let groups = node.groups.clone();
        before.clear();
        before.extend_from_slice(&self.sums[groups.clone()]);
        if node.dual {
            before.extend_from_slice(&self.faulty[groups.clone()]);
        }
        let exponent = self.exponents[index];
        self.sum_up(entries);
        let (sums, faulty) = before.split_at(groups.len());
        exponent != self.exponents[index]
            || self.sums[groups.clone()] != *sums
            || node.dual && self.faulty[groups] != *faulty
    }
}

/// Messages with bounds of what rounding did to them.
#[derive(Debug, Clone)]
pub(crate) struct Bounded<T> {
    pub(crate) messages: Messages<T>,
    pub(crate) errors: Errors,
}

/// Bounds of what rounding did to messages.
#[derive(Debug, Clone)]
pub(crate) struct Errors {
    sums: Vec<Bound>,
    faulty: Vec<Bound>,
}

impl<T: Number> Below<Running<T>> for &Bounded<T> {
    #[inline(always)]
    fn sum(self, entry: usize) -> Running<T> {
        running(&self.messages.sums, &self.errors.sums, entry)
    }

    #[inline(always)]
    fn dual(self, entry: usize) -> Dual<Running<T>> {
        let faulty = running(&self.messages.faulty, &self.errors.faulty, entry);
        [self.sum(entry), faulty]
    }
}

impl<T: Number> Bounded<T> {
    /// What a root says.
    pub(crate) fn at(&self, entry: usize) -> Dual<Running<T>> {
        match self.errors.faulty.is_empty() {
            true => [self.sum(entry), Running::ZERO],
            false => self.dual(entry),
        }
    }

    /// Reckons the message of a clique; its power of two is handed back.
    fn sum_up<O: Own<Running<T>>>(
        &self,
        entries: Entries<'_, Running<T>, O>,
        into: &mut Vec<Running<T>>,
    ) -> i32 {
        let count = entries.node.groups.len();
        let all = if entries.node.dual { 2 * count } else { count };
        room_for(into, all);
        into.resize(all, Running::ZERO);
        let shift = if entries.node.dual {
            let (sums, faulty) = into.split_at_mut(count);
            entries.dual_sums(self, sums, faulty)
        } else {
            entries.sums(self, into)
        };
        self.messages.below(entries.node) + shift
    }

    fn put(
        &mut self,
        node: &Node<'_>,
        index: usize,
        message: &[Running<T>],
        exponent: i32,
    ) -> bool {
        let (sums, faulty) = message.split_at(node.groups.len());
        let mut changed =
            std::mem::replace(&mut self.messages.exponents[index], exponent) != exponent;
        let Self { messages, errors } = self;
        for (all, bounds, message) in [
            (&mut messages.sums, &mut errors.sums, sums),
            (&mut messages.faulty, &mut errors.faulty, faulty),
        ] {
            for (entry, number) in node.groups.clone().zip(message) {
                let bound = Bound::of(number.error);
                changed |= all[entry] != number.value || bounds[entry] != bound;
                (all[entry], bounds[entry]) = (number.value, bound);
            }
        }
        changed
    }
}

#[inline(always)]
fn running<T: Number>(values: &[T], errors: &[Bound], entry: usize) -> Running<T> {
    let (value, error) = (values[entry], errors[entry].get());
    Running { value, error }
}

impl<T: Number> Passed<Running<T>> for Bounded<T> {
    fn empty(cliques: &Cliques) -> Self {
        let messages = Messages::empty(cliques);
        let errors = Errors {
            sums: vec![Bound::default(); messages.sums.len()],
            faulty: vec![Bound::default(); messages.faulty.len()],
        };
        Self { messages, errors }
    }

    fn take<O: Own<Running<T>>>(
        &mut self,
        entries: Entries<'_, Running<T>, O>,
        spare: &mut Vec<Running<T>>,
    ) {
        self.replace(entries, spare);
    }

    fn replace<O: Own<Running<T>>>(
        &mut self,
        entries: Entries<'_, Running<T>, O>,
        message: &mut Vec<Running<T>>,
    ) -> bool {
        let exponent = self.sum_up(entries, message);
        self.put(entries.node, entries.index, message, exponent)
    }
}
