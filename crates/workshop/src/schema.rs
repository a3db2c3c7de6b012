//! The shape of a profile file, for those who make a schema of it.

pub use catalogue::{KeyShape, PROFILE_TABLES, TableShape, ValueShape, chance_words};
