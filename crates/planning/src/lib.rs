//! The decision over a pile: which machines to repair with what, which to hold, which to give up as donors, what to
//! build and what to order for it, within limits of money and minutes.
//!
//! [`solve`] finds the best plan and a bound that no plan exceeds; [`revalue`] computes the worth of a plan again,
//! from the rules alone. Money is in the smallest coins throughout.

mod chance;
mod conflict;
mod curve;
mod draw;
mod instance;
mod kits;
mod lots;
mod market;
mod model;
mod orders;
mod plan;
mod recourse;
mod revalue;
mod rules;
mod solve;
mod spares;
mod turning;
mod two_stage_worth;
mod vendors;

pub use chance::within_minutes;
pub use conflict::Settled;
pub use curve::{Curve, curve};
pub use instance::{
    Break, Build, Count, Fault, Instance, Limits, Machine, Offer, Remedy, Scenario, Step, Vendor,
};
pub use model::Filler;
pub use plan::{Alternatives, Case, Choice, Chosen, Decision, Kit, Order, Plan};
pub use revalue::{Worth, revalue};
pub use rules::{Rule, by_rule};
pub use solve::{Error, Goal, Pin, Settings, alternatives, solve, to_mps};
pub use spares::{Number, Spares, spares, sum_of};
pub use turning::{Turn, turning};
pub use vendors::vendors_and_offers;
