//! The true state of a pile: what a person at the bench cannot see.

use std::collections::BTreeMap;

use catalogue::Site;
use diagnosis::Supply;

/// Thousandths of a minute, so that worlds can be compared.
pub(crate) type Moment = i64;

/// Names a place among the chips of coins.
pub(crate) const PLACE: u32 = u32::MAX;

/// A pile as it truly is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct World {
    pub(crate) machines: Vec<Machine>,
    pub(crate) chips: BTreeMap<u32, Chip>,
    /// Which outside things are bad.
    pub(crate) outside: Vec<bool>,
    /// Parts of the board.
    pub(crate) parts: usize,
}

/// One machine as it truly is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(crate) struct Machine {
    pub(crate) tag: String,
    pub(crate) mule: bool,
    /// Outside things it uses.
    pub(crate) uses: Vec<bool>,
    pub(crate) positions: Vec<Position>,
    /// What its unmodelled fault breaks.
    pub(crate) unmodelled: Option<usize>,
    pub(crate) epoch: u32,
    /// Power-ups so far.
    pub(crate) powers: u32,
    pub(crate) power: Option<Power>,
    /// By check and person: which session, and its last finding.
    pub(crate) sessions: BTreeMap<(usize, String), Session>,
    /// Looks by check.
    pub(crate) looks: BTreeMap<usize, u32>,
}

/// A position: its place and its chip.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(crate) struct Position {
    pub(crate) chip: Option<u32>,
    /// The mode of the place.
    pub(crate) mode: Option<usize>,
    pub(crate) onset: u32,
    pub(crate) touches: u32,
    /// Chips fitted from outside so far.
    pub(crate) fitted: u32,
}

/// A chip.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub(crate) struct Chip {
    /// The part whose modes it has.
    pub(crate) part: usize,
    pub(crate) mode: Option<usize>,
    pub(crate) onset: u32,
    pub(crate) mark: Option<String>,
}

/// An open power-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Power {
    pub(crate) id: u32,
    pub(crate) supply: Supply,
    pub(crate) last: Option<Moment>,
}

/// A session of one person's findings by one check.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) struct Session {
    pub(crate) id: u32,
    pub(crate) last: Option<Moment>,
    /// Ended by a new set-up: the next finding begins another.
    pub(crate) ended: bool,
}

impl World {
    /// The machine of this tag.
    pub(crate) fn machine(&self, tag: &str) -> Option<usize> {
        self.machines.iter().position(|machine| machine.tag == tag)
    }

    /// Whether a mode that came about then is still there, or may come back to this position.
    pub(crate) fn has_onset(&self, machine: u32, part: u32, chip: u32, onset: u32) -> bool {
        if chip != PLACE {
            let held = self.chips.get(&chip);
            return held.is_some_and(|held| held.mode.is_some() && held.onset == onset);
        }
        let machine = self.machines.get(machine as usize);
        let place = machine.and_then(|machine| machine.positions.get(part as usize));
        place.is_some_and(|place| place.mode.is_some() && place.onset == onset)
    }

    /// Forgets what only tells coins apart that are never tossed again, so that worlds alike are seen to be alike.
    pub(crate) fn forget_counts(&mut self, blunders: &[bool]) {
        for machine in &mut self.machines {
            machine.looks.clear();
            if machine.power.is_none() {
                // nothing of this epoch was seen with the power on: it is like the first
                machine.powers = 0;
            }
            machine.sessions.retain(|(check, _), _| blunders[*check]);
            for position in &mut machine.positions {
                position.touches = 0;
            }
        }
    }

    /// The mode of the chip or place at a position.
    pub(crate) fn mode(&self, machine: usize, part: usize, site: Site) -> Option<usize> {
        let position = &self.machines[machine].positions[part];
        match site {
            Site::Place => position.mode,
            Site::Chip => position.chip.and_then(|chip| self.chips[&chip].mode),
        }
    }
}
