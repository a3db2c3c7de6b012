//! Steps from one basis to the next.

use super::{CHANGES, ENTRY, NOWHERE, Outcome, PRIMAL, Simplex, Step};
use crate::lp::ratio::{Candidate, Choice, choose};
use crate::lp::sparse::narrow;

impl Simplex {
    /// Takes steps until all values are within their bounds, at most `most`.
    pub(crate) fn solve(&mut self, cutoff: f64, most: u64) -> Outcome {
        let end = self.steps.saturating_add(most);
        let mut troubles = 0;
        loop {
            if self.factor.changes() >= CHANGES || self.factor.heavy() {
                self.invert();
                self.refresh();
            }
            if self.objective > cutoff {
                return Outcome::Cutoff;
            }
            if self.steps >= end {
                return Outcome::Limit;
            }
            match self.step() {
                Step::Taken => self.steps += 1,
                Step::Done(outcome) => return outcome,
                Step::Again => {
                    troubles += 1;
                    if troubles > 20 {
                        return Outcome::Trouble;
                    }
                    self.steps += 1;
                    self.invert();
                    self.refresh();
                }
            }
        }
    }

    pub(super) fn step(&mut self) -> Step {
        let Some((leaving, too_high)) = self.leaving() else {
            return Step::Done(Outcome::Optimal);
        };
        let rho = self.inverse_row(leaving);
        let exact: f64 = rho.iter().map(|r| r * r).sum();
        if exact > 2.0 * self.weight[leaving] && self.weight[leaving] > 0.0 {
            // the weight was far too small: others may be better
            self.weight[leaving] = exact;
            let out = self.outside(leaving);
            if self.leaving().is_some_and(|(other, _)| other != leaving) && out > 0.0 {
                return Step::Taken;
            }
        }
        self.weight[leaving] = exact;
        self.pivot_row(&rho);
        let variable = self.head[leaving] as usize;
        let target = if too_high {
            self.high[variable]
        } else {
            self.low[variable]
        };
        self.find_candidates(too_high);
        let mut candidates = std::mem::take(&mut self.candidates);
        let choice = choose(&mut candidates, (self.basic[leaving] - target).abs());
        let step = match choice {
            Choice::None => self.no_way(&rho),
            Choice::Enter { at, flipped } => {
                self.exchange(leaving, target, &candidates, at, flipped, &rho)
            }
        };
        self.candidates = candidates;
        self.clear_row();
        step
    }

    /// That no values keep the rows is believed where the pivot row alone shows it, whatever the factorization is worth.
    pub(super) fn no_way(&mut self, rho: &[f64]) -> Step {
        let right: f64 = rho.iter().zip(&self.lp.right).map(|(r, b)| r * b).sum();
        let (mut least, mut most, mut size) = (0.0, 0.0, right.abs());
        for &j in &self.touched {
            let (entry, j) = (self.row[j as usize], j as usize);
            if entry.abs() < 1e-13 {
                continue;
            }
            let (low, high) = (entry * self.low[j], entry * self.high[j]);
            least += low.min(high);
            most += low.max(high);
            size += low.abs().min(high.abs());
        }
        let loose = 1e-7 + 1e-9 * size;
        if right > most + loose || right < least - loose {
            return Step::Done(Outcome::Infeasible);
        }
        if self.factor.changes() == 0 {
            return Step::Done(Outcome::Trouble);
        }
        Step::Again
    }

    pub(super) fn outside(&self, at: usize) -> f64 {
        let j = self.head[at] as usize;
        let value = self.basic[at];
        (value - self.high[j]).max(self.low[j] - value)
    }

    /// The basic variable that is furthest out of its bounds, measured by its weight, and whether it is too high.
    pub(super) fn leaving(&self) -> Option<(usize, bool)> {
        let mut best = 0.0;
        let mut found = None;
        for (at, &value) in self.basic.iter().enumerate() {
            let j = self.head[at] as usize;
            let (over, under) = (value - self.high[j], self.low[j] - value);
            let out = over.max(under);
            if out > PRIMAL && out * out > best * self.weight[at] {
                best = out * out / self.weight[at];
                found = Some((at, over > under));
            }
        }
        found
    }

    pub(super) fn pivot_row(&mut self, rho: &[f64]) {
        let n = self.lp.variables();
        for (row, &r) in rho.iter().enumerate() {
            if r.abs() < 1e-14 {
                continue;
            }
            for &(j, entry) in self.lp.rows.list(row) {
                let slot = &mut self.row[j as usize];
                if *slot == 0.0 {
                    self.touched.push(j);
                }
                *slot += r * entry;
                if *slot == 0.0 {
                    // cancelled out, but still listed
                    *slot = f64::MIN_POSITIVE;
                }
            }
            self.row[n + row] = r;
            self.touched.push(narrow(n + row));
        }
    }

    pub(super) fn clear_row(&mut self) {
        for &j in &self.touched {
            self.row[j as usize] = 0.0;
        }
        self.touched.clear();
    }

    pub(super) fn find_candidates(&mut self, too_high: bool) {
        self.candidates.clear();
        for &variable in &self.touched {
            let j = variable as usize;
            if self.place[j] != NOWHERE || self.low[j] == self.high[j] {
                continue;
            }
            let entry = if too_high { self.row[j] } else { -self.row[j] };
            let blocks = if self.upper[j] {
                entry < -ENTRY
            } else {
                entry > ENTRY
            };
            if blocks {
                self.candidates.push(Candidate {
                    variable,
                    size: entry.abs(),
                    cost: self.reduced[j].abs(),
                    range: self.high[j] - self.low[j],
                });
            }
        }
    }

    pub(super) fn exchange(
        &mut self,
        leaving: usize,
        target: f64,
        candidates: &[Candidate],
        at: usize,
        flipped: usize,
        rho: &[f64],
    ) -> Step {
        let entering = candidates[at].variable as usize;
        let column = self.column(entering);
        let (pivot, wanted) = (column[leaving], self.row[entering]);
        if pivot.abs() < 1e-9 || (pivot - wanted).abs() > 1e-7 * (1.0 + pivot.abs()) {
            if self.factor.changes() == 0 && pivot.abs() < 1e-9 {
                return Step::Done(Outcome::Trouble);
            }
            if self.factor.changes() > 0 {
                return Step::Again;
            }
        }
        self.flip(&candidates[..flipped]);
        self.move_costs(entering, leaving);
        let step = (self.basic[leaving] - target) / pivot;
        self.objective += step * self.reduced[entering];
        let value = self.at_bound(entering) + step;
        for (basic, entry) in self.basic.iter_mut().zip(&column) {
            *basic -= step * entry;
        }
        self.basic[leaving] = value;
        self.update_weights(leaving, &column, rho);
        self.factor.replace(leaving, &column);
        let out = self.head[leaving] as usize;
        self.upper[out] = target == self.high[out] && self.high[out] != self.low[out];
        self.place[out] = NOWHERE;
        self.head[leaving] = narrow(entering);
        self.place[entering] = narrow(leaving);
        self.reduced[entering] = 0.0;
        Step::Taken
    }

    pub(super) fn column(&self, j: usize) -> Vec<f64> {
        let n = self.lp.variables();
        let mut column = vec![0.0; self.lp.height()];
        if j >= n {
            column[j - n] = 1.0;
        } else {
            for &(row, entry) in self.lp.columns.list(j) {
                column[row as usize] = entry;
            }
        }
        self.factor.forward(&mut column);
        column
    }

    /// Variables go from one bound to the other.
    pub(super) fn flip(&mut self, candidates: &[Candidate]) {
        if candidates.is_empty() {
            return;
        }
        let n = self.lp.variables();
        let mut change = vec![0.0; self.lp.height()];
        for candidate in candidates {
            let j = candidate.variable as usize;
            let by = if self.upper[j] {
                -candidate.range
            } else {
                candidate.range
            };
            self.objective += by * self.reduced[j];
            self.upper[j] = !self.upper[j];
            self.subtract(j, n, by, &mut change);
        }
        self.factor.forward(&mut change);
        for (basic, change) in self.basic.iter_mut().zip(&change) {
            *basic += change;
        }
    }

    /// Moves the reduced costs along the pivot row, and shifts costs where a sign would turn out wrong.
    pub(super) fn move_costs(&mut self, entering: usize, leaving: usize) {
        let out = self.head[leaving] as usize;
        let along = self.reduced[entering] / self.row[entering];
        for at in 0..self.touched.len() {
            let j = self.touched[at] as usize;
            if self.place[j] != NOWHERE || j == entering {
                continue;
            }
            let entry = self.row[j];
            let moved = self.reduced[j] - along * entry;
            let wrong = self.low[j] != self.high[j]
                && (if self.upper[j] {
                    moved > 0.0
                } else {
                    moved < 0.0
                });
            if wrong {
                self.cost[j] -= moved;
                self.reduced[j] = 0.0;
            } else {
                self.reduced[j] = moved;
            }
        }
        self.reduced[out] = -along;
    }

    pub(super) fn update_weights(&mut self, leaving: usize, column: &[f64], rho: &[f64]) {
        let mut tau = rho.to_vec();
        self.factor.forward(&mut tau);
        let pivot = column[leaving];
        let own = self.weight[leaving];
        for (at, (&entry, &t)) in column.iter().zip(&tau).enumerate() {
            if entry != 0.0 && at != leaving {
                let k = entry / pivot;
                let weight = self.weight[at] - 2.0 * k * t + k * k * own;
                self.weight[at] = weight.max(1e-4).max(k * k * own * 1e-3);
            }
        }
        self.weight[leaving] = (own / (pivot * pivot)).max(1e-4);
    }
}
