//! purchasing.
