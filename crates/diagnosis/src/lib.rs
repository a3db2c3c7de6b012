//! Fault network over epochs: exact posteriors, explanations, the next check.

mod advise;
mod answer;
mod diagnosis;
mod error;
mod explain;
mod graph;
mod lower;
mod model;
mod situation;
mod tree;
mod unroll;

pub use answer::*;
pub use diagnosis::{Diagnosis, binary_entropy};
pub use error::Error;
pub use situation::{
    Action, Chip, Machine, Measure, Places, Shown, Situation, Step as BenchStep, Supply, Treatment,
    Truth,
};
