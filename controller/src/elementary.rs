//! Elementary functions in double precision, for set-up and analysis only: nothing here flies.
//!
//! Constructors turn hertz and seconds into coefficients with these, so that a laptop and a
//! microcontroller hold equal bits. All can be evaluated where a craft is a constant.
//!
//! * Math: reduction to a short interval with the constant in two parts, then the Taylor series to
//!   below the last bit
//! * Source: W. J. Cody, W. Waite, Software Manual for the Elementary Functions, 1980 (reduction;
//!   from memory); series as in any handbook

use core::f64::consts::{FRAC_2_PI, FRAC_PI_2, LOG2_E, PI};

/// Larger angles give NaN.
pub(crate) const ANGLE_MAX_RAD: f64 = 8.0;

/// π/2, of which the first part has its last 13 bits clear: any of its small multiples is exact.
const HALF_PI: (f64, f64) = (1.570_796_326_794_152_3, 7.443_547_480_486_623e-13);
/// ln 2, split in the same way.
const LN_2: (f64, f64) = (0.693_147_180_559_208_2, 7.371_002_565_167_799e-13);

/// Sine and cosine.
///
/// * Input: radians; NaN and |x| > [`ANGLE_MAX_RAD`] give NaN
/// * Output: within 2.5e-16
pub(crate) const fn sin_cos(radians: f64) -> (f64, f64) {
    if !(radians.abs() <= ANGLE_MAX_RAD) {
        return (f64::NAN, f64::NAN);
    }
    let count = nearest(radians * FRAC_2_PI);
    let turns = count as f64;
    let x = (radians - turns * HALF_PI.0) - turns * HALF_PI.1;
    let square = x * x;
    // From the far end of each series: sin to x¹⁷/17!, cos to x¹⁸/18!.
    let (mut sin_tail, mut cos_tail, mut k) = (0.0, 0.0, 9);
    while k > 0 {
        let n = (2 * k) as f64;
        sin_tail = -square / (n * (n + 1.0)) * (1.0 + sin_tail);
        if k > 1 {
            cos_tail = -square / ((n - 1.0) * n) * (1.0 + cos_tail);
        }
        k -= 1;
    }
    // x²/2 is taken from one last, so that its rounding is the only one that shows.
    let (sin, cos) = (x + x * sin_tail, 1.0 - 0.5 * square * (1.0 + cos_tail));
    match count & 3 {
        0 => (sin, cos),
        1 => (cos, -sin),
        2 => (-sin, -cos),
        _ => (-cos, sin),
    }
}

/// eˣ − 1 without the loss of digits near zero.
///
/// * Input: any; NaN gives NaN, above 700 infinity, below −700 gives −1
/// * Output: within 6e-16 of its value
pub(crate) const fn exp_m1(x: f64) -> f64 {
    if x > 700.0 {
        return f64::INFINITY;
    }
    if x < -700.0 {
        return -1.0;
    }
    if !(x.abs() <= 700.0) {
        return f64::NAN;
    }
    let count = nearest(x * LOG2_E);
    let rest = (x - count as f64 * LN_2.0) - count as f64 * LN_2.1;
    let (mut tail, mut k) = (0.0, 15);
    while k > 1 {
        tail = rest / k as f64 * (1.0 + tail);
        k -= 1;
    }
    let series = rest + rest * tail;
    if count == 0 {
        return series;
    }
    // |count| ≤ 1010, so the exponent is that of a normal number.
    let power = f64::from_bits(((1023 + count) as u64) << 52);
    power * series + (power - 1.0)
}

/// Angle of the point (x, y) from the x axis, −π to π.
///
/// * Input: any finite; (0, 0) gives 0, NaN or an infinity gives NaN
/// * Output: within 6e-16
pub(crate) const fn atan2(y: f64, x: f64) -> f64 {
    if !(y.is_finite() && x.is_finite()) {
        return f64::NAN;
    }
    let (flat, steep) = (x.abs(), y.abs());
    if flat == 0.0 && steep == 0.0 {
        return 0.0;
    }
    let acute = if steep <= flat { atan_up_to_one(steep / flat) } else { FRAC_PI_2 - atan_up_to_one(flat / steep) };
    let angle = if x < 0.0 { PI - acute } else { acute };
    if y < 0.0 { -angle } else { angle }
}

/// Arc tangent of 0 to 1: that of the nearest quarter, and a series for the rest.
const fn atan_up_to_one(tangent: f64) -> f64 {
    let (quarter, angle) = if tangent < 0.125 {
        (0.0, 0.0)
    } else if tangent < 0.375 {
        (0.25, 0.244_978_663_126_864_14)
    } else if tangent < 0.625 {
        (0.5, 0.463_647_609_000_806_1)
    } else if tangent < 0.875 {
        (0.75, 0.643_501_108_793_284_4)
    } else {
        (1.0, 0.5 * FRAC_PI_2)
    };
    let rest = (tangent - quarter) / (1.0 + quarter * tangent);
    let square = rest * rest;
    let (mut tail, mut k) = (0.0, 19);
    while k > 1 {
        tail = -square * (1.0 / k as f64 + tail);
        k -= 2;
    }
    angle + (rest + rest * tail)
}

const fn nearest(value: f64) -> i32 {
    (value + if value < 0.0 { -0.5 } else { 0.5 }) as i32
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIN_COS_F64_TOL: f64 = 2.5e-16;
    const EXP_M1_TOL: f64 = 6.0e-16;
    const ATAN2_TOL: f64 = 6.0e-16;

    /// Evenly over −limit to limit.
    fn spread(limit: f64) -> impl Iterator<Item = f64> {
        (-200_000..=200_000).map(move |i| limit * f64::from(i) / 200_000.0)
    }

    // The host's mathematical library is the measure: it is good to the last bit or so itself.
    #[test]
    fn sine_and_cosine_stay_within_their_tolerance() {
        let mut worst = 0.0_f64;
        for x in spread(ANGLE_MAX_RAD) {
            let (sin, cos) = sin_cos(x);
            worst = worst.max((sin - x.sin()).abs()).max((cos - x.cos()).abs());
        }
        assert!((0.25 * SIN_COS_F64_TOL..=SIN_COS_F64_TOL).contains(&worst), "{worst:e}");
    }

    #[test]
    fn exponential_less_one_stays_within_its_tolerance() {
        let mut worst = 0.0_f64;
        for limit in [1e-9, 1e-3, 1.0, 30.0, 699.0] {
            for x in spread(limit).filter(|x| *x != 0.0) {
                worst = worst.max((exp_m1(x) / x.exp_m1() - 1.0).abs());
            }
        }
        assert!((0.25 * EXP_M1_TOL..=EXP_M1_TOL).contains(&worst), "{worst:e}");
    }

    #[test]
    fn angle_of_a_point_stays_within_its_tolerance() {
        let mut worst = 0.0_f64;
        for angle in spread(PI) {
            let (y, x) = angle.sin_cos();
            for scale in [1e-9, 1.0, 1e9] {
                worst = worst.max((atan2(scale * y, scale * x) - (scale * y).atan2(scale * x)).abs());
            }
        }
        assert!((0.25 * ATAN2_TOL..=ATAN2_TOL).contains(&worst), "{worst:e}");
    }

    #[test]
    fn edges_give_what_their_documentation_says() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX, 8.1, -8.1] {
            assert!(sin_cos(bad).0.is_nan() && sin_cos(bad).1.is_nan(), "{bad}");
        }
        for small in [0.0, f64::MIN_POSITIVE, 5e-324] {
            assert_eq!(sin_cos(small), (small, 1.0));
            assert_eq!(exp_m1(small), small);
            assert_eq!(exp_m1(-small), -small);
            assert_eq!(atan2(small, 1.0), small);
        }
        assert!(exp_m1(f64::NAN).is_nan());
        assert_eq!([exp_m1(f64::INFINITY), exp_m1(f64::MAX), exp_m1(701.0)], [f64::INFINITY; 3]);
        assert_eq!([exp_m1(f64::NEG_INFINITY), exp_m1(f64::MIN), exp_m1(-701.0)], [-1.0; 3]);
        assert!(exp_m1(700.0).is_finite() && exp_m1(-700.0) == -1.0);
        assert_eq!(atan2(0.0, 0.0), 0.0);
        assert_eq!(
            [atan2(0.0, 1.0), atan2(1.0, 0.0), atan2(-1.0, 0.0), atan2(0.0, -1.0)],
            [0.0, FRAC_PI_2, -FRAC_PI_2, PI]
        );
        assert_eq!(atan2(f64::MAX, -f64::MIN_POSITIVE), FRAC_PI_2);
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(atan2(bad, 1.0).is_nan() && atan2(1.0, bad).is_nan(), "{bad}");
        }
    }

    #[test]
    fn a_constant_can_hold_them() {
        const HELD: f64 = exp_m1(1.0) + atan2(1.0, 1.0) + sin_cos(1.0).0;
        assert_eq!(HELD, exp_m1(1.0) + atan2(1.0, 1.0) + sin_cos(1.0).0);
    }
}
