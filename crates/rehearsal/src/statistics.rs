//! Means with their 95 % confidence intervals.

/// A mean and half the width of its 95 % confidence interval.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Mean {
    /// The mean.
    pub mean: f64,
    /// Half the width of the interval; infinite if there is only one value.
    pub within: f64,
}

impl Mean {
    /// Of values that are independent of each other.
    #[must_use]
    pub fn of(values: &[f64]) -> Self {
        let count = values.len() as f64;
        if values.is_empty() {
            return Self::default();
        }
        let mean = values.iter().sum::<f64>() / count;
        if values.len() == 1 {
            return Self {
                mean,
                within: f64::INFINITY,
            };
        }
        let squares: f64 = values
            .iter()
            .map(|value| (value - mean) * (value - mean))
            .sum();
        let error = (squares / (count - 1.0) / count).sqrt();
        Self {
            mean,
            within: student(values.len() - 1) * error,
        }
    }

    /// Whether 0 is outside the interval.
    #[must_use]
    pub fn is_beyond_chance(self) -> bool {
        self.mean.abs() > self.within
    }
}

/// A ratio of sums over piles, and by pile what it adds to the ratio (the first term of its Taylor series), so that ratios
/// of two policies on the same piles can be compared in pairs.
#[must_use]
pub(crate) fn ratio(over: &[f64], under: &[f64]) -> (f64, Vec<f64>) {
    let (sum, below): (f64, f64) = (over.iter().sum(), under.iter().sum());
    if below <= 0.0 {
        return (f64::INFINITY, vec![f64::NAN; over.len()]);
    }
    let ratio = sum / below;
    let mean = below / under.len() as f64;
    let parts = over.iter().zip(under);
    (
        ratio,
        parts
            .map(|(over, under)| ratio + (over - ratio * under) / mean)
            .collect(),
    )
}

/// The 97.5 % quantile of Student's t: the first ten from the usual table (from memory), then the series of Cornish and
/// Fisher (Abramowitz & Stegun 26.7.5).
fn student(degrees: usize) -> f64 {
    const TABLE: [f64; 10] = [
        12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
    ];
    if let Some(value) = degrees.checked_sub(1).and_then(|place| TABLE.get(place)) {
        return *value;
    }
    let (z, n) = (1.959_963_985_f64, degrees as f64);
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let third = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    z + first / n + second / (n * n) + third / (n * n * n)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Quantiles for 30 and 100 degrees from the usual table, from memory.
    #[test]
    fn quantiles() {
        for (degrees, expected) in [(4, 2.776), (11, 2.201), (30, 2.042), (100, 1.984)] {
            assert!(
                (student(degrees) - expected).abs() < 6e-4,
                "{degrees}: {}",
                student(degrees)
            );
        }
    }

    #[test]
    fn a_mean_by_hand() {
        // 1, 2, 3, 4: mean 2.5, variance 5/3, error sqrt(5/12), t for three degrees 3.182
        let mean = Mean::of(&[1.0, 2.0, 3.0, 4.0]);
        assert!((mean.mean - 2.5).abs() < 1e-12);
        assert!((mean.within - 3.182 * (5.0_f64 / 12.0).sqrt()).abs() < 1e-12);
        assert!(mean.is_beyond_chance());
        assert_eq!(Mean::of(&[7.0]).within, f64::INFINITY);
    }

    #[test]
    fn parts_of_a_ratio_have_it_as_their_mean() {
        let (ratio, parts) = ratio(&[10.0, 30.0, 20.0], &[1.0, 2.0, 3.0]);
        assert_eq!(ratio, 10.0);
        assert!((Mean::of(&parts).mean - 10.0).abs() < 1e-12);
    }
}
