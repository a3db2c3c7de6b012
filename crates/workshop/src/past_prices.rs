//! What was asked for an item before.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use journal::Line;
use purchasing::Offer;
use units::{Decimal, Money};

use crate::{
    Error, ErrorKind,
    names::{best, choices, fit, nearest, plain},
    offers::{History, PastPrice, age, renewed, vendor_title},
    words::quoted,
    workshop::{Inner, Result, State},
};

pub(crate) fn history(inner: &Inner, state: &State, typed: &str) -> Result<History> {
    let word = plain(typed);
    let all: Vec<(String, Offer)> = past(state);
    let fits = all.iter().filter_map(|(_, offer)| {
        Some((
            fit(&word, [&*offer.item, &*offer.title])?,
            offer.item.as_str(),
        ))
    });
    let found: BTreeSet<&str> = best(fits)
        .map(|(_, items)| items.into_iter().collect())
        .unwrap_or_default();
    let item = match found.iter().collect::<Vec<_>>().as_slice() {
        [one] => (**one).to_string(),
        [] => {
            let known = all.iter().map(|(_, offer)| offer.item.as_str());
            return Err(Error::new(
                ErrorKind::NotFound,
                format!(
                    "nobody offers {}; nearest are {}",
                    quoted(typed),
                    choices(nearest(typed, known))
                ),
            ));
        }
        several => {
            return Err(Error::new(
                ErrorKind::NotFound,
                format!(
                    "{} could be {}",
                    quoted(typed),
                    choices(several.iter().map(|one| **one))
                ),
            ));
        }
    };
    let mut prices = Vec::new();
    let today = inner.now().date().to_string();
    let settings = &state.folder.settings;
    let mut title = item.clone();
    for (day, offer) in all.iter().filter(|(_, offer)| offer.item == item) {
        let Some(vendor) = state
            .folder
            .vendors
            .iter()
            .find(|one| one.id == offer.vendor)
        else {
            continue;
        };
        let rate = if vendor.currency == settings.currency {
            Some(Decimal::ONE)
        } else {
            settings.rates.get(&vendor.currency).copied()
        };
        let Some((first, rate)) = offer.breaks.first().zip(rate) else {
            continue;
        };
        let money = Money {
            amount: first.each.checked_mul(rate).unwrap_or_default(),
            currency: settings.currency,
        }
        .rounded();
        title.clone_from(&offer.title);
        prices.push(PastPrice {
            day: day.clone(),
            days_ago: age(Some(day), &today).unwrap_or(0),
            vendor: vendor_title(vendor),
            price: money.amount_text(),
            coins: money.to_minor(),
            at: if first.from > 1 {
                format!("from {}", first.from)
            } else {
                String::new()
            },
        });
    }
    Ok(History {
        heading: history_heading(&prices),
        item,
        title,
        currency: settings.currency.code().to_string(),
        prices,
    })
}

/// `3.40 now at northgate; least so far 2.60 at lowtide surplus on 3 October.`
fn history_heading(prices: &[PastPrice]) -> String {
    let mut last: BTreeMap<&str, &PastPrice> = BTreeMap::new();
    for one in prices {
        last.insert(&one.vendor, one);
    }
    let now = last.values().min_by_key(|one| one.coins);
    let least = prices.iter().min_by_key(|one| one.coins);
    let Some((now, least)) = now.zip(least) else {
        return "No price is known.".to_string();
    };
    if least.coins < now.coins {
        let day: Option<Date> = least.day.parse().ok();
        let day = day
            .map(|day| format!(" on {}", day.strftime("%-d %B")))
            .unwrap_or_default();
        return format!(
            "{} now at {}; least so far {} at {}{day}.",
            now.price, now.vendor, least.price, least.vendor
        );
    }
    format!("{} now at {}; it was never less.", now.price, now.vendor)
}

/// All offers ever seen, oldest first.
fn past(state: &State) -> Vec<(String, Offer)> {
    let mut all: Vec<(String, Offer)> = state
        .folder
        .filed
        .iter()
        .filter_map(|offer| Some((offer.seen.clone()?, offer.clone())))
        .collect();
    for entry in state.pile.holding() {
        if let Line::Offers {
            vendor,
            seen,
            offers,
            ..
        } = &entry.line
        {
            all.extend(
                offers
                    .iter()
                    .map(|one| (seen.clone(), renewed(None, vendor, seen, one))),
            );
        }
    }
    all.sort_by(|a, b| a.0.cmp(&b.0));
    all
}
