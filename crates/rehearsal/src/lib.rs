//! The bench in rehearsal: plays piles that a board profile draws, and measures what following a policy costs.
//!
//! Truth and bench are a second reading of the rules of the fault model, forward and coin by coin; they share no code with
//! the diagnosis and are a check of it.

mod belief;
mod bench;
mod board;
mod case;
mod coins;
mod error;
mod look;
mod optimum;
mod play;
mod policy;
mod report;
mod run;
mod statistics;
mod story;
mod terms;
mod thumb;
mod truth;
mod world;

pub use bench::Damage;
pub use case::{Case, Clock, Decision, Minutes, Move, TAG};
pub use coins::{Coin, Coins, Kind, Seeded};
pub use error::Error;
pub use optimum::{Depth, Regret, Within, expected_cost, least_cost, regrets};
pub use play::Tally;
pub use policy::{Name, Policy};
pub use report::{Differences, Played, Report};
pub use run::{Done, Size, rehearse};
pub use statistics::Mean;
pub use story::retold;
pub use terms::{How, RETEST, Terms};
pub use world::World;
