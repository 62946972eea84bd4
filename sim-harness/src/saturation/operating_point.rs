//! The largest torque each way where it matters: in hover, in a climb, and with the battery near empty.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::{Attainable, Interval};
use crate::craft::Craft;
use crate::onboard::{Unflyable, mixer_for};
use crate::plant::{Plant, PlantState, RATED_AIR_DENSITY_KG_M3};
use crate::script::World;

/// Thrust of the climb looked at, in weights: enough to gather 2 m/s of climb each second.
pub const CLIMB_WEIGHTS: f64 = 1.2;
/// Voltage of a near-empty battery over that of a full one, where the craft file says nothing of it;
/// common practice for lithium cells at about 3.4 of 4.2 V.
pub const EMPTY_VOLTAGE_SHARE: f64 = 0.8;
/// The battery is asked at this height.
const HIGH_M: f64 = 100.0;

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

/// Voltage of the near-empty battery over the full one, while it feeds this thrust in still air: that of the craft's
/// `[battery]` at no charge, sunk by its resistance as in the model that flies, or else [`EMPTY_VOLTAGE_SHARE`].
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn empty_voltage_share(craft: &Craft, world: &World, thrust_n: f64) -> Result<f64, Unflyable> {
    let Some(battery) = &craft.battery else { return Ok(EMPTY_VOLTAGE_SHARE) };
    let thrusts_n = mixer_for::<f64>(craft)?.allocate(Wrench { thrust_n, ..Wrench::default() }).thrusts_n;
    let still = World::uniform(world.gravity_m_s2, world.air_density_kg_m3, [0.0; 3]);
    let rated = RATED_AIR_DENSITY_KG_M3 / world.air_density_kg_m3;
    let mut state = PlantState { charge_used: battery.charge, ..PlantState::default() };
    for ((speed, rotor), thrust_n) in state.rotor_speed.iter_mut().zip(&craft.rotors).zip(&thrusts_n) {
        *speed = (thrust_n / rotor.thrust_max_n * rated).max(0.0).sqrt();
    }
    // Out of reach of the ground.
    state.position_m.z = -HIGH_M;
    Ok(Plant::new(craft, &still).voltage_share(&state))
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
pub fn operating_points(craft: &Craft, world: &World) -> Result<Vec<OperatingPoint>, Unflyable> {
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    let asked = [
        ("hover", 1.0, false),
        ("climb", CLIMB_WEIGHTS, false),
        ("hover, battery near empty", 1.0, true),
        ("climb, battery near empty", CLIMB_WEIGHTS, true),
    ];
    asked
        .into_iter()
        .map(|(name, weights, near_empty)| {
            let thrust_n = weights * weight_n;
            // Thrust goes with voltage squared.
            let ceiling_share = if near_empty { empty_voltage_share(craft, world, thrust_n)?.powi(2) } else { 1.0 };
            let set = attainable_at(craft, ceiling_share)?;
            let axes = set.and_then(|set| reaches(craft, &set, thrust_n));
            Ok(OperatingPoint { name, thrust_n, weights, ceiling_share, axes })
        })
        .collect()
}
