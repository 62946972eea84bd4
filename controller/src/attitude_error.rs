//! Attitude error, split into tilt and yaw: the craft is turned upright before it is turned round.
//!
//! * Source: D. Brescianini, R. D'Andrea, Tilt-prioritized quadrocopter attitude control, IEEE TCST
//!   28(2), 2020 (from memory; algebra derived again, values checked in tests/)

use evenkeel_mixer::Scalar;

use crate::quaternion::Quaternion;

/// Below this size of (w, z) the body is taken to be exactly upside down relative to the set-point,
/// where the split has no answer: the whole error is then tilt.
pub const INVERTED_TOL: f64 = 1.0e-5;

/// What separates an attitude from the one wanted, in body axes.
///
/// Each part is 2·sin of half its angle along its axis: it grows with the angle all the way to half a
/// turn and needs no trigonometry.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AttitudeError<S> {
    /// Tilt about body x.
    pub roll: S,
    /// Tilt about body y.
    pub pitch: S,
    /// Rotation about body z that is left once the tilt is right.
    pub yaw: S,
}

impl<S: Scalar> AttitudeError<S> {
    /// Error of `attitude` against `wanted`, both body to world and of unit length.
    ///
    /// * Math: e = q* ⊗ q_wanted = e_tilt ⊗ e_yaw, e_tilt without z part, n = √(w² + z²)
    /// * Output: within ±2; zero where the two agree. Upside down: all tilt, about x when nothing
    ///   else tells the way.
    pub fn between(attitude: Quaternion<S>, wanted: Quaternion<S>) -> Self {
        let e = (attitude.conjugate() * wanted).shortest();
        let square = e.w * e.w + e.z * e.z;
        if !(square > S::from_f64(INVERTED_TOL * INVERTED_TOL)) {
            return AttitudeError { roll: S::TWO * e.x, pitch: S::TWO * e.y, yaw: S::ZERO };
        }
        let scale = S::TWO * square.recip_sqrt();
        AttitudeError {
            roll: scale * (e.w * e.x - e.y * e.z),
            pitch: scale * (e.w * e.y + e.x * e.z),
            yaw: scale * e.z,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::PI;

    #[test]
    fn points_the_short_way_on_each_axis() {
        let at = Quaternion::<f64>::IDENTITY;
        let e = AttitudeError::between(at, Quaternion::roll(0.2));
        assert!((e.roll - 2.0 * 0.1_f64.sin()).abs() < 1e-6 && e.pitch.abs() < 1e-9 && e.yaw.abs() < 1e-9);
        let e = AttitudeError::between(at, Quaternion::yaw(1.9 * PI));
        assert!((e.yaw + 2.0 * (0.05 * PI).sin()).abs() < 1e-6, "nose left is shorter: {e:?}");
    }

    #[test]
    fn grows_with_the_angle_up_to_half_a_turn() {
        let mut before = 0.0;
        for step in 1..180 {
            let e = AttitudeError::between(Quaternion::roll(f64::from(step).to_radians()), Quaternion::IDENTITY);
            assert!(-e.roll > before, "{step} degrees: {e:?}");
            before = -e.roll;
        }
        let half_turn = AttitudeError::between(Quaternion::roll(PI), Quaternion::<f64>::IDENTITY);
        assert!((half_turn.roll.abs() - 2.0).abs() < 1e-6, "either way is as short: {half_turn:?}");
    }

    #[test]
    fn does_not_mind_the_sign_of_either_quaternion() {
        let (a, b) = (Quaternion::<f64>::yaw(0.4) * Quaternion::roll(1.0), Quaternion::pitch(-0.6));
        let minus = |q: Quaternion<f64>| Quaternion { w: -q.w, x: -q.x, y: -q.y, z: -q.z };
        let e = AttitudeError::between(a, b);
        assert_eq!(e, AttitudeError::between(minus(a), b));
        assert_eq!(e, AttitudeError::between(a, minus(b)));
    }

    #[test]
    fn upside_down_is_all_tilt_and_finite() {
        for attitude in [Quaternion::<f32>::roll(PI as f32), Quaternion { w: 0.0, x: 1.0, y: 0.0, z: 0.0 }] {
            let e = AttitudeError::between(attitude, Quaternion::IDENTITY);
            assert!((e.roll.abs() - 2.0).abs() < 1e-5 && e.yaw.abs() < 1e-5, "{e:?}");
        }
    }
}
