//! A bank of notches, each of which follows one rotor.
//!
//! An unbalanced rotor shakes the gyro once a turn, its blades once a blade. Each notch sits at that
//! frequency, computed from the rotor's speed; no spectrum is searched.
//!
//! * Math: g = tan(½·m·Ω·T), Ω rotor speed, m cycles a turn; d = 1/(1 + g·(g + k))
//! * Bumpless: the integrators of a state-variable filter mean the same whatever the coefficients, and
//!   their energy cannot grow without input however fast these change
//! * Source: docs/filters_and_estimate.md, "Notches that follow the rotors"

use core::fmt;

use evenkeel_mixer::Scalar;

use crate::filter::error::FilterError;
use crate::filter::notch::{filtered, notch_response};
use crate::filter::response::Response;
use crate::filter::state_variable::{CORNER_MAX_SHARE, Integrators, StateVariable, bearable};
use crate::trigonometry::sin_cos;

/// A notch has its full depth from this many times the least frequency.
const FULL_DEPTH_FROM: f64 = 1.25;
/// A notch has its full depth up to this share of the sample rate, and none at [`CORNER_MAX_SHARE`].
const FULL_DEPTH_UP_TO_SHARE: f64 = 0.40;

/// A bank of notches, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct NotchBankConfig {
    /// Quality factor of every notch: centre over width.
    pub quality: f64,
    /// Cycles a turn of the rotor: 1 for its unbalance, the number of blades for their passing.
    pub cycles_per_turn: f64,
    /// A notch below this passes everything: a low notch would lag where the loop works. It has its
    /// full depth from 1.25 times this.
    pub least_hz: f64,
}

/// What is wrong with a [`NotchBankConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotchBankError {
    /// The sample period, the least frequency or the quality factor.
    Filter(FilterError),
    /// Cycles a turn is not above zero.
    CyclesPerTurn,
}

impl fmt::Display for NotchBankError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            NotchBankError::Filter(FilterError::Frequency) => {
                f.write_str("the notches' least frequency must be above 0 and below 0.32 of the sample rate")
            }
            NotchBankError::Filter(cause) => write!(f, "notches: {cause}"),
            NotchBankError::CyclesPerTurn => f.write_str("the notches' cycles a turn must be above 0"),
        }
    }
}

impl core::error::Error for NotchBankError {}

/// A validated bank. How many notches it has is up to the tuning and state it is used with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotchBank<S> {
    damping: S,
    half_angle_per_rad_s: S,
    least_half_angle: S,
    top_half_angle: S,
    fade_in: S,
    fade_out: S,
    period_s: f64,
}

/// Where the notches stand now; one for all axes. Passes everything until it follows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotchBankTuning<S, const N: usize> {
    notches: [Tuned<S>; N],
    next: usize,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Tuned<S> {
    filter: StateVariable<S>,
    depth: S,
    depth_damping: S,
}

/// What one axis remembers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NotchBankState<S, const N: usize> {
    integrators: [Integrators<S>; N],
    output: S,
}

impl<S: Scalar, const N: usize> Default for NotchBankTuning<S, N> {
    fn default() -> Self {
        NotchBankTuning { notches: [Tuned::default(); N], next: 0 }
    }
}

impl<S: Scalar, const N: usize> Default for NotchBankState<S, N> {
    fn default() -> Self {
        NotchBankState { integrators: [Integrators::default(); N], output: S::ZERO }
    }
}

impl<S: Scalar, const N: usize> NotchBankState<S, N> {
    /// Forgets everything: the input has always been zero.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Starts as if the input had always been `value`; zero when that is not finite.
    pub fn reset_to(&mut self, value: S) {
        let settled = Integrators::settled_at(value);
        *self = NotchBankState { integrators: [settled; N], output: settled.low };
    }
}

impl<S: Scalar> NotchBank<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &NotchBankConfig, period_s: f64) -> Result<Self, NotchBankError> {
        let lowest =
            StateVariable::<S>::new(config.least_hz, config.quality, period_s).map_err(NotchBankError::Filter)?;
        if !(config.least_hz * period_s * FULL_DEPTH_FROM < FULL_DEPTH_UP_TO_SHARE) {
            return Err(NotchBankError::Filter(FilterError::Frequency));
        }
        let half_angle = |share: f64| core::f64::consts::PI * share;
        let least = half_angle(config.least_hz * period_s);
        let per_rad_s = S::from_f64(0.5 * config.cycles_per_turn * period_s);
        if !(per_rad_s > S::ZERO && per_rad_s.is_finite()) {
            return Err(NotchBankError::CyclesPerTurn);
        }
        let fade_in = S::from_f64(1.0 / (least * (FULL_DEPTH_FROM - 1.0)));
        if !(fade_in.is_finite() && S::from_f64(least) > S::ZERO) {
            return Err(NotchBankError::Filter(FilterError::Frequency));
        }
        Ok(NotchBank {
            damping: lowest.damping,
            half_angle_per_rad_s: per_rad_s,
            least_half_angle: S::from_f64(least),
            top_half_angle: S::from_f64(half_angle(CORNER_MAX_SHARE)),
            fade_in,
            fade_out: S::from_f64(1.0 / half_angle(CORNER_MAX_SHARE - FULL_DEPTH_UP_TO_SHARE)),
            period_s,
        })
    }

    /// Retunes one notch, the next in turn, to its rotor's speed. Call once a sample: every notch then
    /// moves once in N samples.
    ///
    /// * Input: rotor speeds in rad/s, either sign; one that is not finite leaves its notch where it is
    /// * Cost: one sine and cosine, two divisions
    pub fn follow<const N: usize>(&self, tuning: &mut NotchBankTuning<S, N>, rotor_speeds_rad_s: &[S; N]) {
        let turn = tuning.next;
        tuning.next = if turn + 1 < N { turn + 1 } else { 0 };
        if let (Some(notch), Some(&speed)) = (tuning.notches.get_mut(turn), rotor_speeds_rad_s.get(turn)) {
            self.retune(notch, speed);
        }
    }

    /// The tuning that rotors at these speeds lead to, at once.
    pub fn tuned_to<const N: usize>(&self, rotor_speeds_rad_s: &[S; N]) -> NotchBankTuning<S, N> {
        let mut tuning = NotchBankTuning::default();
        for (notch, &speed) in tuning.notches.iter_mut().zip(rotor_speeds_rad_s) {
            self.retune(notch, speed);
        }
        tuning
    }

    /// Output for one sample of one axis; the last output again when the sample is not finite.
    ///
    /// * Cost: six multiplications a notch
    pub fn step<const N: usize>(
        &self,
        tuning: &NotchBankTuning<S, N>,
        state: &mut NotchBankState<S, N>,
        input: S,
    ) -> S {
        if bearable(input) {
            let NotchBankState { integrators, output } = state;
            *output =
                tuning.notches.iter().zip(integrators).fold(input, |signal, (notch, memory)| {
                    filtered(&notch.filter, notch.depth_damping, memory, signal)
                });
        }
        state.output
    }

    /// As [`NotchBank::step`] for three axes at once, whose samples are bearable: each notch's coefficients are
    /// fetched once.
    pub(crate) fn step_three<const N: usize>(
        &self,
        tuning: &NotchBankTuning<S, N>,
        [roll, pitch, yaw]: [&mut NotchBankState<S, N>; 3],
        [mut p, mut q, mut r]: [S; 3],
    ) -> [S; 3] {
        let memories = roll.integrators.iter_mut().zip(&mut pitch.integrators).zip(&mut yaw.integrators);
        for (Tuned { filter, depth_damping, .. }, ((roll, pitch), yaw)) in tuning.notches.iter().zip(memories) {
            p = filtered(filter, *depth_damping, roll, p);
            q = filtered(filter, *depth_damping, pitch, q);
            r = filtered(filter, *depth_damping, yaw, r);
        }
        (roll.output, pitch.output, yaw.output) = (p, q, r);
        [p, q, r]
    }

    /// Gain and phase of all notches together as they stand. Rotors of like speed put their notches on
    /// top of each other: the lag below is then that of one, times their number.
    pub fn response<const N: usize>(&self, tuning: &NotchBankTuning<S, N>, frequency_hz: f64) -> Response {
        tuning.notches.iter().filter(|notch| notch.depth > S::ZERO).fold(Response::NEUTRAL, |chain, notch| {
            chain.then(notch_response(&notch.filter, notch.depth.to_f64(), frequency_hz, self.period_s))
        })
    }

    fn retune(&self, notch: &mut Tuned<S>, rotor_speed_rad_s: S) {
        let half_angle = rotor_speed_rad_s.abs() * self.half_angle_per_rad_s;
        if !half_angle.is_finite() {
            return;
        }
        let below = ((half_angle - self.least_half_angle) * self.fade_in).limit(S::ZERO, S::ONE);
        let above = ((self.top_half_angle - half_angle) * self.fade_out).limit(S::ZERO, S::ONE);
        // A notch out of its range stays warm at the edge, at no depth.
        let (sin, cos) = sin_cos(half_angle.limit(self.least_half_angle, self.top_half_angle));
        let depth = below * above;
        let filter = StateVariable::tuned(self.damping, sin / cos);
        *notch = Tuned { filter, depth, depth_damping: depth * self.damping };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::TAU;

    const CONFIG: NotchBankConfig = NotchBankConfig { quality: 3.0, cycles_per_turn: 1.0, least_hz: 60.0 };
    const PERIOD_S: f64 = 5e-4;

    fn made<S: Scalar>() -> NotchBank<S> {
        NotchBank::new(&CONFIG, PERIOD_S).unwrap()
    }

    #[test]
    fn each_rotor_is_taken_out_when_the_speeds_differ() {
        let bank = made::<f64>();
        let speeds_hz = [90.0, 131.0, 170.0, 260.0];
        let tuning = bank.tuned_to(&speeds_hz.map(|hz| TAU * hz));
        for hz in speeds_hz {
            assert!(bank.response(&tuning, hz).gain < 1e-6, "{hz}: {:?}", bank.response(&tuning, hz));
        }
        assert_eq!(bank.response(&tuning, 0.0), Response::NEUTRAL);
    }

    #[test]
    fn shaking_of_a_rotor_that_speeds_up_is_taken_out_on_the_way() {
        // 100 to 200 Hz in two seconds; blades pass twice a turn.
        let bank = NotchBank::<f32>::new(&NotchBankConfig { cycles_per_turn: 2.0, ..CONFIG }, PERIOD_S).unwrap();
        let mut tuning = NotchBankTuning::<f32, 4>::default();
        let mut state = NotchBankState::default();
        let (mut phase, mut worst) = (0.0_f64, 0.0_f32);
        for k in 0..4000 {
            let hz = 100.0 + 100.0 * f64::from(k) / 4000.0;
            phase += TAU * hz * PERIOD_S;
            bank.follow(&mut tuning, &[(TAU * hz / 2.0) as f32; 4]);
            let output = bank.step(&tuning, &mut state, phase.sin() as f32);
            if k > 400 {
                worst = worst.max(output.abs());
            }
        }
        assert!(worst < 1e-3, "{worst}");
    }

    #[test]
    fn one_call_moves_one_notch() {
        let bank = made::<f32>();
        let mut tuning = NotchBankTuning::<f32, 3>::default();
        let mut moved = [0; 3];
        for _ in 0..9 {
            let before = tuning;
            bank.follow(&mut tuning, &[before.notches[0].depth + 700.0, 900.0 + before.next as f32, 1100.0]);
            let differ = (0..3).filter(|i| tuning.notches[*i] != before.notches[*i]);
            let differ: std::vec::Vec<usize> = differ.collect();
            assert!(differ.len() <= 1 && differ.iter().all(|i| *i == before.next), "{differ:?}");
            differ.iter().for_each(|i| moved[*i] += 1);
        }
        assert!(moved.iter().all(|count| *count >= 1), "{moved:?}");
    }

    #[test]
    fn passes_everything_when_the_rotor_is_slow_stopped_or_near_half_the_sample_rate() {
        let bank = made::<f32>();
        for hz in [0.0, 59.9, 900.1, 1e6] {
            let tuning = bank.tuned_to(&[(TAU * hz) as f32]);
            let mut state = NotchBankState::default();
            for k in 0..50 {
                let input = (k * 31 % 17) as f32;
                assert_eq!(bank.step(&tuning, &mut state, input), input, "{hz} Hz");
            }
            assert_eq!(bank.response(&tuning, 100.0), Response::NEUTRAL);
        }
    }

    #[test]
    fn depth_comes_and_goes_without_a_jump() {
        let bank = made::<f64>();
        let depth = |hz: f64| bank.tuned_to(&[TAU * hz]).notches[0].depth;
        let mut last = 0.0;
        for tenth in 0..10_000 {
            let now = depth(f64::from(tenth) * 0.1);
            assert!((now - last).abs() < 0.01, "{tenth}");
            last = now;
        }
        assert_eq!([depth(76.0), depth(400.0), depth(799.0)], [1.0; 3]);
        assert!((depth(67.5) - 0.5).abs() < 1e-6 && (depth(850.0) - 0.5).abs() < 1e-6);
    }

    #[test]
    fn constant_passes_untouched_while_the_notches_move() {
        let bank = made::<f32>();
        let mut tuning = NotchBankTuning::<f32, 4>::default();
        let mut state = NotchBankState::default();
        state.reset_to(0.7);
        for k in 0..2000 {
            bank.follow(&mut tuning, &[400.0 + (k * 97 % 2000) as f32; 4]);
            assert_eq!(bank.step(&tuning, &mut state, 0.7), 0.7, "{k}");
        }
    }

    #[test]
    fn output_stays_bounded_when_every_speed_jumps_at_every_sample() {
        let bank = made::<f32>();
        let mut seed = 11_u32;
        let mut draw = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 8) as f32 / (1 << 24) as f32
        };
        let mut state = NotchBankState::<f32, 4>::default();
        let mut worst = 0.0_f32;
        for _ in 0..100_000 {
            let tuning = bank.tuned_to(&[0.0; 4].map(|_: f32| 6000.0 * draw()));
            worst = worst.max(bank.step(&tuning, &mut state, 2.0 * draw() - 1.0).abs());
        }
        assert!(worst > 0.5 && worst < 10.0, "{worst}");
    }

    #[test]
    fn notch_stays_where_it_is_when_the_speed_is_no_number() {
        let bank = made::<f32>();
        let mut tuning = bank.tuned_to(&[800.0]);
        let before = tuning;
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            bank.follow(&mut tuning, &[bad]);
            assert_eq!(tuning, before, "{bad}");
        }
        bank.follow(&mut tuning, &[-800.0]);
        assert_eq!(tuning, before, "either way round");
        for edge in [0.0, -0.0, 1e-45, f32::MIN_POSITIVE, f32::MAX, f32::MIN] {
            bank.follow(&mut tuning, &[edge]);
            assert_eq!(tuning.notches[0].depth, 0.0, "{edge:e}");
            assert!(tuning.notches[0].filter.gain > 0.0 && tuning.notches[0].filter.scale > 0.0);
        }
        bank.follow(&mut NotchBankTuning::<f32, 0>::default(), &[]);
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config: NotchBankConfig| NotchBank::<f32>::new(&config, PERIOD_S).map(|_| ());
        assert_eq!(made(CONFIG), Ok(()));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            let cause = NotchBank::<f32>::new(&CONFIG, bad).map(|_| ());
            assert_eq!(cause, Err(NotchBankError::Filter(FilterError::Period)), "{bad}");
            let quality = made(NotchBankConfig { quality: bad, ..CONFIG });
            assert_eq!(quality, Err(NotchBankError::Filter(FilterError::Quality)), "{bad}");
            let least = made(NotchBankConfig { least_hz: bad, ..CONFIG });
            assert_eq!(least, Err(NotchBankError::Filter(FilterError::Frequency)), "{bad}");
            let cycles = made(NotchBankConfig { cycles_per_turn: bad, ..CONFIG });
            assert_eq!(cycles, Err(NotchBankError::CyclesPerTurn), "{bad}");
        }
        let high = made(NotchBankConfig { least_hz: 641.0, ..CONFIG });
        assert_eq!(high, Err(NotchBankError::Filter(FilterError::Frequency)));
    }
}
