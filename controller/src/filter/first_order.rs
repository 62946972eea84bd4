//! First-order low-pass with the pole where the continuous filter has it.

use evenkeel_mixer::Scalar;

use crate::elementary::exp_m1;
use crate::filter::error::FilterError;
use crate::filter::response::{Response, half_angle};

/// A first-order low-pass, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct FirstOrderLowPassConfig {
    /// Corner: 1/(2π·τ).
    pub corner_hz: f64,
}

/// A validated first-order low-pass.
///
/// * Math: y ← y + α·(x − y), α = 1 − exp(−T/τ), τ = 1/(2π·corner)
/// * Why: a step is followed exactly as by the continuous filter at every sample, for any corner;
///   backward Euler, α = T/(τ + T), has its −3 dB 8 % low already at 3 % of the sample rate
/// * Source: textbook; values in tests/
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstOrderLowPass<S> {
    alpha: S,
    period_s: f64,
}

/// What one channel remembers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FirstOrderLowPassState<S> {
    output: S,
}

impl<S: Scalar> FirstOrderLowPassState<S> {
    /// Forgets everything: the input has always been zero.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Starts as if the input had always been `value`; zero when that is not finite.
    pub fn reset_to(&mut self, value: S) {
        self.output = if value.is_finite() { value } else { S::ZERO };
    }
}

impl<S: Scalar> FirstOrderLowPass<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense. Any corner above zero will do: far above the sample rate
    /// the filter passes everything.
    pub fn new(config: &FirstOrderLowPassConfig, period_s: f64) -> Result<Self, FilterError> {
        if !(period_s > 0.0 && period_s.is_finite()) {
            return Err(FilterError::Period);
        }
        let exact = -exp_m1(-core::f64::consts::TAU * config.corner_hz * period_s);
        let alpha = S::from_f64(exact);
        if !(config.corner_hz > 0.0 && config.corner_hz.is_finite() && alpha > S::ZERO && alpha <= S::ONE) {
            return Err(FilterError::Frequency);
        }
        Ok(FirstOrderLowPass { alpha, period_s })
    }

    /// Output for one sample; the last output again when the sample is not finite.
    pub fn step(&self, state: &mut FirstOrderLowPassState<S>, input: S) -> S {
        let output = state.output + self.alpha * (input - state.output);
        if output.is_finite() {
            state.output = output;
        }
        state.output
    }

    /// One sample that is finite and far within the scalar's range, as all before were: the output stays between them.
    pub(crate) fn pass(&self, state: &mut FirstOrderLowPassState<S>, input: S) -> S {
        state.output = state.output + self.alpha * (input - state.output);
        state.output
    }

    /// Share of the way to the input that the output goes in a sample.
    pub fn alpha(&self) -> S {
        self.alpha
    }

    /// Gain and phase at a frequency.
    ///
    /// * Math: α/(1 − (1 − α)·e^(−jω)) = α/(α + (1 − α)·(2·sin²(ω/2) + j·sin ω))
    pub fn response(&self, frequency_hz: f64) -> Response {
        let (sin, cos) = half_angle(frequency_hz, self.period_s);
        let alpha = self.alpha.to_f64();
        let keep = 1.0 - alpha;
        Response::quotient((alpha, 0.0), (alpha + keep * 2.0 * sin * sin, keep * 2.0 * sin * cos))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(corner_hz: f64) -> FirstOrderLowPass<f32> {
        FirstOrderLowPass::new(&FirstOrderLowPassConfig { corner_hz }, 1e-3).unwrap()
    }

    #[test]
    fn step_is_followed_as_by_the_continuous_filter() {
        let block = FirstOrderLowPass::<f64>::new(&FirstOrderLowPassConfig { corner_hz: 40.0 }, 1e-3).unwrap();
        let mut state = FirstOrderLowPassState::default();
        for k in 1..200 {
            let expected = 1.0 - (-core::f64::consts::TAU * 40.0 * 1e-3 * f64::from(k)).exp();
            assert!((block.step(&mut state, 1.0) - expected).abs() < 1e-14, "{k}");
        }
    }

    #[test]
    fn starts_without_a_bump_when_reset_to_its_input() {
        let (block, mut state) = (made(5.0), FirstOrderLowPassState::default());
        state.reset_to(-3.7);
        assert_eq!(block.step(&mut state, -3.7), -3.7);
        state.reset_to(f32::NAN);
        assert_eq!(state, FirstOrderLowPassState::default());
    }

    #[test]
    fn holds_its_output_when_a_sample_is_no_number() {
        let (block, mut state) = (made(50.0), FirstOrderLowPassState::default());
        let held = block.step(&mut state, 2.0);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(block.step(&mut state, bad), held, "{bad}");
        }
        assert!(block.step(&mut state, 2.0) > held, "goes on");
        for edge in [0.0, -0.0, f32::MIN_POSITIVE, 1e-45, f32::MAX, f32::MIN] {
            assert!(block.step(&mut state, edge).is_finite(), "{edge:e}");
        }
    }

    #[test]
    fn mirrored_input_gives_mirrored_output() {
        let block = made(50.0);
        let (mut state, mut mirror) = (FirstOrderLowPassState::default(), FirstOrderLowPassState::default());
        for k in 0..100 {
            let input = (k * 37 % 19) as f32 - 9.0;
            assert_eq!(block.step(&mut state, input), -block.step(&mut mirror, -input));
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |corner_hz, period| {
            FirstOrderLowPass::<f32>::new(&FirstOrderLowPassConfig { corner_hz }, period).map(|_| ())
        };
        assert_eq!(made(50.0, 1e-3), Ok(()));
        assert_eq!(made(1e9, 1e-3), Ok(()), "passes everything");
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(50.0, bad), Err(FilterError::Period), "{bad}");
            assert_eq!(made(bad, 1e-3), Err(FilterError::Frequency), "{bad}");
        }
        assert_eq!(made(1e-60, 1e-3), Err(FilterError::Frequency), "below what the scalar can hold");
    }
}
