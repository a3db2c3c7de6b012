//! Reads the pins of a device, in the long form (a table for each) or the short one (names in order, kinds beside).

use std::collections::BTreeMap;

use crate::device::{KINDS, Pin, PinKind, Supply};
use crate::fields::{At, Fields, Item};
use crate::problem::{Problems, shown};

/// No package has more, so a longer range is a slip of the pen.
const MOST_PINS: u32 = 1000;

/// Packages whose name ends with their number of pins.
const COUNTED: [&str; 6] = ["DIP-", "SO-", "TSSOP-", "PLCC-", "SIP-", "SOT23-"];

/// Reads `pins` and the keys that belong to it.
pub(crate) fn read_pins(
    fields: &mut Fields<'_>,
    family: Option<&str>,
    supplies: &[Supply],
    problems: &mut Problems<'_>,
) -> Vec<Pin> {
    let span = fields.span.clone();
    let mut kinds = read_kinds(fields, problems);
    for supply in supplies {
        kinds.push((At::new(supply.pin.clone(), span.clone()), PinKind::Supply));
    }
    let levels = read_levels(fields, problems);
    let Some(item) = fields.take("pins") else {
        return Vec::new();
    };
    let mut pins = if is_text(&item) {
        short(item, &kinds, problems)
    } else {
        if let Some((name, _)) = kinds.first() {
            let expected = "kinds in the pins' own tables, or `pins` as a text of names";
            problems.add(&name.span, expected, shown(&name.value));
        }
        let tables = item.many().into_iter();
        tables
            .filter_map(|pin| read_pin(pin.fields("a pin", problems)?, problems))
            .collect()
    };
    for pin in &mut pins {
        let rail = supplies.iter().find(|supply| supply.pin == pin.name);
        let own = levels.get(&pin.name).cloned();
        let usual = family.filter(|_| pin.kind.is_digital()).map(str::to_owned);
        let level = pin.level.take();
        pin.level = level
            .or_else(|| rail.and_then(|supply| supply.rail.clone()))
            .or(own)
            .or(usual);
    }
    pins
}

/// Problems of the pins as a whole: a number twice, or not as many as the package has.
pub(crate) fn check_pins(
    pins: &[Pin],
    package: &str,
    fields: &Fields<'_>,
    problems: &mut Problems<'_>,
) {
    let mut numbers: Vec<u32> = pins.iter().map(|pin| pin.number).collect();
    numbers.sort_unstable();
    if let Some(twice) = numbers.windows(2).find(|pair| pair[0] == pair[1]) {
        let found = format!("`{}` twice", twice[0]);
        problems.add(&fields.span, "each pin number once", found);
    }
    let count = package_pins(package);
    if let Some(count) = count.filter(|&count| count != pins.len() && !pins.is_empty()) {
        let expected = format!("{count} pins, as `package` says");
        problems.add(&fields.span, expected, format!("{} pins", pins.len()));
    }
}

/// How many pins a package has, where its name says so.
pub(crate) fn package_pins(package: &str) -> Option<usize> {
    let count = COUNTED
        .iter()
        .find_map(|start| package.strip_prefix(start))?;
    count.parse().ok()
}

fn is_text(item: &Item<'_>) -> bool {
    matches!(item.value, toml::de::DeValue::String(_))
}

/// Names of pins with their kinds: `input = "A0..A7 /CS"`.
fn read_kinds(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Vec<(At<String>, PinKind)> {
    let mut kinds = Vec::new();
    for (word, kind) in KINDS {
        // What supply pins want is in tables of its own.
        if kind == PinKind::Supply {
            continue;
        }
        let Some(item) = fields.take(word) else {
            continue;
        };
        for name in names(item, problems) {
            kinds.push((name, kind));
        }
    }
    kinds
}

/// Families of single pins: `levels = { "CLK" = "z80-clock" }`.
fn read_levels(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> BTreeMap<String, String> {
    let mut levels = BTreeMap::new();
    let table = fields
        .take("levels")
        .and_then(|item| item.fields("`levels`", problems));
    for (names, family) in table.map(|mut table| table.rest()).unwrap_or_default() {
        let Some(family) = family.text("a logic family", problems) else {
            continue;
        };
        for name in names.value.split_whitespace().flat_map(expand) {
            levels.insert(name, family.value.clone());
        }
    }
    levels
}

/// Pins by their names in order.
fn short(item: Item<'_>, kinds: &[(At<String>, PinKind)], problems: &mut Problems<'_>) -> Vec<Pin> {
    let order = names(item, problems);
    for (name, _) in kinds {
        if order.iter().all(|pin| pin.value != name.value) {
            let known = order.iter().map(|pin| pin.value.as_str());
            problems.unknown(&name.span, "a name in `pins`", &name.value, known);
        }
    }
    let mut pins = Vec::new();
    for (number, name) in (1..).zip(&order) {
        let mut own = kinds.iter().filter(|(other, _)| other.value == name.value);
        let kind = own.next();
        if kind.is_none() {
            let keys = "a kind for each pin, such as `input = \"A0..A7\"`";
            problems.add(&name.span, keys, shown(&name.value));
        }
        if let Some((again, _)) = own.next() {
            let found = format!("{} again", shown(&name.value));
            problems.add(&again.span, "one kind for each pin", found);
        }
        pins.push(Pin {
            number,
            name: name.value.clone(),
            kind: kind.map_or(PinKind::Passive, |&(_, kind)| kind),
            level: None,
        });
    }
    pins
}

/// The names in a text, ranges written out, each with the place where it stands.
fn names(item: Item<'_>, problems: &mut Problems<'_>) -> Vec<At<String>> {
    let span = item.span.clone();
    let raw = problems.source().slice(&span);
    let Some(text) = item.text("names of pins, such as `\"A0..A7 /CS\"`", problems) else {
        return Vec::new();
    };
    let mut all = Vec::new();
    let mut from = 0;
    for word in text.value.split_whitespace() {
        let found = raw.get(from..).and_then(|rest| rest.find(word));
        let start = span.start + found.map_or(0, |at| from + at);
        from = start - span.start + word.len();
        for name in expand(word) {
            all.push(At::new(name, start..start + word.len()));
        }
    }
    all
}

/// `A0..A7` or `1A..4A` written out, up or down; other words as they are.
pub(crate) fn expand(word: &str) -> Vec<String> {
    expand_range(word).unwrap_or_else(|| vec![word.to_owned()])
}

fn expand_range(word: &str) -> Option<Vec<String>> {
    let (first, last) = word.split_once("..")?;
    let trailing = |name: &'_ str| {
        let cut = name
            .rfind(|letter: char| !letter.is_ascii_digit())
            .map_or(0, |at| at + 1);
        (name[..cut].to_owned(), name[cut..].parse::<u32>().ok())
    };
    let leading = |name: &'_ str| {
        let cut = name
            .find(|letter: char| !letter.is_ascii_digit())
            .unwrap_or(name.len());
        (name[cut..].to_owned(), name[..cut].parse::<u32>().ok())
    };
    let numbers = |from: u32, to: u32| -> Option<Vec<u32>> {
        if from.abs_diff(to) >= MOST_PINS {
            return None;
        }
        Some(if from <= to {
            (from..=to).collect()
        } else {
            (to..=from).rev().collect()
        })
    };
    let ((before, from), (same, to)) = (trailing(first), trailing(last));
    if let (true, Some(from), Some(to)) = (before == same, from, to) {
        let numbers = numbers(from, to)?.into_iter();
        return Some(numbers.map(|number| format!("{before}{number}")).collect());
    }
    let ((after, from), (same, to)) = (leading(first), leading(last));
    if after != same {
        return None;
    }
    let numbers = numbers(from?, to?)?.into_iter();
    Some(numbers.map(|number| format!("{number}{after}")).collect())
}

fn read_pin(mut fields: Fields<'_>, problems: &mut Problems<'_>) -> Option<Pin> {
    let whole =
        |number: f64| (1.0..=f64::from(MOST_PINS)).contains(&number) && number.fract() == 0.0;
    let number = fields
        .need("n", problems)
        .and_then(|item| item.number("a pin number", whole, problems));
    let name = fields
        .need("name", problems)
        .and_then(|item| item.text("a text", problems));
    let kind = fields
        .word("kind", &KINDS, problems)
        .unwrap_or(PinKind::Input);
    let level = fields.text("level", problems).map(|level| level.value);
    fields.finish(problems);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked to be whole in 1 to 1000"
    )]
    let number = number? as u32;
    Some(Pin {
        number,
        name: name?.value,
        kind,
        level,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_of_pins() {
        let check = |word: &str, names: &str| assert_eq!(expand(word).join(" "), names);
        check("A0..A3", "A0 A1 A2 A3");
        check("D3..D0", "D3 D2 D1 D0");
        check("1A..4A", "1A 2A 3A 4A");
        check("1Y0..1Y3", "1Y0 1Y1 1Y2 1Y3");
        check("/O9..O7", "/O9..O7");
        check("1A..2B", "1A..2B");
        check("A0..A99999", "A0..A99999");
        check("A..B", "A..B");
        check("..", "..");
        check("CLK", "CLK");
    }
}
