//! Walks the steps of a situation and unrolls them into the graph, with the findings.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use catalogue::{Check, Mount, Part, RailSide, Scope, Site, Target, Tells};
use units::Component;

use crate::{
    error::Error,
    graph::{
        Arising, Board, ChipState, Graph, OrId, Origin, Position, PositionState, PowerId, State,
        StateId, Targets, View, Warmth, acting, modes_of,
    },
    lower::Asked,
    situation::{
        Action, Chip, Machine, Measure, Places, Shown, Situation, Supply, Treatment, Truth,
    },
};

/// Minutes without a finding after which a session or a power-up is over.
const IDLE_MINUTES: f64 = 30.0;

/// The unrolled situation with its findings.
#[derive(Debug, Clone, Default)]
pub(crate) struct Unrolled {
    pub(crate) graph: Graph,
    pub(crate) findings: Vec<Finding>,
    /// By board.
    pub(crate) progress: Vec<Progress>,
    pub(crate) sessions: usize,
}

/// How far a machine is.
#[derive(Debug, Clone, Default)]
pub(crate) struct Progress {
    pub(crate) epoch: usize,
    power: Option<OpenPower>,
    sessions: BTreeMap<(usize, Option<String>), OpenSession>,
}

#[derive(Debug, Clone)]
struct OpenPower {
    id: PowerId,
    supply: Supply,
    /// Time of the last powered finding.
    last: Option<f64>,
}

#[derive(Debug, Clone)]
struct OpenSession {
    id: usize,
    last: Option<f64>,
}

/// Something seen, or a truth found out.
#[derive(Debug, Clone)]
pub(crate) struct Finding {
    /// Indices of its steps.
    pub(crate) steps: Vec<usize>,
    pub(crate) what: What,
}

/// What a finding says.
#[derive(Debug, Clone)]
pub(crate) enum What {
    Look(Look),
    /// A state has this mode.
    Mode {
        state: StateId,
        mode: usize,
    },
    /// The machine has an unmodelled fault.
    Unmodelled {
        machine: usize,
    },
    /// None of these fails.
    Works {
        ors: Vec<OrId>,
    },
}

/// A check that was made, or tried.
#[derive(Debug, Clone)]
pub(crate) struct Look {
    pub(crate) machine: usize,
    pub(crate) check: usize,
    pub(crate) epoch: usize,
    pub(crate) session: usize,
    power: Option<PowerId>,
    warm: Option<u64>,
    /// What the check names: one target, or each target of its rows in order of first use.
    pub(crate) ors: Vec<OrId>,
    /// Fails if the check cannot be done.
    pub(crate) requires: Option<OrId>,
    pub(crate) shown: Seen,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Seen {
    Outcome(usize),
    Readings {
        values: Vec<f64>,
        components: Vec<Component>,
    },
    Cannot,
}

/// The targets a check names, each once, in order of first use.
pub(crate) fn named_targets(check: &Check) -> Vec<Target> {
    match &check.tells {
        Tells::Target { target, .. } => vec![target.clone()],
        Tells::Rows(rows) => {
            let mut named: Vec<Target> = Vec::new();
            for target in rows.iter().flat_map(|row| &row.fails) {
                if !named.contains(target) {
                    named.push(target.clone());
                }
            }
            named
        }
    }
}

/// Unrolls a situation.
pub(crate) fn unroll(situation: &Situation) -> Result<Unrolled, Error> {
    unroll_without(situation, &BTreeSet::new())
}

/// The same where some modes never arise: they are set aside.
pub(crate) fn unroll_without(
    situation: &Situation,
    aside: &BTreeSet<Arising>,
) -> Result<Unrolled, Error> {
    let mut unrolled = Unrolled::default();
    unrolled.graph.aside.clone_from(aside);
    for machine in &situation.machines {
        take_in(&mut unrolled, situation, machine)?;
    }
    for (index, step) in situation.steps.iter().enumerate() {
        unrolled
            .step(index, step.time, &step.action)
            .map_err(|error| error.at(index))?;
    }
    Ok(unrolled)
}

fn take_in(unrolled: &mut Unrolled, situation: &Situation, machine: &Machine) -> Result<(), Error> {
    let profile = situation.profiles.get(&machine.profile).ok_or_else(|| {
        Error::new(format!(
            "found board `{}` on machine `{}`, expected a board profile that is loaded",
            machine.profile, machine.tag
        ))
    })?;
    let profile = Arc::clone(profile);
    let graph = &mut unrolled.graph;
    if graph.boards.iter().any(|board| board.tag == machine.tag) {
        return Err(Error::new(format!(
            "found machine `{}` twice, expected each tag once",
            machine.tag
        )));
    }
    known_names(machine, &profile)?;
    if !machine.mule {
        take_in_events(graph, situation, machine, &profile);
    }
    let board_index = graph.boards.len();
    let mut positions = Vec::with_capacity(profile.parts.len());
    for (index, part) in profile.parts.iter().enumerate() {
        let place = prior_state(graph, &profile, machine, part, Site::Place);
        let place = graph.add_state(place);
        let chip = if machine.empty.contains(&part.reference) {
            None
        } else {
            let state = prior_state(graph, &profile, machine, part, Site::Chip);
            let state = graph.add_state(state);
            graph.chips.push(ChipState {
                state,
                mark: None,
                position: Some((board_index, index)),
            });
            Some(graph.chips.len() - 1)
        };
        positions.push(PositionState {
            chip,
            place,
            touched: false,
        });
    }
    for thing in &profile.outside {
        graph
            .outside
            .entry(thing.id.clone())
            .or_insert(thing.chance);
    }
    let outside = machine.outside.clone().unwrap_or_else(|| {
        profile
            .outside
            .iter()
            .map(|thing| thing.id.clone())
            .collect()
    });
    let targets = Targets::of(&profile);
    graph.boards.push(Board {
        tag: machine.tag.clone(),
        mule: machine.mule,
        acting: Arc::new(acting(&profile, &targets)),
        looked: Vec::new(),
        targets,
        profile,
        positions,
        outside,
        unmodelled: true,
    });
    unrolled.progress.push(Progress::default());
    Ok(())
}

/// Empty positions, outside things and known events must be the board's.
fn known_names(machine: &Machine, profile: &catalogue::Profile) -> Result<(), Error> {
    let unknown = |what: &str, name: &str| {
        Err(Error::new(format!(
            "found {what} `{name}` on machine `{}`, expected one of board `{}`",
            machine.tag, profile.id
        )))
    };
    if let Some(part) = machine
        .empty
        .iter()
        .find(|part| profile.part(part).is_none())
    {
        return unknown("empty position", part);
    }
    let outside = machine.outside.iter().flatten();
    if let Some(thing) = outside
        .into_iter()
        .find(|id| !profile.outside.iter().any(|thing| thing.id == **id))
    {
        return unknown("outside thing", thing);
    }
    match machine
        .known
        .keys()
        .find(|id| !profile.events.iter().any(|event| event.id == **id))
    {
        Some(event) => unknown("event", event),
        None => Ok(()),
    }
}

fn take_in_events(
    graph: &mut Graph,
    situation: &Situation,
    machine: &Machine,
    profile: &catalogue::Profile,
) {
    for event in &profile.events {
        let Some(key) = event_key(machine, event) else {
            continue;
        };
        let known = match event.scope {
            Scope::Machine => machine.known.get(&event.id),
            Scope::Lot => situation
                .lots
                .get(&key.0)
                .and_then(|known| known.get(&event.id)),
        };
        match known {
            Some(&known) => {
                graph.known.insert(key, known);
            }
            None => {
                graph.events.entry(key).or_insert(event.chance);
            }
        }
    }
}

/// Whose event it is: the machine's or its lot's; none for a lot's event of a machine without lot.
fn event_key(machine: &Machine, event: &catalogue::Event) -> Option<(String, String)> {
    match event.scope {
        Scope::Machine => Some((machine.tag.clone(), event.id.clone())),
        Scope::Lot => machine
            .lot
            .as_ref()
            .map(|lot| (lot.clone(), event.id.clone())),
    }
}

fn prior_state(
    graph: &Graph,
    profile: &catalogue::Profile,
    machine: &Machine,
    part: &Part,
    site: Site,
) -> State {
    let modes = modes_of(part, site);
    if machine.mule {
        let possible = vec![false; modes.len()];
        return State {
            origin: Origin::Prior {
                own: vec![0.0; modes.len()],
                strikes: Vec::new(),
            },
            modes,
            possible,
        };
    }
    let own: Vec<f64> = part
        .modes
        .iter()
        .filter(|mode| mode.site == site)
        .map(|mode| mode.chance)
        .collect();
    let mut strikes = Vec::new();
    for event in &profile.events {
        let Some(key) = event_key(machine, event) else {
            continue;
        };
        if graph.known.get(&key) == Some(&false) {
            continue;
        }
        for cause in event
            .causes
            .iter()
            .filter(|cause| cause.part == part.reference && cause.chance > 0.0)
        {
            if let Some(mode) = modes.iter().position(|mode| mode.id == cause.mode) {
                strikes.push((key.clone(), mode, cause.chance));
            }
        }
    }
    let possible = (0..modes.len())
        .map(|mode| own[mode] > 0.0 || strikes.iter().any(|strike| strike.1 == mode))
        .collect();
    State {
        origin: Origin::Prior { own, strikes },
        modes,
        possible,
    }
}

pub(crate) fn unknown_machine(tag: &str) -> Error {
    Error::new(format!(
        "found machine `{tag}`, expected one that was taken in"
    ))
}

impl Unrolled {
    pub(crate) fn machine(&self, tag: &str) -> Result<usize, Error> {
        self.graph
            .boards
            .iter()
            .position(|board| board.tag == tag)
            .ok_or_else(|| unknown_machine(tag))
    }

    /// The machines' tags.
    pub(crate) fn tags(&self) -> impl Iterator<Item = &str> {
        self.graph.boards.iter().map(|board| board.tag.as_str())
    }

    fn position(&self, machine: usize, part: &str) -> Result<Position, Error> {
        let board = &self.graph.boards[machine];
        let index = board
            .profile
            .parts
            .iter()
            .position(|other| other.reference == part);
        index.map(|index| (machine, index)).ok_or_else(|| {
            Error::new(format!(
                "found part `{part}`, expected a part of board `{}` of machine `{}`",
                board.profile.id, board.tag
            ))
        })
    }

    fn marked(&self, mark: &str) -> Result<usize, Error> {
        self.graph
            .chips
            .iter()
            .position(|chip| chip.mark.as_deref() == Some(mark))
            .ok_or_else(|| {
                Error::new(format!(
                    "found mark `{mark}`, expected the mark of a chip that was pulled"
                ))
            })
    }

    pub(crate) fn step(
        &mut self,
        index: usize,
        time: Option<f64>,
        action: &Action,
    ) -> Result<(), Error> {
        match action {
            Action::Measure(measure) => self.measure(index, time, measure),
            Action::Power { machine, supply } => {
                let machine = self.machine(machine)?;
                self.begin_power(machine, time, *supply);
                Ok(())
            }
            Action::SetUp { machine } => {
                let machine = self.machine(machine)?;
                self.progress[machine].sessions.clear();
                Ok(())
            }
            Action::Pull {
                machine,
                part,
                mark,
            } => {
                let position = self.position(self.machine(machine)?, part)?;
                self.pull(position, mark.clone())?;
                self.touch(position, Touch::Reseat);
                self.new_epoch(position.0);
                Ok(())
            }
            Action::Fit {
                machine,
                part,
                chip,
                old_mark,
            } => self.fit(machine, part, chip, old_mark.clone()),
            Action::Swap { a, b } => self.swap(a, b),
            Action::Treat {
                machine,
                treatment,
                places,
            } => self.treat(machine, *treatment, places),
            Action::Mend { machine } => {
                let machine = self.machine(machine)?;
                self.graph.changed(machine).unmodelled = false;
                self.new_epoch(machine);
                Ok(())
            }
            Action::Settle { machine, truth } => self.settle(index, machine.as_deref(), truth),
        }
    }

    fn new_epoch(&mut self, machine: usize) {
        self.progress[machine].epoch += 1;
        self.progress[machine].power = None;
    }

    fn begin_power(&mut self, machine: usize, time: Option<f64>, supply: Supply) -> PowerId {
        let id = self.graph.new_power();
        self.progress[machine].power = Some(OpenPower {
            id,
            supply,
            last: time,
        });
        id
    }

    /// The power-up that a powered finding belongs to.
    fn power_of(&mut self, machine: usize, time: Option<f64>, supply: Supply) -> PowerId {
        if let Some(open) = &mut self.progress[machine].power {
            let idle = gap(open.last, time) > IDLE_MINUTES;
            if open.supply == supply && !idle {
                open.last = time.or(open.last);
                return open.id;
            }
        }
        self.begin_power(machine, time, supply)
    }

    /// The condition of the next powered look without minutes on the usual supply.
    pub(crate) fn next_view(&mut self, machine: usize) -> View {
        let open = self.progress[machine]
            .power
            .as_ref()
            .filter(|open| open.supply == Supply::Usual)
            .map(|open| open.id);
        let power = open.unwrap_or_else(|| self.graph.new_power());
        View {
            power: Some(power),
            warmth: Warmth::Coin,
            bench_supply: false,
        }
    }

    fn session_of(
        &mut self,
        machine: usize,
        check: usize,
        person: Option<String>,
        time: Option<f64>,
    ) -> usize {
        let next = self.sessions;
        let session = self.progress[machine]
            .sessions
            .entry((check, person))
            .or_insert(OpenSession {
                id: next,
                last: time,
            });
        if gap(session.last, time) > IDLE_MINUTES {
            *session = OpenSession {
                id: next,
                last: time,
            };
        }
        session.last = time.or(session.last);
        let id = session.id;
        self.sessions = self.sessions.max(id + 1);
        id
    }

    fn measure(&mut self, index: usize, time: Option<f64>, measure: &Measure) -> Result<(), Error> {
        let machine = self.machine(&measure.machine)?;
        let profile = Arc::clone(&self.graph.boards[machine].profile);
        let check_index = profile
            .checks
            .iter()
            .position(|check| check.id == measure.check)
            .ok_or_else(|| {
                Error::new(format!(
                    "found check `{}`, expected a check of board `{}`",
                    measure.check, profile.id
                ))
            })?;
        let check = &profile.checks[check_index];
        let seen = match &measure.shown {
            Shown::Skipped => return Ok(()),
            Shown::Cannot => Seen::Cannot,
            Shown::Reading { value, components } => Seen::Readings {
                values: vec![*value],
                components: components.clone(),
            },
            Shown::Outcome(id) => Seen::Outcome(outcome_index(check, id)?),
        };
        if let (Seen::Readings { .. }, None) = (&seen, &check.limits) {
            return Err(Error::new(format!(
                "found a reading for check `{}`, expected one of its outcomes: it has no limits",
                check.id
            )));
        }
        let powered = check.set_up.iter().any(|set_up| set_up == "powered");
        let power = powered.then(|| self.power_of(machine, time, measure.supply));
        let warmth = measure.minutes_on.map_or(Warmth::Coin, Warmth::Minutes);
        let view = View {
            power,
            warmth,
            bench_supply: powered && measure.supply == Supply::Bench,
        };
        let look = Look {
            machine,
            check: check_index,
            epoch: self.progress[machine].epoch,
            session: self.session_of(machine, check_index, measure.person.clone(), time),
            power,
            warm: measure.minutes_on.map(f64::to_bits),
            ors: self.check_ors(machine, check, view),
            requires: self.check_requires(machine, check, view),
            shown: seen,
        };
        let harmed = look.shown != Seen::Cannot;
        self.record(index, look);
        if harmed {
            self.harm(machine, check, view)?;
        }
        Ok(())
    }

    /// Adds a finding; a reading joins the readings of its session taken under the same condition.
    fn record(&mut self, index: usize, look: Look) {
        if let Seen::Readings { values: new, .. } = &look.shown {
            for finding in &mut self.findings {
                let What::Look(other) = &mut finding.what else {
                    continue;
                };
                let same = other.machine == look.machine
                    && other.check == look.check
                    && other.session == look.session
                    && other.epoch == look.epoch
                    && other.power == look.power
                    && other.warm == look.warm;
                if let (true, Seen::Readings { values, .. }) = (same, &mut other.shown) {
                    values.extend(new);
                    finding.steps.push(index);
                    return;
                }
            }
        }
        self.findings.push(Finding {
            steps: vec![index],
            what: What::Look(look),
        });
    }

    /// Whether a check was made, or tried, in the machine's present epoch.
    pub(crate) fn is_made(&self, machine: usize, check: usize) -> bool {
        let epoch = self.progress[machine].epoch;
        self.findings.iter().any(|finding| matches!(&finding.what, What::Look(look) if look.machine == machine && look.check == check && look.epoch == epoch))
    }

    /// Checks not yet made in the machine's present epoch.
    pub(crate) fn open_checks(&self, machine: usize) -> Vec<usize> {
        let checks = self.graph.boards[machine].profile.checks.len();
        (0..checks)
            .filter(|&check| !self.is_made(machine, check))
            .collect()
    }

    /// The situation with checks asked for, each as if it were the next look, and every function as the next powered look on the
    /// usual supply would find it.
    pub(crate) fn ask_each(
        &self,
        machine: usize,
        checks: &[usize],
    ) -> (Self, Vec<Asked>, Vec<OrId>) {
        let mut unrolled = self.clone();
        let profile = Arc::clone(&unrolled.graph.boards[machine].profile);
        let next = unrolled.next_view(machine);
        let ask = |&check: &usize| {
            let named = &profile.checks[check];
            let powered = named.set_up.iter().any(|set_up| set_up == "powered");
            let view = View {
                power: next.power.filter(|_| powered),
                ..next
            };
            Asked {
                machine,
                check,
                ors: unrolled.check_ors(machine, named, view),
                requires: unrolled.check_requires(machine, named, view),
                harms: unrolled.harm_ors(machine, named, view),
            }
        };
        let asked = checks.iter().map(ask).collect();
        let targets = unrolled.graph.boards[machine]
            .targets
            .all(&profile)
            .into_iter();
        let looked = targets.map(|(number, _)| unrolled.graph.look(machine, number, next));
        let functions = looked.collect();
        (unrolled, asked, functions)
    }

    /// The ORs of what a check names, as a look would find them now.
    pub(crate) fn check_ors(&mut self, machine: usize, check: &Check, view: View) -> Vec<OrId> {
        let numbers: Vec<usize> = named_targets(check)
            .iter()
            .filter_map(|target| self.graph.boards[machine].targets.number(target))
            .collect();
        numbers
            .into_iter()
            .map(|target| self.graph.look(machine, target, view))
            .collect()
    }

    pub(crate) fn check_requires(
        &mut self,
        machine: usize,
        check: &Check,
        view: View,
    ) -> Option<OrId> {
        let numbers: Vec<usize> = check
            .requires
            .iter()
            .filter_map(|target| self.graph.boards[machine].targets.number(target))
            .collect();
        (!numbers.is_empty()).then(|| self.graph.any_of(machine, &numbers, view))
    }

    /// For each harm of a check the OR of its `when`.
    pub(crate) fn harm_ors(
        &mut self,
        machine: usize,
        check: &Check,
        view: View,
    ) -> Vec<Option<OrId>> {
        let numbers: Vec<Option<usize>> = check
            .harms
            .iter()
            .map(|harm| self.graph.boards[machine].targets.number(&harm.when))
            .collect();
        numbers
            .into_iter()
            .map(|target| Some(self.graph.look(machine, target?, view)))
            .collect()
    }

    /// Positions without a chip that some function needs.
    pub(crate) fn missing_parts(&self, machine: usize) -> Vec<String> {
        let board = &self.graph.boards[machine];
        let profile = &board.profile;
        let needed = |reference: &String| {
            profile
                .functions
                .iter()
                .flat_map(|function| &function.needs)
                .any(|need| matches!(need, catalogue::Need::Part(part) if part == reference))
                || profile
                    .rails
                    .iter()
                    .any(|rail| rail.fed_by.contains(reference))
        };
        let parts = profile.parts.iter().zip(&board.positions);
        parts
            .filter(|(part, position)| {
                position.chip.is_none() && !part.optional && needed(&part.reference)
            })
            .map(|(part, _)| part.reference.clone())
            .collect()
    }

    fn harm(&mut self, machine: usize, check: &Check, view: View) -> Result<(), Error> {
        // every `when` is of the state before the harm
        let whens = self.harm_ors(machine, check, view);
        for (harm, when) in check.harms.iter().zip(whens) {
            let (_, part) = self.position(machine, &harm.part)?;
            let (Some(when), Some(chip)) = (when, self.graph.boards[machine].positions[part].chip)
            else {
                continue;
            };
            let from = self.graph.chips[chip].state;
            let old = &self.graph.states[from];
            let Some(mode) = old.modes.iter().position(|mode| mode.id == harm.mode) else {
                continue;
            };
            let mut possible = old.possible.clone();
            possible[mode] |= harm.chance > 0.0;
            let state = State {
                modes: Arc::clone(&old.modes),
                origin: Origin::Harm {
                    from,
                    mode,
                    chance: harm.chance,
                    when,
                },
                possible,
            };
            self.graph.chips[chip].state = self.graph.add_state(state);
            self.graph.changed(machine);
        }
        Ok(())
    }

    /// Takes the chip out; gives it its mark.
    fn pull(&mut self, position: Position, mark: Option<String>) -> Result<(), Error> {
        let board = &self.graph.boards[position.0];
        let part = &board.profile.parts[position.1].reference;
        let Some(chip) = board.positions[position.1].chip else {
            return Err(Error::new(format!(
                "found no chip in `{part}` of machine `{}`, expected one to take out",
                board.tag
            )));
        };
        self.take_out(chip, mark)
    }

    fn take_out(&mut self, chip: usize, mark: Option<String>) -> Result<(), Error> {
        if let Some(mark) = &mark
            && self
                .graph
                .chips
                .iter()
                .enumerate()
                .any(|(other, state)| other != chip && state.mark.as_ref() == Some(mark))
        {
            return Err(Error::new(format!(
                "found mark `{mark}` on another chip already, expected a mark that is free"
            )));
        }
        let state = &mut self.graph.chips[chip];
        if mark.is_some() {
            state.mark = mark;
        }
        if let Some(position) = state.position.take() {
            self.graph.changed(position.0).positions[position.1].chip = None;
        }
        Ok(())
    }

    fn put_in(&mut self, chip: usize, position: Position) {
        self.graph.chips[chip].position = Some(position);
        self.graph.changed(position.0).positions[position.1].chip = Some(chip);
    }

    fn fit(
        &mut self,
        machine: &str,
        part: &str,
        chip: &Chip,
        old_mark: Option<String>,
    ) -> Result<(), Error> {
        let position = self.position(self.machine(machine)?, part)?;
        let new = match chip {
            Chip::Marked(mark) => {
                let chip = self.marked(mark)?;
                if let Some(at) = self.graph.chips[chip].position {
                    let board = &self.graph.boards[at.0];
                    return Err(Error::new(format!(
                        "found chip `{mark}` in `{}` of machine `{}`, expected a loose chip; pull it there first",
                        board.profile.parts[at.1].reference, board.tag
                    )));
                }
                chip
            }
            Chip::New { works } => self.new_chip(position, *works),
        };
        if let Some(old) = self.graph.boards[position.0].positions[position.1].chip {
            self.take_out(old, old_mark)?;
        }
        self.put_in(new, position);
        self.touch(position, Touch::Reseat);
        self.new_epoch(position.0);
        Ok(())
    }

    /// A chip from outside: what is not good is shared over the part's chip modes by their chances.
    fn new_chip(&mut self, position: Position, works: f64) -> usize {
        let board = &self.graph.boards[position.0];
        let part = &board.profile.parts[position.1];
        let modes = modes_of(part, Site::Chip);
        let chances: Vec<f64> = part
            .modes
            .iter()
            .filter(|mode| mode.site == Site::Chip)
            .map(|mode| mode.chance)
            .collect();
        let sum: f64 = chances.iter().sum();
        let share = |chance: f64| {
            if sum > 0.0 {
                chance / sum
            } else {
                1.0 / chances.len() as f64
            }
        };
        let own: Vec<f64> = chances
            .iter()
            .map(|&chance| (1.0 - works) * share(chance))
            .collect();
        let possible = own.iter().map(|&chance| chance > 0.0).collect();
        let state = self.graph.add_state(State {
            modes,
            origin: Origin::Prior {
                own,
                strikes: Vec::new(),
            },
            possible,
        });
        self.graph.chips.push(ChipState {
            state,
            mark: None,
            position: None,
        });
        self.graph.chips.len() - 1
    }

    fn swap(&mut self, a: &(String, String), b: &(String, String)) -> Result<(), Error> {
        let at_a = self.position(self.machine(&a.0)?, &a.1)?;
        let at_b = self.position(self.machine(&b.0)?, &b.1)?;
        if at_a == at_b {
            return Err(Error::new(format!(
                "found `{}` of machine `{}` swapped with itself, expected two positions",
                a.1, a.0
            )));
        }
        let chip_at = |graph: &Graph, at: Position| graph.boards[at.0].positions[at.1].chip;
        let (chip_a, chip_b) = (chip_at(&self.graph, at_a), chip_at(&self.graph, at_b));
        for chip in [chip_a, chip_b].into_iter().flatten() {
            self.take_out(chip, None)?;
        }
        for (chip, at) in [(chip_a, at_b), (chip_b, at_a)] {
            if let Some(chip) = chip {
                self.put_in(chip, at);
            }
        }
        for at in [at_a, at_b] {
            self.touch(at, Touch::Reseat);
        }
        self.new_epoch(at_a.0);
        if at_a.0 != at_b.0 {
            self.new_epoch(at_b.0);
        }
        Ok(())
    }

    fn treat(&mut self, machine: &str, treatment: Treatment, places: &Places) -> Result<(), Error> {
        let machine = self.machine(machine)?;
        let positions = match places {
            Places::Parts(parts) => parts
                .iter()
                .map(|part| self.position(machine, part))
                .collect::<Result<Vec<_>, _>>()?,
            Places::Block(block) => self.block_positions(machine, block, treatment)?,
        };
        let touch = match treatment {
            Treatment::Reseat => Touch::Reseat,
            Treatment::Resolder => Touch::Resolder,
            Treatment::Clean => Touch::Clean,
        };
        for position in positions {
            self.touch(position, touch);
        }
        self.new_epoch(machine);
        Ok(())
    }

    fn block_positions(
        &self,
        machine: usize,
        block: &str,
        treatment: Treatment,
    ) -> Result<Vec<Position>, Error> {
        let profile = &self.graph.boards[machine].profile;
        if !profile.blocks.iter().any(|other| other.id == block) {
            return Err(Error::new(format!(
                "found block `{block}`, expected a block of board `{}`",
                profile.id
            )));
        }
        let concerned = |part: &Part| {
            part.block == block
                && !(treatment == Treatment::Reseat && part.mount == Mount::Soldered)
        };
        Ok((0..profile.parts.len())
            .filter(|&part| concerned(&profile.parts[part]))
            .map(|part| (machine, part))
            .collect())
    }

    /// A new version of a place: cured if bad, damaged if good.
    fn touch(&mut self, position: Position, touch: Touch) {
        let board = &self.graph.boards[position.0];
        let part = &board.profile.parts[position.1];
        let from = board.positions[position.1].place;
        let modes = Arc::clone(&self.graph.states[from].modes);
        let cured: Vec<f64> = part
            .modes
            .iter()
            .filter(|mode| mode.site == Site::Place)
            .map(|mode| match touch {
                Touch::Reseat => mode.cured_by.reseat,
                Touch::Resolder => mode.cured_by.resolder,
                Touch::Clean => mode.cured_by.clean,
            })
            .collect();
        let damage = if part.mount == Mount::Soldered {
            0.03
        } else {
            0.01
        };
        let mut possible = self.graph.states[from].possible.clone();
        if let Some(first) = possible.first_mut() {
            *first = true;
        }
        let place = self.graph.add_state(State {
            modes,
            origin: Origin::Act {
                from,
                cured,
                damage,
            },
            possible,
        });
        let state = &mut self.graph.changed(position.0).positions[position.1];
        state.place = place;
        state.touched = true;
    }

    fn settle(&mut self, index: usize, machine: Option<&str>, truth: &Truth) -> Result<(), Error> {
        let what = match (truth, machine) {
            (Truth::MarkedMode { mark, mode }, _) => {
                let state = self.graph.chips[self.marked(mark)?].state;
                self.mode_finding(state, mode)?
            }
            (_, None) => {
                return Err(Error::new(
                    "found a truth without a machine, expected a machine's tag or a chip's mark",
                ));
            }
            (Truth::Mode { part, mode }, Some(tag)) => {
                let position = self.position(self.machine(tag)?, part)?;
                let held = &self.graph.boards[position.0].positions[position.1];
                let on_place = self.graph.states[held.place]
                    .modes
                    .iter()
                    .any(|other| other.id == *mode);
                let state = match (on_place, held.chip) {
                    (true, _) => held.place,
                    (false, Some(chip)) => self.graph.chips[chip].state,
                    (false, None) => {
                        return Err(Error::new(format!(
                            "found no chip in `{part}` of machine `{tag}`, expected one that can be `{mode}`"
                        )));
                    }
                };
                self.mode_finding(state, mode)?
            }
            (Truth::Unmodelled, Some(tag)) => {
                let machine = self.machine(tag)?;
                let board = &self.graph.boards[machine];
                if !board.unmodelled || board.mule || board.profile.unmodelled <= 0.0 {
                    return Err(Error::new(format!(
                        "found a fault outside the profile on `{tag}`, expected a machine that can have one"
                    )));
                }
                What::Unmodelled { machine }
            }
            (Truth::Works, Some(tag)) => {
                let machine = self.machine(tag)?;
                let view = View {
                    power: Some(self.graph.new_power()),
                    warmth: Warmth::All,
                    bench_supply: false,
                };
                let board = &self.graph.boards[machine];
                let targets: Vec<usize> = board
                    .targets
                    .all(&board.profile)
                    .into_iter()
                    .map(|(number, _)| number)
                    .collect();
                What::Works {
                    ors: targets
                        .into_iter()
                        .map(|target| self.graph.look(machine, target, view))
                        .collect(),
                }
            }
        };
        self.findings.push(Finding {
            steps: vec![index],
            what,
        });
        Ok(())
    }

    fn mode_finding(&self, state: StateId, mode: &str) -> Result<What, Error> {
        let modes = &self.graph.states[state].modes;
        let found = modes.iter().position(|other| other.id == mode);
        let known: Vec<&str> = modes.iter().map(|mode| mode.id.as_str()).collect();
        found
            .map(|mode| What::Mode { state, mode })
            .ok_or_else(|| Error::new(format!("found mode `{mode}`, expected one of {known:?}")))
    }
}

/// How a place is touched.
#[derive(Debug, Clone, Copy)]
enum Touch {
    Reseat,
    Resolder,
    Clean,
}

/// Minutes between two moments; 0 where one is unknown.
fn gap(from: Option<f64>, to: Option<f64>) -> f64 {
    match (from, to) {
        (Some(from), Some(to)) => to - from,
        _ => 0.0,
    }
}

fn outcome_index(check: &Check, id: &str) -> Result<usize, Error> {
    let known: Vec<&str> = check
        .outcomes
        .iter()
        .map(|outcome| outcome.id.as_str())
        .collect();
    known.iter().position(|other| *other == id).ok_or_else(|| {
        Error::new(format!(
            "found outcome `{id}` of check `{}`, expected one of {known:?}",
            check.id
        ))
    })
}

/// The part of a target that an unmodelled fault can break, or nothing for a rail's `high`.
pub(crate) fn is_breakable(target: &Target) -> bool {
    !matches!(target, Target::Rail(_, RailSide::High))
}
