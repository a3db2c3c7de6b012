//! Knowledge as data: board profiles, devices, remedies; read, checked, completed.
//!
//! A text goes through three steps: [`source`] reads TOML with the place of every key and value, [`raw`] checks each
//! value by itself, [`resolve`] looks the names up and fills in what the devices and their roles bring. Problems are
//! collected all the way, so that one reading tells all of them.

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
mod resolve;
mod rules;
mod source;
mod whole;

pub use library::Library;
pub use parse::{parse_profile, parse_profile_bytes};
pub use print::{print_profile, target_name};
pub use problem::Problem;
pub use profile::*;
pub use rules::InstrumentRule;
