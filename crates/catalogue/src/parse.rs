//! The way in: a profile from text or bytes.

use crate::derive::derive;
use crate::library::Library;
use crate::nets::{Netlist, name_pins};
use crate::problem::Problem;
use crate::profile::Profile;
use crate::read::read;
use crate::resolve::resolve;
use crate::rules::read_file;
use crate::source::decode;
use crate::split::split;

/// Reads a board profile; `file` is only named in problems.
///
/// # Errors
/// Every problem of the file, in the order of its lines, at most a hundred and one.
///
/// # Example
/// ```
/// let text = "[board]\nid = 'small'\nunmodelled = 1.2\n";
/// let problems = catalogue::parse_profile(text, "small.toml", catalogue::Library::built_in()).unwrap_err();
/// assert!(problems[0].to_string().starts_with("small.toml:3:14: expected a chance"));
/// ```
pub fn parse_profile(text: &str, file: &str, library: &Library) -> Result<Profile, Vec<Problem>> {
    parse_with(text, file, || library, None)
}

/// Reads a board profile from bytes, with the nets of the board: derived modes hold only the bus that their part touches, and
/// check texts name the net at each pin.
///
/// # Errors
/// As [`parse_profile_bytes`].
pub fn parse_profile_with_nets(
    bytes: &[u8],
    file: &str,
    library: &Library,
    nets: &Netlist,
) -> Result<Profile, Vec<Problem>> {
    let text = decode(bytes, file).map_err(|problem| vec![problem])?;
    parse_with(text, file, || library, Some(nets))
}

fn parse_with<'l>(
    text: &str,
    file: &str,
    library: impl FnOnce() -> &'l Library,
    nets: Option<&Netlist>,
) -> Result<Profile, Vec<Problem>> {
    let profile = read_file(text, file, "a board profile", |fields, problems| {
        let mut raw = read(fields, problems);
        if problems.broken {
            return None;
        }
        let library = library();
        derive(&mut raw, library, nets, problems);
        split(&mut raw, library, problems);
        Some(resolve(raw, library, problems))
    })?;
    let mut profile = profile.unwrap_or_default();
    if let Some(nets) = nets {
        for check in &mut profile.checks {
            check.how = name_pins(&check.how, nets);
        }
    }
    Ok(profile)
}

/// Reads a board profile from bytes that may be no text.
///
/// # Errors
/// As [`parse_profile`]; bytes that are no UTF-8 give one problem with the offset of the first of them.
pub fn parse_profile_bytes(
    bytes: &[u8],
    file: &str,
    library: &Library,
) -> Result<Profile, Vec<Problem>> {
    parse_profile_early(bytes, file, || library)
}

/// The same where the catalogue may still be on its way: it is asked for only when the file's own words were read without a fault.
///
/// # Errors
/// As [`parse_profile_bytes`].
pub fn parse_profile_early<'l>(
    bytes: &[u8],
    file: &str,
    library: impl FnOnce() -> &'l Library,
) -> Result<Profile, Vec<Problem>> {
    let text = decode(bytes, file).map_err(|problem| vec![problem])?;
    parse_with(text, file, library, None)
}
