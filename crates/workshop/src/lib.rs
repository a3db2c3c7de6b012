//! The use cases: one function for each thing a person does.
//!
//! [`Workshop`] opens a folder and answers in [`views`]: sentences and figures, ready to be shown. Command line and pages
//! call the same methods.

mod bench;
mod card;
mod deeds;
mod economy;
mod entry;
mod error;
mod folder;
mod intake;
mod ledger;
mod names;
mod offer;
mod pile;
mod plan;
mod reach;
mod reckon;
mod requests;
mod rows;
mod say;
mod script;
mod settings;
mod situation;
pub mod views;
mod words;
mod workshop;

pub use error::{Error, ErrorKind};
pub use jiff::ZonedDateTime;
pub use requests::{Act, Clock, Fitted, OpenOptions, PlanLimits, TakeIn, default_dir};
pub use workshop::Workshop;
