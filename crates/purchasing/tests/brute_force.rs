//! Small random requests against listing every quantity of every offer.

use std::collections::BTreeMap;

use purchasing::{
    Break, Need, Offer, Request, Settings, Step, TaxRounding, Vendor, WeightStep, cheapest,
};
use units::{Currency, Decimal, Money};

/// A small generator of its own, so that the cases are the same everywhere.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % sides
    }

    fn small(&mut self, sides: u64) -> u32 {
        u32::try_from(self.roll(sides)).unwrap()
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.roll(n) == 0
    }
}

fn cents(amount: u64) -> Money {
    Money::from_minor(i64::try_from(amount).unwrap(), Currency::EUR)
}

fn vendor(dice: &mut Dice, id: usize) -> Vendor {
    let mut shipping = vec![Step {
        from: cents(if dice.one_in(6) { 200 } else { 0 }),
        fee: cents(dice.roll(9) * 100),
    }];
    for _ in 0..dice.roll(3) {
        let last = shipping[shipping.len() - 1].from.to_minor();
        let from = cents(u64::try_from(last).unwrap() + 200 + dice.roll(1500));
        let fee = cents(dice.roll(7) * 100);
        shipping.push(Step { from, fee });
    }
    let taxed = dice.one_in(3);
    Vendor {
        id: format!("vendor-{id}"),
        title: String::new(),
        currency: Currency::EUR,
        days: 3,
        hassle: cents(dice.roll(3) * 150),
        shipping,
        duty: Decimal::new(if taxed { 37 } else { 0 }, 3),
        vat: Decimal::new(if taxed { 21 } else { 0 }, 2),
        vat_included: !taxed,
        ..Vendor::plain("", Currency::EUR)
    }
}

/// Postage by weight, free postage, limits of duty and tax, clearance, all kinds of rounding.
fn conditions(dice: &mut Dice, vendor: &mut Vendor) {
    if dice.one_in(2) {
        let (mut from, mut fee) = (0, dice.roll(3) * 90);
        for _ in 0..=dice.roll(3) {
            vendor.by_weight.push(WeightStep {
                from,
                fee: cents(fee),
            });
            fee += dice.roll(4) * 90;
            from += 5 + dice.small(40);
        }
    }
    if dice.one_in(3) {
        vendor.free_from = Some(cents(300 + dice.roll(1500)));
    }
    let taxed = dice.one_in(2);
    vendor.vat_included = !taxed;
    vendor.vat = Decimal::new(if taxed { 21 } else { 0 }, 2);
    vendor.rounding = [
        TaxRounding::Invoice,
        TaxRounding::InvoiceDown,
        TaxRounding::Line,
        TaxRounding::LineDown,
    ][dice.roll(4) as usize];
    vendor.duty = Decimal::ZERO;
    vendor.clearance = cents(if dice.one_in(3) { 150 } else { 0 });
    if matches!(vendor.rounding, TaxRounding::Line | TaxRounding::LineDown) {
        return;
    }
    if dice.one_in(2) {
        vendor.duty = Decimal::new(47, 3);
        vendor.duty_from = dice.one_in(2).then(|| cents(200 + dice.roll(1500)));
    }
    if dice.one_in(3) {
        vendor.vat_from = Some(cents(100 + dice.roll(1000)));
    }
}

fn offer(dice: &mut Dice, vendor: usize, item: usize) -> Offer {
    let pack = if dice.one_in(4) { 2 + dice.small(2) } else { 1 };
    let mut price = 20 + dice.roll(400);
    let scale = if dice.one_in(4) { 3 } else { 2 };
    let mut from = 1;
    let mut breaks = Vec::new();
    for _ in 0..=dice.roll(3) {
        let each = Decimal::new(
            i64::try_from(price * if scale == 3 { 9 } else { 1 }).unwrap(),
            scale,
        );
        breaks.push(Break { from, each });
        from += 1 + dice.small(4);
        price = price * (6 + dice.roll(4)) / 10;
    }
    Offer {
        vendor: format!("vendor-{vendor}"),
        item: format!("item-{item}"),
        title: String::new(),
        pack,
        least: 1 + if dice.one_in(5) { dice.small(4) } else { 0 },
        stock: Some(2 + dice.small(9)),
        breaks,
        seen: None,
        grams: dice.one_in(2).then(|| 1 + dice.small(20)),
    }
}

fn request(dice: &mut Dice) -> Request {
    let vendors: Vec<Vendor> = (0..2 + dice.roll(2))
        .map(|v| vendor(dice, v as usize))
        .collect();
    let items = 1 + dice.roll(3) as usize;
    let mut offers = Vec::new();
    for item in 0..items {
        for vendor in 0..vendors.len() {
            if !dice.one_in(4) {
                offers.push(offer(dice, vendor, item));
            }
        }
    }
    let needs = (0..items)
        .map(|item| Need {
            item: format!("item-{item}"),
            quantity: 1 + dice.small(6),
        })
        .collect();
    Request {
        currency: Currency::EUR,
        rates: BTreeMap::new(),
        vendors,
        offers,
        needs,
    }
}

fn half_up(value: Decimal) -> Decimal {
    (value + Decimal::new(5, 1)).floor()
}

/// Price of a line in cents, or `None` if the offer does not sell that many.
fn line(offer: &Offer, quantity: u32) -> Option<Decimal> {
    let sold = quantity.is_multiple_of(offer.pack)
        && quantity >= offer.least
        && quantity <= offer.stock.unwrap();
    let level = offer.breaks.iter().rfind(|b| b.from <= quantity)?;
    sold.then(|| half_up(level.each * Decimal::from(100 * quantity)))
}

/// What is in a parcel, in cents and grams.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Basket {
    units: Vec<u32>,
    goods: Decimal,
    grams: u32,
    /// Tax of the lines, each rounded by itself.
    line_tax: Decimal,
}

fn rounded(vendor: &Vendor, value: Decimal) -> Decimal {
    match vendor.rounding {
        TaxRounding::Invoice | TaxRounding::Line => half_up(value),
        TaxRounding::InvoiceDown | TaxRounding::LineDown => value.floor(),
    }
}

/// Landed cost and hassle of a basket at a vendor, in cents.
fn parcel(vendor: &Vendor, basket: &Basket) -> Option<Decimal> {
    let cents = |money: Money| money.amount * Decimal::from(100);
    let goods = basket.goods;
    let from = |limit: Option<Money>| limit.is_none_or(|limit| goods >= cents(limit));
    let mut steps = vendor.shipping.iter();
    let step = steps.rfind(|s| cents(s.from) <= goods)?;
    let weight = vendor.by_weight.iter().rfind(|s| s.from <= basket.grams);
    let mut postage = cents(step.fee) + weight.map_or(Decimal::ZERO, |step| cents(step.fee));
    if vendor.free_from.is_some_and(|limit| goods >= cents(limit)) {
        postage = Decimal::ZERO;
    }
    let base = goods + postage;
    let due = from(vendor.duty_from) && !vendor.duty.is_zero();
    let duty = if due {
        half_up(base * vendor.duty)
    } else {
        Decimal::ZERO
    };
    let taxed = !vendor.vat_included && from(vendor.vat_from) && !vendor.vat.is_zero();
    let vat = match vendor.rounding {
        _ if !taxed => Decimal::ZERO,
        TaxRounding::Line | TaxRounding::LineDown => {
            basket.line_tax + rounded(vendor, postage * vendor.vat)
        }
        _ => rounded(vendor, (base + duty) * vendor.vat),
    };
    let clearance = if due || taxed {
        cents(vendor.clearance)
    } else {
        Decimal::ZERO
    };
    Some(base + duty + vat + clearance + cents(vendor.hassle))
}

/// Every order at one vendor: units of each item, capped at the need, to the least cost.
fn orders(request: &Request, vendor: &Vendor, needs: &[u32]) -> BTreeMap<Vec<u32>, Decimal> {
    let mut baskets = vec![Basket {
        units: vec![0; needs.len()],
        goods: Decimal::ZERO,
        grams: 0,
        line_tax: Decimal::ZERO,
    }];
    for offer in request.offers.iter().filter(|o| o.vendor == vendor.id) {
        let item = request
            .needs
            .iter()
            .position(|n| n.item == offer.item)
            .unwrap();
        let mut next = baskets.clone();
        for quantity in 1..=offer.stock.unwrap() {
            let Some(total) = line(offer, quantity) else {
                continue;
            };
            for basket in &baskets {
                let mut more = basket.clone();
                more.units[item] = (more.units[item] + quantity).min(needs[item]);
                more.goods += total;
                more.grams += quantity * offer.grams.unwrap_or(0);
                more.line_tax += rounded(vendor, total * vendor.vat);
                next.push(more);
            }
        }
        next.sort();
        next.dedup();
        baskets = next;
    }
    let mut best = BTreeMap::from([(vec![0; needs.len()], Decimal::ZERO)]);
    for basket in baskets {
        if basket.goods.is_zero() {
            continue;
        }
        if let Some(cost) = parcel(vendor, &basket) {
            let entry = best.entry(basket.units).or_insert(cost);
            *entry = cost.min(*entry);
        }
    }
    best
}

fn cheapest_by_listing(request: &Request, needs: &[u32]) -> Option<Decimal> {
    let mut all = BTreeMap::from([(vec![0; needs.len()], Decimal::ZERO)]);
    for vendor in &request.vendors {
        let orders = orders(request, vendor, needs);
        let mut next: BTreeMap<Vec<u32>, Decimal> = BTreeMap::new();
        for (got, cost) in &all {
            for (more, price) in &orders {
                let units: Vec<u32> = (0..needs.len())
                    .map(|i| (got[i] + more[i]).min(needs[i]))
                    .collect();
                let sum = *cost + *price;
                let entry = next.entry(units).or_insert(sum);
                *entry = sum.min(*entry);
            }
        }
        all = next;
    }
    all.get(needs).copied()
}

/// The needs, lowered to what is sold at all.
fn wanted(request: &Request) -> Vec<u32> {
    let sold = |item: &str| -> u32 {
        let offers = request.offers.iter().filter(|o| o.item == item);
        let most = |o: &Offer| {
            (1..=o.stock.unwrap())
                .filter(|&q| line(o, q).is_some())
                .max()
        };
        offers.filter_map(most).sum()
    };
    request
        .needs
        .iter()
        .map(|n| n.quantity.min(sold(&n.item)))
        .collect()
}

fn check_sums(request: &Request, seed: u64) -> Option<Decimal> {
    let needs = wanted(request);
    let parcels = match cheapest(request, &Settings::default()) {
        Ok(parcels) => parcels,
        Err(purchasing::Error::Impossible) => return None,
        Err(error) => panic!("case {seed}: {error}"),
    };
    assert!(parcels.proven, "case {seed}");
    let mut got = vec![0; needs.len()];
    let mut landed = Decimal::ZERO;
    for parcel in &parcels.parcels {
        let goods: Decimal = parcel.lines.iter().map(|l| l.total.amount).sum();
        assert_eq!(goods, parcel.goods.amount, "case {seed}");
        let sum = goods
            + parcel.postage.amount
            + parcel.duty.amount
            + parcel.vat.amount
            + parcel.clearance.amount;
        assert_eq!(sum, parcel.landed.amount, "case {seed}");
        landed += sum;
        for line in &parcel.lines {
            let item = request
                .needs
                .iter()
                .position(|n| n.item == line.item)
                .unwrap();
            got[item] += line.quantity;
        }
    }
    assert_eq!(landed, parcels.landed.amount, "case {seed}");
    assert!(
        got.iter().zip(&needs).all(|(got, need)| got >= need),
        "case {seed}"
    );
    let missing: u32 = parcels.unmet.iter().map(|u| u.missing).sum();
    let short: u32 = request
        .needs
        .iter()
        .zip(&needs)
        .map(|(n, w)| n.quantity - w)
        .sum();
    assert_eq!(missing, short, "case {seed}");
    Some((parcels.landed.amount + parcels.hassle.amount) * Decimal::from(100))
}

#[test]
fn equals_listing_all_quantities() {
    for seed in 0..400 {
        let request = request(&mut Dice(seed * 7919 + 1));
        let found = check_sums(&request, seed);
        let listed = cheapest_by_listing(&request, &wanted(&request));
        assert_eq!(found, listed, "case {seed}: {request:#?}");
    }
}

#[test]
fn equals_listing_with_all_conditions() {
    for seed in 0..400 {
        let dice = &mut Dice(seed * 104_729 + 5);
        let mut request = request(dice);
        for vendor in &mut request.vendors {
            conditions(dice, vendor);
        }
        let found = check_sums(&request, seed);
        let listed = cheapest_by_listing(&request, &wanted(&request));
        assert_eq!(found, listed, "case {seed}: {request:#?}");
    }
}

/// The same parcels whichever order vendors, offers and needs come in.
#[test]
fn the_order_of_the_offers_does_not_matter() {
    for seed in 0..60 {
        let dice = &mut Dice(seed * 31 + 7);
        let mut request = request(dice);
        for vendor in &mut request.vendors {
            conditions(dice, vendor);
            // equal prices at equal vendors leave the choice to the ties
            vendor.hassle = cents(0);
        }
        let twins: Vec<Offer> = request.offers.clone();
        for (n, mut twin) in twins.into_iter().enumerate() {
            twin.vendor = request.vendors[n % request.vendors.len()].id.clone();
            let known = |one: &Offer| one.vendor == twin.vendor && one.item == twin.item;
            if !request.offers.iter().any(known) {
                request.offers.push(twin);
            }
        }
        let first = cheapest(&request, &Settings::default());
        for _ in 0..4 {
            shuffle(dice, &mut request.vendors);
            shuffle(dice, &mut request.offers);
            shuffle(dice, &mut request.needs);
            let again = cheapest(&request, &Settings::default());
            assert_eq!(first.as_ref().ok(), again.as_ref().ok(), "case {seed}");
        }
    }
}

fn shuffle<T>(dice: &mut Dice, list: &mut [T]) {
    for end in (1..list.len()).rev() {
        let other = dice.roll(end as u64 + 1) as usize;
        list.swap(end, other);
    }
}

/// One more vendor never makes it dearer, and a larger need never cheaper.
#[test]
fn relations_that_need_no_oracle() {
    for seed in 1000..1100 {
        let dice = &mut Dice(seed);
        let mut request = request(dice);
        for offer in &mut request.offers {
            offer.stock = Some(200);
        }
        for vendor in &mut request.vendors {
            vendor.shipping[0].from = cents(0);
        }
        request
            .needs
            .retain(|n| request.offers.iter().any(|o| o.item == n.item));
        let all = cost_of(&request, seed);
        let mut larger = request.clone();
        for need in &mut larger.needs {
            need.quantity += 3;
        }
        assert!(cost_of(&larger, seed) >= all, "case {seed}");
        let last = request.vendors.pop().unwrap();
        request.offers.retain(|o| o.vendor != last.id);
        request
            .needs
            .retain(|n| request.offers.iter().any(|o| o.item == n.item));
        if request.needs.len() == larger.needs.len() {
            assert!(cost_of(&request, seed) >= all, "case {seed}");
        }
    }
}

fn cost_of(request: &Request, seed: u64) -> Decimal {
    let parcels =
        cheapest(request, &Settings::default()).unwrap_or_else(|e| panic!("case {seed}: {e}"));
    parcels.landed.amount + parcels.hassle.amount
}
