//! From the unrolled graph to the network: which draws need a variable of their own, which causes are shared.

use std::collections::BTreeMap;

use crate::{
    graph::{
        Cause, Draw, EventKey, Graph, Link, OrId, Origin, Own, PowerId, Show, StateId, Strike,
        Touch,
    },
    groups::{Outer, SharedKey},
    harms::{Harmed, chains},
    looks::LookDraws,
    model::{ALWAYS, Likelihood, Model, OUTER, Once, Or, Table, Var, for_each_state},
    share::{Shared, share},
    unroll::{Unrolled, What},
    wiring::{Maybe, short},
};

/// The network and where to find things in it.
#[derive(Debug)]
pub(crate) struct Lowered {
    pub(crate) model: Model,
    pub(crate) places: Places,
}

/// Where to find things in a network.
#[derive(Debug)]
pub(crate) struct Places {
    pub(crate) states: Vars,
    pub(crate) events: BTreeMap<EventKey, Var>,
    pub(crate) outside: BTreeMap<String, Var>,
    /// By machine: the variable that says whether it ever had an unmodelled fault.
    pub(crate) unmodelled: Vec<Option<Var>>,
    /// Draws of findings.
    pub(crate) looks: LookDraws,
}

/// The variables of what is numbered, where it has one.
#[derive(Debug, Clone, Default)]
pub(crate) struct Vars(Vec<Maybe>);

impl Vars {
    fn none(count: usize) -> Self {
        Self(vec![Maybe::NONE; count])
    }

    pub(crate) fn get(&self, number: usize) -> Option<Var> {
        self.0.get(number).and_then(|var| var.get())
    }

    pub(crate) fn set(&mut self, number: usize, var: Var) {
        self.0[number] = Maybe::of(var);
    }

    /// Its variable, made if it has none.
    pub(crate) fn or_make(&mut self, number: usize, make: impl FnOnce() -> Var) -> Var {
        self.get(number).unwrap_or_else(|| {
            let var = make();
            self.set(number, var);
            var
        })
    }
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
    let unmodelled = (0..graph.boards.len())
        .map(|machine| lowering.unmodelled_end.get(machine))
        .collect();
    let mut model = lowering.model;
    model.states.shrink_to_fit();
    model.conditionals.shrink_to_fit();
    model.likelihoods.shrink_to_fit();
    let places = Places {
        states: lowering.state_vars,
        events: lowering.event_vars,
        outside: lowering.outside_vars,
        unmodelled,
        looks: lowering.looks,
    };
    Lowered { model, places }
}

/// The ORs that something seen or asked speaks of.
fn used<'a>(unrolled: &'a Unrolled, asked: &'a [OrId]) -> impl Iterator<Item = OrId> + 'a {
    let seen = unrolled.findings.iter().flat_map(|finding| {
        let (ors, requires) = match &finding.what {
            What::Look(look) => (&look.ors[..], look.requires.get()),
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
            Origin::Harm { when, .. } => Some(when as usize),
            _ => None,
        });
    seen.chain(asked.iter().copied()).chain(harmed)
}

pub(crate) struct Lowering<'a> {
    pub(crate) graph: &'a Graph,
    pub(crate) shared: &'a Shared,
    pub(crate) model: Model,
    pub(crate) state_vars: Vars,
    /// Versions harmed by one look of several.
    pub(crate) harmed: BTreeMap<StateId, Harmed>,
    event_vars: BTreeMap<EventKey, Var>,
    /// By key.
    key_vars: Vars,
    outside_vars: BTreeMap<String, Var>,
    /// By outside thing.
    thing_vars: Vars,
    /// The targets that an unmodelled fault can break, where something looks at them, with their machines.
    touched: Vec<(u32, u32)>,
    /// By machine and target: the chain variables before and after it.
    unmodelled_steps: BTreeMap<(u32, u32), (Option<Var>, Var)>,
    /// The machine whose unmodelled fault stands beside the tables.
    beside: Option<usize>,
    /// By machine.
    pub(crate) unmodelled_end: Vars,
    pub(crate) links: BTreeMap<Link, Var>,
    pub(crate) active: BTreeMap<(StateId, PowerId), Var>,
    /// By power-up.
    pub(crate) coins: Vars,
    pub(crate) bench: Vars,
    pub(crate) leaks: BTreeMap<(u32, u32), Var>,
    pub(crate) draw_vars: BTreeMap<Draw, Var>,
    /// Draws of findings.
    pub(crate) looks: LookDraws,
}

impl<'a> Lowering<'a> {
    fn new(graph: &'a Graph, shared: &'a Shared) -> Self {
        let mut model = Model::default();
        // functions first, with the numbers of their ORs, so that these do not depend on what else is drawn
        let states = |or: usize| if shared.is_needed(or) { 2 } else { 1 };
        model.states.reserve(shared.len() + graph.states.len());
        model.conditionals.reserve(graph.states.len());
        model.states.extend((0..shared.len()).map(states));
        Self {
            graph,
            shared,
            model,
            state_vars: Vars::none(graph.states.len()),
            harmed: BTreeMap::new(),
            event_vars: BTreeMap::new(),
            key_vars: Vars::none(graph.keys.len()),
            outside_vars: BTreeMap::new(),
            thing_vars: Vars::none(graph.outside.len()),
            touched: touched(graph, shared),
            unmodelled_steps: BTreeMap::new(),
            beside: None,
            unmodelled_end: Vars::none(graph.boards.len()),
            links: BTreeMap::new(),
            active: BTreeMap::new(),
            coins: Vars::none(graph.powers),
            bench: Vars::none(graph.powers),
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
        for (number, key) in self.graph.keys.iter().enumerate() {
            if let Some(&var) = self.event_vars.get(key) {
                self.key_vars.set(number, var);
            }
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
            if self.graph.states[id].possible.is_empty() {
                self.all_aside(id);
                continue;
            }
            if let Some(chain) = chains.get(&id) {
                self.chain(chain);
                continue;
            }
            let var = self.model.variable(self.graph.modes(id).len() + 1);
            self.state_vars.set(id, var);
            match self.graph.states[id].origin {
                Origin::Prior(own) => self.prior(id, Some(var), own),
                Origin::Act { from, touch } => self.act(id, var, from as usize, touch),
                Origin::Harm {
                    from,
                    mode,
                    chance,
                    when,
                } => self.harmed(var, from as usize, usize::from(mode), chance, when as usize),
            }
        }
    }

    /// A version that can only be good, for what could arise with it was set aside.
    fn all_aside(&mut self, id: StateId) {
        match self.graph.states[id].origin {
            Origin::Prior(own) if self.sets_aside(id) => self.prior(id, None, own),
            Origin::Act { .. } if self.graph.aside.contains(&(id, 0)) => {
                let damage = self.graph.damage(id);
                self.always(Vec::new(), vec![1.0 - damage]);
            }
            _ => {}
        }
    }

    fn sets_aside(&self, id: StateId) -> bool {
        if self.graph.aside.is_empty() {
            return false;
        }
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
    fn prior(&mut self, id: StateId, var: Option<Var>, own: Own) {
        let graph = self.graph;
        let strikes = graph.strikes(own);
        let own = graph.own(graph.states[id].kind, own);
        let sets_aside = self.sets_aside(id);
        if let (Some(var), true, false) = (var, strikes.is_empty(), sets_aside) {
            let mut values = Vec::with_capacity(own.len() + 1);
            values.push(1.0 - own.iter().sum::<f64>());
            values.extend(own);
            let vars = vec![var];
            return self.model.conditionals.push(Table { vars, values });
        }
        let mut unknown: Vec<(u32, Var)> = Vec::new();
        for &Strike { event, .. } in strikes {
            let known = unknown.iter().any(|(other, _)| *other == event);
            if let (false, Some(var)) = (known, self.key_vars.get(event as usize)) {
                unknown.push((event, var));
            }
        }
        let mut vars: Vec<Var> = unknown.iter().map(|(_, var)| *var).collect();
        let row = |at: &[usize]| {
            // an event without variable is known to have happened
            let happened = |event: u32| {
                let place = unknown.iter().position(|(other, _)| *other == event);
                place.is_none_or(|place| at[place] == 1)
            };
            let mut struck = vec![0.0; own.len()];
            for strike in strikes {
                if happened(strike.event) {
                    let struck = &mut struck[strike.mode as usize];
                    *struck = 1.0 - (1.0 - *struck) * (1.0 - strike.chance);
                }
            }
            let mut row = after_strikes(&own, &struck);
            for (mode, chance) in row[1..].iter_mut().enumerate() {
                if graph.aside.contains(&(id, mode)) {
                    *chance = 0.0;
                }
            }
            row
        };
        let kept = |row: &[f64]| row.iter().sum::<f64>();
        if sets_aside {
            let table = Table::from_fn(&self.model, vars.clone(), |at| kept(&row(at)));
            self.always(table.vars, table.values);
        }
        if let Some(var) = var {
            let mut values = Vec::with_capacity((own.len() + 1) << vars.len());
            for_each_state(&vec![2; vars.len()], |at| {
                let row = row(at);
                let kept = kept(&row);
                values.extend(row.iter().map(|chance| match kept {
                    kept if sets_aside && kept > 0.0 => chance / kept,
                    _ => *chance,
                }));
            });
            vars.push(var);
            self.model.conditionals.push(Table { vars, values });
        }
    }

    /// A new version of a place; a version that could only be good stays without variable and counts as good.
    fn act(&mut self, id: StateId, var: Var, from: StateId, touch: Touch) {
        let damage = self.graph.damage(id);
        let modes = self.graph.modes(id);
        let cured = |mode: usize| {
            let cured = modes.get(mode).cured_by;
            match touch {
                Touch::Reseat => cured.reseat,
                Touch::Resolder => cured.resolder,
                Touch::Clean => cured.clean,
            }
        };
        let aside = self.graph.aside.contains(&(id, 0));
        let harms = if aside { 0.0 } else { damage };
        let transition = |before: usize, after: usize| match (before, after) {
            (0, 0) if modes.len() == 0 => 1.0,
            (0, 0) => 1.0 - harms,
            (0, 1) => harms,
            (0, _) => 0.0,
            (before, 0) => cured(before - 1),
            (before, after) if before == after => 1.0 - cured(before - 1),
            _ => 0.0,
        };
        let old = self.state_vars.get(from);
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
        let transition = |before: usize, fails: usize, after: usize| {
            let harm = if fails == 1 { chance } else { 0.0 };
            match before {
                0 if after == mode + 1 => harm,
                0 if after == 0 => 1.0 - harm,
                _ => f64::from(u8::from(before == after && before != 0)),
            }
        };
        let table = match self.state_vars.get(from) {
            Some(old) => Table::from_fn(&self.model, vec![old, when, var], |at| {
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
        for (number, (id, &chance)) in self.graph.outside.iter().enumerate() {
            let var = self.model.root(vec![1.0 - chance, chance]);
            self.thing_vars.set(number, var);
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

    /// The functions looked at, or below them, that an unmodelled fault of a machine can break.
    fn reached(&self, machine: usize) -> &[(u32, u32)] {
        let of = |machine: usize| {
            let machine = short(machine);
            self.touched.partition_point(|(other, _)| *other < machine)
        };
        &self.touched[of(machine)..of(machine + 1)]
    }

    /// The same; those that hang together stand together, rails last.
    fn reached_in_order(&self, machine: usize) -> Vec<u32> {
        let wiring = &self.graph.boards[machine].wiring;
        let reached = self.reached(machine).iter();
        let mut reached: Vec<u32> = reached.map(|(_, target)| *target).collect();
        reached.sort_by_key(|&target| wiring.rank(target as usize));
        reached
    }

    /// The place of the unmodelled fault: beside the tables, or as a chain "it is at this function or at one before".
    fn unmodelled(&mut self, machine: usize) {
        let board = &self.graph.boards[machine];
        let prior = board.profile.unmodelled;
        let breakable = board.wiring.breakable();
        if board.mule || prior <= 0.0 || breakable == 0 {
            return;
        }
        let reached = self.reached_in_order(machine);
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
                .insert((short(machine), target), (before, var));
            before = Some(var);
        }
        let elsewhere = each * (breakable - reached.len()) as f64;
        let end = match before {
            Some(last) if reached.len() == breakable => last,
            before => self.chain_step(before, elsewhere / (1.0 - passed)),
        };
        self.unmodelled_end.set(machine, end);
    }

    fn unmodelled_beside(&mut self, machine: usize, reached: &[u32], each: f64, places: usize) {
        let board = &self.graph.boards[machine];
        let prior = board.profile.unmodelled;
        let var = self.model.variable(2);
        let mut carriers = Vec::with_capacity(reached.len());
        for &target in reached {
            let here = self.model.variable(2);
            carriers.push((here, each));
            self.unmodelled_steps
                .insert((short(machine), target), (None, here));
        }
        self.unmodelled_end.set(machine, var);
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

    fn ors(&mut self) {
        let shared = self.shared;
        let needed = (0..shared.len()).filter(|&or| shared.is_needed(or));
        self.model.ors.reserve_exact(needed.clone().count());
        for id in needed {
            let (causes, parts) = (shared.causes(id), shared.parts(id));
            let mut survivals = Vec::with_capacity(causes.len() + parts.len());
            survivals.extend(causes.iter().filter_map(|cause| self.survival(*cause)));
            survivals.extend(parts.iter().map(|&part| whole(part as usize)));
            let child = id;
            self.model.ors.push(Or { child, survivals });
        }
    }

    /// Chance that a cause does not act.
    fn survival(&self, cause: Cause) -> Option<Table> {
        Some(match cause {
            Cause::Always => number(0.0),
            Cause::Leak {
                machine,
                target,
                chance,
            } => match self.leaks.get(&(machine, target)) {
                Some(&var) => whole(var),
                None => number(1.0 - chance.get()),
            },
            Cause::Unmodelled { machine, target } => {
                match *self.unmodelled_steps.get(&(machine, target))? {
                    (None, var) => whole(var),
                    (Some(before), var) => Table {
                        vars: vec![before, var],
                        values: vec![1.0, 0.0, 1.0, 1.0],
                    },
                }
            }
            Cause::State { link, show } => self.state_survival(link, show),
            Cause::Function { or, draw, chance } => match self.draw_vars.get(&draw) {
                Some(&var) if chance.get() < 1.0 => Table {
                    vars: vec![or as usize, var],
                    values: vec![1.0, 1.0, 1.0, 0.0],
                },
                _ => Table {
                    vars: vec![or as usize],
                    values: vec![1.0, 1.0 - chance.get()],
                },
            },
            Cause::BenchSupply { power } => whole(self.bench.get(power as usize)?),
            Cause::Outside { thing } => whole(self.thing_vars.get(thing as usize)?),
        })
    }

    fn state_survival(&self, link: Link, show: Show) -> Table {
        let id = link.state as usize;
        let Some((state, states)) = self.read_from(id) else {
            return number(1.0);
        };
        let drawn = self.links.get(&link).copied();
        let active = show.drawn.get();
        let active = active.and_then(|power| self.active.get(&(id, power)).copied());
        let coin = show.coin.get().and_then(|power| self.coins.get(power));
        let chances = self.graph.breaks(link);
        let modes = self.graph.modes(id);
        let visible = self.graph.visible[show.visible as usize];
        if let (None, None, None, None) = (states, drawn, active, coin) {
            let each = chances.iter().enumerate();
            let each = each.map(|(mode, breaks)| {
                let acts = visible.always.has(mode) || visible.if_warm.has(mode);
                if acts { 1.0 - breaks } else { 1.0 }
            });
            let mut values = Vec::with_capacity(chances.len() + 1);
            values.push(1.0);
            values.extend(each);
            return Table {
                vars: vec![state],
                values,
            };
        }
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
            let acts =
                flag(active.is_some()).is_none_or(|acts| acts || modes.get(mode).shows >= 1.0);
            let warm = flag(coin.is_some()).unwrap_or(true);
            let visible = visible.always.has(mode) || (warm && visible.if_warm.has(mode));
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

/// The targets that an unmodelled fault can break, where something looks at them, with their machines, in order.
fn touched(graph: &Graph, shared: &Shared) -> Vec<(u32, u32)> {
    if graph
        .boards
        .iter()
        .all(|board| board.profile.unmodelled <= 0.0)
    {
        return Vec::new();
    }
    let needed = (0..shared.len()).filter(|&or| shared.is_needed(or));
    let causes = needed.flat_map(|or| shared.causes(or));
    let touched = causes.filter_map(|cause| match *cause {
        Cause::Unmodelled { machine, target } => Some((machine, target)),
        _ => None,
    });
    let mut touched: Vec<(u32, u32)> = touched.collect();
    touched.sort_unstable();
    touched.dedup();
    touched
}

/// The variable alone decides: its second state breaks what it stands under.
fn whole(var: Var) -> Table {
    Table {
        vars: vec![var],
        values: vec![1.0, 0.0],
    }
}

/// What depends on no variable.
fn number(value: f64) -> Table {
    Table {
        vars: Vec::new(),
        values: vec![value],
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
