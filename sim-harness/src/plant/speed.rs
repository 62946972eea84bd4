//! The rotor model backwards: how fast a rotor turns to give a thrust.
//!
//! * Math, s the speed as a share of full speed: T = f_max·s²·(ρ/ρ₀)·t. Without inflow t = 1. By momentum theory at
//!   constant power, with w = V/2 + √(V²/4 + T/(2ρA)) the air through the disc, T·w = T₀·√(T₀/(2ρA)) and T₀ is the static
//!   thrust at the same speed. With a propeller table t = C_T(V/(n·D))/C_T(0), solved by halving
//! * Source: J.G. Leishman, Principles of Helicopter Aerodynamics, 2nd ed., ch. 2 (from memory)

use std::f64::consts::TAU;

use super::RATED_AIR_DENSITY_KG_M3;
use super::inflow::{Inflow, momentum_per_square_speed};
use super::propeller::{full_speed_rad_s, typical_diameter_m};
use crate::craft::{self, Rotor};

/// A table is looked up at most at this share of full speed.
const FASTEST_SHARE: f64 = 8.0;
/// Halvings of that range: the speed is known to a rounding.
const HALVINGS: u32 = 60;

/// Speed, as a share of full speed, at which `rotor` gives `thrust_n` in air of this density while it moves through it at
/// `axial_m_s` along its thrust. May lie above 1: more than the rotor has. Infinite in a vacuum.
pub fn speed_share(rotor: &Rotor, thrust_n: f64, axial_m_s: f64, air_density_kg_m3: f64) -> f64 {
    let full_n = rotor.thrust_max_n * air_density_kg_m3 / RATED_AIR_DENSITY_KG_M3;
    let static_share = |static_n: f64| (static_n.max(0.0) / full_n).sqrt();
    if !(axial_m_s > 0.0 && thrust_n > 0.0) {
        return static_share(thrust_n);
    }
    let diameter_m = rotor.in_moving_air.diameter_m.unwrap_or_else(|| typical_diameter_m(rotor.torque_per_thrust_m));
    match &rotor.in_moving_air.inflow {
        craft::Inflow::Ignored => static_share(thrust_n),
        craft::Inflow::Momentum => {
            let momentum = momentum_per_square_speed(air_density_kg_m3, diameter_m);
            if !(momentum > 0.0) {
                return static_share(thrust_n);
            }
            let half_m_s = 0.5 * axial_m_s;
            let through_m_s = half_m_s + (half_m_s * half_m_s + thrust_n / momentum).sqrt();
            static_share((thrust_n * through_m_s * momentum.sqrt()).powf(2.0 / 3.0))
        }
        table @ craft::Inflow::Table(_) => {
            let inflow = Inflow::new(table);
            let travel_m_s = full_speed_rad_s(rotor) / TAU * diameter_m;
            let thrust = |share: f64| full_n * share * share * inflow.shares(axial_m_s, travel_m_s * share, 0.0).thrust;
            least_share(thrust_n, thrust)
        }
    }
}

fn least_share(thrust_n: f64, thrust: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (0.0, FASTEST_SHARE);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if thrust(middle) < thrust_n { low = middle } else { high = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use nalgebra::Vector3;

    use super::*;
    use crate::craft::{InMovingAir, Inflow as Air, PropellerTable};
    use crate::plant::rotor::{self, Flow};
    use crate::plant::specimen;

    /// The model's cubic is solved to rounding.
    const BACK_TOL: f64 = 1e-9;
    const DENSITY: f64 = 0.9;

    fn table() -> Air {
        Air::Table(PropellerTable {
            advance_ratio: vec![0.0, 0.2, 0.4, 0.6],
            thrust_coefficient: vec![0.1, 0.09, 0.06, 0.01],
            power_coefficient: vec![0.05, 0.05, 0.04, 0.02],
        })
    }

    #[test]
    fn gives_back_the_speed_when_the_model_has_made_a_thrust_of_it() {
        for inflow in [Air::Ignored, Air::Momentum, table()] {
            let mut craft = specimen::rotor();
            craft.in_moving_air = InMovingAir { diameter_m: Some(0.3), inflow, drag_n_per_m_s: 0.01 };
            let model = rotor::Rotor::new(&craft, &Vector3::zeros(), DENSITY, None);
            for share in [0.3, 0.7, 1.0] {
                for climb_m_s in [-2.0, 0.0, 1.0, 4.0] {
                    let flow = Flow {
                        airspeed_m_s: Vector3::new(6.0, 0.0, -climb_m_s),
                        rate_rad_s: Vector3::zeros(),
                        height_m: 100.0,
                        down: Vector3::z(),
                        density_share: 1.0,
                    };
                    let thrust_n = model.load(share, 1.0, &flow).thrust_n;
                    let back = speed_share(&craft, thrust_n, climb_m_s, DENSITY);
                    assert!((back / share - 1.0).abs() < BACK_TOL, "{share} at {climb_m_s} m/s: {back}");
                }
            }
        }
    }

    #[test]
    fn is_infinite_when_there_is_no_air() {
        let rotor = specimen::rotor();
        assert_eq!(speed_share(&rotor, 1.0, 0.0, 0.0), f64::INFINITY);
    }
}
