//! The state-variable filter: two integrators in a loop, from which low-pass and notch are read.
//!
//! * Math: h = d·(x − (k + g)·s₁ − s₂), b = g·h + s₁, l = g·b + s₂, s₁ ← b + g·h, s₂ ← l + g·b,
//!   with g = tan(π·f₀·T), k = 1/Q, d = 1/(1 + g·(g + k)); low-pass l, notch x − k·b
//! * Equal to the bilinear transform with prewarping, so to the cookbook's biquads, in exact arithmetic
//! * Source: W. J. Kerwin, L. P. Huelsman, R. W. Newcomb, State-variable synthesis, IEEE JSSC 2, 1967
//!   (structure; from memory); R. Bristow-Johnson, Cookbook formulae for audio EQ biquad filter
//!   coefficients (what it must equal; values in tests/)

use evenkeel_mixer::Scalar;

use crate::elementary::sin_cos;
use crate::filter::error::FilterError;

/// Largest corner or centre, as a share of the sample rate: nearer to one half the prewarping
/// squeezes the filter into nothing.
pub const CORNER_MAX_SHARE: f64 = 0.45;

/// Samples beyond this are passed over like those that are not finite: far above anything measured, far below where a
/// filter would lose its memory.
pub const SAMPLE_MAX: f64 = 1.0e9;

/// Whether a filter takes this sample.
pub(crate) fn bearable<S: Scalar>(sample: S) -> bool {
    sample.abs() <= S::from_f64(SAMPLE_MAX)
}

/// The same filter written as H(z) = (b₀ + b₁z⁻¹ + b₂z⁻²)/(1 + a₁z⁻¹ + a₂z⁻²).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BiquadCoefficients {
    /// Numerator: b₀, b₁, b₂.
    pub b: [f64; 3],
    /// Denominator: a₁, a₂; a₀ is one.
    pub a: [f64; 2],
}

/// Coefficients of the loop. By default it stands still.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct StateVariable<S> {
    /// g: tangent of half the angle that the centre turns in a sample.
    pub(crate) gain: S,
    /// k = 1/Q.
    pub(crate) damping: S,
    /// k + g.
    feedback: S,
    /// d: undoes the loop without delay.
    pub(crate) scale: S,
}

/// The two integrators. With a constant input the band is zero and the low is that input, whatever
/// the coefficients: that is why a change of coefficients gives no bump.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Integrators<S> {
    pub(crate) band: S,
    pub(crate) low: S,
}

/// What the loop gives for one sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Outputs<S> {
    pub(crate) band: S,
    pub(crate) low: S,
}

impl<S: Scalar> StateVariable<S> {
    /// Checks, bakes the sample period in and quantises.
    pub(crate) fn new(frequency_hz: f64, quality: f64, period_s: f64) -> Result<Self, FilterError> {
        if !(period_s > 0.0 && period_s.is_finite()) {
            return Err(FilterError::Period);
        }
        let share = frequency_hz * period_s;
        if !(share > 0.0 && share <= CORNER_MAX_SHARE) {
            return Err(FilterError::Frequency);
        }
        let (sin, cos) = sin_cos(core::f64::consts::PI * share);
        let gain = sin / cos;
        let damping = 1.0 / quality;
        let quantised = StateVariable {
            gain: S::from_f64(gain),
            damping: S::from_f64(damping),
            feedback: S::from_f64(damping) + S::from_f64(gain),
            scale: S::from_f64(1.0 / (1.0 + gain * (gain + damping))),
        };
        // A quality that is no number, not above zero or infinite leaves no damping that passes here.
        let held = |value: S| value > S::ZERO && value.is_finite();
        if !(held(quantised.damping) && held(quantised.scale)) {
            return Err(FilterError::Quality);
        }
        if held(quantised.gain) { Ok(quantised) } else { Err(FilterError::Frequency) }
    }

    /// With another gain, computed in flight: one division.
    pub(crate) fn tuned(damping: S, gain: S) -> Self {
        let feedback = gain + damping;
        StateVariable { gain, damping, feedback, scale: S::ONE / (S::ONE + gain * feedback) }
    }

    /// One sample that is [`bearable`].
    ///
    /// The energy of the integrators is bounded by that of the input, so that nothing overflows on the way.
    pub(crate) fn advance(&self, state: &mut Integrators<S>, input: S) -> Outputs<S> {
        let high = self.scale * (input - self.feedback * state.band - state.low);
        let step = self.gain * high;
        let band = step + state.band;
        let rise = self.gain * band;
        let low = rise + state.low;
        *state = Integrators { band: band + step, low: low + rise };
        Outputs { band, low }
    }

    /// The common denominator at a frequency whose half angle has this sine and cosine, scaled by
    /// (g·cos)²: g²·cos² − sin² + j·k·g·sin·cos.
    pub(crate) fn denominator(&self, (sin, cos): (f64, f64)) -> (f64, f64) {
        let (g, k) = (self.gain.to_f64(), self.damping.to_f64());
        (g * g * cos * cos - sin * sin, k * g * sin * cos)
    }

    /// a₁ and a₂, and the divisor 1 + k·g + g² that the numerators share.
    pub(crate) fn poles(&self) -> ([f64; 2], f64) {
        let (g, k) = (self.gain.to_f64(), self.damping.to_f64());
        let divisor = 1.0 + k * g + g * g;
        ([2.0 * (g * g - 1.0) / divisor, (1.0 - k * g + g * g) / divisor], divisor)
    }
}

impl<S: Scalar> Integrators<S> {
    /// As if the input had always been `value`; zero when that is no sample to take.
    pub(crate) fn settled_at(value: S) -> Self {
        Integrators { band: S::ZERO, low: if bearable(value) { value } else { S::ZERO } }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The energy s₁² + s₂² never grows without input, whatever the coefficients do from sample to
    /// sample: the loop is lossless but for k, and the trapezoidal rule keeps that. A filter in direct
    /// form has no such bound.
    #[test]
    fn energy_never_grows_without_input_when_the_coefficients_jump_at_every_sample() {
        let mut seed = 7_u32;
        let mut draw = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(seed >> 8) / f64::from(1 << 24)
        };
        let mut state = Integrators { band: 0.3, low: -0.9 };
        let mut energy = state.band * state.band + state.low * state.low;
        for step in 0..100_000 {
            let block = StateVariable::tuned(1e-4 * draw(), 6.0 * draw() * draw() * draw());
            block.advance(&mut state, 0.0);
            let now = state.band * state.band + state.low * state.low;
            assert!(now <= energy * (1.0 + 4.0 * f64::EPSILON), "{step}: {energy} to {now}");
            energy = now;
        }
        assert!(energy > 1e-3, "the damping was too large for the test to say anything: {energy}");
    }

    #[test]
    fn stays_where_it_is_when_the_coefficients_change_under_a_constant_input() {
        let mut state = Integrators::settled_at(4.5_f32);
        for k in 1..100 {
            let block = StateVariable::tuned(0.05 * k as f32, 0.03 * k as f32);
            assert_eq!(block.advance(&mut state, 4.5), Outputs { band: 0.0, low: 4.5 });
        }
    }

    #[test]
    fn takes_no_sample_that_is_no_number_or_too_large() {
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, 1.1e9] {
            assert!(!bearable(bad), "{bad}");
            assert_eq!(Integrators::settled_at(bad), Integrators::default(), "{bad}");
        }
        for good in [0.0, -0.0, 1e-45, f32::MIN_POSITIVE, 1e9, -1e9] {
            assert!(bearable(good), "{good:e}");
        }
    }

    #[test]
    fn memory_stays_finite_when_the_largest_samples_ring_at_the_centre() {
        let block = StateVariable::<f32>::new(100.0, 1.0e6, 1e-3).unwrap();
        let mut state = Integrators::default();
        for k in 0..100_000 {
            let sample = if (k / 5) % 2 == 0 { SAMPLE_MAX } else { -SAMPLE_MAX };
            block.advance(&mut state, sample as f32);
            assert!(state.band.is_finite() && state.low.is_finite(), "{k}: {state:?}");
        }
        assert!(state.band.abs() + state.low.abs() > 1.0e12, "it rings: {state:?}");
    }
}
