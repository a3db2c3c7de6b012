//! The meaning of the fault model, written a second time and plainly: a story is played forward over all worlds.
//!
//! A world is everything that has been drawn so far: states of chips and places, events, the unmodelled fault, and each
//! lasting draw (leak, link, activity, blunder …) once it was asked for. Each operation splits every world into all ways in which
//! its draws can fall; equal worlds are joined. A finding multiplies the weights of a world. Nothing is shared with the crate.

use std::{
    cmp::Ordering,
    collections::{BTreeMap, BTreeSet},
};

use catalogue::{
    Check, Mode, Mount, Need, Profile, RailFault, RailSide, Scope, Site, Target, Tells,
};
use diagnosis::{
    Action, Chip, Measure, Places, Shown, Situation, Supply, Treatment, Truth, binary_entropy,
};
use units::Component;

/// What an enumeration finds.
#[derive(Debug, Default)]
pub(crate) struct Answer {
    /// P(findings).
    pub(crate) p: f64,
    /// By name: `T-01 U1.dead`, `dot-1.dead`, `brick.bad`.
    pub(crate) modes: BTreeMap<String, f64>,
    /// By name: `T-01 overvoltage`, `lot-1 damp`.
    pub(crate) events: BTreeMap<String, f64>,
    /// By tag.
    pub(crate) unmodelled: BTreeMap<String, f64>,
    /// By tag and function: `T-01 clock`, `T-01 +5V.high`.
    pub(crate) functions: BTreeMap<String, f64>,
    /// By tag and set, in order of names.
    pub(crate) explanations: BTreeMap<String, BTreeMap<Vec<String>, f64>>,
    /// By steps.
    pub(crate) given_others: Vec<(Vec<usize>, f64)>,
    /// By tag and check.
    pub(crate) predictions: BTreeMap<(String, String), Predicted>,
    /// Sum of the binary entropies of all modes.
    pub(crate) entropy_bits: f64,
    /// How many worlds there were at most.
    pub(crate) worlds: usize,
    /// By tag: all final states at the next look, for questions beyond the usual ones.
    pub(crate) ends: BTreeMap<String, Vec<End>>,
}

/// What a check not yet made would show.
#[derive(Debug)]
pub(crate) struct Predicted {
    /// Outcome and chance; `cannot` last if the check requires something.
    pub(crate) outcomes: Vec<(String, f64)>,
    /// Expected fall of entropy.
    pub(crate) fall: f64,
}

/// One way in which everything can be at the next look at one machine.
#[derive(Debug, Clone)]
pub(crate) struct End {
    /// P(this | findings).
    pub(crate) share: f64,
    /// Modes present in the machine, in order of names, `unmodelled` too.
    pub(crate) set: Vec<String>,
    /// Functions that fail at the next look.
    pub(crate) fails: BTreeSet<String>,
    /// By check not yet made: the chance of each of its outcomes.
    pub(crate) shows: BTreeMap<String, Vec<f64>>,
    /// By check not yet made: the harms it would do, part and mode and chance.
    pub(crate) harms: BTreeMap<String, Vec<(String, String, f64)>>,
}

/// A choice that is made once and lasts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Draw {
    /// Machine, function.
    Leak(usize, usize),
    /// Machine, part, chip or place, onset, function.
    Link(usize, usize, Option<usize>, u8, usize),
    /// Machine, function, which of its needs.
    Need(usize, usize, usize),
    /// Power-up, machine, part, chip or place, onset.
    Active(usize, usize, usize, Option<usize>, u8),
    /// Power-up.
    Warm(usize),
    /// Power-up.
    BadBench(usize),
    /// Session; 0 none, else 1 + the outcome shown.
    Blunder(usize),
    /// Machine, check, epoch, whether a required function fails.
    Cannot(usize, usize, usize, bool),
    /// Machine, check, epoch, row.
    Same(usize, usize, usize, usize),
}

/// A state (0 is good, else 1 + index of the mode) and how often it has begun.
type State = (u8, u8);

#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Default)]
struct World {
    chips: Vec<State>,
    /// By machine and part.
    places: Vec<State>,
    outside: Vec<bool>,
    events: Vec<bool>,
    /// By machine: 0 none, else 1 + the function.
    unmodelled: Vec<usize>,
    draws: BTreeMap<Draw, u8>,
}

/// The draws of one operation in one world: every call of `roll` branches.
struct Dice {
    script: Vec<usize>,
    widths: Vec<usize>,
    at: usize,
    chance: f64,
}

impl Dice {
    /// Chooses by weights; impossible branches are passed over.
    fn roll(&mut self, weights: &[f64]) -> usize {
        let possible: Vec<usize> = (0..weights.len()).filter(|&i| weights[i] > 0.0).collect();
        if self.at == self.script.len() {
            self.script.push(0);
            self.widths.push(possible.len());
        }
        let choice = possible[self.script[self.at]];
        self.at += 1;
        self.chance *= weights[choice];
        choice
    }

    fn coin(&mut self, chance: f64) -> bool {
        self.roll(&[1.0 - chance, chance]) == 1
    }
}

/// Plays something once for each way in which its draws can fall.
fn every_way(mut play: impl FnMut(&mut Dice)) {
    let mut dice = Dice {
        script: Vec::new(),
        widths: Vec::new(),
        at: 0,
        chance: 1.0,
    };
    loop {
        dice.at = 0;
        dice.chance = 1.0;
        play(&mut dice);
        while let Some(last) = dice.script.last_mut() {
            *last += 1;
            if *last < *dice.widths.last().expect("as many widths") {
                break;
            }
            dice.script.pop();
            dice.widths.pop();
        }
        if dice.script.is_empty() {
            return;
        }
    }
}

impl World {
    /// A lasting draw.
    fn draw(&mut self, key: Draw, weights: &[f64], dice: &mut Dice) -> usize {
        if let Some(&drawn) = self.draws.get(&key) {
            return usize::from(drawn);
        }
        let drawn = dice.roll(weights);
        self.draws.insert(key, drawn as u8);
        drawn
    }

    fn coin(&mut self, key: Draw, chance: f64, dice: &mut Dice) -> bool {
        chance >= 1.0 || chance > 0.0 && self.draw(key, &[1.0 - chance, chance], dice) == 1
    }
}

/// How a machine is looked at.
#[derive(Debug, Clone)]
struct Look {
    machine: usize,
    powered: bool,
    bench: bool,
    minutes: Option<f64>,
    power: usize,
    /// Every present mode shows.
    truth: bool,
    /// The chip in each position.
    chips: Vec<Option<usize>>,
}

/// What a finding says.
#[derive(Debug, Clone)]
enum Says {
    Outcome(usize),
    /// Chance that the true value is outside.
    Outside(f64),
    Cannot,
    /// A reading already counted.
    Nothing,
}

#[derive(Debug, Clone)]
enum Op {
    /// A check was made.
    Look {
        look: Look,
        check: usize,
        says: Says,
        finding: usize,
        session: usize,
        epoch: usize,
    },
    /// A place was touched.
    Touch {
        machine: usize,
        part: usize,
        treatment: Treatment,
    },
    /// A chip came from outside.
    Fresh {
        chip: usize,
        part: usize,
        works: f64,
    },
    /// A power-up is over: its draws are of no use any more.
    PowerOver(usize),
    /// An epoch of a machine is over.
    EpochOver(usize),
    Mend(usize),
    IsMode {
        /// A chip, or the place at this machine and part.
        chip: Option<usize>,
        machine: usize,
        part: usize,
        state: u8,
        finding: usize,
    },
    IsUnmodelled {
        machine: usize,
        finding: usize,
    },
    Works {
        look: Look,
        finding: usize,
    },
}

#[derive(Debug, Clone)]
struct Session {
    id: usize,
    last: Option<f64>,
}

/// Everything about the story that is not a matter of chance.
struct Story<'a> {
    situation: &'a Situation,
    profile: &'a Profile,
    /// Part of whose kind each chip is.
    chips: Vec<usize>,
    /// By machine: the chip in each position.
    positions: Vec<Vec<Option<usize>>>,
    /// Loose chips by mark.
    marks: BTreeMap<String, usize>,
    /// The last mark of each chip.
    carried: BTreeMap<usize, String>,
    epochs: Vec<usize>,
    /// By machine: the power-up that is open, on a bench supply or not.
    power: Vec<Option<(usize, bool)>>,
    powered_at: Vec<Option<f64>>,
    powers: usize,
    sessions: BTreeMap<(usize, usize, Option<String>), Session>,
    session_count: usize,
    made: BTreeSet<(usize, usize, usize)>,
    now: Option<f64>,
    /// Steps of each finding.
    findings: Vec<Vec<usize>>,
    ops: Vec<Op>,
}

/// A group of averaged readings: session, epoch, power-up, warmth in bits.
type Group = (usize, usize, Option<usize>, Option<u64>);

/// Each reading of each group with the components of its uncertainty.
type Readings = BTreeMap<Group, Vec<(f64, Vec<Component>)>>;

/// The modes of a part on one side.
fn modes_of(profile: &Profile, part: usize, site: Site) -> impl Iterator<Item = &Mode> {
    profile.parts[part]
        .modes
        .iter()
        .filter(move |mode| mode.site == site)
}

fn mode_of(profile: &Profile, part: usize, site: Site, state: u8) -> &Mode {
    modes_of(profile, part, site)
        .nth(usize::from(state) - 1)
        .expect("a mode")
}

fn long_gap(from: Option<f64>, to: Option<f64>) -> bool {
    matches!((from, to), (Some(from), Some(to)) if to - from > 30.0)
}

impl<'a> Story<'a> {
    fn new(situation: &'a Situation) -> Self {
        let profile = situation.profiles.values().next().expect("a profile");
        let mut story = Story {
            situation,
            profile,
            chips: Vec::new(),
            positions: Vec::new(),
            marks: BTreeMap::new(),
            carried: BTreeMap::new(),
            epochs: vec![0; situation.machines.len()],
            power: vec![None; situation.machines.len()],
            powered_at: vec![None; situation.machines.len()],
            powers: 0,
            sessions: BTreeMap::new(),
            session_count: 0,
            made: BTreeSet::new(),
            now: None,
            findings: Vec::new(),
            ops: Vec::new(),
        };
        for machine in &situation.machines {
            let mut positions = Vec::new();
            for (index, part) in profile.parts.iter().enumerate() {
                let empty = machine.empty.contains(&part.reference);
                positions.push((!empty).then(|| {
                    story.chips.push(index);
                    story.chips.len() - 1
                }));
            }
            story.positions.push(positions);
        }
        story
    }

    fn machine(&self, tag: &str) -> Option<usize> {
        self.situation.machines.iter().position(|m| m.tag == tag)
    }

    fn part(&self, reference: &str) -> Option<usize> {
        let parts = &self.profile.parts;
        parts.iter().position(|part| part.reference == reference)
    }

    /// An act: the machine enters a new epoch.
    fn act(&mut self, machine: usize) {
        self.ops.push(Op::EpochOver(machine));
        self.epochs[machine] += 1;
        self.power_over(machine);
    }

    fn power_over(&mut self, machine: usize) {
        if let Some((power, _)) = self.power[machine].take() {
            self.ops.push(Op::PowerOver(power));
        }
    }

    fn touch(&mut self, machine: usize, part: usize, treatment: Treatment) {
        self.ops.push(Op::Touch {
            machine,
            part,
            treatment,
        });
    }

    fn begin_power(&mut self, machine: usize, bench: bool) {
        self.power_over(machine);
        self.powers += 1;
        self.power[machine] = Some((self.powers, bench));
        self.powered_at[machine] = self.now;
    }

    /// A powered look; begins a power-up where the rules say so.
    fn powered_look(&mut self, machine: usize, bench: bool) {
        let goes_on = self.power[machine].is_some_and(|(_, on)| on == bench)
            && !long_gap(self.powered_at[machine], self.now);
        if !goes_on {
            self.begin_power(machine, bench);
        }
        self.powered_at[machine] = self.now;
    }

    /// The next powered look without minutes on the usual supply.
    fn next_look(&self, machine: usize, powered: bool) -> Look {
        let open = self.power[machine].filter(|&(_, bench)| !bench);
        Look {
            machine,
            powered,
            bench: false,
            minutes: None,
            power: open.map_or(usize::MAX, |(power, _)| power),
            truth: false,
            chips: self.positions[machine].clone(),
        }
    }

    fn read(&mut self) -> Option<()> {
        let means = self.clone_for_groups().group_means()?;
        let mut groups: BTreeMap<Group, usize> = BTreeMap::new();
        for (index, step) in self.situation.steps.iter().enumerate() {
            self.now = step.time.or(self.now);
            self.step(index, &step.action, &means, &mut groups)?;
        }
        Some(())
    }

    fn clone_for_groups(&self) -> Story<'a> {
        Story::new(self.situation)
    }

    /// The readings of each group, found by a first walk through the story.
    fn group_means(mut self) -> Option<Readings> {
        let mut means = Readings::new();
        let mut groups = BTreeMap::new();
        for (index, step) in self.situation.steps.iter().enumerate() {
            self.now = step.time.or(self.now);
            if let Action::Measure(measure) = &step.action
                && let Shown::Reading { value, components } = &measure.shown
            {
                let mut probe = BTreeMap::new();
                let group = self.measure(index, measure, None, &mut probe)?;
                means
                    .entry(group)
                    .or_default()
                    .push((*value, components.clone()));
            } else {
                self.step(index, &step.action, &BTreeMap::new(), &mut groups)?;
            }
        }
        Some(means)
    }

    fn step(
        &mut self,
        index: usize,
        action: &Action,
        means: &Readings,
        groups: &mut BTreeMap<Group, usize>,
    ) -> Option<()> {
        match action {
            Action::Measure(measure) => {
                if measure.shown != Shown::Skipped {
                    self.measure(index, measure, Some(means), groups)?;
                }
            }
            Action::Power { machine, supply } => {
                let machine = self.machine(machine)?;
                self.begin_power(machine, *supply == Supply::Bench);
            }
            Action::SetUp { machine } => {
                let machine = self.machine(machine)?;
                self.sessions.retain(|&(other, ..), _| other != machine);
            }
            Action::Pull {
                machine,
                part,
                mark,
            } => {
                let (machine, part) = (self.machine(machine)?, self.part(part)?);
                self.act(machine);
                let chip = self.positions[machine][part].take()?;
                self.mark(mark.as_ref(), chip);
                self.touch(machine, part, Treatment::Reseat);
            }
            Action::Fit {
                machine,
                part,
                chip,
                old_mark,
            } => {
                let (machine, part) = (self.machine(machine)?, self.part(part)?);
                self.act(machine);
                if let Some(old) = self.positions[machine][part].take() {
                    self.mark(old_mark.as_ref(), old);
                }
                let chip = match chip {
                    Chip::Marked(mark) => self.marks.remove(mark)?,
                    Chip::New { works } => {
                        self.chips.push(part);
                        let chip = self.chips.len() - 1;
                        self.ops.push(Op::Fresh {
                            chip,
                            part,
                            works: *works,
                        });
                        chip
                    }
                };
                self.positions[machine][part] = Some(chip);
                self.touch(machine, part, Treatment::Reseat);
            }
            Action::Swap { a, b } => {
                let (ma, pa) = (self.machine(&a.0)?, self.part(&a.1)?);
                let (mb, pb) = (self.machine(&b.0)?, self.part(&b.1)?);
                self.act(ma);
                if ma != mb {
                    self.act(mb);
                }
                let (chip_a, chip_b) = (self.positions[ma][pa]?, self.positions[mb][pb]?);
                self.positions[ma][pa] = Some(chip_b);
                self.positions[mb][pb] = Some(chip_a);
                self.touch(ma, pa, Treatment::Reseat);
                self.touch(mb, pb, Treatment::Reseat);
            }
            Action::Treat {
                machine,
                treatment,
                places,
            } => {
                let machine = self.machine(machine)?;
                self.act(machine);
                let parts: Vec<usize> = match places {
                    Places::Parts(parts) => {
                        parts.iter().map(|p| self.part(p)).collect::<Option<_>>()?
                    }
                    Places::Block(block) => (0..self.profile.parts.len())
                        .filter(|&p| {
                            let part = &self.profile.parts[p];
                            let leave =
                                *treatment == Treatment::Reseat && part.mount == Mount::Soldered;
                            part.block == *block && !leave
                        })
                        .collect(),
                };
                for part in parts {
                    self.touch(machine, part, *treatment);
                }
            }
            Action::Mend { machine } => {
                let machine = self.machine(machine)?;
                self.act(machine);
                self.ops.push(Op::Mend(machine));
            }
            Action::Settle { machine, truth } => self.settle(index, machine.as_deref(), truth)?,
        }
        Some(())
    }

    /// A chip comes out; a mark stays on it until it gets another.
    fn mark(&mut self, mark: Option<&String>, chip: usize) {
        if let Some(mark) = mark.or(self.carried.get(&chip)).cloned() {
            self.carried.insert(chip, mark.clone());
            self.marks.insert(mark, chip);
        }
    }

    fn settle(&mut self, index: usize, machine: Option<&str>, truth: &Truth) -> Option<()> {
        let finding = self.findings.len();
        self.findings.push(vec![index]);
        let machine = machine.and_then(|tag| self.machine(tag));
        let state = |profile: &Profile, part: usize, site: Site, id: &str| {
            let place = modes_of(profile, part, site).position(|mode| mode.id == id);
            place.map(|place| place as u8 + 1)
        };
        self.ops.push(match truth {
            Truth::Mode { part, mode } => {
                let (machine, part) = (machine?, self.part(part)?);
                let site = self.profile.parts[part].mode(mode)?.site;
                let chip = match site {
                    Site::Chip => Some(self.positions[machine][part]?),
                    Site::Place => None,
                };
                Op::IsMode {
                    chip,
                    machine,
                    part,
                    state: state(self.profile, part, site, mode)?,
                    finding,
                }
            }
            Truth::MarkedMode { mark, mode } => {
                let chip = *self.marks.get(mark)?;
                Op::IsMode {
                    chip: Some(chip),
                    machine: 0,
                    part: 0,
                    state: state(self.profile, self.chips[chip], Site::Chip, mode)?,
                    finding,
                }
            }
            Truth::Unmodelled => Op::IsUnmodelled {
                machine: machine?,
                finding,
            },
            Truth::Works => {
                let mut look = self.next_look(machine?, true);
                look.truth = true;
                Op::Works { look, finding }
            }
        });
        Some(())
    }

    /// One finding; the group is that of a reading.
    fn measure(
        &mut self,
        index: usize,
        measure: &Measure,
        means: Option<&Readings>,
        groups: &mut BTreeMap<Group, usize>,
    ) -> Option<Group> {
        let machine = self.machine(&measure.machine)?;
        let checks = &self.profile.checks;
        let number = checks.iter().position(|check| check.id == measure.check)?;
        let check = &checks[number];
        let powered = check.set_up.iter().any(|set_up| set_up == "powered");
        let bench = powered && measure.supply == Supply::Bench;
        if powered {
            self.powered_look(machine, bench);
        }
        let session = self.session(machine, number, measure.person.clone());
        let epoch = self.epochs[machine];
        self.made.insert((machine, number, epoch));
        let power = self.power[machine].filter(|_| powered).map(|(id, _)| id);
        let warmth = measure.minutes_on.filter(|_| powered).map(f64::to_bits);
        let group = (session, epoch, power, warmth);
        let mut finding = self.findings.len();
        let says = match &measure.shown {
            Shown::Outcome(id) => Says::Outcome(check.outcomes.iter().position(|o| o.id == *id)?),
            Shown::Cannot => Says::Cannot,
            Shown::Skipped => return None,
            Shown::Reading { .. } => match (groups.get(&group), means) {
                (Some(&first), _) => {
                    finding = first;
                    Says::Nothing
                }
                (None, Some(means)) => Says::Outside(outside(check, &means[&group])?),
                (None, None) => Says::Nothing,
            },
        };
        if finding == self.findings.len() {
            self.findings.push(Vec::new());
            if matches!(measure.shown, Shown::Reading { .. }) {
                groups.insert(group, finding);
            }
        }
        self.findings[finding].push(index);
        let mut look = self.next_look(machine, powered);
        look.bench = bench;
        look.minutes = measure.minutes_on;
        look.power = power.unwrap_or(usize::MAX);
        self.ops.push(Op::Look {
            look,
            check: number,
            says,
            finding,
            session,
            epoch,
        });
        Some(group)
    }

    fn session(&mut self, machine: usize, check: usize, person: Option<String>) -> usize {
        let key = (machine, check, person);
        let now = self.now;
        if let Some(session) = self.sessions.get_mut(&key)
            && !long_gap(session.last, now)
        {
            session.last = now;
            return session.id;
        }
        self.session_count += 1;
        let id = self.session_count;
        self.sessions.insert(key, Session { id, last: now });
        id
    }
}

/// Chance that the true value is outside the limits, from the readings of one group.
fn outside(check: &Check, readings: &[(f64, Vec<Component>)]) -> Option<f64> {
    let limits = check.limits.as_ref()?;
    let mean = readings.iter().map(|(value, _)| value).sum::<f64>() / readings.len() as f64;
    let variance: f64 = readings[0]
        .1
        .iter()
        .map(|c| (c.percent / 100.0 * mean.abs() + c.counts * c.digit).powi(2) / 3.0)
        .sum();
    let sigma = variance.sqrt();
    let beyond = |distance: f64| {
        if sigma > 0.0 {
            phi(distance / sigma)
        } else {
            f64::from(u8::from(distance > 0.0))
        }
    };
    Some(
        limits.low.map_or(0.0, |low| beyond(low - mean))
            + limits.high.map_or(0.0, |high| beyond(mean - high)),
    )
}

/// The normal distribution: series (Abramowitz & Stegun 26.2.11) near 0, continued fraction (26.2.14) in the tails.
pub(crate) fn phi(x: f64) -> f64 {
    let density = (-x * x / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt();
    if x.abs() < 3.0 {
        let (mut term, mut sum, mut n) = (x, x, 1.0);
        while term.abs() > 1e-18 {
            n += 2.0;
            term *= x * x / n;
            sum += term;
        }
        return 0.5 + density * sum;
    }
    let mut fraction = 0.0;
    for n in (1..200).rev() {
        fraction = f64::from(n) / (x.abs() + fraction);
    }
    let tail = density / (x.abs() + fraction);
    if x < 0.0 { tail } else { 1.0 - tail }
}

/// Enumerates everything. `None`: the story cannot be, or there are too many worlds.
pub(crate) fn enumerate(situation: &Situation, most_worlds: usize) -> Option<Answer> {
    answer(situation, most_worlds, false)
}

/// The same with all final states of each machine.
pub(crate) fn enumerate_ends(situation: &Situation, most_worlds: usize) -> Option<Answer> {
    answer(situation, most_worlds, true)
}

fn answer(situation: &Situation, most_worlds: usize, wants_ends: bool) -> Option<Answer> {
    let mut story = Story::new(situation);
    story.read()?;
    let play = Play::new(&story, most_worlds, wants_ends);
    let mut worlds = play.take_in()?;
    let mut most = worlds.len();
    for op in &story.ops {
        worlds = play.split(worlds, |play, world, dice, weights| {
            play.play(op, world, dice, weights);
        })?;
        most = most.max(worlds.len());
    }
    let mut answer = play.answer(&worlds)?;
    answer.worlds = most;
    Some(answer)
}

type Worlds = Vec<(World, Vec<f64>)>;

/// Plays a story in worlds.
struct Play<'a> {
    story: &'a Story<'a>,
    profile: &'a Profile,
    /// Events by machine or lot: whose, event.
    events: Vec<(String, usize)>,
    /// By machine: which of `events` strike it.
    strikes: Vec<Vec<usize>>,
    functions: usize,
    /// By machine: the chip in each position at take-in.
    first: Vec<Vec<Option<usize>>>,
    most_worlds: usize,
    wants_ends: bool,
}

impl<'a> Play<'a> {
    fn new(story: &'a Story<'a>, most_worlds: usize, wants_ends: bool) -> Self {
        let profile = story.profile;
        let mut events: Vec<(String, usize)> = Vec::new();
        let mut strikes = Vec::new();
        for machine in &story.situation.machines {
            let mut own = Vec::new();
            for (number, event) in profile.events.iter().enumerate() {
                let whose = match event.scope {
                    _ if machine.mule => continue,
                    Scope::Machine => machine.tag.clone(),
                    Scope::Lot => match &machine.lot {
                        Some(lot) => lot.clone(),
                        None => continue,
                    },
                };
                let entry = (whose, number);
                own.push(events.iter().position(|e| *e == entry).unwrap_or_else(|| {
                    events.push(entry);
                    events.len() - 1
                }));
            }
            strikes.push(own);
        }
        Play {
            story,
            profile,
            events,
            strikes,
            functions: profile.functions.len() + 2 * profile.rails.len(),
            first: Story::new(story.situation).positions,
            most_worlds,
            wants_ends,
        }
    }

    /// All worlds after something has happened in each; nothing if there are too many.
    fn split(
        &self,
        worlds: Worlds,
        mut play: impl FnMut(&Self, &mut World, &mut Dice, &mut [f64]),
    ) -> Option<Worlds> {
        let mut after: BTreeMap<World, Vec<f64>> = BTreeMap::new();
        for (world, weights) in worlds {
            every_way(|dice| {
                let mut world = world.clone();
                let mut weights = weights.clone();
                play(self, &mut world, dice, &mut weights);
                if weights.iter().all(|&weight| weight <= 0.0) {
                    return;
                }
                let sums = after
                    .entry(world)
                    .or_insert_with(|| vec![0.0; weights.len()]);
                for (sum, weight) in sums.iter_mut().zip(&weights) {
                    *sum += weight * dice.chance;
                }
            });
            if after.len() > self.most_worlds {
                return None;
            }
        }
        Some(after.into_iter().collect())
    }

    /// Number of a function in all functions: the profile's own, then each rail's present and high.
    fn number(&self, target: &Target) -> [usize; 2] {
        match target {
            Target::Function(id) => {
                let functions = &self.profile.functions;
                let number = functions.iter().position(|f| f.id == *id);
                [number.expect("a function"); 2]
            }
            Target::Rail(name, side) => {
                let rails = &self.profile.rails;
                let rail = rails.iter().position(|r| r.name == *name).expect("a rail");
                let present = self.profile.functions.len() + 2 * rail;
                match side {
                    RailSide::Whole => [present, present + 1],
                    RailSide::Present => [present; 2],
                    RailSide::High => [present + 1; 2],
                }
            }
        }
    }

    fn name(&self, function: usize) -> String {
        let own = self.profile.functions.len();
        if function < own {
            return self.profile.functions[function].id.clone();
        }
        let rail = &self.profile.rails[(function - own) / 2].name;
        let side = ["present", "high"][(function - own) % 2];
        format!("{rail}.{side}")
    }

    /// All ways in which the machines came in.
    fn take_in(&self) -> Option<Worlds> {
        let story = self.story;
        let machines = story.situation.machines.len();
        let world = World {
            chips: vec![(0, 0); story.chips.len()],
            places: vec![(0, 0); machines * self.profile.parts.len()],
            outside: vec![false; self.profile.outside.len()],
            events: vec![false; self.events.len()],
            unmodelled: vec![0; machines],
            draws: BTreeMap::new(),
        };
        let mut worlds = vec![(world, vec![1.0; 1 + story.findings.len()])];
        worlds = self.split(worlds, |play, world, dice, _| {
            for (index, outside) in play.profile.outside.iter().enumerate() {
                world.outside[index] = dice.coin(outside.chance);
            }
            for (index, (whose, event)) in play.events.iter().enumerate() {
                let event = &play.profile.events[*event];
                let known = match event.scope {
                    Scope::Lot => story.situation.lots.get(whose),
                    Scope::Machine => story
                        .machine(whose)
                        .map(|machine| &story.situation.machines[machine].known),
                };
                world.events[index] = match known.and_then(|known| known.get(&event.id)) {
                    Some(&known) => known,
                    None => dice.coin(event.chance),
                };
            }
        })?;
        for machine in 0..machines {
            if story.situation.machines[machine].mule {
                continue;
            }
            for part in 0..self.profile.parts.len() {
                worlds = self.split(worlds, |play, world, dice, _| {
                    play.take_in_part(machine, part, world, dice);
                })?;
            }
            worlds = self.split(worlds, |play, world, dice, _| {
                if dice.coin(play.profile.unmodelled) {
                    world.unmodelled[machine] = 1 + play.unmodelled_place(dice);
                }
            })?;
        }
        Some(worlds)
    }

    fn unmodelled_place(&self, dice: &mut Dice) -> usize {
        let own = self.profile.functions.len();
        let places: Vec<usize> = (0..own)
            .chain((0..self.profile.rails.len()).map(|rail| own + 2 * rail))
            .collect();
        places[dice.roll(&vec![1.0 / places.len() as f64; places.len()])]
    }

    /// The first chip of each position is the one at take-in.
    fn take_in_part(&self, machine: usize, part: usize, world: &mut World, dice: &mut Dice) {
        let place = machine * self.profile.parts.len() + part;
        let state = self.first_state(machine, part, Site::Place, world, dice);
        world.places[place] = (state, 0);
        if let Some(chip) = self.first[machine][part] {
            world.chips[chip] = (self.first_state(machine, part, Site::Chip, world, dice), 0);
        }
    }

    fn first_state(
        &self,
        machine: usize,
        part: usize,
        site: Site,
        world: &World,
        dice: &mut Dice,
    ) -> u8 {
        let modes: Vec<&Mode> = modes_of(self.profile, part, site).collect();
        let mut weights: Vec<f64> = modes.iter().map(|mode| mode.chance).collect();
        weights.insert(0, (1.0 - weights.iter().sum::<f64>()).max(0.0));
        let own = dice.roll(&weights);
        if own != 0 {
            return own as u8;
        }
        let reference = &self.profile.parts[part].reference;
        let mut struck = vec![0.0; modes.len()];
        for (index, mode) in modes.iter().enumerate() {
            let mut spared = 1.0;
            for &event in self.strikes[machine].iter().filter(|&&e| world.events[e]) {
                for cause in &self.profile.events[self.events[event].1].causes {
                    if cause.part == *reference && cause.mode == mode.id {
                        spared *= 1.0 - cause.chance;
                    }
                }
            }
            if dice.coin(1.0 - spared) {
                struck[index] = 1.0 - spared;
            }
        }
        let total: f64 = struck.iter().sum();
        if total == 0.0 {
            return 0;
        }
        let shares: Vec<f64> = struck.iter().map(|s| s / total).collect();
        1 + dice.roll(&shares) as u8
    }

    fn play(&self, op: &Op, world: &mut World, dice: &mut Dice, weights: &mut [f64]) {
        match op {
            Op::Look { .. } => self.check(op, world, dice, weights),
            Op::Touch {
                machine,
                part,
                treatment,
            } => self.touch(*machine, *part, *treatment, world, dice),
            Op::Fresh { chip, part, works } => {
                let chances: Vec<f64> = modes_of(self.profile, *part, Site::Chip)
                    .map(|mode| mode.chance)
                    .collect();
                let total: f64 = chances.iter().sum();
                let even = 1.0 / chances.len() as f64;
                let mut shares: Vec<f64> = chances
                    .iter()
                    .map(|c| (1.0 - works) * if total > 0.0 { c / total } else { even })
                    .collect();
                shares.insert(0, if shares.is_empty() { 1.0 } else { *works });
                world.chips[*chip] = (dice.roll(&shares) as u8, 0);
            }
            Op::PowerOver(power) => world.draws.retain(|draw, _| {
                !matches!(draw, Draw::Active(on, ..) | Draw::Warm(on) | Draw::BadBench(on) if on == power)
            }),
            Op::EpochOver(machine) => world.draws.retain(|draw, _| {
                !matches!(draw, Draw::Cannot(of, ..) | Draw::Same(of, ..) if of == machine)
            }),
            Op::Mend(machine) => world.unmodelled[*machine] = 0,
            Op::IsMode {
                chip,
                machine,
                part,
                state,
                finding,
            } => {
                let place = machine * self.profile.parts.len() + part;
                let now = chip.map_or(world.places[place], |chip| world.chips[chip]).0;
                found(weights, *finding, f64::from(u8::from(now == *state)));
            }
            Op::IsUnmodelled { machine, finding } => {
                let there = world.unmodelled[*machine] != 0;
                found(weights, *finding, f64::from(u8::from(there)));
            }
            Op::Works { look, finding } => {
                let mut memo = vec![None; self.functions];
                let broken =
                    (0..self.functions).any(|f| self.fails(f, look, world, dice, &mut memo));
                found(weights, *finding, f64::from(u8::from(!broken)));
            }
        }
    }

    fn touch(
        &self,
        machine: usize,
        part: usize,
        treatment: Treatment,
        world: &mut World,
        dice: &mut Dice,
    ) {
        let place = machine * self.profile.parts.len() + part;
        let (state, onset) = world.places[place];
        if state == 0 {
            let hurt = match self.profile.parts[part].mount {
                Mount::Soldered => 0.03,
                Mount::Socket | Mount::Plug => 0.01,
            };
            if dice.coin(hurt) {
                world.places[place] = (1, onset + 1);
            }
        } else {
            let cured_by = mode_of(self.profile, part, Site::Place, state).cured_by;
            let cure = match treatment {
                Treatment::Reseat => cured_by.reseat,
                Treatment::Resolder => cured_by.resolder,
                Treatment::Clean => cured_by.clean,
            };
            if dice.coin(cure) {
                world.places[place] = (0, onset);
            }
        }
    }

    fn check(&self, op: &Op, world: &mut World, dice: &mut Dice, weights: &mut [f64]) {
        let Op::Look {
            look,
            check: number,
            says,
            finding,
            session,
            epoch,
        } = op
        else {
            return;
        };
        let check = &self.profile.checks[*number];
        let mut memo = vec![None; self.functions];
        let key = (look.machine, *number, *epoch);
        let likelihood = match says {
            Says::Nothing => 1.0,
            _ => self.likelihood(check, key, *session, look, says, world, dice, &mut memo),
        };
        found(weights, *finding, likelihood);
        if weights.iter().all(|&weight| weight <= 0.0) || matches!(says, Says::Cannot) {
            return;
        }
        let harms: Vec<bool> = check
            .harms
            .iter()
            .map(|harm| self.target_fails(&harm.when, look, world, dice, &mut memo))
            .collect();
        for (harm, held) in check.harms.iter().zip(harms) {
            let part = self.story.part(&harm.part).expect("a part");
            if let Some(chip) = look.chips[part]
                && held
                && world.chips[chip].0 == 0
                && dice.coin(harm.chance)
            {
                let state = modes_of(self.profile, part, Site::Chip)
                    .position(|mode| mode.id == harm.mode)
                    .expect("a chip mode");
                world.chips[chip] = (state as u8 + 1, world.chips[chip].1 + 1);
            }
        }
    }

    /// Chance of what a finding says.
    #[expect(clippy::too_many_arguments, reason = "one place reads the whole rule")]
    fn likelihood(
        &self,
        check: &Check,
        key: (usize, usize, usize),
        session: usize,
        look: &Look,
        says: &Says,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> f64 {
        if !check.requires.is_empty() {
            let missing = check
                .requires
                .iter()
                .any(|target| self.target_fails(target, look, world, dice, memo));
            let chance = if missing { 0.98 } else { 0.01 };
            let draw = Draw::Cannot(key.0, key.1, key.2, missing);
            let cannot = world.coin(draw, chance, dice);
            if cannot != matches!(says, Says::Cannot) {
                return 0.0;
            }
        }
        let shown = |drawn: usize| match says {
            Says::Outcome(outcome) => f64::from(u8::from(drawn == *outcome)),
            Says::Outside(q) => [1.0 - q, *q][drawn],
            Says::Cannot | Says::Nothing => 1.0,
        };
        if matches!(says, Says::Cannot) {
            return 1.0;
        }
        if check.blunder > 0.0 {
            let count = check.outcomes.len();
            let mut weights = vec![check.blunder / count as f64; count + 1];
            weights[0] = 1.0 - check.blunder;
            let drawn = world.draw(Draw::Blunder(session), &weights, dice);
            if drawn > 0 {
                return shown(drawn - 1);
            }
        }
        let (row, chances) = self.row(check, look, world, dice, memo);
        if check.repeats_same {
            let draw = Draw::Same(key.0, key.1, key.2, row);
            return shown(world.draw(draw, &chances, dice));
        }
        (0..chances.len()).map(|o| chances[o] * shown(o)).sum()
    }

    /// The state of what a check tells, and the chances of its outcomes.
    fn row(
        &self,
        check: &Check,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> (usize, Vec<f64>) {
        match &check.tells {
            Tells::Target {
                target,
                false_pass,
                false_fail,
            } => {
                if self.target_fails(target, look, world, dice, memo) {
                    (0, vec![*false_pass, 1.0 - false_pass])
                } else {
                    (1, vec![1.0 - false_fail, *false_fail])
                }
            }
            Tells::Rows(rows) => {
                for (index, row) in rows.iter().enumerate() {
                    let applies = row
                        .fails
                        .iter()
                        .all(|target| self.target_fails(target, look, world, dice, memo));
                    if applies {
                        return (index, row.shows.clone());
                    }
                }
                unreachable!("the last row always applies")
            }
        }
    }

    fn target_fails(
        &self,
        target: &Target,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> bool {
        let [one, other] = self.number(target);
        self.fails(one, look, world, dice, memo)
            || one != other && self.fails(other, look, world, dice, memo)
    }

    fn fails(
        &self,
        function: usize,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> bool {
        if let Some(known) = memo[function] {
            return known;
        }
        let fails = world.unmodelled[look.machine] == 1 + function
            || self.outside_breaks(function, look, world)
            || self.parts_break(function, look, world, dice)
            || self.needs_break(function, look, world, dice, memo)
            || self.leaks(function, look, world, dice);
        memo[function] = Some(fails);
        fails
    }

    fn serves_rail(&self, outside: usize) -> bool {
        self.profile.outside[outside]
            .serves
            .iter()
            .any(|target| matches!(target, Target::Rail(..)))
    }

    fn uses(&self, machine: usize, outside: usize) -> bool {
        let used = &self.story.situation.machines[machine].outside;
        used.as_ref()
            .is_none_or(|used| used.contains(&self.profile.outside[outside].id))
    }

    fn outside_breaks(&self, function: usize, look: &Look, world: &World) -> bool {
        (0..self.profile.outside.len()).any(|index| {
            world.outside[index]
                && self.uses(look.machine, index)
                && !(look.bench && self.serves_rail(index))
                && self.profile.outside[index]
                    .serves
                    .iter()
                    .any(|target| self.present(target) == function)
        })
    }

    /// The function that is meant where a rail means its `present`.
    fn present(&self, target: &Target) -> usize {
        match target {
            Target::Rail(name, _) => self.number(&Target::Rail(name.clone(), RailSide::Present))[0],
            Target::Function(_) => self.number(target)[0],
        }
    }

    fn feeds(&self, part: usize) -> bool {
        let reference = &self.profile.parts[part].reference;
        let rails = &self.profile.rails;
        rails.iter().any(|rail| rail.fed_by.contains(reference))
    }

    /// The rail of which a function is a side, and whether it is `high`.
    fn rail_side(&self, function: usize) -> Option<(&catalogue::Rail, bool)> {
        let index = function.checked_sub(self.profile.functions.len())?;
        Some((&self.profile.rails[index / 2], index % 2 == 1))
    }

    fn parts_break(
        &self,
        function: usize,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
    ) -> bool {
        (0..self.profile.parts.len())
            .any(|part| self.part_breaks(function, part, look, world, dice))
    }

    fn part_breaks(
        &self,
        function: usize,
        part: usize,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
    ) -> bool {
        if look.bench && self.feeds(part) {
            return false;
        }
        let Some(chip) = look.chips[part] else {
            let named = match self.rail_side(function) {
                Some((rail, high)) => {
                    !high && rail.fed_by.contains(&self.profile.parts[part].reference)
                }
                None => self.needs_part(function, part),
            };
            return named && !self.profile.parts[part].optional;
        };
        let place = world.places[look.machine * self.profile.parts.len() + part];
        let sides = [
            (Site::Chip, world.chips[chip], Some(chip)),
            (Site::Place, place, None),
        ];
        sides.into_iter().any(|(site, (state, onset), holder)| {
            if state == 0 {
                return false;
            }
            let mode = mode_of(self.profile, part, site, state);
            let chance = self.chance(function, part, mode);
            let link = Draw::Link(look.machine, part, holder, onset, function);
            chance > 0.0
                && self.shows(mode, part, holder, onset, look, world, dice)
                && world.coin(link, chance, dice)
        })
    }

    fn needs_part(&self, function: usize, part: usize) -> bool {
        let reference = &self.profile.parts[part].reference;
        self.profile.functions[function]
            .needs
            .iter()
            .any(|need| matches!(need, Need::Part(named) if named == reference))
    }

    /// Chance that a mode that shows breaks a function.
    fn chance(&self, function: usize, part: usize, mode: &Mode) -> f64 {
        let reference = &self.profile.parts[part].reference;
        let needed = match self.rail_side(function) {
            Some((rail, high)) => {
                let side = high == (mode.rail == RailFault::High);
                f64::from(u8::from(rail.fed_by.contains(reference) && side))
            }
            None => {
                let own = &self.profile.functions[function];
                let named = own.needs.iter().find_map(|need| match need {
                    Need::Mode {
                        part,
                        mode: id,
                        chance,
                    } if part == reference && *id == mode.id => Some(*chance),
                    _ => None,
                });
                let whole = self.needs_part(function, part) && !mode.spares.contains(&own.id);
                named.unwrap_or(f64::from(u8::from(whole)))
            }
        };
        let mut safe = 1.0 - needed;
        for spoil in &mode.spoils {
            if self.present(&spoil.target) == function {
                safe *= 1.0 - spoil.chance;
            }
        }
        1.0 - safe
    }

    /// Whether a present mode shows at a look.
    #[expect(clippy::too_many_arguments, reason = "one place reads the whole rule")]
    fn shows(
        &self,
        mode: &Mode,
        part: usize,
        holder: Option<usize>,
        onset: u8,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
    ) -> bool {
        if look.truth {
            return true;
        }
        if !look.powered {
            return mode.shows >= 1.0 && mode.after_minutes <= 0.0;
        }
        let warm = mode.after_minutes <= 0.0
            || match look.minutes {
                Some(minutes) => minutes >= mode.after_minutes,
                None => world.coin(Draw::Warm(look.power), 0.5, dice),
            };
        let active = Draw::Active(look.power, look.machine, part, holder, onset);
        warm && world.coin(active, mode.shows, dice)
    }

    fn needs_break(
        &self,
        function: usize,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> bool {
        let Some(own) = self.profile.functions.get(function) else {
            return false;
        };
        own.needs
            .iter()
            .enumerate()
            .any(|(index, need)| match need {
                Need::Target { target, chance } => {
                    let draw = Draw::Need(look.machine, function, index);
                    self.target_fails(target, look, world, dice, memo)
                        && world.coin(draw, *chance, dice)
                }
                _ => false,
            })
    }

    fn leaks(&self, function: usize, look: &Look, world: &mut World, dice: &mut Dice) -> bool {
        let (leak, bench) = match self.rail_side(function) {
            Some((_, true)) => (0.0, false),
            Some((rail, false)) => {
                let served = (0..self.profile.outside.len()).any(|index| {
                    self.profile.outside[index]
                        .serves
                        .iter()
                        .any(|target| matches!(target, Target::Rail(name, _) if *name == rail.name))
                });
                (rail.leak, !rail.fed_by.is_empty() || served)
            }
            None => (self.profile.functions[function].leak, false),
        };
        let leak = if self.story.situation.machines[look.machine].mule {
            0.0
        } else {
            leak
        };
        world.coin(Draw::Leak(look.machine, function), leak, dice)
            || look.bench && bench && world.coin(Draw::BadBench(look.power), 0.001, dice)
    }
}

/// A finding counts in all weights but the one that leaves it out.
fn found(weights: &mut [f64], finding: usize, likelihood: f64) {
    for (index, weight) in weights.iter_mut().enumerate() {
        if index != finding + 1 {
            *weight *= likelihood;
        }
    }
}

/// A mode that can be present now: its name, where it sits, its state.
struct Listed {
    name: String,
    /// Machine whose explanation it belongs to, and its name there.
    machine: Option<(usize, String)>,
    at: At,
}

#[derive(Clone, Copy)]
enum At {
    Chip(usize, u8),
    Place(usize, u8),
    Outside(usize),
}

impl At {
    fn present(self, world: &World) -> bool {
        match self {
            At::Chip(chip, state) => world.chips[chip].0 == state,
            At::Place(place, state) => world.places[place].0 == state,
            At::Outside(index) => world.outside[index],
        }
    }
}

impl Play<'_> {
    fn listed(&self) -> Vec<Listed> {
        let mut all = Vec::new();
        for (machine, about) in self.story.situation.machines.iter().enumerate() {
            for (part, position) in self.profile.parts.iter().enumerate() {
                let place = machine * self.profile.parts.len() + part;
                for site in [Site::Chip, Site::Place] {
                    for (index, mode) in modes_of(self.profile, part, site).enumerate() {
                        let state = index as u8 + 1;
                        let at = match (site, self.story.positions[machine][part]) {
                            (Site::Chip, None) => continue,
                            (Site::Chip, Some(chip)) => At::Chip(chip, state),
                            (Site::Place, _) => At::Place(place, state),
                        };
                        let short = format!("{}.{}", position.reference, mode.id);
                        all.push(Listed {
                            name: format!("{} {short}", about.tag),
                            machine: Some((machine, short)),
                            at,
                        });
                    }
                }
            }
        }
        for (mark, &chip) in &self.story.marks {
            let part = self.story.chips[chip];
            for (index, mode) in modes_of(self.profile, part, Site::Chip).enumerate() {
                all.push(Listed {
                    name: format!("{mark}.{}", mode.id),
                    machine: None,
                    at: At::Chip(chip, index as u8 + 1),
                });
            }
        }
        for (index, outside) in self.profile.outside.iter().enumerate() {
            all.push(Listed {
                name: format!("{}.bad", outside.id),
                machine: None,
                at: At::Outside(index),
            });
        }
        all
    }

    fn answer(&self, worlds: &Worlds) -> Option<Answer> {
        let story = self.story;
        let mut sums = vec![0.0; 1 + story.findings.len()];
        for (_, weights) in worlds {
            for (sum, weight) in sums.iter_mut().zip(weights) {
                *sum += weight;
            }
        }
        let p = sums[0];
        let mut answer = Answer {
            p,
            ..Answer::default()
        };
        for (finding, steps) in story.findings.iter().enumerate() {
            let others = sums[finding + 1];
            answer.given_others.push((steps.clone(), p / others));
        }
        if p <= 0.0 {
            return Some(answer);
        }
        let shares: Vec<(&World, f64)> = worlds
            .iter()
            .filter(|(_, weights)| weights[0] > 0.0)
            .map(|(world, weights)| (world, weights[0] / p))
            .collect();
        let sum_if = |test: &dyn Fn(&World) -> bool| -> f64 {
            shares
                .iter()
                .filter(|(world, _)| test(world))
                .map(|(_, share)| share)
                .sum()
        };
        let listed = self.listed();
        for mode in &listed {
            let chance = sum_if(&|world| mode.at.present(world));
            answer.modes.insert(mode.name.clone(), chance);
        }
        answer.entropy_bits = answer.modes.values().map(|&c| binary_entropy(c)).sum();
        for (index, (whose, event)) in self.events.iter().enumerate() {
            let name = format!("{whose} {}", self.profile.events[*event].id);
            answer.events.insert(name, sum_if(&|w| w.events[index]));
        }
        for (machine, about) in story.situation.machines.iter().enumerate() {
            let chance = sum_if(&|world| world.unmodelled[machine] != 0);
            answer.unmodelled.insert(about.tag.clone(), chance);
            self.machine_answers(machine, &shares, &listed, &mut answer)?;
        }
        Some(answer)
    }

    /// The exact set of modes present in a machine, as indices; one more than the last is the unmodelled fault.
    fn set(&self, machine: usize, world: &World, listed: &[Listed]) -> Vec<usize> {
        let of_machine = |mode: &Listed| match (&mode.machine, mode.at) {
            (Some((own, _)), _) => *own == machine,
            (None, At::Outside(index)) => self.uses(machine, index),
            (None, _) => false,
        };
        let unmodelled = world.unmodelled[machine] != 0;
        (0..listed.len())
            .filter(|&index| listed[index].at.present(world) && of_machine(&listed[index]))
            .chain(unmodelled.then_some(listed.len()))
            .collect()
    }

    fn named(&self, set: &[usize], listed: &[Listed]) -> Vec<String> {
        let name = |&index: &usize| match listed.get(index) {
            Some(mode) => match &mode.machine {
                Some((_, short)) => short.clone(),
                None => mode.name.clone(),
            },
            None => "unmodelled".to_owned(),
        };
        let mut names: Vec<String> = set.iter().map(name).collect();
        names.sort();
        names
    }

    fn machine_answers(
        &self,
        machine: usize,
        shares: &[(&World, f64)],
        listed: &[Listed],
        answer: &mut Answer,
    ) -> Option<()> {
        let tag = &self.story.situation.machines[machine].tag;
        let mut sets: BTreeMap<Vec<usize>, f64> = BTreeMap::new();
        for (world, share) in shares {
            *sets.entry(self.set(machine, world, listed)).or_default() += share;
        }
        let named = sets
            .into_iter()
            .map(|(set, share)| (self.named(&set, listed), share));
        answer.explanations.insert(tag.clone(), named.collect());
        let open: Vec<usize> = (0..self.profile.checks.len())
            .filter(|&check| {
                let key = (machine, check, self.story.epochs[machine]);
                !self.story.made.contains(&key)
            })
            .collect();
        let mut failing = vec![0.0; self.functions];
        let mut ends = Vec::new();
        // by open check, outcome: the chance, and with it the chance of each mode
        let mut joint: Vec<Vec<(f64, Vec<f64>)>> = vec![Vec::new(); open.len()];
        for (world, share) in shares {
            let set = if self.wants_ends {
                self.named(&self.set(machine, world, listed), listed)
            } else {
                Vec::new()
            };
            if ends.len() > 10 * self.most_worlds {
                return None;
            }
            every_way(|dice| {
                let mut world = (*world).clone();
                let (end, fails) = self.end(machine, &open, &mut world, dice);
                let weight = share * dice.chance;
                for (sum, fails) in failing.iter_mut().zip(&fails) {
                    *sum += if *fails { weight } else { 0.0 };
                }
                for (slot, check) in open.iter().enumerate() {
                    let shows = &end.shows[&self.profile.checks[*check].id];
                    let outcomes = &mut joint[slot];
                    outcomes.resize(shows.len(), (0.0, vec![0.0; listed.len()]));
                    for (outcome, chance) in outcomes.iter_mut().zip(shows) {
                        outcome.0 += weight * chance;
                        for (index, mode) in listed.iter().enumerate() {
                            let present = f64::from(u8::from(mode.at.present(&world)));
                            outcome.1[index] += weight * chance * present;
                        }
                    }
                }
                if self.wants_ends {
                    ends.push(End {
                        share: weight,
                        set: set.clone(),
                        ..end
                    });
                }
            });
        }
        for (function, chance) in failing.iter().enumerate() {
            let name = format!("{tag} {}", self.name(function));
            answer.functions.insert(name, *chance);
        }
        for (slot, check) in open.iter().enumerate() {
            let check = &self.profile.checks[*check];
            let names = check.outcomes.iter().map(|outcome| outcome.id.clone());
            let names = names.chain(["cannot".to_owned()]);
            let mut after = 0.0;
            for (chance, modes) in joint[slot].iter().filter(|(chance, _)| *chance > 0.0) {
                let entropy: f64 = modes.iter().map(|m| binary_entropy(m / chance)).sum();
                after += chance * entropy;
            }
            answer.predictions.insert(
                (tag.clone(), check.id.clone()),
                Predicted {
                    outcomes: names.zip(joint[slot].iter().map(|(c, _)| *c)).collect(),
                    fall: answer.entropy_bits - after,
                },
            );
        }
        answer.ends.insert(tag.clone(), join(ends));
        Some(())
    }

    /// One way in which the next look can be, with all functions and the harms of each open check.
    fn end(
        &self,
        machine: usize,
        open: &[usize],
        world: &mut World,
        dice: &mut Dice,
    ) -> (End, Vec<bool>) {
        let story = self.story;
        let look = story.next_look(machine, true);
        let cold = story.next_look(machine, false);
        let mut memo = vec![None; self.functions];
        let fails: Vec<bool> = (0..self.functions)
            .map(|function| self.fails(function, &look, world, dice, &mut memo))
            .collect();
        let mut cold_memo = vec![None; self.functions];
        let mut end = End {
            share: 0.0,
            set: Vec::new(),
            fails: (0..self.functions)
                .filter(|&f| fails[f])
                .map(|f| self.name(f))
                .collect(),
            shows: BTreeMap::new(),
            harms: BTreeMap::new(),
        };
        for &check in open {
            let check = &self.profile.checks[check];
            let powered = check.set_up.iter().any(|set_up| set_up == "powered");
            let (look, memo) = if powered {
                (&look, &mut memo)
            } else {
                (&cold, &mut cold_memo)
            };
            let shows = self.shown_next(check, look, world, dice, memo);
            for harm in &check.harms {
                let part = story.part(&harm.part).expect("a part");
                let Some(chip) = look.chips[part] else {
                    continue;
                };
                if self.target_fails(&harm.when, look, world, dice, memo)
                    && world.chips[chip].0 == 0
                {
                    end.harms.entry(check.id.clone()).or_default().push((
                        harm.part.clone(),
                        harm.mode.clone(),
                        harm.chance,
                    ));
                }
            }
            end.shows.insert(check.id.clone(), shows);
        }
        (end, fails)
    }

    /// Chances of the outcomes of a check in a new session, `cannot` last.
    fn shown_next(
        &self,
        check: &Check,
        look: &Look,
        world: &mut World,
        dice: &mut Dice,
        memo: &mut [Option<bool>],
    ) -> Vec<f64> {
        let (_, chances) = self.row(check, look, world, dice, memo);
        let count = chances.len() as f64;
        let missing = check
            .requires
            .iter()
            .any(|target| self.target_fails(target, look, world, dice, memo));
        let cannot = match (check.requires.is_empty(), missing) {
            (true, _) => 0.0,
            (false, true) => 0.98,
            (false, false) => 0.01,
        };
        let blundered = |c: &f64| (1.0 - check.blunder) * c + check.blunder / count;
        chances
            .iter()
            .map(|c| (1.0 - cannot) * blundered(c))
            .chain((!check.requires.is_empty()).then_some(cannot))
            .collect()
    }
}

/// Joins ends that are the same but for their share.
fn join(mut ends: Vec<End>) -> Vec<End> {
    let order = |a: &End, b: &End| -> Ordering {
        let flat =
            |end: &End| -> Vec<u64> { end.shows.values().flatten().map(|c| c.to_bits()).collect() };
        (&a.set, &a.fails)
            .cmp(&(&b.set, &b.fails))
            .then_with(|| flat(a).cmp(&flat(b)))
            .then_with(|| a.harms.len().cmp(&b.harms.len()))
    };
    ends.sort_by(order);
    let mut joined: Vec<End> = Vec::new();
    for end in ends {
        match joined.last_mut() {
            Some(last)
                if last.set == end.set
                    && last.shows == end.shows
                    && last.harms == end.harms
                    && last.fails == end.fails =>
            {
                last.share += end.share;
            }
            _ => joined.push(end),
        }
    }
    joined
}
