//! The basis as a product of triangular matrices, kept up to date by elementary columns.
//!
//! Columns and rows with a single entry are pivots at once; what is left is eliminated with few new entries and pivots
//! that are not small. A basic variable has the position of its pivot row.

use super::sparse::{Sparse, narrow};

/// A pivot must be at least this share of the largest entry of its column.
const STABLE: f64 = 0.1;

/// A pivot below this counts as zero.
const TINY: f64 = 1e-11;

/// Columns looked at for a pivot.
const LOOKED_AT: usize = 4;

/// A factorized basis.
#[derive(Debug, Clone, Default)]
pub(crate) struct Factor {
    /// Pivot rows, first pivot first.
    order: Vec<u32>,
    /// Pivots by row.
    pivot: Vec<f64>,
    /// Pivot rows whose column of the lower part is not empty, in order.
    lower_order: Vec<u32>,
    lower_columns: Sparse,
    lower_rows: Sparse,
    upper_columns: Sparse,
    upper_rows: Sparse,
    etas: Vec<Eta>,
    eta_pairs: usize,
}

/// A column that has changed since.
#[derive(Debug, Clone)]
struct Eta {
    position: usize,
    pivot: f64,
    others: Vec<(u32, f64)>,
}

/// Where a factorization put the columns.
pub(crate) struct Placed {
    /// For each row the column that pivots there; `None` where the columns were not independent.
    pub(crate) column_of: Vec<Option<usize>>,
}

impl Factor {
    /// Factorizes the columns; each is a list of (row, value).
    pub(crate) fn new(rows: usize, columns: &[&[(u32, f64)]]) -> (Factor, Placed) {
        let mut work = Elimination::new(rows, columns);
        work.singletons();
        work.nucleus();
        work.finish()
    }

    /// Columns changed since the factorization.
    pub(crate) fn changes(&self) -> usize {
        self.etas.len()
    }

    /// Whether the changes have become longer than the factors.
    pub(crate) fn heavy(&self) -> bool {
        let own = self.order.len() + self.upper_columns.pairs() + self.lower_columns.pairs();
        self.eta_pairs > 3 * own + 1000
    }

    /// Forgets all changes but the first `kept`.
    pub(crate) fn back_to(&mut self, kept: usize) {
        self.etas.truncate(kept);
        self.eta_pairs = self.etas.iter().map(|eta| eta.others.len()).sum();
    }

    /// The basic column at `position` is replaced by one that is `column` in terms of the basis.
    pub(crate) fn replace(&mut self, position: usize, column: &[f64]) {
        let others: Vec<(u32, f64)> = column
            .iter()
            .enumerate()
            .filter(|&(at, &value)| at != position && value.abs() > 1e-14)
            .map(|(at, &value)| (narrow(at), value))
            .collect();
        self.eta_pairs += others.len();
        self.etas.push(Eta {
            position,
            pivot: column[position],
            others,
        });
    }

    /// Solves basis × x = `right` in place.
    pub(crate) fn forward(&self, right: &mut [f64]) {
        for &row in &self.lower_order {
            let x = right[row as usize];
            if x != 0.0 {
                for &(at, value) in self.lower_columns.list(row as usize) {
                    right[at as usize] -= value * x;
                }
            }
        }
        for &row in self.order.iter().rev() {
            let row = row as usize;
            if right[row] != 0.0 {
                let x = right[row] / self.pivot[row];
                right[row] = x;
                for &(at, value) in self.upper_columns.list(row) {
                    right[at as usize] -= value * x;
                }
            }
        }
        for eta in &self.etas {
            if right[eta.position] != 0.0 {
                let x = right[eta.position] / eta.pivot;
                right[eta.position] = x;
                for &(at, value) in &eta.others {
                    right[at as usize] -= value * x;
                }
            }
        }
    }

    /// Solves y × basis = `left` in place.
    pub(crate) fn backward(&self, left: &mut [f64]) {
        for eta in self.etas.iter().rev() {
            let mut sum = left[eta.position];
            for &(at, value) in &eta.others {
                sum -= value * left[at as usize];
            }
            left[eta.position] = sum / eta.pivot;
        }
        for &row in &self.order {
            let row = row as usize;
            if left[row] != 0.0 {
                let y = left[row] / self.pivot[row];
                left[row] = y;
                for &(at, value) in self.upper_rows.list(row) {
                    left[at as usize] -= value * y;
                }
            }
        }
        for &row in self.order.iter().rev() {
            let y = left[row as usize];
            if y != 0.0 {
                for &(at, value) in self.lower_rows.list(row as usize) {
                    left[at as usize] -= value * y;
                }
            }
        }
    }
}

/// An entry of a triangular part: (its list, index, value).
type Entry = (u32, u32, f64);

struct Elimination<'c> {
    columns: &'c [&'c [(u32, f64)]],
    /// Rows of the matrix: the columns that have an entry there.
    by_row: Sparse,
    order: Vec<u32>,
    pivot: Vec<f64>,
    column_of: Vec<Option<usize>>,
    placed: Vec<bool>,
    upper: Vec<Entry>,
    lower: Vec<Entry>,
    lower_order: Vec<u32>,
}

/// How many entries of a row or column are left, and all their indices combined: the last one is what remains.
#[derive(Clone, Copy, Default)]
struct Left {
    count: u32,
    mixed: u32,
}

impl Left {
    fn add(&mut self, index: u32) {
        self.count += 1;
        self.mixed ^= index;
    }

    fn remove(&mut self, index: u32) -> bool {
        self.count -= 1;
        self.mixed ^= index;
        self.count == 1
    }
}

impl<'c> Elimination<'c> {
    fn new(rows: usize, columns: &'c [&'c [(u32, f64)]]) -> Elimination<'c> {
        let all = Sparse::from_lists(columns.iter().copied());
        Elimination {
            columns,
            by_row: all.transposed(rows),
            order: Vec::with_capacity(rows),
            pivot: vec![1.0; rows],
            column_of: vec![None; rows],
            placed: vec![false; columns.len()],
            upper: Vec::with_capacity(all.pairs()),
            lower: Vec::new(),
            lower_order: Vec::new(),
        }
    }

    fn is_active(&self, row: u32) -> bool {
        self.column_of[row as usize].is_none()
    }

    fn take(&mut self, column: usize, row: u32, pivot: f64) {
        self.placed[column] = true;
        self.column_of[row as usize] = Some(column);
        self.pivot[row as usize] = pivot;
        self.order.push(row);
    }

    /// Pivots that change nothing else.
    fn singletons(&mut self) {
        let mut left = vec![Left::default(); self.columns.len()];
        for (left, list) in left.iter_mut().zip(self.columns) {
            list.iter().for_each(|&(row, _)| left.add(row));
        }
        self.column_singletons(&mut left);
        self.row_singletons();
    }

    fn column_singletons(&mut self, left: &mut [Left]) {
        let mut waiting: Vec<usize> = (0..left.len()).filter(|&c| left[c].count == 1).collect();
        while let Some(column) = waiting.pop() {
            if self.placed[column] || left[column].count != 1 {
                continue;
            }
            let row = left[column].mixed;
            let pivot = entry(self.columns[column], row);
            if pivot.abs() < TINY {
                continue;
            }
            self.take(column, row, pivot);
            let others = self.columns[column]
                .iter()
                .filter(|&&(other, _)| other != row);
            self.upper
                .extend(others.map(|&(other, value)| (row, other, value)));
            for &(other, _) in self.by_row.list(row as usize) {
                let other = other as usize;
                if left[other].remove(row) && !self.placed[other] {
                    waiting.push(other);
                }
            }
        }
    }

    fn row_singletons(&mut self) {
        let mut left = vec![Left::default(); self.pivot.len()];
        for (column, list) in self.columns.iter().enumerate() {
            if !self.placed[column] {
                list.iter()
                    .for_each(|&(row, _)| left[row as usize].add(narrow(column)));
            }
        }
        let mut waiting: Vec<u32> = (0..narrow(left.len()))
            .filter(|&row| self.is_active(row) && left[row as usize].count == 1)
            .collect();
        while let Some(row) = waiting.pop() {
            if !self.is_active(row) || left[row as usize].count != 1 {
                continue;
            }
            let column = left[row as usize].mixed as usize;
            let list = self.columns[column];
            let pivot = entry(list, row);
            if pivot.abs() < TINY.max(0.01 * largest(list)) {
                continue;
            }
            self.take(column, row, pivot);
            let before = self.lower.len();
            for &(other, value) in list.iter().filter(|&&(other, _)| other != row) {
                if self.is_active(other) {
                    self.lower.push((row, other, value / pivot));
                } else {
                    self.upper.push((row, other, value));
                }
                if left[other as usize].remove(narrow(column)) {
                    waiting.push(other);
                }
            }
            if self.lower.len() > before {
                self.lower_order.push(row);
            }
        }
    }

    /// What is left has several entries everywhere.
    fn nucleus(&mut self) {
        let columns: Vec<usize> = (0..self.columns.len())
            .filter(|&c| !self.placed[c])
            .collect();
        if columns.is_empty() {
            return;
        }
        let mut nucleus = Nucleus::new(self, &columns);
        let mut left: Vec<usize> = (0..columns.len()).collect();
        while !left.is_empty() {
            left.sort_by_key(|&at| nucleus.active[at].len());
            // the order of the columns is good for a while
            for round in 0..=left.len() / 16 {
                let Some((at, row)) = nucleus.best_pivot(&left) else {
                    if round == 0 {
                        return;
                    }
                    break;
                };
                nucleus.eliminate(self, columns[at], at, row);
            }
            left.retain(|&at| !nucleus.placed[at]);
        }
    }

    fn finish(self) -> (Factor, Placed) {
        let rows = self.pivot.len();
        let upper_columns = Sparse::from_entries(rows, &self.upper);
        let lower_columns = Sparse::from_entries(rows, &self.lower);
        let factor = Factor {
            order: self.order,
            pivot: self.pivot,
            lower_order: self.lower_order,
            lower_rows: lower_columns.transposed(rows),
            upper_rows: upper_columns.transposed(rows),
            lower_columns,
            upper_columns,
            etas: Vec::new(),
            eta_pairs: 0,
        };
        let placed = Placed {
            column_of: self.column_of,
        };
        (factor, placed)
    }
}

/// The part of the matrix where elimination makes new entries.
struct Nucleus {
    /// Entries of each column in rows without a pivot so far.
    active: Vec<Vec<(u32, f64)>>,
    /// Entries of each column in rows that had their pivot before.
    above: Vec<Vec<(u32, f64)>>,
    /// Columns that have an entry in the row.
    pattern: Vec<Vec<u32>>,
    placed: Vec<bool>,
    spread: Vec<f64>,
}

impl Nucleus {
    fn new(all: &Elimination<'_>, columns: &[usize]) -> Nucleus {
        let rows = all.pivot.len();
        let mut pattern = vec![Vec::new(); rows];
        let mut active = Vec::with_capacity(columns.len());
        let mut above = Vec::with_capacity(columns.len());
        for (at, &column) in columns.iter().enumerate() {
            let (inside, outside): (Vec<_>, Vec<_>) = all.columns[column]
                .iter()
                .copied()
                .partition(|&(row, _)| all.is_active(row));
            for &(row, _) in &inside {
                pattern[row as usize].push(narrow(at));
            }
            active.push(inside);
            above.push(outside);
        }
        Nucleus {
            active,
            above,
            pattern,
            placed: vec![false; columns.len()],
            spread: vec![0.0; rows],
        }
    }

    /// The pivot with the fewest possible new entries among a few short columns.
    fn best_pivot(&self, left: &[usize]) -> Option<(usize, u32)> {
        let mut best: Option<(usize, usize, u32)> = None;
        let mut looked_at = 0;
        for &at in left {
            let list = &self.active[at];
            if self.placed[at] || list.is_empty() {
                continue;
            }
            let least = (STABLE * largest(list)).max(TINY);
            for &(row, value) in list.iter().filter(|entry| entry.1.abs() >= least) {
                let others = self.pattern[row as usize].len().saturating_sub(1);
                let fill = (list.len() - 1) * others;
                if value != 0.0 && best.is_none_or(|(other, ..)| fill < other) {
                    best = Some((fill, at, row));
                }
            }
            looked_at += 1;
            if looked_at >= LOOKED_AT && best.is_some() {
                break;
            }
        }
        best.map(|(_, at, row)| (at, row))
    }

    fn eliminate(&mut self, all: &mut Elimination<'_>, column: usize, at: usize, row: u32) {
        let list = std::mem::take(&mut self.active[at]);
        let pivot = entry(&list, row);
        self.placed[at] = true;
        all.take(column, row, pivot);
        let above = std::mem::take(&mut self.above[at]);
        all.upper
            .extend(above.into_iter().map(|(other, value)| (row, other, value)));
        let below: Vec<(u32, f64)> = list
            .into_iter()
            .filter(|&(other, _)| other != row)
            .map(|(other, value)| (other, value / pivot))
            .collect();
        for other in std::mem::take(&mut self.pattern[row as usize]) {
            let other = other as usize;
            if self.placed[other] {
                continue;
            }
            let Some(place) = self.active[other].iter().position(|&(r, _)| r == row) else {
                continue;
            };
            let (_, value) = self.active[other].swap_remove(place);
            if value != 0.0 {
                self.above[other].push((row, value));
                self.subtract(other, &below, value);
            }
        }
        if !below.is_empty() {
            all.lower_order.push(row);
            all.lower
                .extend(below.into_iter().map(|(other, value)| (row, other, value)));
        }
    }

    fn subtract(&mut self, at: usize, below: &[(u32, f64)], factor: f64) {
        for &(row, value) in below {
            self.spread[row as usize] = value * factor;
        }
        for entry in &mut self.active[at] {
            entry.1 -= std::mem::take(&mut self.spread[entry.0 as usize]);
        }
        for &(row, _) in below {
            let change = std::mem::take(&mut self.spread[row as usize]);
            if change != 0.0 {
                self.active[at].push((row, -change));
                self.pattern[row as usize].push(narrow(at));
            }
        }
    }
}

fn entry(list: &[(u32, f64)], row: u32) -> f64 {
    list.iter()
        .find(|entry| entry.0 == row)
        .map_or(0.0, |entry| entry.1)
}

fn largest(list: &[(u32, f64)]) -> f64 {
    list.iter()
        .fold(0.0, |most, &(_, value)| value.abs().max(most))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A made-up sparse matrix with dense corners, the same everywhere.
    fn matrix(rows: usize, seed: u64) -> Vec<Vec<(u32, f64)>> {
        let mut state = seed;
        let mut roll = |sides: u64| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) % sides
        };
        (0..rows)
            .map(|column| {
                let mut list = vec![(narrow(column), 1.0 + f64::from(narrow(column)) / 7.0)];
                for _ in 0..roll(5) {
                    let row = u32::try_from(roll(rows as u64)).unwrap();
                    if list.iter().all(|&(at, _)| at != row) {
                        let value = f64::from(u32::try_from(roll(19)).unwrap()) - 9.0;
                        if value != 0.0 {
                            list.push((row, value));
                        }
                    }
                }
                list
            })
            .collect()
    }

    fn times(columns: &[Vec<(u32, f64)>], x: &[f64]) -> Vec<f64> {
        let mut sum = vec![0.0; x.len()];
        for (list, x) in columns.iter().zip(x) {
            for &(row, value) in list {
                sum[row as usize] += value * x;
            }
        }
        sum
    }

    fn check(rows: usize, seed: u64) {
        let columns = matrix(rows, seed);
        let lists: Vec<&[(u32, f64)]> = columns.iter().map(Vec::as_slice).collect();
        let (mut factor, placed) = Factor::new(rows, &lists);
        let Some(at) = placed.column_of.iter().copied().collect::<Option<Vec<_>>>() else {
            return;
        };
        let mut placed: Vec<Vec<(u32, f64)>> = at.iter().map(|&c| columns[c].clone()).collect();
        for change in 0..4 {
            let x: Vec<f64> = (0..rows).map(|i| f64::from(narrow(i % 5)) - 1.0).collect();
            let mut right = times(&placed, &x);
            factor.forward(&mut right);
            for (found, wanted) in right.iter().zip(&x) {
                assert!((found - wanted).abs() < 1e-6, "{rows} {seed} {change}");
            }
            let mut left: Vec<f64> = placed
                .iter()
                .map(|list| list.iter().map(|&(row, v)| v * x[row as usize]).sum())
                .collect();
            factor.backward(&mut left);
            for (found, wanted) in left.iter().zip(&x) {
                assert!((found - wanted).abs() < 1e-6, "{rows} {seed} {change}");
            }
            let position = (change * 3 + 1) % rows;
            let fresh = vec![
                (narrow(position), 2.0),
                (narrow((position + 1) % rows), 0.5),
            ];
            let mut column = vec![0.0; rows];
            for &(row, value) in &fresh {
                column[row as usize] += value;
            }
            factor.forward(&mut column);
            if column[position].abs() < 1e-3 {
                return;
            }
            factor.replace(position, &column);
            placed[position] = fresh;
        }
    }

    #[test]
    fn solves_both_ways_and_after_changes() {
        for seed in 0..200 {
            check(2 + usize::try_from(seed % 40).unwrap(), seed);
        }
    }
}
