//! The numbers that passes reckon with: double precision, and pairs of doubles where differences of nearly equal numbers need more digits.

use std::ops::{Add, AddAssign, Mul};

/// A number of a pass.
pub(crate) trait Number:
    Copy + PartialEq + Add<Output = Self> + AddAssign + Mul<Output = Self>
{
    const ZERO: Self;
    const ONE: Self;
    /// Bound of the relative rounding error of one operation.
    const ROUNDING: f64;
    /// A bit for each of the numbers that it holds.
    const ALL: u8 = 1;

    /// The sum of two doubles, the second far smaller than the first.
    fn of(high: f64, low: f64) -> Self;
    fn high(self) -> f64;
    fn low(self) -> f64;
    /// Times a power of two.
    fn shifted(self, power: f64) -> Self;
    /// Its size; that of the largest where there are several.
    fn size(self) -> f64;
    /// Itself, or another one of greater size, by place where there are several; what comes out may have lost its sign.
    fn or_greater(self, other: Self) -> Self;
    /// Itself, or 0 if it is negative.
    fn positive(self) -> Self;
    /// Doubles as they are, where that is what it is.
    fn doubles(_numbers: &[f64]) -> Option<&[Self]> {
        None
    }
    /// Times a number, of several those that are chosen: a bit for each.
    fn times_where(self, by: f64, _chosen: u8) -> Self {
        self * Self::of(by, 0.0)
    }
}

impl Number for f64 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    const ROUNDING: f64 = f64::EPSILON / 2.0;

    #[inline(always)]
    fn of(high: f64, _low: f64) -> Self {
        high
    }

    #[inline(always)]
    fn high(self) -> f64 {
        self
    }

    #[inline(always)]
    fn low(self) -> f64 {
        0.0
    }

    #[inline(always)]
    fn shifted(self, power: f64) -> Self {
        self * power
    }

    #[inline(always)]
    fn size(self) -> f64 {
        self.abs()
    }

    #[inline(always)]
    fn or_greater(self, other: Self) -> Self {
        let size = other.abs();
        if size > self { size } else { self }
    }

    #[inline(always)]
    fn positive(self) -> Self {
        self.max(0.0)
    }

    fn doubles(numbers: &[f64]) -> Option<&[Self]> {
        Some(numbers)
    }
}

/// Questions that are answered in one pass.
pub(crate) const LANES: usize = 4;

/// Numbers of several questions side by side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Lanes(pub(crate) [f64; LANES]);

impl Number for Lanes {
    const ZERO: Self = Self([0.0; LANES]);
    const ONE: Self = Self([1.0; LANES]);
    const ROUNDING: f64 = f64::EPSILON / 2.0;
    const ALL: u8 = u8::MAX >> (8 - LANES);

    #[inline(always)]
    fn of(high: f64, _low: f64) -> Self {
        Self([high; LANES])
    }

    #[inline(always)]
    fn high(self) -> f64 {
        self.0[0]
    }

    #[inline(always)]
    fn low(self) -> f64 {
        0.0
    }

    #[inline(always)]
    fn shifted(self, power: f64) -> Self {
        Self(self.0.map(|value| value * power))
    }

    #[inline(always)]
    fn size(self) -> f64 {
        self.0.iter().fold(0.0, |size, value| size.max(value.abs()))
    }

    #[inline(always)]
    fn or_greater(mut self, other: Self) -> Self {
        for (size, other) in self.0.iter_mut().zip(other.0) {
            *size = size.or_greater(other);
        }
        self
    }

    #[inline(always)]
    fn positive(self) -> Self {
        Self(self.0.map(|value| value.max(0.0)))
    }

    fn times_where(mut self, by: f64, chosen: u8) -> Self {
        for (lane, value) in self.0.iter_mut().enumerate() {
            if chosen >> lane & 1 == 1 {
                *value *= by;
            }
        }
        self
    }
}

impl Add for Lanes {
    type Output = Self;

    #[inline(always)]
    fn add(mut self, other: Self) -> Self {
        self += other;
        self
    }
}

impl AddAssign for Lanes {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        for (value, other) in self.0.iter_mut().zip(other.0) {
            *value += other;
        }
    }
}

impl Mul for Lanes {
    type Output = Self;

    #[inline(always)]
    fn mul(mut self, other: Self) -> Self {
        for (value, other) in self.0.iter_mut().zip(other.0) {
            *value *= other;
        }
        self
    }
}

/// A pair of doubles that stands for its sum: some 31 decimal digits (Dekker, "A floating-point technique for extending the available
/// precision", Numerische Mathematik 18, 1971).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Pair {
    high: f64,
    low: f64,
}

impl Number for Pair {
    const ZERO: Self = Self {
        high: 0.0,
        low: 0.0,
    };
    const ONE: Self = Self {
        high: 1.0,
        low: 0.0,
    };
    /// Twice the proven bounds (Joldes, Muller & Popescu, "Tight and rigorous error bounds for basic building blocks of double-word
    /// arithmetic", ACM TOMS 44(2), 2017: 3 u² for the sum, 7 u² for the product without a fused operation, u = 2⁻⁵³).
    const ROUNDING: f64 = 4.0 * f64::EPSILON * f64::EPSILON;

    #[inline(always)]
    fn of(high: f64, low: f64) -> Self {
        Self { high, low }
    }

    #[inline(always)]
    fn high(self) -> f64 {
        self.high
    }

    #[inline(always)]
    fn low(self) -> f64 {
        self.low
    }

    #[inline(always)]
    fn shifted(self, power: f64) -> Self {
        Self {
            high: self.high * power,
            low: self.low * power,
        }
    }

    #[inline(always)]
    fn size(self) -> f64 {
        self.high.abs()
    }

    #[inline(always)]
    fn or_greater(self, other: Self) -> Self {
        if other.size() > self.size() {
            other
        } else {
            self
        }
    }

    #[inline(always)]
    fn positive(self) -> Self {
        if self.high > 0.0 { self } else { Self::ZERO }
    }
}

impl Add for Pair {
    type Output = Self;

    #[inline(always)]
    fn add(self, other: Self) -> Self {
        let (high, high_rest) = two_sum(self.high, other.high);
        let (low, low_rest) = two_sum(self.low, other.low);
        let (high, rest) = quick_two_sum(high, high_rest + low);
        let (high, low) = quick_two_sum(high, rest + low_rest);
        Self { high, low }
    }
}

impl AddAssign for Pair {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Mul for Pair {
    type Output = Self;

    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        let (high, rest) = two_product(self.high, other.high);
        let cross = self.high * other.low + self.low * other.high;
        let (high, low) = quick_two_sum(high, rest + cross);
        Self { high, low }
    }
}

/// A number with a bound of how far it is off: a running error analysis (Wilkinson, "Rounding Errors in Algebraic Processes", 1963).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Running<T> {
    pub(crate) value: T,
    pub(crate) error: f64,
}

impl<T: Number> Running<T> {
    /// Itself, rounded once.
    #[inline(always)]
    fn rounded(self) -> Self {
        Self {
            error: self.error + self.size() * T::ROUNDING,
            ..self
        }
    }
}

impl<T: Number> Number for Running<T> {
    const ZERO: Self = Self {
        value: T::ZERO,
        error: 0.0,
    };
    const ONE: Self = Self {
        value: T::ONE,
        error: 0.0,
    };
    const ROUNDING: f64 = T::ROUNDING;

    #[inline(always)]
    fn of(high: f64, low: f64) -> Self {
        Self {
            value: T::of(high, low),
            error: 0.0,
        }
    }

    #[inline(always)]
    fn high(self) -> f64 {
        self.value.high()
    }

    #[inline(always)]
    fn low(self) -> f64 {
        self.value.low()
    }

    #[inline(always)]
    fn shifted(self, power: f64) -> Self {
        Self {
            value: self.value.shifted(power),
            error: self.error * power,
        }
    }

    #[inline(always)]
    fn size(self) -> f64 {
        self.value.size()
    }

    #[inline(always)]
    fn or_greater(self, other: Self) -> Self {
        if other.size() > self.size() {
            other
        } else {
            self
        }
    }

    #[inline(always)]
    fn positive(self) -> Self {
        Self {
            value: self.value.positive(),
            ..self
        }
    }
}

impl<T: Number> Add for Running<T> {
    type Output = Self;

    #[inline(always)]
    fn add(self, other: Self) -> Self {
        let sum = Self {
            value: self.value + other.value,
            error: self.error + other.error,
        };
        // added to nothing it stays what it is
        match self.value == T::ZERO {
            true => sum,
            false => sum.rounded(),
        }
    }
}

impl<T: Number> AddAssign for Running<T> {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl<T: Number> Mul for Running<T> {
    type Output = Self;

    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        let product = Self {
            value: self.value * other.value,
            error: self.error * other.size() + self.size() * other.error,
        };
        product.rounded()
    }
}

/// A bound of an error in half the room: of its binary digits twenty-one are kept, rounded up.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct Bound(u32);

impl Bound {
    pub(crate) fn of(error: f64) -> Self {
        Self(((error.to_bits() + u64::from(u32::MAX)) >> 32) as u32)
    }

    pub(crate) fn get(self) -> f64 {
        f64::from_bits(u64::from(self.0) << 32)
    }
}

/// The rounded sum and what it leaves out.
#[inline(always)]
fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let part = sum - a;
    (sum, (a - (sum - part)) + (b - part))
}

/// The same where |a| is not the smaller one.
#[inline(always)]
fn quick_two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    (sum, b - (sum - a))
}

/// The rounded product and what it leaves out.
#[inline(always)]
fn two_product(a: f64, b: f64) -> (f64, f64) {
    let product = a * b;
    let ((a, a_low), (b, b_low)) = (halves(a), halves(b));
    (
        product,
        ((a * b - product) + a * b_low + a_low * b) + a_low * b_low,
    )
}

/// A number as the sum of two with half the digits each.
#[inline(always)]
fn halves(number: f64) -> (f64, f64) {
    const SPLIT: f64 = 134_217_729.0; // 2²⁷ + 1
    let shifted = SPLIT * number;
    let high = shifted - (shifted - number);
    (high, number - high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_keep_what_doubles_lose() {
        let check = |found: Pair, high: f64, low: f64| {
            assert_eq!((found.high, found.low), (high, low));
        };
        let number = |value: f64| Pair::of(value, 0.0);
        // (1 + ε)² = 1 + 2ε + ε², exact in binary
        let e = 2.0_f64.powi(-40);
        check(number(1.0 + e) * number(1.0 + e), 1.0 + 2.0 * e, e * e);
        check(number(1.0) + number(1e-30), 1.0, 1e-30);
        check((number(1.0) + number(1e-30)) + number(-1.0), 1e-30, 0.0);
        check(number(3.0) * number(0.0), 0.0, 0.0);
        let third = Pair::of(1.0 / 3.0, 0.0);
        let nine = third * third;
        let exact = 1.0 / 9.0;
        assert!((nine.high - exact).abs() < 1e-16);
    }

    #[test]
    fn bounds_in_half_the_room_are_rounded_up() {
        let check = |error: f64, exact: bool| {
            let kept = Bound::of(error).get();
            assert!(
                kept >= error && kept <= error * (1.0 + 2.0_f64.powi(-20)),
                "{error}"
            );
            assert_eq!(kept == error, exact, "{error}");
        };
        check(0.0, true);
        check(1.0, true);
        check(f64::INFINITY, true);
        check(0.1, false);
        check(1.7e-16, false);
        check(2.3e-301, false);
        check(1.0_f64.next_up(), false);
        check(1.0_f64.next_down(), false);
        assert_eq!(Bound::of(f64::MAX).get(), f64::INFINITY);
        assert!(Bound::of(f64::from_bits(1)).get() > 0.0);
    }

    /// Sums of products against the same in pairs, whose digits are the truth here.
    #[test]
    fn bounds_hold() {
        let sum = |start: f64, step: f64, count: usize| {
            let (mut bounded, mut exact) = (Running::<f64>::ZERO, Pair::ZERO);
            for at in 0..count {
                let value = 1.0 / (start + step * at as f64);
                let sign = if at % 2 == 0 { 1.0 } else { -1.0 };
                bounded += Running::of(value, 0.0) * Running::of(sign * value, 0.0);
                exact += Pair::of(value, 0.0) * Pair::of(sign * value, 0.0);
            }
            (bounded, exact)
        };
        let check = |start: f64, step: f64, count: usize| {
            let (bounded, exact) = sum(start, step, count);
            let off = (exact + Pair::of(-bounded.value, 0.0)).size();
            assert!(off <= bounded.error, "{off} against {}", bounded.error);
            assert!(bounded.error < 1e-12, "{}", bounded.error);
        };
        check(3.0, 0.1, 1);
        check(3.0, 0.1, 2);
        check(3.0, 1e-9, 1000);
        check(7.0, 0.37, 999);
    }
}
