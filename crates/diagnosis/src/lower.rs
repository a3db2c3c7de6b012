//! From the unrolled graph to the network: which draws need a variable of their own, which causes are shared.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::Target;

use crate::{
    depth,
    graph::{Cause, Draw, EventKey, Graph, Link, OrId, Origin, PowerId, Show, StateId, Visible},
    groups::{Outer, SharedKey},
    harms::{Harmed, chains},
    looks::LookDraws,
    model::{ALWAYS, Likelihood, Model, OUTER, Once, Or, Table, Var},
    share::{Shared, share},
    unroll::{Unrolled, What, is_breakable},
};

/// Chance that the bench supply is bad.
const BENCH_SUPPLY_BAD: f64 = 0.001;

/// The network and where to find things in it.
#[derive(Debug, Clone)]
pub(crate) struct Lowered {
    pub(crate) model: Model,
    pub(crate) states: BTreeMap<StateId, Var>,
    pub(crate) events: BTreeMap<EventKey, Var>,
    pub(crate) outside: BTreeMap<String, Var>,
    pub(crate) ors: Vec<Var>,
    /// By machine: the variable that says whether it ever had an unmodelled fault.
    pub(crate) unmodelled: Vec<Option<Var>>,
    /// Draws of findings.
    pub(crate) looks: LookDraws,
}

/// A check not yet made whose outcome is asked for.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    pub(crate) machine: usize,
    pub(crate) check: usize,
    pub(crate) ors: Vec<OrId>,
    pub(crate) requires: Option<OrId>,
    /// For each harm of the check the OR of its `when`.
    pub(crate) harms: Vec<Option<OrId>>,
}

impl Asked {
    /// All ORs that it asks for.
    pub(crate) fn all(&self) -> impl Iterator<Item = OrId> {
        let harms = self.harms.iter().flatten();
        let ors = self.ors.iter().chain(&self.requires).chain(harms);
        ors.copied()
    }
}

/// How the unmodelled faults are written down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unmodelled {
    /// That of one machine beside the tables, the others' as chains.
    Beside,
    /// All as chains of proper tables.
    Chains,
}

/// Lowers an unrolled situation with the ORs that are asked for.
pub(crate) fn lower(
    unrolled: &Unrolled,
    asked: &[OrId],
    outer: Option<&Outer>,
    unmodelled: Unmodelled,
) -> Lowered {
    let graph = &unrolled.graph;
    let ors = share(graph, used(unrolled, asked));
    let mut lowering = Lowering::new(graph, &ors);
    if unmodelled == Unmodelled::Beside {
        lowering.beside = lowering.most_looked_at(unrolled);
    }
    // a chain of harms is no table of a child by its parents where what harms depends on the chip itself
    lowering.states(unmodelled == Unmodelled::Beside);
    lowering.roots();
    lowering.draws();
    lowering.ors();
    lowering.looks(unrolled);
    lowering.outer(outer);
    let ors = (0..graph.ors.len())
        .map(|or| lowering.or_vars[or])
        .collect();
    let unmodelled = (0..graph.boards.len())
        .map(|machine| lowering.unmodelled_end.get(&machine).copied())
        .collect();
    Lowered {
        model: lowering.model,
        states: lowering.state_vars,
        events: lowering.event_vars,
        outside: lowering.outside_vars,
        ors,
        unmodelled,
        looks: lowering.looks,
    }
}

/// The ORs that something seen or asked speaks of.
fn used<'a>(unrolled: &'a Unrolled, asked: &'a [OrId]) -> impl Iterator<Item = OrId> + 'a {
    let seen = unrolled.findings.iter().flat_map(|finding| {
        let (ors, requires) = match &finding.what {
            What::Look(look) => (&look.ors[..], look.requires),
            What::Works { ors } => (&ors[..], None),
            What::Mode { .. } | What::Unmodelled { .. } => (&[][..], None),
        };
        ors.iter().copied().chain(requires)
    });
    let harmed = unrolled
        .graph
        .states
        .iter()
        .filter_map(|state| match state.origin {
            Origin::Harm { when, .. } => Some(when),
            _ => None,
        });
    seen.chain(asked.iter().copied()).chain(harmed)
}

pub(crate) struct Lowering<'a> {
    pub(crate) graph: &'a Graph,
    shared: &'a [Shared],
    pub(crate) model: Model,
    pub(crate) state_vars: BTreeMap<StateId, Var>,
    /// Versions harmed by one look of several.
    pub(crate) harmed: BTreeMap<StateId, Harmed>,
    event_vars: BTreeMap<EventKey, Var>,
    outside_vars: BTreeMap<String, Var>,
    pub(crate) or_vars: Vec<Var>,
    /// By machine and target: the chain variables before and after it.
    unmodelled_steps: BTreeMap<(usize, usize), (Option<Var>, Var)>,
    /// The machine whose unmodelled fault stands beside the tables.
    beside: Option<usize>,
    pub(crate) unmodelled_end: BTreeMap<usize, Var>,
    links: BTreeMap<Link, Var>,
    active: BTreeMap<(StateId, PowerId), Var>,
    coins: BTreeMap<PowerId, Var>,
    bench: BTreeMap<PowerId, Var>,
    leaks: BTreeMap<(usize, usize), Var>,
    draw_vars: BTreeMap<Draw, Var>,
    /// Draws of findings.
    pub(crate) looks: LookDraws,
}

impl<'a> Lowering<'a> {
    fn new(graph: &'a Graph, shared: &'a [Shared]) -> Self {
        let mut model = Model::default();
        // functions first, so that their numbers do not depend on what else is drawn
        let states = |or: &Shared| if or.needed { 2 } else { 1 };
        let or_vars = shared.iter().map(|or| model.variable(states(or))).collect();
        Self {
            graph,
            shared,
            model,
            state_vars: BTreeMap::new(),
            harmed: BTreeMap::new(),
            event_vars: BTreeMap::new(),
            outside_vars: BTreeMap::new(),
            or_vars,
            unmodelled_steps: BTreeMap::new(),
            beside: None,
            unmodelled_end: BTreeMap::new(),
            links: BTreeMap::new(),
            active: BTreeMap::new(),
            coins: BTreeMap::new(),
            bench: BTreeMap::new(),
            leaks: BTreeMap::new(),
            draw_vars: BTreeMap::new(),
            looks: LookDraws::default(),
        }
    }

    /// Events, then every version of every chip and place that can be bad.
    fn states(&mut self, with_chains: bool) {
        for (key, &chance) in &self.graph.events {
            let var = self.model.root(vec![1.0 - chance, chance]);
            self.event_vars.insert(key.clone(), var);
        }
        let chains = if with_chains {
            chains(self.graph)
        } else {
            BTreeMap::new()
        };
        for id in 0..self.graph.states.len() {
            if self.harmed.contains_key(&id) {
                continue;
            }
            if !self.graph.states[id].possible.contains(&true) {
                self.all_aside(id);
                continue;
            }
            if let Some(chain) = chains.get(&id) {
                self.chain(chain);
                continue;
            }
            let state = &self.graph.states[id];
            let var = self.model.variable(state.modes.len() + 1);
            self.state_vars.insert(id, var);
            match &state.origin {
                Origin::Prior { own, strikes } => self.prior(id, Some(var), own, strikes),
                Origin::Act {
                    from,
                    cured,
                    damage,
                } => self.act(id, var, *from, cured, *damage),
                Origin::Harm {
                    from,
                    mode,
                    chance,
                    when,
                } => self.harmed(var, *from, *mode, *chance, *when),
            }
        }
    }

    /// A version that can only be good, for what could arise with it was set aside.
    fn all_aside(&mut self, id: StateId) {
        match &self.graph.states[id].origin {
            Origin::Prior { own, strikes } if self.sets_aside(id) => {
                self.prior(id, None, own, strikes);
            }
            Origin::Act { damage, .. } if self.graph.aside.contains(&(id, 0)) => {
                self.always(Vec::new(), vec![1.0 - damage]);
            }
            _ => {}
        }
    }

    fn sets_aside(&self, id: StateId) -> bool {
        let mut of = self.graph.aside.range((id, 0)..(id + 1, 0));
        of.next().is_some()
    }

    fn always(&mut self, vars: Vec<Var>, values: Vec<f64>) {
        self.model.likelihoods.push(Likelihood {
            table: Table { vars, values },
            finding: ALWAYS,
        });
    }

    /// What is set aside keeps no chance; that it did not arise is a likelihood over the events.
    fn prior(
        &mut self,
        id: StateId,
        var: Option<Var>,
        own: &[f64],
        strikes: &[(EventKey, usize, f64)],
    ) {
        let graph = self.graph;
        let mut events: Vec<(&EventKey, Option<Var>)> = Vec::new();
        for (key, _, _) in strikes {
            if !events.iter().any(|(other, _)| *other == key) {
                events.push((key, self.event_vars.get(key).copied()));
            }
        }
        let mut vars: Vec<Var> = events.iter().filter_map(|(_, var)| *var).collect();
        let unknown: Vec<&EventKey> = events
            .iter()
            .filter(|(_, var)| var.is_some())
            .map(|(key, _)| *key)
            .collect();
        let row = |at: &[usize]| {
            let happened = |key: &EventKey| {
                unknown.iter().position(|other| *other == key).map_or_else(
                    || graph.known.get(key).copied().unwrap_or(false),
                    |place| at[place] == 1,
                )
            };
            let mut struck = vec![0.0; own.len()];
            for (key, mode, chance) in strikes {
                if happened(key) {
                    struck[*mode] = 1.0 - (1.0 - struck[*mode]) * (1.0 - chance);
                }
            }
            let mut row = after_strikes(own, &struck);
            for (mode, chance) in row[1..].iter_mut().enumerate() {
                if graph.aside.contains(&(id, mode)) {
                    *chance = 0.0;
                }
            }
            row
        };
        let kept = |row: &[f64]| row.iter().sum::<f64>();
        let sets_aside = self.sets_aside(id);
        if sets_aside {
            let table = Table::from_fn(&self.model, vars.clone(), |at| kept(&row(at)));
            self.always(table.vars, table.values);
        }
        if let Some(var) = var {
            vars.push(var);
            let table = Table::from_fn(&self.model, vars, |at| {
                let row = row(at);
                let chance = row[at[at.len() - 1]];
                match kept(&row) {
                    kept if sets_aside && kept > 0.0 => chance / kept,
                    _ => chance,
                }
            });
            self.model.conditionals.push(table);
        }
    }

    /// A new version of a place; a version that could only be good stays without variable and counts as good.
    fn act(&mut self, id: StateId, var: Var, from: StateId, cured: &[f64], damage: f64) {
        let aside = self.graph.aside.contains(&(id, 0));
        let harms = if aside { 0.0 } else { damage };
        let transition = |before: usize, after: usize| match (before, after) {
            (0, 0) if cured.is_empty() => 1.0,
            (0, 0) => 1.0 - harms,
            (0, 1) => harms,
            (0, _) => 0.0,
            (before, 0) => cured[before - 1],
            (before, after) if before == after => 1.0 - cured[before - 1],
            _ => 0.0,
        };
        let old = self.state_vars.get(&from).copied();
        let vars: Vec<Var> = old.into_iter().chain([var]).collect();
        let table = Table::from_fn(&self.model, vars, |at| match at {
            [before, after] => transition(*before, *after),
            at => transition(0, at[0]),
        });
        self.model.conditionals.push(table);
        if aside {
            let kept = |before: usize| if before == 0 { 1.0 - damage } else { 1.0 };
            let vars: Vec<Var> = old.into_iter().collect();
            let table = Table::from_fn(&self.model, vars, |at| {
                kept(at.first().copied().unwrap_or(0))
            });
            self.always(table.vars, table.values);
        }
    }

    fn harmed(&mut self, var: Var, from: StateId, mode: usize, chance: f64, when: OrId) {
        let when = self.or_vars[when];
        let transition = |before: usize, fails: usize, after: usize| {
            let harm = if fails == 1 { chance } else { 0.0 };
            match before {
                0 if after == mode + 1 => harm,
                0 if after == 0 => 1.0 - harm,
                _ => f64::from(u8::from(before == after && before != 0)),
            }
        };
        let table = match self.state_vars.get(&from) {
            Some(&old) => Table::from_fn(&self.model, vec![old, when, var], |at| {
                transition(at[0], at[1], at[2])
            }),
            None => Table::from_fn(&self.model, vec![when, var], |at| {
                transition(0, at[0], at[1])
            }),
        };
        self.model.conditionals.push(table);
    }

    /// Outside things, the unmodelled faults.
    fn roots(&mut self) {
        for (id, &chance) in &self.graph.outside {
            let var = self.model.root(vec![1.0 - chance, chance]);
            self.outside_vars.insert(id.clone(), var);
        }
        for machine in 0..self.graph.boards.len() {
            self.unmodelled(machine);
        }
    }

    /// The machine whose unmodelled fault would need the longest chain; one whose fault was found out needs its variable.
    fn most_looked_at(&self, unrolled: &Unrolled) -> Option<usize> {
        let settled = |machine: usize| {
            unrolled
                .findings
                .iter()
                .any(|finding| matches!(finding.what, What::Unmodelled { machine: other } if other == machine))
        };
        (0..self.graph.boards.len())
            .filter(|&machine| !settled(machine))
            .max_by_key(|&machine| (self.reached(machine).len(), std::cmp::Reverse(machine)))
    }

    /// The functions looked at, or below them, that an unmodelled fault of a machine can break; those that hang together stand
    /// together, rails last.
    fn reached(&self, machine: usize) -> Vec<usize> {
        let board = &self.graph.boards[machine];
        let causes = self.needed().flat_map(|(_, or)| &or.causes);
        let touched: BTreeSet<usize> = causes
            .filter_map(|cause| match cause {
                Cause::Unmodelled {
                    machine: other,
                    target,
                } if *other == machine => Some(*target),
                _ => None,
            })
            .collect();
        let ranks = depth::ranks(&board.profile.functions);
        let mut reached = board.targets.all(&board.profile);
        reached.retain(|(number, target)| touched.contains(number) && is_breakable(target));
        reached.sort_by_key(|(_, target)| match target {
            Target::Function(id) => ranks.get(id.as_str()).copied().unwrap_or(usize::MAX),
            Target::Rail(..) => usize::MAX,
        });
        reached.into_iter().map(|(number, _)| number).collect()
    }

    /// The place of the unmodelled fault: beside the tables, or as a chain "it is at this function or at one before".
    fn unmodelled(&mut self, machine: usize) {
        let board = &self.graph.boards[machine];
        let prior = board.profile.unmodelled;
        let breakable = board.targets.breakable(&board.profile);
        if board.mule || prior <= 0.0 || breakable == 0 {
            return;
        }
        let reached = self.reached(machine);
        let each = prior / breakable as f64;
        if self.beside == Some(machine) {
            return self.unmodelled_beside(machine, &reached, each, breakable);
        }
        let mut before: Option<Var> = None;
        let mut passed = 0.0;
        for &target in &reached {
            let var = self.chain_step(before, each / (1.0 - passed));
            passed += each;
            self.unmodelled_steps
                .insert((machine, target), (before, var));
            before = Some(var);
        }
        let elsewhere = each * (breakable - reached.len()) as f64;
        let end = match before {
            Some(last) if reached.len() == breakable => last,
            before => self.chain_step(before, elsewhere / (1.0 - passed)),
        };
        self.unmodelled_end.insert(machine, end);
    }

    fn unmodelled_beside(&mut self, machine: usize, reached: &[usize], each: f64, places: usize) {
        let board = &self.graph.boards[machine];
        let prior = board.profile.unmodelled;
        let var = self.model.variable(2);
        let mut carriers = Vec::with_capacity(reached.len());
        for &target in reached {
            let here = self.model.variable(2);
            carriers.push((here, each));
            self.unmodelled_steps
                .insert((machine, target), (None, here));
        }
        self.unmodelled_end.insert(machine, var);
        self.model.once = Some(Once {
            var,
            carriers,
            elsewhere: each * (places - reached.len()) as f64,
            weights: [1.0 - prior, 1.0],
        });
    }

    fn chain_step(&mut self, before: Option<Var>, chance: f64) -> Var {
        match before {
            None => self.model.root(vec![1.0 - chance, chance]),
            Some(before) => {
                let var = self.model.variable(2);
                self.model.conditionals.push(Table {
                    vars: vec![before, var],
                    values: vec![1.0 - chance, chance, 0.0, 1.0],
                });
                var
            }
        }
    }

    /// Draws that more than one OR asks for get a variable; the others are summed out where they stand.
    fn draws(&mut self) {
        let mut links: BTreeMap<Link, BTreeSet<(usize, &Show)>> = BTreeMap::new();
        let mut leaks: BTreeMap<(usize, usize), (usize, f64)> = BTreeMap::new();
        let mut functions: BTreeMap<Draw, (BTreeSet<(usize, OrId)>, f64)> = BTreeMap::new();
        let mut active: BTreeSet<(StateId, PowerId)> = BTreeSet::new();
        for (id, or) in self.needed() {
            for cause in &or.causes {
                match cause {
                    Cause::State { link, show } => {
                        links.entry(*link).or_default().insert((id, show));
                        active.extend(show.drawn.map(|power| (link.state, power)));
                        if let Some(power) = show.coin {
                            self.coin(power);
                        }
                    }
                    Cause::Leak {
                        machine,
                        target,
                        chance,
                    } => {
                        let leak = leaks
                            .entry((*machine, *target))
                            .or_insert((0, chance.get()));
                        leak.0 += 1;
                    }
                    Cause::Function { or, draw, chance } if chance.get() < 1.0 => {
                        functions
                            .entry(*draw)
                            .or_insert_with(|| (BTreeSet::new(), chance.get()))
                            .0
                            .insert((id, *or));
                    }
                    Cause::BenchSupply { power } => {
                        let model = &mut self.model;
                        self.bench.entry(*power).or_insert_with(|| {
                            model.root(vec![1.0 - BENCH_SUPPLY_BAD, BENCH_SUPPLY_BAD])
                        });
                    }
                    _ => {}
                }
            }
        }
        for (key, (_, chance)) in leaks.into_iter().filter(|(_, (uses, _))| *uses > 1) {
            let var = self.model.root(vec![1.0 - chance, chance]);
            self.leaks.insert(key, var);
        }
        for (draw, (_, chance)) in functions
            .into_iter()
            .filter(|(_, (uses, _))| uses.len() > 1)
        {
            let var = self.model.root(vec![1.0 - chance, chance]);
            self.draw_vars.insert(draw, var);
        }
        self.link_draws(&links);
        self.active_draws(&active);
    }

    fn coin(&mut self, power: PowerId) {
        let model = &mut self.model;
        self.coins
            .entry(power)
            .or_insert_with(|| model.root(vec![0.5, 0.5]));
    }

    fn link_draws(&mut self, used: &BTreeMap<Link, BTreeSet<(usize, &Show)>>) {
        let noisy: BTreeMap<Link, usize> = used
            .iter()
            .filter(|(link, _)| self.is_noisy(**link))
            .map(|(link, uses)| (*link, uses.len()))
            .collect();
        let mut explicit: BTreeSet<Link> = noisy
            .iter()
            .filter(|(_, uses)| **uses > 1)
            .map(|(link, _)| *link)
            .collect();
        for link in noisy.keys() {
            let path = self.lineage(link.state, |state| {
                noisy.contains_key(&Link { state, ..*link })
            });
            explicit.extend(path.into_iter().map(|state| Link { state, ..*link }));
        }
        for link in explicit {
            // sorted by state: the parent comes first
            let chances = self.graph.breaks(link);
            if let Some(harmed) = self.harmed.get(&link.state).cloned() {
                let of = |state| Link { state, ..link };
                let known = self.links.get(&of(harmed.last)).copied();
                let parent = self.links.get(&of(harmed.from)).copied();
                let var = known.unwrap_or_else(|| self.drawn_in_chain(&harmed, parent, &chances));
                self.links.insert(of(harmed.last), var);
                self.links.insert(link, var);
                continue;
            }
            let parent = self.before(link.state).and_then(|from| {
                Some((
                    from,
                    *self.links.get(&Link {
                        state: from,
                        ..link
                    })?,
                ))
            });
            if let Some(var) = self.persistent(link.state, parent, &chances) {
                self.links.insert(link, var);
            }
        }
    }

    fn is_noisy(&self, link: Link) -> bool {
        let possible = &self.graph.states[link.state].possible;
        self.graph
            .breaks(link)
            .iter()
            .zip(possible)
            .any(|(&chance, &possible)| possible && chance > 0.0 && chance < 1.0)
    }

    fn active_draws(&mut self, used: &BTreeSet<(StateId, PowerId)>) {
        let mut explicit = used.clone();
        for &(state, power) in used {
            let path = self.lineage(state, |other| used.contains(&(other, power)));
            explicit.extend(path.into_iter().map(|state| (state, power)));
        }
        for (state, power) in explicit {
            let shows: Vec<f64> = self.graph.states[state]
                .modes
                .iter()
                .map(|mode| mode.shows)
                .collect();
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
        match self.graph.states[state].origin {
            Origin::Prior { .. } => None,
            Origin::Act { from, .. } | Origin::Harm { from, .. } => Some(from),
        }
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
        let now = *self.state_vars.get(&state)?;
        let fresh = |mode: usize| if mode == 0 { 0.0 } else { chances[mode - 1] };
        let split = |chance: f64, value: usize| if value == 1 { chance } else { 1.0 - chance };
        let var = self.model.variable(2);
        let old = parent.and_then(|(from, draw)| Some((*self.state_vars.get(&from)?, draw)));
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

    /// The ORs that something hangs on.
    fn needed(&self) -> impl Iterator<Item = (usize, &'a Shared)> + use<'a> {
        let shared: &'a [Shared] = self.shared;
        shared.iter().enumerate().filter(|(_, or)| or.needed)
    }

    fn ors(&mut self) {
        for (id, or) in self.needed() {
            let mut survivals: Vec<Table> = or
                .causes
                .iter()
                .filter_map(|cause| self.survival(cause))
                .collect();
            for &part in &or.parts {
                survivals.push(Table {
                    vars: vec![self.or_vars[part]],
                    values: vec![1.0, 0.0],
                });
            }
            self.model.ors.push(Or {
                child: self.or_vars[id],
                survivals,
            });
        }
    }

    /// Chance that a cause does not act.
    fn survival(&self, cause: &Cause) -> Option<Table> {
        let bad = |var: Var| Table {
            vars: vec![var],
            values: vec![1.0, 0.0],
        };
        Some(match cause {
            Cause::Always => Table {
                vars: Vec::new(),
                values: vec![0.0],
            },
            Cause::Leak {
                machine,
                target,
                chance,
            } => match self.leaks.get(&(*machine, *target)) {
                Some(&var) => bad(var),
                None => Table {
                    vars: Vec::new(),
                    values: vec![1.0 - chance.get()],
                },
            },
            Cause::Unmodelled { machine, target } => {
                match *self.unmodelled_steps.get(&(*machine, *target))? {
                    (None, var) => bad(var),
                    (Some(before), var) => Table {
                        vars: vec![before, var],
                        values: vec![1.0, 0.0, 1.0, 1.0],
                    },
                }
            }
            Cause::State { link, show } => self.state_survival(*link, show),
            Cause::Function { or, draw, chance } => match self.draw_vars.get(draw) {
                Some(&var) if chance.get() < 1.0 => Table {
                    vars: vec![self.or_vars[*or], var],
                    values: vec![1.0, 1.0, 1.0, 0.0],
                },
                _ => Table {
                    vars: vec![self.or_vars[*or]],
                    values: vec![1.0, 1.0 - chance.get()],
                },
            },
            Cause::BenchSupply { power } => bad(self.bench[power]),
            Cause::Outside { id } => bad(self.outside_vars[id]),
        })
    }

    fn state_survival(&self, link: Link, show: &Show) -> Table {
        let Some((state, states)) = self.read_from(link.state) else {
            return Table {
                vars: Vec::new(),
                values: vec![1.0],
            };
        };
        let drawn = self.links.get(&link).copied();
        let active = show
            .drawn
            .and_then(|power| self.active.get(&(link.state, power)).copied());
        let coin = show.coin.map(|power| self.coins[&power]);
        let chances = self.graph.breaks(link);
        let modes = &self.graph.states[link.state].modes;
        let mut vars = vec![state];
        vars.extend([drawn, active, coin].into_iter().flatten());
        Table::from_fn(&self.model, vars, |at| {
            let now = states.map_or(at[0], |states| states[at[0]]);
            let Some(mode) = now.checked_sub(1) else {
                return 1.0;
            };
            let mut rest = at[1..].iter();
            let mut flag = |present: bool| present.then(|| rest.next() == Some(&1));
            let breaks =
                flag(drawn.is_some()).map_or(chances[mode], |breaks| f64::from(u8::from(breaks)));
            let acts = flag(active.is_some()).is_none_or(|acts| acts || modes[mode].shows >= 1.0);
            let warm = flag(coin.is_some()).unwrap_or(true);
            let visible = match show.modes[mode] {
                Visible::Never => false,
                Visible::Always => true,
                Visible::IfWarm => warm,
            };
            if acts && visible { 1.0 - breaks } else { 1.0 }
        })
    }

    /// What the machines that are left out say.
    fn outer(&mut self, outer: Option<&Outer>) {
        let Some(outer) = outer else { return };
        let var = |key: &SharedKey| match key {
            SharedKey::Event(key) => self.event_vars.get(key).copied(),
            SharedKey::Outside(id) => self.outside_vars.get(id).copied(),
        };
        let vars: Option<Vec<Var>> = outer.keys.iter().map(var).collect();
        debug_assert!(vars.is_some(), "shared things are in both parts");
        if let Some(vars) = vars {
            self.model.likelihoods.push(Likelihood {
                table: Table {
                    vars,
                    values: outer.values.clone(),
                },
                finding: OUTER,
            });
        }
    }
}

/// The chances of a state after strikes: a bad own state stays; a good one becomes one of those struck, in proportion.
fn after_strikes(own: &[f64], struck: &[f64]) -> Vec<f64> {
    let good = 1.0 - own.iter().sum::<f64>();
    let mut chances = vec![0.0; own.len() + 1];
    chances[1..].copy_from_slice(own);
    let able: Vec<usize> = (0..struck.len())
        .filter(|&mode| struck[mode] > 0.0)
        .collect();
    for set in 0_u32..1 << able.len() {
        let hit = |place: usize| set >> place & 1 == 1;
        let chance: f64 = able
            .iter()
            .enumerate()
            .map(|(place, &mode)| {
                if hit(place) {
                    struck[mode]
                } else {
                    1.0 - struck[mode]
                }
            })
            .product();
        let sum: f64 = able
            .iter()
            .enumerate()
            .filter(|(place, _)| hit(*place))
            .map(|(_, &mode)| struck[mode])
            .sum();
        if set == 0 {
            chances[0] = good * chance;
        }
        for (_, &mode) in able.iter().enumerate().filter(|(place, _)| hit(*place)) {
            chances[mode + 1] += good * chance * struck[mode] / sum;
        }
    }
    chances
}
