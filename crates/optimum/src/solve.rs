//! Solving: the call of the solver, the check of what it returns, the bound.

use std::fmt;
use std::time::Duration;

use crate::form::{ENDLESS, Form};
use crate::limits::Limits;
use crate::mip::search;
use crate::model::{Model, Sense};
use crate::tree::Best;

/// Limits of a solve.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// Give up proving after so long and return the best found, with its bound.
    pub time_limit: Option<Duration>,
    /// Give up after so many nodes of the search; unlike time, the same on every machine.
    pub node_limit: Option<u64>,
    /// What is better by no more than this need not be found; 0 for nothing but rounding.
    pub gap: f64,
    /// Values of a known solution, from which to begin.
    pub start: Option<Vec<f64>>,
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
    /// The objective equals the bound, within [`Settings::gap`].
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
        let limits = Limits::new(settings.time_limit, settings.node_limit, settings.gap);
        let form = Form::of(self);
        let start = settings
            .start
            .as_ref()
            .filter(|values| self.broken_at(values).is_none())
            .map(|values| Best {
                cost: form.cost_of(values),
                values: values.clone(),
            });
        let found = search(form, start, &limits, 0);
        let Some(best) = found.best else {
            return Err(if found.complete {
                Error::Infeasible
            } else {
                Error::LimitReached
            });
        };
        if best.values.iter().any(|value| value.abs() >= ENDLESS) {
            return Err(Error::Unbounded);
        }
        if let Some(broken) = self.broken_at(&best.values) {
            return Err(Error::Unreliable(broken));
        }
        let objective = self.objective_at(&best.values);
        let bound = match self.sense {
            Sense::Minimize => found.bound,
            Sense::Maximize => -found.bound,
        };
        Ok(Solution {
            objective,
            bound: if found.complete { objective } else { bound },
            proven: found.complete,
            nodes: limits.nodes() + 1,
            values: best.values,
        })
    }
}
