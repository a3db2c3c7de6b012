//! What is known about a pile before it is decided.
//!
//! All money is in the smallest coins, all minutes are bench minutes, all chances lie between 0 and 1.

use std::collections::BTreeMap;

use units::Decimal;

/// A pile with everything that could be done about it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Instance {
    /// What a bench minute costs.
    pub rate_per_minute: f64,
    /// What must not be exceeded.
    pub limits: Limits,
    /// Items in the drawer, free to use.
    pub on_hand: BTreeMap<String, u32>,
    /// Who sells.
    pub vendors: Vec<Vendor>,
    /// What they ask.
    pub offers: Vec<Offer>,
    /// Boards that can be built at home.
    pub builds: Vec<Build>,
    /// Ways to put faults right.
    pub remedies: Vec<Remedy>,
    /// The pile.
    pub machines: Vec<Machine>,
}

/// Limits of a plan; `None` is no limit.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Limits {
    /// Most money for orders and postage.
    pub money: Option<i64>,
    /// Most bench minutes, as expected.
    pub minutes: Option<f64>,
    /// Least expected number of working machines.
    pub least_working: Option<f64>,
}

/// Someone who sells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vendor {
    /// Short name, unique.
    pub id: String,
    /// What the owner would pay to be spared one more parcel; counts in choosing, not in the sums.
    pub hassle: i64,
    /// Postage by goods value, rising `from`; the last step at or below the goods value holds. A vendor without an
    /// order costs nothing; a first step above 0 is the least order.
    pub shipping: Vec<Step>,
}

/// Postage from a goods value on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Goods value from which the fee holds.
    pub from: i64,
    /// The fee.
    pub fee: i64,
}

/// What a vendor asks for an item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Id of the vendor.
    pub vendor: String,
    /// The item.
    pub item: String,
    /// Sold in multiples of this.
    pub pack: u32,
    /// At most so many, if known.
    pub stock: Option<u32>,
    /// Unit prices, rising `from`; the last break at or below the quantity prices every unit. Below the first break
    /// nothing is sold.
    pub breaks: Vec<Break>,
}

/// A unit price from a quantity on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// Quantity from which the price holds.
    pub from: u32,
    /// Price of each unit; a line is rounded to the coin, half a coin up.
    pub each: Decimal,
}

/// A board built at home.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Build {
    /// Short name, unique.
    pub id: String,
    /// The item that one unit is.
    pub makes: String,
    /// Minutes once, for the first unit.
    pub setup_minutes: u32,
    /// Minutes for each unit.
    pub unit_minutes: u32,
    /// Items in one unit.
    pub uses: Vec<Count>,
}

/// A number of one item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// The item.
    pub item: String,
    /// How many.
    pub n: u32,
}

/// One way to put faults of a device right.
#[derive(Debug, Clone, PartialEq)]
pub struct Remedy {
    /// Short name, unique.
    pub id: String,
    /// The device it is for.
    pub device: String,
    /// The item it uses up, if any.
    pub item: Option<String>,
    /// Minutes at the bench.
    pub minutes: u32,
    /// Chance that the part works afterwards.
    pub works: f64,
    /// What it is expected to cost later: it wears on, and is mended again. In coins.
    pub later: f64,
    /// The modes it cures.
    pub modes: Vec<String>,
}

/// A machine of the pile.
#[derive(Debug, Clone, PartialEq)]
pub struct Machine {
    /// Its tag.
    pub id: String,
    /// Worth when it works.
    pub value: i64,
    /// Worth when held as it is.
    pub hold_value: i64,
    /// What a buyer pays for it as it stands, less fees and postage; `None` if it is not for sale.
    pub sell_value: Option<i64>,
    /// Minutes that any repair takes besides the remedies.
    pub base_minutes: u32,
    /// What may be wrong: exclusive lists of faults with their chances, which add up to at most 1.
    pub scenarios: Vec<Scenario>,
    /// Items it gives when given up.
    pub donor: Vec<Count>,
}

/// One possible state of a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Its chance.
    pub chance: f64,
    /// All that is wrong in it.
    pub faults: Vec<Fault>,
}

/// One part bad in one mode.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// Position on the board.
    pub part: String,
    /// Device in that position.
    pub device: String,
    /// How it is bad.
    pub mode: String,
}

impl Offer {
    /// The price of a line of `quantity`, or `None` if that many are not sold.
    pub fn total(&self, quantity: u32) -> Option<i64> {
        let sold = self.pack > 0
            && quantity > 0
            && quantity.is_multiple_of(self.pack)
            && self.stock.is_none_or(|stock| quantity <= stock);
        let level = self.breaks.iter().rfind(|level| level.from <= quantity)?;
        let total = level.each.checked_mul(Decimal::from(quantity))?;
        let half = Decimal::new(5, 1);
        let coins = i64::try_from(total.checked_add(half)?.floor()).ok()?;
        sold.then_some(coins)
    }
}

impl Vendor {
    /// The postage for goods of this value; `None` if the order is too small.
    pub fn postage(&self, goods: i64) -> Option<i64> {
        if self.shipping.is_empty() {
            return Some(0);
        }
        let step = self.shipping.iter().rfind(|step| step.from <= goods)?;
        Some(step.fee)
    }
}
