//! The arithmetic that flies: what a number must be able to do, and nothing more.
//!
//! Implementations use only IEEE-754 add, subtract, multiply, divide and integer operations, so that
//! a laptop and a microcontroller give equal bits. Comparisons are written out instead of calling
//! `min` and `max`, whose result on −0 and +0 differs between machines.

use core::fmt::Debug;
use core::ops::{Add, Div, Mul, Neg, Sub};

/// Largest relative error of [`Scalar::recip_sqrt`] for `f32`, normal arguments.
pub const RECIP_SQRT_TOL_F32: f64 = 2.0e-7;
/// Largest relative error of [`Scalar::recip_sqrt`] for `f64`, normal arguments.
pub const RECIP_SQRT_TOL_F64: f64 = 4.0e-16;

/// A real number on the target.
pub trait Scalar:
    Copy
    + Default
    + Debug
    + PartialEq
    + PartialOrd
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Div<Output = Self>
    + Neg<Output = Self>
    + Send
    + Sync
    + 'static
{
    /// Zero.
    const ZERO: Self;
    /// One.
    const ONE: Self;
    /// Two.
    const TWO: Self;
    /// One half.
    const HALF: Self;
    /// Distance from one to the next number.
    const EPSILON: Self;
    /// The smallest number above zero with all its digits; in fixed point the distance between any two.
    const SMALLEST: Self;

    /// The nearest number to `value`.
    fn from_f64(value: f64) -> Self;

    /// The same value in double precision.
    fn to_f64(self) -> f64;

    /// The whole part, towards zero, as an integer and as a number; the nearest that fit, and 0 for NaN. No double
    /// precision is needed on the way.
    fn whole(self) -> (i32, Self);

    /// Neither infinite nor NaN.
    fn is_finite(self) -> bool;

    /// One over the square root; 0 for arguments that are not above zero, and for NaN.
    fn recip_sqrt(self) -> Self;

    /// Square root; 0 for arguments that are not above zero, and for NaN.
    fn sqrt(self) -> Self {
        if self > Self::ZERO { self * self.recip_sqrt() } else { Self::ZERO }
    }

    /// Magnitude.
    fn abs(self) -> Self {
        if self < Self::ZERO { -self } else { self }
    }

    /// The smaller of two; `other` when `self` is NaN.
    fn smaller(self, other: Self) -> Self {
        if self < other { self } else { other }
    }

    /// The larger of two; `other` when `self` is NaN.
    fn larger(self, other: Self) -> Self {
        if self > other { self } else { other }
    }

    /// The nearest number in `low..=high`; `low` when `self` is NaN.
    fn limit(self, low: Self, high: Self) -> Self {
        if !(self >= low) {
            low
        } else if self > high {
            high
        } else {
            self
        }
    }

    /// The nearest number in `-most..=most`; `-most` when `self` is NaN. As [`Scalar::limit`], and cheaper where a value
    /// hardly ever meets its limits.
    #[inline(always)]
    fn limit_size(self, most: Self) -> Self {
        if self.abs() <= most { self } else { nearer_end(self, most) }
    }
}

#[cold]
fn nearer_end<S: Scalar>(value: S, most: S) -> S {
    if value > S::ZERO { most } else { -most }
}

impl Scalar for f32 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    const TWO: Self = 2.0;
    const HALF: Self = 0.5;
    const EPSILON: Self = f32::EPSILON;
    const SMALLEST: Self = f32::MIN_POSITIVE;

    fn from_f64(value: f64) -> Self {
        value as f32
    }

    fn to_f64(self) -> f64 {
        f64::from(self)
    }

    fn whole(self) -> (i32, Self) {
        let whole = self as i32;
        (whole, whole as f32)
    }

    fn is_finite(self) -> bool {
        f32::is_finite(self)
    }

    fn abs(self) -> Self {
        f32::abs(self)
    }

    fn recip_sqrt(self) -> Self {
        if !(self > 0.0) {
            return 0.0;
        }
        // The guess is within 3.5 %; each Newton step squares the relative error.
        let half = 0.5 * self;
        let mut root = micromath::F32(self).invsqrt().0;
        for _ in 0..3 {
            root = root * (1.5 - half * root * root);
        }
        root
    }
}

impl Scalar for f64 {
    const ZERO: Self = 0.0;
    const ONE: Self = 1.0;
    const TWO: Self = 2.0;
    const HALF: Self = 0.5;
    const EPSILON: Self = f64::EPSILON;
    const SMALLEST: Self = f64::MIN_POSITIVE;

    fn from_f64(value: f64) -> Self {
        value
    }

    fn to_f64(self) -> f64 {
        self
    }

    fn whole(self) -> (i32, Self) {
        let whole = self as i32;
        (whole, whole as f64)
    }

    fn is_finite(self) -> bool {
        f64::is_finite(self)
    }

    fn abs(self) -> Self {
        f64::abs(self)
    }

    fn recip_sqrt(self) -> Self {
        recip_sqrt_f64(self)
    }
}

/// [`Scalar::recip_sqrt`] for `f64`, usable where a craft is a constant.
pub(crate) const fn recip_sqrt_f64(value: f64) -> f64 {
    if !(value > 0.0) {
        return 0.0;
    }
    // Halving the exponent by shifting the bits gives a guess within 3.5 %: C. Lomont, "Fast inverse
    // square root", 2003 (constant from memory; the test below holds whatever the guess).
    let half = 0.5 * value;
    let mut root = f64::from_bits(0x5fe6_eb50_c7b5_37a9 - (value.to_bits() >> 1));
    let mut step = 0;
    while step < 5 {
        root = root * (1.5 - half * root * root);
        step += 1;
    }
    root
}

#[cfg(test)]
mod tests {
    use super::*;

    fn relative_error<S: Scalar>(value: S) -> f64 {
        value.recip_sqrt().to_f64() * value.to_f64().sqrt() - 1.0
    }

    #[test]
    fn recip_sqrt_is_within_its_tolerance_over_the_whole_range() {
        let mut worst_f32 = 0.0_f64;
        let mut worst_f64 = 0.0_f64;
        for exponent in -37..38 {
            for step in 0..200 {
                let value = 10.0_f64.powi(exponent) * (1.0 + f64::from(step) * 0.045);
                worst_f32 = worst_f32.max(relative_error(value as f32).abs());
                worst_f64 = worst_f64.max(relative_error(value).abs());
            }
        }
        assert!(worst_f32 <= RECIP_SQRT_TOL_F32, "{worst_f32:e}");
        assert!(worst_f64 <= RECIP_SQRT_TOL_F64, "{worst_f64:e}");
        assert!(worst_f32 >= 0.25 * RECIP_SQRT_TOL_F32, "the stated tolerance is slack: {worst_f32:e}");
        assert!(worst_f64 >= 0.25 * RECIP_SQRT_TOL_F64, "the stated tolerance is slack: {worst_f64:e}");
    }

    #[test]
    fn roots_of_what_has_none_are_zero() {
        for bad in [0.0, -0.0, -1.0, f32::NEG_INFINITY, f32::NAN] {
            assert_eq!(bad.recip_sqrt().to_bits(), 0.0_f32.to_bits(), "{bad}");
            assert_eq!(Scalar::sqrt(bad).to_bits(), 0.0_f32.to_bits(), "{bad}");
            assert_eq!(Scalar::sqrt(f64::from(bad)).to_bits(), 0.0_f64.to_bits(), "{bad}");
        }
    }

    #[test]
    fn whole_part_is_cut_towards_zero_and_ends_where_integers_do() {
        assert_eq!(2.9_f32.whole(), (2, 2.0));
        assert_eq!((-2.9_f32).whole(), (-2, -2.0));
        assert_eq!(f32::NAN.whole(), (0, 0.0));
        assert_eq!(1e300_f64.whole(), (i32::MAX, f64::from(i32::MAX)));
    }

    #[test]
    fn limit_catches_nan_and_keeps_what_is_inside() {
        assert_eq!(f32::NAN.limit(-1.0, 2.0), -1.0);
        assert_eq!(f32::INFINITY.limit(-1.0, 2.0), 2.0);
        assert_eq!(f32::NEG_INFINITY.limit(-1.0, 2.0), -1.0);
        assert_eq!(0.5_f32.limit(-1.0, 2.0), 0.5);
    }

    #[test]
    fn limit_of_the_size_is_that_of_both_ends() {
        for value in [0.0, -0.0, 0.5, -0.5, 2.0, -2.0, 2.1, -2.1, f32::MAX, f32::INFINITY, f32::NEG_INFINITY, f32::NAN]
        {
            assert_eq!(value.limit_size(2.0).to_bits(), value.limit(-2.0, 2.0).to_bits(), "{value}");
        }
    }

    #[test]
    fn comparisons_of_signed_zeros_give_the_same_bits_every_time() {
        assert_eq!((-0.0_f32).smaller(0.0).to_bits(), 0.0_f32.to_bits());
        assert_eq!(0.0_f32.smaller(-0.0).to_bits(), (-0.0_f32).to_bits());
        assert_eq!((-0.0_f32).larger(0.0).to_bits(), 0.0_f32.to_bits());
    }
}
