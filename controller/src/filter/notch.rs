//! Notch at a fixed frequency.

use evenkeel_mixer::Scalar;

use crate::filter::error::FilterError;
use crate::filter::response::{Response, half_angle};
use crate::filter::state_variable::{BiquadCoefficients, Integrators, StateVariable, bearable};

/// A notch, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct NotchConfig {
    /// What is taken out.
    pub center_hz: f64,
    /// Quality factor: centre over the width between the −3 dB points. Wide notches lag more below.
    pub quality: f64,
}

/// A validated notch.
///
/// * Math: bilinear transform of (s² + 1)/(s² + s/Q + 1), centre prewarped; as a state-variable filter
/// * Cost: six multiplications, no division
/// * Source: docs/filters_and_estimate.md, "Filters"
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Notch<S> {
    filter: StateVariable<S>,
    period_s: f64,
}

/// What one channel remembers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct NotchState<S> {
    integrators: Integrators<S>,
    output: S,
}

impl<S: Scalar> NotchState<S> {
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

impl<S: Scalar> Notch<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &NotchConfig, period_s: f64) -> Result<Self, FilterError> {
        let filter = StateVariable::new(config.center_hz, config.quality, period_s)?;
        Ok(Notch { filter, period_s })
    }

    /// Output for one sample; the last output again when the sample is not finite.
    pub fn step(&self, state: &mut NotchState<S>, input: S) -> S {
        if bearable(input) {
            state.output = filtered(&self.filter, self.filter.damping, &mut state.integrators, input);
        }
        state.output
    }

    /// Gain and phase at a frequency. The phase falls to −π/2 at the centre and comes back from π/2.
    pub fn response(&self, frequency_hz: f64) -> Response {
        notch_response(&self.filter, 1.0, frequency_hz, self.period_s)
    }

    /// The same filter as a biquad, from the coefficients as quantised.
    pub fn coefficients(&self) -> BiquadCoefficients {
        let (a, divisor) = self.filter.poles();
        let g = self.filter.gain.to_f64();
        let b0 = (1.0 + g * g) / divisor;
        BiquadCoefficients { b: [b0, a[0], b0], a }
    }
}

/// One bearable sample through a notch of this depth times damping; depth 0 passes everything, 1 takes the centre out:
/// x − depth·k·b.
pub(crate) fn filtered<S: Scalar>(
    filter: &StateVariable<S>,
    depth_damping: S,
    state: &mut Integrators<S>,
    input: S,
) -> S {
    input - depth_damping * filter.advance(state, input).band
}

/// Response of [`filtered`]: (r + j·(1 − depth)·q)/(r + j·q), r the real and q the imaginary part of
/// the loop's denominator. Both points lie in the upper half plane, so the phase stays within a
/// quarter turn.
pub(crate) fn notch_response<S: Scalar>(
    filter: &StateVariable<S>,
    depth: f64,
    frequency_hz: f64,
    period_s: f64,
) -> Response {
    let (re, im) = filter.denominator(half_angle(frequency_hz, period_s));
    Response::quotient((re, (1.0 - depth) * im), (re, im))
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::{FRAC_PI_2, TAU};

    const CONFIG: NotchConfig = NotchConfig { center_hz: 120.0, quality: 3.0 };

    #[test]
    fn sine_at_the_centre_dies_out_and_one_far_below_passes() {
        let block = Notch::<f32>::new(&CONFIG, 1e-3).unwrap();
        let largest_after_settling = |frequency_hz: f64| {
            let mut state = NotchState::default();
            let sine = |k: i32| (TAU * frequency_hz * 1e-3 * f64::from(k)).sin() as f32;
            let outputs: std::vec::Vec<f32> = (0..2000).map(|k| block.step(&mut state, sine(k))).collect();
            outputs.iter().skip(1000).fold(0.0_f32, |worst, y| worst.max(y.abs()))
        };
        assert!(largest_after_settling(120.0) < 2e-6, "{}", largest_after_settling(120.0));
        let far = largest_after_settling(10.0);
        assert!((f64::from(far) - block.response(10.0).gain).abs() < 1e-3, "{far}");
    }

    #[test]
    fn phase_falls_to_the_centre_and_comes_back_above() {
        let block = Notch::<f64>::new(&CONFIG, 1e-3).unwrap();
        assert!(block.response(120.0).gain < 1e-13);
        assert!((block.response(120.0 - 1e-9).phase_rad + FRAC_PI_2).abs() < 1e-6);
        assert!((block.response(120.0 + 1e-9).phase_rad - FRAC_PI_2).abs() < 1e-6);
        assert_eq!(block.response(0.0), Response::NEUTRAL);
        assert!((block.response(500.0).gain - 1.0).abs() < 1e-12);
    }

    #[test]
    fn quality_is_the_centre_over_the_width_between_the_half_power_points() {
        // Prewarped: in u = tan(π·f·T)/tan(π·f₀·T) the half-power points are those of the continuous
        // notch, u = √(1 + 1/4Q²) ± 1/2Q.
        let block = Notch::<f64>::new(&CONFIG, 1e-3).unwrap();
        for sign in [-1.0, 1.0] {
            let u = (1.0 + 1.0 / 36.0_f64).sqrt() + sign / 6.0;
            let frequency_hz = (u * (0.12 * core::f64::consts::PI).tan()).atan() / (core::f64::consts::PI * 1e-3);
            assert!((block.response(frequency_hz).gain - core::f64::consts::FRAC_1_SQRT_2).abs() < 1e-12);
        }
    }

    #[test]
    fn starts_without_a_bump_and_holds_over_what_is_no_number() {
        let block = Notch::<f32>::new(&CONFIG, 1e-3).unwrap();
        let mut state = NotchState::default();
        state.reset_to(1.25);
        assert_eq!(block.step(&mut state, f32::NAN), 1.25, "holds what it was reset to");
        assert_eq!(block.step(&mut state, 1.25), 1.25);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(block.step(&mut state, bad), 1.25, "{bad}");
        }
        for edge in [0.0, -0.0, 1e-45, f32::MIN_POSITIVE, f32::MAX, f32::MIN] {
            assert!(block.step(&mut state, edge).is_finite(), "{edge:e}");
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config: NotchConfig, period| Notch::<f32>::new(&config, period).map(|_| ());
        assert_eq!(made(CONFIG, 1e-3), Ok(()));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(CONFIG, bad), Err(FilterError::Period), "{bad}");
            assert_eq!(made(NotchConfig { center_hz: bad, ..CONFIG }, 1e-3), Err(FilterError::Frequency), "{bad}");
            assert_eq!(made(NotchConfig { quality: bad, ..CONFIG }, 1e-3), Err(FilterError::Quality), "{bad}");
        }
        assert_eq!(made(NotchConfig { center_hz: 451.0, ..CONFIG }, 1e-3), Err(FilterError::Frequency));
    }
}
