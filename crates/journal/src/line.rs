//! What a line says. The names here are those of the stored JSON: change them only with a migration.

use jiff::ZonedDateTime;
use serde::{Deserialize, Serialize};

/// A line as it stands in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number; later lines have higher numbers.
    pub id: i64,
    /// Number of the first line written together with this one.
    pub batch: i64,
    /// When.
    pub time: ZonedDateTime,
    /// Who.
    pub who: String,
    /// Which machine, if it concerns one.
    pub machine: Option<String>,
    /// Acts on that machine before it.
    pub epoch: u32,
    /// What it says.
    pub line: Line,
}

/// What a line says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(
    tag = "kind",
    rename_all = "kebab-case",
    rename_all_fields = "kebab-case"
)]
pub enum Line {
    /// A lot came in; its machines follow, a line each.
    Lot {
        /// Its id: `L-01`.
        lot: String,
        /// Where it came from.
        from: String,
        /// How many machines.
        count: usize,
        /// Price paid, with its minor digits.
        price: String,
        /// ISO 4217 code.
        currency: String,
        /// Lot events known from the history.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        events: Vec<String>,
    },
    /// A machine was taken in.
    TakenIn {
        /// The lot it came with.
        lot: String,
        /// Board id.
        board: String,
        /// Its share of the price.
        paid: String,
        /// Positions without a chip.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        empty: Vec<String>,
        /// Machine events known from the history.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        events: Vec<String>,
        /// It is the mule: a good board in which chips of the pile are tried.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        mule: bool,
    },
    /// A check was made.
    Finding {
        /// Check id.
        check: String,
        /// The value as it was typed.
        text: String,
        /// What it showed.
        shown: Shown,
        /// The supply used.
        #[serde(default, skip_serializing_if = "Supply::is_usual")]
        supply: Supply,
        /// Minutes since power-on, if said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        minutes_on: Option<f64>,
    },
    /// Something was done to a machine; it opens an epoch.
    Act {
        /// What.
        done: Act,
    },
    /// A machine was switched on or off.
    Power {
        /// On.
        on: bool,
        /// The supply used, if on.
        #[serde(default, skip_serializing_if = "Supply::is_usual")]
        supply: Supply,
    },
    /// A machine was put away, or taken back to the bench.
    Shelved {
        /// Put away.
        away: bool,
    },
    /// The truth was found out.
    Settled {
        /// The truth.
        truth: Truth,
    },
    /// An earlier line does not hold.
    TakenBack {
        /// That line.
        line: i64,
    },
    /// A parcel was ordered.
    Ordered {
        /// The letter it had in the ledger.
        letter: String,
        /// Vendor id.
        vendor: String,
        /// Vendor title.
        title: String,
        /// Landed total, with its minor digits.
        landed: String,
        /// Day it should arrive: `2026-11-17`.
        arrives: String,
        /// Item and quantity.
        items: Vec<(String, u32)>,
        /// Amount, text and note of each line as it stood in the ledger.
        lines: Vec<(String, String, String)>,
        /// Machines that wait for it.
        waiting: Vec<String>,
    },
    /// Prices of a vendor, as they were seen on one day.
    Offers {
        /// Vendor id.
        vendor: String,
        /// The day: `2026-11-12`.
        seen: String,
        /// How they came: `typed`, `pasted`, or a file's name.
        how: String,
        /// What is asked for each item.
        offers: Vec<Offered>,
    },
    /// A parcel came in, wholly or in part.
    Received {
        /// The line that ordered it.
        parcel: i64,
        /// What was in it: item and quantity, wrong items with it.
        items: Vec<(String, u32)>,
        /// Nothing more will come of it.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        closed: bool,
    },
    /// Something was put into the drawer by hand, or taken out.
    Kept {
        /// Item, as remedies and vendors name it.
        item: String,
        /// How many came in; below zero: went out.
        count: i64,
        /// Chance that one of them is good, if it is no matter of course.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        works: Option<f64>,
        /// Where they came from, or went.
        #[serde(default, skip_serializing_if = "String::is_empty")]
        note: String,
    },
    /// Something is wanted for the drawer where it costs nothing more; it takes the place of an earlier such line for the
    /// same item.
    Wish {
        /// Item, as remedies and vendors name it.
        item: String,
        /// How many; 0 ends the wish.
        count: u32,
    },
    /// What the plan may spend from here on.
    Limits {
        /// Money, with its minor digits; none: no limit.
        money: Option<String>,
        /// Evenings; none: no limit.
        evenings: Option<f64>,
        /// Machines expected to work at least; none: any number.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        working: Option<f64>,
    },
    /// What is settled before the plan is made; it takes the place of an earlier such line.
    Pinned {
        /// Decisions as they are typed: `T-06 donor`, `T-07 U9 used-original`.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        pins: Vec<String>,
        /// Vendors from whom nothing is ordered.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        without: Vec<String>,
    },
}

/// What a vendor asks for an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub struct Offered {
    /// Item, as remedies name it.
    pub item: String,
    /// The vendor's words.
    pub title: String,
    /// Sold in multiples of this, if said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pack: Option<u32>,
    /// At least so many, if said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least: Option<u32>,
    /// So many are there, if said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stock: Option<u32>,
    /// Quantity and the price of one from it on, in the vendor's currency.
    pub breaks: Vec<(u32, String)>,
    /// These are all breaks; else the others stay as they were.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub whole: bool,
}

/// What a check showed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Shown {
    /// One of the check's outcomes.
    Outcome(String),
    /// A reading.
    Reading {
        /// Value in the base unit.
        value: f64,
        /// Symbol of the base unit.
        unit: String,
        /// Worth of the last digit, base unit.
        digit: f64,
        /// The instrument's name.
        instrument: String,
        /// Components of its uncertainty.
        components: Vec<Component>,
    },
    /// It could not be done.
    Cannot,
    /// It was left out.
    Skipped,
}

/// A component of an instrument's uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Component {
    /// Per cent of the reading.
    pub percent: f64,
    /// Counts of the last digit.
    pub counts: f64,
    /// Worth of one count, base unit.
    pub digit: f64,
}

/// The supply used for a power-up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Supply {
    /// The machine's own.
    #[default]
    Usual,
    /// A bench supply.
    Bench,
}

impl Supply {
    fn is_usual(&self) -> bool {
        *self == Supply::Usual
    }
}

/// Something done to a machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Act {
    /// The chip came out.
    Pull {
        /// Position.
        part: String,
        /// Mark put on the chip.
        mark: Option<String>,
    },
    /// A chip went in.
    Fit {
        /// Position.
        part: String,
        /// What went in.
        chip: Chip,
        /// Mark put on the chip that came out.
        old_mark: Option<String>,
    },
    /// Chips of two positions changed places; it opens an epoch on the other machine too.
    Swap {
        /// Position.
        part: String,
        /// The other machine.
        with: String,
        /// Position there.
        there: String,
    },
    /// Chips came out of a machine that is given up, each with its mark.
    Strip {
        /// Position and mark.
        chips: Vec<(String, String)>,
    },
    /// A fault the profile does not know was mended.
    Mend {
        /// What it was.
        what: String,
    },
    /// Pulled and pressed in again.
    Reseat(Places),
    /// Resoldered.
    Resolder(Places),
    /// Cleaned.
    Clean(Places),
}

/// What went into a position.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Chip {
    /// From outside, good with this chance.
    New {
        /// Chance that it is good.
        works: f64,
    },
    /// A marked chip pulled before.
    Marked(String),
}

/// Which positions were treated.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Places {
    /// These.
    Parts(Vec<String>),
    /// All of a block.
    Block(String),
}

/// A truth found out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", rename_all_fields = "kebab-case")]
pub enum Truth {
    /// This mode is present.
    Mode {
        /// Position.
        part: String,
        /// Mode id.
        mode: String,
    },
    /// A fault the profile does not know; what it was.
    Joint(String),
    /// It works.
    Works,
}
