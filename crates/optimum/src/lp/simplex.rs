//! The dual simplex method with bounds on all variables.
//!
//! Reduced costs keep their right signs all the time: where rounding would break that, the cost is shifted. Therefore the
//! objective is only a guide here; the bound that counts is made anew from prices, see [`Simplex::bound`].

mod steps;
mod values;

use std::rc::Rc;

use super::factor::Factor;
use super::ratio::Candidate;
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
