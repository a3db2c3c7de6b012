//! Numbers with two layers: without a machine's unmodelled fault, and with it at one of the places met so far.
//!
//! The fault sits at one function at most. Its chance is carried as a multiple of an ε with ε² = 0 (dual numbers: Clifford 1873),
//! so that products count it once and no variable has to remember where it was; ε is set to 1 when the total is read.

/// Values in two layers; a layer of zeros may be left out.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Layers {
    none: Vec<f64>,
    /// Empty: all zero.
    once: Vec<f64>,
}

/// Product of two numbers with layers.
pub(crate) fn times([a, b]: [f64; 2], [c, d]: [f64; 2]) -> [f64; 2] {
    [a * c, a * d + b * c]
}

impl Layers {
    pub(crate) fn ones(len: usize) -> Self {
        Self::plain(vec![1.0; len])
    }

    pub(crate) fn plain(none: Vec<f64>) -> Self {
        Self {
            none,
            once: Vec::new(),
        }
    }

    pub(crate) fn len(&self) -> usize {
        self.none.len()
    }

    pub(crate) fn has_once(&self) -> bool {
        !self.once.is_empty()
    }

    /// Adds an entry.
    pub(crate) fn push(&mut self, [none, once]: [f64; 2]) {
        if once != 0.0 && self.once.is_empty() {
            self.once = vec![0.0; self.none.len()];
        }
        self.none.push(none);
        if self.has_once() || once != 0.0 {
            self.once.push(once);
        }
    }

    /// One entry.
    pub(crate) fn at(&self, index: usize) -> [f64; 2] {
        [
            self.none[index],
            self.once.get(index).copied().unwrap_or(0.0),
        ]
    }

    /// Both layers of one entry together.
    pub(crate) fn total(&self, index: usize) -> f64 {
        let [none, once] = self.at(index);
        none + once
    }

    /// Entry i times the other's entry map\[i\].
    pub(crate) fn multiply(&mut self, other: &Self, map: &[u32]) {
        if other.has_once() {
            self.with_once();
            for ((none, once), &at) in self.none.iter_mut().zip(&mut self.once).zip(map) {
                let at = at as usize;
                *once = *once * other.none[at] + *none * other.once[at];
                *none *= other.none[at];
            }
            return;
        }
        for (none, &at) in self.none.iter_mut().zip(map) {
            *none *= other.none[at as usize];
        }
        for (once, &at) in self.once.iter_mut().zip(map) {
            *once *= other.none[at as usize];
        }
    }

    /// Entry by entry.
    pub(crate) fn multiply_entries(&mut self, other: &Self) {
        if other.has_once() {
            self.with_once();
            let others = other.none.iter().zip(&other.once);
            for ((none, once), (other, other_once)) in
                self.none.iter_mut().zip(&mut self.once).zip(others)
            {
                *once = *once * other + *none * other_once;
                *none *= other;
            }
            return;
        }
        self.weigh(&other.none);
    }

    /// Entry by entry, by plain numbers.
    pub(crate) fn weigh(&mut self, by: &[f64]) {
        for (none, by) in self.none.iter_mut().zip(by) {
            *none *= by;
        }
        for (once, by) in self.once.iter_mut().zip(by) {
            *once *= by;
        }
    }

    /// Multiplies a range of entries by one number with layers.
    pub(crate) fn multiply_range(&mut self, range: std::ops::Range<usize>, by: [f64; 2]) {
        if by[1] != 0.0 {
            self.with_once();
        }
        if self.has_once() {
            for index in range {
                let [none, once] = times(self.at(index), by);
                self.none[index] = none;
                self.once[index] = once;
            }
            return;
        }
        self.none[range].iter_mut().for_each(|none| *none *= by[0]);
    }

    fn with_once(&mut self) {
        if self.once.is_empty() {
            self.once = vec![0.0; self.none.len()];
        }
    }

    /// Sums of the ranges that begin at `starts`.
    pub(crate) fn sums(&self, starts: &[u32]) -> Self {
        let sum = |layer: &[f64]| {
            starts
                .windows(2)
                .map(|range| layer[range[0] as usize..range[1] as usize].iter().sum())
                .collect()
        };
        Self {
            none: sum(&self.none),
            once: if self.has_once() {
                sum(&self.once)
            } else {
                Vec::new()
            },
        }
    }

    /// Adds entry i to entry map\[i\] of a result of this length.
    pub(crate) fn gather(&self, map: &[u32], len: usize) -> Self {
        let gather = |layer: &[f64]| {
            let mut sums = vec![0.0; if layer.is_empty() { 0 } else { len }];
            for (value, &at) in layer.iter().zip(map) {
                sums[at as usize] += value;
            }
            sums
        };
        let mut none = gather(&self.none);
        none.resize(len, 0.0);
        Self {
            none,
            once: gather(&self.once),
        }
    }

    pub(crate) fn scale(&mut self, factor: f64) {
        self.none.iter_mut().for_each(|value| *value *= factor);
        self.once.iter_mut().for_each(|value| *value *= factor);
    }

    /// Brings the largest number near 1 by a power of two where products could leave the range, and returns its exponent.
    pub(crate) fn rescale(&mut self) -> i32 {
        let largest = self
            .none
            .iter()
            .chain(&self.once)
            .fold(0.0_f64, |largest, value| largest.max(value.abs()));
        if largest > 0.0 && !(1e-30..=1e30).contains(&largest) {
            let shift = largest.log2().floor() as i32;
            self.scale(2.0_f64.powi(-shift));
            return shift;
        }
        0
    }

    /// Absolute values times a factor.
    pub(crate) fn magnitude(&self, factor: f64) -> Self {
        let scaled = |layer: &[f64]| layer.iter().map(|value| value.abs() * factor).collect();
        Self {
            none: scaled(&self.none),
            once: scaled(&self.once),
        }
    }

    /// Entry by entry.
    pub(crate) fn add(&mut self, other: &Self) {
        if other.has_once() {
            self.with_once();
        }
        let add = |layer: &mut [f64], other: &[f64]| {
            layer
                .iter_mut()
                .zip(other)
                .for_each(|(value, other)| *value += other);
        };
        add(&mut self.none, &other.none);
        add(&mut self.once, &other.once);
    }

    /// `self` holds error bounds of `values`: makes them those of `values` times `factors`, whose own are `errors`.
    pub(crate) fn spread(&mut self, values: &Self, factors: &Self, errors: &Self, map: &[u32]) {
        if values.has_once() || factors.has_once() || errors.has_once() {
            self.with_once();
        }
        for (index, &at) in map.iter().enumerate() {
            let at = at as usize;
            let value = values.at(index).map(f64::abs);
            let factor = factors.at(at).map(f64::abs);
            let error = self.at(index);
            let own = times(error, factor);
            let other = times(value, errors.at(at));
            self.none[index] = own[0] + other[0];
            if self.has_once() {
                self.once[index] = own[1] + other[1];
            }
        }
    }

    /// Adds the entries, their layers weighed, to the sum of each entry's class.
    pub(crate) fn add_by_class(&self, classes: &[u16], [none, once]: [f64; 2], sums: &mut [f64]) {
        for (value, &class) in self.none.iter().zip(classes) {
            sums[usize::from(class)] += none * value;
        }
        for (value, &class) in self.once.iter().zip(classes) {
            sums[usize::from(class)] += once * value;
        }
    }
}
