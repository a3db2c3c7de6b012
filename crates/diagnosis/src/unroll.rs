//! Walks the steps of a situation and unrolls them into the graph, with the findings.

mod acts;

use std::{collections::BTreeSet, sync::Arc};

use catalogue::{Check, Profile, Target, Tells};
use units::Component;

use crate::{
    error::Error,
    graph::{Arising, Graph, OrId, Origin, PowerId, StateId, Touch, View, Warmth},
    lower::Asked,
    situation::{Action, Measure, Shown, Situation, Supply},
    take_in::{number_things, take_in},
    wiring::{Maybe, Wiring, short},
};

/// Minutes without a finding after which a session or a power-up is over.
const IDLE_MINUTES: f64 = 30.0;

/// The unrolled situation with its findings.
#[derive(Debug, Clone, Default)]
pub(crate) struct Unrolled {
    pub(crate) graph: Graph,
    /// A copy of the whole shares them.
    pub(crate) findings: Vec<Arc<Finding>>,
    /// By board.
    pub(crate) progress: Vec<Progress>,
    pub(crate) sessions: usize,
}

/// How far a machine is.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Progress {
    pub(crate) epoch: usize,
    power: Option<OpenPower>,
    /// In the order of their checks and persons.
    sessions: Vec<OpenSession>,
}

impl Progress {
    fn forget_times(&mut self) {
        self.power.iter_mut().for_each(|power| power.last = None);
        let sessions = self.sessions.iter_mut();
        sessions.for_each(|session| session.last = None);
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct OpenPower {
    id: PowerId,
    supply: Supply,
    /// Time of the last powered finding.
    last: Option<f64>,
}

#[derive(Debug, Clone, PartialEq)]
struct OpenSession {
    check: u32,
    person: Option<Arc<str>>,
    id: usize,
    last: Option<f64>,
}

/// Something seen, or a truth found out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Finding {
    /// Indices of its steps.
    pub(crate) steps: Box<[usize]>,
    pub(crate) what: What,
}

/// What a finding says.
#[derive(Debug, Clone, PartialEq)]
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
        ors: Box<[OrId]>,
    },
}

/// A check that was made, or tried.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Look {
    pub(crate) machine: usize,
    pub(crate) check: usize,
    pub(crate) epoch: usize,
    pub(crate) session: usize,
    /// What the check names: one target, or each target of its rows in order of first use.
    pub(crate) ors: Box<[OrId]>,
    /// Fails if the check cannot be done.
    pub(crate) requires: Maybe,
    pub(crate) shown: Seen,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Seen {
    Outcome(usize),
    Readings(Box<Readings>),
    Cannot,
}

/// Readings of a session taken under the same condition.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Readings {
    power: Option<PowerId>,
    warm: Option<u64>,
    pub(crate) values: Vec<f64>,
    pub(crate) components: Vec<Component>,
}

/// The targets a check names, each once, in order of first use.
pub(crate) fn named_targets(check: &Check) -> Vec<&Target> {
    match &check.tells {
        Tells::Target { target, .. } => vec![target],
        Tells::Rows(rows) => {
            let mut named: Vec<&Target> = Vec::new();
            for target in rows.iter().flat_map(|row| &row.fails) {
                if !named.contains(&target) {
                    named.push(target);
                }
            }
            named
        }
    }
}

/// Finds the wiring of a profile that was unrolled before.
pub(crate) type Known<'a> = &'a dyn Fn(&Arc<Profile>) -> Option<Arc<Wiring>>;

/// Unrolls a situation.
pub(crate) fn unroll(situation: &Situation, known: Known<'_>) -> Result<Unrolled, Error> {
    unroll_without(situation, &BTreeSet::new(), known)
}

fn unroll_without(
    situation: &Situation,
    aside: &BTreeSet<Arising>,
    known: Known<'_>,
) -> Result<Unrolled, Error> {
    let mut unrolled = Unrolled::default();
    unrolled.graph.aside.clone_from(aside);
    unrolled.findings.reserve(situation.steps.len());
    for machine in &situation.machines {
        take_in(&mut unrolled, situation, machine, known)?;
    }
    number_things(&mut unrolled.graph);
    for (index, step) in situation.steps.iter().enumerate() {
        unrolled
            .step(index, step.time, &step.action)
            .map_err(|error| error.at(index))?;
    }
    unrolled.shrink();
    Ok(unrolled)
}

pub(crate) fn unknown_machine(tag: &str) -> Error {
    Error::new(format!(
        "found machine `{tag}`, expected one that was taken in"
    ))
}

impl Unrolled {
    /// The same situation where some modes never arise: they are set aside.
    pub(crate) fn without(
        &self,
        situation: &Situation,
        aside: &BTreeSet<Arising>,
    ) -> Result<Self, Error> {
        unroll_without(situation, aside, &|profile| self.wiring(profile))
    }

    /// Gives back what was reserved for more.
    fn shrink(&mut self) {
        self.findings.shrink_to_fit();
        self.graph.shrink();
        let sessions = self.progress.iter_mut().map(|one| &mut one.sessions);
        sessions.for_each(Vec::shrink_to_fit);
    }

    /// The wiring of a profile, if a machine has it.
    pub(crate) fn wiring(&self, profile: &Arc<Profile>) -> Option<Arc<Wiring>> {
        let mut boards = self.graph.boards.iter();
        let known = boards.find(|board| Arc::ptr_eq(&board.profile, profile));
        known.map(|board| Arc::clone(&board.wiring))
    }

    pub(crate) fn machine(&self, tag: &str) -> Result<usize, Error> {
        self.graph
            .boards
            .iter()
            .position(|board| board.tag == tag)
            .ok_or_else(|| unknown_machine(tag))
    }

    /// Of the same actions in the same order: all looks lie in the same sessions and power-ups.
    pub(crate) fn is_timed_like(&self, other: &Self) -> bool {
        let open = |unrolled: &Self| {
            let mut progress = unrolled.progress.clone();
            progress.iter_mut().for_each(Progress::forget_times);
            progress
        };
        self.graph.powers == other.graph.powers
            && self.findings == other.findings
            && open(self) == open(other)
    }

    /// The machines' tags.
    pub(crate) fn tags(&self) -> impl Iterator<Item = &str> {
        self.graph.boards.iter().map(|board| board.tag.as_str())
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
        person: Option<&str>,
        time: Option<f64>,
    ) -> usize {
        let next = self.sessions;
        let check = short(check);
        let sessions = &mut self.progress[machine].sessions;
        let key = (check, person);
        let found = sessions.binary_search_by(|one| (one.check, one.person.as_deref()).cmp(&key));
        let place = found.unwrap_or_else(|place| {
            let session = OpenSession {
                check,
                person: person.map(Arc::from),
                id: next,
                last: time,
            };
            sessions.insert(place, session);
            place
        });
        let session = &mut sessions[place];
        if gap(session.last, time) > IDLE_MINUTES {
            session.id = next;
            session.last = time;
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
        let outcome = match &measure.shown {
            Shown::Skipped => return Ok(()),
            Shown::Outcome(id) => Some(outcome_index(check, id)?),
            Shown::Cannot | Shown::Reading { .. } => None,
        };
        if let (Shown::Reading { .. }, None) = (&measure.shown, &check.limits) {
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
        let shown = match (&measure.shown, outcome) {
            (_, Some(outcome)) => Seen::Outcome(outcome),
            (Shown::Reading { value, components }, _) => Seen::Readings(Box::new(Readings {
                power,
                warm: measure.minutes_on.map(f64::to_bits),
                values: vec![*value],
                components: components.clone(),
            })),
            _ => Seen::Cannot,
        };
        let look = Look {
            machine,
            check: check_index,
            epoch: self.progress[machine].epoch,
            session: self.session_of(machine, check_index, measure.person.as_deref(), time),
            ors: self.check_ors(machine, check, view).into(),
            requires: self.check_requires(machine, check, view).into(),
            shown,
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
        if let Seen::Readings(new) = &look.shown {
            let joins = |finding: &Finding| {
                let What::Look(other) = &finding.what else {
                    return false;
                };
                let same = other.machine == look.machine
                    && other.check == look.check
                    && other.session == look.session
                    && other.epoch == look.epoch;
                let alike = |known: &Readings| known.power == new.power && known.warm == new.warm;
                same && matches!(&other.shown, Seen::Readings(known) if alike(known))
            };
            if let Some(known) = self.findings.iter_mut().find(|finding| joins(finding)) {
                let known = Arc::make_mut(known);
                if let What::Look(Look {
                    shown: Seen::Readings(known),
                    ..
                }) = &mut known.what
                {
                    known.values.extend(&new.values);
                }
                known.steps = known.steps.iter().copied().chain([index]).collect();
                return;
            }
        }
        self.find(index, What::Look(look));
    }

    fn find(&mut self, step: usize, what: What) {
        let steps = Box::new([step]);
        self.findings.push(Arc::new(Finding { steps, what }));
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
        let targets = unrolled.graph.boards[machine].wiring.sides();
        let looked = targets.map(|target| unrolled.graph.look(machine, target, next));
        let functions = looked.collect();
        (unrolled, asked, functions)
    }

    /// The ORs of what a check names, as a look would find them now.
    pub(crate) fn check_ors(&mut self, machine: usize, check: &Check, view: View) -> Vec<OrId> {
        let wiring = Arc::clone(&self.graph.boards[machine].wiring);
        let mut look = |target| Some(self.graph.look(machine, wiring.number(target)?, view));
        match &check.tells {
            Tells::Target { target, .. } => look(target).map_or_else(Vec::new, |or| vec![or]),
            Tells::Rows(_) => named_targets(check).into_iter().filter_map(look).collect(),
        }
    }

    pub(crate) fn check_requires(
        &mut self,
        machine: usize,
        check: &Check,
        view: View,
    ) -> Option<OrId> {
        let requires = check.requires.iter();
        let wiring = &self.graph.boards[machine].wiring;
        let numbers: Vec<usize> = requires
            .filter_map(|target| wiring.number(target))
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
        let wiring = Arc::clone(&self.graph.boards[machine].wiring);
        let harms = check.harms.iter();
        harms
            .map(|harm| Some(self.graph.look(machine, wiring.number(&harm.when)?, view)))
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
                position.chip().is_none() && !part.optional && needed(&part.reference)
            })
            .map(|(part, _)| part.reference.clone())
            .collect()
    }

    fn harm(&mut self, machine: usize, check: &Check, view: View) -> Result<(), Error> {
        // every `when` is of the state before the harm
        let whens = self.harm_ors(machine, check, view);
        for (harm, when) in check.harms.iter().zip(whens) {
            let (_, part) = self.position(machine, &harm.part)?;
            let chip = self.graph.boards[machine].positions[part].chip();
            let (Some(when), Some(chip)) = (when, chip) else {
                continue;
            };
            let from = self.graph.chips[chip].state();
            let Some(mode) = self.graph.modes(from).position(&harm.mode) else {
                continue;
            };
            let mut state = self.graph.states[from];
            if harm.chance > 0.0 {
                state.possible.set(mode, true);
            }
            state.origin = Origin::Harm {
                from: short(from),
                mode: mode as u8,
                when: short(when),
                chance: harm.chance,
            };
            let state = self.graph.add_state(state);
            self.graph.chips[chip].change(state);
            self.graph.changed(machine);
        }
        Ok(())
    }
}

/// Minutes between two moments; 0 where one is unknown.
fn gap(from: Option<f64>, to: Option<f64>) -> f64 {
    match (from, to) {
        (Some(from), Some(to)) => to - from,
        _ => 0.0,
    }
}

fn outcome_index(check: &Check, id: &str) -> Result<usize, Error> {
    let mut outcomes = check.outcomes.iter();
    outcomes.position(|other| other.id == id).ok_or_else(|| {
        let known = check.outcomes.iter();
        let known: Vec<&str> = known.map(|outcome| outcome.id.as_str()).collect();
        Error::new(format!(
            "found outcome `{id}` of check `{}`, expected one of {known:?}",
            check.id
        ))
    })
}
