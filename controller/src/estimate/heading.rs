//! Heading: a direction that the body sees and whose heading in the world is known.

use evenkeel_mixer::Scalar;

use crate::estimate::direction::dot;
use crate::quaternion::Quaternion;
use crate::trigonometry::sin_cos;

/// Share of a direction's squared length that must lie in the horizontal: 0.04 is 11.5° off the
/// vertical. Below, its heading says nothing.
const HORIZONTAL_MIN: f64 = 0.04;

/// A direction seen in the body and the heading it has in the world. Only its horizontal part counts,
/// so that a wrong one never tilts the estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct HeadingReference<S> {
    /// As the body sees it; any length near one.
    pub direction_body: [S; 3],
    /// Cosine and sine of its heading, clockwise from north.
    pub north_east: [S; 2],
}

impl<S: Scalar> HeadingReference<S> {
    /// The nose points at this heading, radians clockwise from north (yaw of roll, pitch, yaw).
    /// An angle that is not finite makes a reference that is not finite, so one that is passed over.
    pub fn nose(heading_rad: S) -> Self {
        let (sin, cos) = sin_cos(heading_rad);
        let ahead = if heading_rad.is_finite() { S::ONE } else { heading_rad };
        HeadingReference { direction_body: [ahead, S::ZERO, S::ZERO], north_east: [cos, sin] }
    }

    /// This direction in the body points north, as a magnetic field does; any dip.
    pub fn north(direction_body: [S; 3]) -> Self {
        HeadingReference { direction_body, north_east: [S::ONE, S::ZERO] }
    }

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        self.direction_body.iter().chain(&self.north_east).all(|value| value.is_finite())
    }

    /// Sine and cosine of the turn about down that brings the estimate to this heading; none when the
    /// direction is near the vertical or is no number.
    pub(crate) fn error(&self, attitude: Quaternion<S>) -> Option<(S, S)> {
        let [north, east, _] = attitude.to_world(self.direction_body);
        let square = north * north + east * east;
        let length_square = dot(self.direction_body, self.direction_body);
        if !(square > S::from_f64(HORIZONTAL_MIN) * length_square) {
            return None;
        }
        let inverse = square.recip_sqrt();
        let [to_north, to_east] = self.north_east;
        let sine = (north * to_east - east * to_north) * inverse;
        let cosine = (north * to_north + east * to_east) * inverse;
        // Subnormal lengths give an inverse that is no good, and headings need not be unit vectors.
        let unit = S::TWO * (sine * sine + cosine * cosine);
        (unit > S::ONE && unit < S::TWO + S::TWO).then_some((sine, cosine))
    }
}

/// Size of the turn for that error: the sine up to a right angle, one beyond.
pub(crate) fn heading_turn<S: Scalar>((sine, cosine): (S, S)) -> S {
    if cosine >= S::ZERO {
        sine
    } else if sine < S::ZERO {
        -S::ONE
    } else {
        S::ONE
    }
}

/// The attitude turned about down by the whole of that error.
pub(crate) fn turned<S: Scalar>(attitude: Quaternion<S>, (sine, cosine): (S, S)) -> Quaternion<S> {
    // Half the angle, from whichever of its two forms does not cancel.
    let (w, z) = if cosine >= S::ZERO {
        (S::ONE + cosine, sine)
    } else if sine < S::ZERO {
        (-sine, cosine - S::ONE)
    } else {
        (sine, S::ONE - cosine)
    };
    let turn = Quaternion { w, x: S::ZERO, y: S::ZERO, z };
    (turn * attitude).normalized().unwrap_or(attitude)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Yaw, pitch, roll; of unit length to the last digits, which the trigonometry alone is not.
    fn attitude(yaw: f64, pitch: f64, roll: f64) -> Quaternion<f64> {
        (Quaternion::yaw(yaw) * Quaternion::pitch(pitch) * Quaternion::roll(roll)).normalized().unwrap()
    }

    #[test]
    fn whole_turn_brings_the_nose_to_its_heading_whatever_the_tilt() {
        for step in -18..=18 {
            let heading = f64::from(step) * 10_f64.to_radians();
            for tilt in [0.0, 0.5, 1.2, 2.5] {
                let attitude = attitude(0.4, 0.3, tilt);
                let reference = HeadingReference::nose(heading);
                let turned = turned(attitude, reference.error(attitude).unwrap());
                let (sine, cosine) = reference.error(turned).unwrap();
                assert!(sine.abs() < 1e-6 && cosine > 0.0, "{step} {tilt}: {sine} {cosine}");
                let (before, after) = (attitude.down_in_body(), turned.down_in_body());
                assert!((0..3).all(|k| (before[k] - after[k]).abs() < 1e-12), "tilt untouched");
            }
        }
    }

    #[test]
    fn dip_of_the_field_does_not_matter() {
        let attitude = attitude(1.0, -0.3, 0.0);
        let north_down_body = |dip: f64| attitude.conjugate().to_world([dip.cos(), 0.0, dip.sin()]);
        for dip in [-1.2, 0.0, 1.2] {
            let (sine, cosine) = HeadingReference::north(north_down_body(dip)).error(attitude).unwrap();
            assert!(sine.abs() < 1e-12 && cosine > 0.99, "{dip}: {sine} {cosine}");
        }
        assert_eq!(HeadingReference::north(north_down_body(1.5)).error(attitude), None, "too steep to tell");
    }

    #[test]
    fn size_of_the_turn_never_falls_off_beyond_a_right_angle() {
        assert_eq!([(0.6, 0.8), (0.6, -0.8), (-0.6, -0.8), (0.0, -1.0)].map(heading_turn), [0.6, 1.0, -1.0, 1.0]);
    }

    #[test]
    fn reference_that_is_no_number_is_passed_over() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(HeadingReference::nose(bad).error(Quaternion::IDENTITY), None, "{bad}");
            assert_eq!(HeadingReference::north([bad, 0.0, 0.0]).error(Quaternion::IDENTITY), None, "{bad}");
            let bad_heading = HeadingReference { direction_body: [1.0, 0.0, 0.0], north_east: [bad, 0.0] };
            assert_eq!(bad_heading.error(Quaternion::IDENTITY), None, "{bad}");
        }
        for edge in [0.0, -0.0, 1e-45, f32::MIN_POSITIVE, 1e-18, f32::MAX, f32::MIN] {
            if let Some((sine, cosine)) = HeadingReference::north([edge; 3]).error(Quaternion::IDENTITY) {
                assert!(sine.abs() < 1.5 && cosine.abs() < 1.5, "{edge:e}");
            }
        }
    }
}
