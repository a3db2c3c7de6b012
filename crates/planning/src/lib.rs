//! planning.
