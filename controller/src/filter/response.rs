//! Gain and phase of a block at one frequency.

use evenkeel_mixer::Scalar;

use crate::elementary::{atan2, sin_cos};

/// What a block does to a steady sine, double precision.
///
/// Not a number where the question makes no sense (a frequency below 0, above half the sample rate,
/// or NaN), so that no margin can be drawn from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// Output amplitude over input amplitude.
    pub gain: f64,
    /// Output phase less input phase, radians: negative lags. Along a chain it adds up without wrapping.
    pub phase_rad: f64,
}

impl Response {
    /// Passes everything as it is.
    pub const NEUTRAL: Self = Response { gain: 1.0, phase_rad: 0.0 };

    /// This block, then another: gains multiply, phases add.
    #[must_use]
    pub fn then(self, next: Response) -> Self {
        Response { gain: self.gain * next.gain, phase_rad: self.phase_rad + next.phase_rad }
    }

    /// One complex number over another, (real, imaginary), both in the upper half plane or on its edge.
    pub(crate) fn quotient(top: (f64, f64), bottom: (f64, f64)) -> Self {
        let length = |(re, im): (f64, f64)| Scalar::sqrt(re * re + im * im);
        let angle = |(re, im): (f64, f64)| atan2(im, re);
        Response { gain: length(top) / length(bottom), phase_rad: angle(top) - angle(bottom) }
    }
}

/// Sine and cosine of half the angle by which a sine of this frequency turns in a sample: π·f·T.
/// NaN outside 0 to half the sample rate.
pub(crate) fn half_angle(frequency_hz: f64, period_s: f64) -> (f64, f64) {
    let share = frequency_hz * period_s;
    if (0.0..=0.5).contains(&share) { sin_cos(core::f64::consts::PI * share) } else { (f64::NAN, f64::NAN) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chain_multiplies_gains_and_adds_phases_past_half_a_turn() {
        let one = Response { gain: 0.5, phase_rad: -2.5 };
        assert_eq!(one.then(one), Response { gain: 0.25, phase_rad: -5.0 });
        assert_eq!(one.then(Response::NEUTRAL), one);
    }

    #[test]
    fn frequencies_that_cannot_be_sampled_have_no_response() {
        for bad in [-1.0, 500.1, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(half_angle(bad, 1e-3).0.is_nan(), "{bad}");
        }
        assert_eq!(half_angle(0.0, 1e-3), (0.0, 1.0));
        assert_eq!(half_angle(500.0, 1e-3).0, 1.0);
    }
}
