//! The network in plain terms: variables, conditional tables, OR nodes, likelihoods of findings.
//!
//! An OR node is kept whole here. The tree splits it by one two-state auxiliary (the multiplicative factorization of
//! noisy-OR: Díez & Galán, "Efficient computation for the noisy MAX", Int. J. of Intelligent Systems 18, 2003); the
//! export splits it by a chain of auxiliaries with proper tables.

use std::collections::{BTreeMap, BTreeSet};

use crate::tree::Tree;

/// The number that stands for what other machines say, where a finding's number is expected.
pub(crate) const OUTER: usize = usize::MAX;

/// The number that stands for what belongs to no finding and always counts.
pub(crate) const ALWAYS: usize = usize::MAX - 1;

/// Index of a variable.
pub(crate) type Var = usize;

/// A table over variables, the last one varying fastest.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    pub(crate) vars: Vec<Var>,
    pub(crate) values: Vec<f64>,
}

/// The network.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Model {
    /// By variable: how many states it has.
    pub(crate) states: Vec<usize>,
    /// P(child | parents): the child is the last variable of the table.
    pub(crate) conditionals: Vec<Table>,
    /// State 0 works, state 1 fails.
    pub(crate) ors: Vec<Or>,
    /// P(what was found | variables), by finding.
    pub(crate) likelihoods: Vec<Likelihood>,
    /// The unmodelled fault of one machine, carried beside the tables.
    pub(crate) once: Option<Once>,
}

/// A fault that sits at one place at most.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Once {
    /// State 0: there is none; state 1: there is one. It stands in no table.
    pub(crate) var: Var,
    /// Two-state variables without a table of their own: state 1 is "it sits here", with this chance.
    pub(crate) carriers: Vec<(Var, f64)>,
    /// Chance that it sits where nobody looked.
    pub(crate) elsewhere: f64,
    /// Weights of the two states of `var`: the chance that there is none, and 1.
    pub(crate) weights: [f64; 2],
}

/// A variable that works only if none of its causes acts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Or {
    pub(crate) child: Var,
    /// Chance that the cause does not act, over its variables.
    pub(crate) survivals: Vec<Table>,
}

/// A finding's likelihood.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Likelihood {
    pub(crate) table: Table,
    /// The finding it belongs to, [`OUTER`] or [`ALWAYS`].
    pub(crate) finding: usize,
}

impl Table {
    /// The table where some variables are known.
    pub(crate) fn cut(&self, model: &Model, known: &BTreeMap<Var, usize>) -> Self {
        if !self.vars.iter().any(|var| known.contains_key(var)) {
            return self.clone();
        }
        let mut start = 0;
        let mut stride = 1;
        let mut open = Vec::new();
        for &var in self.vars.iter().rev() {
            match known.get(&var) {
                Some(state) => start += state * stride,
                None => open.push((var, stride)),
            }
            stride *= model.states[var];
        }
        open.reverse();
        let strides: Vec<usize> = open.iter().map(|(_, stride)| *stride).collect();
        let vars = open.into_iter().map(|(var, _)| var).collect();
        Self::from_fn(model, vars, |at| {
            self.values[start
                + at.iter()
                    .zip(&strides)
                    .map(|(state, stride)| state * stride)
                    .sum::<usize>()]
        })
    }

    /// A table computed from the states of its variables.
    pub(crate) fn from_fn(
        model: &Model,
        vars: Vec<Var>,
        mut value: impl FnMut(&[usize]) -> f64,
    ) -> Self {
        const FEW: usize = 8;
        let count = vars.iter().map(|&var| model.states[var]).product();
        let mut values = Vec::with_capacity(count);
        let mut few = [0; FEW];
        let mut many = Vec::new();
        let at = match few.get_mut(..vars.len()) {
            Some(few) => few,
            None => {
                many.resize(vars.len(), 0);
                &mut many[..]
            }
        };
        loop {
            values.push(value(at));
            let mut places = (0..vars.len()).rev();
            let Some(place) = places.find(|&place| at[place] + 1 < model.states[vars[place]])
            else {
                return Self { vars, values };
            };
            at[place] += 1;
            at[place + 1..].fill(0);
        }
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
    pub(crate) fn variable(&mut self, states: usize) -> Var {
        self.states.push(states);
        self.states.len() - 1
    }

    /// A variable that depends on nothing.
    pub(crate) fn root(&mut self, chances: Vec<f64>) -> Var {
        let var = self.variable(chances.len());
        self.conditionals.push(Table {
            vars: vec![var],
            values: chances,
        });
        var
    }

    /// The network with some variables known: every table is cut down to their states.
    pub(crate) fn clamped(&self, known: &BTreeMap<Var, usize>) -> Self {
        let mut fixed: BTreeMap<Var, Table> = known
            .iter()
            .map(|(&var, &state)| (var, self.point(var, state)))
            .collect();
        let mut cut = |table: &Table| {
            let short = table.cut(self, known);
            match table.vars.first() {
                // nothing is left to ask: the number goes to one of its variables
                Some(first) if short.vars.is_empty() => {
                    if let Some(point) = fixed.get_mut(first) {
                        point
                            .values
                            .iter_mut()
                            .for_each(|value| *value *= short.values[0]);
                    }
                    None
                }
                _ => Some(short),
            }
        };
        let mut conditionals: Vec<Table> = self.conditionals.iter().filter_map(&mut cut).collect();
        let likelihoods = self
            .likelihoods
            .iter()
            .filter_map(|likelihood| {
                Some(Likelihood {
                    table: cut(&likelihood.table)?,
                    finding: likelihood.finding,
                })
            })
            .collect();
        let ors = self
            .ors
            .iter()
            .map(|or| Or {
                child: or.child,
                survivals: or
                    .survivals
                    .iter()
                    .map(|table| table.cut(self, known))
                    .collect(),
            })
            .collect();
        conditionals.extend(fixed.into_values());
        let mut clamped = Self {
            states: self.states.clone(),
            conditionals,
            ors,
            likelihoods,
            once: self.once.clone(),
        };
        if self
            .once
            .as_ref()
            .is_some_and(|once| known.get(&once.var) == Some(&0))
        {
            clamped.without_once();
        }
        clamped
    }

    /// The same network without what says nothing: variables on which nothing kept or seen hangs (barren nodes: Shachter, "Evaluating influence diagrams", Operations Research 34, 1986). What is left out keeps
    /// its number and has one state.
    pub(crate) fn pruned(mut self, kept: &BTreeSet<Var>) -> Self {
        let mut gone = vec![false; self.states.len()];
        // how many tables speak of each variable, its own aside
        let mut uses = vec![0_usize; self.states.len()];
        for likelihood in &self.likelihoods {
            likelihood.table.vars.iter().for_each(|&var| uses[var] += 1);
        }
        // (child, parents) of each table and OR
        let of_table = |table: &Table| {
            let (child, parents) = table.vars.split_last()?;
            Some((*child, parents.to_vec()))
        };
        let of_or = |or: &Or| {
            let parents = or.survivals.iter().flat_map(|table| table.vars.clone());
            (or.child, parents.collect())
        };
        let mut families: Vec<(Var, Vec<Var>)> =
            self.conditionals.iter().filter_map(of_table).collect();
        families.extend(self.ors.iter().map(of_or));
        for (_, parents) in &families {
            parents.iter().for_each(|&var| uses[var] += 1);
        }
        kept.iter().for_each(|&var| uses[var] += 1);
        let mut barren: Vec<usize> = (0..families.len())
            .filter(|&family| uses[families[family].0] == 0)
            .collect();
        let mut children: BTreeMap<Var, usize> = BTreeMap::new();
        for (family, (child, _)) in families.iter().enumerate() {
            children.insert(*child, family);
        }
        while let Some(family) = barren.pop() {
            let (child, parents) = &families[family];
            gone[*child] = true;
            for parent in parents {
                uses[*parent] -= 1;
                if uses[*parent] == 0 {
                    barren.extend(children.get(parent));
                }
            }
        }
        self.conditionals
            .retain(|table| !table.vars.last().is_some_and(|&child| gone[child]));
        self.ors.retain(|or| !gone[or.child]);
        for (states, gone) in self.states.iter_mut().zip(&gone) {
            if *gone {
                *states = 1;
            }
        }
        self
    }

    /// No finding is left out any more: a tree need not list what they rule out.
    pub(crate) fn keep_findings(&mut self) {
        for likelihood in &mut self.likelihoods {
            likelihood.finding = ALWAYS;
        }
    }

    /// There is no such fault: its chance goes to the variable that says so, its places become known.
    fn without_once(&mut self) {
        let Some(once) = self.once.take() else { return };
        for (var, _) in once.carriers {
            let point = self.point(var, 0);
            self.conditionals.push(point);
        }
        self.conditionals.push(Table {
            vars: vec![once.var],
            values: vec![once.weights[0], 1.0],
        });
    }

    fn point(&self, var: Var, state: usize) -> Table {
        Table::from_fn(self, vec![var], |at| f64::from(u8::from(at[0] == state)))
    }

    /// The same network with every OR split by auxiliaries with proper tables, joined along an elimination tree of the
    /// whole one: no sign, hence no difference of nearly equal numbers, at the price of larger cliques.
    pub(crate) fn unsigned(&self, tree: &Tree) -> Self {
        let mut model = Self {
            ors: Vec::new(),
            ..self.clone()
        };
        for (index, or) in self.ors.iter().enumerate() {
            model.split(or, self.states.len() + index, tree);
        }
        model
    }

    /// Joins the causes of an OR where they meet on their way up the elimination tree, so that the split network is hardly
    /// harder to solve than the whole one.
    fn split(&mut self, or: &Or, auxiliary: Var, tree: &Tree) {
        let top = tree.home(auxiliary);
        let mut waiting: BTreeMap<usize, Vec<Table>> = BTreeMap::from([(top, Vec::new())]);
        for survival in &or.survivals {
            let home = survival
                .vars
                .iter()
                .map(|&var| tree.home(var))
                .min()
                .unwrap_or(top)
                .min(top);
            waiting.entry(home).or_default().push(survival.clone());
        }
        while let Some((clique, causes)) = waiting.pop_first() {
            if clique == top {
                return self.join(&causes, or.child);
            }
            let part = self.variable(2);
            self.join(&causes, part);
            let above = tree.parent(clique).unwrap_or(top);
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
                self.variable(2)
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
            self.conditionals.push(Table { vars, values });
            before = Some(joined);
        }
        if causes.is_empty() {
            self.conditionals.push(Table {
                vars: vec![child],
                values: vec![1.0, 0.0],
            });
        }
    }
}
