//! The pages: pure functions from views to markup.

pub mod bench;
pub mod board;
pub mod card;
mod frame;
pub mod missing;
pub mod new_board;
pub mod offers;
pub mod parcels;
pub mod plan;
pub mod receive;
pub mod rounds;
pub mod stock;
pub mod strip;
pub mod take_in;
mod what_if;

pub use crate::said::Said;
pub use frame::{Setting, Sheet, Theme};

use workshop::{Error, views::WhatIf};

/// A line that was refused: what was typed and what is wrong with it.
#[derive(Debug, Clone, Copy)]
pub struct Refused<'a> {
    /// What was typed.
    pub typed: &'a str,
    /// What is wrong with it.
    pub error: &'a Error,
}

/// Something that is only supposed: the line, and what would follow or what is wrong with it.
#[derive(Debug, Clone, Copy)]
pub struct Supposed<'a> {
    /// What was asked.
    pub asked: &'a str,
    /// What would follow.
    pub found: Result<&'a WhatIf, &'a Error>,
}

#[cfg(test)]
mod tests;
