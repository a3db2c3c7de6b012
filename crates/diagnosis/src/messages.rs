//! What cliques hand each other: sums upwards, derivatives of the total downwards.
//!
//! Up, each clique adds its entries up and hands the sums on (Shafer & Shenoy 1990, without division, for the signed auxiliaries of
//! the noisy-OR may leave zeros). Down go the derivatives of the total by each sum (Darwiche, "A differential approach to
//! inference in Bayesian networks", Journal of the ACM 50, 2003).
//!
//! The unmodelled fault of one machine sits at one function at most. Its chance is carried as a multiple of an ε with ε² = 0 (dual
//! numbers: Clifford 1873), so that products count it once and no variable has to remember where it was; ε is set to 1 when the total is
//! read. In the cliques below which it cannot sit, the second part stays away.

use std::ops::Range;

use crate::{
    clique::{Cliques, Node, Row},
    number::{Bound, Lanes, Number, Running},
};

/// Numbers without and with the unmodelled fault.
pub(crate) type Dual<T> = [T; 2];

/// Product of two dual numbers.
pub(crate) fn times<T: Number>([a, b]: Dual<T>, [c, d]: Dual<T>) -> Dual<T> {
    [a * c, a * d + b * c]
}

/// The second part of a product.
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
    /// What that is multiplied by, by class; empty for 1.
    pub(crate) weights: &'a [T],
}

/// A number that passes can begin with.
pub(crate) trait Own<T>: Copy {
    fn to(self) -> T;
}

impl<T: Number> Own<T> for T {
    fn to(self) -> T {
        self
    }
}

impl Own<Lanes> for f64 {
    fn to(self) -> Lanes {
        Lanes::of(self, 0.0)
    }
}

/// A row of a clique.
struct Run<'a, O> {
    own: &'a [O],
    row: Row<'a>,
}

impl<'a, T: Number, O: Own<T>> Entries<'a, T, O> {
    fn runs(self) -> impl Iterator<Item = Run<'a, O>> {
        let mut left = self.own;
        self.cliques.rows(self.node).map(move |row| {
            let (own, others) = left.split_at(row.classes.len());
            left = others;
            Run { own, row }
        })
    }

    /// The sums of its message, from the messages below; the power of two that was taken from them is handed back.
    fn sums(self, below: impl Fn(usize) -> T, sums: &mut [T]) -> i32 {
        if self.weights.is_empty() {
            self.sums_of(below, plain, sums);
        } else {
            self.sums_of(below, self.weighted(), sums);
        }
        brought_back(sums, &mut [])
    }

    fn sums_of(self, below: impl Fn(usize) -> T, number: impl Fn(O, u16) -> T, sums: &mut [T]) {
        sums.fill(T::ZERO);
        for run in self.runs() {
            let sums = &mut sums[run.row.group - self.node.groups.start..];
            let put = |beside: usize, value: T| sums[beside] += value;
            run.sums(self.node, &below, &number, put);
        }
    }

    /// The same with the unmodelled fault.
    fn dual_sums(self, below: impl Fn(usize) -> Dual<T>, sums: &mut [T], faulty: &mut [T]) -> i32 {
        if self.weights.is_empty() {
            self.dual_sums_of(below, plain, sums, faulty);
        } else {
            self.dual_sums_of(below, self.weighted(), sums, faulty);
        }
        brought_back(sums, faulty)
    }

    fn dual_sums_of(
        self,
        below: impl Fn(usize) -> Dual<T>,
        number: impl Fn(O, u16) -> T,
        sums: &mut [T],
        faulty: &mut [T],
    ) {
        sums.fill(T::ZERO);
        faulty.fill(T::ZERO);
        let carries = self.carries();
        for run in self.runs() {
            let group = run.row.group - self.node.groups.start;
            let (sums, faulty) = (&mut sums[group..], &mut faulty[group..]);
            let put = |beside: usize, value: Dual<T>| {
                sums[beside] += value[0];
                faulty[beside] += value[1];
            };
            run.dual_sums(self.node, carries, &below, &number, put);
        }
    }

    /// Whether the unmodelled fault sits at one of the variables of a class.
    fn carries(self) -> impl Fn(u16) -> bool + Copy {
        let carries = self.node.carries;
        move |class| carries.get(usize::from(class)) == Some(&true)
    }

    /// The entries' numbers, from what is their own and their class.
    fn weighted(self) -> impl Fn(O, u16) -> T + Copy {
        let weights = self.weights;
        move |own, class| own.to() * weights[usize::from(class)]
    }
}

/// An entry's number without weights.
fn plain<T, O: Own<T>>(own: O, _class: u16) -> T {
    own.to()
}

impl<O: Copy> Run<'_, O> {
    /// Each entry's number, from what is its own and its class.
    fn each<T>(&self, number: impl Fn(O, u16) -> T) -> impl Iterator<Item = T> {
        let each = self.own.iter().zip(self.row.classes);
        each.map(move |(&own, &class)| number(own, class))
    }

    /// For each entry, by child, the entry of its message.
    fn maps(
        &self,
    ) -> impl Iterator<Item = impl DoubleEndedIterator<Item = usize> + ExactSizeIterator + Clone>
    {
        let Row {
            places, offsets, ..
        } = self.row;
        let each = offsets.chunks_exact(places.len());
        each.map(move |offsets| {
            let both = places.iter().zip(offsets);
            both.map(|(&place, &offset)| place as usize + usize::from(offset))
        })
    }

    /// The same for so many children.
    fn maps_of<const WIDTH: usize>(&self) -> impl Iterator<Item = [usize; WIDTH]> {
        let places: [usize; WIDTH] = std::array::from_fn(|child| self.row.places[child] as usize);
        let each = self.row.offsets.chunks_exact(WIDTH);
        each.map(move |offsets| {
            std::array::from_fn(|child| places[child] + usize::from(offsets[child]))
        })
    }

    /// What its entries add to those of the message, where no fault is carried.
    fn sums<T: Number>(
        &self,
        node: &Node<'_>,
        below: impl Fn(usize) -> T,
        number: impl Fn(O, u16) -> T,
        put: impl FnMut(usize, T),
    ) {
        let each = self.each(number);
        let wide = node.wide;
        match node.children.len() {
            0 => self.put(each, wide, T::add, put),
            1 => {
                let each = each.zip(self.maps_of());
                let each = each.map(|(own, [child])| own * below(child));
                self.put(each, wide, T::add, put);
            }
            2 => {
                let each = each.zip(self.maps_of());
                let each = each.map(|(own, [left, right])| own * below(left) * below(right));
                self.put(each, wide, T::add, put);
            }
            3 => {
                let each = each.zip(self.maps_of::<3>());
                let times = |value: T, child: usize| value * below(child);
                let each = each.map(|(own, map)| map.into_iter().fold(own, times));
                self.put(each, wide, T::add, put);
            }
            _ => {
                let times = |value: T, child: usize| value * below(child);
                let each = each.zip(self.maps());
                let each = each.map(|(own, map)| map.fold(own, times));
                self.put(each, wide, T::add, put);
            }
        }
    }

    fn dual_sums<T: Number>(
        &self,
        node: &Node<'_>,
        carries: impl Fn(u16) -> bool,
        below: impl Fn(usize) -> Dual<T>,
        number: impl Fn(O, u16) -> T,
        put: impl FnMut(usize, Dual<T>),
    ) {
        let each = self.each(number).zip(self.row.classes);
        let each = each.map(|(own, &class)| (own, carries(class)));
        let sum = |a: Dual<T>, b: Dual<T>| [a[0] + b[0], a[1] + b[1]];
        let first = |(own, carries): (T, bool), [none, faulty]: Dual<T>| match carries {
            true => [T::ZERO, own * none],
            false => [own * none, own * faulty],
        };
        let wide = node.wide;
        match node.children.len() {
            0 => {
                let each = each.map(|(own, carries)| match carries {
                    true => [T::ZERO, own],
                    false => [own, T::ZERO],
                });
                self.put(each, wide, sum, put);
            }
            1 => {
                let each = each.zip(self.maps_of());
                let each = each.map(|(own, [child])| first(own, below(child)));
                self.put(each, wide, sum, put);
            }
            2 => {
                let each = each.zip(self.maps_of());
                let each =
                    each.map(|(own, [left, right])| times(first(own, below(left)), below(right)));
                self.put(each, wide, sum, put);
            }
            _ => {
                let each = each.zip(self.maps());
                let each = each.map(|(own, mut map)| {
                    let one = map.next().map_or([T::ONE, T::ZERO], &below);
                    map.fold(first(own, one), |value, child| times(value, below(child)))
                });
                self.put(each, wide, sum, put);
            }
        }
    }

    /// Puts numbers of its entries to those of the message, which has so many entries in a row: of one alone, their sum.
    fn put<V>(
        &self,
        values: impl Iterator<Item = V>,
        wide: usize,
        sum: impl Fn(V, V) -> V,
        mut put: impl FnMut(usize, V),
    ) {
        if wide > 1 {
            let groups = self.row.groups.iter();
            values
                .zip(groups)
                .for_each(|(value, &group)| put(usize::from(group), value));
        } else if let Some(all) = values.reduce(sum) {
            put(0, all);
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
            let below = |child: usize| [below[child], faulty_below[child]];
            entries.dual_sums(below, sums, faulty)
        } else {
            entries.sums(|child| below[child], sums)
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

impl<T: Number> Bounded<T> {
    fn sum(&self, entry: usize) -> Running<T> {
        running(&self.messages.sums, &self.errors.sums, entry)
    }

    fn faulty(&self, entry: usize) -> Running<T> {
        running(&self.messages.faulty, &self.errors.faulty, entry)
    }

    /// What a root says.
    pub(crate) fn at(&self, entry: usize) -> Dual<Running<T>> {
        let faulty = self.errors.faulty.get(entry);
        let none = || Running::ZERO;
        [
            self.sum(entry),
            faulty.map_or_else(none, |_| self.faulty(entry)),
        ]
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
            entries.dual_sums(|child| [self.sum(child), self.faulty(child)], sums, faulty)
        } else {
            entries.sums(|child| self.sum(child), into)
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

impl<T: Number> Down<T> {
    pub(crate) fn new(messages: &Messages<T>) -> Self {
        Self {
            by_sum: vec![T::ZERO; messages.sums.len()],
            by_faulty: vec![T::ZERO; messages.faulty.len()],
            exponents: vec![0; messages.exponents.len()],
        }
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
        by_class.clear();
        by_class.resize(node.classes, T::ZERO);
        match (node.dual, entries.weights.is_empty()) {
            (false, true) => self.plain(entries, plain, messages, wanted, by_class),
            (false, false) => self.plain(entries, entries.weighted(), messages, wanted, by_class),
            (true, true) => self.dual(entries, plain, messages, wanted, by_class),
            (true, false) => self.dual(entries, entries.weighted(), messages, wanted, by_class),
        }
    }

    /// Of these messages nothing is known yet.
    fn clear(&mut self, groups: Range<usize>, dual: bool) {
        self.by_sum[groups.clone()].fill(T::ZERO);
        if dual {
            self.by_faulty[groups].fill(T::ZERO);
        }
    }

    fn plain<O: Own<T>>(
        &mut self,
        entries: Entries<'_, T, O>,
        number: impl Fn(O, u16) -> T + Copy,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut [T],
    ) {
        let node = entries.node;
        let (width, first) = (node.children.len(), node.groups.start);
        let from = &messages.sums[..first];
        let (below, above) = self.by_sum.split_at_mut(first);
        let mut before = vec![T::ZERO; if width > 2 { width } else { 0 }];
        for run in entries.runs() {
            let above = &above[run.row.group - first..];
            let counts = |&beside: &u16| above[usize::from(beside)];
            if run.row.groups.iter().all(|group| counts(group) == T::ZERO) {
                continue;
            }
            let own = run.each(number).zip(run.row.groups);
            let own = own.map(|(own, group)| own * counts(group));
            let each = own.zip(run.row.classes.iter().map(|&class| usize::from(class)));
            match width {
                0 => each.for_each(|(own, class)| by_class[class] += own),
                1 => {
                    for ((own, class), [child]) in each.zip(run.maps_of()) {
                        below[child] += own;
                        if wanted.sums {
                            by_class[class] += own * from[child];
                        }
                    }
                }
                2 => {
                    for ((own, class), [left, right]) in each.zip(run.maps_of()) {
                        let with_left = own * from[left];
                        below[left] += own * from[right];
                        below[right] += with_left;
                        if wanted.sums {
                            by_class[class] += with_left * from[right];
                        }
                    }
                }
                3 => {
                    for ((own, class), [left, middle, right]) in each.zip(run.maps_of()) {
                        let (with_left, from_right) = (own * from[left], from[right]);
                        let with_both = with_left * from[middle];
                        if wanted.below {
                            below[left] += own * from[middle] * from_right;
                            below[middle] += with_left * from_right;
                            below[right] += with_both;
                        }
                        by_class[class] += with_both * from_right;
                    }
                }
                _ => {
                    for ((own, class), map) in each.zip(run.maps()) {
                        if own == T::ZERO {
                            // many message entries count for nothing
                            continue;
                        }
                        let mut value = own;
                        for (before, child) in before.iter_mut().zip(map.clone()) {
                            *before = value;
                            value = value * from[child];
                        }
                        by_class[class] += value;
                        if wanted.below {
                            // what stands right of each child
                            let mut after = T::ONE;
                            for (&before, child) in before.iter().zip(map).rev() {
                                below[child] += before * after;
                                after = after * from[child];
                            }
                        }
                    }
                }
            }
        }
    }

    /// The derivatives by the two parts form a dual number themselves, in the opposite order.
    fn dual<O: Own<T>>(
        &mut self,
        entries: Entries<'_, T, O>,
        number: impl Fn(O, u16) -> T + Copy,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut [T],
    ) {
        let node = entries.node;
        let (width, first) = (node.children.len(), node.groups.start);
        let carries = entries.carries();
        let from = |child: usize| [messages.sums[child], messages.faulty[child]];
        let (below, above) = self.by_sum.split_at_mut(first);
        let (faulty_below, faulty_above) = self.by_faulty.split_at_mut(first);
        let mut add = |child: usize, [by_faulty, by_sum]: Dual<T>| {
            below[child] += by_sum;
            faulty_below[child] += by_faulty;
        };
        let mut before = vec![[T::ZERO; 2]; if width > 2 { width } else { 0 }];
        for run in entries.runs() {
            let group = run.row.group - first;
            let (above, faulty_above) = (&above[group..], &faulty_above[group..]);
            let own = run.each(number).zip(run.row.groups).zip(run.row.classes);
            let each = own.map(|((own, &beside), &class)| {
                let (above, faulty_above) = (
                    above[usize::from(beside)],
                    faulty_above[usize::from(beside)],
                );
                let own = match carries(class) {
                    true => [T::ZERO, own * faulty_above],
                    false => [own * faulty_above, own * above],
                };
                (own, usize::from(class))
            });
            match width {
                0 => each.for_each(|(own, class)| by_class[class] += own[1]),
                1 => {
                    for ((own, class), [child]) in each.zip(run.maps_of()) {
                        add(child, own);
                        if wanted.sums {
                            by_class[class] += second(own, from(child));
                        }
                    }
                }
                2 => {
                    for ((own, class), [left, right]) in each.zip(run.maps_of()) {
                        let from_right = from(right);
                        let with_left = times(own, from(left));
                        add(left, times(own, from_right));
                        add(right, with_left);
                        if wanted.sums {
                            by_class[class] += second(with_left, from_right);
                        }
                    }
                }
                _ => {
                    for ((own, class), map) in each.zip(run.maps()) {
                        let mut value = own;
                        for (before, child) in before.iter_mut().zip(map.clone()) {
                            *before = value;
                            value = times(value, from(child));
                        }
                        by_class[class] += value[1];
                        if wanted.below {
                            let mut after = [T::ONE, T::ZERO];
                            for (&before, child) in before.iter().zip(map).rev() {
                                add(child, times(before, after));
                                after = times(after, from(child));
                            }
                        }
                    }
                }
            }
        }
    }
}
