//! Views as sheets of text: pure functions, one file a page.

mod bench;
mod card;
mod evening;
mod parcels;
mod plan;
mod rehearsal;
mod rounds;
#[cfg(test)]
mod samples;
mod told;
mod what_if;
mod words;
mod written;

pub(crate) use bench::bench;
pub(crate) use card::{Depth, card, journal};
pub(crate) use evening::evening;
pub(crate) use parcels::parcels;
pub(crate) use plan::plan;
pub(crate) use rehearsal::rehearsal;
pub(crate) use rounds::rounds;
pub(crate) use told::told;
pub(crate) use what_if::what_if;
pub(crate) use written::{taken_in, undone, written};
