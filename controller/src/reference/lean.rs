//! Roll and pitch by their half angles: what turns a heading into an attitude, and the rates of the angles into those of
//! the body.
//!
//! One sine and cosine for each angle serve both: the quaternion takes the half angles, the kinematics the doubled ones.
//!
//! * Math: sin θ = 2·sin(θ/2)·cos(θ/2), cos θ = 1 − 2·sin²(θ/2)
//! * Source: 3-2-1 Euler kinematics, any textbook

use evenkeel_mixer::Scalar;

use crate::quaternion::Quaternion;
use crate::setpoint::BodyAxes;
use crate::trigonometry::{atan2, sin_cos};

/// Square of the cosine of the pitch below which a craft has no heading to speak of.
const HEADING_SQUARE_MIN: f64 = 0.1;

/// Sine and cosine of half an angle.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Half<S> {
    sin: S,
    cos: S,
}

/// Roll and pitch, ready for use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lean<S> {
    roll: Half<S>,
    pitch: Half<S>,
}

impl<S: Scalar> Half<S> {
    fn of(radians: S) -> Self {
        let (sin, cos) = sin_cos(S::HALF * radians);
        Half { sin, cos }
    }

    /// Sine and cosine of the whole angle.
    fn doubled(&self) -> (S, S) {
        let twice = S::TWO * self.sin;
        (twice * self.cos, S::ONE - twice * self.sin)
    }
}

impl<S: Scalar> Lean<S> {
    /// Of roll and pitch, radians.
    pub(super) fn of([roll_rad, pitch_rad]: [S; 2]) -> Self {
        Lean { roll: Half::of(roll_rad), pitch: Half::of(pitch_rad) }
    }

    /// Pitch, then roll.
    fn quaternion(&self) -> Quaternion<S> {
        let Lean { roll, pitch } = self;
        Quaternion {
            w: pitch.cos * roll.cos,
            x: pitch.cos * roll.sin,
            y: pitch.sin * roll.cos,
            z: -(pitch.sin * roll.sin),
        }
    }

    /// This heading, then the lean. Of a heading only w and z are not zero.
    pub(super) fn at(&self, heading: Quaternion<S>) -> Quaternion<S> {
        let (Quaternion { w, z, .. }, lean) = (heading, self.quaternion());
        Quaternion {
            w: w * lean.w - z * lean.z,
            x: w * lean.x - z * lean.y,
            y: w * lean.y + z * lean.x,
            z: w * lean.z + z * lean.w,
        }
    }

    /// The heading that is left of an attitude when the lean is undone.
    pub(super) fn beneath(&self, attitude: Quaternion<S>) -> Quaternion<S> {
        (attitude * self.quaternion().conjugate()).heading().unwrap_or(Quaternion::IDENTITY)
    }

    /// Body rates while roll, pitch and heading change at these rates.
    ///
    /// * Math: p = φ̇ − ψ̇ sin θ, q = θ̇ cos φ + ψ̇ sin φ cos θ, r = −θ̇ sin φ + ψ̇ cos φ cos θ
    pub(super) fn body_rates(&self, roll_rad_s: S, pitch_rad_s: S, turn_rad_s: S) -> BodyAxes<S> {
        let ((sin_roll, cos_roll), (sin_pitch, cos_pitch)) = (self.roll.doubled(), self.pitch.doubled());
        let about_lean = turn_rad_s * cos_pitch;
        BodyAxes {
            roll: roll_rad_s - turn_rad_s * sin_pitch,
            pitch: pitch_rad_s * cos_roll + about_lean * sin_roll,
            yaw: about_lean * cos_roll - pitch_rad_s * sin_roll,
        }
    }
}

/// Roll and pitch of an attitude (Euler 3-2-1).
pub(super) fn tilt_of<S: Scalar>(attitude: Quaternion<S>) -> [S; 2] {
    let [x, y, z] = attitude.down_in_body();
    [atan2(y, z), atan2(-x, (y * y + z * z).sqrt())]
}

/// How fast the heading of a craft changes, rad/s; 0 where it is pitched by more than 71 degrees, and has next to none.
///
/// * Math: ψ̇ = (q sin φ + r cos φ)/cos θ, from down in body axes (x, y, z): (q y + r z)/(y² + z²)
/// * Source: 3-2-1 Euler kinematics, any textbook
pub(super) fn heading_rate<S: Scalar>(attitude: Quaternion<S>, rate_rad_s: BodyAxes<S>) -> S {
    let [_, y, z] = attitude.down_in_body();
    let square = y * y + z * z;
    let upright = square > S::from_f64(HEADING_SQUARE_MIN);
    if upright { (rate_rad_s.pitch * y + rate_rad_s.yaw * z) / square } else { S::ZERO }
}

/// A heading after a small turn; exact to second order, and of unit length.
pub(super) fn turned<S: Scalar>(heading: Quaternion<S>, by_rad: S) -> Quaternion<S> {
    let half = S::HALF * by_rad;
    let turn = Quaternion { w: heading.w - half * heading.z, z: heading.z + half * heading.w, ..heading };
    turn.normalized().unwrap_or(heading)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attitude_error::AttitudeError;

    /// Single-precision polynomials behind every angle.
    const ANGLE_TOL: f64 = 1.0e-6;

    #[test]
    fn is_the_product_of_heading_pitch_and_roll() {
        for (heading, pitch, roll) in [(0.7, 0.3, -0.5), (-2.5, -1.4, 3.0), (3.1, 0.0, -1.6), (0.0, 1.0, 0.0)] {
            let ours = Lean::<f64>::of([roll, pitch]).at(Quaternion::yaw(heading)).to_array();
            let product = (Quaternion::yaw(heading) * Quaternion::pitch(pitch) * Quaternion::roll(roll)).to_array();
            assert!(ours.iter().zip(product).all(|(a, b)| (a - b).abs() < 1e-15), "{ours:?} {product:?}");
        }
    }

    /// Source: `tests/reference/euler_rates.csv` (textbook kinematics of 3-2-1 angles, from memory, computed).
    #[test]
    fn turns_as_the_table_when_roll_pitch_and_heading_change() {
        let table = include_str!("../../../tests/reference/euler_rates.csv");
        let mut rows = 0;
        for line in table.lines().filter(|line| !line.starts_with(['#', 'p'])) {
            let row: std::vec::Vec<f64> = line.split(',').map(|number| number.parse().unwrap()).collect();
            let [roll_deg, pitch_deg, roll, pitch, turn, p, q, r] = row[..] else { panic!("{line}") };
            let ours = Lean::<f64>::of([roll_deg.to_radians(), pitch_deg.to_radians()]).body_rates(roll, pitch, turn);
            for (ours, theirs) in ours.to_array().into_iter().zip([p, q, r]) {
                assert!((ours - theirs).abs() < 2.0 * ANGLE_TOL, "{line}: {ours} against {theirs}");
            }
            let attitude = Quaternion::yaw(0.7)
                * Quaternion::pitch(pitch_deg.to_radians())
                * Quaternion::roll(roll_deg.to_radians());
            let ours = heading_rate(attitude, BodyAxes { roll: p, pitch: q, yaw: r });
            assert!((ours - turn).abs() < 4.0 * ANGLE_TOL, "{line}: {ours} against {turn}");
            rows += 1;
        }
        assert_eq!(rows, 5);
    }

    #[test]
    fn angles_and_heading_come_back() {
        for (heading, pitch, roll) in [(0.7, 0.3, -0.5), (-2.5, -1.4, 3.0), (3.1, 0.0, -1.6)] {
            let attitude = Lean::<f64>::of([roll, pitch]).at(Quaternion::yaw(heading));
            let tilt = tilt_of(attitude);
            assert!((tilt[0] - roll).abs() < ANGLE_TOL && (tilt[1] - pitch).abs() < ANGLE_TOL, "{tilt:?}");
            let beneath = Lean::of(tilt).beneath(attitude);
            let off = AttitudeError::between(beneath, Quaternion::yaw(heading));
            assert!(off.yaw.abs() < 4.0 * ANGLE_TOL && off.roll.abs() + off.pitch.abs() < ANGLE_TOL, "{off:?}");
        }
    }
}
