//! Fault network over epochs: exact posteriors, explanations, the next check.

mod answer;
mod situation;

pub use answer::*;
pub use situation::{
    Action, Chip, Machine, Measure, Places, Shown, Situation, Step as BenchStep, Supply, Treatment, Truth,
};
