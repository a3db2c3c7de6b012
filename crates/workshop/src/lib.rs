//! The use cases: one function for each thing a person does.

pub mod views;
