//! The way in: a profile from text or bytes.

use crate::derive::derive;
use crate::library::Library;
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
    let profile = read_file(text, file, "a board profile", |fields, problems| {
        let mut raw = read(fields, problems);
        if problems.broken {
            return None;
        }
        derive(&mut raw, library, problems);
        split(&mut raw, library, problems);
        Some(resolve(raw, library, problems))
    })?;
    Ok(profile.unwrap_or_default())
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
    let text = decode(bytes, file).map_err(|problem| vec![problem])?;
    parse_profile(text, file, library)
}
