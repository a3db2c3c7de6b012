//! Readings as people write them at the bench.

use std::fmt;

use crate::number::{Number, Suffix, plain, prefix, shifted};
use crate::quantity::suffix;
use crate::{ReadingError, Unit};

/// A value as it was read, with the worth of its last written digit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Value in the base unit.
    pub value: f64,
    /// The unit, if one was written.
    pub unit: Option<Unit>,
    /// Worth of the last written digit, in the base unit: 0.01 for `4.77`, 1000 for `985k`.
    pub digit: f64,
}

/// Reads `4.77`, `4,77 V`, `985k`, `3.5 MHz`, `1k2`, `-5,02`, `4R7`, `142ms`, `138`.
///
/// Comma and dot are both decimal marks, and there are no thousands separators: `1,234` is 1.234.
/// `m` is milli and `M` is mega; a bare `m` is refused for a frequency, where it is nearly always a mistyped `M`.
///
/// # Errors
/// If the text is no number, has a unit other than `expected`, or is too large.
///
/// ```
/// use units::{Unit, parse_reading};
/// let reading = parse_reading("4,77 V", Unit::Volt).unwrap();
/// assert_eq!((reading.value, reading.digit), (4.77, 0.01));
/// assert!(parse_reading("3.5 MHz", Unit::Volt).is_err());
/// ```
pub fn parse_reading(text: &str, expected: Unit) -> Result<Reading, ReadingError> {
    let wanted = expected.described();
    let fail = |hint: String| ReadingError::new(text, wanted.clone(), hint);
    let number = Number::split(text, &wanted)?;
    let suffix = match number.infix {
        Some(letter) => infix_suffix(letter, &number.rest, expected),
        None => Suffix::read(&number.rest, Some(expected)),
    };
    let suffix = suffix.ok_or_else(|| fail(hint(&number, expected)))?;
    if let Some(unit) = suffix.unit.filter(|unit| *unit != expected) {
        let other = unit.described();
        return Err(fail(format!(
            "that is {other}; check which point or range was meant"
        )));
    }
    if expected == Unit::Hertz && suffix.power == -3 && number.rest != "mHz" {
        return Err(fail("`m` is milli; write `M` for mega".to_string()));
    }
    let too_large = || fail("the number is out of range".to_string());
    Ok(Reading {
        value: number.value(suffix.power).ok_or_else(too_large)? * suffix.factor,
        unit: suffix.unit,
        digit: number.digit(suffix.power).ok_or_else(too_large)? * suffix.factor,
    })
}

impl fmt::Display for Reading {
    /// The reading with exactly the digits it was written with: `985 kΩ`, `4.70 V`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let last = power_of_ten(self.digit);
        let leading = power_of_ten(self.value.abs().max(self.digit));
        let significant = usize::try_from(leading - last + 1).unwrap_or(1);
        let prefixed = self.unit.is_none_or(Unit::takes_prefix);
        let power = if prefixed {
            print_power(leading, last)
        } else {
            0
        };
        let (negative, digits, end) = if self.value == 0.0 {
            (false, "0".to_string(), last - power)
        } else {
            shifted(self.value, power, significant)
        };
        let number = if end > 0 {
            format!("{digits}e{end}")
        } else {
            plain(&digits, end)
        };
        let unit = suffix(power, self.unit.unwrap_or(Unit::One));
        let space = if unit.is_empty() || self.unit.is_none() {
            ""
        } else {
            " "
        };
        write!(
            f,
            "{}{number}{space}{unit}",
            if negative { "-" } else { "" }
        )
    }
}

/// The prefix by the size of the value, but never so small that digits that were not read would appear.
fn print_power(leading: i32, last: i32) -> i32 {
    let by_size = leading.div_euclid(3) * 3;
    let by_digit = (last + 2).div_euclid(3) * 3;
    by_size.max(by_digit).clamp(-15, 12)
}

fn power_of_ten(value: f64) -> i32 {
    let text = format!("{value:e}");
    text.split_once('e')
        .and_then(|(_, exponent)| exponent.parse().ok())
        .unwrap_or(0)
}

fn infix_suffix(letter: char, rest: &str, expected: Unit) -> Option<Suffix> {
    let mut buffer = [0; 4];
    let letter: &str = letter.encode_utf8(&mut buffer);
    let written = match rest {
        "" => None,
        rest => Some(Unit::from_symbol(rest)?),
    };
    let own = Unit::from_symbol(letter).filter(|unit| *unit == expected);
    let (power, unit) = match (own, prefix(letter)) {
        (Some(unit), _) if written.is_none() => (0, Some(unit)),
        (_, Some((power, _))) if expected.takes_prefix() => (power, written),
        _ => (0, Some(Unit::from_symbol(letter)?)),
    };
    Some(Suffix {
        power,
        factor: 1.0,
        unit,
    })
}

fn hint(number: &Number, expected: Unit) -> String {
    let symbol = expected.symbol();
    let rest = &number.rest;
    match (rest.is_empty(), symbol) {
        (true, _) => "write the number with a decimal mark".to_string(),
        (false, "") => format!("leave out `{rest}`"),
        (false, _) if expected.takes_prefix() => {
            format!("leave out `{rest}` or write `{symbol}`, `m{symbol}`, `k{symbol}`")
        }
        (false, _) => format!("leave out `{rest}` or write `{symbol}`"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(text: &str, expected: Unit, value: f64, digit: f64, printed: &str) {
        let reading = parse_reading(text, expected).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!((reading.value, reading.digit), (value, digit), "{text}");
        assert_eq!(reading.to_string(), printed, "{text}");
    }

    #[test]
    fn reads_what_people_write() {
        check("4.77", Unit::Volt, 4.77, 0.01, "4.77");
        check("4,77 V", Unit::Volt, 4.77, 0.01, "4.77 V");
        check("4,77v", Unit::Volt, 4.77, 0.01, "4.77 V");
        check("4.70", Unit::Volt, 4.7, 0.01, "4.70");
        check("985k", Unit::Ohm, 985e3, 1e3, "985k");
        check("985K", Unit::Ohm, 985e3, 1e3, "985k");
        check("985 kohm", Unit::Ohm, 985e3, 1e3, "985 kΩ");
        check("3.5 MHz", Unit::Hertz, 3.5e6, 1e5, "3.5 MHz");
        check("3.5M", Unit::Hertz, 3.5e6, 1e5, "3.5M");
        check("1k2", Unit::Ohm, 1200.0, 100.0, "1.2k");
        check("-5,02", Unit::Volt, -5.02, 0.01, "-5.02");
        check("4R7", Unit::Ohm, 4.7, 0.1, "4.7 Ω");
        check("4k7 Ω", Unit::Ohm, 4700.0, 100.0, "4.7 kΩ");
        check("3V3", Unit::Volt, 3.3, 0.1, "3.3 V");
        check("142ms", Unit::Second, 0.142, 1e-3, "142 ms");
        check("5m", Unit::Second, 0.005, 1e-3, "5m");
        check("5 min", Unit::Second, 300.0, 60.0, "0.30 ks");
        check("0,71 A", Unit::Ampere, 0.71, 0.01, "0.71 A");
        check("710 mA", Unit::Ampere, 0.71, 1e-3, "710 mA");
        check("138", Unit::One, 138.0, 1.0, "138");
        check("138", Unit::Ohm, 138.0, 1.0, "138");
        check("5 m", Unit::Metre, 5.0, 1.0, "5 m");
        check("1,234", Unit::Volt, 1.234, 0.001, "1.234");
        check("0.00", Unit::Volt, 0.0, 0.01, "0.00");
        check("20 C", Unit::Celsius, 20.0, 1.0, "20 °C");
        check("55 %", Unit::Percent, 55.0, 1.0, "55 %");
        check("293 K", Unit::Kelvin, 293.0, 1.0, "293 K");
        check("0.98M", Unit::Ohm, 980e3, 10e3, "0.98M");
    }

    fn refuse(text: &str, expected: Unit, message: &str) {
        let error = parse_reading(text, expected).expect_err(text).to_string();
        assert_eq!(error, message);
    }

    #[test]
    fn says_what_is_wrong() {
        refuse(
            "",
            Unit::Volt,
            "expected a voltage in V, found nothing; begin with digits",
        );
        refuse(
            "dead",
            Unit::Volt,
            "expected a voltage in V, found `dead`; begin with digits",
        );
        refuse(
            "3.5 MHz",
            Unit::Volt,
            "expected a voltage in V, found `3.5 MHz`; that is a frequency in Hz; check which point or range was meant",
        );
        refuse(
            "3.5m",
            Unit::Hertz,
            "expected a frequency in Hz, found `3.5m`; `m` is milli; write `M` for mega",
        );
        refuse(
            "3.5mhz",
            Unit::Hertz,
            "expected a frequency in Hz, found `3.5mhz`; `m` is milli; write `M` for mega",
        );
        refuse(
            "4.7.7",
            Unit::Volt,
            "expected a voltage in V, found `4.7.7`; write one decimal mark, comma or dot, and no thousands separators",
        );
        refuse(
            "4.77 wolts",
            Unit::Volt,
            "expected a voltage in V, found `4.77 wolts`; leave out `wolts` or write `V`, `mV`, `kV`",
        );
        refuse(
            "5 apples",
            Unit::Percent,
            "expected a share in %, found `5 apples`; leave out `apples` or write `%`",
        );
        refuse(
            "1e400",
            Unit::Volt,
            "expected a voltage in V, found `1e400`; the number is out of range",
        );
        let noise = "9".repeat(10_000_000);
        let error = parse_reading(&noise, Unit::Volt)
            .expect_err("noise")
            .to_string();
        assert!(error.len() < 200, "{error}");
    }

    proptest! {
        #[test]
        fn printed_is_read_back_equal(mantissa in -999_999i64..=999_999, power in -9i32..6, unit in 0..Unit::ALL.len()) {
            let unit = Unit::ALL[unit];
            let text = format!("{mantissa}e{power}");
            let reading = Reading { value: text.parse().unwrap(), unit: Some(unit), digit: format!("1e{power}").parse().unwrap() };
            let back = parse_reading(&reading.to_string(), unit).unwrap();
            prop_assert_eq!((back.value, back.digit), (reading.value, reading.digit), "{}", reading);
        }

        #[test]
        fn any_text_is_read_without_panic(text in ".*", unit in 0..Unit::ALL.len()) {
            let _ = parse_reading(&text, Unit::ALL[unit]);
        }

        #[test]
        fn near_misses_are_read_without_panic(text in "[-+0-9.,eEkKMmuµΩRVsHz% ]{0,12}", unit in 0..Unit::ALL.len()) {
            if let Ok(reading) = parse_reading(&text, Unit::ALL[unit]) {
                prop_assert!(reading.value.is_finite() && reading.digit > 0.0);
                let _ = reading.to_string();
            }
        }
    }
}
