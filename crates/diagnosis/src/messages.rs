//! What cliques hand each other: sums upwards, derivatives of the total downwards.
//!
//! Up, each clique adds its entries up and hands the sums on (Shafer & Shenoy 1990, without division, for the signed auxiliaries of
//! the noisy-OR may leave zeros). Down go the derivatives of the total by each sum (Darwiche, "A differential approach to
//! inference in Bayesian networks", Journal of the ACM 50, 2003).
//!
//! The unmodelled fault of one machine sits at one function at most. Its chance is carried as a multiple of an ε with ε² = 0 (dual
//! numbers: Clifford 1873), so that products count it once and no variable has to remember where it was; ε is set to 1 when the total is
//! read. In the cliques below which it cannot sit, the second part stays away.

use crate::{
    clique::{Cliques, Node},
    number::{Lanes, Number, Running},
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

/// Where numbers leave this range they are brought back by a power of two.
const RANGE: std::ops::RangeInclusive<f64> = 1e-30..=1e30;

/// Brings numbers back into range by a power of two, which is handed back.
pub(crate) fn brought_back<T: Number>(some: &mut [T], others: &mut [T]) -> i32 {
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

/// The entries that are summed to one entry of a clique's message.
struct Run<'a, O> {
    own: &'a [O],
    classes: &'a [u16],
    /// For each entry, by child: the entry of its message.
    map: &'a [u32],
}

impl<'a, T: Number, O: Own<T>> Entries<'a, T, O> {
    fn runs(self) -> impl Iterator<Item = Run<'a, O>> {
        let Self {
            cliques, node, own, ..
        } = self;
        let (width, first) = (node.children.len(), node.entries.start);
        let classes = &cliques.class[node.entries.clone()];
        let maps = &cliques.maps[node.maps..][..own.len() * width];
        let starts = &cliques.starts[node.groups.start..=node.groups.end];
        starts.windows(2).map(move |ends| {
            let within = ends[0] as usize - first..ends[1] as usize - first;
            Run {
                own: &own[within.clone()],
                classes: &classes[within.clone()],
                map: &maps[within.start * width..within.end * width],
            }
        })
    }

    /// Whether the unmodelled fault sits at one of the variables of a class.
    fn carries(self) -> impl Fn(u16) -> bool {
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
    /// Each entry's number, from what is its own and its class, and the class.
    fn each<T>(&self, number: impl Fn(O, u16) -> T) -> impl Iterator<Item = (T, usize)> {
        let each = self.own.iter().zip(self.classes);
        each.map(move |(&own, &class)| (number(own, class), usize::from(class)))
    }

    /// Its sum where no fault is carried.
    fn sum<T: Number>(&self, width: usize, below: &[T], number: impl Fn(O, u16) -> T) -> T {
        let mut all = T::ZERO;
        let each = self.each(number).map(|(own, _)| own);
        match width {
            0 => each.for_each(|own| all += own),
            1 => {
                for (own, &child) in each.zip(self.map) {
                    all += own * below[child as usize];
                }
            }
            _ => {
                for (own, map) in each.zip(self.map.chunks_exact(width)) {
                    let times = |value: T, &child: &u32| value * below[child as usize];
                    all += map.iter().fold(own, times);
                }
            }
        }
        all
    }

    fn dual_sum<T: Number>(
        &self,
        width: usize,
        carries: impl Fn(u16) -> bool,
        below: impl Fn(u32) -> Dual<T>,
        number: impl Fn(O, u16) -> T,
    ) -> Dual<T> {
        let mut all = [T::ZERO; 2];
        let each = self.own.iter().zip(self.classes);
        let each = each.map(|(&own, &class)| (number(own, class), carries(class)));
        if width == 0 {
            each.for_each(|(own, carries)| all[usize::from(carries)] += own);
            return all;
        }
        for ((own, carries), map) in each.zip(self.map.chunks_exact(width)) {
            let [none, faulty] = below(map[0]);
            let value = match carries {
                true => [T::ZERO, own * none],
                false => [own * none, own * faulty],
            };
            let value = map[1..]
                .iter()
                .fold(value, |value, &child| times(value, below(child)));
            all[0] += value[0];
            all[1] += value[1];
        }
        all
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
        let groups = cliques.starts.len() - 1;
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
        if entries.weights.is_empty() {
            self.sum(entries, plain);
        } else {
            self.sum(entries, entries.weighted());
        }
    }

    fn sum<O: Own<T>>(&mut self, entries: Entries<'_, T, O>, number: impl Fn(O, u16) -> T + Copy) {
        let node = entries.node;
        let (width, first) = (node.children.len(), node.groups.start);
        let (below, sums) = self.sums.split_at_mut(first);
        let sums = &mut sums[..node.groups.len()];
        let shift = if node.dual {
            let (faulty_below, faulty) = self.faulty.split_at_mut(first);
            let faulty = &mut faulty[..sums.len()];
            let below = |child: u32| [below[child as usize], faulty_below[child as usize]];
            let carries = entries.carries();
            for ((sum, faulty), run) in sums.iter_mut().zip(&mut *faulty).zip(entries.runs()) {
                [*sum, *faulty] = run.dual_sum(width, &carries, below, number);
            }
            brought_back(sums, faulty)
        } else {
            for (sum, run) in sums.iter_mut().zip(entries.runs()) {
                *sum = run.sum(width, below, number);
            }
            brought_back(sums, &mut [])
        };
        self.exponents[entries.index] = self.below(node) + shift;
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

/// Bounds of what rounding did to messages.
#[derive(Debug)]
pub(crate) struct Errors {
    sums: Vec<f64>,
    faulty: Vec<f64>,
}

impl<T: Number> Messages<T> {
    /// Numbers that carry their bounds.
    pub(crate) fn with(&self, errors: &Errors) -> Messages<Running<T>> {
        let with = |values: &[T], errors: &[f64]| {
            let both = values.iter().zip(errors);
            both.map(|(&value, &error)| Running { value, error })
                .collect()
        };
        Messages {
            sums: with(&self.sums, &errors.sums),
            faulty: with(&self.faulty, &errors.faulty),
            exponents: self.exponents.clone(),
        }
    }
}

impl<T: Number> Messages<Running<T>> {
    /// The numbers and their bounds.
    pub(crate) fn apart(self) -> (Messages<T>, Errors) {
        let apart = |all: Vec<Running<T>>| -> (Vec<T>, Vec<f64>) {
            all.iter().map(|one| (one.value, one.error)).unzip()
        };
        let (sums, errors) = apart(self.sums);
        let (faulty, faulty_errors) = apart(self.faulty);
        let messages = Messages {
            sums,
            faulty,
            exponents: self.exponents,
        };
        let errors = Errors {
            sums: errors,
            faulty: faulty_errors,
        };
        (messages, errors)
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

/// Derivatives of the total by each message entry, a power of two by clique standing beside them.
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

    /// Nothing was handed down yet.
    pub(crate) fn clear(&mut self) {
        self.by_sum.fill(T::ZERO);
        self.by_faulty.fill(T::ZERO);
        self.exponents.fill(0);
    }

    /// How much the two parts of a root count.
    pub(crate) fn begin(&mut self, root: &Node<'_>, [sum, faulty]: Dual<T>) {
        self.by_sum[root.groups.start] = sum;
        if root.dual {
            self.by_faulty[root.groups.start] = faulty;
        }
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
        for &child in node.children {
            self.exponents[child as usize] = all - messages.exponents[child as usize];
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

    fn plain<O: Own<T>>(
        &mut self,
        entries: Entries<'_, T, O>,
        number: impl Fn(O, u16) -> T + Copy,
        messages: &Messages<T>,
        wanted: Wanted,
        by_class: &mut [T],
    ) {
        let node = entries.node;
        let width = node.children.len();
        let from = &messages.sums[..node.groups.start];
        let (below, above) = self.by_sum.split_at_mut(node.groups.start);
        let mut before = vec![T::ZERO; if width > 2 { width } else { 0 }];
        for (&above, run) in above.iter().zip(entries.runs()) {
            if above == T::ZERO {
                continue;
            }
            let each = run.each(number).map(|(own, class)| (own * above, class));
            match width {
                0 => each.for_each(|(own, class)| by_class[class] += own),
                1 => {
                    for ((own, class), &child) in each.zip(run.map) {
                        below[child as usize] += own;
                        if wanted.sums {
                            by_class[class] += own * from[child as usize];
                        }
                    }
                }
                2 => {
                    for ((own, class), map) in each.zip(run.map.chunks_exact(2)) {
                        let [left, right] = [map[0] as usize, map[1] as usize];
                        let with_left = own * from[left];
                        below[left] += own * from[right];
                        below[right] += with_left;
                        if wanted.sums {
                            by_class[class] += with_left * from[right];
                        }
                    }
                }
                _ => {
                    for ((own, class), map) in each.zip(run.map.chunks_exact(width)) {
                        let mut value = own;
                        for (before, &child) in before.iter_mut().zip(map) {
                            *before = value;
                            value = value * from[child as usize];
                        }
                        by_class[class] += value;
                        if wanted.below {
                            // what stands right of each child
                            let mut after = T::ONE;
                            for (&before, &child) in before.iter().zip(map).rev() {
                                below[child as usize] += before * after;
                                after = after * from[child as usize];
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
        let from = |child: u32| {
            [
                messages.sums[child as usize],
                messages.faulty[child as usize],
            ]
        };
        let (below, above) = self.by_sum.split_at_mut(first);
        let (faulty_below, faulty_above) = self.by_faulty.split_at_mut(first);
        let mut add = |child: u32, [by_faulty, by_sum]: Dual<T>| {
            below[child as usize] += by_sum;
            faulty_below[child as usize] += by_faulty;
        };
        let mut before = vec![[T::ZERO; 2]; if width > 2 { width } else { 0 }];
        let above = above.iter().zip(&*faulty_above);
        for ((&above, &faulty_above), run) in above.zip(entries.runs()) {
            if above == T::ZERO && faulty_above == T::ZERO {
                continue;
            }
            let own = |(&own, &class): (&O, &u16)| {
                let own = number(own, class);
                let own = match carries(class) {
                    true => [T::ZERO, own * faulty_above],
                    false => [own * faulty_above, own * above],
                };
                (own, usize::from(class))
            };
            let each = run.own.iter().zip(run.classes).map(own);
            match width {
                0 => each.for_each(|(own, class)| by_class[class] += own[1]),
                1 => {
                    for ((own, class), &child) in each.zip(run.map) {
                        add(child, own);
                        if wanted.sums {
                            by_class[class] += second(own, from(child));
                        }
                    }
                }
                2 => {
                    for ((own, class), map) in each.zip(run.map.chunks_exact(2)) {
                        let from_right = from(map[1]);
                        let with_left = times(own, from(map[0]));
                        add(map[0], times(own, from_right));
                        add(map[1], with_left);
                        if wanted.sums {
                            by_class[class] += second(with_left, from_right);
                        }
                    }
                }
                _ => {
                    for ((own, class), map) in each.zip(run.map.chunks_exact(width)) {
                        let mut value = own;
                        for (before, &child) in before.iter_mut().zip(map) {
                            *before = value;
                            value = times(value, from(child));
                        }
                        by_class[class] += value[1];
                        if wanted.below {
                            let mut after = [T::ONE, T::ZERO];
                            for (&before, &child) in before.iter().zip(map).rev() {
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
