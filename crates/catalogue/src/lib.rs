//! Knowledge as data: board profiles, devices, remedies; read, checked, completed.
//!
//! A text goes through three steps: `source` reads TOML with the place of every key and value, `read` checks each
//! value by itself, `resolve` looks the names up and fills in what the devices and their roles bring. Problems are
//! collected all the way, so that one reading tells all of them.

mod build;
mod built_in;
mod compare;
mod complete;
mod derive;
mod device;
mod device_files;
mod effects;
mod family;
mod faults;
mod fields;
mod library;
mod limits;
mod lists;
mod names;
mod nets;
mod one_each;
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
mod schema;
mod smell;
mod source;
mod split;
mod split_text;
mod starter;
mod starter_data;
mod trade;
mod whole;

pub use build::Build;
pub use compare::{About, Change, Difference, differences};
pub use device::{Device, Maxima, Pin, PinKind, Supply};
pub use effects::{Effects, Node, asked_by, nodes_of};
pub use family::{Family, InputLevels, OutputLevel, Stands, Unpowered};
pub use library::{Library, parse_remedies};
pub use lists::{
    Addition, Choices, Column, Different, Encoding, Guess, How, Layout, LeftOut, ListText,
    ListedPart, Meaning, PartsList, Separator, TakenPart, add_parts, decode_list, parse_parts_list,
    print_parts_list, print_references, references,
};
pub use nets::{
    BareBoard, Bus, Compared, Net, NetFormat, NetPin, Netlist, Ohms, Operation, ProbePlace,
    TestRecord, buses, compare_ohms, name_pins, parse_bare_board, parse_nets, parse_ohms,
    parse_plain_nets, print_nets, probe_places,
};
pub use parse::{parse_profile, parse_profile_bytes, parse_profile_early, parse_profile_with_nets};
pub use print::{print_profile, target_name};
pub use problem::Problem;
pub use profile::*;
pub use remedy::{Remedy, RemedyKind};
pub use rules::InstrumentRule;
pub use schema::{KeyShape, PROFILE_TABLES, TableShape, ValueShape, chance_words};
pub use smell::{Mute, SameLook, Smell, check_profile, same_looks, unknown_devices};
pub use split_text::{Split, split_board};
pub use starter::{new_board, starter, starter_ids, starter_text};
pub use starter_data::{BlockRate, Choice, Question, block_rates, questions};
pub use trade::{AccuracyRule, HandlingRule, TimingKind, TimingSymbol};
