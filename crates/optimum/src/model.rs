//! The model: variables with bounds, named rows.

use std::fmt;

/// Whether the objective is to be small or large.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// As small as possible.
    Minimize,
    /// As large as possible.
    Maximize,
}

/// How a row's sum relates to its right side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// Sum at most the right side.
    AtMost,
    /// Sum at least the right side.
    AtLeast,
    /// Sum equal to the right side.
    Equal,
}

impl Relation {
    pub(crate) fn holds_within(self, sum: f64, right: f64, loose: f64) -> bool {
        match self {
            Relation::AtMost => sum <= right + loose,
            Relation::AtLeast => sum >= right - loose,
            Relation::Equal => (sum - right).abs() <= loose,
        }
    }
}

/// A variable of the model that made it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Var(pub(crate) usize);

impl Var {
    /// Position of the variable, in the order of creation.
    pub fn index(self) -> usize {
        self.0
    }
}

/// A linear model with real and whole-number variables.
#[derive(Debug, Clone)]
pub struct Model {
    pub(crate) sense: Sense,
    pub(crate) columns: Vec<Column>,
    pub(crate) rows: Vec<Row>,
}

#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub(crate) name: String,
    pub(crate) objective: f64,
    pub(crate) low: f64,
    pub(crate) high: f64,
    pub(crate) whole: bool,
}

#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub(crate) name: String,
    pub(crate) terms: Vec<(usize, f64)>,
    pub(crate) relation: Relation,
    pub(crate) right: f64,
}

impl Model {
    /// An empty model.
    pub fn new(sense: Sense) -> Model {
        Model {
            sense,
            columns: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// Adds a yes-or-no variable.
    pub fn binary(&mut self, name: impl fmt::Display, objective: f64) -> Var {
        self.whole(name, (0, 1), objective)
    }

    /// Adds a whole-number variable between two bounds.
    pub fn whole(&mut self, name: impl fmt::Display, bounds: (i32, i32), objective: f64) -> Var {
        let (low, high) = (f64::from(bounds.0), f64::from(bounds.1));
        self.column(name, (low, high), objective, true)
    }

    /// Adds a real variable; a bound may be infinite.
    pub fn real(&mut self, name: impl fmt::Display, bounds: (f64, f64), objective: f64) -> Var {
        self.column(name, bounds, objective, false)
    }

    /// Adds a row. Terms of the same variable are added up.
    pub fn row(
        &mut self,
        name: impl fmt::Display,
        terms: impl IntoIterator<Item = (Var, f64)>,
        relation: Relation,
        right: f64,
    ) {
        let mut sorted: Vec<(usize, f64)> = terms.into_iter().map(|(var, c)| (var.0, c)).collect();
        sorted.sort_by_key(|term| term.0);
        let mut joined: Vec<(usize, f64)> = Vec::with_capacity(sorted.len());
        for (index, coefficient) in sorted {
            match joined.last_mut() {
                Some(last) if last.0 == index => last.1 += coefficient,
                _ => joined.push((index, coefficient)),
            }
        }
        joined.retain(|term| term.1 != 0.0);
        self.rows.push(Row {
            name: name.to_string(),
            terms: joined,
            relation,
            right,
        });
    }

    /// Narrows a variable to one value.
    pub fn fix(&mut self, var: Var, value: f64) {
        self.columns[var.0].low = value;
        self.columns[var.0].high = value;
    }

    /// How many variables there are.
    pub fn columns(&self) -> usize {
        self.columns.len()
    }

    /// How many rows there are.
    pub fn rows(&self) -> usize {
        self.rows.len()
    }

    /// The objective at `values`.
    pub fn objective_at(&self, values: &[f64]) -> f64 {
        self.columns
            .iter()
            .zip(values)
            .map(|(column, value)| column.objective * value)
            .sum()
    }

    /// The first row or bound that `values` break, in words; `None` if they keep all.
    pub fn broken_at(&self, values: &[f64]) -> Option<String> {
        let columns = self.columns.iter().zip(values);
        for (column, &value) in columns {
            let loose = 1e-6 * (1.0 + value.abs());
            let inside = value >= column.low - loose && value <= column.high + loose;
            if !inside || (column.whole && (value - value.round()).abs() > 1e-9) {
                let (low, high) = (column.low, column.high);
                return Some(format!(
                    "`{}` is {value}, not in {low} to {high}",
                    column.name
                ));
            }
        }
        self.rows.iter().find_map(|row| {
            row.broken_at(values)
                .map(|sum| format!("row `{}` has {sum} against {}", row.name, row.right))
        })
    }

    fn column(
        &mut self,
        name: impl fmt::Display,
        (low, high): (f64, f64),
        objective: f64,
        whole: bool,
    ) -> Var {
        self.columns.push(Column {
            name: name.to_string(),
            objective,
            low,
            high,
            whole,
        });
        Var(self.columns.len() - 1)
    }
}

impl Row {
    /// The sum, if it breaks the row by more than rounding can explain.
    fn broken_at(&self, values: &[f64]) -> Option<f64> {
        let parts = self.terms.iter().map(|&(index, c)| c * values[index]);
        let (sum, size) = parts.fold((0.0, self.right.abs()), |(sum, size), part| {
            (sum + part, size + part.abs())
        });
        let loose = 1e-6 + 1e-9 * size;
        (!self.relation.holds_within(sum, self.right, loose)).then_some(sum)
    }
}
