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
    /// Pivot rows whose column of the lower part is not empty, in order, and all that have a row there.
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

struct Elimination {
    rows: usize,
    /// Entries in rows without a pivot so far.
    active: Vec<Vec<(u32, f64)>>,
    /// Columns that may have an entry in the row.
    pattern: Vec<Vec<u32>>,
    /// Entries in rows that had their pivot before.
    upper: Vec<Vec<(u32, f64)>>,
    lower: Vec<Vec<(u32, f64)>>,
    order: Vec<u32>,
    pivot: Vec<f64>,
    column_of: Vec<Option<usize>>,
    placed: Vec<bool>,
    spread: Vec<f64>,
}

impl Elimination {
    fn new(rows: usize, columns: &[&[(u32, f64)]]) -> Elimination {
        let mut pattern = vec![Vec::new(); rows];
        for (column, list) in columns.iter().enumerate() {
            for &(row, _) in *list {
                pattern[row as usize].push(narrow(column));
            }
        }
        Elimination {
            rows,
            active: columns.iter().map(|list| list.to_vec()).collect(),
            pattern,
            upper: vec![Vec::new(); columns.len()],
            lower: vec![Vec::new(); rows],
            order: Vec::with_capacity(rows),
            pivot: vec![1.0; rows],
            column_of: vec![None; rows],
            placed: vec![false; columns.len()],
            spread: vec![0.0; rows],
        }
    }

    /// Pivots that change nothing else.
    fn singletons(&mut self) {
        let mut waiting: Vec<usize> = (0..self.active.len())
            .filter(|&column| self.active[column].len() == 1)
            .collect();
        while let Some(column) = waiting.pop() {
            if self.placed[column] || self.active[column].len() != 1 {
                continue;
            }
            let (row, value) = self.active[column][0];
            if value.abs() < TINY {
                continue;
            }
            self.eliminate(column, row as usize, &mut waiting);
        }
        let mut counts: Vec<usize> = self.pattern.iter().map(|_| 0).collect();
        for column in (0..self.active.len()).filter(|&c| !self.placed[c]) {
            for &(row, _) in &self.active[column] {
                counts[row as usize] += 1;
            }
        }
        let mut rows: Vec<usize> = (0..self.rows)
            .filter(|&row| self.column_of[row].is_none() && counts[row] == 1)
            .collect();
        while let Some(row) = rows.pop() {
            if self.column_of[row].is_some() || counts[row] != 1 {
                continue;
            }
            let column = self.pattern[row].iter().map(|&c| c as usize).find(|&c| {
                !self.placed[c] && self.active[c].iter().any(|&(r, _)| r as usize == row)
            });
            let Some(column) = column else { continue };
            let largest = largest(&self.active[column]);
            let value = self.active[column]
                .iter()
                .find(|&&(r, _)| r as usize == row)
                .map_or(0.0, |&(_, value)| value.abs());
            if value < TINY || value < 0.01 * largest {
                continue;
            }
            for &(other, _) in &self.active[column] {
                counts[other as usize] -= 1;
                if counts[other as usize] == 1 {
                    rows.push(other as usize);
                }
            }
            self.eliminate(column, row, &mut Vec::new());
        }
    }

    fn nucleus(&mut self) {
        let mut waiting = Vec::new();
        // columns by their number of entries
        let mut left: Vec<usize> = (0..self.active.len())
            .filter(|&column| !self.placed[column])
            .collect();
        while !left.is_empty() {
            left.sort_by_key(|&column| self.active[column].len());
            let taken = self.batch(&left, &mut waiting);
            left.retain(|&column| !self.placed[column]);
            if !taken {
                return;
            }
        }
    }

    /// Takes pivots among the shortest columns until the order of the columns may be out of date.
    fn batch(&mut self, left: &[usize], waiting: &mut Vec<usize>) -> bool {
        let rounds = 1 + left.len() / 16;
        let mut taken = false;
        for _ in 0..rounds {
            let Some((column, row)) = self.best_pivot(left) else {
                return taken;
            };
            self.eliminate(column, row, waiting);
            waiting.clear();
            taken = true;
        }
        taken
    }

    /// The pivot with the fewest possible new entries among a few short columns.
    fn best_pivot(&self, left: &[usize]) -> Option<(usize, usize)> {
        let mut best: Option<(usize, usize, usize)> = None;
        let mut looked_at = 0;
        for &column in left {
            let list = &self.active[column];
            if self.placed[column] || list.is_empty() {
                continue;
            }
            let least = (STABLE * largest(list)).max(TINY);
            for &(row, value) in list {
                if value.abs() < least {
                    continue;
                }
                let row = row as usize;
                let fill = (list.len() - 1) * self.pattern[row].len().saturating_sub(1);
                if best.is_none_or(|(other, ..)| fill < other) {
                    best = Some((fill, column, row));
                }
            }
            looked_at += 1;
            let good = best.is_some_and(|(fill, ..)| fill <= list.len() * list.len());
            if looked_at >= LOOKED_AT && good {
                break;
            }
        }
        best.map(|(_, column, row)| (column, row))
    }

    fn eliminate(&mut self, column: usize, row: usize, waiting: &mut Vec<usize>) {
        let list = std::mem::take(&mut self.active[column]);
        let pivot = list
            .iter()
            .find(|&&(at, _)| at as usize == row)
            .map_or(1.0, |&(_, value)| value);
        self.placed[column] = true;
        self.column_of[row] = Some(column);
        self.pivot[row] = pivot;
        self.order.push(narrow(row));
        let below: Vec<(u32, f64)> = list
            .into_iter()
            .filter(|&(at, _)| at as usize != row)
            .map(|(at, value)| (at, value / pivot))
            .collect();
        let touched = std::mem::take(&mut self.pattern[row]);
        for other in touched {
            let other = other as usize;
            if self.placed[other] {
                continue;
            }
            let Some(at) = self.active[other]
                .iter()
                .position(|&(r, _)| r as usize == row)
            else {
                continue;
            };
            let (_, value) = self.active[other].swap_remove(at);
            self.upper[other].push((narrow(row), value));
            if !below.is_empty() && value != 0.0 {
                self.subtract(other, &below, value);
            }
            if self.active[other].len() == 1 {
                waiting.push(other);
            }
        }
        self.lower[row] = below;
    }

    fn subtract(&mut self, column: usize, below: &[(u32, f64)], factor: f64) {
        for &(row, value) in below {
            self.spread[row as usize] = value * factor;
        }
        for entry in &mut self.active[column] {
            let change = std::mem::take(&mut self.spread[entry.0 as usize]);
            entry.1 -= change;
        }
        for &(row, _) in below {
            let change = std::mem::take(&mut self.spread[row as usize]);
            if change != 0.0 {
                self.active[column].push((row, -change));
                self.pattern[row as usize].push(narrow(column));
            }
        }
    }

    fn finish(self) -> (Factor, Placed) {
        let mut by_row: Vec<&[(u32, f64)]> = vec![&[]; self.rows];
        for (row, column) in self.column_of.iter().enumerate() {
            if let Some(column) = column {
                by_row[row] = &self.upper[*column];
            }
        }
        let upper_columns = Sparse::from_lists(by_row);
        let lower_columns = Sparse::from_lists(self.lower.iter().map(Vec::as_slice));
        let lower_order = self
            .order
            .iter()
            .copied()
            .filter(|&row| !self.lower[row as usize].is_empty())
            .collect();
        let factor = Factor {
            order: self.order,
            pivot: self.pivot,
            lower_order,
            lower_rows: lower_columns.transposed(self.rows),
            upper_rows: upper_columns.transposed(self.rows),
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

fn largest(list: &[(u32, f64)]) -> f64 {
    list.iter().fold(0.0, |most, &(_, value)| value.abs().max(most))
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
            let fresh = vec![(narrow(position), 2.0), (narrow((position + 1) % rows), 0.5)];
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
