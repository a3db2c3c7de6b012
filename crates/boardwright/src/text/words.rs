//! Figures and marks as words.

use crate::sheet::Voice;
use workshop::views::CellState;

/// No-break space: holds a figure and its unit together.
pub(super) const NBSP: char = '\u{a0}';

/// A chance in percent, with the digits that tell something: `63 %`, `0.4 %`, `99.6 %`, `over 99.9 %`.
pub(crate) fn chance(chance: f64) -> String {
    let percent = chance * 100.0;
    if percent <= 0.0 || percent >= 100.0 || (1.0..=99.0).contains(&percent) {
        format!("{percent:.0}{NBSP}%")
    } else if percent < 0.1 {
        format!("under 0.1{NBSP}%")
    } else if percent > 99.9 {
        format!("over 99.9{NBSP}%")
    } else {
        format!("{percent:.1}{NBSP}%")
    }
}

/// A small chance as `1 in 240`, a large one in percent.
pub(super) fn odds(p: f64) -> String {
    if p <= 0.0 {
        return "none at all".to_owned();
    }
    let one_in = 1.0 / p;
    match one_in {
        ..10.0 => chance(p),
        ..1e4 => format!("1 in {}", significant(one_in, 2)),
        ..1e9 => format!("1 in {}", significant(one_in, 1)),
        _ => "less than 1 in 1000000000".to_owned(),
    }
}

/// Rounds a whole number of some size to a few digits.
fn significant(value: f64, digits: i32) -> String {
    let digits_now = value.log10().floor() as i32 + 1;
    let step = 10f64.powi((digits_now - digits).max(0));
    format!("{:.0}", (value / step).round() * step)
}

/// Minutes: `4 min`, `2.5 min`, `3 h 55 min`.
pub(super) fn minutes(minutes: f64) -> String {
    let whole = minutes.round();
    if minutes < 10.0 && (minutes - whole).abs() >= 0.05 {
        return format!("{minutes:.1}{NBSP}min");
    }
    let (hours, rest) = ((whole / 60.0).floor(), whole % 60.0);
    if hours < 1.0 {
        format!("{whole:.0}{NBSP}min")
    } else if rest == 0.0 {
        format!("{hours:.0}{NBSP}h")
    } else {
        format!("{hours:.0}{NBSP}h{NBSP}{rest:.0}{NBSP}min")
    }
}

/// `one parcel`, `two parcels`, `13 parcels`.
pub(super) fn count(number: usize, one: &str, many: &str) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    let noun = if number == 1 { one } else { many };
    match WORDS.get(number) {
        Some(word) => format!("{word} {noun}"),
        None => format!("{number} {noun}"),
    }
}

/// `T-01, T-02 and T-05`.
pub(super) fn list(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// The first letter large.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// The mark of a finding; the word stands beside it.
pub(super) fn mark(state: CellState) -> (Voice, &'static str) {
    match state {
        CellState::Good => (Voice::Plain, "●"),
        CellState::Bad => (Voice::Bad, "✕"),
        CellState::Doubt => (Voice::Doubt, "◐"),
        CellState::ToTake => (Voice::Soft, "○"),
        CellState::Skipped | CellState::None => (Voice::Soft, "–"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances() {
        let check = |p: f64, expect: &str| assert_eq!(chance(p).replace(NBSP, " "), expect, "{p}");
        check(0.0, "0 %");
        check(1.0, "100 %");
        check(0.63, "63 %");
        check(0.634_9, "63 %");
        check(0.01, "1 %");
        check(0.99, "99 %");
        check(0.004, "0.4 %");
        check(0.009_97, "1.0 %");
        check(0.000_4, "under 0.1 %");
        check(1e-12, "under 0.1 %");
        check(0.996, "99.6 %");
        check(0.999_999, "over 99.9 %");
    }

    #[test]
    fn odds_against() {
        let check = |p: f64, expect: &str| assert_eq!(odds(p).replace(NBSP, " "), expect, "{p}");
        check(0.0, "none at all");
        check(0.5, "50 %");
        check(1.0 / 240.0, "1 in 240");
        check(1.0 / 243.0, "1 in 240");
        check(1.0 / 12.0, "1 in 12");
        check(1.0 / 54_321.0, "1 in 50000");
        check(1e-12, "less than 1 in 1000000000");
    }

    #[test]
    fn times() {
        let check = |value: f64, expect: &str| {
            assert_eq!(minutes(value).replace(NBSP, " "), expect, "{value}")
        };
        check(0.0, "0 min");
        check(0.5, "0.5 min");
        check(2.0, "2 min");
        check(9.98, "10 min");
        check(41.4, "41 min");
        check(59.7, "1 h");
        check(60.0, "1 h");
        check(235.0, "3 h 55 min");
    }

    #[test]
    fn lists() {
        let names = |count: usize| {
            (1..=count)
                .map(|nth| format!("T-{nth:02}"))
                .collect::<Vec<_>>()
        };
        assert_eq!(list(&names(0)), "");
        assert_eq!(list(&names(1)), "T-01");
        assert_eq!(list(&names(2)), "T-01 and T-02");
        assert_eq!(list(&names(3)), "T-01, T-02 and T-03");
        assert_eq!(count(1, "parcel", "parcels"), "one parcel");
        assert_eq!(count(13, "parcel", "parcels"), "13 parcels");
        assert_eq!(capital("two"), "Two");
    }
}
