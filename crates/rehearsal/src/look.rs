//! What truly fails at a look (rules 3 to 6 and 10 of the fault model), coin by coin.

use std::collections::BTreeMap;

use catalogue::{Mode, Target};
use diagnosis::Supply;

use crate::{
    board::{Board, Number},
    coins::{Coin, Coins, Kind},
    world::{PLACE, World},
};

/// A condition of looking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct View {
    /// The power-up; none without power.
    pub(crate) power: Option<u32>,
    pub(crate) warmth: Warmth,
    pub(crate) supply: Supply,
}

/// How warm the machine is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Warmth {
    /// Minutes on.
    Minutes(f64),
    /// Nobody looked at the clock: a coin of the power-up.
    Unknown,
    /// Every present mode is taken as showing.
    All,
}

/// Every present mode showing: what decides whether a machine works.
pub(crate) const WHOLE: View = View {
    power: None,
    warmth: Warmth::All,
    supply: Supply::Usual,
};

/// One look at one machine.
pub(crate) struct Look<'a> {
    pub(crate) world: &'a World,
    pub(crate) board: &'a Board<'a>,
    pub(crate) machine: usize,
    pub(crate) view: View,
    pub(crate) coins: &'a mut dyn Coins,
    pub(crate) seen: BTreeMap<Number, bool>,
}

impl<'a> Look<'a> {
    pub(crate) fn new(
        world: &'a World,
        board: &'a Board<'a>,
        machine: usize,
        view: View,
        coins: &'a mut dyn Coins,
    ) -> Self {
        Self {
            world,
            board,
            machine,
            view,
            coins,
            seen: BTreeMap::new(),
        }
    }

    /// Whether a target fails: either side of a whole rail.
    pub(crate) fn fails(&mut self, target: &Target) -> bool {
        let numbers = self.board.numbers(target);
        numbers.into_iter().any(|number| self.function(number))
    }

    /// Whether a function fails.
    pub(crate) fn function(&mut self, number: Number) -> bool {
        if let Some(&fails) = self.seen.get(&number) {
            return fails;
        }
        let fails = self.is_broken(number) || self.lacks(number);
        self.seen.insert(number, fails);
        fails
    }

    /// Broken by itself: unmodelled fault, empty position, a mode, an outside thing, the bench supply, its leak.
    fn is_broken(&mut self, number: Number) -> bool {
        let causes = &self.board.causes[number];
        let machine = &self.world.machines[self.machine];
        if machine.unmodelled == Some(number) {
            return true;
        }
        let missing = |part: &usize| {
            machine.positions[*part].chip.is_none()
                && !self.board.profile.parts[*part].optional
                && !self.is_replaced(*part)
        };
        if causes.parts.iter().any(missing) {
            return true;
        }
        let on_bench = self.view.supply == Supply::Bench;
        let bad = |&(thing, rail): &(usize, bool)| {
            machine.uses[thing] && self.world.outside[thing] && !(on_bench && rail)
        };
        if causes.outside.iter().any(bad) {
            return true;
        }
        self.is_spoiled(number) || self.is_unlucky(number)
    }

    /// A part that the bench supply replaces acts on nothing.
    fn is_replaced(&self, part: usize) -> bool {
        self.view.supply == Supply::Bench && self.board.feeding[part]
    }

    /// A mode of a chip or a place breaks it.
    fn is_spoiled(&mut self, number: Number) -> bool {
        let (board, world) = (self.board, self.world);
        let positions = &world.machines[self.machine].positions;
        for &(part, mode, chance) in &board.causes[number].modes {
            let position = &positions[part];
            let Some(id) = position.chip else { continue };
            if self.is_replaced(part) {
                continue;
            }
            let chip = &world.chips[&id];
            let known = &board.profile.parts[part].modes[mode];
            if position.mode == Some(mode)
                && self.bites(number, part, (PLACE, position.onset), known, chance)
            {
                return true;
            }
            if chip.part == part
                && chip.mode == Some(mode)
                && self.bites(number, part, (id, chip.onset), known, chance)
            {
                return true;
            }
        }
        self.is_spoiled_by_strangers(number)
    }

    /// Chips that come from a position of another part keep their modes.
    fn is_spoiled_by_strangers(&mut self, number: Number) -> bool {
        let (board, world) = (self.board, self.world);
        for (part, position) in world.machines[self.machine].positions.iter().enumerate() {
            let Some(id) = position.chip else { continue };
            let chip = &world.chips[&id];
            let Some(mode) = chip
                .mode
                .filter(|_| chip.part != part && !self.is_replaced(part))
            else {
                continue;
            };
            let known = &board.profile.parts[chip.part].modes[mode];
            let chance = board.breaks(number, &board.profile.parts[part], &known.id);
            if self.bites(number, part, (id, chip.onset), known, chance) {
                return true;
            }
        }
        false
    }

    /// Whether a present mode shows and breaks a function; each is drawn for its onset.
    fn bites(
        &mut self,
        number: Number,
        part: usize,
        (chip, onset): (u32, u32),
        mode: &Mode,
        chance: f64,
    ) -> bool {
        let machine = self.machine as u32;
        let link = [machine, part as u32, chip, onset, number as u32];
        chance > 0.0
            && self.shows(part, (chip, onset), mode)
            && self.coins.toss(Coin::new(Kind::Link, &link), chance)
    }

    /// Whether a present mode shows under this condition.
    fn shows(&mut self, part: usize, (chip, onset): (u32, u32), mode: &Mode) -> bool {
        let steady = mode.shows >= 1.0 && mode.after_minutes <= 0.0;
        if steady || self.view.warmth == Warmth::All {
            return true;
        }
        let Some(power) = self.view.power else {
            return false;
        };
        let machine = self.machine as u32;
        let warm = match self.view.warmth {
            _ if mode.after_minutes <= 0.0 => true,
            Warmth::Minutes(minutes) => minutes >= mode.after_minutes,
            _ => self
                .coins
                .toss(Coin::new(Kind::Warm, &[machine, power]), 0.5),
        };
        let active = [machine, power, part as u32, chip, onset];
        warm && self
            .coins
            .toss(Coin::new(Kind::Active, &active), mode.shows)
    }

    /// The bench supply is bad, or the function fails for no known reason.
    fn is_unlucky(&mut self, number: Number) -> bool {
        let causes = &self.board.causes[number];
        let machine = self.machine as u32;
        if let (Supply::Bench, true, Some(power)) =
            (self.view.supply, causes.carried, self.view.power)
            && self
                .coins
                .toss(Coin::new(Kind::BenchSupply, &[machine, power]), 0.001)
        {
            return true;
        }
        let mule = self.world.machines[self.machine].mule;
        let coin = Coin::new(Kind::Leak, &[machine, number as u32]);
        !mule && self.coins.toss(coin, causes.leak)
    }

    /// Something it needs fails, and that matters to it.
    fn lacks(&mut self, number: Number) -> bool {
        let board = self.board;
        board.causes[number].needs.iter().any(|(target, chance)| {
            let coin = [self.machine as u32, board.name(target), number as u32];
            self.fails(target) && self.coins.toss(Coin::new(Kind::Need, &coin), *chance)
        })
    }
}
