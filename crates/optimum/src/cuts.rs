//! Cutting planes at the root: rows that every whole solution keeps and the relaxation does not.
//!
//! A row of the simplex tableau is a sum of rows of the model; with variables counted from the bound at which they are,
//! rounding its coefficients gives a row that whole solutions keep (Gomory's mixed-integer cut). Where rounding of numbers
//! could spoil that, the cut is left out.

use crate::form::Form;
use crate::lp::{LpRow, Simplex, narrow};
use crate::model::Relation;
use crate::tree::WHOLE;

/// A cut must be violated by this much, measured by its length.
const EFFECT: f64 = 1e-3;

/// Largest against smallest coefficient.
const SPREAD: f64 = 1e5;

/// Fractions nearer to a whole number are not rounded.
const NEARLY_WHOLE: f64 = 0.02;

/// Cuts of one round.
const MOST: usize = 60;

/// Tableau rows looked at in one round.
const LOOKED_AT: usize = 150;

/// Cosine between two cuts above which the weaker one is left out.
const ALIKE: f64 = 0.9;

struct Cut {
    row: LpRow,
    effect: f64,
}

/// Cuts that the present solution of the relaxation breaks, strongest first.
pub(crate) fn cuts(form: &Form, simplex: &Simplex) -> Vec<LpRow> {
    let values = simplex.values();
    let mut fractional: Vec<(f64, usize)> = (0..form.width())
        .filter(|&j| form.whole[j] && simplex.is_basic(j))
        .map(|j| ((values[j] - values[j].floor() - 0.5).abs(), j))
        .filter(|&(off, _)| off < 0.5 - WHOLE.max(NEARLY_WHOLE))
        .collect();
    fractional.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    let mut found: Vec<Cut> = Vec::new();
    for (_, j) in fractional.into_iter().take(LOOKED_AT) {
        if let Some(position) = simplex.position(j) {
            let weights = simplex.inverse_row(position);
            found.extend(
                Rounding {
                    form,
                    simplex,
                    values: &values,
                }
                .cut(&weights),
            );
        }
    }
    found.sort_by(|a, b| b.effect.total_cmp(&a.effect));
    let mut chosen: Vec<LpRow> = Vec::new();
    let mut spread = vec![0.0; form.width()];
    for cut in found {
        if chosen.len() >= MOST {
            break;
        }
        if chosen
            .iter()
            .all(|other| cosine(&cut.row, other, &mut spread) < ALIKE)
        {
            chosen.push(cut.row);
        }
    }
    chosen
}

fn cosine(one: &LpRow, other: &LpRow, spread: &mut [f64]) -> f64 {
    for &(j, c) in &one.terms {
        spread[j as usize] = c;
    }
    let dot: f64 = other
        .terms
        .iter()
        .map(|&(j, c)| c * spread[j as usize])
        .sum();
    for &(j, _) in &one.terms {
        spread[j as usize] = 0.0;
    }
    dot / (length(one) * length(other)).max(1e-12)
}

fn length(row: &LpRow) -> f64 {
    row.terms
        .iter()
        .map(|term| term.1 * term.1)
        .sum::<f64>()
        .sqrt()
}

struct Rounding<'r> {
    form: &'r Form,
    simplex: &'r Simplex,
    values: &'r [f64],
}

impl Rounding<'_> {
    /// The cut from the model's rows added up with these weights.
    fn cut(&self, weights: &[f64]) -> Option<Cut> {
        let n = self.form.width();
        let mut sum = vec![0.0; n];
        let mut right = 0.0;
        for (row, &weight) in weights.iter().enumerate() {
            if weight.abs() > 1e-11 {
                right += weight * self.simplex.lp.right[row];
                for &(j, c) in self.simplex.lp.rows.list(row) {
                    sum[j as usize] += weight * c;
                }
            }
        }
        // count every variable from the bound at which it is; `flipped` where that is the high one
        let mut shifted = right;
        for (j, &c) in sum.iter().enumerate() {
            if c != 0.0 {
                let at = if self.is_from_high(j) {
                    self.form.high[j]
                } else {
                    self.form.low[j]
                };
                shifted -= c * at;
            }
        }
        let f0 = shifted - shifted.floor();
        if !(NEARLY_WHOLE..=1.0 - NEARLY_WHOLE).contains(&f0) {
            return None;
        }
        // sum of coefficient × distance from the bound >= 1, then back to the variables themselves
        let mut cut = vec![0.0; n];
        let mut least = 1.0;
        for (j, &c) in sum.iter().enumerate() {
            if c.abs() < 1e-12 {
                continue;
            }
            let flipped = self.is_from_high(j);
            let away = if flipped { -c } else { c };
            let rounded = if self.form.whole[j] {
                whole_part(away, f0)
            } else {
                real_part(away, f0)
            };
            if flipped {
                cut[j] -= rounded;
                least -= rounded * self.form.high[j];
            } else {
                cut[j] += rounded;
                least += rounded * self.form.low[j];
            }
        }
        for (row, &weight) in weights.iter().enumerate() {
            if weight.abs() > 1e-11 {
                self.add_logical(row, weight, f0, &mut cut, &mut least);
            }
        }
        self.cleaned(&cut, least)
    }

    fn is_from_high(&self, j: usize) -> bool {
        if self.simplex.is_basic(j) {
            self.form.high[j] - self.values[j] < self.values[j] - self.form.low[j]
        } else {
            self.simplex.at_high(j)
        }
    }

    /// The logical of a row is its right side less its sum.
    fn add_logical(&self, row: usize, weight: f64, f0: f64, cut: &mut [f64], least: &mut f64) {
        let logical = self.form.width() + row;
        let (low, high) = (self.simplex.lp.low[logical], self.simplex.lp.high[logical]);
        if low == high {
            return;
        }
        // at least 0 or at most 0
        let sign = if low == 0.0 { 1.0 } else { -1.0 };
        let rounded = sign * real_part(sign * weight, f0);
        *least -= rounded * self.simplex.lp.right[row];
        for &(j, c) in self.simplex.lp.rows.list(row) {
            cut[j as usize] -= rounded * c;
        }
    }

    /// Drops what is too small to matter, and the whole cut if it is too long, too uneven or hardly violated.
    fn cleaned(&self, cut: &[f64], mut least: f64) -> Option<Cut> {
        let largest = cut.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
        if largest < 1e-9 || !largest.is_finite() {
            return None;
        }
        let mut terms = Vec::new();
        for (j, &c) in cut.iter().enumerate() {
            if c.abs() >= largest / SPREAD {
                terms.push((narrow(j), c));
            } else if c != 0.0 {
                // at the bound that makes the rest ask for the least
                least -= if c > 0.0 {
                    c * self.form.high[j]
                } else {
                    c * self.form.low[j]
                };
            }
        }
        if terms.len() > 1000 + self.form.width() {
            return None;
        }
        let right = least - 1e-9 * (1.0 + least.abs());
        let sum: f64 = terms
            .iter()
            .map(|&(j, c)| c * self.values[j as usize])
            .sum();
        let factor = (-largest.log2().round()).exp2();
        let row = LpRow {
            terms: terms.iter().map(|&(j, c)| (j, c * factor)).collect(),
            relation: Relation::AtLeast,
            right: right * factor,
        };
        let effect = (right - sum) * factor / length(&row);
        (effect > EFFECT).then_some(Cut { row, effect })
    }
}

/// For a whole variable, with the right side's fraction `f0`.
fn whole_part(c: f64, f0: f64) -> f64 {
    let f = c - c.floor();
    (f / f0).min((1.0 - f) / (1.0 - f0))
}

/// For any other variable that is at least 0.
fn real_part(c: f64, f0: f64) -> f64 {
    if c >= 0.0 { c / f0 } else { -c / (1.0 - f0) }
}
