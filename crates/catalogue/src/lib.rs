//! Knowledge as data: board profiles, devices, remedies; read, checked, completed.

mod profile;

pub use profile::*;
