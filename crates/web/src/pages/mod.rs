//! The pages: pure functions from views to markup.

pub mod bench;
pub mod card;
mod frame;
pub mod missing;
pub mod parcels;
pub mod plan;
pub mod rounds;
pub mod take_in;

pub use crate::said::Said;
pub use frame::{Setting, Sheet, Theme};

use workshop::Error;

/// A line that was refused: what was typed and what is wrong with it.
#[derive(Debug, Clone, Copy)]
pub struct Refused<'a> {
    /// What was typed.
    pub typed: &'a str,
    /// What is wrong with it.
    pub error: &'a Error,
}

#[cfg(test)]
mod tests;
