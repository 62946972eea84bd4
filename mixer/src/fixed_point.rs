//! Fixed point for targets without a floating-point unit: 32 bits before the point, 32 behind.
//!
//! Why this format: squares of row shares down to 1e-4 and thrusts up to hundreds of newtons meet in
//! one factorisation. With 16 bits behind the point (1.5e-5) the squares are gone; with 32 (2.3e-10)
//! they keep two digits, and ±2e9 is never reached by a craft's newtons. The plain operators of the
//! underlying type panic or wrap; these saturate, and dividing by zero gives the limit of its sign.

use core::ops::{Add, Div, Mul, Neg, Sub};

use fixed::types::I32F32;

use crate::scalar::Scalar;

/// Largest distance of a wrench allocated in fixed point from the same in `f64`, as a share of what
/// the rotors can do in that axis, for regular crafts.
pub const ALLOCATION_TOL_FIXED: f64 = 5.0e-9;

/// A saturating fixed-point number. There is no NaN and no infinity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Fixed(I32F32);

impl Fixed {
    /// The largest number, where everything above ends.
    pub const MAX: Fixed = Fixed(I32F32::MAX);
    /// The smallest number, where everything below ends.
    pub const MIN: Fixed = Fixed(I32F32::MIN);
}

/// On the wire: the same value in double precision.
#[cfg(feature = "defmt")]
impl defmt::Format for Fixed {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "{=f64}", self.to_f64());
    }
}

impl Add for Fixed {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Fixed(self.0.saturating_add(other.0))
    }
}

impl Sub for Fixed {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Fixed(self.0.saturating_sub(other.0))
    }
}

// On a microcontroller products and quotients of 64 bits are many instructions: one copy of each, called, makes a program
// of less than half the size.
impl Mul for Fixed {
    type Output = Self;
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn mul(self, other: Self) -> Self {
        Fixed(self.0.saturating_mul(other.0))
    }
}

impl Div for Fixed {
    type Output = Self;
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn div(self, other: Self) -> Self {
        if other.0 != I32F32::ZERO {
            return Fixed(self.0.saturating_div(other.0));
        }
        if self.0 > I32F32::ZERO {
            Fixed::MAX
        } else if self.0 < I32F32::ZERO {
            Fixed::MIN
        } else {
            Fixed(I32F32::ZERO)
        }
    }
}

impl Neg for Fixed {
    type Output = Self;
    fn neg(self) -> Self {
        Fixed(self.0.saturating_neg())
    }
}

impl Scalar for Fixed {
    const ZERO: Self = Fixed(I32F32::ZERO);
    const ONE: Self = Fixed(I32F32::ONE);
    const TWO: Self = Fixed(I32F32::from_bits(2 << 32));
    const HALF: Self = Fixed(I32F32::from_bits(1 << 31));
    const EPSILON: Self = Fixed(I32F32::DELTA);
    const SMALLEST: Self = Fixed(I32F32::DELTA);

    /// The nearest number; 0 for NaN.
    fn from_f64(value: f64) -> Self {
        // The saturating conversion has a panic for NaN, also where there is none.
        match I32F32::checked_from_num(value) {
            Some(number) => Fixed(number),
            None if value > 0.0 => Fixed::MAX,
            None if value < 0.0 => Fixed::MIN,
            None => Self::ZERO,
        }
    }

    fn to_f64(self) -> f64 {
        self.0.to_num()
    }

    fn whole(self) -> (i32, Self) {
        // Shifting right would cut towards minus infinity.
        let size = self.0.saturating_abs().to_bits() >> 32;
        let whole = if self.0 < I32F32::ZERO { -size } else { size };
        (whole as i32, Fixed(I32F32::from_bits(whole << 32)))
    }

    fn is_finite(self) -> bool {
        true
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn recip_sqrt(self) -> Self {
        if self <= Self::ZERO {
            return Self::ZERO;
        }
        // Brought between a quarter and one by an even shift, Newton's method needs no range; the half
        // shift is put back at the end.
        let bits = self.0.to_bits();
        let shift = (bits.leading_zeros() as i32 - 32) & !1;
        let near = Fixed(I32F32::from_bits(if shift >= 0 { bits << shift } else { bits >> -shift }));
        let (three_halves, half) = (Self::ONE + Self::HALF, Self::HALF * near);
        // Start below the root everywhere in the range, where the iteration rises to it.
        let mut root = Self::ONE;
        for _ in 0..7 {
            root = root * (three_halves - half * root * root);
        }
        let bits = root.0.to_bits();
        Fixed(I32F32::from_bits(if shift >= 0 { bits << (shift / 2) } else { bits >> (-shift / 2) }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fixed(value: f64) -> Fixed {
        Fixed::from_f64(value)
    }

    #[test]
    fn saturates_where_the_plain_operators_would_wrap_or_panic() {
        let (max, min) = (Fixed::MAX, Fixed::MIN);
        assert_eq!(max + Fixed::ONE, max);
        assert_eq!(min - Fixed::ONE, min);
        assert_eq!(max * max, max);
        assert_eq!(max * min, min);
        assert_eq!(-min, max);
        assert_eq!(Fixed::ONE / Fixed::ZERO, max);
        assert_eq!(-Fixed::ONE / Fixed::ZERO, min);
        assert_eq!(Fixed::ZERO / Fixed::ZERO, Fixed::ZERO);
        assert_eq!(max / Fixed::EPSILON, max);
    }

    #[test]
    fn whole_part_is_cut_towards_zero() {
        assert_eq!(fixed(2.9).whole(), (2, fixed(2.0)));
        assert_eq!(fixed(-2.9).whole(), (-2, fixed(-2.0)));
        assert_eq!(Fixed::MAX.whole(), (i32::MAX, fixed(f64::from(i32::MAX))));
    }

    #[test]
    fn what_is_no_number_is_zero_and_what_is_too_large_saturates() {
        assert_eq!(fixed(f64::NAN), Fixed::ZERO);
        assert_eq!(fixed(f64::INFINITY), Fixed::MAX);
        assert_eq!(fixed(-1e300), Fixed::MIN);
        assert_eq!(fixed(1e-300), Fixed::ZERO);
        assert_eq!((fixed(0.5), fixed(2.0)), (Fixed::HALF, Fixed::TWO));
    }

    #[test]
    fn recip_sqrt_is_right_to_the_resolution_over_the_whole_range() {
        // Relative rounding of a few steps of 2^-32 after the shift, and the resolution itself.
        let tolerance = 4.0 * Fixed::EPSILON.to_f64();
        for exponent in -30..31 {
            for step in 0..50 {
                let value = fixed(2.0_f64.powi(exponent) * (1.0 + f64::from(step) / 50.0));
                let exact = 1.0 / value.to_f64().sqrt();
                let error = (value.recip_sqrt().to_f64() - exact).abs();
                assert!(error <= tolerance * (1.0 + exact), "{value:?}: {error:e}");
            }
        }
        for none in [Fixed::ZERO, -Fixed::ONE, Fixed::MIN] {
            assert_eq!(none.recip_sqrt(), Fixed::ZERO);
        }
    }
}
