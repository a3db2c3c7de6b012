//! The bench: plays looks and acts on the true state (rules 6 to 10 of the fault model), coin by coin.

use catalogue::{Check, Mount, Profile, Site, Tells};
use diagnosis::{Action, BenchStep, Chip as Fitted, Measure, Places, Shown, Supply, Treatment};

use crate::{
    board::{Board, is_powered, modes_of},
    coins::{Coin, Coins, Kind},
    error::Error,
    look::{Look, View, WHOLE, Warmth},
    truth::pick_mode,
    world::{Chip, Moment, Power, Session, World},
};

/// Thousandths of a minute after which a session or a power-up is over.
const IDLE: Moment = 30_000;
/// "Cannot be done" is said with these chances if something required fails, and if nothing does.
const CANNOT: [f64; 2] = [0.01, 0.98];

/// What happened beside what was seen.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Damage {
    /// Chips that a check harmed.
    pub harmed: u32,
    /// Good places that an act damaged.
    pub collateral: u32,
}

/// Plays steps on a world.
pub(crate) struct Bench<'a> {
    pub(crate) board: &'a Board<'a>,
    pub(crate) world: &'a mut World,
    pub(crate) coins: &'a mut dyn Coins,
    pub(crate) damage: Damage,
}

impl<'a> Bench<'a> {
    pub(crate) fn new(
        board: &'a Board<'a>,
        world: &'a mut World,
        coins: &'a mut dyn Coins,
    ) -> Self {
        Self {
            board,
            world,
            coins,
            damage: Damage::default(),
        }
    }

    /// Does a step and gives it back with what was seen; what is found out by other means is not played.
    pub(crate) fn play(&mut self, step: &BenchStep) -> Result<BenchStep, Error> {
        let mut done = step.clone();
        let time = step.time.map(moment);
        match &mut done.action {
            Action::Measure(measure) => measure.shown = self.measure(time, measure)?,
            Action::Power { machine, supply } => {
                let machine = self.machine(machine)?;
                self.begin_power(machine, time, *supply);
            }
            Action::SetUp { machine } => {
                let machine = self.machine(machine)?;
                for session in self.world.machines[machine].sessions.values_mut() {
                    session.ended = true;
                }
            }
            Action::Pull {
                machine,
                part,
                mark,
            } => {
                let at = self.position(machine, part)?;
                self.take_out(at, mark.clone());
                self.touch(at, Treatment::Reseat);
                self.new_epoch(at.0);
            }
            Action::Fit {
                machine,
                part,
                chip,
                old_mark,
            } => {
                let at = self.position(machine, part)?;
                let new = self.chip_for(at, chip)?;
                self.take_out(at, old_mark.clone());
                self.world.machines[at.0].positions[at.1].chip = Some(new);
                self.touch(at, Treatment::Reseat);
                self.new_epoch(at.0);
            }
            Action::Swap { a, b } => {
                let (a, b) = (self.position(&a.0, &a.1)?, self.position(&b.0, &b.1)?);
                self.swap(a, b);
            }
            Action::Treat {
                machine,
                treatment,
                places,
            } => {
                let machine = self.machine(machine)?;
                for part in self.places(machine, *treatment, places)? {
                    self.touch((machine, part), *treatment);
                }
                self.new_epoch(machine);
            }
            Action::Mend { machine } => {
                let machine = self.machine(machine)?;
                self.world.machines[machine].unmodelled = None;
                self.new_epoch(machine);
            }
            Action::Settle { .. } => {
                return Err(Error::new(
                    "found a truth to settle, expected something to do or to look at",
                ));
            }
        }
        Ok(done)
    }

    /// Whether a machine truly works: nothing fails with every present mode showing.
    pub(crate) fn works(&mut self, machine: usize) -> bool {
        let mut look = Look::new(self.world, self.board, machine, WHOLE, self.coins);
        !(0..self.board.causes.len()).any(|number| look.function(number))
    }

    fn machine(&self, tag: &str) -> Result<usize, Error> {
        let found = self.world.machine(tag);
        found.ok_or_else(|| Error::new(format!("found machine `{tag}`, expected one of the pile")))
    }

    fn position(&self, tag: &str, part: &str) -> Result<(usize, usize), Error> {
        let machine = self.machine(tag)?;
        let found = self.board.parts.get(part).map(|&part| (machine, part));
        found.ok_or_else(|| {
            let board = &self.board.profile.id;
            Error::new(format!(
                "found part `{part}`, expected one of board `{board}`"
            ))
        })
    }

    fn places(
        &self,
        machine: usize,
        treatment: Treatment,
        places: &Places,
    ) -> Result<Vec<usize>, Error> {
        match places {
            Places::Parts(parts) => {
                let tag = &self.world.machines[machine].tag;
                let each = parts.iter().map(|part| Ok(self.position(tag, part)?.1));
                each.collect()
            }
            Places::Block(block) => {
                let reseats = treatment == Treatment::Reseat;
                let parts = self.board.profile.parts.iter().enumerate();
                let concerned = parts.filter(|(_, part)| {
                    part.block == *block && !(reseats && part.mount == Mount::Soldered)
                });
                Ok(concerned.map(|(index, _)| index).collect())
            }
        }
    }

    fn new_epoch(&mut self, machine: usize) {
        let machine = &mut self.world.machines[machine];
        machine.epoch += 1;
        machine.power = None;
    }

    fn begin_power(&mut self, machine: usize, time: Option<Moment>, supply: Supply) -> u32 {
        let machine = &mut self.world.machines[machine];
        let id = machine.powers;
        machine.powers += 1;
        machine.power = Some(Power {
            id,
            supply,
            last: time,
        });
        id
    }

    /// The power-up of a powered finding: the open one, unless it stood idle or has another supply.
    fn power(&mut self, machine: usize, time: Option<Moment>, supply: Supply) -> u32 {
        if let Some(power) = &mut self.world.machines[machine].power
            && power.supply == supply
            && !is_over(power.last, time)
        {
            power.last = time.or(power.last);
            return power.id;
        }
        self.begin_power(machine, time, supply)
    }

    /// Which session of this check and person it is.
    fn session(
        &mut self,
        machine: usize,
        check: usize,
        person: &Option<String>,
        time: Option<Moment>,
    ) -> u32 {
        let key = (check, person.clone().unwrap_or_default());
        let sessions = &mut self.world.machines[machine].sessions;
        let session = sessions.entry(key).or_insert(Session {
            id: 0,
            last: time,
            ended: false,
        });
        if session.ended || is_over(session.last, time) {
            *session = Session {
                id: session.id + 1,
                last: time,
                ended: false,
            };
        }
        session.last = time.or(session.last);
        session.id
    }

    fn measure(&mut self, time: Option<Moment>, measure: &Measure) -> Result<Shown, Error> {
        let machine = self.machine(&measure.machine)?;
        let profile: &Profile = self.board.profile;
        let index = profile
            .checks
            .iter()
            .position(|check| check.id == measure.check);
        let index = index.ok_or_else(|| {
            Error::new(format!(
                "found check `{}`, expected one of board `{}`",
                measure.check, profile.id
            ))
        })?;
        let check = &profile.checks[index];
        let powered = is_powered(check);
        let power = powered.then(|| self.power(machine, time, measure.supply));
        let session = self.session(machine, index, &measure.person, time);
        let person = measure.person.as_deref().map_or(0, name_of);
        let look = self.world.machines[machine].looks.entry(index).or_insert(0);
        *look += 1;
        let made = Made {
            machine,
            check: index,
            look: *look,
            session: [machine as u32, session, index as u32, person],
            view: View {
                power,
                warmth: measure.minutes_on.map_or(Warmth::Unknown, Warmth::Minutes),
                supply: if powered {
                    measure.supply
                } else {
                    Supply::Usual
                },
            },
        };
        Ok(match self.shown(check, &made) {
            None => Shown::Cannot,
            Some(outcome) => {
                self.harm(check, &made);
                Shown::Outcome(check.outcomes[outcome].id.clone())
            }
        })
    }

    /// The outcome of a check; none if it cannot be done.
    fn shown(&mut self, check: &Check, made: &Made) -> Option<usize> {
        let machine = made.machine as u32;
        let epoch = self.world.machines[made.machine].epoch;
        let mut look = Look::new(self.world, self.board, made.machine, made.view, self.coins);
        if !check.requires.is_empty() {
            let lacks = check.requires.iter().any(|target| look.fails(target));
            let names = [machine, epoch, made.check as u32, u32::from(lacks)];
            if look
                .coins
                .toss(Coin::new(Kind::Cannot, &names), CANNOT[usize::from(lacks)])
            {
                return None;
            }
        }
        let (row, chances) = match &check.tells {
            Tells::Target {
                target,
                false_pass,
                false_fail,
            } => {
                if look.fails(target) {
                    (1, vec![*false_pass, 1.0 - false_pass])
                } else {
                    (0, vec![1.0 - false_fail, *false_fail])
                }
            }
            Tells::Rows(rows) => {
                let row = rows
                    .iter()
                    .position(|row| row.fails.iter().all(|target| look.fails(target)));
                let row = row.unwrap_or(rows.len() - 1);
                (row, rows[row].shows.clone())
            }
        };
        if self
            .coins
            .toss(Coin::new(Kind::Blunder, &made.session), check.blunder)
        {
            let even = vec![1.0 / check.outcomes.len() as f64; check.outcomes.len()];
            return Some(
                self.coins
                    .pick(Coin::new(Kind::Wrong, &made.session), &even),
            );
        }
        let coin = if check.repeats_same {
            Coin::new(
                Kind::Repeat,
                &[machine, epoch, made.check as u32, row as u32],
            )
        } else {
            Coin::new(Kind::Shown, &[machine, made.check as u32, made.look])
        };
        Some(self.coins.pick(coin, &chances))
    }

    /// After the look a check may harm; each `when` is of the state before.
    fn harm(&mut self, check: &Check, made: &Made) {
        let mut look = Look::new(self.world, self.board, made.machine, made.view, self.coins);
        let whens: Vec<bool> = check
            .harms
            .iter()
            .map(|harm| look.fails(&harm.when))
            .collect();
        for (number, (harm, when)) in check.harms.iter().zip(whens).enumerate() {
            let Some(&part) = self.board.parts.get(&harm.part[..]) else {
                continue;
            };
            let position = &self.world.machines[made.machine].positions[part];
            let Some(chip) = position.chip.and_then(|id| self.world.chips.get_mut(&id)) else {
                continue;
            };
            let modes = &self.board.profile.parts[chip.part].modes;
            let mode = modes
                .iter()
                .position(|mode| mode.id == harm.mode && mode.site == Site::Chip);
            let names = [
                made.machine as u32,
                made.check as u32,
                made.look,
                number as u32,
            ];
            if let (true, None, Some(mode)) = (when, chip.mode, mode)
                && self.coins.toss(Coin::new(Kind::Harm, &names), harm.chance)
            {
                chip.mode = Some(mode);
                chip.onset += 1;
                self.damage.harmed += 1;
            }
        }
    }

    /// Takes the chip out; without a mark it is forgotten.
    fn take_out(&mut self, (machine, part): (usize, usize), mark: Option<String>) {
        let Some(id) = self.world.machines[machine].positions[part].chip.take() else {
            return;
        };
        let Some(chip) = self.world.chips.get_mut(&id) else {
            return;
        };
        if mark.is_some() {
            chip.mark = mark;
        }
        if chip.mark.is_none() {
            self.world.chips.remove(&id);
        }
    }

    /// The chip that goes in: a marked one, or one from outside.
    fn chip_for(&mut self, (machine, part): (usize, usize), chip: &Fitted) -> Result<u32, Error> {
        let works = match chip {
            Fitted::New { works } => *works,
            Fitted::Marked(mark) => {
                let marked = |chip: &Chip| chip.mark.as_ref() == Some(mark);
                let found = self.world.chips.iter().find(|(_, chip)| marked(chip));
                return found.map(|(id, _)| *id).ok_or_else(|| {
                    Error::new(format!(
                        "found mark `{mark}`, expected the mark of a chip that was pulled"
                    ))
                });
            }
        };
        let known = &self.board.profile.parts[part];
        let modes = modes_of(known, Site::Chip);
        let sum: f64 = modes.iter().map(|&mode| known.modes[mode].chance).sum();
        let share = |mode: &usize| {
            if sum > 0.0 {
                known.modes[*mode].chance / sum
            } else {
                1.0 / modes.len() as f64
            }
        };
        let chances: Vec<f64> = modes
            .iter()
            .map(|mode| (1.0 - works) * share(mode))
            .collect();
        let position = &mut self.world.machines[machine].positions[part];
        position.fitted += 1;
        let fitted = position.fitted;
        let coin = Coin::new(Kind::New, &[machine as u32, part as u32, fitted]);
        let mode = pick_mode(&modes, &chances, coin, self.coins);
        let positions = (self.world.machines.len() * self.world.parts) as u32;
        let id = (machine * self.world.parts + part) as u32 + fitted * positions;
        let chip = Chip {
            part,
            mode,
            ..Chip::default()
        };
        self.world.chips.insert(id, chip);
        Ok(id)
    }

    fn swap(&mut self, a: (usize, usize), b: (usize, usize)) {
        let machines = &mut self.world.machines;
        let chip_a = machines[a.0].positions[a.1].chip.take();
        let chip_b = machines[b.0].positions[b.1].chip.take();
        machines[a.0].positions[a.1].chip = chip_b;
        machines[b.0].positions[b.1].chip = chip_a;
        self.touch(a, Treatment::Reseat);
        self.touch(b, Treatment::Reseat);
        self.new_epoch(a.0);
        if a.0 != b.0 {
            self.new_epoch(b.0);
        }
    }

    /// An act changes a place once: a bad one is cured, a good one damaged, each with its chance.
    fn touch(&mut self, (machine, part): (usize, usize), treatment: Treatment) {
        let known = &self.board.profile.parts[part];
        let position = &mut self.world.machines[machine].positions[part];
        position.touches += 1;
        let coin = Coin::new(
            Kind::Touch,
            &[machine as u32, part as u32, position.touches],
        );
        match position.mode {
            Some(mode) => {
                let cured = known.modes[mode].cured_by;
                let chance = match treatment {
                    Treatment::Reseat => cured.reseat,
                    Treatment::Resolder => cured.resolder,
                    Treatment::Clean => cured.clean,
                };
                if self.coins.toss(coin, chance) {
                    position.mode = None;
                }
            }
            None => {
                let chance = if known.mount == Mount::Soldered {
                    0.03
                } else {
                    0.01
                };
                if let Some(&first) = modes_of(known, Site::Place).first()
                    && self.coins.toss(coin, chance)
                {
                    position.mode = Some(first);
                    position.onset += 1;
                    self.damage.collateral += 1;
                }
            }
        }
    }
}

/// A finding being made.
struct Made {
    machine: usize,
    check: usize,
    look: u32,
    session: [u32; 4],
    view: View,
}

/// Minutes as a moment.
fn moment(minutes: f64) -> Moment {
    (minutes * 1000.0).round() as Moment
}

fn is_over(from: Option<Moment>, to: Option<Moment>) -> bool {
    matches!((from, to), (Some(from), Some(to)) if to - from > IDLE)
}

/// A number for a person's name (FNV-1a, 32 bits).
fn name_of(person: &str) -> u32 {
    person.bytes().fold(0x811c_9dc5, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    })
}
