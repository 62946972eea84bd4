//! Gains from the craft: a first rule, from rotor lag, delay and authority.
//!
//! The rate loop sees an integrator behind the rotors' lag τ and a dead time. A derivative whose
//! filter is [`LAG_RATIO`] times faster than the rotors takes the place of their lag in the loop; what
//! is left is one small lag τ_Σ = τ/[`LAG_RATIO`] + dead time, and the modulus optimum for an
//! integrator with a small lag is P = 1/(2·τ_Σ): damping 1/√2, phase margin 65°. The integral's corner
//! stands [`INTEGRAL_RATIO`] below the crossover and costs 7° of that.
//!
//! Rotors that carry momentum turn the craft while they spin up, mostly about yaw: their torque leads by a time τ_z. Where
//! τ_z is more than the derivative's filter, the filter is slowed to τ_z, which then takes the lead out; where it is more
//! than τ there is no lag left, the derivative is zero, and P is lowered by τ/τ_z.
//!
//! An axis without much torque is not asked for more than it has: P is held down so that a rate error
//! of [`FULL_TORQUE_ERROR_RAD_S`] asks for all of it.
//!
//! Because the derivative acts on the measurement, a rate that nothing announced waits for the rotors:
//! it follows with the lag T = 1/P + τ − τ/[`LAG_RATIO`]. An integrator behind a lag T under the gain
//! A has the damping 1/(2·√(A·T)), so A = 1/([`ANGLE_RATIO`]·T) gives √3/2, the rate loop's own integral
//! left out: with it an unshaped step in angle rises faster and overshoots by a few per cent. What the
//! pilot asks is shaped and announced, and does not come this way.
//!
//! * Source: modulus optimum: C. Kessler, Regelungstechnik 3, 1955; K. J. Åström, T. Hägglund,
//!   Advanced PID Control, 2006, ch. 7 (both from memory). The ratios are choices, stated here.

use core::fmt;

use crate::angle_loop::AngleLoopConfig;
use crate::rate_loop::RateLoopConfig;
use crate::reference::ReferenceConfig;
use crate::shaping::ShaperConfig;

/// How much faster than the rotors the derivative's filter is.
pub const LAG_RATIO: f64 = 4.0;
/// Crossover over integral corner.
pub const INTEGRAL_RATIO: f64 = 8.0;
/// Time constant of the angle loop over the lag of the rate loop beneath it.
pub const ANGLE_RATIO: f64 = 3.0;
/// Rate error that asks for all the torque an axis has.
pub const FULL_TORQUE_ERROR_RAD_S: f64 = 0.5;
/// Share of the authority the angle loop counts on to stop a turn.
const BRAKING_SHARE: f64 = 0.5;
/// No turn faster than this, whatever the authority.
const RATE_MAX_RAD_S: f64 = core::f64::consts::TAU;
/// Largest tilt asked for unless the owner says otherwise.
const TILT_MAX_RAD: f64 = 35.0 * core::f64::consts::PI / 180.0;
/// Sample periods from measurement to rotor: half for the hold, one for the computation.
const LOOP_DELAY_SAMPLES: f64 = 1.5;

/// Share of the rate limit that a shaped tilt may use; the rest corrects.
const SLEW_SHARE: f64 = 0.8;
/// Share of the authority that a shaped motion may use; the rest corrects.
const ACCELERATION_SHARE: f64 = 0.5;
/// A shaped tilt closes in this much faster than the angle loop: feed-forward carries it.
const SHAPING_RATIO: f64 = 2.0;
/// A shaper is no faster than this share of its sample rate.
const SHAPING_SAMPLES: f64 = 0.25;

/// What the rule needs to know of a craft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuning {
    /// Period of the rate loop.
    pub period_s: f64,
    /// The angle loop and the set-point shaping run once in this many periods.
    pub angle_divider: u32,
    /// First-order lag of the slowest rotor.
    pub rotor_lag_s: f64,
    /// Dead time beyond that of the loop itself.
    pub extra_delay_s: f64,
    /// Largest angular acceleration from hover, the smaller of both ways: roll, pitch, yaw.
    pub authority_rad_s2: [f64; 3],
    /// Time by which spinning the rotors up leads their torque: roll, pitch, yaw; 0 for rotors without inertia.
    pub spin_up_s: [f64; 3],
}

/// What the rule gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gains {
    /// Rate loops: roll, pitch, yaw.
    pub rate: [RateLoopConfig; 3],
    /// The angle loop above them.
    pub angle: AngleLoopConfig,
    /// The shaping above that.
    pub reference: ReferenceConfig,
}

/// Why no gains can be derived.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TuningError {
    /// Period or rotor lag is not above zero, or the extra delay is negative.
    Time,
    /// This axis (roll 0, pitch 1, yaw 2) has no authority.
    NoAuthority {
        /// Which axis.
        axis: usize,
    },
}

impl fmt::Display for TuningError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            TuningError::Time => f.write_str("period and rotor lag must be above 0, the extra delay at least 0"),
            TuningError::NoAuthority { axis } => {
                let axis = ["roll", "pitch", "yaw"].get(*axis).unwrap_or(&"some axis");
                write!(f, "from hover the rotors have no {axis} torque to spare")
            }
        }
    }
}

impl core::error::Error for TuningError {}

impl Tuning {
    /// Rate loops, angle loop and shaping.
    ///
    /// # Errors
    /// When a time makes no sense or an axis has no authority.
    pub fn gains(&self) -> Result<Gains, TuningError> {
        let times = [self.period_s, self.rotor_lag_s, self.rotor_lag_s + self.extra_delay_s];
        if !(self.angle_divider > 0
            && times.iter().all(|time| *time > 0.0 && time.is_finite())
            && self.extra_delay_s >= 0.0)
        {
            return Err(TuningError::Time);
        }
        for (axis, authority) in self.authority_rad_s2.iter().enumerate() {
            if !(*authority > 0.0 && authority.is_finite()) {
                return Err(TuningError::NoAuthority { axis });
            }
        }
        if !self.spin_up_s.iter().all(|lead| lead.is_finite()) {
            return Err(TuningError::Time);
        }
        let [roll, pitch, yaw] = self.authority_rad_s2;
        let [roll_lead_s, pitch_lead_s, yaw_lead_s] = self.spin_up_s;
        let rate =
            [self.rate_loop(roll, roll_lead_s), self.rate_loop(pitch, pitch_lead_s), self.rate_loop(yaw, yaw_lead_s)];
        // D over P is the rotors' lag less that of the filter.
        let gain_per_s = rate.map(|axis| 1.0 / (ANGLE_RATIO * (1.0 + axis.d) / axis.p_per_s));
        let mut rate_max_rad_s = [0.0; 3];
        for ((limit, gain), authority) in rate_max_rad_s.iter_mut().zip(gain_per_s).zip(self.authority_rad_s2) {
            let stops = BRAKING_SHARE * authority / gain;
            *limit = if stops < RATE_MAX_RAD_S { stops } else { RATE_MAX_RAD_S };
        }
        let angle = AngleLoopConfig { gain_per_s, rate_max_rad_s };
        Ok(Gains { rate, angle, reference: self.reference(&angle) })
    }

    fn reference(&self, angle: &AngleLoopConfig) -> ReferenceConfig {
        let fastest = SHAPING_SAMPLES / (self.period_s * f64::from(self.angle_divider));
        let within = |gain: f64| if gain < fastest { gain } else { fastest };
        let ([roll, pitch, yaw], [roll_gain, pitch_gain, _]) = (self.authority_rad_s2, angle.gain_per_s);
        let [roll_max, pitch_max, _] = angle.rate_max_rad_s;
        let tilt = |authority: f64, slew: f64, gain: f64| ShaperConfig {
            slew_max: SLEW_SHARE * slew,
            acceleration_max: ACCELERATION_SHARE * authority,
            gain_per_s: within(SHAPING_RATIO * gain),
        };
        let rate = |authority: f64| ShaperConfig {
            slew_max: ACCELERATION_SHARE * authority,
            acceleration_max: ACCELERATION_SHARE * authority / self.rotor_lag_s,
            gain_per_s: within(1.0 / self.rotor_lag_s),
        };
        ReferenceConfig {
            tilt: [tilt(roll, roll_max, roll_gain), tilt(pitch, pitch_max, pitch_gain)],
            rate: [rate(roll), rate(pitch), rate(yaw)],
            rotor_lag_s: self.rotor_lag_s,
            tilt_max_rad: TILT_MAX_RAD,
            rate_max_rad_s: angle.rate_max_rad_s,
        }
    }

    fn rate_loop(&self, authority_rad_s2: f64, spin_up_s: f64) -> RateLoopConfig {
        let lag_s = self.rotor_lag_s;
        let quick_s = lag_s / LAG_RATIO;
        let lead_s = if spin_up_s > quick_s { spin_up_s } else { quick_s };
        let filter_s = if lead_s < lag_s { lead_s } else { lag_s };
        let small_lag_s = quick_s + LOOP_DELAY_SAMPLES * self.period_s + self.extra_delay_s;
        let fastest = filter_s / lead_s / (2.0 * small_lag_s);
        let strongest = authority_rad_s2 / FULL_TORQUE_ERROR_RAD_S;
        let p_per_s = if fastest < strongest { fastest } else { strongest };
        RateLoopConfig {
            p_per_s,
            i_per_s2: p_per_s * p_per_s / INTEGRAL_RATIO,
            d: p_per_s * (self.rotor_lag_s - filter_s),
            d_filter_hz: 1.0 / (core::f64::consts::TAU * if filter_s < lag_s { filter_s } else { quick_s }),
            set_point_weight: 1.0,
            feed_forward: 1.0,
            integral_max_rad_s2: authority_rad_s2,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CRAFT: Tuning = Tuning {
        period_s: 1e-3,
        angle_divider: 4,
        rotor_lag_s: 0.035,
        extra_delay_s: 0.0,
        authority_rad_s2: [150.0, 140.0, 8.0],
        spin_up_s: [0.0; 3],
    };

    #[test]
    fn strong_axis_gets_the_modulus_optimum() {
        let Gains { rate, angle, .. } = CRAFT.gains().unwrap();
        let small_lag = 0.035 / 4.0 + 1.5e-3;
        assert!((rate[0].p_per_s - 0.5 / small_lag).abs() < 1e-9);
        let rate_lag = 2.0 * small_lag + 0.035 * 0.75;
        assert!((angle.gain_per_s[0] - 1.0 / (3.0 * rate_lag)).abs() < 1e-9);
    }

    #[test]
    fn weak_axis_is_held_down_by_its_authority() {
        let rate = CRAFT.gains().unwrap().rate;
        assert!((rate[2].p_per_s - 16.0).abs() < 1e-12);
    }

    #[test]
    fn more_delay_gives_less_gain() {
        let slow = Tuning { extra_delay_s: 0.01, ..CRAFT }.gains().unwrap().rate;
        assert!(slow[0].p_per_s < CRAFT.gains().unwrap().rate[0].p_per_s);
    }

    #[test]
    fn rotors_that_lead_need_less_derivative_and_no_more_than_none() {
        let yaw = |lead_s: f64| {
            let strong = [150.0, 140.0, 1e3];
            Tuning { spin_up_s: [0.0, 0.0, lead_s], authority_rad_s2: strong, ..CRAFT }.gains().unwrap().rate[2]
        };
        let lag_left = |lead_s: f64| yaw(lead_s).d / yaw(lead_s).p_per_s;
        assert!((lag_left(0.0) - 0.75 * 0.035).abs() < 1e-12);
        assert!((lag_left(0.020) - 0.015).abs() < 1e-12);
        assert!(lag_left(0.070).abs() < 1e-12);
        assert!((yaw(0.070).p_per_s / yaw(0.0).p_per_s - 0.5).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_it_cannot_tune() {
        let gains = |tuning: Tuning| tuning.gains().map(|_| ());
        assert_eq!(gains(Tuning { rotor_lag_s: 0.0, ..CRAFT }), Err(TuningError::Time));
        assert_eq!(gains(Tuning { period_s: f64::NAN, ..CRAFT }), Err(TuningError::Time));
        assert_eq!(gains(Tuning { extra_delay_s: -0.1, ..CRAFT }), Err(TuningError::Time));
        let weak = Tuning { authority_rad_s2: [1.0, 1.0, 0.0], ..CRAFT };
        assert_eq!(gains(weak), Err(TuningError::NoAuthority { axis: 2 }));
    }
}
