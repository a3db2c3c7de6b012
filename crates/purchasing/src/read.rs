//! Reading vendors and offers from TOML.

use std::collections::BTreeMap;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};
use units::{Currency, Decimal, Money, parse_amount};

use crate::problem::{Problem, Problems};
use crate::request::{Break, Offer, Step, TaxRounding, Vendor, WeightStep};

/// Longest file of vendors.
const LONGEST: usize = 4_000_000;

/// Reads a file of `[[vendor]]` and `[[offer]]` tables.
///
/// ```
/// let text = "[[vendor]]\nid = 'northgate'\ncurrency = 'EUR'\ndays = 4\nhassle = '3 EUR'";
/// let (vendors, offers) = purchasing::parse_vendors(text, "vendors.toml").unwrap();
/// assert_eq!((vendors[0].days, offers.len()), (4, 0));
/// ```
///
/// Offers may be for vendors of another file. A vendor needs `id`, `currency` and `days`; an offer `vendor`, `item` and
/// either `breaks` or a single `each`. Amounts are written as text, `"6.50"`, so that no float comes near them.
///
/// # Errors
/// All problems of the file at once, each with its line and column.
pub fn parse_vendors(
    text: &str,
    file_name: &str,
) -> Result<(Vec<Vendor>, Vec<Offer>), Vec<Problem>> {
    let mut problems = Problems {
        file: file_name,
        text,
        list: Vec::new(),
    };
    if text.len() > LONGEST {
        let found = format!("{} bytes", text.len());
        problems.add_found(0..0, found, "a file of at most 4 MB", None);
        return Err(problems.list);
    }
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in errors {
        let span = error.span().unwrap_or(0..0);
        let hint = error.message().to_string();
        problems.add(span, "valid TOML", Some(hint));
    }
    let mut reader = Reader { problems };
    let result = reader.document(document.get_ref());
    if reader.problems.list.is_empty() {
        Ok(result)
    } else {
        Err(reader.problems.sorted())
    }
}

struct Reader<'t> {
    problems: Problems<'t>,
}

type Node<'d> = Spanned<DeValue<'d>>;

const VENDOR_KEYS: &[&str] = &[
    "id",
    "title",
    "currency",
    "country",
    "days",
    "hassle",
    "shipping",
    "by_weight",
    "free_from",
    "duty",
    "duty_from",
    "vat",
    "vat_included",
    "vat_from",
    "vat_rounding",
    "clearance",
];
const OFFER_KEYS: &[&str] = &[
    "vendor", "item", "title", "pack", "least", "stock", "seen", "breaks", "each", "grams",
];

/// How tax is rounded, by its words.
pub(crate) const ROUNDINGS: [(&str, TaxRounding); 4] = [
    ("invoice", TaxRounding::Invoice),
    ("invoice down", TaxRounding::InvoiceDown),
    ("line", TaxRounding::Line),
    ("line down", TaxRounding::LineDown),
];

impl Reader<'_> {
    fn document(&mut self, document: &DeTable<'_>) -> (Vec<Vendor>, Vec<Offer>) {
        self.known_keys(document, &["vendor", "offer"]);
        let vendors: Vec<(Vendor, Range<usize>)> = self.tables(document, "vendor", Reader::vendor);
        let offers = self.tables(document, "offer", Reader::offer);
        let mut seen: BTreeMap<String, Range<usize>> = BTreeMap::new();
        for (vendor, span) in &vendors {
            if seen.insert(vendor.id.clone(), span.clone()).is_some() {
                let hint = format!("`{}` is there twice; rename one", vendor.id);
                self.problems
                    .add(span.clone(), "a vendor id of its own", Some(hint));
            }
        }
        let vendors = vendors.into_iter().map(|(vendor, _)| vendor).collect();
        (vendors, offers)
    }

    fn tables<T>(
        &mut self,
        document: &DeTable<'_>,
        key: &str,
        read: fn(&mut Self, &DeTable<'_>, Range<usize>) -> Option<T>,
    ) -> Vec<T> {
        let Some(node) = document.get(key) else {
            return Vec::new();
        };
        let expected = format!("tables `[[{key}]]`");
        let mut found = Vec::new();
        for entry in self.array(node, &expected) {
            if let Some(table) = self.table(entry, &expected) {
                found.extend(read(self, table, entry.span()));
            }
        }
        found
    }

    fn vendor(
        &mut self,
        table: &DeTable<'_>,
        span: Range<usize>,
    ) -> Option<(Vendor, Range<usize>)> {
        self.known_keys(table, VENDOR_KEYS);
        let id = self.needed(table, "id", &span, Reader::name);
        let currency = self.needed(table, "currency", &span, Reader::currency);
        let days = self.needed(table, "days", &span, Reader::count);
        let base = currency.unwrap_or(Currency::EUR);
        let title = self.optional(table, "title", Reader::name);
        let country = self.optional(table, "country", Reader::country);
        let hassle = self.optional(table, "hassle", |r, n| r.money(n, base));
        let shipping = self.optional(table, "shipping", |r, n| r.shipping(n, base));
        let duty = self.optional(table, "duty", Reader::share);
        let vat = self.optional(table, "vat", Reader::share);
        let vat_included = self.optional(table, "vat_included", Reader::flag);
        let by_weight = self.optional(table, "by_weight", |r, n| r.by_weight(n, base));
        let free_from = self.optional(table, "free_from", |r, n| r.money(n, base));
        let duty_from = self.optional(table, "duty_from", |r, n| r.money(n, base));
        let vat_from = self.optional(table, "vat_from", |r, n| r.money(n, base));
        let clearance = self.optional(table, "clearance", |r, n| r.money(n, base));
        let rounding = self.optional(table, "vat_rounding", Reader::rounding);
        let id = id?;
        let id_span = table.get("id").map_or(span, Spanned::span);
        let vendor = Vendor {
            title: title.unwrap_or_else(|| id.clone()),
            id,
            currency: currency?,
            country,
            days: days?,
            hassle: hassle.unwrap_or_else(|| Money::zero(base)),
            shipping: shipping.unwrap_or_default(),
            duty: duty.unwrap_or_default(),
            vat: vat.unwrap_or_default(),
            vat_included: vat_included.unwrap_or(true),
            by_weight: by_weight.unwrap_or_default(),
            free_from,
            duty_from,
            vat_from,
            clearance: clearance.unwrap_or_else(|| Money::zero(base)),
            rounding: rounding.unwrap_or_default(),
        };
        Some((vendor, id_span))
    }

    fn offer(&mut self, table: &DeTable<'_>, span: Range<usize>) -> Option<Offer> {
        self.known_keys(table, OFFER_KEYS);
        let vendor = self.needed(table, "vendor", &span, Reader::name);
        let item = self.needed(table, "item", &span, Reader::name);
        let title = self.optional(table, "title", Reader::name);
        let pack = self.optional(table, "pack", Reader::positive);
        let least = self.optional(table, "least", Reader::positive);
        let stock = self.optional(table, "stock", Reader::count);
        let seen = self.optional(table, "seen", Reader::date);
        let grams = self.optional(table, "grams", Reader::count);
        let breaks = self.prices(table, &span);
        let item = item?;
        Some(Offer {
            vendor: vendor?,
            title: title.unwrap_or_else(|| item.clone()),
            item,
            pack: pack.unwrap_or(1),
            least: least.unwrap_or(1),
            stock,
            breaks: breaks?,
            seen,
            grams,
        })
    }

    /// `breaks`, or a single price `each`.
    fn prices(&mut self, table: &DeTable<'_>, span: &Range<usize>) -> Option<Vec<Break>> {
        match (table.get("breaks"), table.get("each")) {
            (Some(node), None) => self.breaks(node),
            (None, Some(node)) => {
                let each = self.amount(node)?;
                Some(vec![Break { from: 1, each }])
            }
            (Some(_), Some(node)) => {
                let hint = "drop `each` or put it into `breaks`".to_string();
                self.problems
                    .add(node.span(), "one of `breaks` and `each`", Some(hint));
                None
            }
            (None, None) => {
                let hint = "add `breaks = [{ from = 1, each = \"0.48\" }]`".to_string();
                self.problems
                    .add(span.clone(), "a price in `breaks`", Some(hint));
                None
            }
        }
    }

    fn breaks(&mut self, node: &Node<'_>) -> Option<Vec<Break>> {
        let expected = "price breaks such as `[{ from = 1, each = \"0.48\" }]`";
        let mut breaks: Vec<Break> = Vec::new();
        let before = self.problems.list.len();
        for entry in self.array(node, expected) {
            let Some(table) = self.table(entry, expected) else {
                continue;
            };
            self.known_keys(table, &["from", "each"]);
            let from = self.needed(table, "from", &entry.span(), Reader::positive);
            let each = self.needed(table, "each", &entry.span(), Reader::amount);
            let (Some(from), Some(each)) = (from, each) else {
                continue;
            };
            if breaks.last().is_some_and(|last| last.from >= from) {
                self.problems
                    .add(entry.span(), "breaks with rising `from`", None);
            }
            breaks.push(Break { from, each });
        }
        if breaks.is_empty() && self.problems.list.len() == before {
            self.problems.add(node.span(), expected, None);
        }
        (!breaks.is_empty()).then_some(breaks)
    }

    fn shipping(&mut self, node: &Node<'_>, currency: Currency) -> Option<Vec<Step>> {
        let expected = "postage steps such as `[{ from = \"0\", fee = \"6.50\" }]`";
        let mut steps: Vec<Step> = Vec::new();
        for entry in self.array(node, expected) {
            let Some(table) = self.table(entry, expected) else {
                continue;
            };
            self.known_keys(table, &["from", "fee"]);
            let from = self.needed(table, "from", &entry.span(), |r, n| r.money(n, currency));
            let fee = self.needed(table, "fee", &entry.span(), |r, n| r.money(n, currency));
            let (Some(from), Some(fee)) = (from, fee) else {
                continue;
            };
            if steps
                .last()
                .is_some_and(|last| last.from.amount >= from.amount)
            {
                self.problems
                    .add(entry.span(), "steps with rising `from`", None);
            }
            steps.push(Step { from, fee });
        }
        Some(steps)
    }

    fn by_weight(&mut self, node: &Node<'_>, currency: Currency) -> Option<Vec<WeightStep>> {
        let expected =
            "weight steps such as `[{ from = 0, fee = \"4.50\" }, { from = 500, fee = \"6.90\" }]`";
        let mut steps: Vec<WeightStep> = Vec::new();
        for entry in self.array(node, expected) {
            let Some(table) = self.table(entry, expected) else {
                continue;
            };
            self.known_keys(table, &["from", "fee"]);
            let from = self.needed(table, "from", &entry.span(), Reader::count);
            let fee = self.needed(table, "fee", &entry.span(), |r, n| r.money(n, currency));
            let (Some(from), Some(fee)) = (from, fee) else {
                continue;
            };
            let right = match steps.last() {
                Some(last) => last.from < from,
                None => from == 0,
            };
            if !right {
                let expected = "weight steps in grams, the first from 0, with rising `from`";
                self.problems.add(entry.span(), expected, None);
            }
            steps.push(WeightStep { from, fee });
        }
        Some(steps)
    }

    fn rounding(&mut self, node: &Node<'_>) -> Option<TaxRounding> {
        let word = node.get_ref().as_str().unwrap_or_default();
        let found = ROUNDINGS.iter().find(|(known, _)| *known == word);
        if found.is_none() {
            let expected = "`\"invoice\"`, `\"invoice down\"`, `\"line\"` or `\"line down\"`";
            self.problems.add(node.span(), expected, None);
        }
        found.map(|(_, rounding)| *rounding)
    }

    fn known_keys(&mut self, table: &DeTable<'_>, known: &[&str]) {
        for (key, _) in table {
            let name: &str = key.get_ref();
            if known.contains(&name) {
                continue;
            }
            let near = known.iter().max_by(|a, b| {
                strsim::jaro_winkler(a, name).total_cmp(&strsim::jaro_winkler(b, name))
            });
            let hint = near
                .filter(|near| strsim::jaro_winkler(near, name) > 0.8)
                .map(|near| format!("did you mean `{near}`"));
            let expected = format!("one of the keys {}", quoted(known));
            self.problems.add(key.span(), &expected, hint);
        }
    }

    fn needed<T>(
        &mut self,
        table: &DeTable<'_>,
        key: &str,
        span: &Range<usize>,
        read: impl FnOnce(&mut Self, &Node<'_>) -> Option<T>,
    ) -> Option<T> {
        match table.get(key) {
            Some(node) => read(self, node),
            None => {
                let hint = format!("add `{key} = ...`");
                self.problems
                    .add(span.clone(), &format!("the key `{key}`"), Some(hint));
                None
            }
        }
    }

    fn optional<T>(
        &mut self,
        table: &DeTable<'_>,
        key: &str,
        read: impl FnOnce(&mut Self, &Node<'_>) -> Option<T>,
    ) -> Option<T> {
        table.get(key).and_then(|node| read(self, node))
    }

    fn array<'n, 'd>(&mut self, node: &'n Node<'d>, expected: &str) -> &'n [Node<'d>] {
        match node.get_ref() {
            DeValue::Array(array) => array,
            _ => {
                self.problems.add(node.span(), expected, None);
                &[]
            }
        }
    }

    fn table<'n, 'd>(&mut self, node: &'n Node<'d>, expected: &str) -> Option<&'n DeTable<'d>> {
        let table = node.get_ref().as_table();
        if table.is_none() {
            self.problems.add(node.span(), expected, None);
        }
        table
    }

    fn name(&mut self, node: &Node<'_>) -> Option<String> {
        let text = node.get_ref().as_str().map(str::trim).unwrap_or("");
        if text.is_empty() {
            self.problems
                .add(node.span(), "a text such as `\"northgate\"`", None);
            return None;
        }
        Some(text.to_string())
    }

    fn currency(&mut self, node: &Node<'_>) -> Option<Currency> {
        let currency = node.get_ref().as_str().and_then(Currency::from_code);
        if currency.is_none() {
            self.problems
                .add(node.span(), "a currency code such as `\"EUR\"`", None);
        }
        currency
    }

    fn country(&mut self, node: &Node<'_>) -> Option<String> {
        let text = node.get_ref().as_str().unwrap_or_default();
        if text.len() == 2 && text.bytes().all(|byte| byte.is_ascii_alphabetic()) {
            return Some(text.to_uppercase());
        }
        self.problems.add(
            node.span(),
            "a country of two letters such as `\"DE\"`",
            None,
        );
        None
    }

    fn count(&mut self, node: &Node<'_>) -> Option<u32> {
        let count = match node.get_ref() {
            DeValue::Integer(number) => u32::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        };
        let count = count.filter(|count| *count <= 1_000_000);
        if count.is_none() {
            self.problems
                .add(node.span(), "a whole number from 0 to 1000000", None);
        }
        count
    }

    fn positive(&mut self, node: &Node<'_>) -> Option<u32> {
        let count = self.count(node)?;
        if count == 0 {
            self.problems
                .add(node.span(), "a whole number of 1 or more", None);
            return None;
        }
        Some(count)
    }

    fn flag(&mut self, node: &Node<'_>) -> Option<bool> {
        let flag = node.get_ref().as_bool();
        if flag.is_none() {
            self.problems.add(node.span(), "`true` or `false`", None);
        }
        flag
    }

    fn date(&mut self, node: &Node<'_>) -> Option<String> {
        let text = match node.get_ref() {
            DeValue::Datetime(date) => date.to_string(),
            DeValue::String(text) => text.to_string(),
            _ => String::new(),
        };
        let plain = text.len() == 10 && text.chars().all(|c| c.is_ascii_digit() || c == '-');
        if !plain {
            self.problems
                .add(node.span(), "a date such as `2026-11-02`", None);
            return None;
        }
        Some(text)
    }

    /// A share from 0 to 1. Written as a number, it is taken digit by digit, never through a float.
    fn share(&mut self, node: &Node<'_>) -> Option<Decimal> {
        let share = number_text(node).and_then(|text| parse_amount(text).ok());
        let share = share
            .filter(|s| *s >= Decimal::ZERO && *s <= Decimal::ONE && s.normalize().scale() <= 4);
        if share.is_none() {
            let expected = "a share from 0 to 1 with at most 4 decimals";
            self.problems.add(
                node.span(),
                expected,
                Some("21 % is written 0.21".to_string()),
            );
        }
        share
    }

    /// A price: above zero, for what costs nothing is no offer.
    fn amount(&mut self, node: &Node<'_>) -> Option<Decimal> {
        let amount = number_text(node).and_then(|text| parse_amount(text).ok());
        let amount =
            amount.filter(|amount| *amount > Decimal::ZERO && *amount <= Decimal::from(1_000_000));
        if amount.is_none() {
            self.problems
                .add(node.span(), "a price above 0 such as `\"0.48\"`", None);
        }
        amount
    }

    fn money(&mut self, node: &Node<'_>, currency: Currency) -> Option<Money> {
        let money = match number_text(node) {
            Some(text) => Money::parse(text, currency).map_err(|error| error.hint),
            None => Err(String::new()),
        };
        let money = money.and_then(|money| {
            let small = money.amount <= Decimal::from(1_000_000);
            let fits = !money.amount.is_sign_negative() && small;
            if fits {
                Ok(money)
            } else {
                Err("from 0 to a million".to_string())
            }
        });
        money
            .map_err(|hint| {
                let expected = format!("an amount such as `\"6.50\"` or `\"6.50 {currency}\"`");
                let hint = Some(hint).filter(|hint| !hint.is_empty());
                self.problems.add(node.span(), &expected, hint);
            })
            .ok()
    }
}

/// The digits of a text or number, as they are written.
fn number_text<'n>(node: &'n Node<'_>) -> Option<&'n str> {
    match node.get_ref() {
        DeValue::String(text) => Some(text),
        DeValue::Integer(number) if number.radix() == 10 => Some(number.as_str()),
        DeValue::Float(number) => Some(number.as_str()),
        _ => None,
    }
}

fn quoted(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    quoted.join(", ")
}
