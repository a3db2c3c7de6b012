//! What is drawn once though several ORs ask for it: leaks, whether a mode breaks a function, whether it shows.

use std::collections::BTreeSet;

use crate::{
    graph::{Cause, Chance, Draw, Graph, Link, PowerId, Show, StateId},
    lower::Lowering,
    model::{Table, Var},
    wiring::short,
};

/// Chance that the bench supply is bad.
const BENCH_SUPPLY_BAD: f64 = 0.001;

impl Lowering<'_> {
    /// Draws that more than one OR asks for get a variable; the others are summed out where they stand.
    pub(crate) fn draws(&mut self) {
        let shared = self.shared;
        let mut links: Vec<(Link, u32, Show)> = Vec::new();
        let mut leaks: Vec<((u32, u32), Chance)> = Vec::new();
        let mut functions: Vec<(Draw, u32, u32, Chance)> = Vec::new();
        let mut active: Vec<(StateId, PowerId)> = Vec::new();
        let model = &mut self.model;
        for id in (0..shared.len()).filter(|&or| shared.is_needed(or)) {
            for &cause in shared.causes(id) {
                match cause {
                    Cause::State { link, show } => {
                        if is_noisy(self.graph, link) {
                            links.push((link, short(id), show));
                        }
                        let drawn = show.drawn.get();
                        active.extend(drawn.map(|power| (link.state as usize, power)));
                        if let Some(power) = show.coin.get() {
                            self.coins.or_make(power, || model.root(vec![0.5, 0.5]));
                        }
                    }
                    Cause::Leak {
                        machine,
                        target,
                        chance,
                    } => leaks.push(((machine, target), chance)),
                    Cause::Function { or, draw, chance } if chance.get() < 1.0 => {
                        functions.push((draw, short(id), or, chance));
                    }
                    Cause::BenchSupply { power } => {
                        self.bench.or_make(power as usize, || {
                            model.root(vec![1.0 - BENCH_SUPPLY_BAD, BENCH_SUPPLY_BAD])
                        });
                    }
                    _ => {}
                }
            }
        }
        leaks.sort_by_key(|(leak, _)| *leak);
        for uses in leaks
            .chunk_by(|a, b| a.0 == b.0)
            .filter(|uses| uses.len() > 1)
        {
            let chance = uses[0].1.get();
            let var = model.root(vec![1.0 - chance, chance]);
            self.leaks.insert(uses[0].0, var);
        }
        functions.sort_unstable();
        functions.dedup_by_key(|(draw, id, or, _)| (*draw, *id, *or));
        for uses in functions
            .chunk_by(|a, b| a.0 == b.0)
            .filter(|uses| uses.len() > 1)
        {
            let chance = uses[0].3.get();
            let var = model.root(vec![1.0 - chance, chance]);
            self.draw_vars.insert(uses[0].0, var);
        }
        drop((leaks, functions));
        links.sort_unstable();
        links.dedup();
        self.link_draws(&links);
        active.sort_unstable();
        active.dedup();
        self.active_draws(&active);
    }

    /// What is drawn for noisy links.
    fn link_draws(&mut self, used: &[(Link, u32, Show)]) {
        let mut explicit: BTreeSet<Link> = BTreeSet::new();
        let is_used = |link| {
            used.binary_search_by_key(&link, |(other, _, _)| *other)
                .is_ok()
        };
        for uses in used.chunk_by(|a, b| a.0 == b.0) {
            let link = uses[0].0;
            if uses.len() > 1 {
                explicit.insert(link);
            }
            let of = |state| Link {
                state: short(state),
                ..link
            };
            let path = self.lineage(link.state as usize, |state| is_used(of(state)));
            explicit.extend(path.into_iter().map(of));
        }
        for link in explicit {
            // sorted by state: the parent comes first
            let graph = self.graph;
            let chances = graph.breaks(link);
            let of = |state| Link {
                state: short(state),
                ..link
            };
            if let Some(harmed) = self.harmed.get(&(link.state as usize)).cloned() {
                let known = self.links.get(&of(harmed.last)).copied();
                let parent = self.links.get(&of(harmed.from)).copied();
                let var = known.unwrap_or_else(|| self.drawn_in_chain(&harmed, parent, &chances));
                self.links.insert(of(harmed.last), var);
                self.links.insert(link, var);
                continue;
            }
            let state = link.state as usize;
            let parent = self
                .before(state)
                .and_then(|from| Some((from, *self.links.get(&of(from))?)));
            if let Some(var) = self.persistent(state, parent, &chances) {
                self.links.insert(link, var);
            }
        }
    }

    fn active_draws(&mut self, used: &[(StateId, PowerId)]) {
        let mut explicit: BTreeSet<(StateId, PowerId)> = used.iter().copied().collect();
        for &(state, power) in used {
            let is_used = |other| used.binary_search(&(other, power)).is_ok();
            let path = self.lineage(state, is_used);
            explicit.extend(path.into_iter().map(|state| (state, power)));
        }
        for (state, power) in explicit {
            let modes = self.graph.modes(state).iter();
            let shows: Vec<f64> = modes.map(|mode| mode.shows).collect();
            if let Some(harmed) = self.harmed.get(&state).cloned() {
                let known = self.active.get(&(harmed.last, power)).copied();
                let parent = self.active.get(&(harmed.from, power)).copied();
                let var = known.unwrap_or_else(|| self.drawn_in_chain(&harmed, parent, &shows));
                self.active.insert((harmed.last, power), var);
                self.active.insert((state, power), var);
                continue;
            }
            let parent = self
                .before(state)
                .and_then(|from| Some((from, *self.active.get(&(from, power))?)));
            if let Some(var) = self.persistent(state, parent, &shows) {
                self.active.insert((state, power), var);
            }
        }
    }

    /// The version before this one.
    fn before(&self, state: StateId) -> Option<StateId> {
        self.graph.states[state].origin.from()
    }

    /// This version and those back to the nearest earlier one that is used; empty if none is.
    fn lineage(&self, state: StateId, used: impl Fn(StateId) -> bool) -> Vec<StateId> {
        let mut path = vec![state];
        let mut at = state;
        while let Some(from) = self.before(at) {
            path.push(from);
            if used(from) {
                return path;
            }
            at = from;
        }
        Vec::new()
    }

    /// A draw that a mode keeps as long as it lasts: with the version before, an uncured mode keeps its draw.
    fn persistent(
        &mut self,
        state: StateId,
        parent: Option<(StateId, Var)>,
        chances: &[f64],
    ) -> Option<Var> {
        let now = self.state_vars.get(state)?;
        let fresh = |mode: usize| if mode == 0 { 0.0 } else { chances[mode - 1] };
        let split = |chance: f64, value: usize| if value == 1 { chance } else { 1.0 - chance };
        let var = self.model.variable(2);
        let old = parent.and_then(|(from, draw)| Some((self.state_vars.get(from)?, draw)));
        let table = match old {
            Some((before, draw)) => {
                Table::from_fn(&self.model, vec![before, now, draw, var], |at| {
                    let kept = at[0] == at[1] && at[1] != 0;
                    split(
                        if kept {
                            f64::from(u8::from(at[2] == 1))
                        } else {
                            fresh(at[1])
                        },
                        at[3],
                    )
                })
            }
            None => Table::from_fn(&self.model, vec![now, var], |at| split(fresh(at[0]), at[1])),
        };
        self.model.conditionals.push(table);
        Some(var)
    }
}

fn is_noisy(graph: &Graph, link: Link) -> bool {
    let possible = graph.states[link.state as usize].possible;
    let chances = graph.breaks(link);
    let mut chances = chances.iter().enumerate();
    chances.any(|(mode, &chance)| possible.has(mode) && chance > 0.0 && chance < 1.0)
}
