//! The use cases: one function for each thing a person does.

mod error;
mod requests;
pub mod views;
mod workshop;

pub use error::{Error, ErrorKind};
pub use requests::{Act, Clock, Fitted, OpenOptions, PlanLimits, TakeIn, default_dir};
pub use jiff::ZonedDateTime;
pub use workshop::Workshop;
