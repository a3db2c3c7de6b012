//! The journal: what was taken in, seen, done and settled, line by line, in one SQLite file.
//!
//! Lines are only ever added. A mistake is taken back by a later line; what the pages show is derived from the lines.
//! Several processes may write at once: a write waits for its turn and either stands whole or not at all, and
//! what [`Journal::append`] has returned is on the disk.

mod error;
mod line;
mod store;

pub use error::Error;
pub use line::{Act, Chip, Component, Entry, Line, Offered, Places, Shown, Supply, Truth};
pub use store::{Draft, Journal};
