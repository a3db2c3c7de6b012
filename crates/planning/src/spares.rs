//! How many to order beyond what the plan needs: chances that another will be wanted, against a second order.

/// The distribution of the sum of independent events with these chances: at `n` the chance that `n` of them come true
/// (the Poisson binomial distribution, by exact convolution).
#[must_use]
pub fn sum_of(chances: &[f64]) -> Vec<f64> {
    let mut sum = vec![1.0];
    for &chance in chances {
        let mut next = vec![0.0; sum.len() + 1];
        for (n, weight) in sum.iter().enumerate() {
            next[n] += weight * (1.0 - chance);
            next[n + 1] += weight * chance;
        }
        sum = next;
    }
    sum
}

/// What is weighed when spares are chosen.
#[derive(Clone)]
pub struct Spares<'a> {
    /// At `n` the chance that so many will be wanted.
    pub wanted: &'a [f64],
    /// Chance that one that is ordered is good: 1 for a part whose failing is in `wanted` already, the yield for a board
    /// built at home.
    pub good: f64,
    /// What so many cost now.
    pub now: &'a dyn Fn(usize) -> f64,
    /// What it costs to be short of so many, 1 or more: a second order with its postage, or the batch once more.
    pub short: &'a dyn Fn(usize) -> f64,
    /// At most so many are thought of.
    pub most: usize,
}

/// A number of spares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    /// How many.
    pub n: usize,
    /// Expected cost with so many: what they cost, and what being short of more costs on average.
    pub cost: f64,
    /// The same with none.
    pub none: f64,
    /// Chance that at least one is wanted.
    pub any: f64,
}

/// The number with the least expected cost, of equal ones the smallest.
#[must_use]
pub fn spares(spares: &Spares<'_>) -> Number {
    let none = cost(spares, 0);
    let mut best = Number {
        n: 0,
        cost: none,
        none,
        any: 1.0 - spares.wanted.first().copied().unwrap_or(1.0),
    };
    for n in 1..=spares.most {
        let cost = cost(spares, n);
        if cost < best.cost - 1e-9 {
            best = Number { n, cost, ..best };
        }
    }
    best
}

fn cost(spares: &Spares<'_>, n: usize) -> f64 {
    let good = sum_of(&vec![spares.good; n]);
    let mut cost = (spares.now)(n);
    for (have, have_chance) in good.iter().enumerate().filter(|(_, chance)| **chance > 0.0) {
        let missing = spares.wanted.iter().enumerate().skip(have + 1);
        let lost = missing.map(|(want, chance)| chance * (spares.short)(want - have));
        cost += have_chance * lost.sum::<f64>();
    }
    cost
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_sum(chances: &[f64], expected: &[f64]) {
        let sum = sum_of(chances);
        assert_eq!(sum.len(), expected.len());
        for (one, other) in sum.iter().zip(expected) {
            assert!((one - other).abs() < 1e-12, "{sum:?} {expected:?}");
        }
    }

    /// By hand: 0.5 · 0.8, 0.5 · 0.8 + 0.5 · 0.2, 0.5 · 0.2; three fair coins.
    #[test]
    fn sums_of_chances() {
        check_sum(&[], &[1.0]);
        check_sum(&[0.5, 0.2], &[0.4, 0.5, 0.1]);
        check_sum(&[0.5; 3], &[0.125, 0.375, 0.375, 0.125]);
        check_sum(&[1.0, 0.0], &[0.0, 1.0, 0.0]);
    }

    /// Against adding up all cases of eight events.
    #[test]
    fn sums_equal_listing() {
        let chances = [0.03, 0.5, 0.91, 0.2, 0.2, 0.66, 0.0, 0.37];
        let mut listed = vec![0.0; chances.len() + 1];
        for mask in 0..1_u32 << chances.len() {
            let each = chances.iter().enumerate();
            let weight: f64 = each
                .map(|(bit, c)| if mask >> bit & 1 == 1 { *c } else { 1.0 - c })
                .product();
            listed[mask.count_ones() as usize] += weight;
        }
        check_sum(&chances, &listed);
    }

    /// The newsvendor: each one too many costs `over`, each one too few `under`; the best number is the first whose
    /// chance to suffice reaches under / (under + over).
    fn newsvendor(wanted: &[f64], under: f64, over: f64) -> usize {
        // too many by n − want: over · (n − want)⁺ = over · (n − want) + over · (want − n)⁺, and want is a constant
        let number = spares(&Spares {
            wanted,
            good: 1.0,
            now: &|n| over * n as f64,
            short: &|n| (under + over) * n as f64,
            most: wanted.len(),
        });
        number.n
    }

    fn first_that_suffices(wanted: &[f64], ratio: f64) -> usize {
        let mut sum = 0.0;
        let reached = wanted.iter().position(|chance| {
            sum += chance;
            sum >= ratio - 1e-12
        });
        reached.unwrap()
    }

    #[test]
    fn the_newsvendor_is_a_special_case() {
        for (under, over) in [(50.0, 15.0), (80.0, 20.0), (1.0, 9.0), (3.0, 3.0)] {
            let wanted = sum_of(&[0.3, 0.5, 0.05, 0.77, 0.41, 0.9, 0.12]);
            let ratio = under / (under + over);
            let expected = first_that_suffices(&wanted, ratio);
            assert_eq!(newsvendor(&wanted, under, over), expected, "{under} {over}");
        }
    }

    /// Nahmias, "Production and Operations Analysis", the newsstand: weekly demand normal with mean 11.73 and deviation
    /// 4.74 and the rule F(Q) = cu / (cu + co); cu 50 and co 15 from memory. Computed with these: ratio 0.76923, Q 15.2201
    /// (15.24 in the book, whose table gives z = 0.74). Here in steps of a tenth, what lies below 0 in the first.
    #[test]
    fn the_newsstand() {
        let weight = |at: i32| {
            let z = (f64::from(at) / 10.0 - 11.73) / 4.74;
            (-0.5 * z * z).exp()
        };
        let mut wanted: Vec<f64> = (0..400).map(weight).collect();
        wanted[0] += (-300..0).map(weight).sum::<f64>();
        let all: f64 = wanted.iter().sum();
        wanted.iter_mut().for_each(|weight| *weight /= all);
        let number = newsvendor(&wanted, 50.0, 15.0);
        assert!((number as f64 / 10.0 - 15.2201).abs() < 0.1, "{number}");
    }

    /// One board is wanted for certain, half of those built are good, another batch costs 40: by hand 1: 5 + 20,
    /// 2: 10 + 10, 3: 15 + 5, 4: 20 + 2.5.
    #[test]
    fn the_yield_of_boards_counts() {
        let number = spares(&Spares {
            wanted: &[0.0, 1.0],
            good: 0.5,
            now: &|n| 5.0 * n as f64,
            short: &|_| 40.0,
            most: 10,
        });
        assert_eq!(number.n, 2);
        assert!((number.cost - 20.0).abs() < 1e-12 && (number.none - 40.0).abs() < 1e-12);
    }

    /// A second postage of 6.50 against a chip at 3.90 that is wanted with 0.3, or with 0.8.
    #[test]
    fn a_second_postage() {
        let order = |chance: f64| {
            let wanted = sum_of(&[chance]);
            spares(&Spares {
                wanted: &wanted,
                good: 1.0,
                now: &|n| 390.0 * n as f64,
                short: &|n| 650.0 + 390.0 * n as f64,
                most: 3,
            })
        };
        assert_eq!((order(0.3).n, order(0.8).n), (0, 1));
        assert!((order(0.8).cost - 390.0).abs() < 1e-9);
        assert!((order(0.8).none - 0.8 * 1040.0).abs() < 1e-9);
    }
}
