//! The network in plain terms: variables, conditional tables, OR nodes, likelihoods of findings.
//!
//! An OR node is kept whole here. The tree splits it by one two-state auxiliary (the multiplicative factorization of
//! noisy-OR: Díez & Galán, "Efficient computation for the noisy MAX", Int. J. of Intelligent Systems 18, 2003); the
//! export splits it by a chain of auxiliaries with proper tables.

/// Index of a variable.
pub(crate) type Var = usize;

/// A table over variables, the last one varying fastest.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    pub(crate) vars: Vec<Var>,
    pub(crate) values: Vec<f64>,
}

/// A variable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Variable {
    pub(crate) name: String,
    pub(crate) states: usize,
}

/// The network.
#[derive(Debug, Clone, Default)]
pub(crate) struct Model {
    pub(crate) variables: Vec<Variable>,
    /// P(child | parents): the child is the last variable of the table.
    pub(crate) conditionals: Vec<Table>,
    /// State 0 works, state 1 fails.
    pub(crate) ors: Vec<Or>,
    /// P(what was found | variables), by finding.
    pub(crate) likelihoods: Vec<Likelihood>,
}

/// A variable that works only if none of its causes acts.
#[derive(Debug, Clone)]
pub(crate) struct Or {
    pub(crate) child: Var,
    /// Chance that the cause does not act, over its variables.
    pub(crate) survivals: Vec<Table>,
}

/// A finding's likelihood.
#[derive(Debug, Clone)]
pub(crate) struct Likelihood {
    pub(crate) table: Table,
    /// The finding it belongs to; without one it always counts.
    pub(crate) finding: Option<usize>,
}

impl Table {
    /// A table computed from the states of its variables.
    pub(crate) fn from_fn(
        model: &Model,
        vars: Vec<Var>,
        mut value: impl FnMut(&[usize]) -> f64,
    ) -> Self {
        let states: Vec<usize> = vars
            .iter()
            .map(|&var| model.variables[var].states)
            .collect();
        let mut values = Vec::with_capacity(states.iter().product());
        for_each_state(&states, |at| values.push(value(at)));
        Self { vars, values }
    }
}

/// Calls `visit` with every combination of states, the last varying fastest.
pub(crate) fn for_each_state(states: &[usize], mut visit: impl FnMut(&[usize])) {
    let mut at = vec![0; states.len()];
    loop {
        visit(&at);
        let Some(place) = (0..states.len()).rev().find(|&i| at[i] + 1 < states[i]) else {
            return;
        };
        at[place] += 1;
        at[place + 1..].fill(0);
    }
}

impl Model {
    pub(crate) fn variable(&mut self, name: String, states: usize) -> Var {
        self.variables.push(Variable { name, states });
        self.variables.len() - 1
    }

    /// A variable that depends on nothing.
    pub(crate) fn root(&mut self, name: String, chances: Vec<f64>) -> Var {
        let var = self.variable(name, chances.len());
        self.conditionals.push(Table {
            vars: vec![var],
            values: chances,
        });
        var
    }
}
