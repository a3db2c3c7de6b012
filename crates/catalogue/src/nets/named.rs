//! Check texts with the net's name behind each pin.

use super::Netlist;
use crate::lists::is_reference;

/// What may stand around a word.
const MARKS: [char; 9] = [',', '.', ';', ':', '?', '!', '(', ')', '\''];

/// The text with the net behind each pin it speaks of: `U1 pin 6` becomes `U1 pin 6 (CLK)`.
///
/// ```
/// let nets = catalogue::parse_plain_nets(b"CLK: U1.6\nRD: U1.21 U2.22\n", "nets").unwrap();
/// let text = catalogue::name_pins("Probe U1 pins 6 and 21, then U2.22.", &nets);
/// assert_eq!(text, "Probe U1 pins 6 (CLK) and 21 (RD), then U2.22 (RD).");
/// ```
#[must_use]
pub fn name_pins(text: &str, nets: &Netlist) -> String {
    let mut out = String::with_capacity(text.len() + 32);
    let mut part = String::new();
    let mut in_pins = false;
    let mut words = text.split(' ').peekable();
    let mut first = true;
    while let Some(word) = words.next() {
        if !first {
            out.push(' ');
        }
        first = false;
        let bare = word.trim_matches(MARKS);
        let told = words.peek().is_some_and(|next| next.starts_with('('));
        let net = if in_pins && bare.parse::<u32>().is_ok() {
            nets.at(&part, bare)
        } else if let Some((reference, pin)) = bare.rsplit_once('.') {
            nets.at(reference, pin)
        } else {
            None
        };
        match net.filter(|_| !told) {
            Some(net) => {
                let end = word.rfind(bare).map_or(word.len(), |at| at + bare.len());
                out.push_str(&format!("{} ({}){}", &word[..end], net.name, &word[end..]));
            }
            None => out.push_str(word),
        }
        if is_reference(bare) {
            bare.clone_into(&mut part);
        }
        in_pins = match bare {
            "pin" | "pins" => true,
            "and" | "to" | "or" => in_pins,
            number => in_pins && number.parse::<u32>().is_ok(),
        };
    }
    out
}
