//! Which parts share a bus, and so can hold it.

use std::collections::{BTreeMap, BTreeSet};

use super::rules::net_rules;
use super::{Net, Netlist};
use crate::device::{Device, PinKind};
use crate::fields::At;
use crate::library::Library;
use crate::profile::{Profile, Site};
use crate::raw::Raw;

/// Nets that the same parts drive in turn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bus {
    /// Its name: `D0 to D7`, or the names of its nets.
    pub name: String,
    /// Its nets.
    pub nets: Vec<String>,
    /// Parts that can drive it, so that one that does not let go jams it, with how many of its nets each drives.
    pub drivers: Vec<(String, usize)>,
    /// Parts that only listen.
    pub listeners: Vec<String>,
}

/// A pin at which several may drive.
fn shares(kind: PinKind) -> bool {
    matches!(
        kind,
        PinKind::Bidirectional | PinKind::Tristate | PinKind::OpenCollector
    )
}

/// The kind of each pin of a net whose device is known, with its part.
fn kinds<'n>(net: &'n Net, device: impl Fn(&str) -> Option<&'n Device>) -> Vec<(&'n str, PinKind)> {
    let kind = |pin: &'n super::NetPin| {
        let pins = &device(&pin.reference)?.pins;
        let known = pins
            .iter()
            .find(|known| known.number.to_string() == pin.pin)?;
        Some((pin.reference.as_str(), known.kind))
    };
    net.pins.iter().filter_map(kind).collect()
}

/// The buses of a board: two or more nets that two or more of the same parts can drive.
#[must_use]
pub fn buses(nets: &Netlist, profile: &Profile, library: &Library) -> Vec<Bus> {
    let device = |reference: &str| library.device(profile.part(reference)?.device.as_deref()?);
    let mut groups: Vec<(BTreeSet<&str>, Vec<&Net>)> = Vec::new();
    for net in &nets.nets {
        let drivers: BTreeSet<&str> = kinds(net, device)
            .into_iter()
            .filter(|(_, kind)| shares(*kind))
            .map(|(part, _)| part)
            .collect();
        if drivers.len() < 2 {
            continue;
        }
        let near =
            |group: &&mut (BTreeSet<&str>, Vec<&Net>)| group.0.intersection(&drivers).count() >= 2;
        match groups.iter_mut().find(near) {
            Some((all, members)) => {
                all.extend(&drivers);
                members.push(net);
            }
            None => groups.push((drivers, vec![net])),
        }
    }
    let groups = groups.into_iter().filter(|(_, members)| members.len() > 1);
    groups
        .map(|(drivers, members)| bus(&drivers, &members, device))
        .collect()
}

fn bus<'n>(
    drivers: &BTreeSet<&str>,
    members: &[&'n Net],
    device: impl Fn(&str) -> Option<&'n Device> + Copy,
) -> Bus {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut listeners: BTreeSet<&str> = BTreeSet::new();
    for net in members {
        for (part, kind) in kinds(net, device) {
            if shares(kind) {
                *counts.entry(part).or_default() += 1;
            } else if kind == PinKind::Input && !drivers.contains(part) {
                listeners.insert(part);
            }
        }
    }
    let nets: Vec<String> = members.iter().map(|net| net.name.clone()).collect();
    Bus {
        name: bus_name(&nets),
        nets,
        drivers: counts
            .into_iter()
            .map(|(part, count)| (part.to_owned(), count))
            .collect(),
        listeners: listeners.into_iter().map(str::to_owned).collect(),
    }
}

/// `D0 to D7` where the names are numbered without a gap.
fn bus_name(nets: &[String]) -> String {
    let split = |name: &String| {
        let at = name
            .trim_end_matches(|letter: char| letter.is_ascii_digit())
            .len();
        Some((name[..at].to_owned(), name[at..].parse::<u32>().ok()?))
    };
    let mut numbered: Vec<(String, u32)> = nets.iter().filter_map(split).collect();
    numbered.sort();
    let follows = numbered
        .windows(2)
        .all(|pair| pair[0].0 == pair[1].0 && pair[0].1 + 1 == pair[1].1);
    match (numbered.first(), numbered.last()) {
        (Some(first), Some(last)) if follows && numbered.len() == nets.len() => {
            format!("{0}{1} to {0}{2}", first.0, first.1, last.1)
        }
        _ => nets.join(", "),
    }
}

/// The function that stands for the data bus in the standard functions.
const DATA_BUS: &str = "data-bus";

/// With nets the parts that touch the CPU's data bus are known: only their modes hold it, and a dead driver may too.
pub(crate) fn refine_spoils(raw: &mut Raw, nets: &Netlist, library: &Library) {
    let device = |part: &crate::raw::RawPart| library.device(&part.device.as_ref()?.value);
    let cpu = raw
        .parts
        .iter()
        .find(|part| device(part).is_some_and(|device| device.role == "cpu"));
    let Some(cpu) = cpu else { return };
    let Some(cpu_device) = device(cpu) else {
        return;
    };
    let reference = cpu.reference.value.clone();
    let data_pins = cpu_device
        .pins
        .iter()
        .filter(|pin| pin.kind == PinKind::Bidirectional);
    let data_nets: BTreeSet<&str> = data_pins
        .filter_map(|pin| nets.at(&reference, &pin.number.to_string()))
        .map(|net| net.name.as_str())
        .collect();
    if data_nets.is_empty() {
        return;
    }
    for part in &mut raw.parts {
        let Some(known) = device(part) else { continue };
        let drives = known
            .pins
            .iter()
            .filter(|pin| shares(pin.kind) || pin.kind == PinKind::Output)
            .any(|pin| {
                let net = nets.at(&part.reference.value, &pin.number.to_string());
                net.is_some_and(|net| data_nets.contains(net.name.as_str()))
            });
        let named = nets.nets.iter().any(|net| {
            net.pins
                .iter()
                .any(|pin| pin.reference == part.reference.value)
        });
        refine_part(part, drives, named);
    }
}

/// Keeps, drops or adds what the derived modes of a part do to the data bus.
fn refine_part(part: &mut crate::raw::RawPart, drives: bool, named: bool) {
    let derived = |mode: &&mut crate::raw::RawMode| mode.span.is_empty();
    let chip_modes = part
        .modes
        .iter_mut()
        .filter(|mode| mode.mode.site == Site::Chip);
    let mut modes: Vec<_> = chip_modes.filter(derived).collect();
    // Nothing is said of a part that the nets do not name.
    if !drives && named {
        for mode in &mut modes {
            mode.spoils.retain(|(name, _)| name.value != DATA_BUS);
        }
    }
    let holds = modes
        .iter()
        .any(|mode| mode.spoils.iter().any(|(name, _)| name.value == DATA_BUS));
    if drives
        && !holds
        && let Some(first) = modes.first_mut()
    {
        first
            .spoils
            .push((At::new(DATA_BUS.to_owned(), 0..0), net_rules().jam));
    }
}
