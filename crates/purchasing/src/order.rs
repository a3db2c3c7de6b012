//! The choice of parcels as a model, solved and added up again.

use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

use optimum::{Model, Relation, Sense, Solution, Var};
use units::{Currency, Decimal, Money};

use crate::invoice::{Priced, Shop, Sums};
use crate::lots::{Lot, Slack, candidates};
use crate::request::{Line, Need, Offer, Parcel, Parcels, Request, Unmet, Vendor};

/// Largest quantity of one need.
const MOST_UNITS: u32 = 100_000;

/// Less than half a coin: what the number of parcels and the days of waiting may add to the model's cost in all, so that
/// they decide only between equally cheap orders.
const TIES: f64 = 0.4;

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

/// Fewer parcels first, then fewer days of waiting for them all.
struct Tie {
    /// One parcel outweighs the days of all vendors.
    parcel: f64,
    /// A power of two, so that sums are exact.
    day: f64,
}

impl Tie {
    fn among(vendors: &[Vendor]) -> Tie {
        let days: f64 = vendors.iter().map(|vendor| f64::from(vendor.days)).sum();
        let count: f64 = vendors.iter().map(|_| 1.0).sum();
        let all = count * (1.0 + days) + days;
        Tie {
            parcel: 1.0 + days,
            day: (TIES / all.max(1.0)).log2().floor().exp2(),
        }
    }

    fn of(&self, vendor: &Vendor) -> f64 {
        (self.parcel + f64::from(vendor.days)) * self.day
    }
}

/// A lot in the model.
struct Chosen {
    offer: usize,
    lot: Lot,
    taken: Var,
    /// Packs added, and what they cost if that is no whole number of coins a unit.
    more: Option<(Var, Option<Var>)>,
}

struct Builder<'r> {
    request: &'r Request,
    shops: &'r [Shop],
    offers: &'r [Priced],
    model: Model,
    chosen: Vec<Chosen>,
    /// One variable per vendor that can be used.
    used: Vec<Var>,
}

impl<'r> Builder<'r> {
    fn new(request: &'r Request, shops: &'r [Shop], offers: &'r [Priced]) -> Builder<'r> {
        let mut model = Model::new(Sense::Minimize);
        let tie = Tie::among(&request.vendors);
        let used = request
            .vendors
            .iter()
            .zip(shops)
            .map(|(vendor, shop)| {
                let cost = coins(shop.hassle) + tie.of(vendor);
                model.binary(format!("order at {}", vendor.id), cost)
            })
            .collect();
        Builder {
            request,
            shops,
            offers,
            model,
            chosen: Vec::new(),
            used,
        }
    }

    fn whole(
        request: &'r Request,
        shops: &'r [Shop],
        offers: &'r [Priced],
        needs: &BTreeMap<String, u32>,
    ) -> Builder<'r> {
        let mut builder = Builder::new(request, shops, offers);
        builder.add_needs(needs);
        builder.add_vendors();
        builder
    }

    fn add_needs(&mut self, needs: &BTreeMap<String, u32>) {
        for (item, &need) in needs {
            let mut cover = Vec::new();
            let offers: Vec<usize> = (0..self.offers.len())
                .filter(|&o| self.request.offers[self.offers[o].offer].item == *item)
                .collect();
            for &offer in &offers {
                self.add_offer(offer, need, offers.len() == 1, &mut cover);
            }
            let name = format!("need of {item}");
            self.model
                .row(name, cover, Relation::AtLeast, f64::from(need));
        }
    }

    fn add_offer(&mut self, at: usize, need: u32, alone: bool, cover: &mut Vec<(Var, f64)>) {
        let offer = &self.offers[at];
        let shop = &self.shops[offer.vendor];
        let slack = Slack {
            drop: shop.largest_drop(),
            least_order: shop.least_order(),
        };
        let mut one = Vec::new();
        for lot in candidates(offer, need, slack, alone) {
            let name = format!("offer {} lot {}", offer.offer, lot.quantity);
            let taken = self.model.binary(&name, coins(lot.total));
            one.push((taken, 1.0));
            cover.push((taken, f64::from(lot.quantity.min(need))));
            let more = self.add_more(&lot, taken, &name);
            if let Some((packs, _)) = more.filter(|_| lot.quantity < need) {
                cover.push((packs, f64::from(offer.pack)));
            }
            self.chosen.push(Chosen {
                offer: at,
                lot,
                taken,
                more,
            });
        }
        one.push((self.used[offer.vendor], -1.0));
        let name = format!("offer {} only with an order", offer.offer);
        self.model.row(name, one, Relation::AtMost, 0.0);
    }

    /// Further packs of a lot: a counted variable, and where a unit costs no whole number of coins a second one for
    /// the line's price, rounded half up: total - 1/2 < price <= total + 1/2.
    fn add_more(&mut self, lot: &Lot, taken: Var, name: &str) -> Option<(Var, Option<Var>)> {
        let more = lot.more.as_ref()?;
        let each = decimal(more.each);
        let pack = each * f64::from(more.pack);
        let most = i32::try_from(more.most).unwrap_or(i32::MAX);
        let whole = more.each.fract().is_zero();
        let cost = if whole { pack } else { 0.0 };
        let packs = self.model.whole(format!("{name} more"), (0, most), cost);
        let limit = [(packs, 1.0), (taken, -f64::from(more.most))];
        self.model.row(
            format!("{name} more only if taken"),
            limit,
            Relation::AtMost,
            0.0,
        );
        if whole {
            return Some((packs, None));
        }
        let dearest = i32::try_from(lot.dearest() - lot.total).unwrap_or(i32::MAX);
        let price = self
            .model
            .whole(format!("{name} more costs"), (0, dearest), 1.0);
        let exact = more.each * Decimal::from(lot.quantity) - Decimal::from(lot.total);
        let half = below_half(more.each);
        for (relation, side, edge) in [
            (Relation::AtLeast, -half, "least"),
            (Relation::AtMost, 0.5, "most"),
        ] {
            let terms = [
                (price, 1.0),
                (packs, -pack),
                (taken, -(decimal(exact) + side)),
            ];
            self.model
                .row(format!("{name} more costs at {edge}"), terms, relation, 0.0);
        }
        Some((packs, Some(price)))
    }

    fn add_vendors(&mut self) {
        for vendor in 0..self.shops.len() {
            let goods = self.goods_terms(vendor);
            let postage = self.add_postage(vendor, &goods);
            self.add_taxes(vendor, &goods, &postage);
        }
    }

    /// The goods value of a vendor's parcel.
    fn goods_terms(&self, vendor: usize) -> Vec<(Var, f64)> {
        let mut terms = Vec::new();
        for chosen in self
            .chosen
            .iter()
            .filter(|c| self.offers[c.offer].vendor == vendor)
        {
            terms.push((chosen.taken, coins(chosen.lot.total)));
            match (&chosen.more, &chosen.lot.more) {
                (Some((_, Some(price))), _) => terms.push((*price, 1.0)),
                (Some((packs, None)), Some(more)) => {
                    terms.push((*packs, decimal(more.each) * f64::from(more.pack)));
                }
                _ => {}
            }
        }
        terms
    }

    /// Postage steps: exactly one holds for a vendor used. Returns the postage.
    fn add_postage(&mut self, vendor: usize, goods: &[(Var, f64)]) -> Vec<(Var, f64)> {
        let reachable = self.reachable(vendor);
        let mut steps = self.shops[vendor].steps.clone();
        steps.retain(|step| step.0 <= reachable || step.0 == 0);
        let used = self.used[vendor];
        let name = &self.request.vendors[vendor].id;
        let mut one = vec![(used, -1.0)];
        let mut reach: Vec<(Var, f64)> = goods.to_vec();
        let mut below: Vec<(Var, f64)> = goods.to_vec();
        let mut postage = Vec::new();
        for (index, &(from, fee)) in steps.iter().enumerate() {
            let holds = self
                .model
                .binary(format!("{name} postage step {index}"), coins(fee));
            one.push((holds, 1.0));
            reach.push((holds, -coins(from)));
            let end = steps.get(index + 1).map_or(reachable, |next| next.0 - 1);
            below.push((holds, -coins(end)));
            postage.push((holds, coins(fee)));
        }
        self.model.row(
            format!("{name} one postage step"),
            one,
            Relation::Equal,
            0.0,
        );
        if steps.iter().any(|step| step.0 > 0) {
            self.model.row(
                format!("{name} reaches its step"),
                reach,
                Relation::AtLeast,
                0.0,
            );
        }
        if steps.windows(2).any(|pair| pair[1].1 > pair[0].1) {
            self.model.row(
                format!("{name} stays in its step"),
                below,
                Relation::AtMost,
                0.0,
            );
        }
        postage
    }

    /// No parcel of this vendor has a higher goods value.
    fn reachable(&self, vendor: usize) -> i64 {
        let lots = self
            .chosen
            .iter()
            .filter(|c| self.offers[c.offer].vendor == vendor);
        lots.map(|chosen| chosen.lot.dearest())
            .fold(0, i64::saturating_add)
    }

    /// Duty, then tax: the smallest whole number of coins above share × base - 1/2, which is rounding half up.
    fn add_taxes(&mut self, vendor: usize, goods: &[(Var, f64)], postage: &[(Var, f64)]) {
        let shop = &self.shops[vendor];
        let name = &self.request.vendors[vendor].id;
        let used = self.used[vendor];
        let mut base: Vec<(Var, f64)> = [goods, postage].concat();
        for (share, what) in [(shop.duty, "duty"), (shop.vat, "tax")] {
            if share.is_zero() {
                continue;
            }
            let tax = self
                .model
                .whole(format!("{name} {what}"), (0, i32::MAX), 1.0);
            let half = below_half(share);
            let share = decimal(share);
            let mut terms: Vec<(Var, f64)> = base.iter().map(|&(v, c)| (v, -share * c)).collect();
            terms.extend([(tax, 1.0), (used, half)]);
            self.model
                .row(format!("{name} {what}"), terms, Relation::AtLeast, 0.0);
            base.push((tax, 1.0));
        }
    }

    /// Adds everything up again from the lots alone, and compares with the model.
    fn read(&self, solution: &Solution, unmet: Vec<Unmet>) -> Result<Parcels, Error> {
        let mut parcels = Vec::new();
        let (mut landed, mut hassle) = (0, 0);
        for (vendor, shop) in self.shops.iter().enumerate() {
            let (lines, goods) = self.lines(vendor, solution);
            if lines.is_empty() {
                continue;
            }
            let sums = shop
                .sums(goods)
                .ok_or_else(|| unreliable("an order is below the least order"))?;
            landed += sums.landed();
            hassle += shop.hassle;
            parcels.push(self.parcel(vendor, lines, sums));
        }
        let model_says = solution.objective.round();
        if (coins(landed + hassle) - model_says).abs() > 0.5 {
            return Err(unreliable("the parcels do not add up to the model's cost"));
        }
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a bound is at most the cost, which fits"
        )]
        let bound = if solution.proven {
            landed + hassle
        } else {
            (solution.bound - TIES - 1e-6).ceil().max(0.0) as i64
        };
        Ok(Parcels {
            parcels,
            landed: self.money(landed),
            hassle: self.money(hassle),
            bound: self.money(bound),
            proven: solution.proven,
            unmet,
        })
    }

    fn lines(&self, vendor: usize, solution: &Solution) -> (Vec<Line>, i64) {
        let coin = Decimal::from(10_i64.pow(self.request.currency.minor_digits()));
        let mut lines = Vec::new();
        let mut goods = 0;
        for chosen in self.chosen.iter().filter(|c| solution.chosen(c.taken)) {
            let priced = &self.offers[chosen.offer];
            if priced.vendor != vendor {
                continue;
            }
            let offer = &self.request.offers[priced.offer];
            let packs = chosen.more.map_or(0.0, |(packs, _)| solution.value(packs));
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "a whole number between 0 and its limit"
            )]
            let quantity = chosen.lot.quantity + packs as u32 * priced.pack;
            let total = priced.total(quantity);
            goods += total;
            lines.push(Line {
                item: offer.item.clone(),
                title: offer.title.clone(),
                quantity,
                each: (priced.each(quantity) / coin).normalize(),
                total: self.money(total),
            });
        }
        (lines, goods)
    }

    fn parcel(&self, vendor: usize, lines: Vec<Line>, sums: Sums) -> Parcel {
        let seller = &self.request.vendors[vendor];
        Parcel {
            vendor: seller.id.clone(),
            lines,
            goods: self.money(sums.goods),
            postage: self.money(sums.postage),
            duty: self.money(sums.duty),
            vat: self.money(sums.vat),
            landed: self.money(sums.landed()),
            hassle: self.money(self.shops[vendor].hassle),
            days: seller.days,
        }
    }

    fn money(&self, coins: i64) -> Money {
        Money::from_minor(coins, self.request.currency)
    }
}

fn coins(amount: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "amounts are far below 2^53")]
    let amount = amount as f64;
    amount
}

fn decimal(value: Decimal) -> f64 {
    value.to_string().parse().unwrap_or(f64::INFINITY)
}

/// A half, less half the smallest step that whole multiples of `factor` can make: what lies above it is half or more.
fn below_half(factor: Decimal) -> f64 {
    let digits = i32::try_from(factor.normalize().scale()).unwrap_or(0);
    0.5 - 0.5 * 0.1_f64.powi(digits)
}

fn unreliable(what: &str) -> Error {
    Error::Search(optimum::Error::Unreliable(what.to_string()))
}
