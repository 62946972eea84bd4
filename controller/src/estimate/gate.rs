//! How much the accelerometer is believed.

use evenkeel_mixer::Scalar;

use crate::estimate::direction::{dot, scaled};

/// What an accelerometer sample says of down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SeenDown<S> {
    /// Specific force over gravity, body axes: at rest it points up.
    pub(crate) force_g: [S; 3],
    /// One over its length; zero in free fall.
    pub(crate) inverse: S,
    /// Length less one, without its sign.
    pub(crate) off_share: S,
}

/// At rest the accelerometer shows what holds the craft up: down is the other way. Of no meaning when the sample is not
/// finite or too large for the scalar, which the length then is not either.
pub(crate) fn seen_down<S: Scalar>(acceleration_m_s2: [S; 3], per_gravity: S) -> SeenDown<S> {
    let force_g = scaled(acceleration_m_s2, per_gravity);
    let square = dot(force_g, force_g);
    let inverse = square.recip_sqrt();
    SeenDown { force_g, inverse, off_share: (square * inverse - S::ONE).abs() }
}

impl<S: Scalar> SeenDown<S> {
    /// Whether it says anything.
    pub(crate) fn is_finite(&self) -> bool {
        self.off_share.is_finite()
    }
}

/// Weight for a fault this large, 1 being the gate: one up to half of it, none from it on, smooth
/// between; none for NaN.
///
/// * Math: s²·(3 − 2s), s = 2·(1 − fault) limited to 0..1
pub(crate) fn fade<S: Scalar>(fault: S) -> S {
    if fault <= S::HALF {
        return S::ONE;
    }
    // Below one, as the fault is above one half.
    let share = S::TWO * (S::ONE - fault);
    if !(share > S::ZERO) {
        return S::ZERO;
    }
    share * share * (S::ONE + S::TWO * (S::ONE - share))
}

/// Weight of a sample whose length is off by this share of its gate, while the craft turns this fast: [`fade`] of both.
///
/// * Input: the rate of turn over its gate, squared: no root is taken as long as the rate counts in full
pub(crate) fn weight<S: Scalar>(off: S, turning_square: S) -> S {
    let slow = turning_square <= S::HALF * S::HALF;
    if off <= S::HALF && slow {
        return S::ONE;
    }
    let of_turning = match turning_square < S::ONE {
        _ if slow => S::ONE,
        true => fade(turning_square.sqrt()),
        false => S::ZERO,
    };
    fade(off) * of_turning
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weight_falls_smoothly_from_half_the_gate_to_the_gate() {
        assert_eq!([0.0, 0.3, 0.5].map(fade::<f64>), [1.0; 3]);
        assert_eq!([1.0, 1.5, f64::INFINITY, f64::MAX, f64::NAN].map(fade), [0.0; 5]);
        assert_eq!(fade(0.75), 0.5);
        let mut last = 1.0;
        for step in 0..=1000 {
            let now = fade(f64::from(step) * 1e-3);
            assert!(now <= last && last - now < 3.1e-3, "{step}: steepest slope is 3");
            last = now;
        }
    }

    #[test]
    fn weight_is_the_product_of_both() {
        for (off, turning) in [(0.0, 0.0), (0.5, 0.5), (0.75, 0.2), (0.3, 0.75), (0.75, 0.75), (1.0, 0.0), (0.0, 1.0)] {
            assert_eq!(weight(off, turning * turning), fade(off) * fade(turning), "{off} {turning}");
        }
        assert_eq!([weight(f64::NAN, 0.0), weight(0.0, f64::NAN), weight(0.2, f64::INFINITY)], [0.0; 3]);
    }

    #[test]
    fn level_craft_at_rest_sees_down_below_it() {
        let seen = seen_down([0.0, 0.0, -9.80665], 1.0 / 9.80665_f64);
        assert!((seen.force_g[2] + 1.0).abs() < 1e-15 && (seen.inverse - 1.0).abs() < 1e-15 && seen.off_share < 1e-15);
    }

    #[test]
    fn edges_of_the_accelerometer_never_give_a_direction_that_is_no_number() {
        for edge in [0.0, -0.0, 1e-45, 1e-30, f32::MIN_POSITIVE, 1e-10, 1e10, f32::MAX, f32::MIN] {
            let seen = seen_down([edge, 0.0, edge], 0.1);
            if seen.is_finite() {
                assert!(seen.force_g.iter().all(|value| (value * seen.inverse).is_finite()), "{edge:e}: {seen:?}");
                assert!(seen.off_share > 0.9, "{edge:e} is no gravity: {seen:?}");
            }
        }
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX] {
            assert!(!seen_down([0.0, bad, 0.0], 0.1).is_finite(), "{bad}");
        }
    }
}
