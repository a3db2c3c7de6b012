//! What several tests of boards share.

use catalogue::{Library, Profile, parse_profile};

/// What a profile has, by name.
pub(crate) fn ids(profile: &Profile) -> String {
    let functions: Vec<&str> = profile
        .functions
        .iter()
        .map(|function| function.id.as_str())
        .collect();
    let checks: Vec<&str> = profile
        .checks
        .iter()
        .map(|check| check.id.as_str())
        .collect();
    let events: Vec<&str> = profile
        .events
        .iter()
        .map(|event| event.id.as_str())
        .collect();
    format!(
        "functions: {}\nchecks: {}\nevents: {}",
        functions.join(" "),
        checks.join(" "),
        events.join(" ")
    )
}

/// A good board.
pub(crate) fn read(text: &str) -> Profile {
    parse_profile(text, "short.toml", Library::built_in())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}
