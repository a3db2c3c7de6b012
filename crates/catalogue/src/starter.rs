//! Starter profiles: boards of which only the kind is known.

use crate::built_in::STARTERS;
use crate::library::Library;
use crate::parse::parse_profile;
use crate::profile::Profile;

/// Ids of the starter profiles.
pub fn starter_ids() -> impl Iterator<Item = &'static str> {
    STARTERS.iter().map(|(name, _)| id_of(name))
}

/// The starter profile of this id, such as `z80-micro`.
#[must_use]
pub fn starter(id: &str) -> Option<Profile> {
    let text = starter_text(id)?;
    let profile = parse_profile(text, id, Library::built_in());
    debug_assert_eq!(
        profile.as_ref().err(),
        None,
        "the starters are read by a test"
    );
    profile.ok()
}

/// The text of a starter profile, to begin a file of one's own with.
#[must_use]
pub fn starter_text(id: &str) -> Option<&'static str> {
    STARTERS
        .iter()
        .find(|(name, _)| id_of(name) == id)
        .map(|&(_, text)| text)
}

/// `z80-micro` of `starters/z80-micro.toml`.
fn id_of(name: &'static str) -> &'static str {
    let file = name.rsplit('/').next().unwrap_or(name);
    file.strip_suffix(".toml").unwrap_or(file)
}
