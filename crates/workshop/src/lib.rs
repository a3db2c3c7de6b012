//! workshop.
