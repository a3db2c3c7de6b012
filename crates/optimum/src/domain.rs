//! The bounds of one place in the search, and what follows from them row by row.

use std::rc::Rc;

use crate::form::{Form, Impossible};
use crate::lp::Sparse;
use crate::model::Relation;

/// Rows looked at for one decision, as a multiple of all rows.
const PASSES: usize = 4;

/// A bound of a variable or a logical: (which, low, high).
pub(crate) type Bound = (u32, f64, f64);

/// Bounds of variables and logicals, with all changes since the root.
#[derive(Debug, Clone)]
pub(crate) struct Domain {
    form: Rc<Form>,
    rows_of: Rc<Sparse>,
    pub(crate) low: Vec<f64>,
    pub(crate) high: Vec<f64>,
    root_low: Rc<Vec<f64>>,
    root_high: Rc<Vec<f64>>,
    changed: Vec<u32>,
    is_changed: Vec<bool>,
    waiting: Vec<u32>,
    is_waiting: Vec<bool>,
}

impl Domain {
    pub(crate) fn new(form: Rc<Form>, low: &[f64], high: &[f64]) -> Domain {
        let by_row = Sparse::from_lists(form.rows.iter().map(|row| row.terms.as_slice()));
        Domain {
            rows_of: Rc::new(by_row.transposed(form.width())),
            low: low.to_vec(),
            high: high.to_vec(),
            root_low: Rc::new(low.to_vec()),
            root_high: Rc::new(high.to_vec()),
            changed: Vec::new(),
            is_changed: vec![false; low.len()],
            waiting: Vec::new(),
            is_waiting: vec![false; form.rows.len()],
            form,
        }
    }

    /// All bounds that differ from the root's.
    pub(crate) fn changes(&self) -> Vec<Bound> {
        self.changed
            .iter()
            .map(|&j| (j, self.low[j as usize], self.high[j as usize]))
            .collect()
    }

    /// Back to the root, then to these bounds.
    pub(crate) fn reset(&mut self, bounds: &[Bound]) {
        for &j in &self.changed {
            let j = j as usize;
            self.low[j] = self.root_low[j];
            self.high[j] = self.root_high[j];
            self.is_changed[j] = false;
        }
        self.changed.clear();
        self.forget();
        for &(j, low, high) in bounds {
            self.put(j, low, high);
        }
    }

    fn forget(&mut self) {
        for &row in &self.waiting {
            self.is_waiting[row as usize] = false;
        }
        self.waiting.clear();
    }

    fn put(&mut self, j: u32, low: f64, high: f64) {
        let at = j as usize;
        self.low[at] = low;
        self.high[at] = high;
        if !self.is_changed[at] {
            self.is_changed[at] = true;
            self.changed.push(j);
        }
    }

    /// Narrows one variable or logical; what follows is found by [`Domain::propagate`].
    pub(crate) fn narrow(&mut self, (j, low, high): Bound) -> Result<(), Impossible> {
        let at = j as usize;
        let (low, high) = (low.max(self.low[at]), high.min(self.high[at]));
        if low > high + 1e-9 {
            self.forget();
            return Err(Impossible);
        }
        if low == self.low[at] && high == self.high[at] {
            return Ok(());
        }
        self.put(j, low, high.max(low));
        if at < self.form.width() {
            let rows = Rc::clone(&self.rows_of);
            for &(row, _) in rows.list(at) {
                if !self.is_waiting[row as usize] {
                    self.is_waiting[row as usize] = true;
                    self.waiting.push(row);
                }
            }
        } else {
            let row = at - self.form.width();
            if row < self.is_waiting.len() && !self.is_waiting[row] {
                self.is_waiting[row] = true;
                self.waiting.push(crate::lp::narrow(row));
            }
        }
        Ok(())
    }

    /// Narrows what the rows of narrowed variables allow.
    pub(crate) fn propagate(&mut self) -> Result<(), Impossible> {
        let form = Rc::clone(&self.form);
        let mut left = PASSES * form.rows.len() + 100;
        let mut at = 0;
        while at < self.waiting.len() && left > 0 {
            let row = self.waiting[at] as usize;
            self.is_waiting[row] = false;
            at += 1;
            left -= 1;
            let content = &form.rows[row];
            let logical = form.width() + row;
            let tight = self.low[logical] == 0.0 && self.high[logical] == 0.0;
            let done = self.narrow_by(&content.terms, content.right, 1.0);
            let done = done.and_then(|()| {
                if content.relation == Relation::Equal || tight {
                    self.narrow_by(&content.terms, content.right, -1.0)
                } else {
                    Ok(())
                }
            });
            if done.is_err() {
                self.forget();
                return Err(Impossible);
            }
        }
        self.forget();
        Ok(())
    }

    fn narrow_by(&mut self, terms: &[(u32, f64)], right: f64, sign: f64) -> Result<(), Impossible> {
        let mut least = 0.0;
        let mut largest = 0.0_f64;
        for &(j, c) in terms {
            let c = sign * c;
            let (low, high) = (self.low[j as usize], self.high[j as usize]);
            least += if c > 0.0 { c * low } else { c * high };
            largest = largest.max(c.abs() * (high - low));
        }
        let room = sign * right - least;
        let loose = 1e-7 * (1.0 + right.abs());
        if room < -loose {
            return Err(Impossible);
        }
        if largest <= room + loose {
            return Ok(());
        }
        for &(j, c) in terms {
            let at = j as usize;
            let c = sign * c;
            let (low, high) = (self.low[at], self.high[at]);
            if !self.form.whole[at] || high <= low || c.abs() * (high - low) <= room + loose {
                continue;
            }
            let steps = (room.max(0.0) / c.abs() + 1e-6).floor();
            if c > 0.0 && low + steps < high {
                self.narrow((j, low, low + steps))?;
            } else if c < 0.0 && high - steps > low {
                self.narrow((j, high - steps, high))?;
            }
        }
        Ok(())
    }
}
