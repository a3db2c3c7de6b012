//! Small random requests against listing every quantity of every offer.

use std::collections::BTreeMap;

use purchasing::{Break, Need, Offer, Request, Settings, Step, Vendor, cheapest};
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

/// Landed cost and hassle of goods at a vendor, in cents.
fn parcel(vendor: &Vendor, goods: Decimal) -> Option<Decimal> {
    let hundred = Decimal::from(100);
    let step = vendor
        .shipping
        .iter()
        .rfind(|s| s.from.amount * hundred <= goods)?;
    let base = goods + step.fee.amount * hundred;
    let duty = half_up(base * vendor.duty);
    let vat = if vendor.vat_included {
        Decimal::ZERO
    } else {
        half_up((base + duty) * vendor.vat)
    };
    Some(base + duty + vat + vendor.hassle.amount * hundred)
}

/// Every order at one vendor: units of each item, capped at the need, to the least cost.
fn orders(request: &Request, vendor: &Vendor, needs: &[u32]) -> BTreeMap<Vec<u32>, Decimal> {
    let mut goods: Vec<(Vec<u32>, Decimal)> = vec![(vec![0; needs.len()], Decimal::ZERO)];
    for offer in request.offers.iter().filter(|o| o.vendor == vendor.id) {
        let item = request
            .needs
            .iter()
            .position(|n| n.item == offer.item)
            .unwrap();
        let mut next = goods.clone();
        for quantity in 1..=offer.stock.unwrap() {
            let Some(total) = line(offer, quantity) else {
                continue;
            };
            for (units, sum) in &goods {
                let mut units = units.clone();
                units[item] = (units[item] + quantity).min(needs[item]);
                next.push((units, *sum + total));
            }
        }
        goods = next;
    }
    let mut best = BTreeMap::from([(vec![0; needs.len()], Decimal::ZERO)]);
    for (units, sum) in goods {
        if sum.is_zero() {
            continue;
        }
        if let Some(cost) = parcel(vendor, sum) {
            let entry = best.entry(units).or_insert(cost);
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
        let sum = goods + parcel.postage.amount + parcel.duty.amount + parcel.vat.amount;
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
