//! Knowledge as data: board profiles, devices, remedies; read, checked, completed.
//!
//! A text goes through three steps: `source` reads TOML with the place of every key and value, `read` checks each
//! value by itself, `resolve` looks the names up and fills in what the devices and their roles bring. Problems are
//! collected all the way, so that one reading tells all of them.

mod built_in;
mod derive;
mod device;
mod device_files;
mod family;
mod faults;
mod fields;
mod library;
mod limits;
mod names;
mod parse;
mod print;
mod problem;
mod profile;
mod range;
mod raw;
mod read;
mod read_check;
mod read_device;
mod read_part;
mod read_pins;
mod remedy;
mod resolve;
mod roles;
mod rules;
mod smell;
mod source;
mod split;
mod split_text;
mod starter;
mod starter_data;
mod trade;
mod whole;

pub use device::{Device, Maxima, Pin, PinKind, Supply};
pub use family::{Family, InputLevels, OutputLevel, Stands, Unpowered};
pub use library::{Library, parse_remedies};
pub use parse::{parse_profile, parse_profile_bytes};
pub use print::{print_profile, target_name};
pub use problem::Problem;
pub use profile::*;
pub use remedy::{Remedy, RemedyKind};
pub use rules::InstrumentRule;
pub use smell::{Smell, check_profile, unknown_devices};
pub use split_text::{Split, split_board};
pub use starter::{new_board, starter, starter_ids, starter_text};
pub use starter_data::{BlockRate, Choice, Question, block_rates, questions};
pub use trade::{AccuracyRule, HandlingRule, TimingKind, TimingSymbol};
