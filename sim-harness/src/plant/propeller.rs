//! How fast a rotor spins at full thrust when its owner did not say: as fast as a typical propeller
//! that gives this thrust with this reaction torque.
//!
//! * Math: T = C_T·ρ·n²·D⁴ and Q = C_P·ρ·n²·D⁵/(2π), so D = (Q/T)·2π·C_T/C_P and n = √(T/(C_T·ρ·D⁴)),
//!   n in turns a second
//! * Source: definitions from J.B. Brandt, M.S. Selig, AIAA 2011-1255. The two coefficients
//!   are the rounded means of that data set's static values above 5,000 turns a minute for a 10x4.7 and
//!   an 11x4.7 propeller (read in a secondary transcription)
//! * Accuracy: within [`TYPICAL_SPEED_TOL`] on those two, above 5,000 turns a minute; a propeller of high pitch turns
//!   up to twice as fast as this says. It only matters where a rotor has an inertia

use std::f64::consts::TAU;

use super::RATED_AIR_DENSITY_KG_M3;
use crate::craft::{Inflow, Rotor};

/// Static thrust coefficient C_T = T/(ρ·n²·D⁴).
pub const TYPICAL_THRUST_COEFFICIENT: f64 = 0.125;
/// Static power coefficient C_P = P/(ρ·n³·D⁵).
pub const TYPICAL_POWER_COEFFICIENT: f64 = 0.05;
/// Relative error of the speed on propellers of low pitch.
pub const TYPICAL_SPEED_TOL: f64 = 0.10;

/// Speed at `thrust_n` of a typical propeller whose reaction torque is `torque_per_thrust_m` times
/// its thrust, rad/s.
///
/// Without reaction torque nothing tells the diameter: 0, and the rotor carries no momentum.
pub fn typical_speed_rad_s(thrust_n: f64, torque_per_thrust_m: f64) -> f64 {
    let diameter_m = typical_diameter_m(torque_per_thrust_m);
    if diameter_m > 0.0 { speed_rad_s(thrust_n, TYPICAL_THRUST_COEFFICIENT, diameter_m) } else { 0.0 }
}

/// Diameter of a typical propeller whose reaction torque is `torque_per_thrust_m` times its thrust; 0 without torque.
pub fn typical_diameter_m(torque_per_thrust_m: f64) -> f64 {
    if torque_per_thrust_m > 0.0 {
        torque_per_thrust_m * TAU * TYPICAL_THRUST_COEFFICIENT / TYPICAL_POWER_COEFFICIENT
    } else {
        0.0
    }
}

/// Speed of a rotor at full thrust: as its owner says, else by its propeller table and diameter, else that of a typical propeller.
pub fn full_speed_rad_s(rotor: &Rotor) -> f64 {
    let said = rotor.speed_max_rad_s.or_else(|| own_speed_rad_s(rotor));
    said.unwrap_or_else(|| typical_speed_rad_s(rotor.thrust_max_n, rotor.torque_per_thrust_m))
}

/// By the rotor's own propeller table and diameter; `None` without either.
fn own_speed_rad_s(rotor: &Rotor) -> Option<f64> {
    let Inflow::Table(table) = &rotor.in_moving_air.inflow else { return None };
    let coefficient = *table.thrust_coefficient.first()?;
    Some(speed_rad_s(rotor.thrust_max_n, coefficient, rotor.in_moving_air.diameter_m?))
}

fn speed_rad_s(thrust_n: f64, thrust_coefficient: f64, diameter_m: f64) -> f64 {
    let square_m2 = diameter_m * diameter_m;
    TAU * (thrust_n / (thrust_coefficient * RATED_AIR_DENSITY_KG_M3)).sqrt() / square_m2
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    /// The two definitions, backwards: the propeller found gives the thrust and torque asked for.
    #[test]
    fn gives_the_thrust_and_torque_asked_for_when_put_back_into_the_definitions() {
        let (thrust_n, ratio_m) = (8.0, 0.016);
        let turns_per_s = typical_speed_rad_s(thrust_n, ratio_m) / TAU;
        let disc = TYPICAL_THRUST_COEFFICIENT * RATED_AIR_DENSITY_KG_M3 * turns_per_s * turns_per_s;
        let diameter_m = (thrust_n / disc).powf(0.25);
        let power = TYPICAL_POWER_COEFFICIENT * RATED_AIR_DENSITY_KG_M3 * turns_per_s.powi(3) * diameter_m.powi(5);
        let torque_nm = power / (TAU * turns_per_s);
        assert!((torque_nm / (ratio_m * thrust_n) - 1.0).abs() < EXACT_TOL, "{torque_nm}");
    }

    #[test]
    fn stands_still_when_nothing_tells_the_diameter() {
        for ratio_m in [0.0, -0.0, -0.01, f64::NAN] {
            assert_eq!(typical_speed_rad_s(8.0, ratio_m), 0.0);
        }
    }
}
