//! A network as it is kept once its cliques are there: the same tables, all in the same few lists.
//!
//! It is asked for when another network might be the same, or has to be compiled once more; a table of its own for each number or
//! two would be most of what a small network needs.

use crate::{
    model::{Likelihood, Model, Once, Or, Table},
    wiring::short,
};

/// A [`Model`] in less room.
#[derive(Debug)]
pub(crate) struct Packed {
    /// By variable.
    states: Box<[u32]>,
    /// Of all tables, as they have them; those of the ORs come last.
    vars: Box<[u32]>,
    values: Box<[f64]>,
    /// By table: where its variables and its values end.
    ends: Box<[(u32, u32)]>,
    /// How many of the tables are no OR's.
    conditionals: usize,
    /// By OR: its child, and how many of the tables there are up to its last one.
    ors: Box<[(u32, u32)]>,
    pub(crate) likelihoods: Vec<Likelihood>,
    once: Option<Once>,
}

impl Packed {
    pub(crate) fn of(model: Model) -> Self {
        let tables = || model.conditionals.iter().chain(survivals(&model.ors));
        let vars: usize = tables().map(|table| table.vars.len()).sum();
        let values: usize = tables().map(|table| table.values.len()).sum();
        let (mut vars, mut values) = (Vec::with_capacity(vars), Vec::with_capacity(values));
        let ends = tables().map(|table| {
            vars.extend(table.vars.iter().copied().map(short));
            values.extend(&table.values);
            (short(vars.len()), short(values.len()))
        });
        let ends = ends.collect();
        let mut count = model.conditionals.len();
        let ors = model.ors.iter().map(|or| {
            count += or.survivals.len();
            (short(or.child), short(count))
        });
        Self {
            conditionals: model.conditionals.len(),
            ends,
            ors: ors.collect(),
            states: model.states.iter().copied().map(short).collect(),
            vars: vars.into(),
            values: values.into(),
            likelihoods: model.likelihoods,
            once: model.once,
        }
    }

    /// By variable: how many states it has.
    pub(crate) fn states(&self) -> impl ExactSizeIterator<Item = usize> {
        self.states.iter().map(|&states| states as usize)
    }

    pub(crate) fn states_of(&self, var: usize) -> usize {
        self.states[var] as usize
    }

    /// The network with these findings.
    pub(crate) fn model<'a>(&self, findings: impl Iterator<Item = &'a Likelihood>) -> Model {
        let mut tables = self.tables().map(|(vars, values)| Table {
            vars: vars.iter().map(|&var| var as usize).collect(),
            values: values.to_vec(),
        });
        let conditionals = tables.by_ref().take(self.conditionals).collect();
        let mut before = self.conditionals;
        let ors = self.ors.iter().map(|&(child, end)| {
            let count = end as usize - std::mem::replace(&mut before, end as usize);
            Or {
                child: child as usize,
                survivals: tables.by_ref().take(count).collect(),
            }
        });
        Model {
            ors: ors.collect(),
            states: self.states().collect(),
            conditionals,
            likelihoods: findings.cloned().collect(),
            once: self.once.clone(),
        }
    }

    /// Nothing but the findings can differ.
    pub(crate) fn is_of(&self, model: &Model) -> bool {
        let ends = self
            .ors
            .iter()
            .map(|&(child, end)| (child as usize, end as usize));
        let mut count = model.conditionals.len();
        let of_ors = model.ors.iter().map(|or| {
            count += or.survivals.len();
            (or.child, count)
        });
        let tables = model.conditionals.iter().chain(survivals(&model.ors));
        let same = |(vars, values): (&[u32], &[f64]), table: &Table| {
            let known = vars.iter().map(|&var| var as usize);
            known.eq(table.vars.iter().copied()) && values == table.values
        };
        self.states().eq(model.states.iter().copied())
            && self.once == model.once
            && self.conditionals == model.conditionals.len()
            && ends.eq(of_ors)
            && self
                .tables()
                .zip(tables)
                .all(|(known, table)| same(known, table))
    }

    /// The variables and the values of each table.
    fn tables(&self) -> impl Iterator<Item = (&[u32], &[f64])> {
        let mut begin = (0, 0);
        self.ends.iter().map(move |&end| {
            let (vars, values) = std::mem::replace(&mut begin, end);
            let vars = &self.vars[vars as usize..end.0 as usize];
            (vars, &self.values[values as usize..end.1 as usize])
        })
    }
}

fn survivals(ors: &[Or]) -> impl Iterator<Item = &Table> {
    ors.iter().flat_map(|or| &or.survivals)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(vars: &[usize], values: &[f64]) -> Table {
        Table {
            vars: vars.to_vec(),
            values: values.to_vec(),
        }
    }

    fn model() -> Model {
        let or = |child, survivals| Or { child, survivals };
        let causes = vec![table(&[2], &[1.0, 0.1]), table(&[], &[0.98])];
        Model {
            states: vec![2, 2, 2, 3],
            conditionals: vec![
                table(&[2], &[0.9, 0.1]),
                table(&[2, 3], &[0.5, 0.2, 0.3, 0.1, 0.1, 0.8]),
            ],
            ors: vec![or(0, causes), or(1, Vec::new())],
            likelihoods: vec![Likelihood {
                table: table(&[0], &[0.05, 0.95]),
                finding: 0,
            }],
            once: Some(Once {
                var: 1,
                carriers: vec![(2, 0.5)],
                elsewhere: 0.25,
                weights: [0.9, 1.0],
            }),
        }
    }

    #[test]
    fn unpacked_as_it_was() {
        let check = |model: Model| {
            let packed = Packed::of(model.clone());
            assert!(packed.is_of(&model));
            assert_eq!(packed.model(model.likelihoods.iter()), model);
        };
        check(Model::default());
        check(model());
    }

    #[test]
    fn only_findings_may_differ() {
        let check = |change: &dyn Fn(&mut Model), same: bool| {
            let mut other = model();
            change(&mut other);
            assert_eq!(Packed::of(model()).is_of(&other), same, "{other:?}");
        };
        check(&|other| other.likelihoods.clear(), true);
        check(&|other| other.states[3] = 2, false);
        check(&|other| other.conditionals[1].values[5] = 0.7, false);
        check(&|other| other.conditionals[0].vars[0] = 3, false);
        check(&|other| other.conditionals.truncate(1), false);
        check(&|other| other.ors.truncate(1), false);
        check(&|other| other.ors[1].child = 2, false);
        let moved = |other: &mut Model| {
            let cause = other.ors[0].survivals.pop();
            other.ors[1].survivals.extend(cause);
        };
        check(&moved, false);
        check(&|other| other.once = None, false);
    }
}
