//! The rate loop of one axis: body rate in, angular acceleration out.
//!
//! PID with the derivative taken from the measurement, not from the error, so that a set-point step
//! does not kick; the derivative has its own low-pass. Known acceleration is fed forward, and what of
//! it should show by now is taken off the derivative, which then fights only what was not wanted. The
//! integrator waits while the rotors cannot give what it asks for.
//!
//! * Math: α = P·(b·ω_set − ω) + I − D·d + α_known; I ← I + K_i·(ω_set − ω)·T,
//!   d ← (T_f·d + Δω − T·ω̇_expected)/(T_f + T); b the set-point weight
//! * Source: K. J. Åström, T. Hägglund, Advanced PID Control, 2006, ch. 3 (from memory)

use core::fmt;

use evenkeel_mixer::Scalar;

/// Gains of one axis, human side; may be wrong until [`RateLoop::new`] has seen them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct RateLoopConfig {
    /// Proportional: rad/s² per rad/s.
    pub p_per_s: f64,
    /// Integral: rad/s² per rad.
    pub i_per_s2: f64,
    /// Derivative: rad/s² per rad/s².
    pub d: f64,
    /// Corner of the derivative's low-pass.
    pub d_filter_hz: f64,
    /// Share of the set-point that the proportional part sees, 0 to 1; the integral part sees all of it. Below one, a
    /// step in the set-point asks for less at once and overshoots less; what disturbs is answered as ever.
    pub set_point_weight: f64,
    /// Share of the known acceleration that is fed forward, 0 to 1.
    pub feed_forward: f64,
    /// Largest angular acceleration the integrator may hold.
    pub integral_max_rad_s2: f64,
}

/// What is wrong with a [`RateLoopConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RateLoopError {
    /// The sample period is not above zero.
    Period,
    /// P, I or D is negative or not finite.
    Gain,
    /// The derivative's corner is not above zero.
    FilterCorner,
    /// The set-point weight is outside 0 to 1.
    SetPointWeight,
    /// The feed-forward share is outside 0 to 1.
    FeedForward,
    /// The integrator's limit is negative or not finite.
    IntegralLimit,
}

impl fmt::Display for RateLoopError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            RateLoopError::Period => "the sample period must be above 0",
            RateLoopError::Gain => "p, i and d must be finite and at least 0",
            RateLoopError::FilterCorner => "the derivative filter's corner must be above 0",
            RateLoopError::SetPointWeight => "the set-point weight must lie between 0 and 1",
            RateLoopError::FeedForward => "the feed-forward share must lie between 0 and 1",
            RateLoopError::IntegralLimit => "the integrator limit must be finite and at least 0",
        })
    }
}

impl core::error::Error for RateLoopError {}

/// A validated rate loop of one axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateLoop<S> {
    p_per_s: S,
    i_per_step: S,
    d: S,
    d_keep: S,
    period_s: S,
    d_gain_per_s: S,
    set_point_weight: S,
    feed_forward: S,
    integral_max_rad_s2: S,
}

/// What one axis is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AxisSetpoint<S> {
    /// Rate, rad/s.
    pub wanted_rad_s: S,
    /// Acceleration known in advance, rad/s².
    pub known_rad_s2: S,
    /// Acceleration that should be seen by now, rad/s².
    pub expected_rad_s2: S,
}

/// What one axis remembers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RateLoopState<S> {
    integral_rad_s2: S,
    derivative_rad_s2: S,
    last_rate_rad_s: S,
    /// Whether there was a last rate.
    begun: bool,
    pending: S,
}

impl<S: Scalar> RateLoopState<S> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Forgets how the craft turned, and keeps what the integrator has learnt: for after a gap.
    pub fn forget_motion(&mut self) {
        *self = RateLoopState { integral_rad_s2: self.integral_rad_s2, ..Self::default() };
    }

    /// Empties the integrator and takes nothing of this step into it.
    pub fn empty(&mut self) {
        self.integral_rad_s2 = S::ZERO;
        self.pending = S::ZERO;
    }

    /// Whether it knows how fast the craft turned at the step before.
    pub(crate) fn has_begun(&self) -> bool {
        self.begun
    }

    /// Takes this as the rate before the first step: a derivative that has no past gives no kick.
    pub(crate) fn begin(&mut self, rate_rad_s: S) {
        (self.last_rate_rad_s, self.begun) = (rate_rad_s, true);
    }

    /// What the integrator holds.
    pub fn integral_rad_s2(&self) -> S {
        self.integral_rad_s2
    }
}

impl<S: Scalar> RateLoop<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &RateLoopConfig, period_s: f64) -> Result<Self, RateLoopError> {
        let whole = |value: f64| value >= 0.0 && value.is_finite();
        if !(period_s > 0.0 && period_s.is_finite()) {
            return Err(RateLoopError::Period);
        }
        if !(whole(config.p_per_s) && whole(config.i_per_s2) && whole(config.d)) {
            return Err(RateLoopError::Gain);
        }
        if !(config.d_filter_hz > 0.0) {
            return Err(RateLoopError::FilterCorner);
        }
        if !(config.set_point_weight >= 0.0 && config.set_point_weight <= 1.0) {
            return Err(RateLoopError::SetPointWeight);
        }
        if !(config.feed_forward >= 0.0 && config.feed_forward <= 1.0) {
            return Err(RateLoopError::FeedForward);
        }
        if !whole(config.integral_max_rad_s2) {
            return Err(RateLoopError::IntegralLimit);
        }
        let lag_s = 1.0 / (core::f64::consts::TAU * config.d_filter_hz);
        Ok(RateLoop {
            p_per_s: S::from_f64(config.p_per_s),
            i_per_step: S::from_f64(config.i_per_s2 * period_s),
            d: S::from_f64(config.d),
            d_keep: S::from_f64(lag_s / (lag_s + period_s)),
            period_s: S::from_f64(period_s),
            d_gain_per_s: S::from_f64(1.0 / (lag_s + period_s)),
            set_point_weight: S::from_f64(config.set_point_weight),
            feed_forward: S::from_f64(config.feed_forward),
            integral_max_rad_s2: S::from_f64(config.integral_max_rad_s2),
        })
    }

    /// Angular acceleration to ask for. Follow with [`RateLoop::integrate`] once the rotors have
    /// answered.
    ///
    /// * Input: all finite
    /// * Output: rad/s²
    pub fn step(&self, state: &mut RateLoopState<S>, setpoint: AxisSetpoint<S>, rate_rad_s: S) -> S {
        if !state.has_begun() {
            state.begin(rate_rad_s);
        }
        self.go_on(state, setpoint, rate_rad_s)
    }

    /// The same once the axis [has begun](RateLoopState::has_begun).
    #[inline(always)]
    pub(crate) fn go_on(&self, state: &mut RateLoopState<S>, setpoint: AxisSetpoint<S>, rate_rad_s: S) -> S {
        let error = setpoint.wanted_rad_s - rate_rad_s;
        let change = rate_rad_s - state.last_rate_rad_s;
        let unwanted = change - self.period_s * setpoint.expected_rad_s2;
        state.last_rate_rad_s = rate_rad_s;
        state.derivative_rad_s2 = self.d_keep * state.derivative_rad_s2 + self.d_gain_per_s * unwanted;
        state.pending = self.i_per_step * error;
        let weighted = self.set_point_weight * setpoint.wanted_rad_s - rate_rad_s;
        self.p_per_s * weighted + state.integral_rad_s2 - self.d * state.derivative_rad_s2
            + self.feed_forward * setpoint.known_rad_s2
    }

    /// Takes up the step's error, unless that would ask the rotors for more of what they could not
    /// give: `unmet` is demand less achieved on this axis, any unit, zero when the demand was met.
    pub fn integrate(&self, state: &mut RateLoopState<S>, unmet: S) {
        let further = (unmet > S::ZERO && state.pending > S::ZERO) || (unmet < S::ZERO && state.pending < S::ZERO);
        if !further {
            state.integral_rad_s2 = (state.integral_rad_s2 + state.pending).limit_size(self.integral_max_rad_s2);
        }
        state.pending = S::ZERO;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CONFIG: RateLoopConfig = RateLoopConfig {
        p_per_s: 20.0,
        i_per_s2: 80.0,
        d: 0.5,
        d_filter_hz: 30.0,
        set_point_weight: 1.0,
        feed_forward: 1.0,
        integral_max_rad_s2: 10.0,
    };

    fn wanted(wanted_rad_s: f64) -> AxisSetpoint<f64> {
        AxisSetpoint { wanted_rad_s, ..AxisSetpoint::default() }
    }

    fn made() -> RateLoop<f64> {
        RateLoop::new(&CONFIG, 1.0e-3).unwrap()
    }

    #[test]
    fn first_step_is_proportional_to_the_error_alone() {
        let answer = made().step(&mut RateLoopState::default(), wanted(0.5), 0.25);
        assert!((answer - 20.0 * 0.25).abs() < 1e-12, "no kick from a derivative that has no past: {answer}");
    }

    #[test]
    fn set_point_step_does_not_reach_the_derivative() {
        let (block, mut state) = (made(), RateLoopState::default());
        block.step(&mut state, wanted(0.0), 0.1);
        let answer = block.step(&mut state, wanted(5.0), 0.1);
        assert!((answer - 20.0 * 4.9).abs() < 1e-12, "{answer}");
    }

    #[test]
    fn derivative_of_a_ramp_is_its_slope_behind_a_first_order_lag() {
        // A ramp of 3 rad/s² through a first-order low-pass: 3·(1 − keep^k), backward Euler exactly.
        let block = RateLoop::<f64>::new(&RateLoopConfig { p_per_s: 0.0, i_per_s2: 0.0, ..CONFIG }, 1.0e-3).unwrap();
        let mut state = RateLoopState::default();
        let lag = 1.0 / (core::f64::consts::TAU * 30.0);
        let keep: f64 = lag / (lag + 1.0e-3);
        for k in 0..200 {
            let answer = block.step(&mut state, wanted(0.0), 3.0e-3 * f64::from(k));
            let expected = -0.5 * 3.0 * (1.0 - keep.powi(k));
            assert!((answer - expected).abs() < 1e-9, "{k}: {answer} {expected}");
        }
    }

    #[test]
    fn integrator_collects_error_times_time_up_to_its_limit() {
        let (block, mut state) = (made(), RateLoopState::default());
        for _ in 0..100 {
            block.step(&mut state, wanted(1.0), 0.0);
            block.integrate(&mut state, 0.0);
        }
        assert!((state.integral_rad_s2() - 80.0 * 0.1).abs() < 1e-9);
        for _ in 0..100 {
            block.step(&mut state, wanted(1.0), 0.0);
            block.integrate(&mut state, 0.0);
        }
        assert_eq!(state.integral_rad_s2(), 10.0);
    }

    #[test]
    fn integrator_waits_only_while_it_would_ask_for_more_of_what_is_missing() {
        let (block, mut state) = (made(), RateLoopState::default());
        let mut after = |rate, unmet| {
            block.step(&mut state, wanted(rate), 0.0);
            block.integrate(&mut state, unmet);
            state.integral_rad_s2()
        };
        assert_eq!(after(1.0, 0.2), 0.0, "error and shortfall point the same way: held");
        assert_eq!(after(-1.0, -0.2), 0.0);
        assert!(after(1.0, -0.2) > 0.0, "the error unwinds the shortfall: free");
        assert!(after(-1.0, 0.2).abs() < 1e-12);
    }

    /// An integrator under this loop, the rate set stepping to one, then a push: rates at each step.
    fn under_weight(set_point_weight: f64) -> std::vec::Vec<f64> {
        let config = RateLoopConfig { set_point_weight, d: 0.0, integral_max_rad_s2: 1e3, ..CONFIG };
        let (block, mut state, mut rate) =
            (RateLoop::<f64>::new(&config, 1.0e-3).unwrap(), RateLoopState::default(), 0.0);
        let step = |k: i32| {
            let (set, push) = if k < 3000 { (1.0, 0.0) } else { (1.0, -5.0) };
            let answer = block.step(&mut state, wanted(set), rate);
            block.integrate(&mut state, 0.0);
            rate += 1.0e-3 * (answer + push);
            rate
        };
        (0..6000).map(step).collect()
    }

    /// With ωn² = K_i and 2ζωn = P the set-point comes through (b·P·s + K_i)/(s² + P·s + K_i): at b = 0 there is no zero,
    /// and with ζ = P/(2√K_i) above one no overshoot. The push comes through s/(s² + P·s + K_i) whatever b is.
    #[test]
    fn set_point_weight_takes_the_overshoot_and_leaves_the_answer_to_a_push() {
        let (whole, none) = (under_weight(1.0), under_weight(0.0));
        let highest = |rates: &[f64]| rates[..3000].iter().copied().fold(0.0, f64::max);
        assert!(highest(&whole) > 1.1 && highest(&none) < 1.0 + 1e-6, "{} {}", highest(&whole), highest(&none));
        assert!((whole[2999] - 1.0).abs() < 1e-3 && (none[2999] - 1.0).abs() < 1e-3, "both get there");
        let pushed = |rates: &[f64]| rates[3000..].iter().map(|rate| rate - rates[2999]).collect::<std::vec::Vec<_>>();
        let apart = pushed(&whole).iter().zip(pushed(&none)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
        assert!(apart < 1e-3, "{apart}");
        assert!(pushed(&whole).iter().any(|rate| *rate < -0.1), "and there was a push");
        let mut state = RateLoopState::default();
        let half = RateLoop::<f64>::new(&RateLoopConfig { set_point_weight: 0.5, ..CONFIG }, 1e-3).unwrap();
        assert!((half.step(&mut state, wanted(2.0), 0.25) - 20.0 * (0.5 * 2.0 - 0.25)).abs() < 1e-12);
    }

    #[test]
    fn set_point_weight_scales_what_is_wanted_and_not_what_is_measured() {
        for weight in [0.0, 0.3, 1.0] {
            let config = RateLoopConfig { set_point_weight: weight, ..CONFIG };
            let block = RateLoop::<f64>::new(&config, 1.0e-3).unwrap();
            let mut state = RateLoopState::default();
            let answer = block.step(&mut state, wanted(0.5), 0.25);
            assert!((answer - 20.0 * (weight * 0.5 - 0.25)).abs() < 1e-12, "{weight}: {answer}");
            // The integral part sees the whole error: the weight changes no steady state.
            block.integrate(&mut state, 0.0);
            assert!((state.integral_rad_s2() - 80.0 * 0.25 * 1.0e-3).abs() < 1e-12, "{weight}");
        }
    }

    #[test]
    fn known_acceleration_is_passed_on() {
        let setpoint = AxisSetpoint { known_rad_s2: 7.0, ..wanted(0.0) };
        assert_eq!(made().step(&mut RateLoopState::default(), setpoint, 0.0), 7.0);
    }

    #[test]
    fn derivative_is_silent_while_the_craft_does_what_was_expected() {
        let block = RateLoop::<f64>::new(&RateLoopConfig { p_per_s: 0.0, i_per_s2: 0.0, ..CONFIG }, 1.0e-3).unwrap();
        let mut state = RateLoopState::default();
        block.step(&mut state, wanted(0.0), 0.0);
        for k in 1..200 {
            let setpoint = AxisSetpoint { expected_rad_s2: 3.0, ..wanted(0.0) };
            let answer = block.step(&mut state, setpoint, 3.0e-3 * f64::from(k));
            assert!(answer.abs() < 1e-12, "{k}: {answer}");
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config: RateLoopConfig, period| RateLoop::<f32>::new(&config, period).map(|_| ());
        assert_eq!(made(CONFIG, 1e-3), Ok(()));
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(CONFIG, bad), Err(RateLoopError::Period), "{bad}");
        }
        for bad in [-1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(made(RateLoopConfig { p_per_s: bad, ..CONFIG }, 1e-3), Err(RateLoopError::Gain), "{bad}");
            assert_eq!(made(RateLoopConfig { i_per_s2: bad, ..CONFIG }, 1e-3), Err(RateLoopError::Gain), "{bad}");
            assert_eq!(made(RateLoopConfig { d: bad, ..CONFIG }, 1e-3), Err(RateLoopError::Gain), "{bad}");
            let integral = RateLoopConfig { integral_max_rad_s2: bad, ..CONFIG };
            assert_eq!(made(integral, 1e-3), Err(RateLoopError::IntegralLimit), "{bad}");
        }
        for bad in [0.0, -5.0, f64::NAN] {
            let filter = RateLoopConfig { d_filter_hz: bad, ..CONFIG };
            assert_eq!(made(filter, 1e-3), Err(RateLoopError::FilterCorner), "{bad}");
        }
        for bad in [-0.1, 1.1, f64::NAN] {
            let forward = RateLoopConfig { feed_forward: bad, ..CONFIG };
            assert_eq!(made(forward, 1e-3), Err(RateLoopError::FeedForward), "{bad}");
            let weight = RateLoopConfig { set_point_weight: bad, ..CONFIG };
            assert_eq!(made(weight, 1e-3), Err(RateLoopError::SetPointWeight), "{bad}");
        }
    }
}
