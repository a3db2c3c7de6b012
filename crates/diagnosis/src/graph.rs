//! The situation unrolled: states of chips and places by version, functions as they were at each look.
//!
//! Everything is symbolic here. A function at a look is an OR over causes; two looks with the same causes are one OR
//! (so a function that nothing touched is one variable in every epoch). [`crate::lower`] turns this into a network.
//!
//! All is kept by number in flat lists, so that a copy costs little.

use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use catalogue::{Mount, Profile, Site};

use crate::wiring::{Maybe, Modes, Wiring, short};

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
#[derive(Debug, Clone, Copy)]
pub(crate) struct State {
    pub(crate) kind: Kind,
    pub(crate) origin: Origin,
    /// Modes that can be present at all.
    pub(crate) possible: ModeSet,
}

/// The machine and the part that a chip or a place first belonged to.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Kind {
    pub(crate) machine: u32,
    part: u32,
}

impl Kind {
    /// The last bit of the part's number says which of the two it is.
    pub(crate) fn of((machine, part): Position, site: Site) -> Self {
        Self {
            machine: short(machine),
            part: short(part) << 1 | u32::from(site == Site::Place),
        }
    }

    pub(crate) fn part(self) -> usize {
        (self.part >> 1) as usize
    }

    pub(crate) fn site(self) -> Site {
        if self.part & 1 == 1 {
            Site::Place
        } else {
            Site::Chip
        }
    }
}

/// Some of the modes of a chip or of a place, a bit each.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct ModeSet(u64);

impl ModeSet {
    /// Modes that a chip or a place may have at most.
    pub(crate) const MOST: usize = 64;

    pub(crate) fn of(modes: impl Iterator<Item = bool>) -> Self {
        let bits = modes.enumerate();
        Self(bits.fold(0, |all, (mode, is_in)| all | u64::from(is_in) << mode))
    }

    pub(crate) fn has(self, mode: usize) -> bool {
        self.0 >> mode & 1 == 1
    }

    pub(crate) fn set(&mut self, mode: usize, is_in: bool) {
        self.0 = self.0 & !(1 << mode) | u64::from(is_in) << mode;
    }

    pub(crate) fn is_empty(self) -> bool {
        self.0 == 0
    }
}

/// Where a version comes from.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Origin {
    /// At take-in, or as a new chip.
    Prior(Own),
    /// A place touched by an act.
    Act { from: u32, touch: Touch },
    /// A chip after a check that may harm.
    Harm {
        from: u32,
        mode: u8,
        when: u32,
        chance: f64,
    },
}

impl Origin {
    /// The version before.
    pub(crate) fn from(&self) -> Option<StateId> {
        match *self {
            Self::Prior(_) => None,
            Self::Act { from, .. } | Self::Harm { from, .. } => Some(from as usize),
        }
    }
}

/// The chances of modes that a chip or place has of its own.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Own {
    /// None: it is known to be good.
    Good,
    /// Those of the profile, then the strikes of events: the first and how many.
    Given { strikes: (u32, u32) },
    /// A chip from outside that is good with this chance; what is not good is shared over the modes by their chances.
    New { works: f64 },
}

/// How a place is touched.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Touch {
    Reseat,
    Resolder,
    Clean,
}

/// An event that strikes a mode with a chance.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Strike {
    /// Index of its key.
    pub(crate) event: u32,
    pub(crate) mode: u32,
    pub(crate) chance: f64,
}

/// A mode that arises with a version of a state.
pub(crate) type Arising = (StateId, usize);

/// An event of a machine or of a lot.
pub(crate) type EventKey = (String, String);

/// Why a function may fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Cause {
    /// It fails whatever happens: an empty position.
    Always,
    /// Drawn once per machine and function.
    Leak {
        machine: u32,
        target: u32,
        chance: Chance,
    },
    /// The machine's unmodelled fault sits here.
    Unmodelled { machine: u32, target: u32 },
    /// A mode of a chip or a place, seen under a condition.
    State { link: Link, show: Show },
    /// A failing function.
    Function { or: u32, draw: Draw, chance: Chance },
    /// The bench supply is bad during this power-up.
    BenchSupply { power: u32 },
    /// An outside thing is bad; things are numbered in the order of their ids.
    Outside { thing: u32 },
}

/// Whether a present mode really breaks a function is drawn once for this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Link {
    pub(crate) state: u32,
    pub(crate) machine: u32,
    pub(crate) part: u32,
    pub(crate) target: u32,
}

/// Whether a failing function breaks one that needs it is drawn once for this: machine, from, to.
pub(crate) type Draw = (u32, u32, u32);

/// Which modes act under a condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Show {
    /// Index of the modes that are visible.
    pub(crate) visible: u32,
    /// Intermittent modes are drawn for this power-up.
    pub(crate) drawn: Maybe,
    /// Modes that show only warm ask this power-up's coin.
    pub(crate) coin: Maybe,
}

/// The modes that are visible: those of neither set never are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Visible {
    pub(crate) always: ModeSet,
    pub(crate) if_warm: ModeSet,
}

/// A function, or a side of a rail, at one look.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Or {
    pub(crate) machine: u32,
    pub(crate) target: u32,
    /// Where its causes begin and end.
    causes: (u32, u32),
    /// The OR of the same target that was made before.
    before: Maybe,
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
#[derive(Debug, Clone, Copy)]
pub(crate) struct ChipState {
    state: u32,
    /// The number of its mark.
    pub(crate) mark: Maybe,
    /// Where it sits.
    machine: Maybe,
    part: u32,
}

impl ChipState {
    pub(crate) fn new(state: StateId, position: Option<Position>) -> Self {
        let mut chip = Self {
            state: short(state),
            mark: Maybe::NONE,
            machine: Maybe::NONE,
            part: 0,
        };
        chip.put(position);
        chip
    }

    pub(crate) fn state(self) -> StateId {
        self.state as usize
    }

    /// A new version of it.
    pub(crate) fn change(&mut self, state: StateId) {
        self.state = short(state);
    }

    /// Where it sits.
    pub(crate) fn position(self) -> Option<Position> {
        Some((self.machine.get()?, self.part as usize))
    }

    pub(crate) fn put(&mut self, position: Option<Position>) {
        self.machine = position.map(|(machine, _)| machine).into();
        self.part = position.map_or(0, |(_, part)| short(part));
    }
}

/// What a position holds now.
#[derive(Debug, Clone, Copy)]
pub(crate) struct PositionState {
    chip: Maybe,
    place: Maybe,
    /// An act has touched the place.
    pub(crate) touched: bool,
}

impl PositionState {
    pub(crate) fn new(chip: Option<usize>, place: Option<StateId>) -> Self {
        Self {
            chip: chip.into(),
            place: place.into(),
            touched: false,
        }
    }

    pub(crate) fn chip(self) -> Option<usize> {
        self.chip.get()
    }

    /// The place's state, if it can be bad.
    pub(crate) fn place(self) -> Option<StateId> {
        self.place.get()
    }

    pub(crate) fn put(&mut self, chip: Option<usize>) {
        self.chip = chip.into();
    }

    /// A new version of the place.
    pub(crate) fn touch(&mut self, place: StateId) {
        self.place = Maybe::of(place);
        self.touched = true;
    }
}

/// A machine and its board.
#[derive(Debug, Clone)]
pub(crate) struct Board {
    pub(crate) tag: String,
    pub(crate) mule: bool,
    pub(crate) profile: Arc<Profile>,
    pub(crate) wiring: Arc<Wiring>,
    /// By part index.
    pub(crate) positions: Vec<PositionState>,
    /// Outside things it uses.
    pub(crate) outside: Vec<String>,
    /// By outside thing of the profile: its number, if it is used and can be bad.
    pub(crate) things: Vec<Maybe>,
    /// It still may have an unmodelled fault.
    pub(crate) unmodelled: bool,
    /// By target, and once for all joint ones: the last OR made.
    latest: Vec<Maybe>,
    /// The ORs by target of looks under a condition since something was last changed.
    pub(crate) looked: Vec<(View, Vec<Maybe>)>,
}

/// The target of an OR that is no function: a requirement of several.
pub(crate) const JOINT_TARGET: usize = u32::MAX as usize;

impl Board {
    pub(crate) fn new(
        tag: String,
        mule: bool,
        wiring: Arc<Wiring>,
        positions: Vec<PositionState>,
        outside: Vec<String>,
    ) -> Self {
        Self {
            tag,
            mule,
            profile: Arc::clone(&wiring.profile),
            latest: vec![Maybe::NONE; wiring.count() + 1],
            wiring,
            positions,
            outside,
            things: Vec::new(),
            unmodelled: true,
            looked: Vec::new(),
        }
    }
}

/// The unrolled situation.
#[derive(Debug, Clone, Default)]
pub(crate) struct Graph {
    pub(crate) boards: Vec<Board>,
    pub(crate) states: Vec<State>,
    pub(crate) chips: Vec<ChipState>,
    /// Marks of chips.
    pub(crate) marks: Vec<Arc<str>>,
    pub(crate) ors: Vec<Or>,
    causes: Vec<Cause>,
    pub(crate) visible: Vec<Visible>,
    /// Events of machines and lots that can strike.
    pub(crate) keys: Vec<EventKey>,
    pub(crate) strikes: Vec<Strike>,
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

    /// Makes room for one look at every target of a board.
    pub(crate) fn reserve(&mut self, wiring: &Wiring) {
        self.ors.reserve(wiring.count());
        self.causes.reserve(wiring.most_causes());
    }

    /// Gives back what was reserved for more.
    pub(crate) fn shrink(&mut self) {
        let looked = self.boards.iter_mut().map(|board| &mut board.looked);
        looked.for_each(Vec::shrink_to_fit);
        self.boards.shrink_to_fit();
        self.states.shrink_to_fit();
        self.chips.shrink_to_fit();
        self.ors.shrink_to_fit();
        self.causes.shrink_to_fit();
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
        if !self.aside.is_empty() {
            let before = state.origin.from();
            let aside = self.aside.range((id, 0)..(id + 1, 0));
            for &(_, mode) in aside {
                let was = before.is_some_and(|from| self.states[from].possible.has(mode));
                state.possible.set(mode, was);
            }
        }
        self.states.push(state);
        id
    }

    /// The mark of a chip.
    pub(crate) fn mark(&self, chip: usize) -> Option<&str> {
        Some(&*self.marks[self.chips[chip].mark.get()?])
    }

    /// The modes of a state.
    pub(crate) fn modes(&self, state: StateId) -> Modes<'_> {
        self.modes_of(self.states[state].kind)
    }

    pub(crate) fn modes_of(&self, kind: Kind) -> Modes<'_> {
        let board = &self.boards[kind.machine as usize];
        board.wiring.modes_of(kind.part(), kind.site())
    }

    /// The chances of its modes that a state has of its own.
    pub(crate) fn own(&self, kind: Kind, own: Own) -> Vec<f64> {
        let chances = self.modes_of(kind).iter().map(|mode| mode.chance);
        match own {
            Own::Good => vec![0.0; chances.len()],
            Own::Given { .. } => chances.collect(),
            Own::New { works } => {
                let sum: f64 = chances.clone().sum();
                let count = chances.len() as f64;
                let share = |chance: f64| {
                    if sum > 0.0 { chance / sum } else { 1.0 / count }
                };
                chances
                    .map(|chance| (1.0 - works) * share(chance))
                    .collect()
            }
        }
    }

    /// The chance that touching the place of this state damages it.
    pub(crate) fn damage(&self, state: StateId) -> f64 {
        let kind = self.states[state].kind;
        let profile = &self.boards[kind.machine as usize].profile;
        match profile.parts[kind.part()].mount {
            Mount::Soldered => 0.03,
            Mount::Socket | Mount::Plug => 0.01,
        }
    }

    /// The strikes of events on a state.
    pub(crate) fn strikes(&self, own: Own) -> &[Strike] {
        match own {
            Own::Given {
                strikes: (first, count),
            } => &self.strikes[first as usize..][..count as usize],
            Own::Good | Own::New { .. } => &[],
        }
    }

    /// Why an OR may fail, in order.
    pub(crate) fn causes(&self, or: OrId) -> &[Cause] {
        self.causes_of(&self.ors[or])
    }

    /// The causes of all ORs together.
    pub(crate) fn cause_count(&self) -> usize {
        self.causes.len()
    }

    fn causes_of(&self, or: &Or) -> &[Cause] {
        &self.causes[or.causes.0 as usize..or.causes.1 as usize]
    }

    /// The OR of these causes, which are in order.
    pub(crate) fn or(&mut self, machine: usize, target: usize, causes: &[Cause]) -> OrId {
        let latest = &self.boards[machine].latest;
        let place = target.min(latest.len() - 1);
        let latest = latest[place];
        let mut other = latest;
        while let Some(id) = other.get() {
            let or = &self.ors[id];
            if self.causes_of(or) == causes {
                return id;
            }
            other = or.before;
        }
        let start = short(self.causes.len());
        self.causes.extend(causes);
        self.ors.push(Or {
            machine: short(machine),
            target: short(target),
            causes: (start, short(self.causes.len())),
            before: latest,
        });
        let id = self.ors.len() - 1;
        self.boards[machine].latest[place] = Maybe::of(id);
        id
    }

    /// The number of these modes.
    pub(crate) fn number_visible(&mut self, visible: Visible) -> u32 {
        let known = self.visible.iter().position(|other| *other == visible);
        short(known.unwrap_or_else(|| {
            self.visible.push(visible);
            self.visible.len() - 1
        }))
    }

    /// With which chance each mode of a state at a position breaks a target.
    pub(crate) fn breaks(&self, link: Link) -> Cow<'_, [f64]> {
        let board = &self.boards[link.machine as usize];
        let kind = self.states[link.state as usize].kind;
        let (part, target) = (link.part as usize, link.target as usize);
        if self.is_own(kind, board, part) {
            return Cow::Borrowed(board.wiring.breaks(part, target, kind.site()));
        }
        let modes = self.modes_of(kind).iter();
        let foreign = modes.map(|mode| board.wiring.breaks_foreign(part, target, &mode.id));
        Cow::Owned(foreign.collect())
    }

    /// A chip of this kind has the modes that the profile gives to the part.
    pub(crate) fn is_own(&self, kind: Kind, board: &Board, part: usize) -> bool {
        let from = &self.boards[kind.machine as usize];
        kind.part() == part && Arc::ptr_eq(&from.wiring, &board.wiring)
    }
}

/// Sorts what stands from a place on, each once.
pub(crate) fn sort_from<T: Copy + Ord>(all: &mut Vec<T>, start: usize) {
    all[start..].sort_unstable();
    let mut end = start;
    for place in start..all.len() {
        if end == start || all[end - 1] != all[place] {
            all[end] = all[place];
            end += 1;
        }
    }
    all.truncate(end);
}
