//! The files of the folder `catalogue/`, embedded so that an installed program needs no folder.
//!
//! The test `every_file_is_embedded` names the files that are missing here.

macro_rules! files {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_str!(concat!("../../../catalogue/", $name)))),*]
    };
}

/// `rules/instruments.toml`.
pub(crate) const INSTRUMENTS: &str = include_str!("../../../catalogue/rules/instruments.toml");
/// `rules/mounts.toml`.
pub(crate) const MOUNTS: &str = include_str!("../../../catalogue/rules/mounts.toml");
/// `rules/roles.toml`.
pub(crate) const ROLES: &str = include_str!("../../../catalogue/rules/roles.toml");

/// Names and texts of the devices' files.
pub(crate) const DEVICES: &[(&str, &str)] = files![
    "devices/146818.toml",
    "devices/27128.toml",
    "devices/4164.toml",
    "devices/6845.toml",
    "devices/74ls00.toml",
    "devices/74ls02.toml",
    "devices/74ls04.toml",
    "devices/74ls08.toml",
    "devices/74ls138.toml",
    "devices/74ls157.toml",
    "devices/74ls166.toml",
    "devices/74ls244.toml",
    "devices/74ls245.toml",
    "devices/74ls273.toml",
    "devices/74ls32.toml",
    "devices/74ls373.toml",
    "devices/74ls74.toml",
    "devices/7805.toml",
    "devices/79l05.toml",
    "devices/8255.toml",
    "devices/ay-3-8910.toml",
    "devices/crystals.toml",
    "devices/lm386.toml",
    "devices/lm393.toml",
    "devices/ne555.toml",
    "devices/outer.toml",
    "devices/passives.toml",
    "devices/z80a.toml",
];

/// Names and texts of the remedies' files.
pub(crate) const REMEDIES: &[(&str, &str)] = files![
    "remedies/chips.toml",
    "remedies/parts.toml",
    "remedies/places.toml",
];

/// Names and texts of the starter profiles.
pub(crate) const STARTERS: &[(&str, &str)] = files!["starters/z80-micro.toml"];
