//! Unit quaternions, Hamilton convention, scalar first, body to world.
//!
//! * Source: ISO 1151-1 axes; algebra as in J. Diebel, Representing attitude, 2006 (from memory),
//!   checked against values computed outside this project (tests/)

use evenkeel_mixer::Scalar;

use crate::trigonometry::sin_cos;

/// A quaternion is not of unit length when scaling by the root leaves its square this far off.
const ROOT_OFF_MAX: f64 = 1.0 / 1024.0;

/// A quaternion w + xi + yj + zk.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Quaternion<S> {
    /// Scalar part.
    pub w: S,
    /// About body x.
    pub x: S,
    /// About body y.
    pub y: S,
    /// About body z.
    pub z: S,
}

impl<S: Scalar> Quaternion<S> {
    /// No rotation.
    pub const IDENTITY: Self = Quaternion { w: S::ONE, x: S::ZERO, y: S::ZERO, z: S::ZERO };

    /// From components in the order w, x, y, z.
    pub fn from_array([w, x, y, z]: [S; 4]) -> Self {
        Quaternion { w, x, y, z }
    }

    /// Components in the order w, x, y, z.
    pub fn to_array(self) -> [S; 4] {
        [self.w, self.x, self.y, self.z]
    }

    /// Rotation by an angle about body x.
    pub fn roll(radians: S) -> Self {
        let (sin, cos) = sin_cos(S::HALF * radians);
        Quaternion { w: cos, x: sin, ..Self::IDENTITY }
    }

    /// Rotation by an angle about body y.
    pub fn pitch(radians: S) -> Self {
        let (sin, cos) = sin_cos(S::HALF * radians);
        Quaternion { w: cos, y: sin, ..Self::IDENTITY }
    }

    /// Rotation by an angle about body z.
    pub fn yaw(radians: S) -> Self {
        let (sin, cos) = sin_cos(S::HALF * radians);
        Quaternion { w: cos, z: sin, ..Self::IDENTITY }
    }

    /// The inverse rotation.
    #[must_use]
    pub fn conjugate(self) -> Self {
        Quaternion { w: self.w, x: -self.x, y: -self.y, z: -self.z }
    }

    /// The same rotation with w ≥ 0: the shorter way round.
    #[must_use]
    pub fn shortest(self) -> Self {
        if self.w < S::ZERO { Quaternion { w: -self.w, x: -self.x, y: -self.y, z: -self.z } } else { self }
    }

    /// Scaled to unit length; none when it is too short, too long or not finite.
    pub fn normalized(self) -> Option<Self> {
        let square = self.square();
        let off = square - S::ONE;
        if off * off <= S::EPSILON {
            return Some(self.polished(off));
        }
        // Too long or too short for the scalar, what comes out is not near unit length: in fixed point a square may have
        // met the end of the range, or lost its digits.
        let near = self.scaled(square.recip_sqrt());
        let off = near.square() - S::ONE;
        (off.abs() <= S::from_f64(ROOT_OFF_MAX)).then(|| near.polished(off))
    }

    fn square(self) -> S {
        self.w * self.w + self.x * self.x + self.y * self.y + self.z * self.z
    }

    fn scaled(self, scale: S) -> Self {
        Quaternion { w: self.w * scale, x: self.x * scale, y: self.y * scale, z: self.z * scale }
    }

    /// With a square that is off one by this little, scaled to unit length.
    ///
    /// * Math: the first term of 1/√(1 + off), exact to 3/8·off²: below rounding where off² is
    fn polished(self, off: S) -> Self {
        self.scaled(S::ONE - S::HALF * off)
    }

    /// Heading alone: the rotation about the world's down axis that is left when the tilt is taken
    /// away; none when the body is exactly on its back.
    pub fn heading(self) -> Option<Self> {
        Quaternion { x: S::ZERO, y: S::ZERO, ..self }.normalized()
    }

    /// The world's down axis in body axes: third row of the rotation matrix.
    pub fn down_in_body(self) -> [S; 3] {
        let Quaternion { w, x, y, z } = self;
        [S::TWO * (x * z - w * y), S::TWO * (y * z + w * x), S::ONE - S::TWO * (x * x + y * y)]
    }

    /// A vector in world axes, given in body axes.
    ///
    /// * Math: v + 2w·(u × v) + 2u × (u × v), u the vector part
    pub fn to_world(self, [vx, vy, vz]: [S; 3]) -> [S; 3] {
        let Quaternion { w, x, y, z } = self;
        let (tx, ty, tz) = (S::TWO * (y * vz - z * vy), S::TWO * (z * vx - x * vz), S::TWO * (x * vy - y * vx));
        [vx + w * tx + y * tz - z * ty, vy + w * ty + z * tx - x * tz, vz + w * tz + x * ty - y * tx]
    }

    /// The rotation by a small rotation vector, nearly of unit length: [`Quaternion::normalized`] next.
    ///
    /// * Math: cos(δ/2) and sin(δ/2)/δ to the fourth power of δ
    /// * Input: radians about the body axes; up to 0.5 rad
    /// * Output: every component within |δ|⁶/46080, 3.4e-7 at 0.5 rad, and rounding
    pub fn small_turn([x, y, z]: [S; 3]) -> Self {
        let square = x * x + y * y + z * z;
        let series = |first: f64, second: f64| square * (S::from_f64(first) + square * S::from_f64(second));
        let scale = S::HALF + series(-1.0 / 48.0, 1.0 / 3840.0);
        Quaternion { w: S::ONE + series(-1.0 / 8.0, 1.0 / 384.0), x: scale * x, y: scale * y, z: scale * z }
    }
}

impl<S: Scalar> core::ops::Mul for Quaternion<S> {
    type Output = Self;

    /// `a * b` turns by `b` first, then by `a`.
    fn mul(self, other: Self) -> Self {
        let (a, b) = (self, other);
        Quaternion {
            w: a.w * b.w - a.x * b.x - a.y * b.y - a.z * b.z,
            x: a.w * b.x + a.x * b.w + a.y * b.z - a.z * b.y,
            y: a.w * b.y - a.x * b.z + a.y * b.w + a.z * b.x,
            z: a.w * b.z + a.x * b.y - a.y * b.x + a.z * b.w,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::FRAC_PI_2;
    use evenkeel_mixer::Fixed;

    fn close(a: [f64; 3], b: [f64; 3]) -> bool {
        a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6)
    }

    #[test]
    fn down_axis_moves_as_the_body_turns() {
        // Right side down: the world's down axis leans to the body's right.
        assert!(close(Quaternion::roll(FRAC_PI_2).down_in_body(), [0.0, 1.0, 0.0]));
        // Nose up: the world's down axis leans to the tail.
        assert!(close(Quaternion::pitch(FRAC_PI_2).down_in_body(), [-1.0, 0.0, 0.0]));
        assert!(close(Quaternion::yaw(1.0).down_in_body(), [0.0, 0.0, 1.0]));
    }

    #[test]
    fn vector_turns_with_the_body() {
        // Nose up a quarter: what points ahead points up, what points down points ahead.
        let attitude = Quaternion::pitch(FRAC_PI_2);
        assert!(close(attitude.to_world([1.0, 0.0, 0.0]), [0.0, 0.0, -1.0]));
        assert!(close(attitude.to_world([0.0, 0.0, 1.0]), [1.0, 0.0, 0.0]));
        let tilted = Quaternion::yaw(0.7) * Quaternion::pitch(-0.4) * Quaternion::roll(2.1);
        assert!(close(tilted.to_world(tilted.down_in_body()), [0.0, 0.0, 1.0]));
    }

    #[test]
    fn small_turn_stays_within_its_error() {
        for hundredth in 0..=50 {
            let angle = f64::from(hundredth) * 0.01;
            let turn = Quaternion::small_turn([0.6 * angle, 0.0, -0.8 * angle]);
            let (sin, cos) = (0.5 * angle).sin_cos();
            let allowed = angle.powi(6) / 46080.0 + 2e-16;
            for (ours, exact) in turn.to_array().into_iter().zip([cos, 0.6 * sin, 0.0, -0.8 * sin]) {
                assert!((ours - exact).abs() <= allowed, "{angle}: {ours} {exact}");
            }
        }
        assert_eq!(Quaternion::small_turn([0.0, -0.0, 0.0]), Quaternion::<f32>::IDENTITY);
        assert!(Quaternion::small_turn([f32::NAN, 0.0, 0.0]).normalized().is_none());
        assert!(Quaternion::small_turn([f32::MAX, 0.0, 0.0]).normalized().is_none());
    }

    #[test]
    fn heading_survives_a_small_tilt() {
        let attitude = Quaternion::yaw(0.7) * Quaternion::pitch(-0.2) * Quaternion::roll(0.1);
        let heading = attitude.heading().unwrap();
        let tilt_only = heading.conjugate() * attitude;
        assert!(tilt_only.z.abs() < 1e-7, "what is left has no part about z");
        let on_its_back = Quaternion { w: 0.0, x: 1.0, y: 0.0, z: 0.0 };
        assert_eq!(on_its_back.heading(), None);
    }

    #[test]
    fn is_of_unit_length_or_none_in_fixed_point() {
        let fixed = |q: [f64; 4]| Quaternion::from_array(q.map(Fixed::from_f64)).normalized();
        for huge in
            [[1e9, 0.25, 0.25, 1e9], [1e30, 0.0, 0.0, 0.0], [5e4, 0.0, 1.0, 0.0], [1e-9, 0.0, 0.0, 0.0], [0.0; 4]]
        {
            assert_eq!(fixed(huge), None, "{huge:?}");
        }
        for k in -7..=14 {
            let unit = fixed([0.6, 0.0, -0.8, 0.0].map(|part| part * 2.0_f64.powi(k))).map(Quaternion::to_array);
            let off = |unit: [Fixed; 4]| (unit[0].to_f64() - 0.6).abs() + (unit[2].to_f64() + 0.8).abs();
            assert!(unit.is_some_and(|unit| off(unit) < 1e-6 * 2.0_f64.powi(-k.min(0))), "2^{k}: {unit:?}");
        }
    }

    #[test]
    fn what_has_no_length_is_not_normalised() {
        for bad in [0.0, f32::NAN, f32::INFINITY, f32::MAX, 1e-30] {
            assert_eq!(Quaternion { w: bad, x: bad, y: bad, z: bad }.normalized(), None, "{bad}");
        }
    }
}
