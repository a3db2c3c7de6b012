//! Quantities, readings with their uncertainty, limits and money.
//!
//! Nothing here reads a file or knows a board. Every value is kept in the base unit; prefixes exist only in text.

mod error;
mod instrument;
mod limits;
mod money;
mod normal;
mod number;
mod quantity;
mod reading;
mod unit;

pub use error::{ParseError, ReadingError};
pub use instrument::{Component, Instrument};
pub use limits::Limits;
pub use money::{Currency, Money, MoneyError, parse_amount};
pub use normal::normal_cdf;
pub use quantity::Quantity;
pub use reading::{Reading, parse_reading};
pub use rust_decimal::Decimal;
pub use unit::Unit;
