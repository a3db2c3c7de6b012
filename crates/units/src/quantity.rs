//! A value with its unit.

use std::fmt;
use std::str::FromStr;

use crate::number::{Number, Suffix, plain, prefix, prefix_letter, shifted};
use crate::{ParseError, Unit};

/// Digits printed at most; enough for a colour carrier in hertz, few enough to hide float dust.
const DIGITS: usize = 9;

const EXPECTED: &str = "a quantity such as `3.49 MHz`, `80 ms` or `4k7`";

/// A value in the base unit, with its unit.
///
/// ```
/// use units::{Quantity, Unit};
/// let clock: Quantity = "3.49 MHz".parse().unwrap();
/// assert_eq!(clock, Quantity { value: 3_490_000.0, unit: Unit::Hertz });
/// assert_eq!(clock.to_string(), "3.49 MHz");
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    /// Value in the base unit.
    pub value: f64,
    /// The base unit.
    pub unit: Unit,
}

impl Quantity {
    /// The text with a no-break space before the unit, for pages.
    pub fn unbroken(&self) -> String {
        self.to_string().replace(' ', "\u{a0}")
    }

    /// The text with at most `digits` significant digits, trailing zeros dropped.
    pub fn rounded(&self, digits: usize) -> String {
        let (number, suffix) = split_for_print(self.value, self.unit, digits);
        if suffix.is_empty() {
            number
        } else {
            format!("{number} {suffix}")
        }
    }

    /// The power of ten of the prefix with which this value is best printed.
    pub(crate) fn prefix_power(&self) -> i32 {
        prefix_power(self.value, self.unit, DIGITS)
    }

    /// The bare number with a given prefix: 3 490 000 Hz at 10^6 is `3.49`.
    pub(crate) fn number_at(&self, power: i32) -> String {
        number_at(self.value, power, DIGITS)
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.rounded(DIGITS))
    }
}

impl FromStr for Quantity {
    type Err = ParseError;

    /// Reads `3.49 MHz`, `0.55 A`, `80 ms`, `10 µF`, `5 min`, and the letter code of IEC 60062: `4k7`, `4R7`, `1M`
    /// are resistances, `4n7`, `10u` capacitances. A comma is a decimal mark.
    fn from_str(text: &str) -> Result<Quantity, ParseError> {
        let number = Number::split(text, EXPECTED)?;
        let fail = |hint: &str| ParseError::new(text, EXPECTED, hint);
        let (power, factor, unit) = match number.infix {
            Some(letter) => read_infix(letter, &number.rest),
            None => read_suffix(&number.rest),
        }
        .ok_or_else(|| {
            fail("write a unit such as V, A, Hz, s, Ω, F, with a prefix if need be (m is milli, M is mega)")
        })?;
        let value = number
            .value(power)
            .ok_or_else(|| fail("the number is too large"))?;
        Ok(Quantity {
            value: value * factor,
            unit,
        })
    }
}

/// The prefix and unit as printed: `kHz`.
pub(crate) fn suffix(power: i32, unit: Unit) -> String {
    format!("{}{}", prefix_letter(power), unit.symbol())
}

fn read_infix(letter: char, rest: &str) -> Option<(i32, f64, Unit)> {
    let mut buffer = [0; 4];
    let letter: &str = letter.encode_utf8(&mut buffer);
    let written = match rest {
        "" => None,
        rest => Some(Unit::from_symbol(rest)?),
    };
    if let Some((power, _)) = prefix(letter) {
        let coded = if power > 0 { Unit::Ohm } else { Unit::Farad };
        return Some((power, 1.0, written.unwrap_or(coded)));
    }
    let unit = Unit::from_symbol(letter)?;
    (written.is_none() || written == Some(unit)).then_some((0, 1.0, unit))
}

fn read_suffix(rest: &str) -> Option<(i32, f64, Unit)> {
    let suffix = Suffix::read(rest, None)?;
    let coded = || match suffix.power {
        0 => Unit::One,
        power if power > 0 => Unit::Ohm,
        _ => Unit::Farad,
    };
    Some((
        suffix.power,
        suffix.factor,
        suffix.unit.unwrap_or_else(coded),
    ))
}

fn split_for_print(value: f64, unit: Unit, digits: usize) -> (String, String) {
    if value != 0.0 && !(1e-15..1e15).contains(&value.abs()) {
        return (format!("{value:e}"), unit.symbol().to_string());
    }
    let power = prefix_power(value, unit, digits);
    (number_at(value, power, digits), suffix(power, unit))
}

fn prefix_power(value: f64, unit: Unit, digits: usize) -> i32 {
    if value == 0.0 || !unit.takes_prefix() || unit == Unit::One {
        return 0;
    }
    let (_, digit_text, last) = shifted(value, 0, digits);
    let leading = last + i32::try_from(digit_text.len()).unwrap_or(1) - 1;
    let top = if unit == Unit::Second { 0 } else { 12 };
    (leading.div_euclid(3) * 3).clamp(-15, top)
}

fn number_at(value: f64, power: i32, digits: usize) -> String {
    if value == 0.0 {
        return "0".to_string();
    }
    let (negative, digits, last) = shifted(value, power, digits);
    let text = plain(&digits, last);
    let text = if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.')
    } else {
        &text
    };
    format!("{}{text}", if negative { "-" } else { "" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(text: &str, value: f64, unit: Unit, printed: &str) {
        let quantity: Quantity = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(quantity, Quantity { value, unit }, "{text}");
        assert_eq!(quantity.to_string(), printed, "{text}");
    }

    #[test]
    fn reads_and_prints() {
        check("3.49 MHz", 3.49e6, Unit::Hertz, "3.49 MHz");
        check("4.43361875MHz", 4_433_618.75, Unit::Hertz, "4.43361875 MHz");
        check("0.55 A", 0.55, Unit::Ampere, "550 mA");
        check("80 ms", 0.08, Unit::Second, "80 ms");
        check("5 min", 300.0, Unit::Second, "300 s");
        check("2 h", 7200.0, Unit::Second, "7200 s");
        check("4k7", 4700.0, Unit::Ohm, "4.7 kΩ");
        check("4R7", 4.7, Unit::Ohm, "4.7 Ω");
        check("1M", 1e6, Unit::Ohm, "1 MΩ");
        check("470R", 470.0, Unit::Ohm, "470 Ω");
        check("4n7", 4.7e-9, Unit::Farad, "4.7 nF");
        check("2u2", 2.2e-6, Unit::Farad, "2.2 µF");
        check("10 uF", 10e-6, Unit::Farad, "10 µF");
        check("10 µF", 10e-6, Unit::Farad, "10 µF");
        check("10 \u{3bc}F", 10e-6, Unit::Farad, "10 µF");
        check("-5,02 V", -5.02, Unit::Volt, "-5.02 V");
        check("\u{2212}12 V", -12.0, Unit::Volt, "-12 V");
        check("1,234 V", 1.234, Unit::Volt, "1.234 V");
        check("3V3", 3.3, Unit::Volt, "3.3 V");
        check("70 °C", 70.0, Unit::Celsius, "70 °C");
        check("5 %", 5.0, Unit::Percent, "5 %");
        check("100 Mohm", 100e6, Unit::Ohm, "100 MΩ");
        check("5 m", 5.0, Unit::Metre, "5 m");
        check("12", 12.0, Unit::One, "12");
        check("1.5e3 Hz", 1500.0, Unit::Hertz, "1.5 kHz");
        check("0 V", 0.0, Unit::Volt, "0 V");
        check(".5 V", 0.5, Unit::Volt, "500 mV");
    }

    #[test]
    fn float_dust_is_not_printed() {
        let q = Quantity {
            value: 0.1 + 0.2,
            unit: Unit::Volt,
        };
        assert_eq!(q.to_string(), "300 mV");
        let q = Quantity {
            value: 999.999_999_99,
            unit: Unit::Hertz,
        };
        assert_eq!(q.to_string(), "1 kHz");
        assert_eq!(q.unbroken(), "1\u{a0}kHz");
    }

    #[test]
    fn says_what_is_wrong() {
        for text in [
            "",
            "V",
            "five volts",
            "4.7.7 V",
            "1,234.5 V",
            "1 234 V",
            "4 parsecs",
            "--5 V",
            "5 m%",
            "1e999 V",
        ] {
            let error = text.parse::<Quantity>().expect_err(text).to_string();
            assert!(error.starts_with("expected a quantity"), "{error}");
        }
    }

    proptest! {
        #[test]
        fn printed_is_read_back_equal(mantissa in -999_999_999i64..=999_999_999, power in -15i32..6, unit in 0..Unit::ALL.len()) {
            let value: f64 = format!("{mantissa}e{power}").parse().unwrap();
            let quantity = Quantity { value, unit: Unit::ALL[unit] };
            prop_assert_eq!(quantity.to_string().parse::<Quantity>().unwrap(), quantity);
        }

        #[test]
        fn any_text_is_read_without_panic(text in ".*") {
            let _ = text.parse::<Quantity>();
        }

        #[test]
        fn near_misses_are_read_without_panic(text in "[-+0-9.,eEkKMmuµΩRVsHz% ]{0,12}") {
            if let Ok(q) = text.parse::<Quantity>() {
                prop_assert!(q.to_string().parse::<Quantity>().is_ok(), "{} gives {}", text, q);
            }
        }
    }
}
