//! The built-in devices: found by a glance at the files, each file read when first asked for.

use std::collections::HashMap;
use std::sync::OnceLock;

use crate::built_in::{DEVICES, FAULTS};
use crate::device::Device;
use crate::faults::{FaultSet, read_fault_sets};
use crate::problem::Problem;
use crate::read::each;
use crate::read_device::read_devices;
use crate::rules::read_file;

type Read = Result<Vec<Device>, Vec<Problem>>;

/// The file in which each device stands, and its place there.
fn index() -> &'static HashMap<&'static str, (usize, usize)> {
    static INDEX: OnceLock<HashMap<&'static str, (usize, usize)>> = OnceLock::new();
    INDEX.get_or_init(|| {
        let files = DEVICES.iter().enumerate();
        let in_file = |(file, (_, text)): (usize, &(&'static str, &'static str))| {
            let places = ids(text).enumerate();
            places.map(move |(place, id)| (id, (file, place)))
        };
        files.flat_map(in_file).collect()
    })
}

/// The ids of the devices in a file, by its layout alone: the line `id = "…"` after `[device]`, and a line
/// `{ id = "…"` for each variant.
fn ids(text: &str) -> impl Iterator<Item = &str> {
    let mut in_device = false;
    let mut in_variants = false;
    text.lines().filter_map(move |line| {
        if line.starts_with('[') {
            in_device = matches!(line, "[device]" | "[[device]]");
        } else if line.starts_with("variants = [") {
            in_variants = true;
        } else if line == "]" {
            in_variants = false;
        }
        let rest = if in_variants {
            line.trim_start().strip_prefix("{ id = \"")
        } else {
            line.strip_prefix("id = \"").filter(|_| in_device)
        };
        rest?.split('"').next()
    })
}

/// Usual faults by kind of part.
pub(crate) fn fault_sets() -> &'static [FaultSet] {
    static SETS: OnceLock<Vec<FaultSet>> = OnceLock::new();
    SETS.get_or_init(|| told(read_fault_sets(FAULTS, "rules/faults.toml")))
}

/// What was read, or nothing; that it can be read is held by a test.
fn told<T>(read: Result<Vec<T>, Vec<Problem>>) -> Vec<T> {
    debug_assert_eq!(
        read.as_ref().err(),
        None,
        "the built-in files are read by a test"
    );
    read.unwrap_or_default()
}

fn read_built_in(file: usize) -> Read {
    let (name, text) = DEVICES[file];
    let devices = read_file(text, name, "a file of devices", |fields, problems| {
        each(
            fields,
            "device",
            "a device",
            problems,
            |fields, problems| read_devices(fields, fault_sets(), problems),
        )
    })?;
    Ok(devices
        .into_iter()
        .flatten()
        .map(|device| device.value)
        .collect())
}

/// The devices of one file.
fn file(file: usize) -> &'static [Device] {
    static FILES: [OnceLock<Vec<Device>>; DEVICES.len()] =
        [const { OnceLock::new() }; DEVICES.len()];
    FILES[file].get_or_init(|| told(read_built_in(file)))
}

/// The built-in device of this id.
pub(crate) fn device(id: &str) -> Option<&'static Device> {
    let &(number, place) = index().get(id)?;
    file(number).get(place)
}

/// The ids of all built-in devices, in no order.
pub(crate) fn device_ids() -> impl Iterator<Item = &'static str> {
    index().keys().copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_device_is_found_at_a_glance() {
        for (number, (name, text)) in DEVICES.iter().enumerate() {
            let read = read_built_in(number);
            let read = read.unwrap_or_else(|problems| panic!("{}", problems[0]));
            let read: Vec<&str> = read.iter().map(|device| device.id.as_str()).collect();
            assert_eq!(ids(text).collect::<Vec<_>>(), read, "{name}");
            for (place, id) in read.into_iter().enumerate() {
                assert_eq!(
                    index().get(id),
                    Some(&(number, place)),
                    "{id} is in two files"
                );
            }
        }
    }
}
