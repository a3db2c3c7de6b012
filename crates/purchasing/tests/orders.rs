//! Orders in full, as they are shown: thresholds, packs, currencies, what is missing.

use std::collections::BTreeMap;

use purchasing::{Error, Need, Request, Settings, cheapest, parse_vendors};
use units::{Currency, Decimal};

const VENDORS: &str = r#"
[[vendor]]
id = "northgate"
currency = "EUR"
days = 4
hassle = "3 EUR"
shipping = [{ from = "0", fee = "6.50" }, { from = "20", fee = "0" }]

[[vendor]]
id = "lowtide"
currency = "EUR"
days = 9
shipping = [{ from = "0", fee = "2.20" }]
duty = "0.037"
vat = "0.21"
vat_included = false

[[offer]]
vendor = "northgate"
item = "4164"
breaks = [{ from = 1, each = "1.90" }, { from = 10, each = "1.75" }]

[[offer]]
vendor = "northgate"
item = "capacitor"
pack = 10
breaks = [{ from = 10, each = "0.0275" }]

[[offer]]
vendor = "lowtide"
item = "4164"
stock = 4
breaks = [{ from = 1, each = "1.10" }]
"#;

fn request(needs: &[(&str, u32)]) -> Request {
    let (vendors, offers) = parse_vendors(VENDORS, "vendors.toml").unwrap();
    Request {
        currency: Currency::EUR,
        rates: BTreeMap::new(),
        vendors,
        offers,
        needs: needs
            .iter()
            .map(|&(item, quantity)| Need {
                item: item.to_string(),
                quantity,
            })
            .collect(),
    }
}

/// Each parcel on a line, then the total and what is missing.
fn show(request: &Request) -> String {
    let parcels = cheapest(request, &Settings::default()).unwrap();
    assert!(parcels.proven);
    let mut lines = Vec::new();
    for p in &parcels.parcels {
        let goods: Vec<String> = p
            .lines
            .iter()
            .map(|l| format!("{} {} at {}", l.quantity, l.item, l.each))
            .collect();
        let sums = [p.goods, p.postage, p.duty, p.vat, p.landed].map(|m| m.amount_text());
        lines.push(format!(
            "{}: {}; {}",
            p.vendor,
            goods.join(", "),
            sums.join(" ")
        ));
    }
    lines.push(format!("{} + {}", parcels.landed, parcels.hassle));
    lines.extend(
        parcels
            .unmet
            .iter()
            .map(|u| format!("{} {}: {}", u.missing, u.item, u.why)),
    );
    lines.join("\n")
}

fn check(needs: &[(&str, u32)], expected: &str) {
    assert_eq!(show(&request(needs)), expected);
}

/// Worked by hand: 2.20 and 2.20 postage, duty 0.1628, tax 21 % of 4.56 is 0.9576.
#[test]
fn duty_and_tax_are_rounded_line_by_line() {
    check(
        &[("4164", 2)],
        "lowtide: 2 4164 at 1.1; 2.20 2.20 0.16 0.96 5.52\n5.52 EUR + 0.00 EUR",
    );
}

/// Eleven at 1.75 are 19.25 and 6.50 postage; twelve are 21.00 and free.
#[test]
fn one_more_for_free_postage() {
    check(
        &[("4164", 11)],
        "northgate: 12 4164 at 1.75; 21.00 0.00 0.00 0.00 21.00\n21.00 EUR + 3.00 EUR",
    );
}

#[test]
fn packs_and_fractions_of_a_cent() {
    check(
        &[("capacitor", 25)],
        "northgate: 30 capacitor at 0.0275; 0.83 6.50 0.00 0.00 7.33\n7.33 EUR + 3.00 EUR",
    );
}

#[test]
fn what_nobody_sells_is_told_and_the_rest_planned() {
    check(
        &[("4164", 1), ("z80a", 2)],
        "lowtide: 1 4164 at 1.1; 1.10 2.20 0.12 0.72 4.14\n4.14 EUR + 0.00 EUR\n2 z80a: no vendor sells it",
    );
    let mut scarce = request(&[("4164", 6)]);
    scarce.offers.retain(|o| o.vendor == "lowtide");
    let shown = show(&scarce);
    assert!(
        shown.ends_with("2 4164: only 4 of 6 are in stock"),
        "{shown}"
    );
}

#[test]
fn nothing_needed_is_nothing_ordered() {
    check(&[], "0.00 EUR + 0.00 EUR");
}

#[test]
fn other_currencies_need_a_rate() {
    let mut abroad = request(&[("4164", 2)]);
    abroad.vendors[1].currency = Currency::from_code("GBP").unwrap();
    let error = cheapest(&abroad, &Settings::default()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "expected prices of vendor `lowtide` in `EUR`, found `GBP`; give a rate for `GBP`"
    );
    abroad
        .rates
        .insert(abroad.vendors[1].currency, Decimal::new(12, 1));
    let shown = show(&abroad);
    assert!(
        shown.starts_with("lowtide: 2 4164 at 1.32; 2.64 2.20"),
        "{shown}"
    );
}

#[test]
fn senseless_input_is_refused() {
    let check = |change: fn(&mut Request), message: &str| {
        let mut request = request(&[("4164", 2)]);
        change(&mut request);
        let error = cheapest(&request, &Settings::default()).unwrap_err();
        assert!(matches!(error, Error::Input(_)), "{error}");
        assert_eq!(error.to_string(), message);
    };
    check(
        |r| r.offers[0].pack = 0,
        "offer of `4164` at `northgate`: expected a pack of 1 or more",
    );
    check(
        |r| r.offers[0].breaks.clear(),
        "offer of `4164` at `northgate`: expected price breaks with rising `from`, at least one",
    );
    check(
        |r| r.offers[0].vendor = "nobody".to_string(),
        "offer of `4164`: expected a known vendor, found `nobody`; add it",
    );
    check(
        |r| r.needs[0].quantity = 2_000_000,
        "expected at most 100000 of `4164`, found 2000000",
    );
}

/// A pile's worth: forty lines at five vendors with breaks, packs and thresholds, proven within a second or two.
#[test]
fn a_large_order_is_proven() {
    let mut text = String::new();
    for v in 0..5u32 {
        let free = 40 + 15 * v;
        text += &format!(
            "[[vendor]]\nid = 'v{v}'\ncurrency = 'EUR'\ndays = 3\nhassle = '3 EUR'\nshipping = [{{ from = '0', fee = '{}.50' \
             }}, {{ from = '{free}', fee = '0' }}]\n",
            4 + v
        );
    }
    let mut needs = Vec::new();
    for item in 0..40u32 {
        for v in 0..5u32 {
            if (item * 7 + v * 3) % 4 == 0 {
                continue;
            }
            let price = 20 + (item * 53 + v * 31 + item * v * 17) % 300;
            let each = |share: u32| Decimal::new(i64::from(price * share / 100), 2);
            text += &format!(
                "[[offer]]\nvendor = 'v{v}'\nitem = 'i{item}'\nbreaks = [{{ from = 1, each = '{}' }}, {{ from = 10, each = \
                 '{}' }}, {{ from = 25, each = '{}' }}]\n",
                each(100),
                each(82),
                each(70)
            );
        }
        needs.push(Need {
            item: format!("i{item}"),
            quantity: 1 + item * 5 % 23,
        });
    }
    let (vendors, offers) = parse_vendors(&text, "large.toml").unwrap();
    let request = Request {
        currency: Currency::EUR,
        rates: BTreeMap::new(),
        vendors,
        offers,
        needs,
    };
    let parcels = cheapest(&request, &Settings::default()).unwrap();
    assert!(parcels.proven && parcels.unmet.is_empty());
}
