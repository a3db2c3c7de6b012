//! Draws the true state of a pile from what its board profile says (rules 1, 2, 4, 10 and 11 of the fault model).

use catalogue::{Part, Scope, Site};
use diagnosis::Situation;

use crate::{
    board::{Board, modes_of},
    coins::{Coin, Coins, Kind},
    world::{Chip, Machine, Position, World},
};

/// Draws the machines of a situation as they came in; steps are not looked at.
pub(crate) fn draw(board: &Board<'_>, situation: &Situation, coins: &mut dyn Coins) -> World {
    let outside = board.profile.outside.iter().enumerate();
    let outside = outside
        .map(|(index, thing)| coins.toss(Coin::new(Kind::Outside, &[index as u32]), thing.chance))
        .collect();
    let mut world = World {
        outside,
        parts: board.profile.parts.len(),
        ..World::default()
    };
    for index in 0..situation.machines.len() {
        take_in(&mut world, board, situation, index, coins);
    }
    world
}

fn take_in(
    world: &mut World,
    board: &Board<'_>,
    situation: &Situation,
    index: usize,
    coins: &mut dyn Coins,
) {
    let taken = &situation.machines[index];
    let events = if taken.mule {
        vec![false; board.profile.events.len()]
    } else {
        events(board, situation, index, coins)
    };
    let used = |id: &String| taken.outside.as_ref().is_none_or(|used| used.contains(id));
    let mut machine = Machine {
        tag: taken.tag.clone(),
        mule: taken.mule,
        uses: board
            .profile
            .outside
            .iter()
            .map(|thing| used(&thing.id))
            .collect(),
        unmodelled: unmodelled(board, index, taken.mule, coins),
        ..Machine::default()
    };
    for (number, part) in board.profile.parts.iter().enumerate() {
        let mut draw = |site| {
            let mut drawing = Drawing {
                board,
                events: &events,
                coins,
            };
            if taken.mule {
                None
            } else {
                drawing.state(index, number, part, site)
            }
        };
        let mut position = Position {
            mode: draw(Site::Place),
            ..Position::default()
        };
        if !taken.empty.contains(&part.reference) {
            let id = (index * world.parts + number) as u32;
            let chip = Chip {
                part: number,
                mode: draw(Site::Chip),
                ..Chip::default()
            };
            world.chips.insert(id, chip);
            position.chip = Some(id);
        }
        machine.positions.push(position);
    }
    world.machines.push(machine);
}

/// Which events happened to a machine.
fn events(
    board: &Board<'_>,
    situation: &Situation,
    index: usize,
    coins: &mut dyn Coins,
) -> Vec<bool> {
    let taken = &situation.machines[index];
    let mut happened = Vec::new();
    for (number, event) in board.profile.events.iter().enumerate() {
        happened.push(match (event.scope, &taken.lot) {
            (Scope::Machine, _) => taken.known.get(&event.id).copied().unwrap_or_else(|| {
                let coin = Coin::new(Kind::Event, &[index as u32, number as u32]);
                coins.toss(coin, event.chance)
            }),
            (Scope::Lot, None) => false,
            (Scope::Lot, Some(lot)) => {
                let known = situation
                    .lots
                    .get(lot)
                    .and_then(|known| known.get(&event.id));
                known.copied().unwrap_or_else(|| {
                    let mut machines = situation.machines.iter();
                    let first = machines.position(|other| other.lot.as_ref() == Some(lot));
                    let first = first.unwrap_or(index) as u32;
                    let coin = Coin::new(Kind::LotEvent, &[first, number as u32]);
                    coins.toss(coin, event.chance)
                })
            }
        });
    }
    happened
}

/// The function that an unmodelled fault breaks, each equally likely.
fn unmodelled(board: &Board<'_>, index: usize, mule: bool, coins: &mut dyn Coins) -> Option<usize> {
    let chance = board.profile.unmodelled;
    if mule || chance <= 0.0 || board.breakable.is_empty() {
        return None;
    }
    let each = chance / board.breakable.len() as f64;
    let mut chances = vec![each; board.breakable.len()];
    chances.push(1.0 - chance);
    let side = coins.pick(Coin::new(Kind::Unmodelled, &[index as u32]), &chances);
    board.breakable.get(side).copied()
}

struct Drawing<'a, 'b> {
    board: &'a Board<'a>,
    events: &'a [bool],
    coins: &'b mut dyn Coins,
}

impl Drawing<'_, '_> {
    /// The own state first; then events strike a good one.
    fn state(&mut self, machine: usize, number: usize, part: &Part, site: Site) -> Option<usize> {
        let modes = modes_of(part, site);
        let names = [machine as u32, number as u32, site as u32];
        let own: Vec<f64> = modes.iter().map(|&mode| part.modes[mode].chance).collect();
        if let Some(mode) = pick_mode(&modes, &own, Coin::new(Kind::Own, &names), self.coins) {
            return Some(mode);
        }
        let mut struck = Vec::new();
        for &mode in &modes {
            let strength = self.strength(part, &part.modes[mode].id);
            let coin = Coin::new(Kind::Strike, &[names[0], names[1], mode as u32]);
            if self.coins.toss(coin, strength) {
                struck.push((mode, strength));
            }
        }
        let sum: f64 = struck.iter().map(|(_, strength)| strength).sum();
        match struck[..] {
            [] => None,
            [(mode, _)] => Some(mode),
            _ => {
                let chances: Vec<f64> = struck.iter().map(|(_, s)| s / sum).collect();
                let side = self.coins.pick(Coin::new(Kind::Struck, &names), &chances);
                struck.get(side).map(|&(mode, _)| mode)
            }
        }
    }

    /// The chance that the events which happened strike a mode.
    fn strength(&self, part: &Part, mode: &str) -> f64 {
        let happened = self.board.profile.events.iter().zip(self.events);
        let kept: f64 = happened
            .filter(|(_, happened)| **happened)
            .flat_map(|(event, _)| &event.causes)
            .filter(|cause| cause.part == part.reference && cause.mode == mode)
            .map(|cause| 1.0 - cause.chance)
            .product();
        1.0 - kept
    }
}

/// One of these modes or none, by their chances.
pub(crate) fn pick_mode(
    modes: &[usize],
    chances: &[f64],
    coin: Coin,
    coins: &mut dyn Coins,
) -> Option<usize> {
    let sum: f64 = chances.iter().sum();
    if sum <= 0.0 {
        return None;
    }
    let mut all = chances.to_vec();
    all.push((1.0 - sum).max(0.0));
    modes.get(coins.pick(coin, &all)).copied()
}
