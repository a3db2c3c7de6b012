//! Numbers as shops write them: signs of currencies, thousands, decimal commas.

use units::{Currency, Decimal};

/// A number in a cell, its decimal mark perhaps still open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Figure {
    /// Digits and marks alone, a minus first if it is negative.
    digits: String,
    /// The sign or code beside it.
    pub(super) sign: Option<String>,
    /// What the mark must be, judged by this number alone.
    pub(super) says: Option<Mark>,
}

/// What stands before the hundredths.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Mark {
    Point,
    Comma,
}

/// Signs that are read as a currency, or as the vendor's own where several share them.
const SIGNS: [(&str, Option<&str>); 5] = [
    ("€", Some("EUR")),
    ("£", Some("GBP")),
    ("$", None),
    ("¥", None),
    ("kr", None),
];

/// Words beside a price that tell nothing.
const BESIDE: [&str; 9] = [
    "each", "ea", "ea.", "/pc", "/each", "pc", "/stk", "je", "/ea",
];

/// The number in a cell; nothing if anything but a number and a currency stands there.
pub(super) fn figure(cell: &str) -> Option<Figure> {
    let cell = cell.trim();
    let first = cell.find(|c: char| c.is_ascii_digit())?;
    let last = cell.rfind(|c: char| c.is_ascii_digit())? + 1;
    let (mut before, after) = (cell[..first].trim(), cell[last..].trim());
    let mut digits = String::new();
    for minus in ['-', '−'] {
        if let Some(rest) = before.strip_suffix(minus).or(before.strip_prefix(minus)) {
            before = rest.trim();
            digits.push('-');
            break;
        }
    }
    for c in cell[first..last].chars() {
        let c = match c {
            '’' => '\'',
            '\u{a0}' | '\u{202f}' => ' ',
            c => c,
        };
        let between = matches!(c, '.' | ',' | '\'' | ' ');
        if !(c.is_ascii_digit() || between && digits.ends_with(|c: char| c.is_ascii_digit())) {
            return None;
        }
        digits.push(c);
    }
    if !grouped(&digits) {
        return None;
    }
    let beside = format!("{before} {}", after.trim_end_matches(['.', ',', '+', '-']));
    let beside = beside.trim();
    let said = |word: &str| BESIDE.contains(&word.to_lowercase().as_str());
    let sign = match beside {
        "" => None,
        words if words.split_whitespace().all(said) => None,
        words => Some(currency_word(words)?),
    };
    let says = mark(&digits);
    Some(Figure { digits, sign, says })
}

/// Blanks and apostrophes stand before groups of three digits only.
fn grouped(digits: &str) -> bool {
    let whole = digits.trim_start_matches('-');
    let mut groups = whole.split([' ', '\'']);
    let first = groups.next().unwrap_or_default();
    let rest: Vec<&str> = groups.collect();
    let three = |group: &&str| {
        let end = group.find(['.', ',']).unwrap_or(group.len());
        end == 3
    };
    rest.is_empty() || first.len() <= 3 && rest.iter().all(three)
}

/// A currency's sign or code, perhaps with `each` behind it.
fn currency_word(text: &str) -> Option<String> {
    let mut found = None;
    for word in text.split_whitespace() {
        let lower = word.to_lowercase();
        if BESIDE.contains(&lower.as_str()) {
            continue;
        }
        let known = Currency::from_code(word).is_some()
            || SIGNS.iter().any(|(sign, _)| lower == *sign)
            || word.strip_suffix('$').is_some_and(|land| land.len() <= 2);
        if !known || found.is_some() {
            return None;
        }
        found = Some(word.to_string());
    }
    found
}

/// The decimal mark that a number must have, judged alone.
fn mark(digits: &str) -> Option<Mark> {
    let last = digits.rfind(['.', ','])?;
    let of = if digits[last..].starts_with('.') {
        Mark::Point
    } else {
        Mark::Comma
    };
    let other = match of {
        Mark::Point => Mark::Comma,
        Mark::Comma => Mark::Point,
    };
    let char_of = if of == Mark::Point { '.' } else { ',' };
    let (whole, part) = (&digits[..last], &digits[last + 1..]);
    match (whole.contains(['.', ',']), digits.matches(char_of).count()) {
        // 1.234.567 has thousands
        (true, 2..) => Some(other),
        // 1,234.56
        (true, _) => Some(of),
        // 1.234 may be either, 0.125 and 12.5 not
        (false, _) if part.len() == 3 && whole.trim_start_matches('-') != "0" => None,
        (false, _) => Some(of),
    }
}

impl Figure {
    /// The number, with the decimal mark of the text; nothing if it is no number with that mark, or could be two.
    pub(super) fn value(&self, text: Option<Mark>) -> Option<Decimal> {
        let mark = match (self.says, text) {
            (None, None) if self.digits.contains(['.', ',']) => return None,
            (None, text) => text.unwrap_or(Mark::Point),
            (Some(own), _) => own,
        };
        let (decimal, thousands) = match mark {
            Mark::Point => ('.', ','),
            Mark::Comma => (',', '.'),
        };
        let plain: String = self
            .digits
            .chars()
            .filter(|c| !matches!(c, ' ' | '\'') && *c != thousands)
            .map(|c| if c == decimal { '.' } else { c })
            .collect();
        Decimal::from_str_exact(&plain).ok()
    }

    /// Written with decimals, or beside a currency.
    pub(super) fn is_price(&self) -> bool {
        self.sign.is_some() || self.digits.contains(['.', ','])
    }

    /// A whole number of things.
    pub(super) fn whole(&self) -> Option<u32> {
        if self.is_price() {
            return None;
        }
        let plain: String = self
            .digits
            .chars()
            .filter(|c| *c != ' ' && *c != '\'')
            .collect();
        plain.parse().ok()
    }

    /// As it was written.
    pub(super) fn text(&self) -> &str {
        &self.digits
    }
}

/// The currency that a sign means; one that several share is the vendor's if his uses it.
pub(super) fn currency(sign: &str, vendor: Currency) -> Option<Currency> {
    if let Some(known) = Currency::from_code(sign) {
        return Some(known);
    }
    let lower = sign.to_lowercase();
    let shared: &[&str] = match lower.as_str() {
        "€" | "£" => {
            let code = SIGNS.iter().find(|(one, _)| *one == lower)?.1?;
            return Currency::from_code(code);
        }
        "¥" => &["JPY", "CNY"],
        "kr" => &["SEK", "NOK", "DKK", "ISK"],
        "$" => &["USD", "AUD", "CAD", "NZD", "SGD", "HKD"],
        "us$" => &["USD"],
        _ => return None,
    };
    let own = shared.iter().find(|code| **code == vendor.code());
    Currency::from_code(own.or(shared.first())?)
}
