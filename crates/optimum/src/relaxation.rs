//! A bound and reduced costs from the linear relaxation, valid whatever the solver's rounding.

use std::time::{Duration, Instant};

use crate::model::{Model, Relation, Row, Sense};
use crate::solve::{Settings, solve_whole};

/// Variables that the first prices look at, and that each further round adds.
const STEP: usize = 400;

/// Rounds of pricing at most. Prices that leave some variable out are still valid, only less sharp.
const ROUNDS: usize = 25;

/// A reduced cost below this does not move the bound.
const TINY: f64 = 1e-7;

/// What the relaxation says about a model, in the sense of minimizing.
pub(crate) struct Relaxation {
    /// No solution costs less.
    pub(crate) bound: f64,
    /// What one unit of each variable adds to the cost at the relaxation's prices.
    pub(crate) reduced: Vec<f64>,
}

/// Prices the rows by the dual, solved as a linear model of its own. Any prices of the right sign give a valid bound, so
/// after clipping the signs nothing here has to be believed. A large model is priced by a part of its variables, and
/// those that the prices would still want are added until there are none.
pub(crate) fn relax(
    model: &Model,
    start: Option<&[f64]>,
    time_limit: Option<Duration>,
) -> Option<Relaxation> {
    let started = Instant::now();
    let left = || time_limit.map(|limit| limit.saturating_sub(started.elapsed()));
    let mut looked_at = first_part(model, start);
    let mut best: Option<Relaxation> = None;
    for _ in 0..ROUNDS {
        let Some(prices) = dual_prices(model, &looked_at, left()) else { break };
        let found = relaxation_at(model, &prices);
        let wanted = add_wanted(model, &found.reduced, &mut looked_at);
        let sharper = best.as_ref().is_none_or(|best| found.bound > best.bound);
        if sharper && found.bound.is_finite() {
            best = Some(found);
        }
        if !wanted || left().is_some_and(|left| left.is_zero()) {
            return best;
        }
    }
    if best.is_none() && looked_at.contains(&false) {
        // a part of the variables may have no solution where the whole has one
        let everything = vec![true; model.columns.len()];
        let prices = dual_prices(model, &everything, left())?;
        return Some(relaxation_at(model, &prices)).filter(|found| found.bound.is_finite());
    }
    best
}

/// The variables of the known solution, and the most promising ones.
fn first_part(model: &Model, start: Option<&[f64]>) -> Vec<bool> {
    let open: Vec<usize> = (0..model.columns.len()).filter(|&c| !model.columns[c].fixed()).collect();
    if open.len() <= 2 * STEP {
        return vec![true; model.columns.len()];
    }
    let mut looked_at = vec![false; model.columns.len()];
    for &column in &open {
        let used = start.is_some_and(|start| start[column] != model.columns[column].low);
        looked_at[column] = used || !model.columns[column].whole;
    }
    let mut promising = open;
    promising.sort_by(|&a, &b| {
        let cost = |column: usize| cost(model, model.columns[column].objective);
        cost(a).total_cmp(&cost(b))
    });
    // both ends: what gains most by itself, and what costs, for that is what makes others possible
    let ends = promising.iter().take(STEP / 2).chain(promising.iter().rev().take(STEP));
    for &column in ends {
        looked_at[column] = true;
    }
    looked_at
}

/// Adds the variables that the prices want most; whether there were any.
fn add_wanted(model: &Model, reduced: &[f64], looked_at: &mut [bool]) -> bool {
    let mut wanted: Vec<usize> = (0..reduced.len())
        .filter(|&c| !looked_at[c] && !model.columns[c].fixed() && reduced[c] < -TINY)
        .collect();
    wanted.sort_by(|&a, &b| reduced[a].total_cmp(&reduced[b]));
    for &column in wanted.iter().take(STEP) {
        looked_at[column] = true;
    }
    !wanted.is_empty()
}

fn relaxation_at(model: &Model, prices: &[f64]) -> Relaxation {
    let mut reduced: Vec<f64> = model.columns.iter().map(|c| cost(model, c.objective)).collect();
    let mut bound = 0.0;
    for (row, price) in model.rows.iter().zip(prices) {
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
    Relaxation { bound, reduced }
}

fn cost(model: &Model, objective: f64) -> f64 {
    match model.sense {
        Sense::Minimize => objective,
        Sense::Maximize => -objective,
    }
}

fn dual_prices(model: &Model, looked_at: &[bool], time_limit: Option<Duration>) -> Option<Vec<f64>> {
    let dual = dual_of(model, looked_at)?;
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

/// One price per row; for each column looked at `prices · column - upper <= cost`, with variables counted from their
/// low bound.
fn dual_of(model: &Model, looked_at: &[bool]) -> Option<Model> {
    let mut dual = Model::new(Sense::Maximize);
    let endless = f64::INFINITY;
    let mut columns: Vec<Vec<(crate::Var, f64)>> = vec![Vec::new(); model.columns.len()];
    for row in &model.rows {
        let low = |&(index, c): &(usize, f64)| c * model.columns[index].low;
        let moved: f64 = row.terms.iter().map(low).sum();
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
    for (index, (column, mut terms)) in model.columns.iter().zip(columns).enumerate() {
        if column.fixed() || !looked_at[index] {
            // a fixed variable stays, whatever its price
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
