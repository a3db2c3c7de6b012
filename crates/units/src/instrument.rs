//! What an instrument's accuracy says about a reading.

/// One source of error: a percentage of the reading plus a number of counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Per cent of the reading.
    pub percent: f64,
    /// Counts of the last digit.
    pub counts: f64,
    /// Worth of one count in the base unit.
    pub digit: f64,
}

/// An instrument with its sources of error.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Instrument {
    /// What the owner calls it.
    pub name: String,
    /// Its independent sources of error.
    pub components: Vec<Component>,
}

impl Component {
    /// Half the width of the interval that this component allows round `reading`.
    pub fn half_width(&self, reading: f64) -> f64 {
        self.percent / 100.0 * reading.abs() + self.counts * self.digit
    }
}

impl Instrument {
    /// The half-width of each component at `reading`.
    pub fn half_widths(&self, reading: f64) -> Vec<f64> {
        self.components
            .iter()
            .map(|component| component.half_width(reading))
            .collect()
    }

    /// Standard uncertainty at `reading`: each component is rectangular, so σ² = Σ a²/3
    /// (JCGM 100:2008, the GUM, 4.3.7, type B).
    pub fn sigma(&self, reading: f64) -> f64 {
        let squares: f64 = self.half_widths(reading).iter().map(|a| a * a).sum();
        (squares / 3.0).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_widths_add_in_squares() {
        let meter = Component {
            percent: 0.5,
            counts: 2.0,
            digit: 0.01,
        };
        let probe = Component {
            percent: 1.0,
            counts: 0.0,
            digit: 0.0,
        };
        let instrument = Instrument {
            name: "bench meter".to_string(),
            components: vec![meter, probe],
        };
        assert_eq!(instrument.half_widths(-4.0), vec![0.04, 0.04]);
        assert!((instrument.sigma(4.0) - (0.0032_f64 / 3.0).sqrt()).abs() < 1e-15);
        assert_eq!(Instrument::default().sigma(4.0), 0.0);
    }
}
