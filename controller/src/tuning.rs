//! Gains from the craft: a first rule, from rotor lag, delay and authority.
//!
//! The rate loop sees an integrator behind the rotors' lag τ and a dead time. A derivative whose
//! filter is [`LAG_RATIO`] times faster than the rotors takes the place of their lag in the loop; what
//! is left is one small lag τ_Σ = τ/[`LAG_RATIO`] + dead time, and the modulus optimum for an
//! integrator with a small lag is P = 1/(2·τ_Σ): damping 1/√2, phase margin 65°. The integral's corner
//! stands [`INTEGRAL_RATIO`] below the crossover and costs 7° of that.
//!
//! The angle loop above takes its share of the phase too, about A/P at the crossover. A lag that the derivative takes away
//! keeps A well below P; where dead time rules, A comes close to P/[`ANGLE_SHARE_MAX`]. P·τ_Σ and A/P together are
//! therefore held to [`PHASE_BUDGET_RAD`], and P lowered where they would be more.
//!
//! Rotors that carry momentum turn the craft while they spin up, mostly about yaw: their torque leads by a time τ_z. What
//! they lead by is no lag: up to τ/[`LAG_RATIO`] it is taken off τ_Σ. Where τ_z is more than the derivative's filter, the
//! filter is slowed to τ_z, which takes the lead out, and only dead time is left; where it is more than τ there is no lag
//! left and the derivative is zero. Above the rotors' corner the loop then has λ = τ_z/τ times the gain, so that it crosses
//! over between P and λ·P: λ·P takes the place of P in the budget, and the angle loop's share is A/(λ·P) there. (At P it is
//! A/P, but dead time then takes 1/λ only, and the sum is convex in between.)
//!
//! Where next to nothing but dead time is left, P·τ_Σ alone would let P be so high that a little more delay ends it. With a
//! further delay of τ/[`LAG_RATIO`], P·(τ_Σ + τ/[`LAG_RATIO`]) and A/P are held to [`DELAY_BUDGET_RAD`]. Without a lead
//! the first budget is always the tighter.
//!
//! An axis without much torque is not asked for more than it has: P is held down so that a rate error
//! of [`FULL_TORQUE_ERROR_RAD_S`] asks for all of it.
//!
//! Because the derivative acts on the measurement, a rate that nothing announced waits for the rotors:
//! it follows with the lag T = 1/P + τ − τ/[`LAG_RATIO`]. An integrator behind a lag T under the gain
//! A has the damping 1/(2·√(A·T)), so A = 1/([`ANGLE_RATIO`]·T) gives √3/2, the rate loop's own integral
//! left out: with it an unshaped step in angle rises faster and overshoots by a few per cent. That integral also brings
//! the angle loop's crossover nearer to P where there is little lag: A is at most P/[`ANGLE_SHARE_MAX`]. What the pilot
//! asks is shaped and announced, and does not come this way.
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
/// P over the gain of the angle loop above it, at least: keeps the two crossovers a factor of three apart.
pub const ANGLE_SHARE_MAX: f64 = 3.5;
/// Phase that dead time, small lag and angle loop may take at the crossover: of 90°, 45° are the margin and 7° the
/// integral's.
pub const PHASE_BUDGET_RAD: f64 = 0.66;
/// The same with a further delay of a [`LAG_RATIO`]th of the rotors' lag, which is to leave the loop stable: of 90°, 7° are
/// the integral's and 3° kept in reserve.
pub const DELAY_BUDGET_RAD: f64 = 1.4;
/// P·τ_Σ of the modulus optimum.
const MOST_PHASE_RAD: f64 = 0.5;
/// Rounds in which the budget is shared.
const BUDGET_ROUNDS: u32 = 8;
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
        let gain_per_s = rate.map(|axis| angle_gain_per_s(axis.p_per_s, axis.d));
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
        let filter_s = least(if spin_up_s > quick_s { spin_up_s } else { quick_s }, lag_s);
        let late_s = quick_s - least(spin_up_s, quick_s) + LOOP_DELAY_SAMPLES * self.period_s + self.extra_delay_s;
        let rest = Rest {
            late_s,
            quick_s,
            derivative_s: lag_s - filter_s,
            lead: if spin_up_s > lag_s { spin_up_s / lag_s } else { 1.0 },
        };
        let p_per_s = least(rest.fastest_per_s(), authority_rad_s2 / FULL_TORQUE_ERROR_RAD_S);
        RateLoopConfig {
            p_per_s,
            i_per_s2: p_per_s * p_per_s / INTEGRAL_RATIO,
            d: p_per_s * rest.derivative_s,
            d_filter_hz: 1.0 / (core::f64::consts::TAU * if filter_s < lag_s { filter_s } else { quick_s }),
            set_point_weight: 1.0,
            feed_forward: 1.0,
            integral_max_rad_s2: authority_rad_s2,
        }
    }
}

fn least(one: f64, other: f64) -> f64 {
    if one < other { one } else { other }
}

/// D is P times the rotors' lag less that of the filter; 1/P and that are the lag of the rate loop.
fn angle_gain_per_s(p_per_s: f64, d: f64) -> f64 {
    let share = ANGLE_RATIO * (1.0 + d);
    1.0 / ((if share > ANGLE_SHARE_MAX { share } else { ANGLE_SHARE_MAX }) / p_per_s)
}

/// What the derivative and the lead leave: P·λ·e^(−s·τ_Σ)/s above the rotors' corner, P·e^(−s·τ_Σ)/s below.
struct Rest {
    /// τ_Σ: dead time, and what is left of the lag.
    late_s: f64,
    /// Delay that must be borne besides.
    quick_s: f64,
    /// D over P.
    derivative_s: f64,
    /// λ: how much more the spinning up gives at high frequencies; 1 where the filter takes it out.
    lead: f64,
}

impl Rest {
    /// P, as far as phase and delay let it.
    fn fastest_per_s(&self) -> f64 {
        let mut crossover_per_s = MOST_PHASE_RAD / self.late_s;
        // A lower P leaves less to the derivative, and that more to the angle loop: each round changes less than half as much.
        for _ in 0..BUDGET_ROUNDS {
            let angle = angle_gain_per_s(1.0, crossover_per_s / self.lead * self.derivative_s) / self.lead;
            let by_phase = least(MOST_PHASE_RAD, PHASE_BUDGET_RAD - angle) / self.late_s;
            let by_delay = (DELAY_BUDGET_RAD - angle) / (self.late_s + self.quick_s);
            crossover_per_s = least(by_phase, by_delay);
        }
        crossover_per_s / self.lead
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

    /// Without a lag to take away, d is next to nothing and A = P/3.5: 0.66 − 1/3.5 is left of the budget.
    #[test]
    fn dead_time_alone_gets_what_the_angle_loop_leaves_of_the_phase() {
        let Gains { rate, angle, .. } =
            Tuning { rotor_lag_s: 1e-6, extra_delay_s: 0.02, authority_rad_s2: [1e3; 3], ..CRAFT }.gains().unwrap();
        let late = 0.0215 + 0.25e-6;
        assert!((rate[0].p_per_s * late - (0.66 - 1.0 / 3.5)).abs() < 1e-4, "{}", rate[0].p_per_s * late);
        assert!((rate[0].p_per_s / angle.gain_per_s[0] - 3.5).abs() < 1e-9);
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
    }

    /// λ = 2 and no derivative beneath A = P/3.5, which takes half of that at λ·P. Only dead time is left, so the further delay
    /// of a quarter of the lag bounds P; with much of it the half does.
    #[test]
    fn rotors_that_lead_by_more_than_they_lag_lower_the_gain_by_their_own_and_leave_dead_time() {
        let p_per_s = |extra_delay_s: f64| {
            let authority_rad_s2 = [150.0, 140.0, 1e3];
            let leading = Tuning { spin_up_s: [0.0, 0.0, 0.070], authority_rad_s2, extra_delay_s, ..CRAFT };
            leading.gains().unwrap().rate[2].p_per_s
        };
        let by_delay = (1.4 - 0.5 / 3.5) / (1.5e-3 + 0.035 / 4.0) / 2.0;
        assert!((p_per_s(0.0) / by_delay - 1.0).abs() < 1e-12, "{}", p_per_s(0.0));
        let by_phase = 0.5 / 0.0215 / 2.0;
        assert!((p_per_s(0.02) / by_phase - 1.0).abs() < 1e-12, "{}", p_per_s(0.02));
    }

    /// Half over what is left of the lag: a lead takes as much off it, and torque that goes the wrong way first adds as much.
    #[test]
    fn lead_below_the_filter_is_taken_off_the_lag() {
        for lead_s in [-0.001, 0.002] {
            let strong = Tuning { spin_up_s: [0.0, 0.0, lead_s], authority_rad_s2: [150.0, 140.0, 1e3], ..CRAFT };
            let late_s = 0.035 / 4.0 - lead_s + 1.5e-3;
            let p_per_s = strong.gains().unwrap().rate[2].p_per_s;
            assert!((p_per_s * late_s - 0.5).abs() < 1e-12, "{lead_s}: {p_per_s}");
        }
    }

    /// Rising lead: no jump where the rule changes from one case to the next.
    #[test]
    fn gain_has_no_jump_when_the_lead_rises() {
        let p_per_s = |lead_s: f64| {
            let authority_rad_s2 = [150.0, 140.0, 1e3];
            Tuning { spin_up_s: [0.0, 0.0, lead_s], authority_rad_s2, ..CRAFT }.gains().unwrap().rate[2].p_per_s
        };
        for step in 1..1000 {
            let lead_s = 1e-4 * f64::from(step);
            let grown = p_per_s(lead_s) / p_per_s(lead_s - 1e-4);
            assert!((grown - 1.0).abs() < 0.05, "{lead_s} s: {grown}");
        }
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
