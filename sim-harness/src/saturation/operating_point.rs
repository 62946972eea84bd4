//! The largest torque each way where it matters: in hover, in a climb, and with the battery near empty.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::{Attainable, Interval};
pub use crate::available_thrust::EMPTY_VOLTAGE_SHARE;
use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::onboard::Unflyable;
use crate::script::World;

/// Thrust of the climb looked at, in weights: enough to gather 2 m/s of climb each second.
pub const CLIMB_WEIGHTS: f64 = 1.2;

/// Torque to spare at one thrust with one state of the battery.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct OperatingPoint {
    /// "hover", "climb", "hover, battery near empty".
    pub name: &'static str,
    /// Thrust asked for.
    pub thrust_n: f64,
    /// The same over the weight.
    pub weights: f64,
    /// Thrust ceilings while the battery feeds this thrust, over those at full voltage.
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

/// Voltage of the near-empty battery over the full one, while it feeds this thrust in still air, or all that the rotors have
/// where that is less.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn empty_voltage_share(craft: &Craft, world: &World, thrust_n: f64) -> Result<f64, Unflyable> {
    Ok(AvailableThrust::of(craft, world)?.voltage_share_at(Feed::near_empty(craft), 0.0, thrust_n))
}

/// The attainable set at this voltage in still air; `None` where a ceiling would meet its floor.
pub(super) fn attainable_at(available: &AvailableThrust<'_>, voltage_share: f64) -> Option<Attainable> {
    available.mixer_at(voltage_share, 0.0).map(|mixer| Attainable::of(&mixer))
}

/// The attainable set of a craft in still air while its battery feeds this thrust with torques balanced, or all that the rotors
/// have where that is less; `None` where a ceiling would meet its floor.
pub fn attainable_under_load(available: &AvailableThrust<'_>, feed: Feed, thrust_n: f64) -> Option<Attainable> {
    attainable_at(available, available.voltage_share_at(feed, 0.0, thrust_n))
}

/// The largest torques while the battery feeds this thrust; `None` where not even zero torque goes with it.
pub(crate) fn reaches_under_load(available: &AvailableThrust<'_>, feed: Feed, thrust_n: f64) -> Option<[AxisReach; 3]> {
    reaches(available.craft(), &attainable_under_load(available, feed, thrust_n)?, thrust_n)
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

/// Hover, climb, and both with the battery near empty; each with the voltage that its own thrust leaves.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn operating_points(craft: &Craft, world: &World) -> Result<Vec<OperatingPoint>, Unflyable> {
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    let available = AvailableThrust::of(craft, world)?;
    let (charged, empty) = (Feed::as_charged(craft), Feed::near_empty(craft));
    let asked = [
        ("hover", 1.0, charged),
        ("climb", CLIMB_WEIGHTS, charged),
        ("hover, battery near empty", 1.0, empty),
        ("climb, battery near empty", CLIMB_WEIGHTS, empty),
    ];
    let point = |(name, weights, feed)| {
        let thrust_n = weights * weight_n;
        // Thrust goes with voltage squared.
        let ceiling_share = available.voltage_share_at(feed, 0.0, thrust_n).powi(2);
        let axes = reaches_under_load(&available, feed, thrust_n);
        OperatingPoint { name, thrust_n, weights, ceiling_share, axes }
    };
    Ok(asked.into_iter().map(point).collect())
}
