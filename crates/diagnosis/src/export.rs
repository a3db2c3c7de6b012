//! The network in the open UAI format, for other programs to check the answers.
//!
//! Every OR is split by auxiliaries with proper tables, every finding is a two-state variable that is
//! observed in state 1. The format: a line `BAYES`, the number of variables, their numbers of states, the number of tables,
//! a line for each table with its variables (the child last), then each table's size and numbers, the last variable fastest.

use std::fmt::Write as _;

use crate::{
    answer::Holder,
    diagnosis::{Diagnosis, Listed, listed_on},
    error::Error,
    groups::Group,
    lower::{Unmodelled, lower},
    model::{Model, Table, Var},
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
        let (group, machine) = self.place(tag)?;
        let Group {
            unrolled, outer, ..
        } = &self.groups()[group];
        let lowered = lower(unrolled, &[], outer.as_ref(), Unmodelled::Chains);
        let tree = Tree::compile(&lowered.model)?;
        let mut proper = lowered.model.unsigned(&tree);
        let observed: Vec<Var> = lowered
            .model
            .likelihoods
            .iter()
            .map(|likelihood| observation(&mut proper, &likelihood.table))
            .collect();
        let mut evidence = observed.len().to_string();
        for var in observed {
            let _ = write!(evidence, " {var} 1");
        }
        evidence.push('\n');
        let mut names = String::new();
        for Listed {
            holder, mode, at, ..
        } in listed_on(unrolled, machine, &lowered.places)
        {
            if let (Holder::Position { part, .. }, Some((var, state))) = (holder, at) {
                let _ = writeln!(names, "{var}\t{state}\t{part}.{mode}");
            }
        }
        Ok(ExportedNetwork {
            uai: text(&mut proper),
            evidence,
            names,
        })
    }
}

/// A variable that is in state 1 with the likelihood of a finding.
fn observation(model: &mut Model, likelihood: &Table) -> Var {
    let child = model.variable(2);
    let mut vars = likelihood.vars.clone();
    vars.push(child);
    let values = likelihood
        .values
        .iter()
        .flat_map(|&value| [1.0 - value, value])
        .collect();
    model.conditionals.push(Table { vars, values });
    child
}

/// The network as UAI text; the child is the last variable of each table.
fn text(model: &mut Model) -> String {
    let states = model.states.clone();
    let tables = &mut model.conditionals;
    tables.sort_by_key(|table| table.vars.last().copied());
    let join = |numbers: &[usize]| {
        numbers
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join(" ")
    };
    let mut text = format!(
        "BAYES\n{}\n{}\n{}\n",
        states.len(),
        join(&states),
        tables.len()
    );
    for table in tables.iter() {
        let _ = writeln!(text, "{} {}", table.vars.len(), join(&table.vars));
    }
    for table in tables.iter() {
        let numbers: Vec<String> = table
            .values
            .iter()
            .map(|value| format!("{value:?}"))
            .collect();
        let _ = write!(text, "\n{}\n{}\n", table.values.len(), numbers.join(" "));
    }
    text
}
