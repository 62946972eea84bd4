//! Second-order low-pass.

use evenkeel_mixer::Scalar;

use crate::filter::error::FilterError;
use crate::filter::response::{Response, half_angle};
use crate::filter::state_variable::{BiquadCoefficients, Integrators, StateVariable, bearable};

/// A second-order low-pass, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct SecondOrderLowPassConfig {
    /// Where the phase is −90° and the gain is Q.
    pub corner_hz: f64,
    /// Quality factor Q: 1/√2 is flattest (Butterworth), one half does not overshoot.
    pub quality: f64,
}

/// A validated second-order low-pass.
///
/// * Math: bilinear transform of 1/(s² + s/Q + 1), corner prewarped; as a state-variable filter
/// * Cost: four multiplications, no division
/// * Source: docs/filters_and_estimate.md, "Filters"
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondOrderLowPass<S> {
    filter: StateVariable<S>,
    period_s: f64,
}

/// What one channel remembers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SecondOrderLowPassState<S> {
    integrators: Integrators<S>,
    output: S,
}

impl<S: Scalar> SecondOrderLowPassState<S> {
    /// Forgets everything: the input has always been zero.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Starts as if the input had always been `value`; zero when that is not finite.
    pub fn reset_to(&mut self, value: S) {
        self.integrators = Integrators::settled_at(value);
        self.output = self.integrators.low;
    }
}

impl<S: Scalar> SecondOrderLowPass<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &SecondOrderLowPassConfig, period_s: f64) -> Result<Self, FilterError> {
        let filter = StateVariable::new(config.corner_hz, config.quality, period_s)?;
        Ok(SecondOrderLowPass { filter, period_s })
    }

    /// Output for one sample; the last output again when the sample is not finite.
    pub fn step(&self, state: &mut SecondOrderLowPassState<S>, input: S) -> S {
        if bearable(input) {
            state.output = self.pass(state, input);
        }
        state.output
    }

    /// One sample that is bearable, for who keeps the output and never asks for the last one.
    pub(crate) fn pass(&self, state: &mut SecondOrderLowPassState<S>, input: S) -> S {
        self.advance(&mut state.integrators, input)
    }

    /// One sample that is bearable.
    pub(crate) fn advance(&self, integrators: &mut Integrators<S>, input: S) -> S {
        self.filter.advance(integrators, input).low
    }

    /// Gain and phase at a frequency, phase 0 to −π.
    pub fn response(&self, frequency_hz: f64) -> Response {
        let (sin, cos) = half_angle(frequency_hz, self.period_s);
        let (re, im) = self.filter.denominator((sin, cos));
        let g = self.filter.gain.to_f64();
        Response::quotient((g * g * cos * cos, 0.0), (re, im))
    }

    /// The same filter as a biquad, from the coefficients as quantised.
    pub fn coefficients(&self) -> BiquadCoefficients {
        let (a, divisor) = self.filter.poles();
        let g = self.filter.gain.to_f64();
        let b0 = g * g / divisor;
        BiquadCoefficients { b: [b0, 2.0 * b0, b0], a }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2};

    const CONFIG: SecondOrderLowPassConfig = SecondOrderLowPassConfig { corner_hz: 60.0, quality: FRAC_1_SQRT_2 };

    fn made() -> SecondOrderLowPass<f32> {
        SecondOrderLowPass::new(&CONFIG, 1e-3).unwrap()
    }

    #[test]
    fn constant_passes_without_any_error_however_low_the_corner() {
        let low = SecondOrderLowPassConfig { corner_hz: 0.5, ..CONFIG };
        let block = SecondOrderLowPass::<f32>::new(&low, 1.25e-4).unwrap();
        let mut state = SecondOrderLowPassState::default();
        state.reset_to(9.806_65);
        assert!((0..10_000).all(|_| block.step(&mut state, 9.806_65) == 9.806_65));
    }

    #[test]
    fn corner_has_a_quarter_turn_of_lag_and_the_gain_of_its_quality() {
        let block = SecondOrderLowPass::<f64>::new(&CONFIG, 1e-3).unwrap();
        let at_corner = block.response(60.0);
        assert!((at_corner.gain - FRAC_1_SQRT_2).abs() < 1e-13, "{at_corner:?}");
        assert!((at_corner.phase_rad + FRAC_PI_2).abs() < 1e-13, "{at_corner:?}");
        assert_eq!(block.response(0.0), Response { gain: 1.0, phase_rad: 0.0 });
        assert!(block.response(500.0).gain < 1e-15);
        assert!(block.response(501.0).gain.is_nan() && block.response(f64::NAN).phase_rad.is_nan());
    }

    #[test]
    fn starts_without_a_bump_when_reset_to_its_input() {
        let (block, mut state) = (made(), SecondOrderLowPassState::default());
        state.reset_to(-0.37);
        assert_eq!(block.step(&mut state, -0.37), -0.37);
        state.reset_to(f32::INFINITY);
        assert_eq!(state, SecondOrderLowPassState::default());
    }

    #[test]
    fn holds_its_output_when_a_sample_is_no_number() {
        let (block, mut state) = (made(), SecondOrderLowPassState::default());
        let held = block.step(&mut state, 2.0);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(block.step(&mut state, bad), held, "{bad}");
        }
        assert!(block.step(&mut state, 2.0) > held, "goes on");
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made =
            |config: SecondOrderLowPassConfig, period| SecondOrderLowPass::<f32>::new(&config, period).map(|_| ());
        assert_eq!(made(CONFIG, 1e-3), Ok(()));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(CONFIG, bad), Err(FilterError::Period), "{bad}");
            let corner = SecondOrderLowPassConfig { corner_hz: bad, ..CONFIG };
            assert_eq!(made(corner, 1e-3), Err(FilterError::Frequency), "{bad}");
            let quality = SecondOrderLowPassConfig { quality: bad, ..CONFIG };
            assert_eq!(made(quality, 1e-3), Err(FilterError::Quality), "{bad}");
        }
        for corner_hz in [450.1, 500.0, 1e-60] {
            let config = SecondOrderLowPassConfig { corner_hz, ..CONFIG };
            assert_eq!(made(config, 1e-3), Err(FilterError::Frequency), "{corner_hz}");
        }
        for quality in [1e-60, 1e60] {
            let config = SecondOrderLowPassConfig { quality, ..CONFIG };
            assert_eq!(made(config, 1e-3), Err(FilterError::Quality), "{quality}");
        }
    }
}
