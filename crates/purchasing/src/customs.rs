//! Goods values below which nothing is due on a parcel from abroad.

use toml::de::{DeTable, DeValue};
use units::{Currency, Money};

use crate::request::Vendor;

/// The rules that the program carries.
const BUILT_IN: &str = include_str!("../../../catalogue/customs.toml");

/// What holds for parcels into one territory.
#[derive(Debug, Clone, PartialEq)]
pub struct Customs {
    /// Its short name: `EU`.
    pub into: String,
    /// The countries it is made of; between them nothing is due.
    pub members: Vec<String>,
    /// Goods of less than this pay no duty.
    pub duty_from: Money,
    /// Goods of less than this pay no tax.
    pub vat_from: Money,
    /// The month in which it was known to hold: `2025-01`.
    pub as_of: String,
    /// Where it is from.
    pub source: String,
}

/// The rules that the program carries.
#[must_use]
pub fn customs() -> Vec<Customs> {
    let document = DeTable::parse(BUILT_IN).ok();
    let rules = document
        .as_ref()
        .and_then(|document| document.get_ref().get("customs"));
    let rules = rules.and_then(|rules| rules.get_ref().as_array());
    let tables = rules
        .into_iter()
        .flatten()
        .filter_map(|rule| rule.get_ref().as_table());
    tables.filter_map(rule).collect()
}

fn rule(table: &DeTable<'_>) -> Option<Customs> {
    let value = |key: &str| table.get(key).map(|node| node.get_ref());
    let text = |key: &str| value(key).and_then(DeValue::as_str).map(str::to_string);
    let money = |key: &str| Money::parse(&text(key)?, Currency::EUR).ok();
    let members = value("members")?.as_array()?;
    Some(Customs {
        into: text("into")?,
        members: members
            .iter()
            .filter_map(|one| one.get_ref().as_str().map(str::to_string))
            .collect(),
        duty_from: money("duty_from")?,
        vat_from: money("vat_from")?,
        as_of: text("as_of")?,
        source: text("source")?,
    })
}

impl Customs {
    /// The rule for parcels that come home to this country from that vendor; none if they cross no border, or a country
    /// is not known.
    #[must_use]
    pub fn between<'c>(rules: &'c [Customs], home: &str, vendor: &Vendor) -> Option<&'c Customs> {
        let from = vendor.country.as_deref()?;
        let rule = rules.iter().find(|rule| rule.has(home))?;
        (!rule.has(from)).then_some(rule)
    }

    fn has(&self, country: &str) -> bool {
        self.members
            .iter()
            .any(|one| one.eq_ignore_ascii_case(country))
    }

    /// Fills in what the vendor's own file leaves open.
    pub fn fill(&self, vendor: &mut Vendor) {
        vendor.duty_from = vendor.duty_from.or(Some(self.duty_from));
        vendor.vat_from = vendor.vat_from.or(Some(self.vat_from));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_read_and_dated() {
        let rules = customs();
        assert_eq!(rules.len(), BUILT_IN.matches("[[customs]]").count());
        assert!(
            rules
                .iter()
                .all(|rule| rule.as_of.len() == 7 && rule.source.contains("from memory"))
        );
    }

    #[test]
    fn borders() {
        let rules = customs();
        let check = |home: &str, from: Option<&str>, into: Option<&str>| {
            let mut vendor = Vendor::plain("a", Currency::EUR);
            vendor.country = from.map(str::to_string);
            let found = Customs::between(&rules, home, &vendor);
            assert_eq!(
                found.map(|rule| rule.into.as_str()),
                into,
                "{from:?} to {home}"
            );
        };
        check("DE", Some("GB"), Some("EU"));
        check("DE", Some("fr"), None);
        check("GB", Some("DE"), Some("GB"));
        check("DE", None, None);
        check("AQ", Some("DE"), None);
        let mut vendor = Vendor::plain("a", Currency::EUR);
        vendor.vat_from = Some(Money::zero(Currency::EUR));
        rules[0].fill(&mut vendor);
        assert_eq!(
            vendor.duty_from.map(|money| money.to_string()),
            Some("150.00 EUR".to_string())
        );
        assert_eq!(vendor.vat_from, Some(Money::zero(Currency::EUR)));
    }
}
