//! A bound and reduced costs from the linear relaxation, valid whatever the solver's rounding.

use std::time::Duration;

use crate::model::{Model, Relation, Row, Sense};
use crate::solve::{Settings, solve_whole};

/// What the relaxation says about a model, in the sense of minimizing.
pub(crate) struct Relaxation {
    /// No solution costs less.
    pub(crate) bound: f64,
    /// What one unit of each variable adds to the cost at the relaxation's prices.
    pub(crate) reduced: Vec<f64>,
}

/// Solves the dual as a linear model of its own. Any prices of the right sign give a valid bound, so after clipping
/// the signs nothing here has to be believed.
pub(crate) fn relax(model: &Model, time_limit: Option<Duration>) -> Option<Relaxation> {
    let prices = dual_prices(model, time_limit)?;
    let mut reduced: Vec<f64> = model
        .columns
        .iter()
        .map(|c| cost(model, c.objective))
        .collect();
    let mut bound = 0.0;
    for (row, price) in model.rows.iter().zip(&prices) {
        bound += row.right * price;
        for &(index, coefficient) in &row.terms {
            reduced[index] -= price * coefficient;
        }
    }
    for (column, &r) in model.columns.iter().zip(&reduced) {
        let at = if r >= 0.0 { column.low } else { column.high };
        if r != 0.0 {
            bound += r * at;
        }
    }
    bound.is_finite().then_some(Relaxation { bound, reduced })
}

fn cost(model: &Model, objective: f64) -> f64 {
    match model.sense {
        Sense::Minimize => objective,
        Sense::Maximize => -objective,
    }
}

fn dual_prices(model: &Model, time_limit: Option<Duration>) -> Option<Vec<f64>> {
    let dual = dual_of(model)?;
    let settings = Settings {
        time_limit,
        ..Settings::default()
    };
    let solution = solve_whole(&dual, &settings).ok()?;
    let prices = model.rows.iter().zip(&solution.values);
    Some(prices.map(|(row, &price)| clip(row, price)).collect())
}

fn clip(row: &Row, price: f64) -> f64 {
    match row.relation {
        Relation::AtLeast => price.max(0.0),
        Relation::AtMost => price.min(0.0),
        Relation::Equal => price,
    }
}

/// One price per row; for each column `prices · column - upper <= cost`, with variables counted from their low bound.
fn dual_of(model: &Model) -> Option<Model> {
    let mut dual = Model::new(Sense::Maximize);
    let endless = f64::INFINITY;
    let mut columns: Vec<Vec<(crate::Var, f64)>> = vec![Vec::new(); model.columns.len()];
    for row in &model.rows {
        let moved: f64 = row
            .terms
            .iter()
            .map(|&(index, c)| c * model.columns[index].low)
            .sum();
        let signs = match row.relation {
            Relation::AtLeast => (0.0, endless),
            Relation::AtMost => (-endless, 0.0),
            Relation::Equal => (-endless, endless),
        };
        let price = dual.real(&row.name, signs, row.right - moved);
        for &(index, coefficient) in &row.terms {
            columns[index].push((price, coefficient));
        }
    }
    for (column, mut terms) in model.columns.iter().zip(columns) {
        if column.fixed() {
            // whatever its price, it stays
            continue;
        }
        if !column.low.is_finite() {
            return None;
        }
        if column.high.is_finite() {
            let upper = dual.real("", (0.0, endless), column.low - column.high);
            terms.push((upper, -1.0));
        }
        let right = cost(model, column.objective);
        dual.row(&column.name, terms, Relation::AtMost, right);
    }
    Some(dual)
}
