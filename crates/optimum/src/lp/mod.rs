//! Linear relaxations by a dual simplex method that goes on from the last basis when bounds change.

mod factor;
mod ratio;
mod simplex;
mod sparse;

pub(crate) use simplex::{Basis, Mark, Outcome, Prices, Simplex};
pub(crate) use sparse::{Sparse, narrow};

use crate::model::Relation;

/// A linear program to be minimized. Each row has a logical variable that makes it an equation:
/// row × x + logical = right.
#[derive(Debug, Clone)]
pub(crate) struct Lp {
    pub(crate) cost: Vec<f64>,
    pub(crate) columns: Sparse,
    pub(crate) rows: Sparse,
    pub(crate) right: Vec<f64>,
    /// Bounds of the variables, then of the logicals.
    pub(crate) low: Vec<f64>,
    pub(crate) high: Vec<f64>,
}

/// One row as it is handed in.
#[derive(Debug, Clone)]
pub(crate) struct LpRow {
    pub(crate) terms: Vec<(u32, f64)>,
    pub(crate) relation: Relation,
    pub(crate) right: f64,
}

impl Lp {
    pub(crate) fn new(cost: Vec<f64>, bounds: &[(f64, f64)], rows: &[LpRow]) -> Lp {
        let by_row = Sparse::from_lists(rows.iter().map(|row| row.terms.as_slice()));
        let logical = |row: &LpRow| match row.relation {
            Relation::AtMost => (0.0, f64::INFINITY),
            Relation::AtLeast => (f64::NEG_INFINITY, 0.0),
            Relation::Equal => (0.0, 0.0),
        };
        let all: Vec<(f64, f64)> = bounds
            .iter()
            .copied()
            .chain(rows.iter().map(logical))
            .collect();
        Lp {
            columns: by_row.transposed(cost.len()),
            rows: by_row,
            right: rows.iter().map(|row| row.right).collect(),
            low: all.iter().map(|bounds| bounds.0).collect(),
            high: all.iter().map(|bounds| bounds.1).collect(),
            cost,
        }
    }

    /// How many variables there are, without logicals.
    pub(crate) fn variables(&self) -> usize {
        self.cost.len()
    }

    /// How many rows there are.
    pub(crate) fn height(&self) -> usize {
        self.right.len()
    }
}
