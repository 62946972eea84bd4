//! A builder's questions, answered by halving intervals over the attainable set.
//!
//! Every answer is a largest or smallest value for which a stated condition still holds, with the voltage that the thrust asked for
//! leaves of the battery. More load sinks it further, so that an answer stops at the first value that fails.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::Attainable;
use super::gust::DiscreteGust;
use super::operating_point::{AxisReach, attainable_at, attainable_under_load, reaches, reaches_under_load};
use super::wind::{SteadyWind, steady_wind};
use crate::available_thrust::{AvailableThrust, Feed, HoverEndurance, first_bound, hover_endurance, only_bound};
use crate::craft::Craft;
use crate::enough::{ENOUGH_THRUST_TO_WEIGHT, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::onboard::{Onboard, Unflyable};
use crate::script::World;
use crate::site::Site;

/// Thrusts, in weights, at which the yaw left is told.
pub const HARD_CLIMB_WEIGHTS: [f64; 2] = [1.2, 1.5];

/// The answers.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Answers {
    /// Battery voltage under load over that of a full one, down to which hover can be held with no torque to spare;
    /// thrust goes with voltage squared.
    pub hover_voltage_share: f64,
    /// Down to which roll, pitch and yaw keep the stated authority in hover; `None` where a full battery
    /// does not.
    pub controlled_voltage_share: Option<f64>,
    /// Voltage of the near-empty battery, while it feeds hover, over the full one.
    pub empty_voltage_share: f64,
    /// Yaw at each of [`HARD_CLIMB_WEIGHTS`]; `None` where that thrust is out of reach.
    pub yaw_in_climb: Vec<Option<AxisReach>>,
    /// How far off centre a load may sit, towards the front, rear, right and left.
    pub offsets: Vec<Offset>,
    /// Strongest steady wind.
    pub wind: Vec<SteadyWind>,
    /// Strongest gust out of still air.
    pub gusts: Vec<DiscreteGust>,
    /// Heaviest take-off mass with the stated authority, inertia as in the file; `None` where the craft
    /// has not got it even as it is.
    pub heaviest: Option<HeaviestMass>,
    /// Current, power and minutes of a hover on the battery as charged; `None` without one, or where it cannot hover on it.
    pub hover: Option<HoverEndurance>,
}

/// The load off centre in one direction.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Offset {
    /// "front", "rear", "right", "left".
    pub towards: &'static str,
    /// Shift of the centre of mass at which half the torque about the axis that carries it is left, the
    /// weaker way.
    pub halves_at_m: f64,
    /// Shift at which level hover is lost.
    pub lost_at_m: f64,
    /// Mass hung at the end of the longest arm, in this direction, that does the first.
    pub halves_with_kg: f64,
    /// Mass there that does the second; its weight counts too.
    pub lost_with_kg: f64,
}

/// A mass and what forbids more.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct HeaviestMass {
    /// Take-off mass.
    pub mass_kg: f64,
    /// "thrust to weight", "roll", "pitch" or "yaw".
    pub limited_by: &'static str,
}

impl Answers {
    /// Answers them for a craft that can hover.
    ///
    /// # Errors
    /// When it cannot be controlled.
    pub fn of(craft: &Craft, onboard: &Onboard<f32>, world: &World) -> Result<Self, Unflyable> {
        let weight_n = craft.body.mass_kg * world.gravity_m_s2;
        let available = AvailableThrust::of(craft, world)?;
        let (charged, empty) = (Feed::as_charged(craft), Feed::near_empty(craft));
        let site = Site { craft, onboard, world };
        let wind = steady_wind(&site, &available, onboard.config.reference.tilt_max_rad);
        let yaw = |weights: f64| reaches_under_load(&available, charged, weights * weight_n).map(|[_, _, yaw]| yaw);
        Ok(Answers {
            hover_voltage_share: least_hover_voltage_share(craft, world)?.unwrap_or(1.0),
            controlled_voltage_share: least_voltage(&available, |set| {
                short_of(&reaches(craft, set, weight_n)).is_none()
            }),
            empty_voltage_share: available.voltage_share_at(empty, 0.0, weight_n),
            yaw_in_climb: HARD_CLIMB_WEIGHTS.map(yaw).to_vec(),
            offsets: offsets(craft, world),
            gusts: wind.iter().map(|wind| DiscreteGust::of(&site, wind)).collect(),
            wind,
            heaviest: heaviest(&available, world.gravity_m_s2),
            hover: hover_endurance(craft, world)?,
        })
    }
}

/// The voltage under load, over that of a full battery, below which the rotors cannot carry the craft with torques balanced; `None`
/// where they cannot at full voltage.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn least_hover_voltage_share(craft: &Craft, world: &World) -> Result<Option<f64>, Unflyable> {
    let available = AvailableThrust::of(craft, world)?;
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    Ok(least_voltage(&available, |set| hovers(set, weight_n)))
}

fn hovers(set: &Attainable, weight_n: f64) -> bool {
    set.torque_margin_nm(Wrench { thrust_n: weight_n, ..Wrench::default() }) >= 0.0
}

/// The axis that falls short of the stated authority.
fn short_of(axes: &Option<[AxisReach; 3]>) -> Option<&'static str> {
    let Some(axes) = axes else { return Some("thrust to weight") };
    let enough = [ENOUGH_TILT_RAD_S2, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2];
    let short = axes.iter().zip(enough).find(|(axis, enough)| !(axis.weaker_rad_s2() >= *enough));
    short.map(|(axis, _)| axis.axis)
}

/// The smallest voltage under load, over the full one, at which a condition still holds; `None` where it does not at full voltage.
fn least_voltage(available: &AvailableThrust<'_>, holds: impl Fn(&Attainable) -> bool) -> Option<f64> {
    let at = |share: f64| share > 0.0 && attainable_at(available, share).is_some_and(|set| holds(&set));
    at(1.0).then(|| 1.0 - only_bound(1.0, |less| at(1.0 - less)))
}

fn offsets(craft: &Craft, world: &World) -> Vec<Offset> {
    let directions = [
        ("front", 0, 1.0, Axis::Pitch),
        ("rear", 0, -1.0, Axis::Pitch),
        ("right", 1, 1.0, Axis::Roll),
        ("left", 1, -1.0, Axis::Roll),
    ];
    let center_m = craft.body.center_of_mass_m;
    let arm = |position_m: [f64; 3]| (position_m[0] - center_m[0]).hypot(position_m[1] - center_m[1]);
    let arm_m = craft.rotors.iter().map(|rotor| arm(rotor.position_m)).fold(0.0, f64::max);
    let whole = |axis: Axis| weaker_nm(craft, world, [0.0; 3], craft.body.mass_kg, axis).unwrap_or(0.0);
    let one = |(towards, k, sense, axis): (&'static str, usize, f64, Axis)| {
        let shift =
            |offset_m: f64| -> [f64; 3] { std::array::from_fn(|i| if i == k { sense * offset_m } else { 0.0 }) };
        let half_nm = 0.5 * whole(axis);
        let left_nm = |offset_m: f64, mass_kg: f64| weaker_nm(craft, world, shift(offset_m), mass_kg, axis);
        let mass_kg = craft.body.mass_kg;
        let hung = |more_kg: f64| left_nm(more_kg * arm_m / (mass_kg + more_kg), mass_kg + more_kg);
        let most_kg = 16.0 * mass_kg;
        Offset {
            towards,
            halves_at_m: only_bound(2.0 * arm_m, |d| left_nm(d, mass_kg).is_some_and(|nm| nm >= half_nm)),
            lost_at_m: only_bound(2.0 * arm_m, |d| left_nm(d, mass_kg).is_some()),
            halves_with_kg: only_bound(most_kg, |more| hung(more).is_some_and(|nm| nm >= half_nm)),
            lost_with_kg: only_bound(most_kg, |more| hung(more).is_some()),
        }
    };
    directions.into_iter().map(one).collect()
}

/// Torque left about an axis in hover, the weaker way, with the centre of mass shifted and this mass; `None` where hover is lost.
fn weaker_nm(craft: &Craft, world: &World, shift_m: [f64; 3], mass_kg: f64, axis: Axis) -> Option<f64> {
    let mut shifted = craft.clone();
    shifted.body.center_of_mass_m.iter_mut().zip(shift_m).for_each(|(place, shift)| *place += shift);
    let available = AvailableThrust::of(&shifted, world).ok()?;
    let thrust_n = mass_kg * world.gravity_m_s2;
    let set = attainable_under_load(&available, Feed::as_charged(craft), thrust_n)?;
    let level = Wrench { thrust_n, ..Wrench::default() };
    if !(set.torque_margin_nm(level) >= 0.0) {
        return None;
    }
    let reach = set.interval(level, axis)?;
    Some(reach.high.min(-reach.low))
}

/// More mass asks more current and so leaves less thrust: the search stops at the first mass that falls short.
fn heaviest(available: &AvailableThrust<'_>, gravity_m_s2: f64) -> Option<HeaviestMass> {
    let craft = available.craft();
    let (own_kg, feed) = (craft.body.mass_kg, Feed::as_charged(craft));
    let lifted_kg = available.least_of_most_n(&[feed]) / ENOUGH_THRUST_TO_WEIGHT / gravity_m_s2;
    let short = |mass_kg: f64| short_of(&reaches_under_load(available, feed, mass_kg * gravity_m_s2));
    if !(lifted_kg >= own_kg && short(own_kg).is_none()) {
        return None;
    }
    let most_kg = lifted_kg - own_kg;
    let more_kg = first_bound(most_kg, |more| short(own_kg + more).is_none());
    // Just beyond: what falls short first.
    let beyond = if more_kg < most_kg { short(own_kg + more_kg + 1.0e-6 * own_kg) } else { None };
    Some(HeaviestMass { mass_kg: own_kg + more_kg, limited_by: beyond.unwrap_or("thrust to weight") })
}
