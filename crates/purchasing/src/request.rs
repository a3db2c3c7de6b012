//! The words of purchasing: vendors, offers, needs, parcels.

use std::collections::BTreeMap;

use units::{Currency, Decimal, Money};

/// Someone who sells.
#[derive(Debug, Clone, PartialEq)]
pub struct Vendor {
    /// Short name, unique.
    pub id: String,
    /// Name to show.
    pub title: String,
    /// The currency of the prices.
    pub currency: Currency,
    /// The country he sends from, `DE`, if said.
    pub country: Option<String>,
    /// Days from order to door.
    pub days: u32,
    /// What the owner would pay to be spared one more parcel; counts in choosing, is not paid.
    pub hassle: Money,
    /// Postage by goods value, rising `from`. A first step above 0 is the least order. No step: free.
    pub shipping: Vec<Step>,
    /// Postage by weight, rising `from`, on top of that by goods value. No step: none.
    pub by_weight: Vec<WeightStep>,
    /// From this goods value on nothing is paid for postage.
    pub free_from: Option<Money>,
    /// Duty as a share of goods and postage, such as 0.037; paid on top.
    pub duty: Decimal,
    /// Goods of less than this pay no duty.
    pub duty_from: Option<Money>,
    /// Value added tax as a share, such as 0.21.
    pub vat: Decimal,
    /// The prices and postage hold the tax already.
    pub vat_included: bool,
    /// Goods of less than this pay no tax on top.
    pub vat_from: Option<Money>,
    /// What the carrier asks for clearing a parcel on which duty or tax is due.
    pub clearance: Money,
    /// How the tax on top is rounded.
    pub rounding: TaxRounding,
}

impl Vendor {
    /// A vendor of this currency, without postage, tax or any other condition.
    pub fn plain(id: impl Into<String>, currency: Currency) -> Vendor {
        let id = id.into();
        Vendor {
            title: id.clone(),
            id,
            currency,
            country: None,
            days: 0,
            hassle: Money::zero(currency),
            shipping: Vec::new(),
            by_weight: Vec::new(),
            free_from: None,
            duty: Decimal::ZERO,
            duty_from: None,
            vat: Decimal::ZERO,
            vat_included: true,
            vat_from: None,
            clearance: Money::zero(currency),
            rounding: TaxRounding::default(),
        }
    }
}

/// How a vendor rounds the tax that he puts on top.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum TaxRounding {
    /// Once for the whole invoice, half a coin up.
    #[default]
    Invoice,
    /// Once for the whole invoice, down.
    InvoiceDown,
    /// Line by line, postage being one, half a coin up.
    Line,
    /// Line by line, down.
    LineDown,
}

/// Postage from a weight on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WeightStep {
    /// Grams from which the fee holds.
    pub from: u32,
    /// The fee.
    pub fee: Money,
}

/// Postage from a goods value on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Goods value from which the fee holds.
    pub from: Money,
    /// The fee.
    pub fee: Money,
}

/// What one vendor asks for one item.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// Id of the vendor.
    pub vendor: String,
    /// What is sold, by the name that remedies use.
    pub item: String,
    /// The vendor's own words, to show.
    pub title: String,
    /// Sold in multiples of this.
    pub pack: u32,
    /// At least so many.
    pub least: u32,
    /// At most so many, if known.
    pub stock: Option<u32>,
    /// Unit prices by quantity, rising `from`; the price of a break holds for every unit.
    pub breaks: Vec<Break>,
    /// Date on which the price was seen, as written.
    pub seen: Option<String>,
    /// What one weighs, if known.
    pub grams: Option<u32>,
}

/// A unit price from a quantity on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Break {
    /// Quantity from which the price holds.
    pub from: u32,
    /// Price of each unit, in the vendor's currency.
    pub each: Decimal,
}

/// What has to be got.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Need {
    /// The item.
    pub item: String,
    /// How many.
    pub quantity: u32,
}

/// Everything [`cheapest`](crate::cheapest) looks at.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The workshop's currency, in which everything is added up.
    pub currency: Currency,
    /// Rates of other currencies: what one unit of them costs in the workshop's.
    pub rates: BTreeMap<Currency, Decimal>,
    /// Who sells.
    pub vendors: Vec<Vendor>,
    /// What they ask.
    pub offers: Vec<Offer>,
    /// What is needed.
    pub needs: Vec<Need>,
}

/// The cheapest way to get what is needed.
#[derive(Debug, Clone, PartialEq)]
pub struct Parcels {
    /// One order per vendor used, in the order of the vendors.
    pub parcels: Vec<Parcel>,
    /// What is paid for all parcels.
    pub landed: Money,
    /// The hassle of all parcels; counted in choosing, not paid.
    pub hassle: Money,
    /// No other set of parcels has `landed` and `hassle` together below this.
    pub bound: Money,
    /// The bound is reached: nothing cheaper exists.
    pub proven: bool,
    /// What cannot be had, with the reason.
    pub unmet: Vec<Unmet>,
}

/// One order to one vendor.
#[derive(Debug, Clone, PartialEq)]
pub struct Parcel {
    /// Id of the vendor.
    pub vendor: String,
    /// What is ordered.
    pub lines: Vec<Line>,
    /// Sum of the lines.
    pub goods: Money,
    /// Postage.
    pub postage: Money,
    /// Duty on goods and postage.
    pub duty: Money,
    /// Tax that the prices do not hold yet.
    pub vat: Money,
    /// What the carrier asks for clearing it.
    pub clearance: Money,
    /// What the lines weigh, as far as that is known.
    pub grams: u64,
    /// Goods, postage, duty, tax and clearance.
    pub landed: Money,
    /// What the owner would pay to be spared this parcel.
    pub hassle: Money,
    /// Days from order to door.
    pub days: u32,
}

/// One line of an order.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The item.
    pub item: String,
    /// The vendor's own words.
    pub title: String,
    /// How many are ordered; may be more than needed where that is cheaper.
    pub quantity: u32,
    /// Unit price, in the workshop's currency.
    pub each: Decimal,
    /// Price of the line, rounded to the cent, half a cent up.
    pub total: Money,
}

/// What cannot be had.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unmet {
    /// The item.
    pub item: String,
    /// How many are missing after all that is sold was counted.
    pub missing: u32,
    /// The reason, in words.
    pub why: String,
}
