//! The dual simplex method with bounds on all variables.
//!
//! Reduced costs keep their right signs all the time: where rounding would break that, the cost is shifted. Therefore the
//! objective is only a guide here; the bound that counts is made anew from prices, see [`Simplex::bound`].

use std::rc::Rc;

use super::factor::Factor;
use super::ratio::{Candidate, Choice, choose};
use super::sparse::narrow;
use super::{Lp, LpRow};

/// A value may be out of its bounds by this much.
const PRIMAL: f64 = 1e-8;

/// A reduced cost of the wrong sign below this is rounding.
const DUAL: f64 = 1e-9;

/// Entries of the pivot row below this count as zero.
const ENTRY: f64 = 1e-9;

/// Changes to a factorization before it is made anew.
const CHANGES: usize = 64;

/// Random changes of costs, so that steps are not of length zero.
const SHAKE: f64 = 2e-8;

const NOWHERE: u32 = u32::MAX;

/// How a solve ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// All values are within their bounds.
    Optimal,
    /// No values keep all rows.
    Infeasible,
    /// The objective is above the cutoff, and only rises.
    Cutoff,
    /// The steps allowed are used up.
    Limit,
    /// Rounding got the better of it.
    Trouble,
}

/// A basis to come back to.
#[derive(Debug, Clone)]
pub(crate) struct Basis {
    head: Vec<u32>,
    upper: Vec<bool>,
    weight: Vec<f32>,
}

/// A linear program with its present basis.
#[derive(Debug, Clone)]
pub(crate) struct Simplex {
    pub(crate) lp: Rc<Lp>,
    pub(crate) low: Vec<f64>,
    pub(crate) high: Vec<f64>,
    /// Costs with shakes and shifts, of the logicals too.
    cost: Vec<f64>,
    head: Vec<u32>,
    place: Vec<u32>,
    upper: Vec<bool>,
    /// Values of the basic variables.
    basic: Vec<f64>,
    reduced: Vec<f64>,
    weight: Vec<f64>,
    factor: Factor,
    objective: f64,
    inversions: u64,
    /// Steps taken since the beginning.
    pub(crate) steps: u64,
    row: Vec<f64>,
    touched: Vec<u32>,
    candidates: Vec<Candidate>,
}

/// Everything needed to undo a few steps of trial.
pub(crate) struct Mark {
    low: Vec<f64>,
    high: Vec<f64>,
    cost: Vec<f64>,
    head: Vec<u32>,
    place: Vec<u32>,
    upper: Vec<bool>,
    basic: Vec<f64>,
    reduced: Vec<f64>,
    weight: Vec<f64>,
    objective: f64,
    changes: usize,
    inversions: u64,
}

/// A bound from prices, and what each variable costs at them.
pub(crate) struct Prices {
    pub(crate) bound: f64,
    pub(crate) reduced: Vec<f64>,
}

enum Step {
    Done(Outcome),
    Taken,
    Again,
}

impl Simplex {
    /// Begins with the logicals as basis.
    pub(crate) fn new(lp: Rc<Lp>) -> Simplex {
        let (n, m) = (lp.variables(), lp.height());
        let mut cost = lp.cost.clone();
        shake(&mut cost);
        cost.resize(n + m, 0.0);
        let mut place = vec![NOWHERE; n + m];
        for row in 0..m {
            place[n + row] = narrow(row);
        }
        let mut simplex = Simplex {
            low: lp.low.clone(),
            high: lp.high.clone(),
            head: (n..n + m).map(narrow).collect(),
            place,
            upper: vec![false; n + m],
            basic: vec![0.0; m],
            reduced: cost.clone(),
            weight: vec![1.0; m],
            factor: Factor::default(),
            objective: 0.0,
            inversions: 0,
            steps: 0,
            row: vec![0.0; n + m],
            touched: Vec::new(),
            candidates: Vec::new(),
            cost,
            lp,
        };
        simplex.invert();
        simplex.refresh();
        simplex
    }

    /// Begins again with the logicals as basis; the bounds stay.
    pub(crate) fn reset(&mut self) {
        let n = self.lp.variables();
        let m = self.lp.height();
        let basis = Basis {
            head: (n..n + m).map(narrow).collect(),
            upper: self.low.iter().map(|low| !low.is_finite()).collect(),
            weight: vec![1.0; m],
        };
        self.restore(&basis);
        self.unshift();
    }

    /// The same program with more rows, their logicals in the basis.
    pub(crate) fn with_rows(&self, rows: &[LpRow]) -> Simplex {
        let mut all: Vec<LpRow> = (0..self.lp.height()).map(|row| self.row_of(row)).collect();
        all.extend_from_slice(rows);
        let old: Vec<Option<usize>> = (0..all.len())
            .map(|row| (row < self.lp.height()).then_some(row))
            .collect();
        self.rebuilt(&all, &old)
    }

    /// The same program with the rows kept alone; the logicals of the others must be in the basis.
    pub(crate) fn keep_rows(&self, keep: impl Fn(usize) -> bool) -> Simplex {
        let kept: Vec<usize> = (0..self.lp.height()).filter(|&row| keep(row)).collect();
        if kept.len() == self.lp.height() {
            return self.clone();
        }
        let all: Vec<LpRow> = kept.iter().map(|&row| self.row_of(row)).collect();
        let old: Vec<Option<usize>> = kept.into_iter().map(Some).collect();
        self.rebuilt(&all, &old)
    }

    /// The program with these rows, each an old one or new.
    fn rebuilt(&self, rows: &[LpRow], old: &[Option<usize>]) -> Simplex {
        let n = self.lp.variables();
        let bounds: Vec<(f64, f64)> = (0..n).map(|j| (self.lp.low[j], self.lp.high[j])).collect();
        let mut next = Simplex::new(Rc::new(Lp::new(self.lp.cost.clone(), &bounds, rows)));
        next.low[..n].copy_from_slice(&self.low[..n]);
        next.high[..n].copy_from_slice(&self.high[..n]);
        next.cost[..n].copy_from_slice(&self.cost[..n]);
        next.steps = self.steps;
        let mut to = vec![None; self.lp.height()];
        let mut basis = Basis {
            head: Vec::new(),
            upper: self.upper[..n].to_vec(),
            weight: Vec::new(),
        };
        for (row, old) in old.iter().enumerate() {
            basis.upper.push(old.is_some_and(|old| self.upper[n + old]));
            match old {
                Some(old) => to[*old] = Some(row),
                None => {
                    basis.head.push(narrow(n + row));
                    basis.weight.push(1.0);
                }
            }
        }
        let own = self.basis();
        for (&j, &weight) in own.head.iter().zip(&own.weight) {
            let j = match (j as usize).checked_sub(n) {
                Some(row) => to[row].map(|row| narrow(n + row)),
                None => Some(j),
            };
            if let Some(j) = j {
                basis.head.push(j);
                basis.weight.push(weight);
            }
        }
        next.restore(&basis);
        next
    }

    /// One row of the program.
    pub(crate) fn row_of(&self, row: usize) -> LpRow {
        let n = self.lp.variables();
        let relation = match (self.lp.low[n + row], self.lp.high[n + row]) {
            (low, high) if low == high => crate::Relation::Equal,
            (0.0, _) => crate::Relation::AtMost,
            _ => crate::Relation::AtLeast,
        };
        LpRow {
            terms: self.lp.rows.list(row).to_vec(),
            relation,
            right: self.lp.right[row],
        }
    }

    /// Whether the logical of a row is in the basis.
    pub(crate) fn loose(&self, row: usize) -> bool {
        self.is_basic(self.lp.variables() + row)
    }

    /// Narrows or widens a variable. [`Simplex::refresh`] must follow before the next solve.
    pub(crate) fn set_bounds(&mut self, variable: usize, low: f64, high: f64) {
        self.low[variable] = low;
        self.high[variable] = high;
    }

    /// The values of all variables, without logicals.
    pub(crate) fn values(&self) -> Vec<f64> {
        (0..self.lp.variables()).map(|j| self.value(j)).collect()
    }

    /// The value of one variable.
    pub(crate) fn value(&self, variable: usize) -> f64 {
        match self.place[variable] {
            NOWHERE => self.at_bound(variable),
            place => self.basic[place as usize],
        }
    }

    /// Whether a variable is in the basis.
    pub(crate) fn is_basic(&self, variable: usize) -> bool {
        self.place[variable] != NOWHERE
    }

    /// Whether a variable outside the basis is at its high bound.
    pub(crate) fn at_high(&self, variable: usize) -> bool {
        self.upper[variable]
    }

    /// The objective so far, with its small errors.
    pub(crate) fn objective(&self) -> f64 {
        self.objective
    }

    /// The position at which a variable is in the basis.
    pub(crate) fn position(&self, variable: usize) -> Option<usize> {
        let place = self.place[variable];
        (place != NOWHERE).then_some(place as usize)
    }

    /// The row of the inverted basis that belongs to a position.
    pub(crate) fn inverse_row(&self, position: usize) -> Vec<f64> {
        let mut rho = vec![0.0; self.lp.height()];
        rho[position] = 1.0;
        self.factor.backward(&mut rho);
        rho
    }

    pub(crate) fn basis(&self) -> Basis {
        #[expect(
            clippy::cast_possible_truncation,
            reason = "weights only guide the choice of the row"
        )]
        let weight = self.weight.iter().map(|&w| w as f32).collect();
        Basis {
            head: self.head.clone(),
            upper: self.upper.clone(),
            weight,
        }
    }

    /// Goes back to a basis; the bounds are those of now.
    pub(crate) fn restore(&mut self, basis: &Basis) {
        self.place.fill(NOWHERE);
        self.head.clone_from(&basis.head);
        self.upper.clone_from(&basis.upper);
        for (at, &variable) in self.head.iter().enumerate() {
            self.place[variable as usize] = narrow(at);
        }
        self.weight = basis.weight.iter().map(|&w| f64::from(w)).collect();
        self.invert();
        self.refresh();
    }

    /// Takes all shifts of costs back.
    pub(crate) fn unshift(&mut self) {
        let n = self.lp.variables();
        self.cost[..n].copy_from_slice(&self.lp.cost);
        shake(&mut self.cost[..n]);
        self.cost[n..].fill(0.0);
        self.invert();
        self.refresh();
    }

    pub(crate) fn mark(&self) -> Mark {
        Mark {
            low: self.low.clone(),
            high: self.high.clone(),
            cost: self.cost.clone(),
            head: self.head.clone(),
            place: self.place.clone(),
            upper: self.upper.clone(),
            basic: self.basic.clone(),
            reduced: self.reduced.clone(),
            weight: self.weight.clone(),
            objective: self.objective,
            changes: self.factor.changes(),
            inversions: self.inversions,
        }
    }

    pub(crate) fn back_to(&mut self, mark: &Mark) {
        self.low.clone_from(&mark.low);
        self.high.clone_from(&mark.high);
        self.cost.clone_from(&mark.cost);
        self.head.clone_from(&mark.head);
        self.place.clone_from(&mark.place);
        self.upper.clone_from(&mark.upper);
        self.basic.clone_from(&mark.basic);
        self.reduced.clone_from(&mark.reduced);
        self.weight.clone_from(&mark.weight);
        self.objective = mark.objective;
        if self.inversions == mark.inversions {
            self.factor.back_to(mark.changes);
        } else {
            self.invert();
            self.refresh();
        }
    }

    /// Puts every variable outside the basis at the bound that its reduced cost wants, and computes all values anew.
    pub(crate) fn refresh(&mut self) {
        for j in 0..self.cost.len() {
            if self.place[j] == NOWHERE {
                self.settle(j);
            }
        }
        self.revalue();
    }

    fn settle(&mut self, j: usize) {
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

    fn revalue(&mut self) {
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

    fn subtract(&self, j: usize, n: usize, value: f64, right: &mut [f64]) {
        if j >= n {
            right[j - n] -= value;
        } else {
            for &(row, entry) in self.lp.columns.list(j) {
                right[row as usize] -= entry * value;
            }
        }
    }

    fn at_bound(&self, j: usize) -> f64 {
        if self.upper[j] {
            self.high[j]
        } else {
            self.low[j]
        }
    }

    /// Makes the factorization and the reduced costs anew.
    fn invert(&mut self) {
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
    fn repair(&mut self, column_of: &[Option<usize>]) {
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

    fn price(&mut self) {
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

    fn step(&mut self) -> Step {
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
    fn no_way(&mut self, rho: &[f64]) -> Step {
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

    fn outside(&self, at: usize) -> f64 {
        let j = self.head[at] as usize;
        let value = self.basic[at];
        (value - self.high[j]).max(self.low[j] - value)
    }

    /// The basic variable that is furthest out of its bounds, measured by its weight, and whether it is too high.
    fn leaving(&self) -> Option<(usize, bool)> {
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

    fn pivot_row(&mut self, rho: &[f64]) {
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

    fn clear_row(&mut self) {
        for &j in &self.touched {
            self.row[j as usize] = 0.0;
        }
        self.touched.clear();
    }

    fn find_candidates(&mut self, too_high: bool) {
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

    fn exchange(
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

    fn column(&self, j: usize) -> Vec<f64> {
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
    fn flip(&mut self, candidates: &[Candidate]) {
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
    fn move_costs(&mut self, entering: usize, leaving: usize) {
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

    fn update_weights(&mut self, leaving: usize, column: &[f64], rho: &[f64]) {
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

fn finite(bound: f64) -> f64 {
    if bound.is_finite() { bound } else { 0.0 }
}

/// Small changes to the costs, the same on every machine.
fn shake(cost: &mut [f64]) {
    let mut state = 1_u64;
    for cost in cost {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let share =
            f64::from(narrow(usize::try_from(state >> 40).unwrap_or(0))) / f64::from(1_u32 << 24);
        *cost += SHAKE * (0.5 + share) * (1.0 + cost.abs());
    }
}
