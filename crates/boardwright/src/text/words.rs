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
