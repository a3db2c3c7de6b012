//! How parts, modes, checks and findings are said.

use catalogue::{Check, Mode, Part, Profile, Tells};
use journal::Shown;
use units::{Limits, Quantity, Reading, Unit};

use crate::{
    entry::{display_unit, good_outcome},
    situation::component,
    views::{Band, Cell, CellState, CheckHead, Word},
    words::{NBSP, capital, small, trimmed, unbroken},
};

/// `U9`, `CPU`, `supply`.
pub(crate) fn short(part: &str) -> String {
    let block = !part.contains(|c: char| c.is_ascii_digit()) && part.len() > 3;
    if block {
        part.to_lowercase()
    } else {
        part.to_string()
    }
}

/// `U9, the video controller,` as the head of a sentence.
fn named(part: &Part) -> String {
    let title = small(&part.title);
    let reference = &part.reference;
    if title.is_empty() {
        reference.clone()
    } else if !reference.contains(|c: char| c.is_ascii_digit()) {
        capital(&format!("the {title}"))
    } else if title.contains(',') {
        format!("{reference} ({title})")
    } else {
        format!("{reference}, the {title},")
    }
}

/// `U9, the video controller, is dead.`
pub(crate) fn mode_sentence(part: &Part, mode: &Mode) -> String {
    let name = named(part);
    let title = if mode.title.is_empty() {
        mode.id.replace('-', " ")
    } else {
        small(&mode.title)
    };
    let first = title.split_whitespace().next().unwrap_or_default();
    let no_verbs = [
        "bits", "contacts", "pins", "keys", "voices", "lines", "rows", "some", "its", "sockets",
        "joints",
    ];
    let verb = first.ends_with('s') && !first.ends_with("ss") && !no_verbs.contains(&first);
    // without a reference before it, such as `The processor and its buffers`
    let several = name.contains(" and ") && !name.contains(&part.reference);
    if verb && several {
        format!("{name} {}{}.", of_several(first), &title[first.len()..])
    } else if verb {
        format!("{name} {title}.")
    } else {
        format!("{}: {title}.", name.trim_end_matches(','))
    }
}

/// The verb after several: `holds` becomes `hold`.
fn of_several(verb: &str) -> &str {
    match verb {
        "is" => "are",
        "has" => "have",
        "does" => "do",
        _ => verb.strip_suffix('s').unwrap_or(verb),
    }
}

/// `U9 dead`.
pub(crate) fn mode_short(profile: &Profile, part: &str, mode: &str) -> String {
    let outside = profile
        .part(part)
        .is_none()
        .then(|| profile.outside.iter().find(|outside| outside.id == part))
        .flatten();
    match outside {
        Some(outside) => format!("{} {mode}", outside.title),
        None => format!("{} {}", short(part), mode.replace('-', " ")),
    }
}

/// The short title of a check; a question gives way to its id.
pub(crate) fn check_title(check: &Check) -> String {
    if check.title.is_empty() || check.title.ends_with('?') {
        capital(&check.id.replace('-', " "))
    } else {
        check.title.clone()
    }
}

/// `U1 pin 26`, `U26 pins 4, 3 and 38`; nothing where a check looks at no point in particular.
pub(crate) fn at(check: &Check) -> String {
    let mut places: Vec<(&str, Vec<String>)> = Vec::new();
    for at in &check.at {
        let pin = at
            .rsplit_once('.')
            .filter(|(_, pin)| pin.chars().all(|c| c.is_ascii_digit()));
        let (part, pin) = pin.map_or((at.as_str(), None), |(part, pin)| {
            (part, Some(pin.to_string()))
        });
        match places.iter_mut().find(|(known, _)| *known == part) {
            Some((_, pins)) => pins.extend(pin),
            None => places.push((part, pin.into_iter().collect())),
        }
    }
    let place = |(part, pins): &(&str, Vec<String>)| match pins.as_slice() {
        [] => (*part).to_string(),
        [pin] => format!("{part} pin {pin}"),
        pins => format!("{part} pins {}", crate::words::listed(pins, "and")),
    };
    crate::words::listed(&places.iter().map(place).collect::<Vec<_>>(), "and")
}

/// `dot clock at U9 pin 22`.
pub(crate) fn check_at(check: &Check) -> String {
    let (title, at) = (small(&check_title(check)), at(check));
    if at.is_empty() || title.contains(&small(&at)) {
        title
    } else if [" at ", " on ", ", "]
        .iter()
        .any(|word| title.contains(word))
    {
        format!("{title}, {at}")
    } else {
        format!("{title} at {at}")
    }
}

/// Head of a column, and what can be entered there.
pub(crate) fn head(check: &Check) -> CheckHead {
    let word = |id: &str, title: &str| Word {
        id: id.to_string(),
        title: title.to_string(),
    };
    let outcomes = check
        .outcomes
        .iter()
        .map(|outcome| word(&outcome.id, &outcome.title));
    CheckHead {
        id: check.id.clone(),
        title: check_title(check),
        at: at(check),
        limits: check
            .limits
            .map(|limits| unbroken_unit(&limits_text(&limits))),
        unit: check.limits.map(|limits| display_unit(&limits)),
        how: check.how.clone(),
        caution: check.caution.clone(),
        words: outcomes
            .chain([word("cannot", "cannot be done"), word("skip", "left out")])
            .collect(),
    }
}

/// The last space does not break: the unit stays with its figure.
fn unbroken_unit(text: &str) -> String {
    match text.rsplit_once(' ') {
        Some((figures, unit)) => format!("{figures}{NBSP}{unit}"),
        None => text.to_string(),
    }
}

/// What an outcome says, `no sync`; its one word where the title is long.
pub(crate) fn outcome_word(check: &Check, id: &str) -> String {
    let outcome = check.outcomes.iter().find(|outcome| outcome.id == id);
    let short = |title: &&String| !title.is_empty() && !title.contains(',') && title.len() <= 20;
    outcome
        .map(|outcome| &outcome.title)
        .filter(short)
        .cloned()
        .unwrap_or_else(|| id.to_string())
}

/// What an outcome says in full: `blank, black`.
fn outcome_title(check: &Check, id: &str) -> String {
    let outcome = check.outcomes.iter().find(|outcome| outcome.id == id);
    outcome
        .filter(|outcome| !outcome.title.is_empty())
        .map_or_else(|| id.to_string(), |outcome| outcome.title.clone())
}

/// Limits as they are printed: volts and amperes from a tenth on without a prefix, as meters show them.
pub(crate) fn limits_text(limits: &Limits) -> String {
    match plain_edges(limits) {
        Some((low, high)) => format!("{low} to {high} {}", limits.unit.symbol()),
        None => limits.to_string(),
    }
}

fn plain_edges(limits: &Limits) -> Option<(String, String)> {
    let (low, high) = (limits.low?, limits.high?);
    let plain = matches!(limits.unit, Unit::Volt | Unit::Ampere)
        && [low, high]
            .iter()
            .all(|edge| (0.1..1000.0).contains(&edge.abs()));
    plain.then(|| (trimmed(low, 6), trimmed(high, 6)))
}

/// A reading as it was read: `8.004 MHz`.
pub(crate) fn reading_text(value: f64, unit: &str, digit: f64) -> String {
    let unit = Unit::from_symbol(unit);
    unbroken(&Reading { value, unit, digit }.to_string())
}

/// What was entered, as one reads it back.
pub(crate) fn shown_text(check: Option<&Check>, shown: &Shown) -> String {
    match shown {
        Shown::Outcome(id) => check.map_or_else(|| id.clone(), |check| outcome_word(check, id)),
        Shown::Reading {
            value, unit, digit, ..
        } => reading_text(*value, unit, *digit),
        Shown::Cannot => "cannot tell".to_string(),
        Shown::Skipped => "skipped".to_string(),
    }
}

/// Half-width of a reading's uncertainty: its components in squares.
pub(crate) fn half_width(value: f64, components: &[journal::Component]) -> f64 {
    let squares: f64 = components
        .iter()
        .map(|one| component(one).half_width(value).powi(2))
        .sum();
    squares.sqrt()
}

/// A reading in its limits.
pub(crate) fn band(check: &Check, shown: &Shown) -> Option<Band> {
    let Shown::Reading {
        value,
        unit,
        digit,
        components,
        ..
    } = shown
    else {
        return None;
    };
    let limits = check.limits.filter(|limits| limits.unit.symbol() == unit)?;
    let half_width = half_width(*value, components);
    let sigma = units::Instrument {
        name: String::new(),
        components: components.iter().map(component).collect(),
    }
    .sigma(*value);
    let outside = limits.probability_outside(*value, sigma);
    let value_text = reading_text(*value, unit, *digit);
    let (low_text, high_text) = edges(&limits);
    let mut band = Band {
        low: limits.low,
        high: limits.high,
        value: *value,
        half_width,
        outside,
        low_text,
        high_text,
        value_text,
        sentence: String::new(),
    };
    let place = match band.state() {
        CellState::Bad => "outside",
        _ if outside >= 0.5 => "too coarse for",
        CellState::Doubt => "at the edge of",
        _ => "within",
    };
    let its = match (limits.low, limits.high) {
        (Some(_), Some(_)) => "",
        _ => "its limit, ",
    };
    let range = unbroken_unit(&limits_text(&limits));
    band.sentence = format!("{}, {place} {its}{range}", band.value_text);
    Some(band)
}

/// The figures of both limits.
fn edges(limits: &Limits) -> (Option<String>, Option<String>) {
    let alone = |value: f64| {
        unbroken(
            &Quantity {
                value,
                unit: limits.unit,
            }
            .to_string(),
        )
    };
    match (limits.low, limits.high) {
        (Some(_), Some(_)) => {
            let text = limits_text(limits);
            let (low, rest) = text.split_once(" to ").unwrap_or((&text, ""));
            (
                Some(low.to_string()),
                Some(rest.split(' ').next().unwrap_or_default().to_string()),
            )
        }
        (low, high) => (low.map(alone), high.map(alone)),
    }
}

/// `± 0.03`, in the unit the reading is printed in, with one figure.
pub(crate) fn plus_minus(shown: &Shown) -> Option<String> {
    let Shown::Reading {
        value,
        unit,
        digit,
        components,
        ..
    } = shown
    else {
        return None;
    };
    let half_width = half_width(*value, components);
    let printed = reading_text(*value, unit, *digit);
    let prefixed = printed.rsplit_once(NBSP).map_or("", |(_, unit)| unit);
    let scale = format!("1 {prefixed}")
        .parse::<Quantity>()
        .map_or(1.0, |one| one.value);
    let figure = half_width / scale;
    if figure <= 0.0 || !figure.is_finite() {
        return None;
    }
    let decimals = usize::try_from(-(figure.log10().floor() as i64))
        .unwrap_or(0)
        .min(9);
    Some(format!("± {figure:.decimals$}"))
}

/// How a finding stands in the grid.
pub(crate) fn cell(check: &Check, shown: &Shown) -> Cell {
    let band = band(check, shown);
    let text = shown_text(Some(check), shown);
    let state = match shown {
        Shown::Skipped => CellState::Skipped,
        Shown::Cannot => CellState::Doubt,
        Shown::Reading { .. } => band.as_ref().map_or(CellState::Good, Band::state),
        Shown::Outcome(id) => match check.outcomes.iter().position(|outcome| outcome.id == *id) {
            Some(index) if is_good(check, index) => CellState::Good,
            _ => CellState::Bad,
        },
    };
    Cell { state, text, band }
}

/// A sound board shows this outcome now and then.
fn is_good(check: &Check, index: usize) -> bool {
    match &check.tells {
        Tells::Target { .. } => index == 0,
        Tells::Rows(rows) => {
            good_outcome(check) == Some(index)
                || rows
                    .last()
                    .and_then(|row| row.shows.get(index))
                    .is_some_and(|chance| *chance >= 0.1)
        }
    }
}

/// A cell without a finding.
pub(crate) fn empty_cell(state: CellState) -> Cell {
    Cell {
        state,
        text: String::new(),
        band: None,
    }
}

/// How a finding was understood: `dot clock, U9 pin 22, 8.004 MHz ± 0.001: within 7.98 to 8.02 MHz`.
pub(crate) fn understood(check: &Check, shown: &Shown) -> String {
    let mut sentence = small(&check_title(check));
    let at = at(check);
    if !at.is_empty() {
        sentence = format!("{sentence}, {at}");
    }
    match (band(check, shown), shown) {
        (Some(band), _) => {
            let plus_minus = plus_minus(shown)
                .map(|text| format!(" {text}"))
                .unwrap_or_default();
            let rest = band
                .sentence
                .strip_prefix(&band.value_text)
                .unwrap_or_default()
                .trim_start_matches(", ");
            format!("{sentence}, {}{plus_minus}: {rest}", band.value_text)
        }
        (None, Shown::Skipped) => format!("{sentence}: left out"),
        (None, Shown::Cannot) => format!("{sentence}: cannot be done"),
        (None, Shown::Outcome(id)) => format!("{sentence}: {}", outcome_title(check, id)),
        (None, _) => format!("{sentence}: {}", shown_text(Some(check), shown)),
    }
}

/// Up to three other words that could be meant.
pub(crate) fn alternatives(check: &Check, shown: &Shown) -> Vec<Word> {
    let mut words = head(check).words;
    let own = match shown {
        Shown::Outcome(id) => id.as_str(),
        Shown::Cannot => "cannot",
        Shown::Skipped => "skip",
        Shown::Reading { .. } => "pass",
    };
    words.retain(|word| word.id != own);
    // The last two, `cannot` and `skip`, are always on offer; an outcome comes before them.
    let tail = words.split_off(words.len().saturating_sub(2));
    words.truncate(3 - tail.len().min(3));
    words.extend(tail);
    words
}

#[cfg(test)]
mod tests {
    use super::*;
    use catalogue::{CuredBy, Mount, RailFault, Site, Target};

    fn part(reference: &str, title: &str) -> Part {
        Part {
            reference: reference.to_string(),
            title: title.to_string(),
            block: String::new(),
            device: None,
            mount: Mount::Socket,
            optional: false,
            modes: Vec::new(),
            area: None,
        }
    }

    fn mode(id: &str, title: &str) -> Mode {
        Mode {
            id: id.to_string(),
            title: title.to_string(),
            chance: 0.1,
            site: Site::Chip,
            spoils: Vec::new(),
            spares: Vec::new(),
            shows: 1.0,
            after_minutes: 0.0,
            cured_by: CuredBy::default(),
            rail: RailFault::Low,
        }
    }

    #[test]
    fn several_hold_and_one_holds() {
        let check = |reference: &str, title: &str, mode_title: &str, expect: &str| {
            let sentence = mode_sentence(&part(reference, title), &mode("jam", mode_title));
            assert_eq!(sentence, expect);
        };
        let pair = "processor and its buffers";
        check(
            "CPU",
            pair,
            "holds a line",
            "The processor and its buffers hold a line.",
        );
        check(
            "CPU",
            pair,
            "is dead",
            "The processor and its buffers are dead.",
        );
        check(
            "U9",
            "latch and buffer",
            "is dead",
            "U9, the latch and buffer, is dead.",
        );
        check(
            "CPU",
            "processor",
            "holds a line",
            "The processor holds a line.",
        );
    }

    #[test]
    fn modes() {
        let check = |reference: &str, title: &str, mode_title: &str, says: &str| {
            assert_eq!(
                mode_sentence(&part(reference, title), &mode("dead", mode_title)),
                says
            );
        };
        check(
            "U9",
            "video controller",
            "is dead",
            "U9, the video controller, is dead.",
        );
        check("U9", "", "", "U9: dead.");
        check("U16", "RAM, bit 2", "is dead", "U16 (RAM, bit 2) is dead.");
        check("ROM", "ROM chips", "bits gone", "The ROM chips: bits gone.");
        check("CPU", "CPU", "does nothing", "The CPU does nothing.");
        check(
            "U2",
            "ROM",
            "wrong type fitted",
            "U2, the ROM: wrong type fitted.",
        );
    }

    fn clock() -> Check {
        Check {
            id: "dot-clock".to_string(),
            aliases: Vec::new(),
            title: "Dot clock".to_string(),
            how: String::new(),
            caution: None,
            minutes: 2.0,
            set_up: Vec::new(),
            requires: Vec::new(),
            harms: Vec::new(),
            at: vec!["U9.22".to_string()],
            outcomes: ["pass", "fail"]
                .map(|id| catalogue::Outcome {
                    id: id.to_string(),
                    title: id.to_string(),
                })
                .to_vec(),
            tells: Tells::Target {
                target: Target::Function("dots".to_string()),
                false_pass: 0.0,
                false_fail: 0.0,
            },
            blunder: 0.0,
            limits: Some(Limits {
                unit: Unit::Hertz,
                low: Some(7.98e6),
                high: Some(8.02e6),
            }),
            repeats_same: false,
        }
    }

    fn reading(value: f64, digit: f64) -> Shown {
        let components = vec![journal::Component {
            percent: 0.01,
            counts: 0.2,
            digit,
        }];
        Shown::Reading {
            value,
            unit: "Hz".to_string(),
            digit,
            instrument: String::new(),
            components,
        }
    }

    #[test]
    fn findings() {
        let check = |shown: &Shown, says: &str| {
            assert_eq!(understood(&clock(), shown).replace(NBSP, " "), says)
        };
        check(
            &reading(8.004e6, 1e3),
            "dot clock, U9 pin 22, 8.004 MHz ± 0.001: within 7.98 to 8.02 MHz",
        );
        check(
            &reading(8.31e6, 1e4),
            "dot clock, U9 pin 22, 8.31 MHz ± 0.003: outside 7.98 to 8.02 MHz",
        );
        // inside its limits, but the last digit stands for more than these are apart
        let coarse = reading(8e6, 1e6);
        check(
            &coarse,
            "dot clock, U9 pin 22, 8 MHz ± 0.2: too coarse for 7.98 to 8.02 MHz",
        );
        assert_eq!(cell(&clock(), &coarse).state, CellState::Doubt);
        check(
            &Shown::Outcome("fail".to_string()),
            "dot clock, U9 pin 22: fail",
        );
        check(&Shown::Cannot, "dot clock, U9 pin 22: cannot be done");
        let words: Vec<String> = alternatives(&clock(), &reading(8e6, 1e3))
            .into_iter()
            .map(|word| word.id)
            .collect();
        assert_eq!(words, ["fail", "cannot", "skip"]);
        let band = band(&clock(), &reading(8.31e6, 1e4)).unwrap();
        assert_eq!(
            (band.low_text.as_deref(), band.high_text.as_deref()),
            (Some("7.98"), Some("8.02"))
        );
        assert_eq!(cell(&clock(), &reading(8.31e6, 1e4)).state, CellState::Bad);
    }
}
