//! Sine and cosine together, and the angle back from them, by add, multiply and divide alone.
//!
//! Every scalar uses the same polynomials, so `f64` is no more accurate than `f32` here: attitude
//! set-points need no more.

use evenkeel_mixer::Scalar;

/// Largest error of [`sin_cos`] for |x| ≤ 100 rad in `f32`.
pub const SIN_COS_TOL: f64 = 2.0e-7;

/// Largest error of [`atan2`] in `f32`, radians.
pub const ATAN2_TOL: f64 = 4.0e-7;

/// Arguments beyond this are taken as zero: a set-point angle is never that large.
const LARGEST_RAD: f64 = 1.0e4;

/// Sine and cosine.
///
/// * Math: reduction by π/2 in three parts, then minimax polynomials on ±π/4
/// * Input: radians; NaN, infinities and |x| > 10⁴ give (0, 1)
/// * Output: within [`SIN_COS_TOL`] for |x| ≤ 100 in `f32`
/// * Source: W. J. Cody, W. Waite, Software Manual for the Elementary Functions, 1980 (reduction; from
///   memory); coefficients fitted for this project
pub fn sin_cos<S: Scalar>(radians: S) -> (S, S) {
    let size = radians.abs();
    if size <= S::from_f64(core::f64::consts::FRAC_PI_4) {
        return (sin_polynomial(radians), cos_polynomial(radians));
    }
    if !(size <= S::from_f64(LARGEST_RAD)) {
        return (S::ZERO, S::ONE);
    }
    let (count, whole) = nearest_quarter_turn(radians);
    let rest = radians
        - whole * S::from_f64(1.570_312_5)
        - whole * S::from_f64(4.835_128_784_179_687_5e-4)
        - whole * S::from_f64(3.138_557e-7);
    let (sin, cos) = (sin_polynomial(rest), cos_polynomial(rest));
    match count & 3 {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}

/// How many quarter turns are nearest, as an integer and as a number. Up to half a turn, where attitudes are, nothing
/// is converted: that costs more than all the rest where double precision is software.
fn nearest_quarter_turn<S: Scalar>(radians: S) -> (i32, S) {
    let size = radians.abs();
    let (count, whole) = if size <= S::from_f64(3.0 * core::f64::consts::FRAC_PI_4) {
        (1, S::ONE)
    } else if size <= S::from_f64(5.0 * core::f64::consts::FRAC_PI_4) {
        (2, S::TWO)
    } else {
        (size * S::from_f64(core::f64::consts::FRAC_2_PI) + S::HALF).whole()
    };
    if radians < S::ZERO { (-count, -whole) } else { (count, whole) }
}

fn sin_polynomial<S: Scalar>(x: S) -> S {
    let z = x * x;
    let c = S::from_f64;
    x + x * z * (c(-1.666_666_466e-1) + z * (c(8.332_747_835e-3) + z * c(-1.958_775_732e-4)))
}

fn cos_polynomial<S: Scalar>(x: S) -> S {
    let z = x * x;
    let c = S::from_f64;
    (S::ONE - S::HALF * z) + z * z * (c(4.166_666_466e-2) + z * (c(-1.388_830_248e-3) + z * c(2.454_778_843e-5)))
}

/// Angle of the point (x, y) from the x axis.
///
/// * Math: t = smaller/larger, reduced once more at tan(π/8), then a minimax polynomial
/// * Input: any; NaN in either gives 0, and so does the origin
/// * Output: −π to π within [`ATAN2_TOL`] in `f32`
/// * Source: W. J. Cody, W. Waite, 1980 (reduction; from memory); coefficients fitted for this project
pub fn atan2<S: Scalar>(y: S, x: S) -> S {
    let c = S::from_f64;
    let (tall, wide) = (y.abs(), x.abs());
    let (small, large) = if tall > wide { (wide, tall) } else { (tall, wide) };
    if !(large > S::ZERO && small <= large && large.is_finite()) {
        return S::ZERO;
    }
    let ratio = small / large;
    let (start, t) = if ratio > c(0.414_213_562_373_095_03) {
        (c(core::f64::consts::FRAC_PI_4), (ratio - S::ONE) / (ratio + S::ONE))
    } else {
        (S::ZERO, ratio)
    };
    let z = t * t;
    let tail = c(1.999_154_83e-1) + z * (c(-1.402_894_601e-1) + z * c(8.539_100_845e-2));
    let first = start + (t + t * z * (c(-3.333_328_955e-1) + z * tail));
    let angle = if tall > wide { c(core::f64::consts::FRAC_PI_2) - first } else { first };
    let angle = if x < S::ZERO { c(core::f64::consts::PI) - angle } else { angle };
    if y < S::ZERO { -angle } else { angle }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stays_within_its_tolerance() {
        let mut worst = 0.0_f64;
        for i in -1_000_000..=1_000_000 {
            let x = i as f32 * 1.0e-4;
            let (sin, cos) = sin_cos(x);
            worst = worst.max((f64::from(sin) - f64::from(x).sin()).abs());
            worst = worst.max((f64::from(cos) - f64::from(x).cos()).abs());
        }
        assert!((0.25 * SIN_COS_TOL..=SIN_COS_TOL).contains(&worst), "{worst:e}");
    }

    #[test]
    fn angle_comes_back_within_its_tolerance() {
        let mut worst = 0.0_f64;
        for i in -200_000..=200_000 {
            let angle = f64::from(i) * core::f64::consts::PI / 200_000.0;
            let (y, x) = ((angle.sin() * 3.0) as f32, (angle.cos() * 3.0) as f32);
            worst = worst.max((f64::from(atan2(y, x)) - f64::from(y).atan2(f64::from(x))).abs());
        }
        assert!((0.25 * ATAN2_TOL..=ATAN2_TOL).contains(&worst), "{worst:e}");
    }

    #[test]
    fn angle_of_nothing_is_zero() {
        let bad = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY];
        for (y, x) in bad.into_iter().flat_map(|bad| [(bad, 1.0), (1.0, bad), (bad, bad)]) {
            assert_eq!(atan2(y, x), 0.0, "{y} {x}");
        }
        assert_eq!(atan2(0.0_f32, 0.0), 0.0);
        assert_eq!(atan2(-0.0_f32, -0.0), 0.0);
        assert!((atan2(f32::MIN_POSITIVE, f32::MIN_POSITIVE) - core::f32::consts::FRAC_PI_4).abs() < 1e-6);
        assert!((atan2(f32::MAX, -f32::MAX) - 0.75 * core::f32::consts::PI).abs() < 1e-6);
        assert_eq!(atan2(1.0_f32, 0.0), core::f32::consts::FRAC_PI_2);
        assert_eq!(atan2(0.0_f32, -1.0), core::f32::consts::PI);
    }

    #[test]
    fn what_is_no_angle_gives_zero_turn() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, -1.1e4] {
            assert_eq!(sin_cos(bad), (0.0, 1.0), "{bad}");
        }
        assert_eq!(sin_cos(-0.0_f32), (0.0, 1.0));
        assert_eq!(sin_cos(f32::MIN_POSITIVE).0, f32::MIN_POSITIVE);
    }

    #[test]
    fn is_odd_in_sine_and_even_in_cosine() {
        for i in 0..1000 {
            let x = i as f32 * 0.0137;
            let ((s, c), (sm, cm)) = (sin_cos(x), sin_cos(-x));
            assert_eq!((s, c), (-sm, cm), "{x}");
        }
    }
}
