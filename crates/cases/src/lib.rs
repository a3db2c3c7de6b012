//! Cases with known answers: reads board cases, fault networks and piles to plan, answers them as JSON, compares.
//!
//! A case is a folder with `board.toml` and `case.json`; a network is one JSON file of the schema `perf-bn-1`. Both become
//! a [`diagnosis::Situation`]. A pile is one JSON file that becomes a [`planning::Instance`]. This crate serves tests and the chores; no room of the house uses it.

mod answer;
mod board_case;
mod case_steps;
mod compare;
mod dice;
mod error;
pub mod made;
mod made_parcels;
mod made_pile;
mod network;
mod pile;
mod plan_answer;
pub mod replay;

pub use answer::{answer_case, answer_network, gains};
pub use board_case::{BoardCase, read_case};
pub use compare::{Tolerance, case_differences, differences, network_differences};
pub use dice::Dice;
pub use error::Error;
pub use made_parcels::made_order;
pub use made_pile::{Draw, made_pile};
pub use network::{EvidenceSet, MACHINE, Network, parse_network, read_network};
pub use pile::{Pile, pile_to_json, read_pile};
pub use plan_answer::answer_pile;
