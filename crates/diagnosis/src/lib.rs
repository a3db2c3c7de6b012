//! Fault network over epochs: exact posteriors, explanations, the next check.

mod advise;
mod answer;
mod aside;
mod asking;
mod clique;
mod compiled;
mod courses;
mod depth;
mod diagnosis;
mod digits;
mod draws;
mod error;
mod explain;
mod export;
mod graph;
mod groups;
mod harms;
mod looker;
mod looks;
mod lower;
mod messages;
mod model;
mod more;
mod number;
mod order;
mod packed;
mod pass;
mod rounds;
mod share;
mod shelving;
mod situation;
mod take_in;
mod trace;
mod tree;
mod tries;
mod unroll;
mod weigh;
mod widest;
mod wiring;
mod workers;

pub use advise::{by_chance_and_cost, expected_cost};
pub use answer::*;
pub use diagnosis::{Diagnosis, binary_entropy};
pub use digits::{first_of_most, nine_digits};
pub use error::Error;
pub use export::ExportedNetwork;
pub use groups::Limits;
pub use rounds::{
    Job, Look, Round, Rounds, SetUps, Turn, by_gain_and_set_up, equal_outcomes, groups, rounds,
};
pub use shelving::{Index, UnknownLength};
pub use situation::{
    Action, Chip, Machine, Measure, Places, Shown, Situation, Step as BenchStep, Supply, Treatment,
    Truth,
};
pub use trace::Trace;
pub use tries::{Moving, Trial};
