//! Solving: the call of the solver, the check of what it returns, the bound.

use std::fmt;
use std::time::Duration;

use microlp::{
    ComparisonOp, OptimizationDirection, Problem, SolveOptions, SolveOutcome, TerminationReason,
    Variable,
};

use crate::model::{Column, Model, Relation, Sense};
use crate::sift;

/// How far a whole variable may be from a whole number. Tight, because it is multiplied by prices in cents.
const WHOLE: f64 = 1e-9;

/// Limits of a solve.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// Give up proving after so long and return the best found, with its bound.
    pub time_limit: Option<Duration>,
    /// Give up after so many nodes of the search; unlike time, the same on every machine.
    pub node_limit: Option<u64>,
    /// Values of a known solution, from which to begin.
    pub start: Option<Vec<f64>>,
    /// Solve large models by sifting: fix what a relaxation shows cannot matter, and prove that it could not.
    pub sift: bool,
}

/// A solution that keeps every row, and what is known about how good it is.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Value of each variable, whole where it must be.
    pub values: Vec<f64>,
    /// The objective there.
    pub objective: f64,
    /// No solution is better than this.
    pub bound: f64,
    /// The objective equals the bound.
    pub proven: bool,
    /// Nodes of the search.
    pub nodes: u64,
}

/// Why there is no solution.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Error {
    /// No values keep all rows.
    Infeasible,
    /// The objective can improve without end.
    Unbounded,
    /// A limit was reached before any solution was found.
    LimitReached,
    /// The solver failed, or its answer did not stand up to the check.
    Unreliable(String),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Infeasible => f.write_str("no solution keeps all the limits; loosen one"),
            Error::Unbounded => f.write_str("the objective has no end; a limit is missing"),
            Error::LimitReached => {
                f.write_str("no solution was found in the time given; allow more")
            }
            Error::Unreliable(what) => write!(f, "the solver's answer cannot be relied on: {what}"),
        }
    }
}

impl std::error::Error for Error {}

impl Solution {
    /// The value of a variable.
    pub fn value(&self, var: crate::Var) -> f64 {
        self.values[var.0]
    }

    /// Whether a yes-or-no variable is yes.
    pub fn chosen(&self, var: crate::Var) -> bool {
        self.values[var.0] > 0.5
    }
}

impl Model {
    /// Solves the model.
    ///
    /// # Errors
    /// If no values keep the rows, the objective has no end, a limit was reached before any solution was found, or the
    /// solver's answer breaks a row.
    pub fn solve(&self, settings: &Settings) -> Result<Solution, Error> {
        if settings.sift {
            sift::solve(self, settings)
        } else {
            solve_whole(self, settings)
        }
    }
}

/// Solves the model as it is, by branch and bound.
pub(crate) fn solve_whole(model: &Model, settings: &Settings) -> Result<Solution, Error> {
    let Built {
        problem,
        variables,
        broken,
    } = build(model);
    if broken {
        return Err(Error::Infeasible);
    }
    let mut options = SolveOptions::default();
    options.int_tol = WHOLE;
    options.time_limit = settings.time_limit;
    options.node_limit = settings.node_limit;
    options.warm_start = settings
        .start
        .as_ref()
        .map(|start| hint(model, &variables, start));
    let outcome = problem.solve_with(options).map_err(translate)?;
    read(model, &variables, &outcome)
}

/// Whether values that came from somewhere else are a solution of `model`.
pub(crate) fn accept(model: &Model, values: Vec<f64>, bound: f64) -> Result<Solution, Error> {
    if let Some(broken) = model.broken_at(&values) {
        return Err(Error::Unreliable(broken));
    }
    Ok(Solution {
        objective: model.objective_at(&values),
        values,
        bound,
        proven: false,
        nodes: 0,
    })
}

/// The solver's problem. Fixed variables are not in it.
struct Built {
    problem: Problem,
    variables: Vec<Option<Variable>>,
    /// The fixed variables alone break a row.
    broken: bool,
}

fn build(model: &Model) -> Built {
    let mut problem = Problem::new(match model.sense {
        Sense::Minimize => OptimizationDirection::Minimize,
        Sense::Maximize => OptimizationDirection::Maximize,
    });
    let variables: Vec<Option<Variable>> = model
        .columns
        .iter()
        .map(|column| (!column.fixed()).then(|| add_column(&mut problem, column)))
        .collect();
    for (column, variable) in model.columns.iter().zip(&variables) {
        if let Some(variable) = variable {
            add_twin(&mut problem, column, *variable);
        }
    }
    let mut broken = false;
    for row in &model.rows {
        let mut right = row.right;
        let mut terms = Vec::new();
        for &(index, coefficient) in &row.terms {
            match variables[index] {
                Some(variable) => terms.push((variable, coefficient)),
                None => right -= coefficient * model.columns[index].low,
            }
        }
        if terms.is_empty() {
            broken |= !row.relation.holds(0.0, right);
        } else {
            problem.add_constraint(terms, comparison(row.relation), right);
        }
    }
    Built {
        problem,
        variables,
        broken,
    }
}

fn comparison(relation: Relation) -> ComparisonOp {
    match relation {
        Relation::AtMost => ComparisonOp::Le,
        Relation::AtLeast => ComparisonOp::Ge,
        Relation::Equal => ComparisonOp::Eq,
    }
}

fn add_column(problem: &mut Problem, column: &Column) -> Variable {
    let cost = column.objective + column.priority;
    if !column.whole {
        return problem.add_var(cost, (column.low, column.high));
    }
    #[expect(
        clippy::cast_possible_truncation,
        reason = "bounds of whole variables come from i32"
    )]
    let bounds = (column.low as i32, column.high as i32);
    if bounds == (0, 1) {
        problem.add_binary_var(cost)
    } else {
        problem.add_integer_var(cost, bounds)
    }
}

/// The solver branches first on what has a large cost. A twin that must equal the variable takes the added cost back.
fn add_twin(problem: &mut Problem, column: &Column, variable: Variable) {
    if column.priority != 0.0 {
        let twin = problem.add_var(-column.priority, (column.low, column.high));
        problem.add_constraint([(variable, 1.0), (twin, -1.0)], ComparisonOp::Eq, 0.0);
    }
}

fn hint(model: &Model, variables: &[Option<Variable>], start: &[f64]) -> Vec<(Variable, f64)> {
    let columns = model.columns.iter().zip(variables.iter().zip(start));
    columns
        .filter(|(column, _)| column.whole)
        .filter_map(|(_, (&variable, &value))| Some((variable?, value)))
        .collect()
}

fn read(
    model: &Model,
    variables: &[Option<Variable>],
    outcome: &SolveOutcome,
) -> Result<Solution, Error> {
    let stats = outcome.stats();
    let solution = outcome.solution().ok_or(Error::LimitReached)?;
    let values: Vec<f64> = model
        .columns
        .iter()
        .zip(variables)
        .map(|(column, variable)| {
            let value = variable.map_or(column.low, |variable| solution.var_value(variable));
            if column.whole { value.round() } else { value }
        })
        .collect();
    let settled = model.columns.iter().filter(|column| column.fixed());
    let settled: f64 = settled.map(|column| column.objective * column.low).sum();
    let mut result = accept(model, values, f64::NAN)?;
    result.nodes = stats.nodes_solved;
    result.proven = outcome.termination_reason() == TerminationReason::ProvenOptimal;
    result.bound = match stats.best_bound {
        _ if result.proven => result.objective,
        Some(bound) => bound + settled,
        None => open_end(model.sense),
    };
    Ok(result)
}

/// The bound when nothing is known.
pub(crate) fn open_end(sense: Sense) -> f64 {
    match sense {
        Sense::Minimize => f64::NEG_INFINITY,
        Sense::Maximize => f64::INFINITY,
    }
}

fn translate(error: microlp::Error) -> Error {
    match error {
        microlp::Error::Infeasible => Error::Infeasible,
        microlp::Error::Unbounded => Error::Unbounded,
        other => Error::Unreliable(other.to_string()),
    }
}
