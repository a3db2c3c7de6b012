//! The choice of parcels as a model, and what is read from its solution.

use optimum::{Model, Relation, Sense, Solution, Var};
use units::{Decimal, Money};

use crate::invoice::{Level, Part, Priced, Rounding, Shop, Sums};
use crate::lots::{Lot, Slack, candidates};
use crate::order::Error;
use crate::request::{Line, Parcel, Parcels, Request, Unmet, Vendor};
use std::collections::BTreeMap;

/// Less than half a coin: what the number of parcels and the days of waiting may add to the model's cost in all, so that
/// they decide only between equally cheap orders.
const TIES: f64 = 0.4;

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

/// Variables, each with its factor.
type Terms = Vec<(Var, f64)>;

/// A share, how it is rounded, in which levels it is due, and what it is called.
type Due = (Decimal, Rounding, fn(&Level) -> bool, &'static str);

/// A level in which more is to be paid than in the one below it, so that an order does not choose it freely.
fn dearer(below: &Level, above: &Level) -> bool {
    above.fee > below.fee
        || above.clearance > below.clearance
        || (above.duty && !below.duty)
        || (above.vat && !below.vat)
}

/// Finds the cheapest parcels.
pub(crate) struct Builder<'r> {
    request: &'r Request,
    shops: &'r [Shop],
    offers: &'r [Priced],
    pub(crate) model: Model,
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

    pub(crate) fn whole(
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
            rise: shop.largest_rise(),
            least_order: shop.least_order(),
        };
        let mut one = Vec::new();
        for lot in candidates(offer, need, slack, alone) {
            let name = format!("offer {} lot {}", offer.offer, lot.quantity);
            let taxed = shop.rounding.by_line && lot.more.is_none();
            let tax = if taxed {
                shop.rounding.share(shop.vat, lot.total)
            } else {
                0
            };
            let taken = self.model.binary(&name, coins(lot.total + tax));
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
            let (levels, mut postage) = self.add_levels(vendor, &goods);
            postage.extend(self.add_weight(vendor, &levels));
            if self.shops[vendor].rounding.by_line {
                self.add_line_taxes(vendor, &postage);
            } else {
                self.add_taxes(vendor, &goods, &postage, &levels);
            }
        }
    }

    /// The goods value of a vendor's parcel.
    fn goods_terms(&self, vendor: usize) -> Terms {
        let own = self
            .chosen
            .iter()
            .filter(|c| self.offers[c.offer].vendor == vendor);
        own.flat_map(|chosen| self.price_terms(chosen)).collect()
    }

    /// The price of one lot with what is added to it.
    fn price_terms(&self, chosen: &Chosen) -> Terms {
        let mut terms = vec![(chosen.taken, coins(chosen.lot.total))];
        match (&chosen.more, &chosen.lot.more) {
            (Some((_, Some(price))), _) => terms.push((*price, 1.0)),
            (Some((packs, None)), Some(more)) => {
                terms.push((*packs, decimal(more.each) * f64::from(more.pack)));
            }
            _ => {}
        }
        terms
    }

    /// Levels of the goods value: exactly one holds for a vendor used. Returns each with its variable, and the postage.
    fn add_levels(&mut self, vendor: usize, goods: &[(Var, f64)]) -> (Vec<(Level, Var)>, Terms) {
        let reachable = self.reachable(vendor);
        let mut levels = self.shops[vendor].levels.clone();
        levels.retain(|level| level.from <= reachable || level.from == 0);
        let used = self.used[vendor];
        let name = &self.request.vendors[vendor].id;
        let mut one = vec![(used, -1.0)];
        let mut reach: Terms = goods.to_vec();
        let mut below: Terms = goods.to_vec();
        let mut postage = Vec::new();
        let mut vars = Vec::new();
        for (index, &level) in levels.iter().enumerate() {
            let cost = coins(level.fee + level.clearance);
            let holds = self
                .model
                .binary(format!("{name} postage step {index}"), cost);
            one.push((holds, 1.0));
            reach.push((holds, -coins(level.from)));
            let end = levels
                .get(index + 1)
                .map_or(reachable, |next| next.from - 1);
            below.push((holds, -coins(end)));
            postage.push((holds, coins(level.fee)));
            vars.push((level, holds));
        }
        self.model.row(
            format!("{name} one postage step"),
            one,
            Relation::Equal,
            0.0,
        );
        if levels.iter().any(|level| level.from > 0) {
            self.model.row(
                format!("{name} reaches its step"),
                reach,
                Relation::AtLeast,
                0.0,
            );
        }
        if levels.windows(2).any(|pair| dearer(&pair[0], &pair[1])) {
            self.model.row(
                format!("{name} stays in its step"),
                below,
                Relation::AtMost,
                0.0,
            );
        }
        (vars, postage)
    }

    /// Postage by weight: exactly one step holds for a vendor used, or none where nothing is paid by weight.
    fn add_weight(&mut self, vendor: usize, levels: &[(Level, Var)]) -> Terms {
        let steps = &self.shops[vendor].by_weight;
        if steps.is_empty() {
            return Vec::new();
        }
        let name = &self.request.vendors[vendor].id;
        let (mut below, heaviest) = self.weight(vendor);
        let mut one = vec![(self.used[vendor], -1.0)];
        let mut postage = Vec::new();
        for (index, &(_, fee)) in steps.iter().enumerate() {
            let cost = coins(fee);
            let holds = self
                .model
                .binary(format!("{name} weight step {index}"), cost);
            one.push((holds, 1.0));
            let end = steps
                .get(index + 1)
                .map_or(heaviest, |next| f64::from(next.0 - 1));
            below.push((holds, -end));
            postage.push((holds, cost));
        }
        for (_, holds) in levels.iter().filter(|(level, _)| level.free) {
            one.push((*holds, 1.0));
            below.push((*holds, -heaviest));
        }
        self.model
            .row(format!("{name} one weight step"), one, Relation::Equal, 0.0);
        self.model.row(
            format!("{name} weighs no more"),
            below,
            Relation::AtMost,
            0.0,
        );
        postage
    }

    /// What a vendor's parcel weighs, and the most it can weigh.
    fn weight(&self, vendor: usize) -> (Terms, f64) {
        let mut terms = Vec::new();
        let mut heaviest = 0.0;
        for chosen in &self.chosen {
            let offer = &self.offers[chosen.offer];
            if offer.vendor != vendor || offer.grams == 0 {
                continue;
            }
            let grams = f64::from(offer.grams);
            terms.push((chosen.taken, grams * f64::from(chosen.lot.quantity)));
            heaviest += grams * f64::from(chosen.lot.quantity);
            if let (Some((packs, _)), Some(more)) = (&chosen.more, &chosen.lot.more) {
                let pack = grams * f64::from(more.pack);
                terms.push((*packs, pack));
                heaviest += pack * f64::from(more.most);
            }
        }
        (terms, heaviest)
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

    /// Duty, then tax: the smallest whole number of coins above share × base - 1/2, which is rounding half up; where
    /// neither is due, nothing.
    fn add_taxes(
        &mut self,
        vendor: usize,
        goods: &[(Var, f64)],
        postage: &[(Var, f64)],
        levels: &[(Level, Var)],
    ) {
        let shop = &self.shops[vendor];
        let name = &self.request.vendors[vendor].id;
        let used = self.used[vendor];
        let fees = postage.iter().map(|(_, fee)| *fee).sum::<f64>();
        let mut largest = coins(self.reachable(vendor)) + fees;
        let mut base: Terms = [goods, postage].concat();
        let half_up = Rounding {
            by_line: false,
            down: false,
        };
        let due: [Due; 2] = [
            (shop.duty, half_up, |level| level.duty, "duty"),
            (shop.vat, shop.rounding, |level| level.vat, "tax"),
        ];
        for (rate, rounding, is_due, what) in due {
            if rate.is_zero() {
                continue;
            }
            let tax = self
                .model
                .whole(format!("{name} {what}"), (0, i32::MAX), 1.0);
            let share = decimal(rate);
            let short = rounding.short(rate);
            let mut terms: Terms = base.iter().map(|&(v, c)| (v, -share * c)).collect();
            terms.push((tax, 1.0));
            if levels.iter().all(|(level, _)| is_due(level)) {
                terms.push((used, short));
            } else {
                let off = share * largest + 1.0;
                terms.push((used, short + off));
                let on = levels.iter().filter(|(level, _)| is_due(level));
                terms.extend(on.map(|(_, holds)| (*holds, -off)));
            }
            self.model
                .row(format!("{name} {what}"), terms, Relation::AtLeast, 0.0);
            base.push((tax, 1.0));
            largest += share * largest + 1.0;
        }
    }

    /// Tax on each line whose quantity is counted, and on the postage; that of the other lots is in their price.
    fn add_line_taxes(&mut self, vendor: usize, postage: &[(Var, f64)]) {
        let shop = &self.shops[vendor];
        if shop.vat.is_zero() {
            return;
        }
        let (share, short) = (decimal(shop.vat), shop.rounding.short(shop.vat));
        let name = self.request.vendors[vendor].id.clone();
        let mut lines: Vec<(String, Var, Terms)> = vec![(
            format!("{name} tax on postage"),
            self.used[vendor],
            postage.to_vec(),
        )];
        for (index, chosen) in self.chosen.iter().enumerate() {
            if self.offers[chosen.offer].vendor == vendor && chosen.more.is_some() {
                let price = self.price_terms(chosen);
                lines.push((format!("{name} tax on line {index}"), chosen.taken, price));
            }
        }
        for (name, used, base) in lines {
            let tax = self.model.whole(&name, (0, i32::MAX), 1.0);
            let mut terms: Terms = base.iter().map(|&(v, c)| (v, -share * c)).collect();
            terms.extend([(tax, 1.0), (used, short)]);
            self.model.row(name, terms, Relation::AtLeast, 0.0);
        }
    }

    /// Adds everything up again from the lots alone, and compares with the model.
    pub(crate) fn read(&self, solution: &Solution, unmet: Vec<Unmet>) -> Result<Parcels, Error> {
        let mut parcels = Vec::new();
        let (mut landed, mut hassle) = (0, 0);
        for (vendor, shop) in self.shops.iter().enumerate() {
            let (lines, part) = self.lines(vendor, solution);
            if lines.is_empty() {
                continue;
            }
            let sums = shop
                .sums(&part)
                .ok_or_else(|| unreliable("an order is below the least order"))?;
            landed += sums.landed();
            hassle += shop.hassle;
            parcels.push(self.parcel(vendor, lines, sums, part.grams));
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

    fn lines(&self, vendor: usize, solution: &Solution) -> (Vec<Line>, Part) {
        let coin = Decimal::from(10_i64.pow(self.request.currency.minor_digits()));
        let mut lines = Vec::new();
        let mut part = Part::default();
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
            part.lines.push(total);
            part.grams += u64::from(priced.grams) * u64::from(quantity);
            lines.push(Line {
                item: offer.item.clone(),
                title: offer.title.clone(),
                quantity,
                each: (priced.each(quantity) / coin).normalize(),
                total: self.money(total),
            });
        }
        (lines, part)
    }

    fn parcel(&self, vendor: usize, lines: Vec<Line>, sums: Sums, grams: u64) -> Parcel {
        let seller = &self.request.vendors[vendor];
        Parcel {
            vendor: seller.id.clone(),
            lines,
            goods: self.money(sums.goods),
            postage: self.money(sums.postage),
            duty: self.money(sums.duty),
            vat: self.money(sums.vat),
            clearance: self.money(sums.clearance),
            grams,
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

impl Rounding {
    /// How far below the exact tax the rounded one may lie: a whole number of coins above that is the rounded tax.
    fn short(self, rate: Decimal) -> f64 {
        if !self.down {
            return below_half(rate);
        }
        let digits = i32::try_from(rate.normalize().scale()).unwrap_or(0);
        1.0 - 0.5 * 0.1_f64.powi(digits)
    }
}

/// A half, less half the smallest step that whole multiples of `factor` can make: what lies above it is half or more.
fn below_half(factor: Decimal) -> f64 {
    let digits = i32::try_from(factor.normalize().scale()).unwrap_or(0);
    0.5 - 0.5 * 0.1_f64.powi(digits)
}

fn unreliable(what: &str) -> Error {
    Error::Search(optimum::Error::Unreliable(what.to_string()))
}
