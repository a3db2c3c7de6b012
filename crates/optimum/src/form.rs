//! The form in which a model is searched: costs to be minimized, few rows, narrow bounds.
//!
//! What is done to get there keeps all solutions that can be best: rows that always hold go, bounds are narrowed to what
//! the rows allow, variables with one value left go, coefficients that say too little are made to say more.

use crate::lp::{LpRow, narrow};
use crate::model::{Model, Relation, Sense};

/// What counts as equal in sums of coefficients.
const NEAR: f64 = 1e-9;

/// Variables without a bound are held within this; a solution that gets there has no end.
pub(crate) const ENDLESS: f64 = 1e9;

/// Rounds over all rows at most.
const ROUNDS: usize = 10;

/// A model ready for the search.
#[derive(Debug, Clone)]
pub(crate) struct Form {
    pub(crate) cost: Vec<f64>,
    pub(crate) low: Vec<f64>,
    pub(crate) high: Vec<f64>,
    pub(crate) whole: Vec<bool>,
    pub(crate) rows: Vec<LpRow>,
    /// Cost of what is no longer in it.
    pub(crate) constant: f64,
}

/// A smaller form, and where its variables were in the larger one.
pub(crate) struct Smaller {
    pub(crate) form: Form,
    /// For each variable of the larger form its position in the smaller one, or its value.
    pub(crate) from: Vec<Result<usize, f64>>,
}

/// No values keep the rows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Impossible;

impl Form {
    /// The model as it is written.
    pub(crate) fn of(model: &Model) -> Form {
        let sign = match model.sense {
            Sense::Minimize => 1.0,
            Sense::Maximize => -1.0,
        };
        let columns = || model.columns.iter();
        Form {
            cost: columns().map(|column| sign * column.objective).collect(),
            low: columns().map(|column| column.low.max(-ENDLESS)).collect(),
            high: columns().map(|column| column.high.min(ENDLESS)).collect(),
            whole: columns().map(|column| column.whole).collect(),
            rows: model
                .rows
                .iter()
                .map(|row| LpRow {
                    terms: row.terms.iter().map(|&(j, c)| (narrow(j), c)).collect(),
                    relation: row.relation,
                    right: row.right,
                })
                .collect(),
            constant: 0.0,
        }
    }

    pub(crate) fn width(&self) -> usize {
        self.cost.len()
    }

    pub(crate) fn is_binary(&self, j: usize) -> bool {
        self.whole[j] && self.low[j] >= 0.0 && self.high[j] <= 1.0
    }

    /// The cost of values, all included.
    pub(crate) fn cost_of(&self, values: &[f64]) -> f64 {
        let sum: f64 = self.cost.iter().zip(values).map(|(c, x)| c * x).sum();
        sum + self.constant
    }

    /// Whether values keep all rows and bounds, within rounding.
    pub(crate) fn allows(&self, values: &[f64]) -> bool {
        let inside = (0..self.width()).all(|j| {
            let loose = 1e-7 * (1.0 + values[j].abs());
            values[j] >= self.low[j] - loose && values[j] <= self.high[j] + loose
        });
        inside
            && self.rows.iter().all(|row| {
                let parts = row.terms.iter().map(|&(j, c)| c * values[j as usize]);
                let (sum, size) = parts.fold((0.0, row.right.abs()), |(sum, size), part| {
                    (sum + part, size + part.abs())
                });
                let loose = 1e-7 + 1e-9 * size;
                match row.relation {
                    Relation::AtMost => sum <= row.right + loose,
                    Relation::AtLeast => sum >= row.right - loose,
                    Relation::Equal => (sum - row.right).abs() <= loose,
                }
            })
    }

    /// Makes the form smaller as long as that goes on.
    pub(crate) fn smaller(mut self) -> Result<Smaller, Impossible> {
        for row in &mut self.rows {
            if row.relation == Relation::AtLeast {
                turn(row);
            }
        }
        let mut kept = vec![true; self.rows.len()];
        for _ in 0..ROUNDS {
            let mut changed = false;
            for at in (0..self.rows.len())
                .filter(|&at| kept[at])
                .collect::<Vec<_>>()
            {
                changed |= self.tighten(at, &mut kept[at])?;
            }
            changed |= self.fix_by_cost(&kept);
            if !changed {
                break;
            }
        }
        Ok(self.rebuilt(&kept))
    }

    /// Narrows bounds by one row, and drops the row if it always holds.
    fn tighten(&mut self, at: usize, kept: &mut bool) -> Result<bool, Impossible> {
        let mut row = std::mem::replace(
            &mut self.rows[at],
            LpRow {
                terms: Vec::new(),
                relation: Relation::AtMost,
                right: 0.0,
            },
        );
        let mut changed = self.narrow_by(&row.terms, row.right, 1.0)?;
        if row.relation == Relation::Equal {
            changed |= self.narrow_by(&row.terms, row.right, -1.0)?;
        }
        let (least, most) = self.activity(&row.terms);
        let loose = NEAR * (1.0 + row.right.abs());
        let always = match row.relation {
            Relation::Equal => (most - least).abs() <= loose,
            _ => most <= row.right + loose,
        };
        if always {
            *kept = false;
            changed = true;
        } else if row.relation == Relation::AtMost {
            changed |= self.sharpen(&mut row, most);
        }
        self.rows[at] = row;
        Ok(changed)
    }

    fn activity(&self, terms: &[(u32, f64)]) -> (f64, f64) {
        terms.iter().fold((0.0, 0.0), |(least, most), &(j, c)| {
            let (low, high) = (c * self.low[j as usize], c * self.high[j as usize]);
            (least + low.min(high), most + low.max(high))
        })
    }

    /// Bounds that follow from sign × terms <= sign × right.
    fn narrow_by(
        &mut self,
        terms: &[(u32, f64)],
        right: f64,
        sign: f64,
    ) -> Result<bool, Impossible> {
        let (least, most) = self.activity(terms);
        let least = if sign > 0.0 { least } else { -most };
        let room = sign * right - least;
        let loose = 1e-7 * (1.0 + right.abs());
        if room < -loose {
            return Err(Impossible);
        }
        let mut changed = false;
        for &(j, c) in terms {
            let (j, c) = (j as usize, sign * c);
            let range = self.high[j] - self.low[j];
            if range <= 0.0 || c.abs() * range <= room + loose {
                continue;
            }
            let reach = room.max(0.0) / c.abs();
            if self.whole[j] {
                let steps = (reach + 1e-6).floor();
                if c > 0.0 && self.low[j] + steps < self.high[j] {
                    self.high[j] = self.low[j] + steps;
                    changed = true;
                } else if c < 0.0 && self.high[j] - steps > self.low[j] {
                    self.low[j] = self.high[j] - steps;
                    changed = true;
                }
            }
        }
        Ok(changed)
    }

    /// A yes-or-no variable whose "no" makes a row idle: its coefficient is lowered until that is barely so.
    fn sharpen(&self, row: &mut LpRow, most: f64) -> bool {
        let mut most = most;
        let mut changed = false;
        for (j, c) in &mut row.terms {
            let at = *j as usize;
            if !self.whole[at] || self.high[at] - self.low[at] != 1.0 {
                continue;
            }
            let spare = row.right - (most - c.abs());
            if spare <= 1e-6 * (1.0 + row.right.abs()) || spare >= c.abs() - NEAR {
                continue;
            }
            // with the variable at its idle bound the row cannot bind
            if *c > 0.0 {
                *c -= spare;
                row.right -= spare * self.high[at];
                most -= spare * self.high[at];
            } else {
                *c += spare;
                row.right += spare * self.low[at];
                most += spare * self.low[at];
            }
            changed = true;
        }
        changed
    }

    /// Variables that no row wants away from their cheap bound stay there.
    fn fix_by_cost(&mut self, kept: &[bool]) -> bool {
        let mut up = vec![0_u32; self.width()];
        let mut down = vec![0_u32; self.width()];
        for (row, _) in self.rows.iter().zip(kept).filter(|(_, kept)| **kept) {
            for &(j, c) in &row.terms {
                let j = j as usize;
                let equal = row.relation == Relation::Equal;
                up[j] += u32::from(equal || c > 0.0);
                down[j] += u32::from(equal || c < 0.0);
            }
        }
        let mut changed = false;
        for j in 0..self.width() {
            if self.low[j] >= self.high[j] {
                continue;
            }
            if self.cost[j] >= 0.0 && down[j] == 0 && self.low[j] > -ENDLESS {
                self.high[j] = self.low[j];
                changed = true;
            } else if self.cost[j] <= 0.0 && up[j] == 0 && self.high[j] < ENDLESS {
                self.low[j] = self.high[j];
                changed = true;
            }
        }
        changed
    }

    fn rebuilt(self, kept: &[bool]) -> Smaller {
        let mut from = Vec::with_capacity(self.width());
        let mut form = Form {
            cost: Vec::new(),
            low: Vec::new(),
            high: Vec::new(),
            whole: Vec::new(),
            rows: Vec::new(),
            constant: self.constant,
        };
        for j in 0..self.width() {
            if self.low[j] >= self.high[j] {
                form.constant += self.cost[j] * self.low[j];
                from.push(Err(self.low[j]));
            } else {
                from.push(Ok(form.cost.len()));
                form.cost.push(self.cost[j]);
                form.low.push(self.low[j]);
                form.high.push(self.high[j]);
                form.whole.push(self.whole[j]);
            }
        }
        for (row, _) in self.rows.into_iter().zip(kept).filter(|(_, kept)| **kept) {
            let mut right = row.right;
            let mut terms = Vec::with_capacity(row.terms.len());
            for (j, c) in row.terms {
                match from[j as usize] {
                    Ok(at) => terms.push((narrow(at), c)),
                    Err(value) => right -= c * value,
                }
            }
            if !terms.is_empty() {
                form.rows.push(scaled(LpRow {
                    terms,
                    relation: row.relation,
                    right,
                }));
            }
        }
        Smaller { form, from }
    }
}

impl Smaller {
    /// Values of the larger form from values of the smaller one.
    pub(crate) fn enlarge(&self, values: &[f64]) -> Vec<f64> {
        let value = |from: &Result<usize, f64>| match *from {
            Ok(at) => values[at],
            Err(value) => value,
        };
        self.from.iter().map(value).collect()
    }

    /// Values of the smaller form, if those of the larger one agree with what was settled.
    pub(crate) fn shrink(&self, values: &[f64]) -> Option<Vec<f64>> {
        let mut small = vec![0.0; self.form.width()];
        for (from, &value) in self.from.iter().zip(values) {
            match *from {
                Ok(at) => small[at] = value,
                Err(settled) if (settled - value).abs() > 1e-6 => return None,
                Err(_) => {}
            }
        }
        Some(small)
    }
}

fn turn(row: &mut LpRow) {
    for term in &mut row.terms {
        term.1 = -term.1;
    }
    row.right = -row.right;
    row.relation = Relation::AtMost;
}

/// Multiplied by a power of two so that the largest coefficient is near one.
fn scaled(mut row: LpRow) -> LpRow {
    let largest = row
        .terms
        .iter()
        .fold(0.0_f64, |most, term| most.max(term.1.abs()));
    let factor = (-largest.log2().round()).exp2();
    if factor.is_finite() && factor != 1.0 {
        for term in &mut row.terms {
            term.1 *= factor;
        }
        row.right *= factor;
    }
    row
}
