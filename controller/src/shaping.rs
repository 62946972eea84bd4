//! Set-point shaping: what the pilot asks for, turned into what the rotors can follow.
//!
//! A step of a stick becomes a motion with limited rate and acceleration, together with the rate and
//! acceleration of that motion, which the loops feed forward. The craft then follows crisply without
//! the loops being asked for jumps.
//!
//! * Math: towards the target at v = k·e near it, on the braking parabola v² = 2·a·(|e| − a/2k²)
//!   farther off (the two meet with equal slope at |e| = a/k²), limited to v_max; v itself changes by
//!   at most a·T a step
//! * Source: kinematics of constant deceleration; the choice of law is ours

use core::fmt;

use evenkeel_mixer::Scalar;

/// How far from its target a shaped value has settled after a few seconds, as a share of the step.
pub const SETTLED_TOL: f64 = 1.0e-3;

/// Limits of one axis, human side; may be wrong until [`Shaper::new`] has seen them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ShaperConfig {
    /// Largest rate of change: rad/s for an angle, rad/s² for a rate.
    pub slew_max: f64,
    /// Largest change of that: rad/s² for an angle, rad/s³ for a rate.
    pub acceleration_max: f64,
    /// Approach near the target, 1/s.
    pub gain_per_s: f64,
}

/// What is wrong with a [`ShaperConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ShaperError {
    /// The sample period is not above zero.
    Period,
    /// The slew limit is not above zero.
    SlewMax,
    /// The acceleration limit is not above zero.
    AccelerationMax,
    /// The gain is not above zero, or too large for the sample period: gain·period must be below 1/2.
    Gain,
}

impl fmt::Display for ShaperError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            ShaperError::Period => "the sample period must be above 0",
            ShaperError::SlewMax => "slew_max must be finite and above 0",
            ShaperError::AccelerationMax => "acceleration_max must be finite and above 0",
            ShaperError::Gain => "gain_per_s must be above 0 and below half the sample rate",
        })
    }
}

impl core::error::Error for ShaperError {}

/// A validated shaper of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shaper<S> {
    slew_max: S,
    acceleration_max: S,
    change_max: S,
    gain_per_s: S,
    /// |e| at which the straight line and the parabola meet: a/k².
    meeting: S,
    period_s: S,
    inverse_period: S,
}

/// Where the shaped value is, and how it moves.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shaped<S> {
    /// The shaped set-point.
    pub value: S,
    /// Its rate of change.
    pub rate: S,
    /// The rate's own rate of change, over the last step.
    pub acceleration: S,
}

impl<S: Scalar> Shaped<S> {
    /// At rest at a value: where shaping starts without a jump.
    pub fn at(value: S) -> Self {
        Shaped { value, rate: S::ZERO, acceleration: S::ZERO }
    }
}

impl<S: Scalar> Shaper<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &ShaperConfig, period_s: f64) -> Result<Self, ShaperError> {
        let above = |value: f64| value > 0.0 && value.is_finite();
        if !above(period_s) {
            return Err(ShaperError::Period);
        }
        if !above(config.slew_max) {
            return Err(ShaperError::SlewMax);
        }
        if !above(config.acceleration_max) {
            return Err(ShaperError::AccelerationMax);
        }
        if !(config.gain_per_s > 0.0 && config.gain_per_s * period_s < 0.5) {
            return Err(ShaperError::Gain);
        }
        let a = config.acceleration_max;
        Ok(Shaper {
            slew_max: S::from_f64(config.slew_max),
            acceleration_max: S::from_f64(a),
            change_max: S::from_f64(a * period_s),
            gain_per_s: S::from_f64(config.gain_per_s),
            meeting: S::from_f64(a / (config.gain_per_s * config.gain_per_s)),
            period_s: S::from_f64(period_s),
            inverse_period: S::from_f64(1.0 / period_s),
        })
    }

    /// One step towards `target`.
    ///
    /// * Input: any value; one that is not finite leaves the state as it is
    /// * Output: the new state: rate within the slew limit, acceleration within its own
    pub fn step(&self, state: &mut Shaped<S>, target: S) -> Shaped<S> {
        if target.is_finite() {
            self.advance(state, target);
        }
        *state
    }

    /// One step towards a target that is finite.
    #[inline]
    pub(crate) fn advance(&self, state: &mut Shaped<S>, target: S) {
        let wanted = self.approach(target - state.value).limit_size(self.slew_max);
        let change = (wanted - state.rate).limit_size(self.change_max);
        let rate = state.rate + change;
        *state = Shaped { value: state.value + self.period_s * rate, rate, acceleration: change * self.inverse_period };
    }

    /// Speed at which to approach from a distance so that the acceleration limit suffices to stop.
    fn approach(&self, error: S) -> S {
        let distance = error.abs();
        if distance <= self.meeting {
            return self.gain_per_s * error;
        }
        let speed = (S::TWO * self.acceleration_max * (distance - S::HALF * self.meeting)).sqrt();
        if error < S::ZERO { -speed } else { speed }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONFIG: ShaperConfig = ShaperConfig { slew_max: 3.0, acceleration_max: 40.0, gain_per_s: 10.0 };
    const PERIOD_S: f64 = 1.0e-3;

    fn made() -> Shaper<f64> {
        Shaper::new(&CONFIG, PERIOD_S).unwrap()
    }

    #[test]
    fn reaches_the_target_without_passing_it() {
        for target in [0.01, 0.3, 2.0, -1.0] {
            let (shaper, mut state) = (made(), Shaped::default());
            let mut farthest = 0.0_f64;
            for _ in 0..4000 {
                let shaped = shaper.step(&mut state, target);
                farthest = farthest.max(shaped.value * f64::signum(target));
            }
            assert!((state.value - target).abs() < SETTLED_TOL * target.abs(), "{target}: {state:?}");
            // One step of the limit is what sampling can add.
            assert!(farthest <= target.abs() + 40.0 * PERIOD_S * PERIOD_S, "{target}: {farthest}");
        }
    }

    #[test]
    fn keeps_both_limits_whatever_the_target_does() {
        let (shaper, mut state) = (made(), Shaped::default());
        let mut before = state;
        for k in 0..5000 {
            let target = if (k / 37) % 2 == 0 { 2.5 } else { -2.5 } * f64::from(k % 11);
            let shaped = shaper.step(&mut state, target);
            assert!(shaped.rate.abs() <= 3.0 + 1e-12 && shaped.acceleration.abs() <= 40.0 + 1e-9, "{shaped:?}");
            assert!((shaped.value - before.value - PERIOD_S * shaped.rate).abs() < 1e-15);
            assert!((shaped.rate - before.rate - PERIOD_S * shaped.acceleration).abs() < 1e-12);
            before = shaped;
        }
    }

    #[test]
    fn long_step_takes_the_time_of_a_trapezoid() {
        // Constant acceleration to the slew limit, then steady, then braking: distance/v + v/a, plus the
        // exponential tail of the last a/k², which is cut at one per cent.
        let (shaper, mut state) = (made(), Shaped::default());
        let target = 2.0;
        let steps = (0..).take_while(|_| (shaper.step(&mut state, target).value - target).abs() > 0.02).count();
        let shortest = target / 3.0 + 3.0 / 40.0;
        let took = steps as f64 * PERIOD_S;
        assert!(took > 0.9 * shortest && took < shortest + 3.0 / 10.0, "{took} against {shortest}");
    }

    #[test]
    fn bad_target_changes_nothing() {
        let (shaper, mut state) = (made(), Shaped { value: 0.5, rate: 0.2, acceleration: 0.0 });
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(shaper.step(&mut state, bad), Shaped { value: 0.5, rate: 0.2, acceleration: 0.0 });
        }
        for far in [f64::MAX, f64::MIN] {
            let shaped = shaper.step(&mut state, far);
            assert!(shaped.value.is_finite() && shaped.rate.abs() <= 3.0, "{shaped:?}");
        }
    }

    #[test]
    fn is_odd() {
        let (shaper, mut up, mut down) = (made(), Shaped::default(), Shaped::default());
        for k in 0..500 {
            let target = f64::from(k % 7) - 2.0;
            let (a, b) = (shaper.step(&mut up, target), shaper.step(&mut down, -target));
            assert_eq!((a.value, a.rate), (-b.value, -b.rate));
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config: ShaperConfig, period| Shaper::<f32>::new(&config, period).map(|_| ());
        assert_eq!(made(CONFIG, 1e-3), Ok(()));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(CONFIG, bad), Err(ShaperError::Period), "{bad}");
            assert_eq!(made(ShaperConfig { slew_max: bad, ..CONFIG }, 1e-3), Err(ShaperError::SlewMax), "{bad}");
            let a = ShaperConfig { acceleration_max: bad, ..CONFIG };
            assert_eq!(made(a, 1e-3), Err(ShaperError::AccelerationMax), "{bad}");
            assert_eq!(made(ShaperConfig { gain_per_s: bad, ..CONFIG }, 1e-3), Err(ShaperError::Gain), "{bad}");
        }
        assert_eq!(made(ShaperConfig { gain_per_s: 500.0, ..CONFIG }, 1e-3), Err(ShaperError::Gain));
    }
}
