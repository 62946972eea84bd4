//! The limits of the supervisor, human side, and their checks.

use core::fmt;

use crate::supervisor::sample_clock::{SampleClockConfig, SampleClockError};

/// Limits; may be wrong until [`Supervisor::new`](crate::Supervisor::new) has seen them.
///
/// Times are above zero and at most 1000 s. Thrusts are shares of the thrust that carries the weight.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct SupervisorConfig {
    /// When samples are expected.
    pub samples: SampleClockConfig,
    /// Thrust that carries the weight.
    pub hover_thrust_n: f64,
    /// A thrust demand up to this share is low: needed to arm, and to count as landed.
    pub thrust_low_share: f64,
    /// Tilt up to which arming is allowed.
    pub arm_tilt_max_rad: f64,
    /// Turning slower than this is standing still.
    pub arm_rate_max_rad_s: f64,
    /// How long the craft has stood still before it is armed.
    pub arm_still_s: f64,
    /// Charge to start with, 0 to 1.
    pub arm_battery_min_share: f64,
    /// Armed on the ground for longer than this, it disarms.
    pub standing_max_s: f64,
    /// On the ground without a break for this long counts as landed.
    pub touch_down_s: f64,
    /// A link silent for longer than this is lost.
    pub link_timeout_s: f64,
    /// The link is back when it has not been silent for longer than the limit for this long ...
    pub link_good_s: f64,
    /// ... and the thrust demand is at least this share ...
    pub handback_thrust_min_share: f64,
    /// ... and at most this share.
    pub handback_thrust_max_share: f64,
    /// Thrust of a descent.
    pub descent_thrust_share: f64,
    /// Motors off when a descent has taken this long.
    pub descent_max_s: f64,
    /// Tilt beyond which the craft is not meant to fly; half a turn switches the check off.
    pub tilt_max_rad: f64,
    /// Beyond it for this long: the pilot's demand gives way to level attitude.
    pub tilt_level_s: f64,
    /// Beyond it for this long: motors off.
    pub tilt_stop_s: f64,
    /// Sensors without a good sample for longer than this are lost; up to then the last answer is held.
    pub sensor_timeout_s: f64,
    /// Sensors are back when they have not been lost for this long.
    pub sensor_good_s: f64,
    /// Motors off when flown without sensors for this long.
    pub blind_max_s: f64,
}

impl SupervisorConfig {
    /// Limits to begin with: common practice, no source, each reasoned in docs/supervisor.md.
    ///
    /// * Input: the sample period, s; mass times gravity, N
    pub fn usual(period_s: f64, hover_thrust_n: f64) -> Self {
        SupervisorConfig {
            samples: SampleClockConfig { period_s, late_share: 0.5, gap_max_s: 0.05, overruns_max: 16, window: 64 },
            hover_thrust_n,
            thrust_low_share: 0.2,
            arm_tilt_max_rad: 15.0_f64.to_radians(),
            arm_rate_max_rad_s: 0.1,
            arm_still_s: 0.5,
            arm_battery_min_share: 0.3,
            standing_max_s: 60.0,
            touch_down_s: 0.5,
            link_timeout_s: 0.5,
            link_good_s: 1.0,
            handback_thrust_min_share: 0.7,
            handback_thrust_max_share: 1.5,
            descent_thrust_share: 0.9,
            descent_max_s: 30.0,
            tilt_max_rad: 100.0_f64.to_radians(),
            tilt_level_s: 1.0,
            tilt_stop_s: 3.0,
            sensor_timeout_s: 0.05,
            sensor_good_s: 0.1,
            blind_max_s: 0.5,
        }
    }

    /// # Errors
    /// The first value that makes no sense.
    pub(super) fn check(&self) -> Result<(), SupervisorError> {
        let times = [
            ("arm_still_s", self.arm_still_s),
            ("standing_max_s", self.standing_max_s),
            ("touch_down_s", self.touch_down_s),
            ("link_timeout_s", self.link_timeout_s),
            ("link_good_s", self.link_good_s),
            ("descent_max_s", self.descent_max_s),
            ("tilt_level_s", self.tilt_level_s),
            ("tilt_stop_s", self.tilt_stop_s),
            ("sensor_timeout_s", self.sensor_timeout_s),
            ("sensor_good_s", self.sensor_good_s),
            ("blind_max_s", self.blind_max_s),
        ];
        if let Some((field, _)) = times.iter().find(|(_, value_s)| !time(*value_s)) {
            return Err(SupervisorError::Time { field });
        }
        if !(self.tilt_stop_s >= self.tilt_level_s) {
            return Err(SupervisorError::TiltTimes);
        }
        if !(self.hover_thrust_n > 0.0 && self.hover_thrust_n.is_finite()) {
            return Err(SupervisorError::HoverThrust);
        }
        if !(self.thrust_low_share > 0.0 && self.thrust_low_share < self.handback_thrust_min_share) {
            return Err(SupervisorError::LowThrust);
        }
        let (least, most) = (self.handback_thrust_min_share, self.handback_thrust_max_share);
        if !(least <= 1.0 && most >= 1.0 && most.is_finite()) {
            return Err(SupervisorError::HandbackThrust);
        }
        if !(self.descent_thrust_share > 0.0 && self.descent_thrust_share < 1.0) {
            return Err(SupervisorError::DescentThrust);
        }
        if !(self.arm_tilt_max_rad > 0.0 && self.arm_tilt_max_rad < self.tilt_max_rad) {
            return Err(SupervisorError::ArmTilt);
        }
        if !(self.tilt_max_rad <= core::f64::consts::PI) {
            return Err(SupervisorError::Tilt);
        }
        if !(self.arm_rate_max_rad_s > 0.0 && self.arm_rate_max_rad_s.is_finite()) {
            return Err(SupervisorError::ArmRate);
        }
        if !(self.arm_battery_min_share >= 0.0 && self.arm_battery_min_share <= 1.0) {
            return Err(SupervisorError::Battery);
        }
        Ok(())
    }
}

/// What is wrong with a [`SupervisorConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum SupervisorError {
    /// The sample clock's part.
    Samples(SampleClockError),
    /// A time is not between 1 µs and 1000 s.
    Time {
        /// Which.
        field: &'static str,
    },
    /// Motors would stop before the craft was levelled.
    TiltTimes,
    /// The hover thrust is not above zero.
    HoverThrust,
    /// What counts as low thrust is not between zero and the least thrust at which the pilot takes over.
    LowThrust,
    /// The thrusts at which the pilot takes over do not include the one that carries the weight.
    HandbackThrust,
    /// The thrust of a descent is not between zero and the one that carries the weight.
    DescentThrust,
    /// The tilt for arming is not between zero and the tilt beyond recovery.
    ArmTilt,
    /// The tilt beyond recovery is more than half a turn.
    Tilt,
    /// The rate that counts as still is not above zero.
    ArmRate,
    /// The charge to start with is outside 0 to 1.
    Battery,
}

impl fmt::Display for SupervisorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            SupervisorError::Samples(cause) => return write!(f, "samples: {cause}"),
            SupervisorError::Time { field } => return write!(f, "{field} must lie between 1 µs and 1000 s"),
            SupervisorError::TiltTimes => "tilt_stop_s must not be shorter than tilt_level_s",
            SupervisorError::HoverThrust => "hover_thrust_n must be above 0",
            SupervisorError::LowThrust => "thrust_low_share must lie between 0 and handback_thrust_min_share",
            SupervisorError::HandbackThrust => {
                "handback_thrust_min_share must be at most 1 and handback_thrust_max_share at least 1"
            }
            SupervisorError::DescentThrust => "descent_thrust_share must lie between 0 and 1",
            SupervisorError::ArmTilt => "arm_tilt_max_rad must lie between 0 and tilt_max_rad",
            SupervisorError::Tilt => "tilt_max_rad must be at most half a turn",
            SupervisorError::ArmRate => "arm_rate_max_rad_s must be above 0",
            SupervisorError::Battery => "arm_battery_min_share must lie between 0 and 1",
        })
    }
}

impl core::error::Error for SupervisorError {}

/// Shortest and longest time that can be set: one tick, and longer than any flight's limits.
const TIMES_S: core::ops::RangeInclusive<f64> = 1.0e-6..=1.0e3;

/// Whether a time can be used.
pub(super) fn time(value_s: f64) -> bool {
    TIMES_S.contains(&value_s)
}

/// Seconds to the nearest microsecond.
pub(super) fn micros(value_s: f64) -> u32 {
    (value_s * 1.0e6 + 0.5) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(change: impl Fn(&mut SupervisorConfig)) -> Result<(), SupervisorError> {
        let mut config = SupervisorConfig::usual(1.0e-3, 16.0);
        change(&mut config);
        config.check()
    }

    #[test]
    fn usual_limits_make_sense() {
        assert_eq!(with(|_| ()), Ok(()));
    }

    #[test]
    fn refuses_a_time_that_is_none_and_names_it() {
        type Pick = fn(&mut SupervisorConfig) -> &mut f64;
        let times: [(&str, Pick); 11] = [
            ("arm_still_s", |c| &mut c.arm_still_s),
            ("standing_max_s", |c| &mut c.standing_max_s),
            ("touch_down_s", |c| &mut c.touch_down_s),
            ("link_timeout_s", |c| &mut c.link_timeout_s),
            ("link_good_s", |c| &mut c.link_good_s),
            ("descent_max_s", |c| &mut c.descent_max_s),
            ("tilt_level_s", |c| &mut c.tilt_level_s),
            ("tilt_stop_s", |c| &mut c.tilt_stop_s),
            ("sensor_timeout_s", |c| &mut c.sensor_timeout_s),
            ("sensor_good_s", |c| &mut c.sensor_good_s),
            ("blind_max_s", |c| &mut c.blind_max_s),
        ];
        for (field, pick) in times {
            for bad in [0.0, -1.0, 1.0e-7, 1.0e4, f64::NAN, f64::INFINITY] {
                assert_eq!(with(|c| *pick(c) = bad), Err(SupervisorError::Time { field }), "{field} {bad}");
            }
        }
    }

    #[test]
    fn refuses_limits_that_contradict_each_other() {
        assert_eq!(with(|c| c.tilt_stop_s = 0.9), Err(SupervisorError::TiltTimes));
        assert_eq!(with(|c| c.tilt_stop_s = 1.0), Ok(()), "at once is allowed");
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(with(|c| c.hover_thrust_n = bad), Err(SupervisorError::HoverThrust), "{bad}");
            assert_eq!(with(|c| c.arm_rate_max_rad_s = bad), Err(SupervisorError::ArmRate), "{bad}");
        }
        for bad in [0.0, 0.7, f64::NAN] {
            assert_eq!(with(|c| c.thrust_low_share = bad), Err(SupervisorError::LowThrust), "{bad}");
        }
        assert_eq!(with(|c| c.handback_thrust_min_share = 1.1), Err(SupervisorError::HandbackThrust));
        for bad in [0.9, f64::NAN, f64::INFINITY] {
            assert_eq!(with(|c| c.handback_thrust_max_share = bad), Err(SupervisorError::HandbackThrust), "{bad}");
        }
        for bad in [0.0, 1.0, f64::NAN] {
            assert_eq!(with(|c| c.descent_thrust_share = bad), Err(SupervisorError::DescentThrust), "{bad}");
        }
        for bad in [0.0, 2.0, f64::NAN] {
            assert_eq!(with(|c| c.arm_tilt_max_rad = bad), Err(SupervisorError::ArmTilt), "{bad}");
        }
        assert_eq!(with(|c| c.tilt_max_rad = 3.2), Err(SupervisorError::Tilt));
        assert_eq!(with(|c| c.tilt_max_rad = core::f64::consts::PI), Ok(()));
        assert_eq!(with(|c| c.tilt_max_rad = f64::NAN), Err(SupervisorError::ArmTilt));
        for bad in [-0.1, 1.1, f64::NAN] {
            assert_eq!(with(|c| c.arm_battery_min_share = bad), Err(SupervisorError::Battery), "{bad}");
        }
    }
}
