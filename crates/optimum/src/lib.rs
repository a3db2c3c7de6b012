//! optimum.
