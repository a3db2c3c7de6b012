//! A plan, as it is shown.

use crate::instance::Fault;

/// The decision over the pile.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// Worth of the whole: machines as they are expected to be, less minutes, orders and postage. Hassle is not in it.
    pub value: f64,
    /// Orders and postage.
    pub money: i64,
    /// Expected minutes at the bench.
    pub minutes: f64,
    /// Expected number of working machines.
    pub working: f64,
    /// Hassle of the parcels; counted in choosing only.
    pub hassle: i64,
    /// What happens to each machine, in the order of the pile.
    pub machines: Vec<Decision>,
    /// Boards to build, with their number.
    pub builds: Vec<(String, u32)>,
    /// What to order.
    pub orders: Vec<Order>,
    /// Postage of each vendor with an order.
    pub shipping: Vec<(String, i64)>,
    /// No plan has `value` less `hassle` above this (for [`Goal::Working`](crate::Goal::Working): `working`).
    pub bound: f64,
    /// The bound is reached, within a hundredth of a coin.
    pub proven: bool,
    /// What is done in each joint state of the machines, once the faults have shown. Empty where one kit for each machine
    /// has to do. Else a machine's decision in `machines` is what the cases come to on average, and one that is given up
    /// in some cases only is held.
    pub cases: Vec<Case>,
}

impl Plan {
    /// Chance that a machine, by its position, is given up as a donor: one that is kept whole at first may be given up
    /// once the faults have shown.
    #[must_use]
    pub fn given_up(&self, at: usize) -> f64 {
        let donor = |machines: &[Decision]| {
            machines
                .get(at)
                .is_some_and(|one| one.choice == Choice::Donor)
        };
        if self.cases.is_empty() {
            return if donor(&self.machines) { 1.0 } else { 0.0 };
        }
        let cases = self.cases.iter().filter(|case| donor(&case.machines));
        cases.map(|case| case.chance).sum()
    }
}

/// A joint state of the machines.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Its chance.
    pub chance: f64,
    /// The scenario that is true of each machine; none is a state of which nothing is known.
    pub states: Vec<Option<usize>>,
    /// What happens to each machine then; a kit is made for the one scenario.
    pub machines: Vec<Decision>,
}

/// What happens to one machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// Its tag.
    pub id: String,
    /// The choice.
    pub choice: Choice,
}

/// Hold, sell, give up, or repair.
#[derive(Debug, Clone, PartialEq)]
pub enum Choice {
    /// Leave it as it is for now.
    Hold,
    /// Sell it as it stands.
    Sell,
    /// Give it up so that its good parts serve others.
    Donor,
    /// Repair it with a kit.
    Repair(Kit),
}

/// How one machine is repaired.
#[derive(Debug, Clone, PartialEq)]
pub struct Kit {
    /// The remedy for each fault.
    pub remedies: Vec<Chosen>,
    /// Positions of the scenarios in which the machine works afterwards, unless a remedy fails.
    pub covered: Vec<usize>,
    /// Items used up, by name.
    pub items: Vec<(String, u32)>,
    /// Chance that the machine works afterwards.
    pub chance: f64,
    /// Expected minutes.
    pub minutes: f64,
    /// Expected costs later, in coins.
    pub later: f64,
}

/// A remedy for a fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chosen {
    /// The fault.
    pub fault: Fault,
    /// Id of the remedy.
    pub remedy: String,
}

/// A line to order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Order {
    /// Id of the vendor.
    pub vendor: String,
    /// The item.
    pub item: String,
    /// How many.
    pub quantity: u32,
    /// Price of the line.
    pub cost: i64,
}

/// Worth of the best plan for each choice about one machine; `None` where the limits forbid it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alternatives {
    /// If it is held.
    pub hold: Option<f64>,
    /// If it is sold as it stands.
    pub sell: Option<f64>,
    /// If it is given up.
    pub donor: Option<f64>,
    /// If it is repaired.
    pub repair: Option<f64>,
}
