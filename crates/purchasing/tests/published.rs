//! Published purchasing problems, put as parcels.

use std::collections::BTreeMap;

use purchasing::{Break, Need, Offer, Parcels, Request, Settings, Step, Vendor, cheapest};
use units::{Currency, Decimal, Money};

fn vendor(id: &str, fee: i64) -> Vendor {
    Vendor {
        id: id.to_string(),
        title: id.to_string(),
        currency: Currency::EUR,
        days: 3,
        hassle: Money::zero(Currency::EUR),
        shipping: vec![Step {
            from: Money::zero(Currency::EUR),
            fee: Money::from_minor(fee, Currency::EUR),
        }],
        ..Vendor::plain(id, Currency::EUR)
    }
}

fn offer(vendor: &str, item: &str, breaks: &[(u32, &str)]) -> Offer {
    Offer {
        vendor: vendor.to_string(),
        item: item.to_string(),
        title: item.to_string(),
        pack: 1,
        least: 1,
        stock: None,
        breaks: breaks
            .iter()
            .map(|&(from, each)| Break {
                from,
                each: each.parse().unwrap(),
            })
            .collect(),
        seen: None,
        grams: None,
    }
}

fn solve(vendors: Vec<Vendor>, offers: Vec<Offer>, needs: Vec<(String, u32)>) -> Parcels {
    let request = Request {
        currency: Currency::EUR,
        rates: BTreeMap::new(),
        vendors,
        offers,
        needs: needs
            .into_iter()
            .map(|(item, quantity)| Need { item, quantity })
            .collect(),
    };
    let parcels = cheapest(&request, &Settings::default()).unwrap();
    assert!(parcels.proven);
    assert_eq!(
        parcels.bound,
        parcels.landed.checked_add(parcels.hassle).unwrap()
    );
    parcels
}

/// Yearly cost when `quantity` is ordered each time: orders, goods and a holding share of half an order.
fn yearly(parcels: &Parcels, demand: u32, holding: &str) -> Decimal {
    let parcel = &parcels.parcels[0];
    let line = &parcel.lines[0];
    let orders = Decimal::from(demand) / Decimal::from(line.quantity);
    let holding: Decimal = holding.parse().unwrap();
    let stock = Decimal::from(line.quantity) / Decimal::from(2) * holding * line.each;
    (parcel.landed.amount * orders + stock).round_dp(2)
}

fn discount_case(
    demand: u32,
    order: i64,
    holding: &str,
    breaks: &[(u32, &str)],
    costs: &[(u32, &str)],
) {
    for &(quantity, cost) in costs {
        let parcels = solve(
            vec![vendor("maker", order)],
            vec![offer("maker", "unit", breaks)],
            vec![("unit".to_string(), quantity)],
        );
        assert_eq!(parcels.parcels[0].lines[0].quantity, quantity);
        let expected: Decimal = cost.parse().unwrap();
        assert_eq!(yearly(&parcels, demand, holding), expected, "{quantity}");
    }
}

/// Case A of `data/discount_schedules.csv`: published yearly costs of an all-units discount.
#[test]
fn all_units_discount_a() {
    let breaks = [
        (1, "53"),
        (50, "51.50"),
        (100, "49.50"),
        (200, "48"),
        (500, "47"),
    ];
    let costs = [
        (79, "42417.87"),
        (100, "40822.50"),
        (200, "40080.00"),
        (500, "41221.00"),
    ];
    discount_case(800, 6000, "0.30", &breaks, &costs);
}

/// Case B of `data/discount_schedules.csv`: a textbook's discount, prices from memory, costs computed.
#[test]
fn all_units_discount_b() {
    let breaks = [(1, "5.00"), (1000, "4.80"), (2000, "4.75")];
    let costs = [(700, "25700.00"), (1000, "24725.00"), (2000, "24822.50")];
    discount_case(5000, 4900, "0.20", &breaks, &costs);
}

/// With all-units discounts the cheapest way to get 49 is to take 50 where the next break is near: 49 at 53 is 2597,
/// 50 at 51.50 is 2575.
#[test]
fn more_than_needed_where_it_is_cheaper() {
    let breaks = [(1, "53"), (50, "51.50"), (100, "49.50")];
    let get = |need| {
        let needs = vec![("unit".to_string(), need)];
        let parcels = solve(
            vec![vendor("maker", 0)],
            vec![offer("maker", "unit", &breaks)],
            needs,
        );
        (
            parcels.parcels[0].lines[0].quantity,
            parcels.landed.amount_text(),
        )
    };
    assert_eq!(get(49), (50, "2575.00".to_string()));
    assert_eq!(get(48), (48, "2544.00".to_string()));
    assert_eq!(get(97), (100, "4950.00".to_string()));
}

fn five_suppliers(charge: i64) -> Parcels {
    let mut offers = Vec::new();
    let mut needs = Vec::new();
    for line in include_str!("data/five_suppliers.csv")
        .lines()
        .skip(1)
        .take(10)
    {
        let fields: Vec<&str> = line.split(',').collect();
        for (index, cost) in fields[1..].iter().enumerate() {
            offers.push(offer(&format!("s{}", index + 1), fields[0], &[(1, cost)]));
        }
        needs.push((fields[0].to_string(), 1));
    }
    let vendors = (1..=5)
        .map(|s| vendor(&format!("s{s}"), charge * 100))
        .collect();
    solve(vendors, offers, needs)
}

/// Problem 34 of CSPLib without its capacities; expected values by listing all 31 sets of suppliers.
#[test]
fn five_suppliers_by_charge() {
    let check = |charge, cost: i64, used: &str| {
        let parcels = five_suppliers(charge);
        assert_eq!(
            parcels.landed,
            Money::from_minor(cost * 100, Currency::EUR),
            "{charge}"
        );
        let vendors: Vec<&str> = parcels.parcels.iter().map(|p| p.vendor.as_str()).collect();
        assert_eq!(vendors.join(" "), used, "{charge}");
    };
    check(10, 268, "s1 s2 s5");
    check(30, 328, "s1 s2 s5");
    check(60, 390, "s1 s5");
    check(100, 463, "s1");
    check(200, 563, "s1");
    assert_eq!(
        five_suppliers(0).landed,
        Money::from_minor(22900, Currency::EUR)
    );
}

/// Fifty items at sixteen suppliers, each used supplier at 7500.
#[test]
fn fifty_items_at_sixteen_suppliers() {
    let rows = include_str!("data/cap71.dat")
        .lines()
        .filter_map(|line| line.strip_prefix('['));
    let mut offers = Vec::new();
    let mut needs = Vec::new();
    for (index, row) in rows.enumerate() {
        let item = format!("item{index}");
        for (supplier, cost) in row.trim_end_matches(']').split(',').enumerate() {
            offers.push(offer(
                &format!("w{}", supplier + 1),
                &item,
                &[(1, cost.trim())],
            ));
        }
        needs.push((item, 1));
    }
    assert_eq!((offers.len(), needs.len()), (800, 50));
    let vendors = (1..=16)
        .map(|s| vendor(&format!("w{s}"), 750_000))
        .collect();
    let parcels = solve(vendors, offers, needs);
    assert_eq!(parcels.landed.to_string(), "940097.00 EUR");
    assert_eq!(parcels.parcels.len(), 11);
}
