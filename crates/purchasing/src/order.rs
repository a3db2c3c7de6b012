//! The cheapest parcels for what is needed: what goes into the choice, and what cannot be had.

use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

use units::{Currency, Decimal};

use crate::invoice::{Priced, Shop};
use crate::model::Builder;
use crate::request::{Need, Offer, Parcels, Request, Unmet};

/// Largest quantity of one need.
const MOST_UNITS: u32 = 100_000;

/// Limits of the search.
#[derive(Debug, Clone, Default)]
pub struct Settings {
    /// Stop proving after so long; the answer then has a bound below its cost.
    pub time_limit: Option<Duration>,
    /// Stop after so many nodes of the search; unlike time, the same on every machine.
    pub node_limit: Option<u64>,
}

/// Why no parcels could be put together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Error {
    /// A vendor's currency without a rate.
    Currency {
        /// Id of the vendor.
        vendor: String,
        /// Its currency.
        found: Currency,
        /// The workshop's.
        expected: Currency,
    },
    /// A vendor, offer or need that cannot be reckoned with.
    Input(String),
    /// Nothing keeps all conditions, such as a vendor's least order.
    Impossible,
    /// The search failed.
    Search(optimum::Error),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::Currency {
                vendor,
                found,
                expected,
            } => write!(
                f,
                "expected prices of vendor `{vendor}` in `{expected}`, found `{found}`; give a rate for `{found}`"
            ),
            Error::Input(what) => f.write_str(what),
            Error::Impossible => f.write_str(
                "no set of parcels keeps the vendors' least orders; take another vendor or raise the need",
            ),
            Error::Search(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for Error {}

/// Finds the cheapest parcels for what is needed, hassle counted in.
///
/// What nobody sells, or not in that number, is told in [`Parcels::unmet`]; the rest is planned.
///
/// # Errors
/// If a currency has no rate, an input makes no sense, or the search ends without an answer.
pub fn cheapest(request: &Request, settings: &Settings) -> Result<Parcels, Error> {
    // the answer must not depend on the order in which things were typed
    let request = &sorted(request);
    let shops = shops(request)?;
    let needs = joined(&request.needs)?;
    let offers = priced(request, &needs)?;
    let (needs, unmet) = available(needs, &offers, request);
    let builder = Builder::whole(request, &shops, &offers, &needs);
    let solution = builder.model.solve(&optimum::Settings {
        time_limit: settings.time_limit,
        node_limit: settings.node_limit,
        ..optimum::Settings::default()
    });
    let solution = solution.map_err(|error| match error {
        optimum::Error::Infeasible => Error::Impossible,
        other => Error::Search(other),
    })?;
    builder.read(&solution, unmet)
}

/// The model of a request as free-format MPS, which other solvers read. Its objective is minimized in the
/// smallest coins, with less than half a coin for the number of parcels and the days of waiting.
///
/// # Errors
/// As [`cheapest`], the search apart.
pub fn to_mps(request: &Request) -> Result<String, Error> {
    let request = &sorted(request);
    let shops = shops(request)?;
    let needs = joined(&request.needs)?;
    let offers = priced(request, &needs)?;
    let (needs, _) = available(needs, &offers, request);
    let builder = Builder::whole(request, &shops, &offers, &needs);
    Ok(optimum::to_mps(&builder.model, "parcels"))
}

fn sorted(request: &Request) -> Request {
    let mut request = request.clone();
    request.vendors.sort_by(|a, b| a.id.cmp(&b.id));
    request.offers.sort_by(|a, b| {
        let by_name = (&a.item, &a.vendor, a.pack, a.least, a.stock, &a.title);
        let other = (&b.item, &b.vendor, b.pack, b.least, b.stock, &b.title);
        let prices = |offer: &Offer| -> Vec<(u32, Decimal)> {
            offer
                .breaks
                .iter()
                .map(|level| (level.from, level.each))
                .collect()
        };
        by_name.cmp(&other).then_with(|| prices(a).cmp(&prices(b)))
    });
    request
}

fn shops(request: &Request) -> Result<Vec<Shop>, Error> {
    request
        .vendors
        .iter()
        .map(|vendor| Shop::new(vendor, request))
        .collect()
}

/// The needs by item, in order of the items.
fn joined(needs: &[Need]) -> Result<BTreeMap<String, u32>, Error> {
    let mut joined: BTreeMap<String, u32> = BTreeMap::new();
    for need in needs {
        let entry = joined.entry(need.item.clone()).or_default();
        *entry = entry.saturating_add(need.quantity);
        if *entry > MOST_UNITS {
            let item = &need.item;
            return Err(Error::Input(format!(
                "expected at most {MOST_UNITS} of `{item}`, found {entry}"
            )));
        }
    }
    joined.retain(|_, quantity| *quantity > 0);
    Ok(joined)
}

fn priced(request: &Request, needs: &BTreeMap<String, u32>) -> Result<Vec<Priced>, Error> {
    let mut by_id = BTreeMap::new();
    for (index, vendor) in request.vendors.iter().enumerate() {
        if by_id.insert(vendor.id.as_str(), index).is_some() {
            return Err(Error::Input(format!(
                "vendor `{}` is there twice; rename one",
                vendor.id
            )));
        }
    }
    let mut priced = Vec::new();
    for (index, offer) in request.offers.iter().enumerate() {
        let vendor = *by_id.get(offer.vendor.as_str()).ok_or_else(|| {
            let (item, vendor) = (&offer.item, &offer.vendor);
            Error::Input(format!(
                "offer of `{item}`: expected a known vendor, found `{vendor}`; add it"
            ))
        })?;
        if needs.contains_key(&offer.item) {
            priced.push(Priced::new(offer, index, vendor, request)?);
        }
    }
    Ok(priced)
}

/// Lowers the needs to what is sold, and tells what is missing.
fn available(
    mut needs: BTreeMap<String, u32>,
    offers: &[Priced],
    request: &Request,
) -> (BTreeMap<String, u32>, Vec<Unmet>) {
    let mut unmet = Vec::new();
    for (item, need) in &mut needs {
        let sold = offers
            .iter()
            .filter(|o| request.offers[o.offer].item == *item);
        let total = sold.map(most_sold).fold(0, u32::saturating_add);
        if total < *need {
            let why = match total {
                0 => "no vendor sells it".to_string(),
                total => format!("only {total} of {need} are in stock"),
            };
            unmet.push(Unmet {
                item: item.clone(),
                missing: *need - total,
                why,
            });
            *need = total;
        }
    }
    needs.retain(|_, need| *need > 0);
    (needs, unmet)
}

fn most_sold(offer: &Priced) -> u32 {
    let most = offer.most / offer.pack * offer.pack;
    if most >= offer.least { most } else { 0 }
}
