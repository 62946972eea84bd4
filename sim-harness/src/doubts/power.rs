//! What the rotors draw: shaft power in hover, and the thrust a battery carries.
//!
//! * Math: P = Q·Ω; ideal P = T^1.5/√(2ρA); figure of merit = ideal/P. All rotors give the same share of their thrust in hover
//! * Source: momentum theory, J.G. Leishman, Principles of Helicopter Aerodynamics, 2nd ed., ch. 2 (from memory)

use std::f64::consts::{PI, TAU};

use crate::craft::{Craft, Inflow, Rotor};
use crate::plant::{RATED_AIR_DENSITY_KG_M3, TYPICAL_THRUST_COEFFICIENT, full_speed_rad_s, typical_diameter_m};

/// Halvings of the voltage share: known to a rounding.
const HALVINGS: u32 = 60;

/// Power that a rotor with this disc needs at least to hover with `thrust_n`, W.
pub fn ideal_hover_power_w(thrust_n: f64, diameter_m: f64, air_density_kg_m3: f64) -> f64 {
    let disc_m2 = 0.25 * PI * diameter_m * diameter_m;
    thrust_n * (thrust_n / (2.0 * air_density_kg_m3 * disc_m2)).sqrt()
}

/// Ideal hover power over the shaft power that torque and speed make, at any thrust of one rotor.
pub fn figure_of_merit(
    thrust_n: f64,
    torque_nm: f64,
    speed_rad_s: f64,
    diameter_m: f64,
    air_density_kg_m3: f64,
) -> f64 {
    ideal_hover_power_w(thrust_n, diameter_m, air_density_kg_m3) / (torque_nm * speed_rad_s)
}

/// The diameter that its owner gives, else that of a typical propeller; `None` when nothing tells it.
pub(super) fn diameter_m(rotor: &Rotor) -> Option<f64> {
    let typical_m = typical_diameter_m(rotor.torque_per_thrust_m);
    rotor.in_moving_air.diameter_m.or((typical_m > 0.0).then_some(typical_m))
}

/// Whether speed or size of the rotor stand in the file.
pub(super) fn is_sized(rotor: &Rotor) -> bool {
    rotor.speed_max_rad_s.is_some() || rotor.in_moving_air.diameter_m.is_some()
}

/// Speed at full thrust: as given, else from the propeller's size.
fn speed_rad_s(rotor: &Rotor) -> f64 {
    match (rotor.speed_max_rad_s, &rotor.in_moving_air.inflow, rotor.in_moving_air.diameter_m) {
        (None, Inflow::Ignored | Inflow::Momentum, Some(diameter_m)) => {
            let disc = TYPICAL_THRUST_COEFFICIENT * RATED_AIR_DENSITY_KG_M3;
            TAU * (rotor.thrust_max_n / disc).sqrt() / (diameter_m * diameter_m)
        }
        _ => full_speed_rad_s(rotor),
    }
}

/// Shaft power of all rotors at full command and full voltage, W.
fn full_power_w(craft: &Craft) -> f64 {
    craft.rotors.iter().map(|rotor| rotor.torque_per_thrust_m * rotor.thrust_max_n * speed_rad_s(rotor)).sum()
}

/// Thrust straight up at full command and full voltage, N.
pub(super) fn full_thrust_n(craft: &Craft) -> f64 {
    craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum()
}

/// Shaft power in hover, W: it goes with thrust to the power of 1.5.
pub(super) fn hover_power_w(craft: &Craft, gravity_m_s2: f64) -> f64 {
    full_power_w(craft) * (craft.body.mass_kg * gravity_m_s2 / full_thrust_n(craft)).powf(1.5)
}

/// Thrust straight up at full command that the full battery carries: its voltage falls as the current rises, N.
pub(super) fn thrust_under_load_n(craft: &Craft) -> f64 {
    let Some(battery) = &craft.battery else { return full_thrust_n(craft) };
    let full_w = full_power_w(craft) / battery.efficiency;
    // At a share v of full voltage the rotors turn v times as fast: E = V + P·R/V decides v.
    let too_high = |v: f64| {
        let terminal_v = v * battery.full_v;
        terminal_v + full_w * v.powi(3) * battery.resistance_ohm / terminal_v > battery.full_v
    };
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if too_high(middle) { high = middle } else { low = middle }
    }
    full_thrust_n(craft) * low * low
}
