//! Quantities, readings with their uncertainty, limits and money.

/// Limits of a quantity, in the base unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Placeholder until the unit type lands.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}
