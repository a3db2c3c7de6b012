//! Nets: which pins are one wire, read from test records of bare boards or from a plain list.
//!
//! With them a profile knows which parts share a bus, check texts name the signal at a pin, and every place where a net can
//! be probed is listed, easiest first.

mod bare_board;
mod bus;
mod ground;
mod named;
mod plain;
mod probe;
mod rules;

pub use bare_board::{BareBoard, Operation, TestRecord, parse_bare_board};
pub(crate) use bus::refine_spoils;
pub use bus::{Bus, buses};
pub use ground::{Compared, Ohms, compare_ohms, parse_ohms};
pub use named::name_pins;
pub use plain::{parse_plain_nets, print_nets};
pub use probe::{ProbePlace, probe_places};

use std::collections::BTreeMap;

use crate::library::Library;
use crate::problem::Problem;
use crate::profile::Profile;

/// The nets of a board.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Netlist {
    /// In the order of the list.
    pub nets: Vec<Net>,
}

/// Pins that are one wire.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Net {
    /// Its name.
    pub name: String,
    /// Its pins, in the order of the list.
    pub pins: Vec<NetPin>,
}

/// One pin of a net.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct NetPin {
    /// Reference: `U7`.
    pub reference: String,
    /// Pin, by its number or as the list calls it.
    pub pin: String,
    /// Line of the list.
    pub line: usize,
}

/// How a list of nets was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NetFormat {
    /// Test records as in IPC-D-356 and its revision A.
    BareBoard,
    /// A net and its pins on each line.
    Plain,
}

/// Reads nets of either format; `file` is only named in problems.
///
/// # Errors
/// Every line that cannot be understood; then nothing of the list is given.
pub fn parse_nets(bytes: &[u8], file: &str) -> Result<(Netlist, NetFormat), Vec<Problem>> {
    if bare_board::looks_like(bytes) {
        let board = parse_bare_board(bytes, file)?;
        return Ok((board.nets(), NetFormat::BareBoard));
    }
    Ok((parse_plain_nets(bytes, file)?, NetFormat::Plain))
}

impl Netlist {
    /// The net of this name.
    #[must_use]
    pub fn net(&self, name: &str) -> Option<&Net> {
        self.nets.iter().find(|net| net.name == name)
    }

    /// The net at a pin.
    #[must_use]
    pub fn at(&self, reference: &str, pin: &str) -> Option<&Net> {
        let here = |known: &NetPin| known.reference == reference && known.pin == pin;
        self.nets.iter().find(|net| net.pins.iter().any(here))
    }

    /// The nets with every pin of a known device by its number.
    ///
    /// # Errors
    /// Each pin that its part's device does not have, with its line.
    pub fn settled(
        &self,
        profile: &Profile,
        library: &Library,
        file: &str,
    ) -> Result<Netlist, Vec<Problem>> {
        let mut problems = Vec::new();
        let mut settled = self.clone();
        let mut seen: BTreeMap<(String, String), (String, usize)> = BTreeMap::new();
        for net in &mut settled.nets {
            for pin in &mut net.pins {
                match number(pin, profile, library) {
                    Ok(number) => pin.pin = number,
                    Err(expected) => {
                        problems.push(problem(file, pin, expected, None));
                        continue;
                    }
                }
                let key = (pin.reference.clone(), pin.pin.clone());
                let first = seen
                    .entry(key)
                    .or_insert_with(|| (net.name.clone(), pin.line));
                if first.0 != net.name {
                    let hint = format!("it is in net {} at line {} too", first.0, first.1);
                    problems.push(problem(
                        file,
                        pin,
                        "each pin in one net".to_owned(),
                        Some(hint),
                    ));
                }
            }
        }
        if problems.is_empty() {
            Ok(settled)
        } else {
            Err(problems)
        }
    }
}

fn problem(file: &str, pin: &NetPin, expected: String, hint: Option<String>) -> Problem {
    Problem {
        file: file.to_owned(),
        line: pin.line,
        column: 1,
        found: format!("`{}.{}`", pin.reference, pin.pin),
        expected,
        hint,
    }
}

/// The number of a pin; the error says which pins the device has.
fn number(pin: &NetPin, profile: &Profile, library: &Library) -> Result<String, String> {
    let part = profile.part(&pin.reference);
    let device = part.and_then(|part| library.device(part.device.as_deref()?));
    let Some(device) = device.filter(|device| !device.pins.is_empty()) else {
        return Ok(pin.pin.clone());
    };
    let written = pin.pin.trim_start_matches('0');
    let known = device.pins.iter().find(|known| {
        known.number.to_string() == written || known.name.eq_ignore_ascii_case(&pin.pin)
    });
    known.map(|known| known.number.to_string()).ok_or_else(|| {
        format!(
            "a pin of {}, a {} with {} pins",
            pin.reference,
            device.id,
            device.pins.len()
        )
    })
}
