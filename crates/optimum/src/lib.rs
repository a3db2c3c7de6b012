//! Mixed 0/1-integer models solved to proven optimality.
//!
//! A thin layer over a pure-Rust solver. What it adds: names, a check of every solution against the rows as written,
//! a bound that is always stated, and two things that make large models quicker ([`Settings`], sifting and priorities).

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
