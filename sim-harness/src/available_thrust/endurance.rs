//! Current, power and minutes of hover on the battery as charged.
//!
//! * Math: t = C·∫ dq/I(q) from the charge at which hovering ends to that at the start, I the current of a hover at the state
//!   of charge q: its shaft power over efficiency, over the voltage that it leaves itself
//! * Hovering ends at [`LANDING_CHARGE`], or before that where the rotors can push no more than
//!   [`ENOUGH_THRUST_LEFT_TO_WEIGHT`] weights under load
//! * Source: definition of current; landing with a fifth left is common practice, no source

use serde::Serialize;

use super::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::enough::ENOUGH_THRUST_LEFT_TO_WEIGHT;
use crate::onboard::Unflyable;
use crate::script::World;

/// State of charge at which a hover ends and the landing begins; common practice, no source.
pub const LANDING_CHARGE: f64 = 0.2;
/// Points of the midpoint rule. The current changes by a tenth or two over the charge, so that the rule is good to 1e-6.
const POINTS: u32 = 64;
const HALVINGS: u32 = 40;
const MINUTES_PER_HOUR: f64 = 60.0;

/// A hover until the battery has to be changed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct HoverEndurance {
    /// At the start.
    pub current_a: f64,
    /// At the start, from the battery.
    pub power_w: f64,
    /// Terminal voltage at the start.
    pub voltage_v: f64,
    /// From the start until hovering ends.
    pub minutes: f64,
    /// State of charge at which it ends.
    pub ends_at_charge: f64,
    /// "landing charge" or "thrust left".
    pub ends_by: &'static str,
}

/// Of a craft with a battery that can hover on it as charged; else `None`.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn hover_endurance(craft: &Craft, world: &World) -> Result<Option<HoverEndurance>, Unflyable> {
    let Some(battery) = &craft.battery else { return Ok(None) };
    let available = AvailableThrust::of(craft, world)?;
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    let feed = Feed::as_charged(craft);
    let Some(start) = available.at_thrust(feed, 0.0, weight_n) else { return Ok(None) };
    let least_n = ENOUGH_THRUST_LEFT_TO_WEIGHT * weight_n;
    let lifts = |charge: f64| available.most(feed.at_charge(charge), 0.0).is_some_and(|most| most.thrust_n >= least_n);
    let (ends_at_charge, ends_by) = last_charge(battery.charge, lifts);
    let used = battery.charge - ends_at_charge;
    let inverse_current = |point: u32| {
        let charge = battery.charge - used * (f64::from(point) + 0.5) / f64::from(POINTS);
        available.at_thrust(feed.at_charge(charge), 0.0, weight_n).map_or(f64::NAN, |load| 1.0 / load.current_a)
    };
    let mean = (0..POINTS).map(inverse_current).sum::<f64>() / f64::from(POINTS);
    Ok(Some(HoverEndurance {
        current_a: start.current_a,
        power_w: start.power_w,
        voltage_v: start.voltage_share * battery.full_v,
        minutes: MINUTES_PER_HOUR * battery.capacity_ah * used * mean,
        ends_at_charge,
        ends_by,
    }))
}

fn last_charge(start: f64, lifts: impl Fn(f64) -> bool) -> (f64, &'static str) {
    if !lifts(start) {
        return (start, "thrust left");
    }
    if start <= LANDING_CHARGE {
        return (start, "landing charge");
    }
    if lifts(LANDING_CHARGE) {
        return (LANDING_CHARGE, "landing charge");
    }
    let (mut low, mut high) = (LANDING_CHARGE, start);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if lifts(middle) { high = middle } else { low = middle }
    }
    (high, "thrust left")
}
