//! How much the accelerometer is believed.

use evenkeel_mixer::Scalar;

use crate::estimate::direction::{dot, scaled};
use crate::finite::all_finite;

/// What an accelerometer sample says of down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SeenDown<S> {
    /// Unit vector, body axes; zero in free fall.
    pub(crate) down_body: [S; 3],
    /// Length over gravity, less one, without its sign.
    pub(crate) off_share: S,
}

/// At rest the accelerometer shows what holds the craft up: down is the other way. None when the
/// sample is not finite or too large for the scalar.
pub(crate) fn seen_down<S: Scalar>(acceleration_m_s2: [S; 3], per_gravity: S) -> Option<SeenDown<S>> {
    let force = scaled(acceleration_m_s2, per_gravity);
    let square = dot(force, force);
    let inverse = square.recip_sqrt();
    let down_body = scaled(force, -inverse);
    let off_share = (square * inverse - S::ONE).abs();
    let [x, y, z] = down_body;
    all_finite([off_share, x, y, z]).then_some(SeenDown { down_body, off_share })
}

/// Weight for a fault this large, 1 being the gate: one up to half of it, none from it on, smooth
/// between; none for NaN.
///
/// * Math: s²·(3 − 2s), s = 2·(1 − fault) limited to 0..1
pub(crate) fn fade<S: Scalar>(fault: S) -> S {
    if fault <= S::HALF {
        return S::ONE;
    }
    let share = (S::TWO * (S::ONE - fault)).limit(S::ZERO, S::ONE);
    share * share * (S::ONE + S::TWO * (S::ONE - share))
}

/// [`fade`] of a fault given by its square: nearly always small, and then no root is taken.
pub(crate) fn fade_of_square<S: Scalar>(square: S) -> S {
    if square <= S::HALF * S::HALF { S::ONE } else { fade(square.sqrt()) }
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
    fn level_craft_at_rest_sees_down_below_it() {
        let seen = seen_down([0.0, 0.0, -9.80665], 1.0 / 9.80665_f64).unwrap();
        assert!((seen.down_body[2] - 1.0).abs() < 1e-15 && seen.off_share < 1e-15);
    }

    #[test]
    fn edges_of_the_accelerometer_never_give_a_direction_that_is_no_number() {
        for edge in [0.0, -0.0, 1e-45, 1e-30, f32::MIN_POSITIVE, 1e-10, 1e10, f32::MAX, f32::MIN] {
            if let Some(seen) = seen_down([edge, 0.0, edge], 0.1) {
                assert!(seen.down_body.iter().all(|value| value.is_finite()), "{edge:e}: {seen:?}");
                assert!(seen.off_share > 0.9, "{edge:e} is no gravity: {seen:?}");
            }
        }
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX] {
            assert_eq!(seen_down([0.0, bad, 0.0], 0.1), None, "{bad}");
        }
    }
}
