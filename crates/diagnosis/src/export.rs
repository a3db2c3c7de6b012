//! The network in the open UAI format, for other programs to check the answers.
//!
//! Every OR is split by auxiliaries with proper tables, every finding is a two-state variable that is
//! observed in state 1. The format: a line `BAYES`, the number of variables, their numbers of states, the number of tables,
//! a line for each table with its variables (the child last), then each table's size and numbers, the last variable fastest.

use std::{collections::BTreeMap, fmt::Write as _};

use crate::{
    answer::Holder,
    diagnosis::{Diagnosis, Listed, listed_on},
    error::Error,
    focus::{Focus, focus},
    lower::lower,
    model::{Model, Or, Table, Var},
    tree::Tree,
};

/// A network as UAI text with what is observed and what its variables mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExportedNetwork {
    /// The network.
    pub uai: String,
    /// UAI evidence: the number of observed variables, then variable and state of each.
    pub evidence: String,
    /// One line for each mode of the machine: variable, state, name (`U9.dead`), separated by tabs.
    pub names: String,
}

impl Diagnosis {
    /// One machine, with those it exchanged chips with, as a network; its modes are named. What the other machines say of
    /// shared things (events of the lot, outside things) is one observed variable.
    ///
    /// # Errors
    /// The machine is unknown.
    pub fn export_network(&self, tag: &str) -> Result<ExportedNetwork, Error> {
        let Focus {
            unrolled,
            machine,
            outer,
        } = focus(self.situation(), tag)?;
        let lowered = lower(&unrolled, &[], outer.as_ref());
        let tree = Tree::compile(&lowered.model)?;
        let mut proper = Proper::of(&lowered.model, &tree);
        let observed: Vec<Var> = lowered
            .model
            .likelihoods
            .iter()
            .map(|likelihood| proper.observation(&likelihood.table))
            .collect();
        let mut evidence = observed.len().to_string();
        for var in observed {
            let _ = write!(evidence, " {var} 1");
        }
        evidence.push('\n');
        let mut names = String::new();
        for Listed {
            holder, mode, at, ..
        } in listed_on(&unrolled, machine, &lowered)
        {
            if let (Holder::Position { part, .. }, Some((var, state))) = (holder, at) {
                let _ = writeln!(names, "{var}\t{state}\t{part}.{mode}");
            }
        }
        Ok(ExportedNetwork {
            uai: proper.text(),
            evidence,
            names,
        })
    }
}

/// A network of proper conditional tables.
struct Proper {
    states: Vec<usize>,
    tables: Vec<Table>,
}

impl Proper {
    fn of(model: &Model, tree: &Tree) -> Self {
        let mut proper = Self {
            states: model
                .variables
                .iter()
                .map(|variable| variable.states)
                .collect(),
            tables: model.conditionals.clone(),
        };
        for (index, or) in model.ors.iter().enumerate() {
            proper.split(or, model.variables.len() + index, tree);
        }
        proper
    }

    fn add(&mut self, states: usize) -> Var {
        self.states.push(states);
        self.states.len() - 1
    }

    /// Joins the causes of an OR where they meet on their way up the elimination tree, so that the split network is hardly
    /// harder to solve than the whole one.
    fn split(&mut self, or: &Or, auxiliary: Var, tree: &Tree) {
        let top = tree.bucket(auxiliary);
        let mut waiting: BTreeMap<usize, Vec<Table>> = BTreeMap::from([(top, Vec::new())]);
        for survival in &or.survivals {
            let home = survival
                .vars
                .iter()
                .map(|&var| tree.bucket(var))
                .min()
                .unwrap_or(top)
                .min(top);
            waiting.entry(home).or_default().push(survival.clone());
        }
        while let Some((bucket, causes)) = waiting.pop_first() {
            if bucket == top {
                return self.join(&causes, or.child);
            }
            let part = self.add(2);
            self.join(&causes, part);
            let above = tree.parent(bucket).unwrap_or(top);
            waiting.entry(above).or_default().push(Table {
                vars: vec![part],
                values: vec![1.0, 0.0],
            });
        }
    }

    /// child = cause 1 or cause 2 or …: each auxiliary is the one before or the next cause.
    fn join(&mut self, causes: &[Table], child: Var) {
        let mut before: Option<Var> = None;
        for (place, survival) in causes.iter().enumerate() {
            let joined = if place + 1 == causes.len() {
                child
            } else {
                self.add(2)
            };
            let mut vars: Vec<Var> = before.into_iter().collect();
            vars.extend(&survival.vars);
            vars.push(joined);
            let mut values: Vec<f64> = survival
                .values
                .iter()
                .flat_map(|&works| [works, 1.0 - works])
                .collect();
            if before.is_some() {
                values.extend(survival.values.iter().flat_map(|_| [0.0, 1.0]));
            }
            self.tables.push(Table { vars, values });
            before = Some(joined);
        }
        if causes.is_empty() {
            self.tables.push(Table {
                vars: vec![child],
                values: vec![1.0, 0.0],
            });
        }
    }

    /// A variable that is in state 1 with the likelihood of a finding.
    fn observation(&mut self, likelihood: &Table) -> Var {
        let child = self.add(2);
        let mut vars = likelihood.vars.clone();
        vars.push(child);
        let values = likelihood
            .values
            .iter()
            .flat_map(|&value| [1.0 - value, value])
            .collect();
        self.tables.push(Table { vars, values });
        child
    }

    fn text(&mut self) -> String {
        self.tables.sort_by_key(|table| table.vars.last().copied());
        let join = |numbers: &[usize]| {
            numbers
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>()
                .join(" ")
        };
        let mut text = format!(
            "BAYES\n{}\n{}\n{}\n",
            self.states.len(),
            join(&self.states),
            self.tables.len()
        );
        for table in &self.tables {
            let _ = writeln!(text, "{} {}", table.vars.len(), join(&table.vars));
        }
        for table in &self.tables {
            let numbers: Vec<String> = table
                .values
                .iter()
                .map(|value| format!("{value:?}"))
                .collect();
            let _ = write!(text, "\n{}\n{}\n", table.values.len(), numbers.join(" "));
        }
        text
    }
}
