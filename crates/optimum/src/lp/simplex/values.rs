//! Values, prices and the factorization of a basis.

use std::rc::Rc;

use super::{DUAL, NOWHERE, Prices, Simplex, finite};
use crate::lp::factor::Factor;
use crate::lp::sparse::narrow;

impl Simplex {
    /// Puts every variable outside the basis at the bound that its reduced cost wants, and computes all values anew.
    pub(crate) fn refresh(&mut self) {
        for j in 0..self.cost.len() {
            if self.place[j] == NOWHERE {
                self.settle(j);
            }
        }
        self.revalue();
    }

    pub(super) fn settle(&mut self, j: usize) {
        let reduced = self.reduced[j];
        let (here, there) = if self.upper[j] {
            (self.high[j], self.low[j])
        } else {
            (self.low[j], self.high[j])
        };
        let wrong = if self.upper[j] {
            reduced > 0.0
        } else {
            reduced < 0.0
        };
        let moves = !here.is_finite() || (wrong && reduced.abs() > DUAL && there.is_finite());
        if moves {
            self.upper[j] = !self.upper[j];
        }
        let still_wrong = if self.upper[j] {
            reduced > 0.0
        } else {
            reduced < 0.0
        };
        if still_wrong && self.low[j] != self.high[j] {
            // too little to go to the other bound, or there is none: shift the cost
            self.cost[j] -= reduced;
            self.reduced[j] = 0.0;
        }
    }

    pub(super) fn revalue(&mut self) {
        let n = self.lp.variables();
        let lp = Rc::clone(&self.lp);
        let mut right = lp.right.clone();
        let mut objective = 0.0;
        for j in 0..self.cost.len() {
            if self.place[j] != NOWHERE {
                continue;
            }
            let value = self.at_bound(j);
            if value != 0.0 {
                objective += self.cost[j] * value;
                self.subtract(j, n, value, &mut right);
            }
        }
        self.factor.forward(&mut right);
        for (row, value) in right.iter().enumerate() {
            objective += self.cost[self.head[row] as usize] * value;
        }
        self.basic = right;
        self.objective = objective;
    }

    pub(super) fn subtract(&self, j: usize, n: usize, value: f64, right: &mut [f64]) {
        if j >= n {
            right[j - n] -= value;
        } else {
            for &(row, entry) in self.lp.columns.list(j) {
                right[row as usize] -= entry * value;
            }
        }
    }

    pub(super) fn at_bound(&self, j: usize) -> f64 {
        if self.upper[j] {
            self.high[j]
        } else {
            self.low[j]
        }
    }

    /// Makes the factorization and the reduced costs anew.
    pub(super) fn invert(&mut self) {
        self.inversions += 1;
        let (n, m) = (self.lp.variables(), self.lp.height());
        let lp = Rc::clone(&self.lp);
        let units: Vec<[(u32, f64); 1]> = (0..m).map(|row| [(narrow(row), 1.0)]).collect();
        loop {
            let columns: Vec<&[(u32, f64)]> = self
                .head
                .iter()
                .map(|&j| match (j as usize).checked_sub(n) {
                    Some(row) => &units[row][..],
                    None => lp.columns.list(j as usize),
                })
                .collect();
            let (factor, placed) = Factor::new(m, &columns);
            if let Some(order) = placed.column_of.iter().copied().collect::<Option<Vec<_>>>() {
                self.factor = factor;
                self.head = order.iter().map(|&at| self.head[at]).collect();
                self.weight = order.iter().map(|&at| self.weight[at]).collect();
                break;
            }
            self.repair(&placed.column_of);
        }
        for (at, &j) in self.head.iter().enumerate() {
            self.place[j as usize] = narrow(at);
        }
        self.price();
    }

    /// Replaces columns that depend on others by the logicals of the rows left over.
    pub(super) fn repair(&mut self, column_of: &[Option<usize>]) {
        let n = self.lp.variables();
        let mut kept = vec![false; self.head.len()];
        for &column in column_of.iter().flatten() {
            kept[column] = true;
        }
        let mut free = column_of
            .iter()
            .enumerate()
            .filter(|(_, column)| column.is_none())
            .map(|(row, _)| row);
        for at in (0..self.head.len()).filter(|&at| !kept[at]) {
            let Some(row) = free.next() else { break };
            let out = self.head[at] as usize;
            self.place[out] = NOWHERE;
            self.upper[out] = !self.low[out].is_finite();
            self.head[at] = narrow(n + row);
            self.weight[at] = 1.0;
        }
    }

    pub(super) fn price(&mut self) {
        let n = self.lp.variables();
        let mut y: Vec<f64> = self.head.iter().map(|&j| self.cost[j as usize]).collect();
        self.factor.backward(&mut y);
        let lp = Rc::clone(&self.lp);
        self.reduced.copy_from_slice(&self.cost);
        for (row, &price) in y.iter().enumerate() {
            if price != 0.0 {
                self.reduced[n + row] -= price;
                for &(j, entry) in lp.rows.list(row) {
                    self.reduced[j as usize] -= price * entry;
                }
            }
        }
        for &j in &self.head {
            self.reduced[j as usize] = 0.0;
        }
    }

    /// A bound that holds whatever the rounding so far: the costs as given, at prices of the right signs.
    pub(crate) fn bound(&self) -> Prices {
        let n = self.lp.variables();
        let cost = |j: u32| self.lp.cost.get(j as usize).copied().unwrap_or(0.0);
        let mut y: Vec<f64> = self.head.iter().map(|&j| cost(j)).collect();
        self.factor.backward(&mut y);
        let mut reduced = self.lp.cost.clone();
        let mut bound = 0.0;
        for (row, &price) in y.iter().enumerate() {
            // the reduced cost of the logical is minus the price
            let price = match (self.low[n + row], self.high[n + row]) {
                (low, _) if low == f64::NEG_INFINITY => price.max(0.0),
                (_, high) if high == f64::INFINITY => price.min(0.0),
                _ => price,
            };
            if price == 0.0 {
                continue;
            }
            bound += price * self.lp.right[row];
            let (low, high) = (self.low[n + row], self.high[n + row]);
            bound -= (price * finite(low)).max(price * finite(high));
            for &(j, entry) in self.lp.rows.list(row) {
                reduced[j as usize] -= price * entry;
            }
        }
        for (j, &r) in reduced.iter().enumerate() {
            if r != 0.0 {
                bound += r * if r > 0.0 { self.low[j] } else { self.high[j] };
            }
        }
        Prices { bound, reduced }
    }
}
