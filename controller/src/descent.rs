//! Coming down without a pilot: at a stated speed when the vertical speed is known.
//!
//! A PI loop around the thrust that carries the weight, limited both ways. Without a vertical speed all that can be
//! set is a share of that thrust, and the speed that follows is the one at which drag makes up the rest.
//!
//! * Math: share = 1 + P·e + I, e = −speed − climb, I ← I + K_i·e·T while the share is inside its limits or e leads
//!   back into them; thrust = share·weight. With v̇ = g·(share − 1) the natural frequency is √(g·K_i) and the damping
//!   P·√(g/K_i)/2.
//! * Source: K. J. Åström, T. Hägglund, Advanced PID Control, 2006, ch. 3 (conditional integration; from memory)

use core::fmt;

use evenkeel_mixer::Scalar;

/// A descent, human side; may be wrong until [`Descent::new`] has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct DescentConfig {
    /// Speed downwards.
    pub speed_m_s: f64,
    /// Proportional: share of the weight for each m/s of error.
    pub p_share_s_per_m: f64,
    /// Integral: share of the weight for each metre of error added up.
    pub i_share_per_m: f64,
    /// Least thrust, as a share of the weight.
    pub share_min: f64,
    /// Most thrust, as a share of the weight.
    pub share_max: f64,
}

impl Default for DescentConfig {
    /// A landing that a frame stands; natural frequency 0.7 rad/s, damping 1.0; never so little thrust that torque gets
    /// scarce. Common practice, no source.
    fn default() -> Self {
        DescentConfig { speed_m_s: 1.0, p_share_s_per_m: 0.15, i_share_per_m: 0.05, share_min: 0.5, share_max: 1.3 }
    }
}

/// What is wrong with a [`DescentConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DescentError {
    /// The speed is not above zero.
    Speed,
    /// P is not above zero, or I is negative or not finite.
    Gain,
    /// The limits do not enclose the weight, or the lower one is not above zero.
    Shares,
}

impl fmt::Display for DescentError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            DescentError::Speed => "speed_m_s must be finite and above 0",
            DescentError::Gain => "p_share_s_per_m must be above 0, i_share_per_m at least 0, both finite",
            DescentError::Shares => "share_min must lie between 0 and 1, share_max be above 1 and finite",
        })
    }
}

impl core::error::Error for DescentError {}

/// A validated descent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Descent<S> {
    speed_m_s: S,
    p_share_s_per_m: S,
    i_share_per_step: S,
    share_min: S,
    share_max: S,
    hover_thrust_n: S,
}

/// What a descent remembers.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DescentState<S> {
    integral_share: S,
}

impl<S: Scalar> DescentState<S> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

impl<S: Scalar> Descent<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// * Input: the thrust that carries the weight, and the period, both checked elsewhere
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &DescentConfig, hover_thrust_n: f64, period_s: f64) -> Result<Self, DescentError> {
        let (p, i) = (config.p_share_s_per_m, config.i_share_per_m);
        if !(config.speed_m_s > 0.0 && config.speed_m_s.is_finite()) {
            return Err(DescentError::Speed);
        }
        if !(p > 0.0 && p.is_finite() && i >= 0.0 && i.is_finite()) {
            return Err(DescentError::Gain);
        }
        let (least, most) = (config.share_min, config.share_max);
        if !(least > 0.0 && least < 1.0 && most > 1.0 && most.is_finite()) {
            return Err(DescentError::Shares);
        }
        Ok(Descent {
            speed_m_s: S::from_f64(config.speed_m_s),
            p_share_s_per_m: S::from_f64(p),
            i_share_per_step: S::from_f64(i * period_s),
            share_min: S::from_f64(least),
            share_max: S::from_f64(most),
            hover_thrust_n: S::from_f64(hover_thrust_n),
        })
    }

    /// Thrust of a descent, newtons.
    ///
    /// * Input: vertical speed, up positive; none, or not finite, when it is not known; the thrust to take then
    pub fn step(&self, state: &mut DescentState<S>, climb_m_s: Option<S>, else_thrust_n: S) -> S {
        let Some(climb_m_s) = climb_m_s.filter(|climb| climb.is_finite()) else {
            state.reset();
            return else_thrust_n;
        };
        let error = -self.speed_m_s - climb_m_s;
        let share = S::ONE + self.p_share_s_per_m * error + state.integral_share;
        let further = (share > self.share_max && error > S::ZERO) || (share < self.share_min && error < S::ZERO);
        if !further {
            state.integral_share = state.integral_share + self.i_share_per_step * error;
        }
        self.hover_thrust_n * share.limit(self.share_min, self.share_max)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    const PERIOD_S: f64 = 1.0e-3;
    const GRAVITY: f64 = 9.806_65;
    const WEIGHT_N: f64 = 16.0;
    /// What the supervisor would have.
    const SHARE_N: f64 = 0.9 * WEIGHT_N;

    fn made() -> Descent<f64> {
        Descent::new(&DescentConfig::default(), WEIGHT_N, PERIOD_S).unwrap()
    }

    /// Climb over time of a mass whose thrust is this share of what is asked.
    fn fallen(start_m_s: f64, thrust_share: f64, seconds: f64) -> Vec<f64> {
        let (block, mut state, mut climb) = (made(), DescentState::default(), start_m_s);
        let step = |_| {
            let thrust_n = block.step(&mut state, Some(climb), SHARE_N);
            assert!((0.5 * WEIGHT_N..=1.3 * WEIGHT_N).contains(&thrust_n), "{thrust_n}");
            climb += PERIOD_S * GRAVITY * (thrust_share * thrust_n / WEIGHT_N - 1.0);
            climb
        };
        (0..(seconds / PERIOD_S) as usize).map(step).collect()
    }

    #[test]
    fn comes_down_at_the_stated_speed_from_whatever_it_did_before() {
        for start_m_s in [0.0, 5.0, -8.0] {
            for thrust_share in [1.0, 0.85, 1.2] {
                let climbs = fallen(start_m_s, thrust_share, 20.0);
                let off = climbs.iter().skip(15_000).map(|climb| (climb + 1.0).abs()).fold(0.0, f64::max);
                assert!(off < 0.01, "{start_m_s} m/s, thrust off by {thrust_share}: {off} m/s");
            }
        }
    }

    /// With P = 0.15 and K_i = 0.05: ωn = √(g·K_i) = 0.70 rad/s, ζ = P·√(g/K_i)/2 = 1.05. From rest, v/v_set is the
    /// step response of (2ζωn·s + ωn²)/(s² + 2ζωn·s + ωn²), whose zero alone makes it overshoot: by 13 % at ζ = 1,
    /// e⁻² (computed: 1 − (1 − ωn·t)·e^(−ωn·t) is highest at ωn·t = 2).
    #[test]
    fn overshoots_as_the_linear_loop_does() {
        let climbs = fallen(0.0, 1.0, 20.0);
        let fastest = climbs.iter().copied().fold(0.0, f64::min);
        assert!((-fastest - 1.0 - (-2.0_f64).exp()).abs() < 0.02, "{fastest}");
    }

    #[test]
    fn gathers_nothing_while_it_stands_on_a_limit() {
        // From a fast climb the lower limit holds for seconds; what is gathered there would throw the craft down.
        let climbs = fallen(12.0, 1.0, 20.0);
        let fastest = climbs.iter().copied().fold(0.0, f64::min);
        assert!(fastest > -1.8, "{fastest} m/s");
    }
}
