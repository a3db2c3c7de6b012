//! The prices at which the choice turns, against trying every price.

use std::collections::BTreeMap;

use purchasing::{Need, Parcels, Request, Settings, cheapest, parse_vendors, turns};
use units::{Currency, Decimal};

fn request(vendors: &str, needs: &[(&str, u32)]) -> Request {
    let (vendors, offers) = parse_vendors(vendors, "vendors.toml").unwrap();
    let need = |&(item, quantity): &(&str, u32)| Need {
        item: item.to_string(),
        quantity,
    };
    Request {
        currency: Currency::EUR,
        rates: BTreeMap::from([(Currency::from_code("USD").unwrap(), Decimal::new(9, 1))]),
        vendors,
        offers,
        needs: needs.iter().map(need).collect(),
    }
}

fn lines(parcels: &Parcels) -> Vec<(String, String, u32)> {
    let mut lines: Vec<_> = parcels
        .parcels
        .iter()
        .flat_map(|parcel| {
            parcel
                .lines
                .iter()
                .map(|line| (parcel.vendor.clone(), line.item.clone(), line.quantity))
        })
        .collect();
    lines.sort();
    lines
}

const VENDORS: &str = "[[vendor]]\nid = 'a'\ncurrency = 'EUR'\ndays = 4\nhassle = '1'\nshipping = [{ from = '0', fee = '3' }, { from = '20', fee = '0' }]\n\
    [[vendor]]\nid = 'b'\ncurrency = 'USD'\ndays = 9\nvat = 0.21\nvat_included = false\nshipping = [{ from = '0', fee = '2' }]\n\
    [[offer]]\nvendor = 'a'\nitem = 'x'\nbreaks = [{ from = 1, each = '2.00' }, { from = 4, each = '1.70' }]\n\
    [[offer]]\nvendor = 'b'\nitem = 'x'\neach = '2.20'\n\
    [[offer]]\nvendor = 'a'\nitem = 'y'\neach = '6.10'\n[[offer]]\nvendor = 'b'\nitem = 'y'\neach = '4.30'\n\
    [[offer]]\nvendor = 'b'\nitem = 'z'\neach = '1.00'\n";

fn check(needs: &[(&str, u32)], expected: &[&str]) {
    let request = request(VENDORS, needs);
    let parcels = cheapest(&request, &Settings::default()).unwrap();
    let found = turns(&request, &parcels, &Settings::default(), 99).unwrap();
    let said: Vec<String> = found
        .iter()
        .map(|turn| {
            let at = turn.at.map_or("never".to_string(), |at| at.to_string());
            format!(
                "{} {} × {} at {}: {at}",
                turn.vendor, turn.quantity, turn.item, turn.each
            )
        })
        .collect();
    assert_eq!(said, expected);
    // a coin beyond that price the lines are others, at it they are not
    let now = lines(&parcels);
    for turn in found {
        let Some(at) = turn.at else { continue };
        let chosen = turn.quantity > 0;
        let with = |each: Decimal| {
            let mut request = request.clone();
            let own = request
                .offers
                .iter_mut()
                .find(|offer| offer.vendor == turn.vendor && offer.item == turn.item);
            own.unwrap()
                .breaks
                .iter_mut()
                .for_each(|level| level.each += each - turn.each);
            lines(&cheapest(&request, &Settings::default()).unwrap())
        };
        let coin = Decimal::new(1, 2);
        assert_eq!(with(at) == now, chosen, "{turn:?}");
        assert_eq!(with(at + coin) == now, !chosen, "{turn:?}");
    }
}

#[test]
fn prices_at_which_the_order_turns() {
    check(
        &[("x", 2), ("y", 1)],
        &[
            "b 2 × x at 2.20: 3.31",
            "b 1 × y at 4.30: 6.53",
            "a 0 × x at 2.00: 0.77",
            "a 0 × y at 6.10: 3.65",
        ],
    );
    check(
        &[("x", 5), ("y", 1), ("z", 1)],
        &[
            "b 5 × x at 2.20: 2.29",
            "b 1 × y at 4.30: 6.08",
            "b 1 × z at 1.00: never",
            "a 0 × x at 2.00: 1.89",
            "a 0 × y at 6.10: 4.15",
        ],
    );
    check(&[("z", 1)], &["b 1 × z at 1.00: never"]);
}
