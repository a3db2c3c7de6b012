//! Usual ways to fail by kind of part, as read from `rules/faults.toml`.

use crate::fields::Fields;
use crate::problem::{Problem, Problems};
use crate::raw::RawMode;
use crate::read::each;
use crate::read_part::read_modes;
use crate::rules::read_file;

/// Modes that a kind of part has.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct FaultSet {
    pub(crate) id: String,
    pub(crate) modes: Vec<RawMode>,
}

/// Reads `rules/faults.toml`.
pub(crate) fn read_fault_sets(text: &str, file: &str) -> Result<Vec<FaultSet>, Vec<Problem>> {
    read_file(text, file, "a table of faults", |fields, problems| {
        each(fields, "faults", "a set of faults", problems, read_set)
    })
}

fn read_set(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<FaultSet> {
    let id = fields.id("id", problems);
    let modes = read_modes(fields, problems);
    Some(FaultSet {
        id: id?.value,
        modes,
    })
}
