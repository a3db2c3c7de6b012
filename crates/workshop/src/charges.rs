//! What a parcel costs besides its goods: postage, duty, tax, clearance, each as a line of the ledger.

use purchasing::{Parcel, TaxRounding, Vendor};
use units::{Decimal, Money};

use crate::{
    settings::Settings,
    views::ParcelLine,
    words::{coins, listed},
};

/// Rules of customs change: what they are as of, if the program's own rule was used.
fn check(settings: &Settings, vendor: &Vendor) -> String {
    let rules = purchasing::customs();
    let home = settings.country.as_deref().unwrap_or_default();
    match purchasing::Customs::between(&rules, home, vendor) {
        Some(rule) => format!(
            "rules of {}, as of {}; check with your customs",
            rule.into, rule.as_of
        ),
        None => "check with your customs".to_string(),
    }
}

/// `a GBP is 1.17, seen on 2026-11-02`, for prices in another currency.
fn rate(settings: &Settings, vendor: &Vendor) -> Option<String> {
    let rate = settings
        .rates
        .get(&vendor.currency)
        .filter(|_| vendor.currency != settings.currency)?;
    let seen = settings.rates_seen.get(&vendor.currency);
    let seen = seen
        .map(|seen| format!(", seen on {seen}"))
        .unwrap_or_default();
    Some(format!(
        "one {} is {}\u{a0}{}{seen}",
        vendor.currency,
        rate.normalize(),
        settings.currency
    ))
}

/// The postage, and how far away it would be free.
pub(crate) fn postage(
    settings: &Settings,
    vendor: &Vendor,
    parcel: &Parcel,
    unweighed: &[String],
) -> ParcelLine {
    let currency = settings.currency;
    let same = vendor.currency == currency;
    let zero = vendor
        .shipping
        .iter()
        .filter(|step| step.fee.amount.is_zero() && vendor.by_weight.is_empty())
        .map(|step| step.from);
    let free = zero
        .chain(vendor.free_from)
        .filter(|from| same && from.amount > parcel.goods.amount)
        .min_by_key(|from| from.amount);
    let weight = match (vendor.by_weight.is_empty(), parcel.grams) {
        (true, _) | (_, 0) => String::new(),
        (false, grams) => format!(" for {grams}\u{a0}g"),
    };
    let text = match free {
        _ if parcel.postage.to_minor() == 0 => "postage, free".to_string(),
        Some(from) => {
            let away = Money {
                amount: from.amount - parcel.goods.amount,
                currency,
            };
            format!(
                "postage{weight}; free from {}, that is {} away",
                from.amount_text(),
                away.amount_text()
            )
        }
        None => format!("postage{weight}"),
    };
    let mut notes: Vec<String> = rate(settings, vendor).into_iter().collect();
    if vendor.vat_included && !vendor.vat.is_zero() {
        notes.push(format!("tax of {} is in the prices", share(vendor.vat)));
    }
    if !vendor.by_weight.is_empty() && !unweighed.is_empty() {
        notes.push(format!(
            "what {} weighs is not known",
            listed(unweighed, "and")
        ));
    }
    ParcelLine {
        amount: coins(parcel.postage.to_minor(), currency),
        text,
        note: notes.join("; "),
    }
}

/// `21 %`.
fn share(share: Decimal) -> String {
    format!("{}\u{a0}%", (share * Decimal::from(100)).normalize())
}

/// Duty, tax and clearance, as far as they are due.
pub(crate) fn taxes(settings: &Settings, vendor: &Vendor, parcel: &Parcel) -> Vec<ParcelLine> {
    let currency = settings.currency;
    let check = check(settings, vendor);
    let line = |amount: Money, text: String, note: &str| ParcelLine {
        amount: coins(amount.to_minor(), currency),
        text,
        note: note.to_string(),
    };
    let base = |extra: i64| {
        coins(
            parcel.goods.to_minor() + parcel.postage.to_minor() + extra,
            currency,
        )
    };
    let mut lines = Vec::new();
    let no_duty = vendor
        .duty_from
        .filter(|_| parcel.duty.to_minor() == 0 && !vendor.duty.is_zero())
        .map(|from| format!("no duty below {}", from.amount_text()));
    if parcel.duty.to_minor() != 0 {
        let text = format!("duty, {} of {}", share(vendor.duty), base(0));
        lines.push(line(parcel.duty, text, &check));
    }
    if parcel.vat.to_minor() != 0 {
        let rate = share(vendor.vat);
        let mut text = match vendor.rounding {
            TaxRounding::Line | TaxRounding::LineDown => {
                format!("tax, {rate}, rounded line by line")
            }
            _ => format!("import tax, {rate} of {}", base(parcel.duty.to_minor())),
        };
        if let Some(no_duty) = &no_duty {
            text = format!("{text}; {no_duty}");
        }
        let note = match vendor.rounding {
            TaxRounding::Invoice => check.as_str(),
            _ => "",
        };
        lines.push(line(parcel.vat, text, note));
    }
    if parcel.clearance.to_minor() != 0 {
        let text = "the carrier's fee for clearing it".to_string();
        lines.push(line(parcel.clearance, text, ""));
    }
    lines
}
