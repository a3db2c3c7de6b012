//! Limits of a quantity, compared by chance instead of by verdict.

use std::fmt;

use crate::quantity::suffix;
use crate::{Quantity, Unit, normal_cdf};

/// Limits of a quantity, in the base unit. A missing limit is no limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// The unit of both limits.
    pub unit: Unit,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}

impl Limits {
    /// Whether `value` itself is inside; a limit belongs to the inside.
    pub fn contains(&self, value: f64) -> bool {
        self.low.is_none_or(|low| value >= low) && self.high.is_none_or(|high| value <= high)
    }

    /// Chance that the true value is outside, given the mean reading and its standard uncertainty, under a flat prior:
    /// Φ((low − mean)/σ) + Φ((mean − high)/σ). With σ = 0 it is 0 or 1.
    pub fn probability_outside(&self, mean: f64, sigma: f64) -> f64 {
        if sigma <= 0.0 {
            return if self.contains(mean) { 0.0 } else { 1.0 };
        }
        let below = self.low.map_or(0.0, |low| normal_cdf((low - mean) / sigma));
        let above = self
            .high
            .map_or(0.0, |high| normal_cdf((mean - high) / sigma));
        (below + above).min(1.0)
    }
}

impl fmt::Display for Limits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let quantity = |value| Quantity {
            value,
            unit: self.unit,
        };
        match (self.low, self.high) {
            (Some(low), Some(high)) => {
                let largest = if low.abs() > high.abs() { low } else { high };
                let power = quantity(largest).prefix_power();
                let (low, high) = (
                    quantity(low).number_at(power),
                    quantity(high).number_at(power),
                );
                let unit = suffix(power, self.unit);
                write!(f, "{}", format!("{low} to {high} {unit}").trim_end())
            }
            (Some(low), None) => write!(f, "at least {}", quantity(low)),
            (None, Some(high)) => write!(f, "at most {}", quantity(high)),
            (None, None) => f.write_str("no limits"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Component, Instrument};

    fn limits(unit: Unit, low: Option<f64>, high: Option<f64>) -> Limits {
        Limits { unit, low, high }
    }

    #[test]
    fn prints_in_one_unit() {
        let check =
            |unit, low, high, text: &str| assert_eq!(limits(unit, low, high).to_string(), text);
        check(Unit::Volt, Some(4.75), Some(5.25), "4.75 to 5.25 V");
        check(Unit::Hertz, Some(3.49e6), Some(3.51e6), "3.49 to 3.51 MHz");
        check(Unit::Volt, Some(-5.25), Some(-4.75), "-5.25 to -4.75 V");
        check(Unit::Volt, Some(0.0), Some(0.8), "0 to 800 mV");
        check(Unit::Hertz, Some(500.0), Some(2000.0), "0.5 to 2 kHz");
        check(Unit::One, Some(1.0), Some(3.0), "1 to 3");
        check(Unit::Volt, Some(2.4), None, "at least 2.4 V");
        check(Unit::Second, None, Some(0.08), "at most 80 ms");
        check(Unit::Volt, None, None, "no limits");
    }

    #[test]
    fn without_uncertainty_the_limit_counts_inside() {
        let rail = limits(Unit::Volt, Some(4.75), Some(5.25));
        assert_eq!(rail.probability_outside(4.75, 0.0), 0.0);
        assert_eq!(rail.probability_outside(5.25, 0.0), 0.0);
        assert_eq!(rail.probability_outside(4.749, 0.0), 1.0);
        assert_eq!(rail.probability_outside(5.251, 0.0), 1.0);
    }

    #[test]
    fn with_uncertainty_it_is_a_chance() {
        let rail = limits(Unit::Volt, Some(4.75), Some(5.25));
        assert!((rail.probability_outside(4.75, 0.01) - 0.5).abs() < 1e-12);
        assert!((rail.probability_outside(5.0, 1e6) - 1.0).abs() < 1e-6);
        assert_eq!(
            limits(Unit::Volt, None, None).probability_outside(5.0, 0.1),
            0.0
        );
    }

    /// Worked by hand: mean 4.75333, a = 0.5 % of it plus two counts of 0.01, q = 0.44752555546.
    #[test]
    fn a_reading_by_its_instrument() {
        let meter = Instrument {
            name: "meter".to_string(),
            components: vec![Component {
                percent: 0.5,
                counts: 2.0,
                digit: 0.01,
            }],
        };
        let mean = (4.77 + 4.74 + 4.75) / 3.0;
        let rail = limits(Unit::Volt, Some(4.75), Some(5.25));
        let q = rail.probability_outside(mean, meter.sigma(mean));
        assert!((q - 0.447_525_555_46).abs() < 1e-10, "{q}");
    }
}
