//! The whole chain between the gyro and the rate loop: notches, then a low-pass, on three axes.

use core::fmt;

use evenkeel_mixer::Scalar;

use crate::filter::error::FilterError;
use crate::filter::notch_bank::{NotchBank, NotchBankConfig, NotchBankError, NotchBankState, NotchBankTuning};
use crate::filter::response::Response;
use crate::filter::second_order::{SecondOrderLowPass, SecondOrderLowPassConfig, SecondOrderLowPassState};
use crate::filter::state_variable::bearable;
use crate::setpoint::BodyAxes;

/// The chain, human side. What is left out costs no lag.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct GyroFilterConfig {
    /// Notches that follow the rotors.
    pub notches: Option<NotchBankConfig>,
    /// Low-pass behind them.
    pub low_pass: Option<SecondOrderLowPassConfig>,
}

/// What is wrong with a [`GyroFilterConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GyroFilterError {
    /// The notches.
    Notches(NotchBankError),
    /// The low-pass.
    LowPass(FilterError),
}

impl fmt::Display for GyroFilterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GyroFilterError::Notches(cause) => write!(f, "gyro filter: {cause}"),
            GyroFilterError::LowPass(cause) => write!(f, "gyro low-pass: {cause}"),
        }
    }
}

impl core::error::Error for GyroFilterError {}

/// A validated chain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GyroFilter<S> {
    notches: Option<NotchBank<S>>,
    low_pass: Option<SecondOrderLowPass<S>>,
}

/// What the chain remembers, for up to N rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GyroFilterState<S, const N: usize> {
    tuning: NotchBankTuning<S, N>,
    axes: [Axis<S, N>; 3],
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Axis<S, const N: usize> {
    notches: NotchBankState<S, N>,
    low_pass: SecondOrderLowPassState<S>,
    output: S,
}

/// What one step found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GyroFilterOutput<S> {
    /// Filtered body rates, always finite.
    pub rate_rad_s: BodyAxes<S>,
    /// Some axis was not finite and holds its last value.
    pub held: bool,
}

impl<S: Scalar, const N: usize> Default for Axis<S, N> {
    fn default() -> Self {
        Axis { notches: NotchBankState::default(), low_pass: SecondOrderLowPassState::default(), output: S::ZERO }
    }
}

impl<S: Scalar, const N: usize> Default for GyroFilterState<S, N> {
    fn default() -> Self {
        GyroFilterState { tuning: NotchBankTuning::default(), axes: [Axis::default(); 3] }
    }
}

impl<S: Scalar, const N: usize> GyroFilterState<S, N> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Starts as if the rates had always been these; the notches stay where they are.
    pub fn reset_to(&mut self, rate_rad_s: BodyAxes<S>) {
        for (axis, value) in self.axes.iter_mut().zip(rate_rad_s.to_array()) {
            axis.notches.reset_to(value);
            axis.low_pass.reset_to(value);
            axis.output = if value.is_finite() { value } else { S::ZERO };
        }
    }

    /// Where the notches stand.
    pub fn tuning(&self) -> &NotchBankTuning<S, N> {
        &self.tuning
    }
}

impl<S: Scalar> GyroFilter<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first filter whose configuration makes no sense.
    pub fn new(config: &GyroFilterConfig, period_s: f64) -> Result<Self, GyroFilterError> {
        let notches = config.notches.map(|notches| NotchBank::new(&notches, period_s)).transpose();
        let low_pass = config.low_pass.map(|low_pass| SecondOrderLowPass::new(&low_pass, period_s)).transpose();
        Ok(GyroFilter {
            notches: notches.map_err(GyroFilterError::Notches)?,
            low_pass: low_pass.map_err(GyroFilterError::LowPass)?,
        })
    }

    /// Filters one sample and moves one notch towards its rotor.
    ///
    /// * Input: body rates and rotor speeds, rad/s; an axis that is not finite holds its last output
    pub fn step<const N: usize>(
        &self,
        state: &mut GyroFilterState<S, N>,
        rate_rad_s: BodyAxes<S>,
        rotor_speeds_rad_s: &[S; N],
    ) -> GyroFilterOutput<S> {
        if let Some(bank) = &self.notches {
            bank.follow(&mut state.tuning, rotor_speeds_rad_s);
        }
        let [roll, pitch, yaw] = &mut state.axes;
        let mut held = false;
        // Nearly always all axes together are.
        if bearable(rate_rad_s.square()) {
            let mut rates = rate_rad_s.to_array();
            if let Some(bank) = &self.notches {
                rates =
                    bank.step_three(&state.tuning, [&mut roll.notches, &mut pitch.notches, &mut yaw.notches], rates);
            }
            for (axis, rate) in [&mut *roll, &mut *pitch, &mut *yaw].into_iter().zip(rates) {
                axis.output = self.low_pass.as_ref().map_or(rate, |low_pass| low_pass.pass(&mut axis.low_pass, rate));
            }
        } else {
            held = self.step_what_can_be(&state.tuning, [roll, pitch, yaw], rate_rad_s);
        }
        GyroFilterOutput { rate_rad_s: BodyAxes { roll: roll.output, pitch: pitch.output, yaw: yaw.output }, held }
    }

    /// The axes that have a sample go on, the others hold. Whether there are others.
    #[cold]
    fn step_what_can_be<const N: usize>(
        &self,
        tuning: &NotchBankTuning<S, N>,
        axes: [&mut Axis<S, N>; 3],
        rate_rad_s: BodyAxes<S>,
    ) -> bool {
        for (axis, input) in axes.into_iter().zip(rate_rad_s.to_array()).filter(|(_, input)| bearable(*input)) {
            let calm = self.notches.as_ref().map_or(input, |bank| bank.step(tuning, &mut axis.notches, input));
            match &self.low_pass {
                None => axis.output = calm,
                Some(low_pass) if bearable(calm) => axis.output = low_pass.pass(&mut axis.low_pass, calm),
                Some(_) => {}
            }
        }
        !rate_rad_s.to_array().iter().all(|rate| bearable(*rate))
    }

    /// Gain and phase of the whole chain with the notches as they stand.
    pub fn response<const N: usize>(&self, tuning: &NotchBankTuning<S, N>, frequency_hz: f64) -> Response {
        let notches = self.notches.as_ref().map_or(Response::NEUTRAL, |bank| bank.response(tuning, frequency_hz));
        notches.then(self.low_pass.as_ref().map_or(Response::NEUTRAL, |filter| filter.response(frequency_hz)))
    }

    /// As [`GyroFilter::response`], with the notches where rotors at these speeds put them.
    pub fn response_at_speeds<const N: usize>(&self, rotor_speeds_rad_s: &[S; N], frequency_hz: f64) -> Response {
        let tuning = self.notches.as_ref().map(|bank| bank.tuned_to(rotor_speeds_rad_s));
        self.response(&tuning.unwrap_or_default(), frequency_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::{FRAC_1_SQRT_2, TAU};

    const PERIOD_S: f64 = 1e-3;
    const NOTCHES: NotchBankConfig = NotchBankConfig { quality: 3.0, cycles_per_turn: 1.0, least_hz: 60.0 };
    const LOW_PASS: SecondOrderLowPassConfig = SecondOrderLowPassConfig { corner_hz: 90.0, quality: FRAC_1_SQRT_2 };
    const CONFIG: GyroFilterConfig = GyroFilterConfig { notches: Some(NOTCHES), low_pass: Some(LOW_PASS) };
    const SPEEDS_HZ: [f64; 4] = [110.0, 118.0, 131.0, 140.0];

    /// Drives one axis with a sine and reads gain and phase off by correlation over whole cycles.
    fn measured(frequency_hz: f64) -> Response {
        let block = GyroFilter::<f64>::new(&CONFIG, PERIOD_S).unwrap();
        let (speeds, mut state) = (SPEEDS_HZ.map(|hz| TAU * hz), GyroFilterState::default());
        let (mut in_phase, mut ahead) = (0.0, 0.0);
        for k in 0..4000 {
            let angle = TAU * frequency_hz * PERIOD_S * f64::from(k);
            let rate = BodyAxes { pitch: angle.sin(), ..BodyAxes::default() };
            let output = block.step(&mut state, rate, &speeds).rate_rad_s.pitch;
            if k >= 2000 {
                in_phase += output * angle.sin() / 1000.0;
                ahead += output * angle.cos() / 1000.0;
            }
        }
        Response { gain: in_phase.hypot(ahead), phase_rad: ahead.atan2(in_phase) }
    }

    #[test]
    fn response_of_the_chain_is_what_a_sine_through_it_shows() {
        let block = GyroFilter::<f64>::new(&CONFIG, PERIOD_S).unwrap();
        for frequency_hz in [5.0, 20.0, 40.0, 70.0, 90.0, 125.0, 180.0, 300.0] {
            let (seen, told) =
                (measured(frequency_hz), block.response_at_speeds(&SPEEDS_HZ.map(|hz| TAU * hz), frequency_hz));
            assert!((seen.gain - told.gain).abs() < 1e-9, "{frequency_hz}: {seen:?} {told:?}");
            let off = (seen.phase_rad - told.phase_rad) / TAU;
            assert!((off - off.round()).abs() < 1e-7, "{frequency_hz}: {seen:?} {told:?}");
        }
    }

    #[test]
    fn lag_of_the_chain_is_the_sum_of_its_parts() {
        let block = GyroFilter::<f64>::new(&CONFIG, PERIOD_S).unwrap();
        let low_pass = SecondOrderLowPass::<f64>::new(&LOW_PASS, PERIOD_S).unwrap();
        let notches = NotchBank::<f64>::new(&NOTCHES, PERIOD_S).unwrap();
        let speeds = SPEEDS_HZ.map(|hz| TAU * hz);
        let parts = notches.response(&notches.tuned_to(&speeds), 30.0).then(low_pass.response(30.0));
        assert_eq!(block.response_at_speeds(&speeds, 30.0), parts);
        assert!(parts.phase_rad < low_pass.response(30.0).phase_rad - 0.1, "four notches lag: {parts:?}");
    }

    #[test]
    fn axis_that_is_no_number_holds_while_the_others_go_on() {
        let block = GyroFilter::<f32>::new(&CONFIG, PERIOD_S).unwrap();
        let mut state = GyroFilterState::<f32, 4>::default();
        state.reset_to(BodyAxes { roll: 1.0, pitch: 2.0, yaw: f32::NAN });
        let answer = block.step(&mut state, BodyAxes { roll: f32::NAN, pitch: 3.0, yaw: 0.0 }, &[800.0; 4]);
        assert!(answer.held && answer.rate_rad_s.roll == 1.0 && answer.rate_rad_s.pitch > 2.0);
        assert_eq!(answer.rate_rad_s.yaw, 0.0);
        assert!(!block.step(&mut state, BodyAxes::default(), &[f32::NAN; 4]).held);
    }

    #[test]
    fn passes_everything_when_nothing_is_asked_for() {
        let block = GyroFilter::<f32>::new(&GyroFilterConfig::default(), PERIOD_S).unwrap();
        let rate = BodyAxes { roll: 1.0, pitch: -2.0, yaw: 3.0 };
        let answer = block.step(&mut GyroFilterState::<f32, 4>::default(), rate, &[800.0; 4]);
        assert_eq!(answer, GyroFilterOutput { rate_rad_s: rate, held: false });
        assert_eq!(block.response_at_speeds(&[800.0_f32; 4], 40.0), Response::NEUTRAL);
    }

    #[test]
    fn names_the_part_that_makes_no_sense() {
        let bad_notches = Some(NotchBankConfig { quality: 0.0, ..NOTCHES });
        let cause = GyroFilter::<f32>::new(&GyroFilterConfig { notches: bad_notches, ..CONFIG }, PERIOD_S);
        assert_eq!(cause, Err(GyroFilterError::Notches(NotchBankError::Filter(FilterError::Quality))));
        let bad_low_pass = Some(SecondOrderLowPassConfig { corner_hz: f64::NAN, ..LOW_PASS });
        let cause = GyroFilter::<f32>::new(&GyroFilterConfig { low_pass: bad_low_pass, ..CONFIG }, PERIOD_S);
        assert_eq!(cause, Err(GyroFilterError::LowPass(FilterError::Frequency)));
    }
}
