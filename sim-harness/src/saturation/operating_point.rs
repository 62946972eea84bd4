//! The largest torque each way where it matters: in hover, in a climb, and with the battery near empty.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::{Attainable, Interval};
use crate::craft::Craft;
use crate::onboard::{Unflyable, mixer_for};

/// Thrust of the climb looked at, in weights: enough to gather 2 m/s of climb each second.
pub const CLIMB_WEIGHTS: f64 = 1.2;
/// Voltage of a near-empty battery over that of a full one, where the craft file says nothing of it;
/// common practice for lithium cells at about 3.4 of 4.2 V.
pub const EMPTY_VOLTAGE_SHARE: f64 = 0.8;

/// Torque to spare at one thrust with one state of the battery.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OperatingPoint {
    /// "hover", "climb", "hover, battery near empty".
    pub name: &'static str,
    /// Thrust asked for.
    pub thrust_n: f64,
    /// The same over the weight.
    pub weights: f64,
    /// Thrust ceilings over those of a full battery.
    pub ceiling_share: f64,
    /// About roll, pitch, yaw, the other two torques zero; `None` where not even zero torque goes with this
    /// thrust.
    pub axes: Option<[AxisReach; 3]>,
}

/// The largest torque each way about one axis.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AxisReach {
    /// "roll", "pitch", "yaw".
    pub axis: &'static str,
    /// Left side down, nose down, or nose left; not above zero.
    pub negative_nm: f64,
    /// Right side down, nose up, or nose right; not below zero.
    pub positive_nm: f64,
    /// Angular acceleration about the axis for these torques.
    pub negative_rad_s2: f64,
    /// The other way.
    pub positive_rad_s2: f64,
}

impl AxisReach {
    /// The weaker way's torque.
    pub fn weaker_nm(&self) -> f64 {
        self.positive_nm.min(-self.negative_nm)
    }

    /// The weaker way's angular acceleration.
    pub fn weaker_rad_s2(&self) -> f64 {
        self.positive_rad_s2.min(-self.negative_rad_s2)
    }
}

pub(super) const TORQUES: [(Axis, &str); 3] = [(Axis::Roll, "roll"), (Axis::Pitch, "pitch"), (Axis::Yaw, "yaw")];

/// Voltage of the near-empty battery over the full one: that of the craft's `[battery]` at no charge, its
/// resistance left out, or else [`EMPTY_VOLTAGE_SHARE`].
pub fn empty_voltage_share(craft: &Craft) -> f64 {
    craft.battery.as_ref().map_or(EMPTY_VOLTAGE_SHARE, |battery| battery.empty_v / battery.full_v)
}

/// The attainable set of a craft whose ceilings have sunk to this share; `None` where a ceiling would
/// meet its floor.
pub(super) fn attainable_at(craft: &Craft, ceiling_share: f64) -> Result<Option<Attainable>, Unflyable> {
    let mut mixer = mixer_for::<f64>(craft)?;
    Ok(mixer.scale_ceilings(ceiling_share).then(|| Attainable::of(&mixer)))
}

/// The largest torques at this thrust.
pub(super) fn reaches(craft: &Craft, set: &Attainable, thrust_n: f64) -> Option<[AxisReach; 3]> {
    let level = Wrench { thrust_n, ..Wrench::default() };
    let one = |(axis, name): (Axis, &'static str)| {
        let Interval { low, high } = set.interval(level, axis)?;
        if !(low <= 0.0 && high >= 0.0) {
            return None;
        }
        let turn = craft.body.turn_per_torque(axis.index() - 1);
        Some(AxisReach {
            axis: name,
            negative_nm: low,
            positive_nm: high,
            negative_rad_s2: turn * low,
            positive_rad_s2: turn * high,
        })
    };
    let [roll, pitch, yaw] = TORQUES.map(one);
    Some([roll?, pitch?, yaw?])
}

/// Hover, climb, and both with the battery near empty.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn operating_points(craft: &Craft, weight_n: f64) -> Result<Vec<OperatingPoint>, Unflyable> {
    let empty = empty_voltage_share(craft).powi(2);
    let asked = [
        ("hover", 1.0, 1.0),
        ("climb", CLIMB_WEIGHTS, 1.0),
        ("hover, battery near empty", 1.0, empty),
        ("climb, battery near empty", CLIMB_WEIGHTS, empty),
    ];
    asked
        .into_iter()
        .map(|(name, weights, ceiling_share)| {
            let set = attainable_at(craft, ceiling_share)?;
            let thrust_n = weights * weight_n;
            let axes = set.and_then(|set| reaches(craft, &set, thrust_n));
            Ok(OperatingPoint { name, thrust_n, weights, ceiling_share, axes })
        })
        .collect()
}
