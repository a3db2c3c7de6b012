//! At which price the choice of parcels becomes another one.

use units::Decimal;

use crate::order::{Error, Settings, cheapest};
use crate::request::{Parcels, Request};

/// An offer, and the price at which the choice turns.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// Id of the vendor.
    pub vendor: String,
    /// The item.
    pub item: String,
    /// How many are ordered of it now; 0 if it is not chosen.
    pub quantity: u32,
    /// Price of one now, at that quantity or at the smallest, in the vendor's currency.
    pub each: Decimal,
    /// Chosen: the choice stays up to this price. Not chosen: it is taken from this price down. None: at no price.
    pub at: Option<Decimal>,
}

/// For each offer of what is needed, at which price the choice turns, all else staying as it is; the price of every
/// break moves by the same amount. At most `most` offers are looked at.
///
/// # Errors
/// As [`cheapest`].
pub fn turns(
    request: &Request,
    parcels: &Parcels,
    settings: &Settings,
    most: usize,
) -> Result<Vec<Turn>, Error> {
    let asked = turning_offers(request, parcels).into_iter().take(most);
    asked
        .map(|index| turn(request, parcels, settings, index))
        .collect()
}

/// The offers of what is needed, by their position in the request; those of the lines that are ordered come first.
#[must_use]
pub fn turning_offers(request: &Request, parcels: &Parcels) -> Vec<usize> {
    let now = choice(parcels);
    let mut asked: Vec<(bool, usize)> = Vec::new();
    for (index, offer) in request.offers.iter().enumerate() {
        let needed = request
            .needs
            .iter()
            .any(|need| need.item == offer.item && need.quantity > 0);
        let chosen = quantity(&now, &offer.vendor, &offer.item) > 0;
        if needed && offer.stock != Some(0) {
            asked.push((!chosen, index));
        }
    }
    asked.sort_by_key(|(later, index)| {
        let offer = &request.offers[*index];
        (*later, offer.vendor.clone(), offer.item.clone())
    });
    asked.into_iter().map(|(_, index)| index).collect()
}

/// At which price of this offer the choice turns.
///
/// # Errors
/// As [`cheapest`].
pub fn turn(
    request: &Request,
    parcels: &Parcels,
    settings: &Settings,
    index: usize,
) -> Result<Turn, Error> {
    let search = Search {
        request,
        settings,
        now: &choice(parcels),
        index,
    };
    search.turn(parcels)
}

/// Vendor, item and quantity of each line.
type Choice = Vec<(String, String, u32)>;

fn choice(parcels: &Parcels) -> Choice {
    let mut lines: Choice = parcels
        .parcels
        .iter()
        .flat_map(|parcel| {
            let lines = parcel.lines.iter();
            lines.map(|line| (parcel.vendor.clone(), line.item.clone(), line.quantity))
        })
        .collect();
    lines.sort();
    lines
}

fn quantity(choice: &Choice, vendor: &str, item: &str) -> u32 {
    let lines = choice
        .iter()
        .filter(|line| line.0 == vendor && line.1 == item);
    lines.map(|line| line.2).sum()
}

struct Search<'r> {
    request: &'r Request,
    settings: &'r Settings,
    now: &'r Choice,
    index: usize,
}

impl Search<'_> {
    fn turn(&self, parcels: &Parcels) -> Result<Turn, Error> {
        let offer = &self.request.offers[self.index];
        let chosen = quantity(self.now, &offer.vendor, &offer.item);
        let level = offer
            .breaks
            .iter()
            .rfind(|level| level.from <= chosen.max(1));
        let each = level
            .or(offer.breaks.first())
            .map_or(Decimal::ZERO, |level| level.each);
        let coin = self.coin();
        let at = if chosen > 0 {
            self.dearest(parcels, chosen, coin)?
        } else {
            self.cheapest_that_enters(coin)?
        };
        Ok(Turn {
            vendor: offer.vendor.clone(),
            item: offer.item.clone(),
            quantity: chosen,
            each,
            at: at.map(|steps| each + coin * Decimal::from(steps)),
        })
    }

    /// The smallest coin of the vendor's currency.
    fn coin(&self) -> Decimal {
        let offer = &self.request.offers[self.index];
        let vendor = self
            .request
            .vendors
            .iter()
            .find(|vendor| vendor.id == offer.vendor);
        let digits = vendor.map_or(2, |vendor| vendor.currency.minor_digits());
        Decimal::new(1, digits)
    }

    /// How many coins more each may cost before the choice is another; none: it stays at any price.
    fn dearest(&self, parcels: &Parcels, chosen: u32, coin: Decimal) -> Result<Option<i64>, Error> {
        let mut without = self.request.clone();
        without.offers.remove(self.index);
        let other = match cheapest(&without, self.settings) {
            Ok(other) if other.unmet == parcels.unmet => other,
            Ok(_) | Err(Error::Impossible) => return Ok(None),
            Err(error) => return Err(error),
        };
        // by then the order without it costs no more, whatever is added for tax
        let more = other.landed.to_minor() + other.hassle.to_minor()
            - parcels.landed.to_minor()
            - parcels.hassle.to_minor();
        let rate =
            self.rate() * coin * Decimal::from(10_i64.pow(self.request.currency.minor_digits()));
        let steps = Decimal::from(more.max(0)) / (rate * Decimal::from(chosen));
        let high = i64::try_from(steps.ceil()).unwrap_or(i64::MAX / 4) + 2;
        if self.same(high, coin)? {
            return Ok(Some(high));
        }
        Ok(Some(self.bisect(0, high, coin)?))
    }

    /// By how many coins, below zero, each must fall until it is taken; none: not even for a coin.
    fn cheapest_that_enters(&self, coin: Decimal) -> Result<Option<i64>, Error> {
        let offer = &self.request.offers[self.index];
        let least = offer
            .breaks
            .iter()
            .map(|level| level.each)
            .min()
            .unwrap_or(coin);
        let steps = i64::try_from((least / coin).floor()).unwrap_or(0) - 1;
        if steps <= 0 || self.same(-steps, coin)? {
            return Ok(None);
        }
        Ok(Some(self.bisect(0, -steps, coin)? - 1))
    }

    /// The last number of coins from `same` towards `other` at which the choice is the same.
    fn bisect(&self, mut same: i64, mut other: i64, coin: Decimal) -> Result<i64, Error> {
        while (other - same).abs() > 1 {
            let middle = i64::midpoint(same, other);
            if self.same(middle, coin)? {
                same = middle;
            } else {
                other = middle;
            }
        }
        Ok(same)
    }

    /// The choice is the same when each costs so many coins more.
    fn same(&self, coins: i64, coin: Decimal) -> Result<bool, Error> {
        let mut request = self.request.clone();
        for level in &mut request.offers[self.index].breaks {
            level.each += coin * Decimal::from(coins);
        }
        Ok(choice(&cheapest(&request, self.settings)?) == *self.now)
    }

    fn rate(&self) -> Decimal {
        let offer = &self.request.offers[self.index];
        let vendor = self
            .request
            .vendors
            .iter()
            .find(|vendor| vendor.id == offer.vendor);
        let rate = vendor.and_then(|vendor| self.request.rates.get(&vendor.currency));
        rate.copied()
            .filter(|rate| *rate > Decimal::ZERO)
            .unwrap_or(Decimal::ONE)
    }
}
