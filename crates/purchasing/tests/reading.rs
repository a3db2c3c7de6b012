//! Vendors and offers as TOML: read, refused with all problems, written back.

use proptest::prelude::*;
use purchasing::{Break, Offer, offer_to_toml, parse_vendors, vendor_to_toml};
use units::{Currency, Decimal};

const GOOD: &str = r#"
[[vendor]]
id = "northgate"
currency = "EUR"
days = 4
hassle = "3 EUR"
shipping = [ { from = "0", fee = "6.50" }, { from = "60", fee = "0" } ]
duty = 0.0
vat = 0.21
vat_included = true

[[offer]]
vendor = "northgate"
item = "74hct245-so20"
pack = 1
least = 1
stock = 400
seen = 2026-11-02
breaks = [ { from = 1, each = "0.48" }, { from = 10, each = "0.39" }, { from = 100, each = "0.27" } ]

[[offer]]
vendor = "kettle"
item = "4164-150ns"
each = "1,15"
"#;

#[test]
fn reads_vendors_and_offers() {
    let (vendors, offers) = parse_vendors(GOOD, "vendors.toml").unwrap();
    assert_eq!(vendors.len(), 1);
    let vendor = &vendors[0];
    assert_eq!(vendor.title, "northgate");
    assert_eq!(vendor.hassle.to_string(), "3.00 EUR");
    assert_eq!(vendor.shipping[1].from.to_string(), "60.00 EUR");
    assert_eq!(vendor.vat, Decimal::new(21, 2));
    assert_eq!(offers.len(), 2);
    assert_eq!(offers[0].breaks[2].each, Decimal::new(27, 2));
    assert_eq!(offers[0].seen.as_deref(), Some("2026-11-02"));
    assert_eq!(
        (offers[1].stock, offers[1].breaks[0].each),
        (None, Decimal::new(115, 2))
    );
}

fn check(text: &str, expected: &[&str]) {
    let problems = parse_vendors(text, "v.toml").unwrap_err();
    let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_eq!(told, expected);
}

#[test]
fn tells_all_problems_at_once() {
    check(
        "[[vendor]]\nid = \"a\"\ncurrency = \"euro\"\ndays = -1\nshiping = []\nvat = 21\n[[offer]]\nvendor = \"a\"\nitem = \"x\"\n",
        &[
            "v.toml:3:12: expected a currency code such as `\"EUR\"`, found `\"euro\"`",
            "v.toml:4:8: expected a whole number from 0 to 1000000, found `-1`",
            "v.toml:5:1: expected one of the keys `id`, `title`, `currency`, `country`, `days`, `hassle`, `shipping`, \
             `by_weight`, `free_from`, `duty`, `duty_from`, `vat`, `vat_included`, `vat_from`, `vat_rounding`, `clearance`, \
             found `shiping`; hint: did you mean `shipping`",
            "v.toml:6:7: expected a share from 0 to 1 with at most 4 decimals, found `21`; hint: 21 % is written 0.21",
            "v.toml:7:1: expected a price in `breaks`, found `[[offer]]`; hint: add `breaks = [{ from = 1, each = \"0.48\" }]`",
        ],
    );
}

#[test]
fn conditions_of_a_vendor() {
    let text = "[[vendor]]\nid = 'a'\ncurrency = 'GBP'\ncountry = 'gb'\ndays = 9\nduty = 0.02\nduty_from = '135'\nvat = 0.2\nvat_included = false\n\
                vat_from = '5.00'\nvat_rounding = 'line down'\nclearance = '6.00'\nfree_from = '80'\n\
                by_weight = [{ from = 0, fee = '3.10' }, { from = 250, fee = '4.60' }]\n[[offer]]\nvendor = 'a'\nitem = 'x'\neach = '1.20'\ngrams = 40";
    let (vendors, offers) = parse_vendors(text, "v.toml").unwrap();
    let written = format!(
        "{}{}",
        vendor_to_toml(&vendors[0]),
        offer_to_toml(&offers[0])
    );
    assert_eq!(
        parse_vendors(&written, "v.toml").unwrap(),
        (vendors, offers),
        "{written}"
    );
    check(
        "[[vendor]]\nid = 'a'\ncurrency = 'GBP'\ndays = 9\ncountry = 'UKX'\nvat_rounding = 'up'\nby_weight = [{ from = 3, fee = '1' }]\n\
         [[offer]]\nvendor = 'a'\nitem = 'x'\neach = '0'\n[[offer]]\nvendor = 'a'\nitem = 'y'\neach = '-1.20'",
        &[
            "v.toml:5:11: expected a country of two letters such as `\"DE\"`, found `'UKX'`",
            "v.toml:6:16: expected `\"invoice\"`, `\"invoice down\"`, `\"line\"` or `\"line down\"`, found `'up'`",
            "v.toml:7:14: expected weight steps in grams, the first from 0, with rising `from`, found `{ from = 3, fee = '1' }`",
            "v.toml:11:8: expected a price above 0 such as `\"0.48\"`, found `'0'`",
            "v.toml:15:8: expected a price above 0 such as `\"0.48\"`, found `'-1.20'`",
        ],
    );
}

#[test]
fn tells_doubled_and_falling_entries() {
    check(
        "[[vendor]]\nid = \"a\"\ncurrency = \"EUR\"\ndays = 1\n[[vendor]]\nid = \"a\"\ncurrency = \"EUR\"\ndays = 1\n\
         hassle = \"1,234.00\"\n",
        &[
            "v.toml:6:6: expected a vendor id of its own, found `\"a\"`; hint: `a` is there twice; rename one",
            "v.toml:9:10: expected an amount such as `\"6.50\"` or `\"6.50 EUR\"`, found `\"1,234.00\"`; hint: write digits \
             with one decimal mark, comma or dot, and no thousands separators",
        ],
    );
    check(
        "[[offer]]\nvendor = \"a\"\nitem = \"x\"\nbreaks = [{ from = 5, each = \"1\" }, { from = 5, each = \"2\" }]\n",
        &["v.toml:4:37: expected breaks with rising `from`, found `{ from = 5, each = \"2\" }`"],
    );
}

#[test]
fn bad_files_are_refused_in_words() {
    assert_eq!(parse_vendors("", "v.toml").unwrap(), (vec![], vec![]));
    for text in [
        "[[vendor]\nid = ",
        "\u{0}\u{1}garbage",
        "vendor = 3",
        "[[offer]]\nvendor = \"a",
        "[vendor]\nid=\"a\"",
    ] {
        let problems = parse_vendors(text, "v.toml").unwrap_err();
        assert!(!problems.is_empty(), "{text}");
    }
    let noise = "x".repeat(10_000_000);
    let problems = parse_vendors(&noise, "v.toml").unwrap_err();
    assert_eq!(
        problems[0].to_string(),
        "v.toml:1:1: expected a file of at most 4 MB, found 10000000 bytes"
    );
}

fn offers() -> impl Strategy<Value = Offer> {
    let levels = prop::collection::btree_map(1u32..1000, 0i64..1_000_000, 1..5);
    (
        any::<String>(),
        "[a-z0-9-]{1,12}",
        levels,
        1u32..100,
        prop::option::of(0u32..1000),
    )
        .prop_map(|(title, item, levels, pack, stock)| Offer {
            vendor: "farside".to_string(),
            title: if title.trim().is_empty() {
                item.clone()
            } else {
                title.trim().to_string()
            },
            item,
            pack,
            least: pack,
            stock,
            breaks: levels
                .into_iter()
                .map(|(from, each)| Break {
                    from,
                    each: Decimal::new(each, 3),
                })
                .collect(),
            seen: Some("2026-11-02".to_string()),
            grams: Some(3),
        })
}

proptest! {
    #[test]
    fn written_offers_are_read_back_equal(offer in offers()) {
        let (_, read) = parse_vendors(&offer_to_toml(&offer), "v.toml").unwrap();
        prop_assert_eq!(read, vec![offer]);
    }

    #[test]
    fn any_text_is_read_without_panic(text in ".*") {
        let _ = parse_vendors(&text, "v.toml");
    }

    #[test]
    fn cut_files_are_read_without_panic(end in 0..GOOD.len(), junk in ".{0,8}") {
        let _ = parse_vendors(&format!("{}{junk}", &GOOD[..end]), "v.toml");
    }
}

#[test]
fn written_vendors_are_read_back_equal() {
    let (vendors, _) = parse_vendors(GOOD, "v.toml").unwrap();
    let (again, _) = parse_vendors(&vendor_to_toml(&vendors[0]), "v.toml").unwrap();
    assert_eq!(again, vendors);
    assert_eq!(vendors[0].currency, Currency::EUR);
}
