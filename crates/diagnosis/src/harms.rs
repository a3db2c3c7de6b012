//! Looks that may harm a chip, made over and over.
//!
//! Each such look opens a new version of the chip, but a chip is harmed once at most: which of the looks it was is one variable, and
//! every version in between follows from it. What a mode draws once it keeps in all of them.

use std::collections::{BTreeMap, BTreeSet};

use crate::{
    graph::{Graph, OrId, Origin, StateId},
    lower::Lowering,
    model::{Table, Var},
};

/// Different conditions of harm that one variable takes in.
const MOST_WHENS: usize = 3;

/// Versions of a chip that follow each other by harm alone, and the version before them.
#[derive(Debug)]
pub(crate) struct Chain {
    from: StateId,
    steps: Vec<Harm>,
}

/// A version with the mode of its harm, and when that strikes.
#[derive(Debug, Clone, Copy)]
struct Harm {
    version: StateId,
    mode: usize,
    chance: f64,
    when: OrId,
}

/// A version that follows from the variable of its chain.
#[derive(Debug, Clone)]
pub(crate) struct Harmed {
    pub(crate) var: Var,
    /// The chip's state for each state of the variable.
    pub(crate) states: Vec<usize>,
    /// The versions at the end of the chain and before it.
    pub(crate) last: StateId,
    pub(crate) from: StateId,
}

/// The chains of two harms and more, by their first version.
pub(crate) fn chains(graph: &Graph) -> BTreeMap<StateId, Chain> {
    let mut chains: Vec<Chain> = Vec::new();
    let mut ends: BTreeMap<StateId, usize> = BTreeMap::new();
    for (version, state) in graph.states.iter().enumerate() {
        let Origin::Harm {
            from,
            mode,
            chance,
            when,
        } = state.origin
        else {
            continue;
        };
        let (from, when) = (from as usize, when as usize);
        let harm = Harm {
            version,
            mode: usize::from(mode),
            chance,
            when,
        };
        let longer = ends
            .remove(&from)
            .filter(|&chain| chains[chain].takes(when));
        let number = longer.unwrap_or_else(|| {
            let steps = Vec::new();
            chains.push(Chain { from, steps });
            chains.len() - 1
        });
        chains[number].steps.push(harm);
        ends.insert(version, number);
    }
    let long = chains.into_iter().filter(|chain| chain.steps.len() > 1);
    long.map(|chain| (chain.steps[0].version, chain)).collect()
}

impl Chain {
    fn takes(&self, when: OrId) -> bool {
        let mut whens = self.whens();
        whens.insert(when);
        whens.len() <= MOST_WHENS
    }

    fn whens(&self) -> BTreeSet<OrId> {
        self.steps.iter().map(|harm| harm.when).collect()
    }
}

impl Lowering<'_> {
    /// One variable for a chain: good throughout, bad from the start in one of the modes, or harmed by one of the looks. The last
    /// version has a variable of its own besides.
    pub(crate) fn chain(&mut self, chain: &Chain) {
        let modes = self.graph.modes(chain.from).len();
        let var = self.model.variable(1 + modes + chain.steps.len());
        let before = self.state_vars.get(chain.from);
        let whens: Vec<OrId> = chain.whens().into_iter().collect();
        let mut vars: Vec<Var> = before.into_iter().collect();
        vars.extend(&whens);
        vars.push(var);
        let table = Table::from_fn(&self.model, vars, |at| {
            let (own, fails) = match before {
                Some(_) => (at[0], &at[1..]),
                None => (0, at),
            };
            let now = at[at.len() - 1];
            if own > 0 || (1..=modes).contains(&now) {
                return f64::from(u8::from(own == now));
            }
            let strikes = |harm: &Harm| {
                let place = whens.iter().position(|&when| when == harm.when);
                let fails = place.is_some_and(|place| fails[place] == 1);
                if fails { harm.chance } else { 0.0 }
            };
            let kept = |harms: &[Harm]| harms.iter().map(|harm| 1.0 - strikes(harm)).product();
            match now.checked_sub(modes + 1) {
                None => kept(&chain.steps),
                Some(harm) => {
                    let kept: f64 = kept(&chain.steps[..harm]);
                    kept * strikes(&chain.steps[harm])
                }
            }
        });
        self.model.conditionals.push(table);
        let last = chain.steps[chain.steps.len() - 1].version;
        for (number, harm) in chain.steps.iter().enumerate() {
            let harmed = chain.steps.iter().enumerate();
            let states = (0..=modes)
                .chain(harmed.map(|(at, harm)| if at <= number { harm.mode + 1 } else { 0 }))
                .collect();
            let harmed = Harmed {
                var,
                states,
                last,
                from: chain.from,
            };
            self.harmed.insert(harm.version, harmed);
        }
        self.end_of_chain(last, modes);
    }

    fn end_of_chain(&mut self, last: StateId, modes: usize) {
        let harmed = self.harmed[&last].clone();
        let var = self.model.variable(modes + 1);
        let table = Table::from_fn(&self.model, vec![harmed.var, var], |at| {
            f64::from(u8::from(harmed.states[at[0]] == at[1]))
        });
        self.model.conditionals.push(table);
        self.state_vars.set(last, var);
    }

    /// The variable a version's state is read from, and the state for each of its states where they are not the same.
    pub(crate) fn read_from(&self, state: StateId) -> Option<(Var, Option<&[usize]>)> {
        if let Some(var) = self.state_vars.get(state) {
            return Some((var, None));
        }
        let harmed = self.harmed.get(&state)?;
        Some((harmed.var, Some(&harmed.states)))
    }

    /// A draw that all versions of a chain share; what is bad from the start keeps the draw it had.
    pub(crate) fn drawn_in_chain(
        &mut self,
        harmed: &Harmed,
        parent: Option<Var>,
        chances: &[f64],
    ) -> Var {
        let modes = self.graph.modes(harmed.from).len();
        let end = self.harmed[&harmed.last].states.clone();
        let draw = self.model.variable(2);
        let mut vars = vec![harmed.var];
        vars.extend(parent);
        vars.push(draw);
        let table = Table::from_fn(&self.model, vars, |at| {
            let drawn = at[at.len() - 1];
            let chance = match (end[at[0]].checked_sub(1), parent) {
                (None, _) => 0.0,
                (Some(_), Some(_)) if at[0] <= modes => f64::from(u8::from(at[1] == 1)),
                (Some(mode), _) => chances[mode],
            };
            if drawn == 1 { chance } else { 1.0 - chance }
        });
        self.model.conditionals.push(table);
        draw
    }
}
