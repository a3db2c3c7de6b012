//! The coins of a rehearsal: everything left to chance, each by its name.
//!
//! A coin is tossed by what it decides and not by when it is asked for. So two policies that play the same pile meet
//! the same faults, and where they do the same thing the same luck: their differences are paired (common random numbers).

use std::{
    collections::{BTreeMap, hash_map::DefaultHasher},
    hash::{Hash, Hasher},
};

use crate::world::World;

/// What a coin decides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// An event of a lot: first machine of the lot, event.
    LotEvent,
    /// An event of a machine: machine, event.
    Event,
    /// An outside thing is bad: its number.
    Outside,
    /// The machine has an unmodelled fault, and where: machine.
    Unmodelled,
    /// The own state of a chip or a place: machine, part, site.
    Own,
    /// Events strike a mode: machine, part, mode.
    Strike,
    /// Which of the modes struck it becomes: machine, part, site.
    Struck,
    /// A function fails for no known reason: machine, function.
    Leak,
    /// A failing function breaks one that needs it: machine, from, to.
    Need,
    /// A present mode breaks a function: machine, position, chip or place, onset, function.
    Link,
    /// The check cannot be done: machine, epoch, check, whether something required fails.
    Cannot,
    /// The session blunders: machine, session of the check, check, person.
    Blunder,
    /// What a blundering session shows: as before.
    Wrong,
    /// What a repeating check shows: machine, epoch, check, row.
    Repeat,
    /// What a check shows: machine, check, which look.
    Shown,
    /// Looks without minutes are warm: machine, power-up.
    Warm,
    /// An intermittent mode shows: machine, power-up, position, chip or place, onset.
    Active,
    /// The bench supply is bad: machine, power-up.
    BenchSupply,
    /// The state of a new chip: machine, part, which.
    New,
    /// A place touched: machine, part, which touch.
    Touch,
    /// A check harms: machine, check, which look, which harm.
    Harm,
}

/// One coin: what it decides, and of what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Coin {
    /// What it decides.
    pub kind: Kind,
    /// Of what, as the kind says; the rest is 0.
    pub of: [u32; 5],
}

impl Coin {
    /// A coin by its name; more than five numbers are cut off.
    #[must_use]
    pub fn new(kind: Kind, names: &[u32]) -> Self {
        let mut of = [0; 5];
        for (to, from) in of.iter_mut().zip(names) {
            *to = *from;
        }
        Self { kind, of }
    }

    /// Whether it may be asked for again.
    fn lives(&self, world: &World) -> bool {
        let machine = world.machines.get(self.of[0] as usize);
        match self.kind {
            Kind::Leak | Kind::Need | Kind::Blunder | Kind::Wrong => true,
            Kind::Link => world.has_onset(self.of[0], self.of[1], self.of[2], self.of[3]),
            Kind::Cannot | Kind::Repeat => {
                machine.is_some_and(|machine| machine.epoch == self.of[1])
            }
            Kind::Warm | Kind::Active | Kind::BenchSupply => machine
                .is_some_and(|machine| machine.power.is_some_and(|power| power.id == self.of[1])),
            _ => false,
        }
    }
}

/// Who tosses.
pub trait Coins {
    /// Which of these happens; their chances add up to 1.
    fn pick(&mut self, coin: Coin, chances: &[f64]) -> usize;

    /// Whether a thing of this chance happens.
    fn toss(&mut self, coin: Coin, chance: f64) -> bool {
        if chance <= 0.0 || chance >= 1.0 {
            return chance >= 1.0;
        }
        self.pick(coin, &[1.0 - chance, chance]) == 1
    }
}

/// Coins that follow from a seed: the same name gives the same side.
#[derive(Debug, Clone, Copy)]
pub struct Seeded {
    seed: u64,
}

impl Seeded {
    /// The coins of one pile.
    #[must_use]
    pub fn new(seed: u64, pile: u64) -> Self {
        Self {
            seed: mix(mix(seed) ^ pile),
        }
    }

    /// A number in 0..1 that belongs to the coin.
    fn uniform(self, coin: Coin) -> f64 {
        let mut state = mix(self.seed ^ coin.kind as u64);
        for name in coin.of {
            state = mix(state ^ u64::from(name));
        }
        (state >> 11) as f64 / (1_u64 << 53) as f64
    }
}

impl Coins for Seeded {
    fn pick(&mut self, coin: Coin, chances: &[f64]) -> usize {
        let mut left = self.uniform(coin);
        for (side, chance) in chances.iter().enumerate() {
            if left < *chance {
                return side;
            }
            left -= chance;
        }
        chances
            .iter()
            .rposition(|chance| *chance > 0.0)
            .unwrap_or(0)
    }
}

/// One step of SplitMix64 (Steele, Lea & Flood, OOPSLA 2014), used to mix names into a seed.
fn mix(number: u64) -> u64 {
    let mut z = number.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// Coins that lie already, and the first one that is still in the air.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Lying {
    sides: BTreeMap<Coin, usize>,
}

impl Lying {
    /// Everything that can happen in a course of events: for each way the result with the coins that lie then, and its
    /// chance. The course is gone through again from the start for each side of a coin that it asks for.
    pub(crate) fn branch<T>(
        &self,
        course: impl Fn(&mut dyn Coins) -> T,
        mut each: impl FnMut(T, Lying, f64),
    ) {
        let mut open = vec![(self.clone(), 1.0)];
        while let Some((lying, chance)) = open.pop() {
            let mut tosser = Tosser {
                lying: &lying,
                asked: None,
            };
            let result = course(&mut tosser);
            let Some((coin, chances)) = tosser.asked else {
                each(result, lying, chance);
                continue;
            };
            for (side, more) in chances.into_iter().enumerate().filter(|(_, p)| *p > 0.0) {
                let mut lying = lying.clone();
                lying.sides.insert(coin, side);
                open.push((lying, chance * more));
            }
        }
    }

    /// Forgets coins that nobody will ask for again.
    pub(crate) fn forget(&mut self, world: &World) {
        self.sides.retain(|coin, _| coin.lives(world));
    }

    /// A number for a world with these coins; the chance that two have the same is of no account.
    pub(crate) fn name(&self, world: &World) -> u128 {
        let half = |salt: u64| {
            let mut hasher = DefaultHasher::new();
            (salt, self, world).hash(&mut hasher);
            u128::from(hasher.finish())
        };
        half(1) << 64 | half(2)
    }
}

struct Tosser<'a> {
    lying: &'a Lying,
    asked: Option<(Coin, Vec<f64>)>,
}

impl Coins for Tosser<'_> {
    fn pick(&mut self, coin: Coin, chances: &[f64]) -> usize {
        if let Some(&side) = self.lying.sides.get(&coin) {
            return side;
        }
        if self.asked.is_none() {
            self.asked = Some((coin, chances.to_vec()));
        }
        0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_seeded_coin_keeps_its_side_and_its_chance() {
        let mut coins = Seeded::new(7, 3);
        let coin = |n| Coin::new(Kind::Leak, &[n, 4]);
        let heads = (0..40_000).filter(|&n| coins.toss(coin(n), 0.3)).count();
        // 0.3 of 40000 is 12000, its standard deviation 92
        assert!((11_700..12_300).contains(&heads), "{heads}");
        assert!((0..100).all(|n| coins.toss(coin(n), 0.3) == coins.toss(coin(n), 0.3)));
        assert!(!coins.toss(coin(1), 0.0) && coins.toss(coin(1), 1.0));
    }

    #[test]
    fn branches_add_up_to_one() {
        let mut found = BTreeMap::new();
        Lying::default().branch(
            |coins| {
                let first = coins.toss(Coin::new(Kind::Leak, &[1]), 0.25);
                first && coins.toss(Coin::new(Kind::Leak, &[2]), 0.5)
            },
            |result, _, chance| *found.entry(result).or_insert(0.0) += chance,
        );
        assert_eq!(found, BTreeMap::from([(false, 0.875), (true, 0.125)]));
    }
}
