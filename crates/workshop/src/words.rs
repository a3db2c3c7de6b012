//! How figures and lists are said.

use units::{Currency, Decimal, Money};

/// Between a figure and its unit.
pub(crate) const NBSP: char = '\u{a0}';

/// `63 %`; small and large chances keep a figure that says more than 0 or 100.
pub(crate) fn percent(chance: f64) -> String {
    let hundredths = 100.0 * chance;
    if chance > 0.0 && hundredths < 0.5 {
        format!("below 1{NBSP}%")
    } else if chance < 1.0 && hundredths >= 99.5 {
        format!("over 99{NBSP}%")
    } else {
        format!("{hundredths:.0}{NBSP}%")
    }
}

/// `3 %`, `0.02 %`: rounded up, as it is a bound.
pub(crate) fn percent_at_most(chance: f64) -> String {
    let hundredths = 100.0 * chance;
    if hundredths >= 1.0 {
        format!("{:.0}{NBSP}%", hundredths.ceil())
    } else {
        format!(
            "{:.2}{NBSP}%",
            ((100.0 * hundredths).ceil() / 100.0).max(0.01)
        )
    }
}

/// `1 in 240`, two figures.
pub(crate) fn one_in(chance: f64) -> String {
    if chance <= 0.0 {
        return "less than any figure".to_string();
    }
    let times = 1.0 / chance;
    if times < 10.0 {
        return format!("1 in {}", trimmed(times, 1));
    }
    let power = 10f64.powf((times.log10() - 1.0).floor().max(0.0));
    let rounded = (times / power).round() * power;
    if rounded < 1e6 {
        format!("1 in {rounded:.0}")
    } else {
        format!("1 in {rounded:.1e}")
    }
}

/// `a crystal`, `an edge connector`, `an 8-bit latch`.
pub(crate) fn one(what: &str) -> String {
    let vowel = |c: char| "aeiouAEIOU8".contains(c);
    let article = if what.starts_with(vowel) { "an" } else { "a" };
    format!("{article} {what}")
}

/// `9 min`, `3 h 55 min`.
pub(crate) fn minutes(minutes: f64) -> String {
    let whole = minutes.max(0.0).round();
    let (hours, rest) = ((whole / 60.0).floor(), whole % 60.0);
    if hours == 0.0 {
        format!("{rest:.0}{NBSP}min")
    } else if rest == 0.0 {
        format!("{hours:.0}{NBSP}h")
    } else {
        format!("{hours:.0}{NBSP}h {rest:.0}{NBSP}min")
    }
}

/// `two`, `13`.
pub(crate) fn number(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(n)
        .map_or_else(|| n.to_string(), |word| (*word).to_string())
}

/// `nine machines`, `one parcel`.
pub(crate) fn counted(n: usize, one: &str, many: &str) -> String {
    format!("{} {}", number(n), if n == 1 { one } else { many })
}

/// `a`, `a and b`, `a, b and c`.
pub(crate) fn listed(items: &[String], last: &str) -> String {
    match items {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., end] => format!("{} {last} {end}", first.join(", ")),
    }
}

/// The first letter large.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// The first letter small, unless the word is an abbreviation or a name with figures.
pub(crate) fn small(text: &str) -> String {
    let word = text.split_whitespace().next().unwrap_or_default();
    let abbreviation = word
        .chars()
        .skip(1)
        .any(|c| c.is_uppercase() || c.is_ascii_digit())
        || word.chars().count() == 1;
    if abbreviation {
        return text.to_string();
    }
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

/// Ends in a full stop.
pub(crate) fn sentence(text: &str) -> String {
    let text = capital(text.trim());
    if text.is_empty() || text.ends_with(['.', '?']) {
        text
    } else {
        format!("{text}.")
    }
}

/// A text in backticks, cut to a length that fits a line.
pub(crate) fn quoted(text: &str) -> String {
    const MOST: usize = 40;
    let mut short: String = text.trim().chars().take(MOST).collect();
    if short.len() < text.trim().len() {
        short.push('…');
    }
    format!("`{}`", short.escape_debug())
}

/// Spaces that do not break.
pub(crate) fn unbroken(text: &str) -> String {
    text.replace(' ', "\u{a0}")
}

/// A figure with at most this many decimals, zeros dropped.
pub(crate) fn trimmed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

/// Amounts of smallest coins as text, with a real minus sign.
pub(crate) fn coins(minor: i64, currency: Currency) -> String {
    Money::from_minor(minor, currency)
        .amount_text()
        .replace('-', "\u{2212}")
}

/// A reckoned amount in whole currency, rounded to the smallest coin.
pub(crate) fn to_coins(amount: f64, currency: Currency) -> i64 {
    let factor = 10f64.powi(i32::try_from(currency.minor_digits()).unwrap_or(0));
    let minor = (amount * factor).round();
    // Beyond this no pile is worth anything that can be said; the cast saturates.
    minor as i64
}

/// Smallest coins in whole currency, for reckoning.
pub(crate) fn from_coins(minor: i64, currency: Currency) -> f64 {
    let amount = Decimal::new(minor, currency.minor_digits());
    amount.to_string().parse().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances() {
        let check = |chance: f64, says: &str| assert_eq!(percent(chance).replace(NBSP, " "), says);
        check(0.0, "0 %");
        check(0.004, "below 1 %");
        check(0.006, "1 %");
        check(0.634, "63 %");
        check(0.994, "99 %");
        check(0.996, "over 99 %");
        check(1.0, "100 %");
        let check = |chance: f64, says: &str| {
            assert_eq!(percent_at_most(chance).replace(NBSP, " "), says);
        };
        check(0.0, "0.01 %");
        check(0.000_236, "0.03 %");
        check(0.0201, "3 %");
        let check = |chance: f64, says: &str| assert_eq!(one_in(chance), says);
        check(1.0 / 240.0, "1 in 240");
        check(1.0 / 243.0, "1 in 240");
        check(0.02, "1 in 50");
        check(0.4, "1 in 2.5");
        check(1.0 / 98_765.0, "1 in 99000");
    }

    #[test]
    fn times_and_lists() {
        let check = |m: f64, says: &str| assert_eq!(minutes(m).replace(NBSP, " "), says);
        check(9.4, "9 min");
        check(60.0, "1 h");
        check(235.0, "3 h 55 min");
        check(119.7, "2 h");
        let list = |names: &[&str]| {
            listed(
                &names.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "and",
            )
        };
        assert_eq!(list(&["U1"]), "U1");
        assert_eq!(list(&["U1", "U2", "U3"]), "U1, U2 and U3");
    }

    #[test]
    fn letters() {
        assert_eq!(small("Dot clock"), "dot clock");
        assert_eq!(small("RAM bit 2"), "RAM bit 2");
        assert_eq!(small("U9 is dead"), "U9 is dead");
        assert_eq!(small("+5 V at C12"), "+5 V at C12");
        assert_eq!(sentence("look here"), "Look here.");
    }

    #[test]
    fn money() {
        assert_eq!(coins(-7367, Currency::EUR), "\u{2212}73.67");
        assert_eq!(to_coins(73.666, Currency::EUR), 7367);
        assert!((from_coins(7367, Currency::EUR) - 73.67).abs() < 1e-12);
    }
}
