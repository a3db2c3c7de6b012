//! Nets as people type them: `CLK: U1.6 U12.3, R5.1`.

use std::collections::BTreeMap;

use super::{Net, NetPin, Netlist};
use crate::lists::{decode_list, is_reference};
use crate::problem::{Problem, Problems, shown};
use crate::source::Source;

/// Reads a net on each line, a colon, a tab or a semicolon after its name; a line that begins with a blank goes on.
///
/// # Errors
/// Every line that cannot be understood.
///
/// # Example
/// ```
/// let nets = catalogue::parse_plain_nets(b"CLK: U1.6, U12.3\n  R5.1\n", "nets").unwrap();
/// assert_eq!(nets.at("R5", "1").unwrap().name, "CLK");
/// ```
pub fn parse_plain_nets(bytes: &[u8], file: &str) -> Result<Netlist, Vec<Problem>> {
    let text = decode_list(bytes, file)
        .map_err(|problem| vec![problem])?
        .text;
    let source = Source::new(file, &text);
    let mut problems = Problems::new(&source);
    let mut nets = Netlist::default();
    let mut lines: BTreeMap<String, usize> = BTreeMap::new();
    let mut start = 0;
    for (number, line) in (1..).zip(text.split('\n')) {
        let at = start;
        start += line.len() + 1;
        if line.trim().is_empty() || line.trim_start().starts_with('#') {
            continue;
        }
        let goes_on = line.starts_with([' ', '\t']);
        let pins = match line.split_once(':').or_else(|| cells(line)) {
            Some((name, pins)) if !goes_on => {
                let name = name.trim();
                if name.is_empty() || name.contains(char::is_whitespace) {
                    problems.add(
                        &(at..at),
                        "the net's name in one word before the colon",
                        shown(name),
                    );
                    continue;
                }
                if let Some(first) = lines.insert(name.to_owned(), number) {
                    let hint = Some(format!(
                        "it is at line {first} too; begin a line that goes on with a blank"
                    ));
                    problems.add_with(
                        &(at..at),
                        "each net once",
                        format!("{} again", shown(name)),
                        hint,
                    );
                }
                nets.nets.push(Net {
                    name: name.to_owned(),
                    pins: Vec::new(),
                });
                pins
            }
            None if goes_on && !nets.nets.is_empty() => line,
            _ => {
                problems.add(
                    &(at..at),
                    "a net and its pins, such as `CLK: U1.6 U12.3`",
                    shown(line.trim()),
                );
                continue;
            }
        };
        let offset = at + line.len() - pins.len();
        read_pins(pins, number, offset, &mut nets, &mut problems);
    }
    if nets.nets.is_empty() && problems.is_empty() {
        problems.add(
            &(0..0),
            "nets and their pins, such as `CLK: U1.6 U12.3`",
            "none",
        );
    }
    if problems.is_empty() {
        Ok(nets)
    } else {
        Err(problems.finish())
    }
}

/// A net in the first cell of a table's line, if it is not a pin itself.
fn cells(line: &str) -> Option<(&str, &str)> {
    let cut = line.split_once(['\t', ';']);
    cut.filter(|(name, _)| pin_of(name.trim()).is_none())
}

/// A position and its pin.
fn pin_of(word: &str) -> Option<(&str, &str)> {
    let split = word
        .rsplit_once('.')
        .or_else(|| word.rsplit_once('-'))
        .or_else(|| word.rsplit_once('/'));
    split.filter(|(reference, pin)| is_reference(reference) && !pin.is_empty())
}

fn read_pins(
    text: &str,
    line: usize,
    offset: usize,
    nets: &mut Netlist,
    problems: &mut Problems<'_>,
) {
    let mut at = 0;
    for word in text.split([' ', '\t', ',', ';']) {
        let start = offset + at;
        at += word.len() + 1;
        if word.is_empty() {
            continue;
        }
        let Some((reference, pin)) = pin_of(word) else {
            problems.add(&(start..start), "a pin such as `U1.6`", shown(word));
            continue;
        };
        if let Some(net) = nets.nets.last_mut() {
            net.pins.push(NetPin {
                reference: reference.to_uppercase(),
                pin: pin.to_owned(),
                line,
            });
        }
    }
}

/// Nets as text that [`parse_plain_nets`] reads back.
#[must_use]
pub fn print_nets(nets: &Netlist) -> String {
    let mut text = String::new();
    for net in &nets.nets {
        text.push_str(&net.name);
        text.push(':');
        for pin in &net.pins {
            text.push_str(&format!(" {}.{}", pin.reference, pin.pin));
        }
        text.push('\n');
    }
    text
}
