//! A builder's questions, answered by halving intervals over the attainable set.
//!
//! Every answer is a largest or smallest value for which a stated condition still holds. The sets are
//! convex, so each condition holds up to one value and not beyond it.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::Attainable;
use super::gust::DiscreteGust;
use super::operating_point::{AxisReach, attainable_at, empty_voltage_share, reaches};
use super::wind::{SteadyWind, steady_wind};
use crate::craft::Craft;
use crate::enough::{ENOUGH_THRUST_TO_WEIGHT, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::onboard::{Onboard, Unflyable, mixer_for};
use crate::script::World;
use crate::site::Site;

/// Thrusts, in weights, at which the yaw left is told.
pub const HARD_CLIMB_WEIGHTS: [f64; 2] = [1.2, 1.5];

/// Halvings of an interval: its end is known to a billionth of it.
const HALVINGS: u32 = 30;

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
        let set = Attainable::of(&mixer_for(craft)?);
        let most_n = f64::from(onboard.mixer.balanced_thrust_n().1);
        let site = Site { craft, onboard, world };
        let wind = steady_wind(&site, onboard.config.reference.tilt_max_rad, most_n);
        Ok(Answers {
            hover_voltage_share: least_ceiling(craft, |set| hovers(set, weight_n))?.unwrap_or(1.0).sqrt(),
            controlled_voltage_share: least_ceiling(craft, |set| short_of(craft, set, weight_n).is_none())?
                .map(f64::sqrt),
            empty_voltage_share: empty_voltage_share(craft, world, weight_n)?,
            yaw_in_climb: HARD_CLIMB_WEIGHTS
                .map(|weights| reaches(craft, &set, weights * weight_n).map(|[_, _, yaw]| yaw))
                .to_vec(),
            offsets: offsets(craft, world.gravity_m_s2),
            gusts: wind.iter().map(|wind| DiscreteGust::of(&site, wind)).collect(),
            wind,
            heaviest: heaviest(craft, &set, world.gravity_m_s2, most_n),
        })
    }
}

fn hovers(set: &Attainable, weight_n: f64) -> bool {
    set.torque_margin_nm(Wrench { thrust_n: weight_n, ..Wrench::default() }) >= 0.0
}

/// The axis that falls short of the stated authority at this thrust.
fn short_of(craft: &Craft, set: &Attainable, thrust_n: f64) -> Option<&'static str> {
    let Some(axes) = reaches(craft, set, thrust_n) else { return Some("thrust to weight") };
    let enough = [ENOUGH_TILT_RAD_S2, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2];
    let short = axes.iter().zip(enough).find(|(axis, enough)| !(axis.weaker_rad_s2() >= *enough));
    short.map(|(axis, _)| axis.axis)
}

/// The largest value in 0 to `most` up to which a condition holds that holds at zero.
fn largest(most: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0, most);
    if holds(most) {
        return most;
    }
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}

/// The smallest share of the ceilings at which a condition still holds.
fn least_ceiling(craft: &Craft, holds: impl Fn(&Attainable) -> bool) -> Result<Option<f64>, Unflyable> {
    let at = |share: f64| attainable_at(craft, share).map(|set| set.is_some_and(|set| holds(&set)));
    if !at(1.0)? {
        return Ok(None);
    }
    Ok(Some(1.0 - largest(1.0, |less| less < 1.0 && at(1.0 - less).unwrap_or(false))))
}

fn offsets(craft: &Craft, gravity_m_s2: f64) -> Vec<Offset> {
    let directions = [
        ("front", 0, 1.0, Axis::Pitch),
        ("rear", 0, -1.0, Axis::Pitch),
        ("right", 1, 1.0, Axis::Roll),
        ("left", 1, -1.0, Axis::Roll),
    ];
    let center_m = craft.body.center_of_mass_m;
    let arm = |position_m: [f64; 3]| (position_m[0] - center_m[0]).hypot(position_m[1] - center_m[1]);
    let arm_m = craft.rotors.iter().map(|rotor| arm(rotor.position_m)).fold(0.0, f64::max);
    let whole = |axis: Axis| weaker_nm(craft, [0.0; 3], craft.body.mass_kg * gravity_m_s2, axis).unwrap_or(0.0);
    let one = |(towards, k, sense, axis): (&'static str, usize, f64, Axis)| {
        let shift =
            |offset_m: f64| -> [f64; 3] { std::array::from_fn(|i| if i == k { sense * offset_m } else { 0.0 }) };
        let half_nm = 0.5 * whole(axis);
        let left_nm = |offset_m: f64, mass_kg: f64| weaker_nm(craft, shift(offset_m), mass_kg * gravity_m_s2, axis);
        let mass_kg = craft.body.mass_kg;
        let hung = |more_kg: f64| left_nm(more_kg * arm_m / (mass_kg + more_kg), mass_kg + more_kg);
        let most_kg = 16.0 * mass_kg;
        Offset {
            towards,
            halves_at_m: largest(2.0 * arm_m, |d| left_nm(d, mass_kg).is_some_and(|nm| nm >= half_nm)),
            lost_at_m: largest(2.0 * arm_m, |d| left_nm(d, mass_kg).is_some()),
            halves_with_kg: largest(most_kg, |more| hung(more).is_some_and(|nm| nm >= half_nm)),
            lost_with_kg: largest(most_kg, |more| hung(more).is_some()),
        }
    };
    directions.into_iter().map(one).collect()
}

/// Torque left about an axis, the weaker way, with the centre of mass shifted; `None` where hover is lost.
fn weaker_nm(craft: &Craft, shift_m: [f64; 3], thrust_n: f64, axis: Axis) -> Option<f64> {
    let mut shifted = craft.clone();
    shifted.body.center_of_mass_m.iter_mut().zip(shift_m).for_each(|(place, shift)| *place += shift);
    let set = Attainable::of(&mixer_for(&shifted).ok()?);
    let level = Wrench { thrust_n, ..Wrench::default() };
    if !(set.torque_margin_nm(level) >= 0.0) {
        return None;
    }
    let reach = set.interval(level, axis)?;
    Some(reach.high.min(-reach.low))
}

fn heaviest(craft: &Craft, set: &Attainable, gravity_m_s2: f64, most_n: f64) -> Option<HeaviestMass> {
    let own_kg = craft.body.mass_kg;
    let lifted_kg = most_n / ENOUGH_THRUST_TO_WEIGHT / gravity_m_s2;
    let enough = |mass_kg: f64| short_of(craft, set, mass_kg * gravity_m_s2).is_none();
    if !(lifted_kg >= own_kg && enough(own_kg)) {
        return None;
    }
    let more_kg = largest(lifted_kg - own_kg, |more| enough(own_kg + more));
    let mass_kg = own_kg + more_kg;
    // Just beyond: what falls short first.
    let beyond = short_of(craft, set, (mass_kg + 1.0e-6 * own_kg) * gravity_m_s2);
    Some(HeaviestMass { mass_kg, limited_by: beyond.unwrap_or("thrust to weight") })
}
