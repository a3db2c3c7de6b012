//! Exact sums: what a line and a parcel cost, in the smallest coins of the workshop's currency.

use std::collections::BTreeMap;

use units::{Currency, Decimal, Money};

use crate::order::Error;
use crate::request::{Offer, Request, TaxRounding, Vendor};

/// Digits kept beyond the smallest coin in unit prices.
const FINE_DIGITS: u32 = 4;

/// A vendor with everything in the smallest coins of the workshop's currency.
#[derive(Debug, Clone)]
pub(crate) struct Shop {
    pub(crate) hassle: i64,
    /// What holds from a goods value on; never empty.
    pub(crate) levels: Vec<Level>,
    /// Postage from a weight in grams on, on top; empty or from 0.
    pub(crate) by_weight: Vec<(u32, i64)>,
    pub(crate) duty: Decimal,
    /// Tax still to be added.
    pub(crate) vat: Decimal,
    pub(crate) rounding: Rounding,
}

/// What holds from a goods value on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Level {
    pub(crate) from: i64,
    /// Postage, that by weight left out.
    pub(crate) fee: i64,
    /// Nothing is paid by weight.
    pub(crate) free: bool,
    pub(crate) duty: bool,
    pub(crate) vat: bool,
    pub(crate) clearance: i64,
}

/// How tax is rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Rounding {
    /// Each line by itself, postage being one.
    pub(crate) by_line: bool,
    /// Down; else half a coin up.
    pub(crate) down: bool,
}

impl Rounding {
    /// The share of an amount, in whole coins.
    pub(crate) fn share(self, rate: Decimal, base: i64) -> i64 {
        let exact = rate * Decimal::from(base);
        to_coins(if self.down { exact.floor() } else { exact })
    }
}

/// What is put into one parcel: the lines' prices in coins, and what all weighs.
#[derive(Debug, Clone, Default)]
pub(crate) struct Part {
    pub(crate) lines: Vec<i64>,
    pub(crate) grams: u64,
}

/// An offer with prices in the smallest coins of the workshop's currency.
#[derive(Debug, Clone)]
pub(crate) struct Priced {
    /// Position of the offer in the request.
    pub(crate) offer: usize,
    /// Position of the vendor in the request.
    pub(crate) vendor: usize,
    pub(crate) pack: u32,
    pub(crate) least: u32,
    pub(crate) most: u32,
    /// Unit prices, to [`FINE_DIGITS`] beyond the smallest coin.
    pub(crate) breaks: Vec<(u32, Decimal)>,
    pub(crate) grams: u32,
}

/// The sums of one parcel, in the smallest coins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Sums {
    pub(crate) goods: i64,
    pub(crate) postage: i64,
    pub(crate) duty: i64,
    pub(crate) vat: i64,
    pub(crate) clearance: i64,
}

impl Sums {
    pub(crate) fn landed(self) -> i64 {
        self.goods + self.postage + self.duty + self.vat + self.clearance
    }
}

impl Shop {
    pub(crate) fn new(vendor: &Vendor, request: &Request) -> Result<Shop, Error> {
        let coins = |money: Money| convert(money, request, &vendor.id);
        let mut steps = Vec::new();
        for step in &vendor.shipping {
            steps.push((coins(step.from)?, coins(step.fee)?));
        }
        if steps.is_empty() {
            steps.push((0, 0));
        }
        let mut by_weight = Vec::new();
        for step in &vendor.by_weight {
            by_weight.push((step.from, coins(step.fee)?));
        }
        check_vendor(vendor, &steps, &by_weight)?;
        let limit = |money: Option<Money>| money.map(coins).transpose();
        let thresholds = Thresholds {
            free: limit(vendor.free_from)?,
            duty: limit(vendor.duty_from)?.unwrap_or(0),
            vat: limit(vendor.vat_from)?.unwrap_or(0),
        };
        let (by_line, down) = match vendor.rounding {
            TaxRounding::Invoice => (false, false),
            TaxRounding::InvoiceDown => (false, true),
            TaxRounding::Line => (true, false),
            TaxRounding::LineDown => (true, true),
        };
        let mut shop = Shop {
            hassle: coins(vendor.hassle)?,
            levels: Vec::new(),
            by_weight,
            duty: vendor.duty,
            vat: if vendor.vat_included {
                Decimal::ZERO
            } else {
                vendor.vat
            },
            rounding: Rounding { by_line, down },
        };
        shop.levels = thresholds.levels(&steps, coins(vendor.clearance)?, &shop);
        let split = shop.levels.iter().any(|level| level.duty || !level.vat);
        if by_line && !shop.vat.is_zero() && split {
            return Err(Error::Input(format!(
                "vendor `{}`: tax rounded line by line goes with no duty and no least value for tax; round it by invoice",
                vendor.id
            )));
        }
        Ok(shop)
    }

    /// The sums of a parcel; `None` if the vendor takes no order so small.
    pub(crate) fn sums(&self, part: &Part) -> Option<Sums> {
        let goods: i64 = part.lines.iter().sum();
        let level = self.levels.iter().rfind(|level| level.from <= goods)?;
        let weight = self
            .by_weight
            .iter()
            .rfind(|(from, _)| u64::from(*from) <= part.grams);
        let by_weight = weight.filter(|_| !level.free).map_or(0, |(_, fee)| *fee);
        let postage = level.fee + by_weight;
        let duty = if level.duty {
            share(self.duty, goods + postage)
        } else {
            0
        };
        let rounding = self.rounding;
        let vat = match (level.vat, rounding.by_line) {
            (false, _) => 0,
            (true, false) => rounding.share(self.vat, goods + postage + duty),
            (true, true) => {
                let lines = part
                    .lines
                    .iter()
                    .map(|line| rounding.share(self.vat, *line));
                lines.sum::<i64>() + rounding.share(self.vat, postage)
            }
        };
        Some(Sums {
            goods,
            postage,
            duty,
            vat,
            clearance: level.clearance,
        })
    }

    /// The goods value below which no order is taken.
    pub(crate) fn least_order(&self) -> i64 {
        self.levels[0].from
    }

    /// The most that a higher goods value can save in postage.
    pub(crate) fn largest_drop(&self) -> i64 {
        let heaviest = self.by_weight.iter().map(|step| step.1).max().unwrap_or(0);
        let mut dearest = 0;
        let mut drop = 0;
        for level in &self.levels {
            let (before, now) = if level.free {
                (dearest, level.fee)
            } else {
                dearest = dearest.max(level.fee + heaviest);
                (dearest - heaviest, level.fee)
            };
            drop = drop.max(before - now);
        }
        drop
    }

    /// The most that more weight can add to the postage.
    pub(crate) fn largest_rise(&self) -> i64 {
        match self.by_weight.as_slice() {
            [(_, least), .., (_, most)] => most - least,
            _ => 0,
        }
    }
}

/// Goods values from which something changes that is no postage step.
struct Thresholds {
    free: Option<i64>,
    duty: i64,
    vat: i64,
}

impl Thresholds {
    /// Postage steps, cut where duty, tax or free postage begin.
    fn levels(&self, steps: &[(i64, i64)], clearance: i64, shop: &Shop) -> Vec<Level> {
        let cuts = [self.free, Some(self.duty), Some(self.vat)];
        let mut starts: Vec<i64> = steps.iter().map(|step| step.0).collect();
        let first = starts.first().copied().unwrap_or(0);
        starts.extend(cuts.into_iter().flatten().filter(|cut| *cut > first));
        starts.sort_unstable();
        starts.dedup();
        let mut levels: Vec<Level> = Vec::new();
        for from in starts {
            let fee = steps
                .iter()
                .rfind(|step| step.0 <= from)
                .map_or(0, |step| step.1);
            let free = self.free.is_some_and(|free| free <= from);
            let duty = !shop.duty.is_zero() && self.duty <= from;
            let vat = !shop.vat.is_zero() && self.vat <= from;
            let level = Level {
                from,
                fee: if free { 0 } else { fee },
                free,
                duty,
                vat: vat || shop.vat.is_zero(),
                clearance: if duty || vat { clearance } else { 0 },
            };
            let same = |last: &Level| Level { from, ..*last } == level;
            if !levels.last().is_some_and(same) {
                levels.push(level);
            }
        }
        levels
    }
}

impl Priced {
    pub(crate) fn new(
        offer: &Offer,
        at: usize,
        vendor: usize,
        request: &Request,
    ) -> Result<Priced, Error> {
        check_offer(offer)?;
        let seller = &request.vendors[vendor];
        let coin = Decimal::from(10_i64.pow(request.currency.minor_digits()));
        let factor = rate(seller.currency, request, &seller.id)? * coin;
        let mut breaks = Vec::new();
        for level in &offer.breaks {
            let each = level
                .each
                .checked_mul(factor)
                .ok_or_else(|| too_large(offer))?;
            breaks.push((level.from, half_up(each, FINE_DIGITS)));
        }
        Ok(Priced {
            offer: at,
            vendor,
            pack: offer.pack,
            least: offer.least.max(offer.breaks[0].from),
            most: offer.stock.unwrap_or(u32::MAX),
            breaks,
            grams: offer.grams.unwrap_or(0),
        })
    }

    /// The unit price at a quantity, in the smallest coins.
    pub(crate) fn each(&self, quantity: u32) -> Decimal {
        let level = self.breaks.iter().rfind(|(from, _)| *from <= quantity);
        level.unwrap_or(&self.breaks[0]).1
    }

    /// The price of a line, in the smallest coins.
    pub(crate) fn total(&self, quantity: u32) -> i64 {
        to_coins(self.each(quantity) * Decimal::from(quantity))
    }
}

fn share(rate: Decimal, base: i64) -> i64 {
    to_coins(rate * Decimal::from(base))
}

fn half_up(value: Decimal, digits: u32) -> Decimal {
    value.round_dp_with_strategy(digits, rust_decimal::RoundingStrategy::MidpointAwayFromZero)
}

/// Sums are kept below this by the checks, so the conversion always succeeds.
fn to_coins(value: Decimal) -> i64 {
    i64::try_from(half_up(value, 0)).unwrap_or(i64::MAX)
}

fn rate(currency: Currency, request: &Request, vendor: &str) -> Result<Decimal, Error> {
    if currency == request.currency {
        return Ok(Decimal::ONE);
    }
    rate_of(currency, &request.rates).ok_or_else(|| Error::Currency {
        vendor: vendor.to_string(),
        found: currency,
        expected: request.currency,
    })
}

fn rate_of(currency: Currency, rates: &BTreeMap<Currency, Decimal>) -> Option<Decimal> {
    rates
        .get(&currency)
        .copied()
        .filter(|rate| *rate > Decimal::ZERO)
}

fn convert(money: Money, request: &Request, vendor: &str) -> Result<i64, Error> {
    let amount = money
        .amount
        .checked_mul(rate(money.currency, request, vendor)?)
        .ok_or_else(|| Error::Input(format!("an amount of vendor `{vendor}` is too large")))?;
    let converted = Money {
        amount,
        currency: request.currency,
    };
    Ok(converted.to_minor())
}

/// Largest unit price in the smallest coins, and largest fee: keeps every sum exact in 64 bits.
const LARGEST: i64 = 100_000_000;

fn check_vendor(
    vendor: &Vendor,
    steps: &[(i64, i64)],
    by_weight: &[(u32, i64)],
) -> Result<(), Error> {
    let fail = |what: &str| Err(Error::Input(format!("vendor `{}`: {what}", vendor.id)));
    if !steps.windows(2).all(|pair| pair[0].0 < pair[1].0) {
        return fail("expected shipping steps with rising `from`");
    }
    if steps
        .iter()
        .any(|&(from, fee)| !(0..=LARGEST).contains(&from) || !(0..=LARGEST).contains(&fee))
    {
        return fail("expected shipping amounts of 0 or more, and not beyond a million");
    }
    let rising = by_weight
        .windows(2)
        .all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1);
    if !rising || by_weight.first().is_some_and(|step| step.0 != 0) {
        return fail(
            "expected weight steps from 0 on with rising `from`, and fees that do not fall",
        );
    }
    if by_weight
        .iter()
        .any(|step| !(0..=LARGEST).contains(&step.1))
    {
        return fail("expected postage by weight of 0 or more, and not beyond a million");
    }
    let limits = [
        vendor.free_from,
        vendor.duty_from,
        vendor.vat_from,
        Some(vendor.clearance),
    ];
    if limits
        .into_iter()
        .flatten()
        .any(|money| money.amount.is_sign_negative())
    {
        return fail("expected limits and clearance of 0 or more");
    }
    for share in [vendor.duty, vendor.vat] {
        if share.is_sign_negative()
            || share > Decimal::ONE
            || share.normalize().scale() > FINE_DIGITS
        {
            return fail(
                "expected duty and vat as shares from 0 to 1 with at most 4 decimals, such as 0.21",
            );
        }
    }
    if vendor.hassle.amount.is_sign_negative() {
        return fail("expected a hassle of 0 or more");
    }
    Ok(())
}

fn check_offer(offer: &Offer) -> Result<(), Error> {
    let fail = |what: &str| {
        let (vendor, item) = (&offer.vendor, &offer.item);
        Err(Error::Input(format!(
            "offer of `{item}` at `{vendor}`: {what}"
        )))
    };
    if offer.pack == 0 {
        return fail("expected a pack of 1 or more");
    }
    let rising = offer
        .breaks
        .windows(2)
        .all(|pair| pair[0].from < pair[1].from);
    if offer.breaks.is_empty() || !rising {
        return fail("expected price breaks with rising `from`, at least one");
    }
    if offer.grams.is_some_and(|grams| grams > 1_000_000) {
        return fail("expected a weight of at most a tonne");
    }
    let largest = Decimal::from(LARGEST);
    if offer
        .breaks
        .iter()
        .any(|b| b.each.is_sign_negative() || b.each > largest)
    {
        return fail("expected prices of 0 or more, and not beyond a million");
    }
    Ok(())
}

fn too_large(offer: &Offer) -> Error {
    Error::Input(format!(
        "offer of `{}` at `{}`: the price is too large",
        offer.item, offer.vendor
    ))
}
