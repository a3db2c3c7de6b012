//! Resistances to ground, pin by pin, of a good board and a suspect one.
//!
//! A fault at a pin shows as a ratio, not as a difference: 4.5 kilohms against 60 ohms. So the logarithm of the ratio is looked
//! at, against what the other pins of the same pair of boards show: z = (d − median d) / spread, where spread is the median
//! of the distances from the median times 1.4826, as a normal distribution has it, and never less than the meter's own.

use crate::lists::{decode_list, is_reference};
use crate::problem::{Problem, Problems, shown};
use crate::source::Source;
use units::{Quantity, Unit};

/// The least spread of the logarithm of a ratio of two readings: the meter, the leads and the warmth of the room together.
/// Source: common practice, no source.
const LEAST_SPREAD: f64 = 0.02;

/// Below this a meter of this kind says nothing more, in ohms.
const LEAST_OHMS: f64 = 0.1;

/// From the median distance to the standard deviation of a normal distribution.
const NORMAL: f64 = 1.482_602_218_505_602;

/// A resistance, or no current at all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ohms {
    /// This much.
    Value(f64),
    /// Beyond the meter's range.
    Open,
}

/// One pin on both boards.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared {
    /// The pin: `U1.6`.
    pub at: String,
    /// On the good board.
    pub good: Ohms,
    /// On the suspect board.
    pub suspect: Ohms,
    /// How far its ratio stands from those of the other pins, in standard deviations; none where one of the two is open,
    /// which says enough by itself.
    pub z: Option<f64>,
}

/// Reads a line for each pin: `U1.6 4.52k 61`, the good board first; `OL` or `open` is beyond the range.
///
/// # Errors
/// Every line that cannot be understood.
pub fn parse_ohms(bytes: &[u8], file: &str) -> Result<Vec<(String, Ohms, Ohms)>, Vec<Problem>> {
    let text = decode_list(bytes, file)
        .map_err(|problem| vec![problem])?
        .text;
    let source = Source::new(file, &text);
    let mut problems = Problems::new(&source);
    let mut read: Vec<(String, Ohms, Ohms)> = Vec::new();
    let mut start = 0;
    for line in text.split('\n') {
        let at = start..start;
        start += line.len() + 1;
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let words: Vec<&str> = line
            .split([' ', '\t', ';'])
            .map(|word| word.trim_matches([':', ',', '"']))
            .filter(|word| !word.is_empty())
            .collect();
        let pin = |word: &str| {
            word.rsplit_once('.')
                .is_some_and(|(part, pin)| is_reference(part) && !pin.is_empty())
        };
        let Some(first) = words.first().filter(|word| pin(word)) else {
            // The heading of a table has no pin and no number.
            if !line.contains(|letter: char| letter.is_ascii_digit()) && read.is_empty() {
                continue;
            }
            problems.add(&at, "a pin such as `U1.6` and two resistances", shown(line));
            continue;
        };
        let values: Vec<Option<Ohms>> = with_units(&words[1..])
            .iter()
            .map(|word| ohms(word))
            .collect();
        // A name of the net may stand between.
        let ([None, Some(good), Some(suspect)] | [Some(good), Some(suspect)]) = values[..] else {
            problems.add(&at, "two resistances, the good board first", shown(line));
            continue;
        };
        if read.iter().any(|(known, ..)| known == first) {
            problems.add(&at, "each pin once", format!("{} again", shown(first)));
            continue;
        }
        read.push(((*first).to_owned(), good, suspect));
    }
    if read.is_empty() && problems.is_empty() {
        problems.add(
            &(0..0),
            "pins with two resistances each, such as `U1.6 4.52k 61`",
            "none",
        );
    }
    if problems.is_empty() {
        Ok(read)
    } else {
        Err(problems.finish())
    }
}

/// A unit that stands by itself belongs to the number before it: `4.52 k` is `4.52k`.
fn with_units(words: &[&str]) -> Vec<String> {
    let mut joined: Vec<String> = Vec::new();
    for word in words {
        if let (None, Some(last)) = (ohms(word), joined.last_mut())
            && ohms(last).is_some()
            && ohms(&format!("{last}{word}")).is_some()
        {
            last.push_str(word);
            continue;
        }
        joined.push((*word).to_owned());
    }
    joined
}

/// `4.52k`, `61`, `OL`.
fn ohms(word: &str) -> Option<Ohms> {
    if ["ol", "open", "inf", "∞", "--"].contains(&word.to_lowercase().as_str()) {
        return Some(Ohms::Open);
    }
    let quantity: Quantity = word.parse().ok()?;
    let right = matches!(quantity.unit, Unit::Ohm | Unit::One);
    (right && quantity.value >= 0.0 && quantity.value.is_finite())
        .then_some(Ohms::Value(quantity.value))
}

/// Compares pin by pin; the strangest first.
#[must_use]
pub fn compare_ohms(read: &[(String, Ohms, Ohms)]) -> Vec<Compared> {
    let ratio = |good: Ohms, suspect: Ohms| match (good, suspect) {
        (Ohms::Value(good), Ohms::Value(suspect)) => {
            Some((suspect.max(LEAST_OHMS) / good.max(LEAST_OHMS)).ln())
        }
        _ => None,
    };
    let ratios: Vec<f64> = read
        .iter()
        .filter_map(|(_, good, suspect)| ratio(*good, *suspect))
        .collect();
    let centre = median(&ratios);
    let distances: Vec<f64> = ratios.iter().map(|ratio| (ratio - centre).abs()).collect();
    let spread = (NORMAL * median(&distances)).max(LEAST_SPREAD);
    let mut compared: Vec<Compared> = read
        .iter()
        .map(|(at, good, suspect)| Compared {
            at: at.clone(),
            good: *good,
            suspect: *suspect,
            z: ratio(*good, *suspect)
                .map(|ratio| (ratio - centre) / spread)
                .or(same_open(*good, *suspect)),
        })
        .collect();
    let size = |one: &Compared| one.z.map_or(f64::INFINITY, f64::abs);
    compared.sort_by(|one, other| size(other).total_cmp(&size(one)));
    compared
}

/// Open on both boards is no difference.
fn same_open(good: Ohms, suspect: Ohms) -> Option<f64> {
    (good == Ohms::Open && suspect == Ohms::Open).then_some(0.0)
}

/// The middle one, or the mean of the two in the middle; 0 of none.
fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => 0.0,
        odd if odd % 2 == 1 => sorted[middle],
        _ => f64::midpoint(sorted[middle - 1], sorted[middle]),
    }
}
