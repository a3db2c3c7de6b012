//! Money: a decimal amount and its ISO 4217 currency, never a float.

use std::error::Error;
use std::fmt;
use std::str::FromStr;

use rust_decimal::{Decimal, RoundingStrategy};

use crate::ParseError;

/// Longest text taken for an amount; more digits than this no price has.
const LONGEST: usize = 40;

/// A currency by its ISO 4217 code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Currency {
    /// Three capital letters; only codes of the table are constructed.
    code: &'static str,
    digits: u32,
}

/// An amount in one currency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    /// The amount in whole units of the currency; may hold more decimals than the currency has coins for.
    pub amount: Decimal,
    /// The currency.
    pub currency: Currency,
}

/// Why a sum of money could not be formed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum MoneyError {
    /// Two currencies in one sum.
    Mixed(Currency, Currency),
    /// The result does not fit.
    TooLarge,
}

/// Codes and minor digits. EUR USD GBP HUF CZK MGA MRU JPY KRW ISK VND UYI KWD BHD TND CLF UYW as in the data set
/// `currency-codes` (ISO 4217 list, PDDL 1.0); the others from memory.
const CURRENCIES: [(&str, u32); 51] = [
    ("AED", 2),
    ("ARS", 2),
    ("AUD", 2),
    ("BGN", 2),
    ("BHD", 3),
    ("BRL", 2),
    ("CAD", 2),
    ("CHF", 2),
    ("CLF", 4),
    ("CLP", 0),
    ("CNY", 2),
    ("CZK", 2),
    ("DKK", 2),
    ("EUR", 2),
    ("GBP", 2),
    ("HKD", 2),
    ("HUF", 2),
    ("IDR", 2),
    ("ILS", 2),
    ("INR", 2),
    ("ISK", 0),
    ("JOD", 3),
    ("JPY", 0),
    ("KRW", 0),
    ("KWD", 3),
    ("MGA", 2),
    ("MRU", 2),
    ("MXN", 2),
    ("MYR", 2),
    ("NOK", 2),
    ("NZD", 2),
    ("OMR", 3),
    ("PHP", 2),
    ("PLN", 2),
    ("PYG", 0),
    ("RON", 2),
    ("RSD", 2),
    ("SEK", 2),
    ("SGD", 2),
    ("THB", 2),
    ("TND", 3),
    ("TRY", 2),
    ("TWD", 2),
    ("UAH", 2),
    ("USD", 2),
    ("UYI", 0),
    ("UYW", 4),
    ("VND", 0),
    ("XAF", 0),
    ("XOF", 0),
    ("ZAR", 2),
];

impl Currency {
    /// The euro.
    pub const EUR: Currency = Currency {
        code: "EUR",
        digits: 2,
    };

    /// The currency with this code, in any case of letters.
    pub fn from_code(code: &str) -> Option<Currency> {
        CURRENCIES
            .iter()
            .find(|(known, _)| known.eq_ignore_ascii_case(code))
            .map(|&(code, digits)| Currency { code, digits })
    }

    /// The ISO 4217 code.
    pub fn code(self) -> &'static str {
        self.code
    }

    /// How many decimals its smallest coin has: 2 for EUR, 0 for JPY.
    pub fn minor_digits(self) -> u32 {
        self.digits
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.code)
    }
}

impl FromStr for Currency {
    type Err = ParseError;

    fn from_str(text: &str) -> Result<Currency, ParseError> {
        let hint = "symbols such as $ stand for several currencies";
        Currency::from_code(text.trim())
            .ok_or_else(|| ParseError::new(text, "a currency code such as `EUR`", hint))
    }
}

impl Money {
    /// Nothing, in this currency.
    pub fn zero(currency: Currency) -> Money {
        Money {
            amount: Decimal::ZERO,
            currency,
        }
    }

    /// Reads `3 EUR`, `EUR 3`, `6,50 €`, and `6.50` in the default currency.
    ///
    /// # Errors
    /// If there is no plain amount, the currency is unknown or given by another symbol than €, or there are more decimals
    /// than the currency has (which also catches `1,234` meant as thousands).
    pub fn parse(text: &str, default: Currency) -> Result<Money, ParseError> {
        let expected = format!("an amount such as `6.50` or `6.50 {default}`");
        let fail = |hint: &str| ParseError::new(text, expected.clone(), hint);
        let (number, sign) = split_currency(text);
        let currency = match sign {
            "" => default,
            "€" => Currency::EUR,
            code => Currency::from_code(code)
                .ok_or_else(|| fail("write the currency by its ISO 4217 code, such as EUR"))?,
        };
        let amount = amount(number).ok_or_else(|| fail(AMOUNT_HINT))?;
        if amount.scale() > currency.digits {
            let hint = format!(
                "{currency} has {} decimals; write no thousands separators",
                currency.digits
            );
            return Err(fail(&hint));
        }
        let money = Money { amount, currency };
        match money.fitting_minor() {
            Some(_) => Ok(money),
            None => Err(fail("the amount is too large")),
        }
    }

    /// An amount of the smallest coins: 7367 is 73.67 EUR.
    pub fn from_minor(minor: i64, currency: Currency) -> Money {
        Money {
            amount: Decimal::new(minor, currency.digits),
            currency,
        }
    }

    /// The amount in the smallest coins, half a coin rounded away from zero. What is read or summed here always fits;
    /// an amount beyond 64 bits put together by hand gives the nearest number that fits.
    pub fn to_minor(&self) -> i64 {
        let limit = if self.amount.is_sign_negative() {
            i64::MIN
        } else {
            i64::MAX
        };
        self.fitting_minor().unwrap_or(limit)
    }

    fn fitting_minor(&self) -> Option<i64> {
        let scale = Decimal::from(10_i64.pow(self.currency.digits));
        let minor = self.rounded().amount.checked_mul(scale)?;
        i64::try_from(minor).ok()
    }

    /// Rounded to the smallest coin, half a coin away from zero.
    pub fn rounded(&self) -> Money {
        let half_up = RoundingStrategy::MidpointAwayFromZero;
        Money {
            amount: self
                .amount
                .round_dp_with_strategy(self.currency.digits, half_up),
            currency: self.currency,
        }
    }

    /// The amount without its currency: `73.67`. Decimals beyond the smallest coin are kept.
    pub fn amount_text(&self) -> String {
        let mut amount = self.amount.normalize();
        if amount.scale() < self.currency.digits {
            amount.rescale(self.currency.digits);
        }
        amount.to_string()
    }

    /// The sum of two amounts in one currency.
    ///
    /// # Errors
    /// If the currencies differ or the sum does not fit.
    pub fn checked_add(self, other: Money) -> Result<Money, MoneyError> {
        self.joined(other, Decimal::checked_add)
    }

    /// The difference of two amounts in one currency.
    ///
    /// # Errors
    /// If the currencies differ or the difference does not fit.
    pub fn checked_sub(self, other: Money) -> Result<Money, MoneyError> {
        self.joined(other, Decimal::checked_sub)
    }

    /// The amount times a whole number.
    ///
    /// # Errors
    /// If the product does not fit.
    pub fn checked_mul(self, times: i64) -> Result<Money, MoneyError> {
        let amount = self.amount.checked_mul(Decimal::from(times));
        self.with(amount)
    }

    fn joined(
        self,
        other: Money,
        join: fn(Decimal, Decimal) -> Option<Decimal>,
    ) -> Result<Money, MoneyError> {
        if self.currency != other.currency {
            return Err(MoneyError::Mixed(self.currency, other.currency));
        }
        self.with(join(self.amount, other.amount))
    }

    fn with(self, amount: Option<Decimal>) -> Result<Money, MoneyError> {
        let currency = self.currency;
        amount
            .map(|amount| Money { amount, currency })
            .filter(|money| money.fitting_minor().is_some())
            .ok_or(MoneyError::TooLarge)
    }
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&format!("{} {}", self.amount_text(), self.currency))
    }
}

impl fmt::Display for MoneyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MoneyError::Mixed(one, other) => {
                write!(
                    f,
                    "expected amounts in `{one}`, found one in `{other}`; give a rate"
                )
            }
            MoneyError::TooLarge => f.write_str("the amount is too large"),
        }
    }
}

impl Error for MoneyError {}

const AMOUNT_HINT: &str =
    "write digits with one decimal mark, comma or dot, and no thousands separators";

/// Reads a bare amount, `0.0275` or `6,50`, with any number of decimals.
///
/// # Errors
/// If it is no plain decimal number.
pub fn parse_amount(text: &str) -> Result<Decimal, ParseError> {
    amount(text.trim())
        .ok_or_else(|| ParseError::new(text, "an amount such as `0.48`", AMOUNT_HINT))
}

fn amount(text: &str) -> Option<Decimal> {
    let digits = text.strip_prefix(['-', '\u{2212}']).unwrap_or(text);
    let plain = digits
        .chars()
        .all(|c| c.is_ascii_digit() || c == '.' || c == ',');
    let framed = digits.starts_with(|c: char| c.is_ascii_digit())
        && digits.ends_with(|c: char| c.is_ascii_digit());
    if digits.len() > LONGEST || !plain || !framed {
        return None;
    }
    let amount = Decimal::from_str_exact(&digits.replace(',', ".")).ok()?;
    Some(if digits.len() < text.len() {
        -amount
    } else {
        amount
    })
}

/// Splits the currency from either end of the text.
fn split_currency(text: &str) -> (&str, &str) {
    let text = text.trim();
    let is_sign = |c: char| !c.is_ascii_digit() && !c.is_whitespace() && !"-\u{2212}.,".contains(c);
    let before = text.trim_start_matches(is_sign);
    if before.len() < text.len() {
        return (before.trim(), &text[..text.len() - before.len()]);
    }
    let after = text.trim_end_matches(is_sign);
    (after.trim(), &text[after.len()..])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(text: &str, printed: &str) {
        let money = Money::parse(text, Currency::EUR).unwrap_or_else(|e| panic!("{text}: {e}"));
        assert_eq!(money.to_string(), printed, "{text}");
    }

    #[test]
    fn reads_and_prints() {
        check("3 EUR", "3.00 EUR");
        check("EUR 3", "3.00 EUR");
        check("6.50", "6.50 EUR");
        check("6,50 €", "6.50 EUR");
        check("€6.50", "6.50 EUR");
        check("73.67", "73.67 EUR");
        check("120 jpy", "120 JPY");
        check("1.234 KWD", "1.234 KWD");
        check("-2.5 GBP", "-2.50 GBP");
        check("0", "0.00 EUR");
    }

    #[test]
    fn says_what_is_wrong() {
        let check = |text: &str, hint: &str| {
            let error = Money::parse(text, Currency::EUR).expect_err(text);
            assert!(error.hint.starts_with(hint), "{text}: {error}");
        };
        check("", "write digits");
        check("free", "write the currency");
        check("5 $", "write the currency");
        check("1,234", "EUR has 2 decimals");
        check("1.5 JPY", "JPY has 0 decimals");
        check("1,234.50", "write digits");
        check("1 234", "write digits");
        check("5 ZZZ", "write the currency");
        check(&"9".repeat(60), "write digits");
    }

    /// ISO 4217 as in the data set `currency-codes` (PDDL 1.0).
    #[test]
    fn minor_digits_of_the_standard() {
        let groups: [(&[&str], u32); 4] = [
            (&["EUR", "USD", "GBP", "HUF", "CZK", "MGA", "MRU"], 2),
            (&["JPY", "KRW", "ISK", "VND", "UYI"], 0),
            (&["KWD", "BHD", "TND"], 3),
            (&["CLF", "UYW"], 4),
        ];
        for (codes, digits) in groups {
            for code in codes {
                assert_eq!(
                    Currency::from_code(code).map(Currency::minor_digits),
                    Some(digits),
                    "{code}"
                );
            }
        }
        assert_eq!(Currency::from_code("XAU"), None);
        assert!(CURRENCIES.is_sorted());
    }

    #[test]
    fn half_a_coin_rounds_away_from_zero() {
        let check = |amount: &str, minor: i64| {
            let money = Money {
                amount: parse_amount(amount).unwrap(),
                currency: Currency::EUR,
            };
            assert_eq!(money.to_minor(), minor, "{amount}");
        };
        check("0.125", 13);
        check("0.1249", 12);
        check("-0.125", -13);
        check("2.675", 268);
    }

    #[test]
    fn sums_keep_to_one_currency() {
        let euro = Money::from_minor(7367, Currency::EUR);
        let yen = Money::parse("5 JPY", Currency::EUR).unwrap();
        assert_eq!(euro.checked_add(euro).unwrap().to_string(), "147.34 EUR");
        assert_eq!(euro.checked_sub(euro).unwrap(), Money::zero(Currency::EUR));
        assert_eq!(euro.checked_mul(3).unwrap().to_string(), "221.01 EUR");
        assert_eq!(
            euro.checked_add(yen),
            Err(MoneyError::Mixed(euro.currency, yen.currency))
        );
        let huge = Money {
            amount: Decimal::MAX,
            currency: Currency::EUR,
        };
        assert_eq!(huge.checked_mul(2), Err(MoneyError::TooLarge));
        assert_eq!(huge.to_minor(), i64::MAX);
    }

    proptest! {
        #[test]
        fn printed_is_read_back_equal(minor: i64, row in 0..CURRENCIES.len()) {
            let currency = Currency::from_code(CURRENCIES[row].0).unwrap();
            let money = Money::from_minor(minor, currency);
            prop_assert_eq!(Money::parse(&money.to_string(), Currency::EUR).unwrap(), money);
            prop_assert_eq!(money.to_minor(), minor);
        }

        #[test]
        fn any_text_is_read_without_panic(text in ".*") {
            let _ = Money::parse(&text, Currency::EUR);
            let _ = parse_amount(&text);
        }
    }
}
