//! Vendors and offers of the workshop, put as a plan reckons with them.

use units::{Decimal, Money};

use crate::instance::{Break, Offer, Step, Vendor};
use crate::solve::Error;

/// Turns vendors and offers into the plan's, in the smallest coins of the request's currency. Duty and tax that are not
/// in the prices are put on prices, postage and postage steps alike, so the sums can differ from a parcel's by a coin.
/// The parcels are reckoned exactly afterwards; here a parcel counts as light, and as worth less than what duty begins
/// with, if there is such a limit.
///
/// # Errors
/// If a vendor's currency has no rate.
pub fn vendors_and_offers(
    request: &purchasing::Request,
) -> Result<(Vec<Vendor>, Vec<Offer>), Error> {
    let mut vendors = Vec::new();
    let mut offers = Vec::new();
    for vendor in &request.vendors {
        let coins = Coins::new(request, vendor)?;
        vendors.push(Vendor {
            id: vendor.id.clone(),
            hassle: coins.untaxed(vendor.hassle)?,
            shipping: coins.shipping()?,
        });
        for offer in request
            .offers
            .iter()
            .filter(|offer| offer.vendor == vendor.id)
        {
            offers.push(coins.offer(offer)?);
        }
    }
    Ok((vendors, offers))
}

/// What an amount at one vendor comes to.
struct Coins<'r> {
    request: &'r purchasing::Request,
    vendor: &'r purchasing::Vendor,
    rate: Decimal,
    tax: Decimal,
}

impl<'r> Coins<'r> {
    fn new(
        request: &'r purchasing::Request,
        vendor: &'r purchasing::Vendor,
    ) -> Result<Coins<'r>, Error> {
        let vat = if vendor.vat_included {
            Decimal::ZERO
        } else {
            vendor.vat
        };
        let duty = match vendor.duty_from {
            Some(_) => Decimal::ZERO,
            None => vendor.duty,
        };
        Ok(Coins {
            request,
            vendor,
            rate: rate(request, vendor, vendor.currency)?,
            tax: (Decimal::ONE + duty) * (Decimal::ONE + vat),
        })
    }

    fn whole(&self, money: Money) -> Result<i64, Error> {
        self.coins(money, self.tax)
    }

    /// Postage steps, with what the lightest parcel pays by weight, up to the free one.
    fn shipping(&self) -> Result<Vec<Step>, Error> {
        let light = match self.vendor.by_weight.first() {
            Some(step) => self.whole(step.fee)?,
            None => 0,
        };
        let mut steps = Vec::new();
        for step in &self.vendor.shipping {
            steps.push(Step {
                from: self.whole(step.from)?,
                fee: self.whole(step.fee)? + light,
            });
        }
        if steps.is_empty() && (light > 0 || self.vendor.free_from.is_some()) {
            steps.push(Step {
                from: 0,
                fee: light,
            });
        }
        if let Some(free) = self.vendor.free_from {
            let from = self.whole(free)?;
            steps.retain(|step| step.from < from);
            steps.push(Step { from, fee: 0 });
        }
        Ok(steps)
    }

    fn untaxed(&self, money: Money) -> Result<i64, Error> {
        self.coins(money, Decimal::ONE)
    }

    fn coins(&self, money: Money, factor: Decimal) -> Result<i64, Error> {
        let rate = rate(self.request, self.vendor, money.currency)?;
        let amount = money
            .amount
            .checked_mul(rate)
            .and_then(|amount| amount.checked_mul(factor));
        let converted = Money {
            amount: amount.ok_or_else(|| self.too_large())?,
            currency: self.request.currency,
        };
        Ok(converted.to_minor())
    }

    fn offer(&self, offer: &purchasing::Offer) -> Result<Offer, Error> {
        let coin = Decimal::from(10_i64.pow(self.request.currency.minor_digits()));
        let factor = self.rate * self.tax * coin;
        let mut breaks = Vec::new();
        for level in &offer.breaks {
            let each = level
                .each
                .checked_mul(factor)
                .ok_or_else(|| self.too_large())?;
            breaks.push(Break {
                from: level.from.max(offer.least),
                each: each.round_dp(4),
            });
        }
        // breaks below the least quantity all begin there now; the last of them holds
        let mut kept: Vec<Break> = Vec::new();
        for level in breaks {
            if kept.last().is_some_and(|last| last.from == level.from) {
                kept.pop();
            }
            kept.push(level);
        }
        Ok(Offer {
            vendor: offer.vendor.clone(),
            item: offer.item.clone(),
            pack: offer.pack,
            stock: offer.stock,
            breaks: kept,
        })
    }

    fn too_large(&self) -> Error {
        Error::Input(format!(
            "an amount of vendor `{}` is too large",
            self.vendor.id
        ))
    }
}

fn rate(
    request: &purchasing::Request,
    vendor: &purchasing::Vendor,
    currency: units::Currency,
) -> Result<Decimal, Error> {
    if currency == request.currency {
        return Ok(Decimal::ONE);
    }
    request.rates.get(&currency).copied().ok_or_else(|| {
        let (id, expected) = (&vendor.id, request.currency);
        Error::Input(format!(
            "expected amounts of vendor `{id}` in `{expected}`, found `{currency}`; give a rate for `{currency}`"
        ))
    })
}
