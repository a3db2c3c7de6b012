//! Exact sums: what a line and a parcel cost, in the smallest coins of the workshop's currency.

use std::collections::BTreeMap;

use units::{Currency, Decimal, Money};

use crate::order::Error;
use crate::request::{Offer, Request, Vendor};

/// Digits kept beyond the smallest coin in unit prices.
const FINE_DIGITS: u32 = 4;

/// A vendor with everything in the smallest coins of the workshop's currency.
#[derive(Debug, Clone)]
pub(crate) struct Shop {
    pub(crate) hassle: i64,
    /// Postage from a goods value on; never empty.
    pub(crate) steps: Vec<(i64, i64)>,
    pub(crate) duty: Decimal,
    /// Tax still to be added.
    pub(crate) vat: Decimal,
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
}

/// The sums of one parcel, in the smallest coins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Sums {
    pub(crate) goods: i64,
    pub(crate) postage: i64,
    pub(crate) duty: i64,
    pub(crate) vat: i64,
}

impl Sums {
    pub(crate) fn landed(self) -> i64 {
        self.goods + self.postage + self.duty + self.vat
    }
}

impl Shop {
    pub(crate) fn new(vendor: &Vendor, request: &Request) -> Result<Shop, Error> {
        let mut steps = Vec::new();
        for step in &vendor.shipping {
            let from = convert(step.from, request, &vendor.id)?;
            steps.push((from, convert(step.fee, request, &vendor.id)?));
        }
        if steps.is_empty() {
            steps.push((0, 0));
        }
        check_vendor(vendor, &steps)?;
        Ok(Shop {
            hassle: convert(vendor.hassle, request, &vendor.id)?,
            steps,
            duty: vendor.duty,
            vat: if vendor.vat_included {
                Decimal::ZERO
            } else {
                vendor.vat
            },
        })
    }

    /// The sums for goods of this value; `None` if the vendor takes no order so small.
    pub(crate) fn sums(&self, goods: i64) -> Option<Sums> {
        let step = self.steps.iter().rfind(|(from, _)| *from <= goods)?;
        let postage = step.1;
        let duty = share(self.duty, goods + postage);
        let vat = share(self.vat, goods + postage + duty);
        Some(Sums {
            goods,
            postage,
            duty,
            vat,
        })
    }

    /// The goods value below which no order is taken.
    pub(crate) fn least_order(&self) -> i64 {
        self.steps[0].0
    }

    /// The most that a higher goods value can save in postage.
    pub(crate) fn largest_drop(&self) -> i64 {
        let mut dearest = 0;
        let mut drop = 0;
        for &(_, fee) in &self.steps {
            dearest = dearest.max(fee);
            drop = drop.max(dearest - fee);
        }
        drop
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

fn check_vendor(vendor: &Vendor, steps: &[(i64, i64)]) -> Result<(), Error> {
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
