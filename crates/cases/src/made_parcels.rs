//! Orders of any size drawn from a seed: lines to get, vendors that sell most of them, postage in steps.

use std::collections::BTreeMap;

use purchasing::{Break, Need, Offer, Request, Step, Vendor};
use units::{Currency, Decimal, Money};

use crate::dice::Dice;

/// Draws an order of so many lines at so many vendors. Seeds that divide by three have duty and tax at some vendors.
pub fn made_order(lines: u32, vendors: u32, seed: u64) -> Request {
    let mut dice = Dice::new(seed);
    let taxed = seed.is_multiple_of(3);
    let vendors: Vec<Vendor> = (1..=vendors)
        .map(|number| vendor(&mut dice, number, taxed))
        .collect();
    let mut offers = Vec::new();
    let mut needs = Vec::new();
    for number in 1..=lines {
        let item = format!("item-{number}");
        let usual = 20 + dice.roll(400);
        let first = offers.len();
        for vendor in &vendors {
            if !dice.one_in(4) {
                offers.push(offer(&mut dice, &vendor.id, &item, usual));
            }
        }
        if offers.len() == first {
            offers.push(offer(&mut dice, &vendors[0].id, &item, usual));
        }
        needs.push(Need {
            item,
            quantity: dice.between(1, 20),
        });
    }
    Request {
        currency: Currency::EUR,
        rates: BTreeMap::new(),
        vendors,
        offers,
        needs,
    }
}

fn cents(amount: u32) -> Money {
    Money::from_minor(i64::from(amount), Currency::EUR)
}

fn vendor(dice: &mut Dice, number: u32, taxed: bool) -> Vendor {
    let taxed = taxed && dice.one_in(2);
    let fee = dice.between(3, 15) * 100;
    let mut shipping = vec![Step {
        from: cents(0),
        fee: cents(fee),
    }];
    if !dice.one_in(3) {
        shipping.push(Step {
            from: cents(dice.between(30, 120) * 100),
            fee: cents(dice.pick(&[0, 195])),
        });
    }
    Vendor {
        id: format!("vendor-{number:02}"),
        title: String::new(),
        currency: Currency::EUR,
        days: dice.between(2, 14),
        hassle: cents(dice.roll(3) * 100),
        shipping,
        duty: Decimal::new(if taxed { 37 } else { 0 }, 3),
        vat: Decimal::new(if taxed { 21 } else { 0 }, 2),
        vat_included: !taxed,
        ..Vendor::plain("", Currency::EUR)
    }
}

fn offer(dice: &mut Dice, vendor: &str, item: &str, usual: u32) -> Offer {
    let each = usual * dice.between(75, 130) / 100 + 1;
    let steps = dice.roll(3);
    let breaks = [(1, 100), (10, 88), (25, 74)];
    let breaks = breaks.into_iter().take(1 + steps as usize);
    Offer {
        vendor: vendor.to_owned(),
        item: item.to_owned(),
        title: String::new(),
        pack: dice.pick(&[1, 1, 1, 1, 5]),
        least: 1,
        stock: Some(dice.between(20, 100)),
        breaks: breaks
            .map(|(from, share)| Break {
                from,
                each: Decimal::new(i64::from(each * share / 100 + 1), 2),
            })
            .collect(),
        seen: None,
        grams: None,
    }
}
