//! Mixed 0/1-integer models solved to proven optimality.
//!
//! A model is made smaller, relaxed to a linear program, cut, searched in parts for good solutions, narrowed by what those
//! show, and then searched as a tree. Every solution is checked against the rows as written, and a bound is always stated.

mod cuts;
mod domain;
mod form;
mod groups;
mod limits;
mod lp;
mod mip;
mod model;
mod mps;
mod pseudo;
mod solve;
mod tree;

pub use model::{Model, Relation, Sense, Var};
pub use mps::to_mps;
pub use solve::{Error, Settings, Solution};
