//! From a network to its tree: ORs are split, an order is found, cliques are built.

use std::{collections::BTreeSet, sync::Arc};

use super::{MOST_ENTRIES, Tree};
use crate::{
    clique::{Cliques, Factor, Plan, too_large},
    error::Error,
    model::{ALWAYS, Model, Or, Table, Var},
    number::Number,
    order::{Arrangement, Ties, arrange, entries_of},
};

/// Entries, zeros included, by entry that may be kept, above which a network is refused before its cliques are listed.
const MOST_ZEROS: f64 = 32.0;

/// A network in its order, before its cliques are listed.
pub(super) struct Draft<'a> {
    model: &'a Model,
    optional: &'a [Table],
    states: Vec<usize>,
    split: Split,
    arranged: Arrangement,
    most: usize,
}

impl<'a> Draft<'a> {
    /// Finds an order; cliques that would come out larger than [`MOST_ENTRIES`] or this are refused.
    pub(super) fn of(
        model: &'a Model,
        optional: &'a [Table],
        most: usize,
        ties: Ties,
    ) -> Result<Self, Error> {
        let mut states = model.states.clone();
        let split = Split::of(model, &mut states);
        let said = model.likelihoods.iter().map(|one| &one.table);
        let factors = split
            .fixed(model)
            .chain(said.chain(optional).map(Factor::Table));
        let arranged = arrange(&mut states, factors, ties);
        let most = most.min(MOST_ENTRIES);
        if entries_of(&arranged.cliques, &states) > MOST_ZEROS * most as f64 {
            return Err(too_large(most));
        }
        Ok(Self {
            model,
            optional,
            states,
            split,
            arranged,
            most,
        })
    }

    /// Builds the cliques, multiplies in what never changes.
    pub(super) fn tree<T: Number>(self) -> Result<Tree, Error> {
        let model = self.model;
        let width = self.arranged.cliques.iter().map(<[Var]>::len).max();
        let mut plan = Plan::new(self.arranged, &self.states);
        let mut scalar = 1.0;
        for factor in self.split.fixed(model) {
            scalar *= plan.fixed(factor);
        }
        for (var, weight) in model.once.iter().flat_map(|once| &once.carriers) {
            plan.carrier(*var, *weight);
        }
        for likelihood in &model.likelihoods {
            scalar *= if likelihood.finding == ALWAYS {
                plan.fixed(Factor::Table(&likelihood.table))
            } else {
                plan.finding(&likelihood.table, likelihood.finding)
            };
        }
        let mut cliques = plan.build::<T>(self.most)?;
        let optional = self.optional.iter();
        let optional = optional.map(|table| {
            let found = cliques.optional(table, &self.states);
            found.ok_or_else(|| Error::new("a table that is asked for has no clique"))
        });
        cliques.optional = optional.collect::<Result<_, _>>()?;
        let mut component = components(&cliques);
        if let Some(once) = &model.once {
            join_carriers(&mut component, &cliques, cliques.home(once.var));
        }
        let mut functions = vec![false; model.states.len()];
        model.ors.iter().for_each(|or| functions[or.child] = true);
        Ok(Tree {
            states: self.states.as_slice().into(),
            functions: functions.into(),
            cliques,
            component: component.into(),
            width: width.unwrap_or(0),
            scalar,
            once: model.once.clone().map(Arc::new),
            signed: self.split.signed,
            noise: Vec::new(),
        })
    }
}

/// By which ORs are split.
struct Split {
    /// Tables of what is asked of nothing.
    tables: Vec<Table>,
    /// By OR: its auxiliary (0: no cause acts; 1: whatever happens) and its child; none where it depends on nothing.
    signs: Vec<Option<[Var; 2]>>,
    signed: bool,
}

impl Split {
    /// Splits each OR by its auxiliary, which gets its number of states.
    fn of(model: &Model, states: &mut Vec<usize>) -> Self {
        let mut split = Self {
            tables: Vec::new(),
            signs: Vec::with_capacity(model.ors.len()),
            signed: false,
        };
        for or in &model.ors {
            if let Some(works) = constant(or) {
                // nothing to ask: no auxiliary, and no difference of numbers that are nearly equal
                states.push(1);
                split.tables.push(Table {
                    vars: vec![or.child],
                    values: vec![works, 1.0 - works],
                });
                split.signs.push(None);
                continue;
            }
            split.signed = true;
            split.signs.push(Some([states.len(), or.child]));
            states.push(2);
        }
        if let Some(once) = &model.once {
            // its weights are read at the end; here it only stands by
            split.tables.push(Table {
                vars: vec![once.var],
                values: vec![1.0, 0.0],
            });
        }
        split
    }

    /// All tables that never change, but for what always counts of the findings.
    fn fixed<'a>(&'a self, model: &'a Model) -> impl Iterator<Item = Factor<'a>> {
        let tables = model.conditionals.iter().chain(&self.tables);
        let ors = self.signs.iter().zip(&model.ors);
        let split = ors.filter_map(|(sign, or)| Some((sign.as_ref()?, or)));
        tables
            .map(Factor::Table)
            .chain(split.flat_map(|(sign, or)| {
                let under = sign[0] as u32;
                let causes = or.survivals.iter();
                std::iter::once(Factor::Sign(sign))
                    .chain(causes.map(move |cause| Factor::Under(under, cause)))
            }))
    }
}

/// Chance that an OR works, if it depends on nothing.
fn constant(or: &Or) -> Option<f64> {
    let values = or
        .survivals
        .iter()
        .map(|survival| survival.vars.is_empty().then(|| survival.values[0]));
    values.product()
}

fn components(cliques: &Cliques) -> Vec<u32> {
    let mut component: Vec<u32> = (0..cliques.count() as u32).collect();
    for index in (0..component.len()).rev() {
        if let Some(parent) = cliques.parent(index) {
            component[index] = component[parent];
        }
    }
    component
}

/// Components in which an unmodelled fault may sit depend on each other: there is at most one.
fn join_carriers(component: &mut [u32], cliques: &Cliques, standing: usize) {
    let carrying: BTreeSet<u32> = cliques
        .nodes()
        .zip(component.iter())
        .filter(|(node, _)| !node.carries.is_empty())
        .map(|(_, component)| *component)
        .collect();
    for number in component.iter_mut() {
        if carrying.contains(number) {
            *number = standing as u32;
        }
    }
}
