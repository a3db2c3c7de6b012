//! boardwright.
fn main() {}
