//! The situation unrolled: states of chips and places by version, functions as they were at each look.
//!
//! Everything is symbolic here. A function at a look is an OR over causes; two looks with the same causes are one OR
//! (so a function that nothing touched is one variable in every epoch). [`crate::lower`] turns this into a network.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use catalogue::{Need, Part, Profile, RailFault, RailSide, Site, Target};

/// Index of a state variable: one version of a chip or of a place.
pub(crate) type StateId = usize;
/// Index of an OR.
pub(crate) type OrId = usize;
/// Index of a power-up.
pub(crate) type PowerId = usize;
/// A machine's index and a part's index in its profile.
pub(crate) type Position = (usize, usize);

/// A chance that can be compared and sorted: its bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Chance(u64);

impl Chance {
    pub(crate) fn of(chance: f64) -> Self {
        Self(chance.to_bits())
    }

    pub(crate) fn get(self) -> f64 {
        f64::from_bits(self.0)
    }
}

/// One version of a chip or of a place: state 0 is good, state i its mode i − 1.
#[derive(Debug, Clone)]
pub(crate) struct State {
    pub(crate) modes: Arc<[StateMode]>,
    pub(crate) origin: Origin,
    /// Modes that can be present at all.
    pub(crate) possible: Vec<bool>,
}

/// What a state needs to know of a mode.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StateMode {
    pub(crate) id: String,
    pub(crate) shows: f64,
    pub(crate) after: f64,
}

/// Where a version comes from.
#[derive(Debug, Clone)]
pub(crate) enum Origin {
    /// At take-in, or as a new chip: own chances, then the strikes of events (event, mode, chance).
    Prior {
        own: Vec<f64>,
        strikes: Vec<(EventKey, usize, f64)>,
    },
    /// A place touched by an act.
    Act {
        from: StateId,
        cured: Vec<f64>,
        damage: f64,
    },
    /// A chip after a check that may harm.
    Harm {
        from: StateId,
        mode: usize,
        chance: f64,
        when: OrId,
    },
}

/// A mode that arises with a version of a state.
pub(crate) type Arising = (StateId, usize);

/// An event of a machine or of a lot.
pub(crate) type EventKey = (String, String);

/// Why a function may fail.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Cause {
    /// It fails whatever happens: an empty position.
    Always,
    /// Drawn once per machine and function.
    Leak {
        machine: usize,
        target: usize,
        chance: Chance,
    },
    /// The machine's unmodelled fault sits here.
    Unmodelled { machine: usize, target: usize },
    /// A mode of a chip or a place, seen under a condition.
    State { link: Link, show: Show },
    /// A failing function.
    Function {
        or: OrId,
        draw: Draw,
        chance: Chance,
    },
    /// The bench supply is bad during this power-up.
    BenchSupply { power: PowerId },
    /// An outside thing is bad.
    Outside { id: String },
}

/// Whether a present mode really breaks a function is drawn once for this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Link {
    pub(crate) state: StateId,
    pub(crate) position: Position,
    pub(crate) target: usize,
}

/// Whether a failing function breaks one that needs it is drawn once for this: machine, from, to.
pub(crate) type Draw = (usize, usize, usize);

/// Which modes act under a condition.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Show {
    pub(crate) modes: Vec<Visible>,
    /// Intermittent modes are drawn for this power-up.
    pub(crate) drawn: Option<PowerId>,
    /// Modes that show only warm ask this power-up's coin.
    pub(crate) coin: Option<PowerId>,
}

/// Whether a mode acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Visible {
    Never,
    Always,
    IfWarm,
}

/// A function, or a side of a rail, at one look.
#[derive(Debug, Clone)]
pub(crate) struct Or {
    pub(crate) machine: usize,
    pub(crate) target: usize,
    pub(crate) causes: Arc<[Cause]>,
}

/// A condition of looking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct View {
    /// None without power.
    pub(crate) power: Option<PowerId>,
    pub(crate) warmth: Warmth,
    pub(crate) bench_supply: bool,
}

/// How warm the machine is at a look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Warmth {
    /// Minutes on.
    Minutes(f64),
    /// Not said: the power-up's coin decides.
    Coin,
    /// Every present mode is taken as showing.
    All,
}

/// A chip.
#[derive(Debug, Clone)]
pub(crate) struct ChipState {
    pub(crate) state: StateId,
    pub(crate) mark: Option<String>,
    /// Where it sits.
    pub(crate) position: Option<Position>,
}

/// What a position holds now.
#[derive(Debug, Clone)]
pub(crate) struct PositionState {
    pub(crate) chip: Option<usize>,
    pub(crate) place: StateId,
    /// An act has touched the place.
    pub(crate) touched: bool,
}

/// A machine and its board.
#[derive(Debug, Clone)]
pub(crate) struct Board {
    pub(crate) tag: String,
    pub(crate) mule: bool,
    pub(crate) profile: Arc<Profile>,
    pub(crate) targets: Targets,
    /// By part index.
    pub(crate) positions: Vec<PositionState>,
    /// Outside things it uses.
    pub(crate) outside: Vec<String>,
    /// It still may have an unmodelled fault.
    pub(crate) unmodelled: bool,
    /// By target: the parts that a mode of may break it, in the profile's order.
    pub(crate) acting: Arc<BTreeMap<usize, BTreeSet<usize>>>,
    /// The ORs of targets looked at under a condition since something was last changed.
    pub(crate) looked: Vec<(View, BTreeMap<usize, OrId>)>,
}

/// By target: the parts that a mode of may break it.
pub(crate) fn acting(profile: &Profile, targets: &Targets) -> BTreeMap<usize, BTreeSet<usize>> {
    let places: BTreeMap<&str, usize> = profile
        .parts
        .iter()
        .enumerate()
        .map(|(index, part)| (part.reference.as_str(), index))
        .collect();
    let functions = profile.functions.len();
    let needed = profile
        .functions
        .iter()
        .enumerate()
        .flat_map(|(number, function)| {
            function.needs.iter().filter_map(move |need| match need {
                Need::Part(part) | Need::Mode { part, .. } => Some((number, part)),
                _ => None,
            })
        });
    let feeding = profile.rails.iter().enumerate().flat_map(|(rail, known)| {
        let sides = [functions + 3 * rail, functions + 3 * rail + 1];
        known
            .fed_by
            .iter()
            .flat_map(move |part| sides.map(|side| (side, part)))
    });
    let mut acting: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for (target, part) in needed.chain(feeding) {
        if let Some(&place) = places.get(part.as_str()) {
            acting.entry(target).or_default().insert(place);
        }
    }
    for (place, part) in profile.parts.iter().enumerate() {
        for spoil in part.modes.iter().flat_map(|mode| &mode.spoils) {
            if let Some(target) = spoiled_number(targets, &spoil.target) {
                acting.entry(target).or_default().insert(place);
            }
        }
    }
    acting
}

/// The functions of a profile and the two sides of each rail, numbered; the whole of a rail comes last.
#[derive(Debug, Clone)]
pub(crate) struct Targets {
    functions: BTreeMap<String, usize>,
    rails: BTreeMap<String, usize>,
}

/// The target of an OR that is no function: a requirement of several.
pub(crate) const JOINT_TARGET: usize = usize::MAX;

impl Targets {
    pub(crate) fn of(profile: &Profile) -> Self {
        Self {
            functions: profile
                .functions
                .iter()
                .enumerate()
                .map(|(i, function)| (function.id.clone(), i))
                .collect(),
            rails: profile
                .rails
                .iter()
                .enumerate()
                .map(|(i, rail)| (rail.name.clone(), i))
                .collect(),
        }
    }

    /// The number of a target, if the profile has it.
    pub(crate) fn number(&self, target: &Target) -> Option<usize> {
        match target {
            Target::Function(id) => self.functions.get(id).copied(),
            Target::Rail(name, side) => {
                let rail = self.rails.get(name)?;
                let side = match side {
                    RailSide::Present => 0,
                    RailSide::High => 1,
                    RailSide::Whole => 2,
                };
                Some(self.functions.len() + 3 * rail + side)
            }
        }
    }

    /// The functions and the two sides of each rail, with their numbers.
    pub(crate) fn all(&self, profile: &Profile) -> Vec<(usize, Target)> {
        let functions = profile
            .functions
            .iter()
            .map(|function| Target::Function(function.id.clone()));
        let rails = profile.rails.iter().flat_map(|rail| {
            [RailSide::Present, RailSide::High].map(|side| Target::Rail(rail.name.clone(), side))
        });
        functions
            .chain(rails)
            .filter_map(|target| Some((self.number(&target)?, target)))
            .collect()
    }

    /// Those an unmodelled fault can break: each function and the `present` of each rail.
    pub(crate) fn breakable(&self, profile: &Profile) -> usize {
        profile.functions.len() + profile.rails.len()
    }
}

/// The unrolled situation.
#[derive(Debug, Clone, Default)]
pub(crate) struct Graph {
    pub(crate) boards: Vec<Board>,
    pub(crate) states: Vec<State>,
    pub(crate) chips: Vec<ChipState>,
    pub(crate) ors: Vec<Or>,
    or_ids: BTreeMap<(usize, usize, Arc<[Cause]>), OrId>,
    /// Chance of each unknown event; known ones are kept as truths.
    pub(crate) events: BTreeMap<EventKey, f64>,
    pub(crate) known: BTreeMap<EventKey, bool>,
    /// Chance that an outside thing is bad.
    pub(crate) outside: BTreeMap<String, f64>,
    pub(crate) powers: usize,
    /// What never arises: it was set aside.
    pub(crate) aside: BTreeSet<Arising>,
}

impl Graph {
    /// A new power-up.
    pub(crate) fn new_power(&mut self) -> PowerId {
        self.powers += 1;
        self.powers - 1
    }

    /// A board about to be changed: what was looked at there says nothing of the next look.
    pub(crate) fn changed(&mut self, machine: usize) -> &mut Board {
        let board = &mut self.boards[machine];
        board.looked.clear();
        board
    }

    /// Nothing was added to it that another one has not; what was looked at aside.
    pub(crate) fn is_as_large_as(&self, other: &Self) -> bool {
        let sizes = |graph: &Self| (graph.ors.len(), graph.states.len(), graph.powers);
        sizes(self) == sizes(other)
    }

    pub(crate) fn add_state(&mut self, mut state: State) -> StateId {
        let id = self.states.len();
        let before = match state.origin {
            Origin::Prior { .. } => None,
            Origin::Act { from, .. } | Origin::Harm { from, .. } => Some(from),
        };
        for (mode, possible) in state.possible.iter_mut().enumerate() {
            if self.aside.contains(&(id, mode)) {
                *possible = before.is_some_and(|from| self.states[from].possible[mode]);
            }
        }
        self.states.push(state);
        id
    }

    /// The OR of a target of a machine as a look under this condition would find it now.
    pub(crate) fn look(&mut self, machine: usize, target: usize, view: View) -> OrId {
        self.looking(machine, view, |looker| looker.target(target))
    }

    /// Looks under a condition; what was looked at before under the same one is known.
    fn looking<T>(
        &mut self,
        machine: usize,
        view: View,
        look: impl FnOnce(&mut Looker<'_>) -> T,
    ) -> T {
        let looked = &mut self.boards[machine].looked;
        let known = looked.iter().position(|(other, _)| *other == view);
        let done = known.map_or_else(BTreeMap::new, |known| looked.swap_remove(known).1);
        let mut looker = Looker {
            graph: self,
            machine,
            view,
            done,
        };
        let answer = look(&mut looker);
        let done = looker.done;
        self.boards[machine].looked.push((view, done));
        answer
    }

    /// The OR that fails if any of these targets fails.
    pub(crate) fn any_of(&mut self, machine: usize, targets: &[usize], view: View) -> OrId {
        if let [target] = targets {
            return self.look(machine, *target, view);
        }
        let causes = self.looking(machine, view, |looker| {
            let each = targets.iter();
            each.map(|&target| looker.function_cause(target, JOINT_TARGET, 1.0))
                .collect()
        });
        self.or(machine, JOINT_TARGET, causes)
    }

    fn or(&mut self, machine: usize, target: usize, mut causes: Vec<Cause>) -> OrId {
        causes.sort();
        causes.dedup();
        let key = (machine, target, Arc::from(causes));
        if let Some(&or) = self.or_ids.get(&key) {
            return or;
        }
        self.ors.push(Or {
            machine,
            target,
            causes: Arc::clone(&key.2),
        });
        self.or_ids.insert(key, self.ors.len() - 1);
        self.ors.len() - 1
    }

    /// With which chance each mode of a state at a position breaks a target.
    pub(crate) fn breaks(&self, link: Link) -> Vec<f64> {
        let board = &self.boards[link.position.0];
        let part = &board.profile.parts[link.position.1];
        self.states[link.state]
            .modes
            .iter()
            .map(|mode| breaks(board, part, link.target, &mode.id))
            .collect()
    }
}

/// With which chance a mode of a part, present and showing, breaks a target.
fn breaks(board: &Board, part: &Part, target: usize, mode: &str) -> f64 {
    let known = part.mode(mode);
    let functions = board.profile.functions.len();
    let spoiled = known.map_or(0.0, |mode| {
        let kept: f64 = mode
            .spoils
            .iter()
            .filter(|spoil| spoiled_number(&board.targets, &spoil.target) == Some(target))
            .map(|spoil| 1.0 - spoil.chance)
            .product();
        1.0 - kept
    });
    let needed = if target < functions {
        let function = &board.profile.functions[target];
        let mut chance = 0.0;
        for need in &function.needs {
            match need {
                Need::Part(reference) if *reference == part.reference => {
                    chance = if known.is_some_and(|mode| mode.spares.contains(&function.id)) {
                        0.0
                    } else {
                        1.0
                    };
                }
                _ => {}
            }
        }
        for need in &function.needs {
            if let Need::Mode {
                part: reference,
                mode: id,
                chance: with,
            } = need
                && *reference == part.reference
                && id == mode
            {
                chance = *with;
            }
        }
        chance
    } else {
        let rail = &board.profile.rails[(target - functions) / 3];
        let fault = known.map_or(RailFault::Low, |mode| mode.rail);
        let side = (target - functions) % 3;
        let feeds = rail.fed_by.contains(&part.reference);
        f64::from(u8::from(
            feeds
                && ((side == 0 && fault == RailFault::Low)
                    || (side == 1 && fault == RailFault::High)),
        ))
    };
    1.0 - (1.0 - needed) * (1.0 - spoiled)
}

/// A rail in `spoils` means its `present`, unless its `high` is named.
fn spoiled_number(targets: &Targets, target: &Target) -> Option<usize> {
    match target {
        Target::Rail(name, RailSide::Whole) => {
            targets.number(&Target::Rail(name.clone(), RailSide::Present))
        }
        other => targets.number(other),
    }
}

/// Builds the ORs of one look.
struct Looker<'a> {
    graph: &'a mut Graph,
    machine: usize,
    view: View,
    done: BTreeMap<usize, OrId>,
}

impl Looker<'_> {
    fn target(&mut self, target: usize) -> OrId {
        if let Some(&or) = self.done.get(&target) {
            return or;
        }
        let causes = self.causes(target);
        let or = self.graph.or(self.machine, target, causes);
        self.done.insert(target, or);
        or
    }

    fn function_cause(&mut self, from: usize, to: usize, chance: f64) -> Cause {
        let or = self.target(from);
        Cause::Function {
            or,
            draw: (self.machine, from, to),
            chance: Chance::of(chance),
        }
    }

    fn causes(&mut self, target: usize) -> Vec<Cause> {
        let board = &self.graph.boards[self.machine];
        let profile = Arc::clone(&board.profile);
        let functions = profile.functions.len();
        if target < functions {
            return self.function_causes(target);
        }
        let (rail, side) = (
            &profile.rails[(target - functions) / 3],
            (target - functions) % 3,
        );
        if side == 2 {
            return vec![
                self.function_cause(target - 2, target, 1.0),
                self.function_cause(target - 1, target, 1.0),
            ];
        }
        let mut causes = Vec::new();
        if side == 0 {
            self.common_causes(target, rail.leak, &mut causes);
            let served = profile.outside.iter().any(|thing| {
                thing
                    .serves
                    .iter()
                    .any(|what| matches!(what, Target::Rail(name, _) if *name == rail.name))
            });
            if let (true, Some(power)) = (
                self.view.bench_supply && (served || !rail.fed_by.is_empty()),
                self.view.power,
            ) {
                causes.push(Cause::BenchSupply { power });
            }
            if !self.view.bench_supply
                && rail.fed_by.iter().any(|reference| self.is_empty(reference))
            {
                causes.push(Cause::Always);
            }
        }
        self.state_causes(target, &mut causes);
        causes
    }

    fn function_causes(&mut self, target: usize) -> Vec<Cause> {
        let profile = Arc::clone(&self.graph.boards[self.machine].profile);
        let function = &profile.functions[target];
        let mut causes = Vec::new();
        self.common_causes(target, function.leak, &mut causes);
        for need in &function.needs {
            match need {
                Need::Part(reference) => {
                    if self.is_empty(reference) && !self.acts_on_nothing(reference) {
                        causes.push(Cause::Always);
                    }
                }
                Need::Mode { .. } => {}
                Need::Target {
                    target: needed,
                    chance,
                } => {
                    if let Some(from) = self.graph.boards[self.machine].targets.number(needed) {
                        causes.push(self.function_cause(from, target, *chance));
                    }
                }
            }
        }
        self.state_causes(target, &mut causes);
        causes
    }

    /// Leak, unmodelled fault, outside things.
    fn common_causes(&mut self, target: usize, leak: f64, causes: &mut Vec<Cause>) {
        let board = &self.graph.boards[self.machine];
        let machine = self.machine;
        if leak > 0.0 && !board.mule {
            causes.push(Cause::Leak {
                machine,
                target,
                chance: Chance::of(leak),
            });
        }
        if board.unmodelled && board.profile.unmodelled > 0.0 && !board.mule {
            causes.push(Cause::Unmodelled { machine, target });
        }
        for thing in &board.profile.outside {
            let serves_rail = thing
                .serves
                .iter()
                .any(|what| matches!(what, Target::Rail(..)));
            let serves = thing
                .serves
                .iter()
                .any(|what| spoiled_number(&board.targets, what) == Some(target));
            if serves
                && board.outside.contains(&thing.id)
                && !(self.view.bench_supply && serves_rail)
                && thing.chance > 0.0
            {
                causes.push(Cause::Outside {
                    id: thing.id.clone(),
                });
            }
        }
    }

    /// A part that a bench supply replaces.
    fn acts_on_nothing(&self, reference: &str) -> bool {
        self.view.bench_supply
            && self.graph.boards[self.machine]
                .profile
                .rails
                .iter()
                .any(|rail| rail.fed_by.iter().any(|fed| fed == reference))
    }

    fn is_empty(&self, reference: &str) -> bool {
        let board = &self.graph.boards[self.machine];
        let parts = &board.profile.parts;
        parts
            .iter()
            .position(|part| part.reference == reference)
            .is_some_and(|part| board.positions[part].chip.is_none() && !parts[part].optional)
    }

    /// The chips and places whose modes break this target.
    fn state_causes(&mut self, target: usize, causes: &mut Vec<Cause>) {
        let board = &self.graph.boards[self.machine];
        let acting = board.acting.get(&target).into_iter().flatten();
        for (index, part) in acting.map(|&index| (index, &board.profile.parts[index])) {
            if self.acts_on_nothing(&part.reference) {
                continue;
            }
            let Some(chip) = board.positions[index].chip else {
                continue;
            };
            for state in [self.graph.chips[chip].state, board.positions[index].place] {
                let link = Link {
                    state,
                    position: (self.machine, index),
                    target,
                };
                causes.extend(self.state_cause(link));
            }
        }
    }

    fn state_cause(&self, link: Link) -> Option<Cause> {
        let state = &self.graph.states[link.state];
        if !state.possible.contains(&true) {
            return None;
        }
        let chances = self.graph.breaks(link);
        let mut show = Show {
            modes: Vec::new(),
            drawn: None,
            coin: None,
        };
        let mut acts = false;
        for ((mode, chance), possible) in state.modes.iter().zip(&chances).zip(&state.possible) {
            let visible = if *possible && *chance > 0.0 {
                self.visible(mode)
            } else {
                Visible::Never
            };
            acts |= visible != Visible::Never;
            if visible == Visible::IfWarm {
                show.coin = self.view.power;
            }
            if visible != Visible::Never && mode.shows < 1.0 && self.view.warmth != Warmth::All {
                show.drawn = self.view.power;
            }
            show.modes.push(visible);
        }
        acts.then_some(Cause::State { link, show })
    }

    fn visible(&self, mode: &StateMode) -> Visible {
        let steady = mode.shows >= 1.0 && mode.after <= 0.0;
        match (steady, self.view.warmth) {
            (true, _) | (_, Warmth::All) => Visible::Always,
            (false, _) if self.view.power.is_none() => Visible::Never,
            (false, _) if mode.after <= 0.0 => Visible::Always,
            (false, Warmth::Minutes(minutes)) if minutes >= mode.after => Visible::Always,
            (false, Warmth::Minutes(_)) => Visible::Never,
            (false, Warmth::Coin) => Visible::IfWarm,
        }
    }
}

/// The states of a kind that a part's modes give.
pub(crate) fn modes_of(part: &Part, site: Site) -> Arc<[StateMode]> {
    part.modes
        .iter()
        .filter(|mode| mode.site == site)
        .map(|mode| StateMode {
            id: mode.id.clone(),
            shows: mode.shows,
            after: mode.after_minutes,
        })
        .collect()
}
