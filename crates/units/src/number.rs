//! Decimal numbers as people write them, kept exactly until the last step.

use crate::{ParseError, Unit};

/// Longest text taken for a number with its unit.
const LONGEST: usize = 60;

/// A number split from what follows it: digits × 10^exponent.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Number {
    negative: bool,
    digits: String,
    /// Power of ten of the last digit.
    exponent: i32,
    /// A letter that stood in place of the decimal mark (`4k7`).
    pub(crate) infix: Option<char>,
    /// What follows the number, trimmed.
    pub(crate) rest: String,
}

impl Number {
    /// Splits `text`; `expected` only words the error.
    pub(crate) fn split(text: &str, expected: &str) -> Result<Number, ParseError> {
        let fail = |hint: &str| Err(ParseError::new(text, expected, hint));
        if text.len() > LONGEST {
            return fail("this is too long to be one value");
        }
        let (negative, body) = sign(text.trim());
        let mut number = Number {
            negative,
            digits: String::new(),
            exponent: 0,
            infix: None,
            rest: String::new(),
        };
        let rest = number.take_digits(body, false);
        let whole = number.digits.len();
        let rest = number.take_fraction(rest);
        if number.digits.is_empty() {
            return fail("begin with digits");
        }
        if rest.starts_with(['.', ',']) {
            return fail("write one decimal mark, comma or dot, and no thousands separators");
        }
        let rest = number.take_infix(rest, whole);
        let rest = number.take_power(rest);
        let rest = rest.trim();
        if rest.starts_with(|c: char| c.is_ascii_digit()) {
            return fail("write one number without spaces in it");
        }
        number.rest = rest.to_string();
        Ok(number)
    }

    /// The value × 10^`shift`, rounded once; `None` if too large.
    pub(crate) fn value(&self, shift: i32) -> Option<f64> {
        let sign = if self.negative { "-" } else { "" };
        let text = format!("{sign}{}e{}", self.digits, self.exponent + shift);
        finite(&text)
    }

    /// The worth of the last digit × 10^`shift`; `None` if out of range.
    pub(crate) fn digit(&self, shift: i32) -> Option<f64> {
        finite(&format!("1e{}", self.exponent + shift)).filter(|d| *d > 0.0)
    }

    fn take_digits<'t>(&mut self, text: &'t str, fraction: bool) -> &'t str {
        let end = text
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(text.len());
        self.digits.push_str(&text[..end]);
        if fraction {
            self.exponent -= i32::try_from(end).unwrap_or(i32::MAX);
        }
        &text[end..]
    }

    fn take_fraction<'t>(&mut self, text: &'t str) -> &'t str {
        match text.strip_prefix(['.', ',']) {
            Some(after) if after.starts_with(|c: char| c.is_ascii_digit()) => {
                self.take_digits(after, true)
            }
            _ => text,
        }
    }

    /// `4k7`: a letter between digits stands for the decimal mark.
    fn take_infix<'t>(&mut self, text: &'t str, whole: usize) -> &'t str {
        let mut chars = text.chars();
        let (Some(letter), after) = (chars.next(), chars.as_str()) else {
            return text;
        };
        let plain = whole > 0 && self.exponent == 0 && letter.is_alphabetic();
        if !plain || letter.eq_ignore_ascii_case(&'e') || !starts_with_digit(after) {
            return text;
        }
        self.infix = Some(letter);
        self.take_digits(after, true)
    }

    /// `1.5e-3`: a power of ten.
    fn take_power<'t>(&mut self, text: &'t str) -> &'t str {
        let Some(after) = text.strip_prefix(['e', 'E']) else {
            return text;
        };
        let (negative, body) = sign(after);
        let end = body
            .find(|c: char| !c.is_ascii_digit())
            .unwrap_or(body.len());
        let Ok(power) = body[..end].parse::<u16>() else {
            return text;
        };
        let power = i32::from(power);
        self.exponent += if negative { -power } else { power };
        &body[end..]
    }
}

/// What follows a number: nothing, a prefix, a unit, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Suffix {
    /// Power of ten of the prefix.
    pub(crate) power: i32,
    /// 60 for minutes, 3600 for hours, else 1.
    pub(crate) factor: f64,
    /// The unit, if one is written.
    pub(crate) unit: Option<Unit>,
}

impl Suffix {
    /// Reads a suffix. With `expected`, a bare `m` is milli unless a length is expected.
    pub(crate) fn read(text: &str, expected: Option<Unit>) -> Option<Suffix> {
        let plain = |power, unit| Suffix {
            power,
            factor: 1.0,
            unit,
        };
        match text {
            "" => return Some(plain(0, None)),
            "min" => return Some(time(60.0)),
            "h" | "hours" if expected.is_none_or(|u| u == Unit::Second) => {
                return Some(time(3600.0));
            }
            _ => {}
        }
        let unit = Unit::from_symbol(text);
        if unit.is_some() && (expected.is_none() || unit == expected) {
            return Some(plain(0, unit));
        }
        if let Some((power, rest)) = prefix(text) {
            if rest.is_empty() && expected.is_none_or(Unit::takes_prefix) {
                return Some(plain(power, None));
            }
            let prefixed = Unit::from_symbol(rest).filter(|u| u.takes_prefix() && *u != Unit::One);
            if prefixed.is_some() {
                return Some(plain(power, prefixed));
            }
        }
        unit.map(|unit| plain(0, Some(unit)))
    }
}

/// The power of ten of a prefix letter at the beginning, and what follows it.
pub(crate) fn prefix(text: &str) -> Option<(i32, &str)> {
    let mut chars = text.chars();
    let power = match chars.next()? {
        'f' => -15,
        'p' => -12,
        'n' => -9,
        'u' | '\u{b5}' | '\u{3bc}' => -6,
        'm' => -3,
        'k' | 'K' => 3,
        'M' => 6,
        'G' => 9,
        'T' => 12,
        _ => return None,
    };
    Some((power, chars.as_str()))
}

/// The letter for a power of ten, `""` for none.
pub(crate) fn prefix_letter(power: i32) -> &'static str {
    match power {
        -15 => "f",
        -12 => "p",
        -9 => "n",
        -6 => "\u{b5}",
        -3 => "m",
        3 => "k",
        6 => "M",
        9 => "G",
        12 => "T",
        _ => "",
    }
}

/// Prints `value` × 10^-`power` with `decimals` digits after the point, exactly rounded.
pub(crate) fn shifted(value: f64, power: i32, significant: usize) -> (bool, String, i32) {
    let text = format!("{:.*e}", significant.saturating_sub(1), value.abs());
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let digits: String = mantissa.chars().filter(char::is_ascii_digit).collect();
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let last = exponent - i32::try_from(digits.len()).unwrap_or(0) + 1 - power;
    (value < 0.0, digits, last)
}

/// Lays out digits × 10^`last` as a plain decimal number.
pub(crate) fn plain(digits: &str, last: i32) -> String {
    if last >= 0 {
        let zeros = if digits.trim_matches('0').is_empty() {
            0
        } else {
            usize::try_from(last).unwrap_or(0)
        };
        return format!("{digits}{}", "0".repeat(zeros));
    }
    let places = usize::try_from(-last).unwrap_or(0);
    let padded = format!("{digits:0>width$}", width = places + 1);
    let (whole, fraction) = padded.split_at(padded.len() - places);
    format!("{whole}.{fraction}")
}

fn time(factor: f64) -> Suffix {
    Suffix {
        power: 0,
        factor,
        unit: Some(Unit::Second),
    }
}

fn sign(text: &str) -> (bool, &str) {
    match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest.trim_start()),
        None => (false, text.strip_prefix('+').unwrap_or(text).trim_start()),
    }
}

fn starts_with_digit(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit())
}

fn finite(text: &str) -> Option<f64> {
    text.parse::<f64>().ok().filter(|v| v.is_finite())
}
