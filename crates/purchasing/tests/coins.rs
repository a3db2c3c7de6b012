//! Sums to the last coin: currencies of no and of three decimals, rates, tax by line and by invoice, limits of customs.

use std::collections::BTreeMap;

use purchasing::{Need, Parcels, Request, Settings, cheapest, parse_vendors};
use units::{Currency, Decimal};

fn order(currency: &str, rates: &[(&str, &str)], vendors: &str, needs: &[(&str, u32)]) -> Parcels {
    let code = |code: &str| Currency::from_code(code).unwrap();
    let rate = |rate: &str| Decimal::from_str_exact(rate).unwrap();
    let (vendors, offers) = parse_vendors(vendors, "vendors.toml").unwrap();
    let need = |&(item, quantity): &(&str, u32)| Need {
        item: item.to_string(),
        quantity,
    };
    let request = Request {
        currency: code(currency),
        rates: rates
            .iter()
            .map(|(of, is)| (code(of), rate(is)))
            .collect::<BTreeMap<_, _>>(),
        vendors,
        offers,
        needs: needs.iter().map(need).collect(),
    };
    let parcels = cheapest(&request, &Settings::default()).unwrap();
    assert!(parcels.proven && parcels.unmet.is_empty());
    for parcel in &parcels.parcels {
        let lines: i64 = parcel.lines.iter().map(|line| line.total.to_minor()).sum();
        assert_eq!(lines, parcel.goods.to_minor());
        let sums = [
            parcel.goods,
            parcel.postage,
            parcel.duty,
            parcel.vat,
            parcel.clearance,
        ];
        let printed: Decimal = sums
            .iter()
            .map(|sum| sum.amount_text().parse::<Decimal>().unwrap())
            .sum();
        assert_eq!(
            printed.to_string(),
            parcel.landed.amount_text(),
            "the printed figures add up"
        );
    }
    parcels
}

/// Goods, postage, duty, tax, clearance, landed.
fn show(parcels: &Parcels) -> String {
    let parcel = |parcel: &purchasing::Parcel| {
        let sums = [
            parcel.goods,
            parcel.postage,
            parcel.duty,
            parcel.vat,
            parcel.clearance,
            parcel.landed,
        ];
        sums.map(|sum| sum.amount_text()).join(" ")
    };
    parcels
        .parcels
        .iter()
        .map(parcel)
        .collect::<Vec<_>>()
        .join("; ")
}

/// Minor digits: JPY 0, EUR 2, BHD 3, as in ISO 4217 (data set `currency-codes`, PDDL 1.0).
#[test]
fn coins_of_each_currency() {
    let vendor = |currency: &str, fee: &str, each: &str| {
        format!(
            "[[vendor]]\nid = 'a'\ncurrency = '{currency}'\ndays = 1\nshipping = [{{ from = '0', fee = '{fee}' }}]\nvat = 0.1\n\
             vat_included = false\n[[offer]]\nvendor = 'a'\nitem = 'x'\neach = '{each}'"
        )
    };
    let needs: &[(&str, u32)] = &[("x", 3)];
    // 3 × 115 and 480 are 825, tax 82.5
    assert_eq!(
        show(&order("JPY", &[], &vendor("JPY", "480", "115"), needs)),
        "345 480 0 83 0 908"
    );
    // 3 × 1.2345 are 3.7035, which is 3.704; with 2.125 it is 5.829, tax 0.5829
    assert_eq!(
        show(&order("BHD", &[], &vendor("BHD", "2.125", "1.2345"), needs)),
        "3.704 2.125 0.000 0.583 0.000 6.412"
    );
    // 115 JPY at 0.0061 are 0.7015 each, three are 2.1045; 480 JPY are 2.928
    assert_eq!(
        show(&order(
            "EUR",
            &[("JPY", "0.0061")],
            &vendor("JPY", "480", "115"),
            needs
        )),
        "2.10 2.93 0.00 0.50 0.00 5.53"
    );
    // 0.48 EUR at 0.41 are 0.1968 BHD each
    assert_eq!(
        show(&order(
            "BHD",
            &[("EUR", "0.41")],
            &vendor("EUR", "1.00", "0.48"),
            needs
        )),
        "0.590 0.410 0.000 0.100 0.000 1.100"
    );
}

/// The total of an invoice may be rounded down to a whole penny; line by line the nearest penny is another sum
/// (gov.uk VATREC12010, VAT Notice 700 paragraph 17.5; the figures are made here).
#[test]
fn tax_by_line_and_by_invoice() {
    let vendor = |rounding: &str| {
        format!(
            "[[vendor]]\nid = 'a'\ncurrency = 'GBP'\ndays = 1\nvat = 0.2\nvat_included = false\nvat_rounding = '{rounding}'\n\
             [[offer]]\nvendor = 'a'\nitem = 'x'\neach = '0.13'\n[[offer]]\nvendor = 'a'\nitem = 'y'\neach = '0.18'\n\
             [[offer]]\nvendor = 'a'\nitem = 'z'\neach = '0.23'"
        )
    };
    let needs: &[(&str, u32)] = &[("x", 1), ("y", 1), ("z", 1)];
    let tax = |rounding: &str| {
        order("GBP", &[], &vendor(rounding), needs).parcels[0]
            .vat
            .amount_text()
    };
    // 20 % of 0.54 is 0.108; of 0.13, 0.18 and 0.23 it is 0.026, 0.036 and 0.046
    assert_eq!(tax("invoice"), "0.11");
    assert_eq!(tax("invoice down"), "0.10");
    assert_eq!(tax("line"), "0.12");
    assert_eq!(tax("line down"), "0.09");
}

/// A parcel just below the limit of duty is cheaper in two, and one parcel where the limit is not reached.
#[test]
fn limits_of_customs() {
    let vendors = "[[vendor]]\nid = 'a'\ncurrency = 'EUR'\ndays = 9\nduty = 0.1\nduty_from = '150'\nvat = 0.2\nvat_included = false\n\
        clearance = '6'\nvat_from = '22'\n[[vendor]]\nid = 'b'\ncurrency = 'EUR'\ndays = 9\nshipping = [{ from = '0', fee = '4' }]\n\
        [[offer]]\nvendor = 'a'\nitem = 'x'\neach = '80'\n[[offer]]\nvendor = 'a'\nitem = 'y'\neach = '80'\n\
        [[offer]]\nvendor = 'a'\nitem = 'z'\neach = '20'\n[[offer]]\nvendor = 'b'\nitem = 'y'\neach = '98'";
    // below the limit of tax nothing is due
    assert_eq!(
        show(&order("EUR", &[], vendors, &[("z", 1)])),
        "20.00 0.00 0.00 0.00 0.00 20.00"
    );
    // 80 + 16 tax + 6
    assert_eq!(
        show(&order("EUR", &[], vendors, &[("x", 1)])),
        "80.00 0.00 0.00 16.00 6.00 102.00"
    );
    // both from a: 160 + 16 + 35.20 + 6 = 217.20; y from b for 102
    assert_eq!(
        show(&order("EUR", &[], vendors, &[("x", 1), ("y", 1)])),
        "80.00 0.00 0.00 16.00 6.00 102.00; 98.00 4.00 0.00 0.00 0.00 102.00"
    );
}

/// Postage by weight on top of that by value, and free from a goods value on.
#[test]
fn postage_by_weight_and_by_value() {
    let vendors = "[[vendor]]\nid = 'a'\ncurrency = 'EUR'\ndays = 2\nshipping = [{ from = '0', fee = '1.50' }]\nfree_from = '30'\n\
        by_weight = [{ from = 0, fee = '2.00' }, { from = 101, fee = '3.20' }, { from = 501, fee = '7.00' }]\n\
        [[offer]]\nvendor = 'a'\nitem = 'x'\neach = '5.00'\ngrams = 100\n";
    let needs = |count| order("EUR", &[], vendors, &[("x", count)]);
    assert_eq!(show(&needs(1)), "5.00 3.50 0.00 0.00 0.00 8.50");
    assert_eq!(show(&needs(2)), "10.00 4.70 0.00 0.00 0.00 14.70");
    // five are 25.00 and 4.70; a sixth for 5.00 makes postage free, for 30 cents more
    assert_eq!(show(&needs(5)), "25.00 4.70 0.00 0.00 0.00 29.70");
    assert_eq!(show(&needs(6)), "30.00 0.00 0.00 0.00 0.00 30.00");
}

/// One line from two vendors, where each has too few or the next break costs more.
#[test]
fn a_line_split_over_two_vendors() {
    let vendors = "[[vendor]]\nid = 'a'\ncurrency = 'EUR'\ndays = 2\n[[vendor]]\nid = 'b'\ncurrency = 'EUR'\ndays = 2\n\
        [[offer]]\nvendor = 'a'\nitem = 'x'\neach = '1.00'\nstock = 4\n[[offer]]\nvendor = 'b'\nitem = 'x'\neach = '1.40'\n";
    let parcels = order("EUR", &[], vendors, &[("x", 7)]);
    let lines: Vec<(String, u32)> = parcels
        .parcels
        .iter()
        .flat_map(|parcel| {
            parcel
                .lines
                .iter()
                .map(|line| (parcel.vendor.clone(), line.quantity))
        })
        .collect();
    assert_eq!(lines, [("a".to_string(), 4), ("b".to_string(), 3)]);
    assert_eq!(parcels.landed.amount_text(), "8.20");
}
