//! Writing vendors and offers as TOML, to be read back by [`parse_vendors`](crate::parse_vendors).

use std::fmt::Write;

use crate::read::ROUNDINGS;
use crate::request::{Offer, TaxRounding, Vendor};

/// One offer as a `[[offer]]` table.
pub fn offer_to_toml(offer: &Offer) -> String {
    let mut text = String::from("[[offer]]\n");
    line(&mut text, "vendor", &quoted(&offer.vendor));
    line(&mut text, "item", &quoted(&offer.item));
    if offer.title != offer.item {
        line(&mut text, "title", &quoted(&offer.title));
    }
    line(&mut text, "pack", &offer.pack.to_string());
    line(&mut text, "least", &offer.least.to_string());
    if let Some(stock) = offer.stock {
        line(&mut text, "stock", &stock.to_string());
    }
    if let Some(seen) = &offer.seen {
        line(&mut text, "seen", seen);
    }
    if let Some(grams) = offer.grams {
        line(&mut text, "grams", &grams.to_string());
    }
    let breaks = offer
        .breaks
        .iter()
        .map(|level| format!("{{ from = {}, each = \"{}\" }}", level.from, level.each));
    line(&mut text, "breaks", &list(breaks));
    text
}

/// One vendor as a `[[vendor]]` table.
pub fn vendor_to_toml(vendor: &Vendor) -> String {
    let mut text = String::from("[[vendor]]\n");
    line(&mut text, "id", &quoted(&vendor.id));
    if vendor.title != vendor.id {
        line(&mut text, "title", &quoted(&vendor.title));
    }
    line(&mut text, "currency", &quoted(vendor.currency.code()));
    if let Some(country) = &vendor.country {
        line(&mut text, "country", &quoted(country));
    }
    line(&mut text, "days", &vendor.days.to_string());
    line(&mut text, "hassle", &quoted(&vendor.hassle.to_string()));
    let steps = vendor
        .shipping
        .iter()
        .map(|step| format!("{{ from = \"{}\", fee = \"{}\" }}", step.from, step.fee));
    line(&mut text, "shipping", &list(steps));
    line(&mut text, "duty", &quoted(&vendor.duty.to_string()));
    line(&mut text, "vat", &quoted(&vendor.vat.to_string()));
    line(&mut text, "vat_included", &vendor.vat_included.to_string());
    if !vendor.by_weight.is_empty() {
        let steps = vendor
            .by_weight
            .iter()
            .map(|step| format!("{{ from = {}, fee = \"{}\" }}", step.from, step.fee));
        line(&mut text, "by_weight", &list(steps));
    }
    let limits = [
        ("free_from", vendor.free_from),
        ("duty_from", vendor.duty_from),
        ("vat_from", vendor.vat_from),
    ];
    for (key, limit) in limits {
        if let Some(money) = limit {
            line(&mut text, key, &quoted(&money.to_string()));
        }
    }
    if !vendor.clearance.amount.is_zero() {
        line(
            &mut text,
            "clearance",
            &quoted(&vendor.clearance.to_string()),
        );
    }
    let rounding = ROUNDINGS.iter().find(|(_, one)| *one == vendor.rounding);
    if let Some((word, _)) = rounding.filter(|(_, one)| *one != TaxRounding::Invoice) {
        line(&mut text, "vat_rounding", &quoted(word));
    }
    text
}

fn line(text: &mut String, key: &str, value: &str) {
    // writing to a string cannot fail
    let _ = writeln!(text, "{key} = {value}");
}

fn list(entries: impl Iterator<Item = String>) -> String {
    let entries: Vec<String> = entries.collect();
    format!("[{}]", entries.join(", "))
}

/// A basic TOML string.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}
