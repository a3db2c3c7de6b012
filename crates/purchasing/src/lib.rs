//! What to order from whom: the cheapest set of parcels, proven.
//!
//! [`cheapest`] takes vendors, their offers and what is needed, and returns parcels that add up to the last cent,
//! with a bound below which no other set of parcels can be. [`parse_vendors`] reads vendors and offers from TOML.

mod customs;
mod invoice;
mod lots;
mod model;
mod order;
mod paste;
mod problem;
mod read;
mod request;
mod turns;
mod write;

pub use customs::{Customs, customs};
pub use order::{Error, Settings, cheapest, to_mps};
pub use paste::{Column, Paste, Pasted, Refused, Role, Row, read_pasted, read_typed};
pub use problem::Problem;
pub use read::parse_vendors;
pub use request::{
    Break, Line, Need, Offer, Parcel, Parcels, Request, Step, TaxRounding, Unmet, Vendor,
    WeightStep,
};
pub use turns::{Turn, turn, turning_offers, turns};
pub use write::{offer_to_toml, vendor_to_toml};
