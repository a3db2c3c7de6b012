//! Putting numbers in order that differ by rounding where they ought to be equal: the order must not hang on that, for it differs from
//! machine to machine.

/// A number to be compared by: its first nine decimal digits or so.
#[must_use]
pub fn nine_digits(number: f64) -> f64 {
    /// Of 52 binary digits after the first 30 stay.
    const DROPPED: u32 = 22;
    let nearest = number.to_bits().saturating_add(1 << (DROPPED - 1));
    f64::from_bits(nearest >> DROPPED << DROPPED)
}

/// The first of those for which a number is largest.
pub fn first_of_most<T>(mut all: impl Iterator<Item = T>, number: impl Fn(&T) -> f64) -> Option<T> {
    let of = |one: &T| nine_digits(number(one));
    let first = all.next()?;
    let begin = (of(&first), first);
    let most = all.fold(begin, |best, one| match of(&one) {
        number if number > best.0 => (number, one),
        _ => best,
    });
    Some(most.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_rounding_does_is_left_out() {
        let check = |a: f64, b: f64, equal: bool| {
            assert_eq!(nine_digits(a) == nine_digits(b), equal, "{a} {b}");
            assert_eq!(nine_digits(-a) == nine_digits(-b), equal, "{a} {b}");
        };
        check(0.1 + 0.2, 0.3, true);
        check(1.0, 1.0 - f64::EPSILON, true);
        check(1.0, 1.0 + 1e-8, false);
        check(2e-300, 2e-300 * (1.0 + 1e-12), true);
        check(0.0, 1e-300, false);
        check(0.0, -0.0, true);
        assert!(nine_digits(3.0) > nine_digits(2.999_999));
        assert!(nine_digits(-3.0) < nine_digits(-2.999_999));
    }

    #[test]
    fn the_first_of_equal_ones() {
        let check = |all: &[f64], expect: Option<usize>| {
            let found = first_of_most(all.iter().enumerate(), |(_, number)| **number);
            assert_eq!(found.map(|(place, _)| place), expect, "{all:?}");
        };
        check(&[], None);
        check(&[0.3, 0.1 + 0.2, 0.1], Some(0));
        check(&[0.1, 0.1 + 0.2, 0.3], Some(1));
        check(&[f64::NEG_INFINITY, 0.0], Some(1));
    }
}
