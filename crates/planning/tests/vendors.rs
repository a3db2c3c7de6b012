//! The workshop's vendors as a plan reckons with them.

use std::collections::BTreeMap;

use planning::{Error, vendors_and_offers};
use purchasing::{Request, parse_vendors};
use units::{Currency, Decimal};

const TEXT: &str = r#"
[[vendor]]
id = "northgate"
currency = "EUR"
days = 4
hassle = "3 EUR"
shipping = [{ from = "0", fee = "6.50" }, { from = "60", fee = "0" }]

[[vendor]]
id = "farside"
currency = "GBP"
days = 9
shipping = [{ from = "0", fee = "5" }]
duty = "0.1"
vat = "0.2"
vat_included = false

[[offer]]
vendor = "northgate"
item = "4164"
least = 5
stock = 40
breaks = [{ from = 1, each = "0.48" }, { from = 3, each = "0.45" }, { from = 10, each = "0.3975" }]

[[offer]]
vendor = "farside"
item = "4164"
pack = 4
breaks = [{ from = 4, each = "1" }]
"#;

fn request() -> Request {
    let (vendors, offers) = parse_vendors(TEXT, "vendors.toml").unwrap();
    Request {
        currency: Currency::EUR,
        rates: BTreeMap::from([(Currency::from_code("GBP").unwrap(), Decimal::new(125, 2))]),
        vendors,
        offers,
        needs: Vec::new(),
    }
}

#[test]
fn amounts_are_in_coins_with_all_that_comes_on_top() {
    let (vendors, offers) = vendors_and_offers(&request()).unwrap();
    assert_eq!(
        (
            vendors[0].hassle,
            vendors[0].postage(5999),
            vendors[0].postage(6000)
        ),
        (300, Some(650), Some(0))
    );
    // 5 GBP at 1.25, duty 10 %, tax 20 %
    assert_eq!(vendors[1].postage(0), Some(825));
    assert_eq!(offers[1].total(4), Some(660));
    assert_eq!(offers[1].total(3), None);
    // at least five, which cost 0.45 each; ten at 0.3975 are 3.975, rounded half a cent up
    assert_eq!(
        [4, 5, 10, 41].map(|n| offers[0].total(n)),
        [None, Some(225), Some(398), None]
    );
}

#[test]
fn a_currency_without_a_rate_is_told() {
    let mut request = request();
    request.rates.clear();
    let error = vendors_and_offers(&request).unwrap_err();
    assert!(matches!(error, Error::Input(_)));
    assert_eq!(
        error.to_string(),
        "expected amounts of vendor `farside` in `EUR`, found `GBP`; give a rate for `GBP`"
    );
}
