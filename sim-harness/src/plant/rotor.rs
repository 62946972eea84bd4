//! One rotor: thrust, torque and momentum from its speed and the air it moves through.
//!
//! * Math: static thrust f = f_max·s²·ρ/ρ₀ and torque k·f; in moving air f·t·(1 + γ) and k·f·p, with t and p from
//!   [`inflow`](super::inflow) and γ from [`ground_effect`](super::ground_effect); drag −d·s·(ρ/ρ₀)·v across the axis, at the hub
//! * Source of the linear drag: its form is that of blade-element theory for small v, J.G. Leishman, Principles of Helicopter
//!   Aerodynamics, 2nd ed. (from memory)

use nalgebra::Vector3;

use super::RATED_AIR_DENSITY_KG_M3;
use super::ground_effect;
use super::inflow::{Inflow, Shares, momentum_per_square_speed};
use super::propeller::{full_speed_rad_s, typical_diameter_m};
use super::thrust_curve::ThrustCurve;
use crate::craft::{self, GroundEffect, Spin};

/// What one rotor adds, prepared so that a step only multiplies.
#[derive(Clone, Debug)]
pub(super) struct Rotor {
    pub(super) curve: ThrustCurve,
    pub(super) response_time_s: f64,
    /// Thrust at full speed in the air on the ground.
    full_thrust_n: f64,
    /// Thrust direction.
    axis: Vector3<f64>,
    /// Torque about the centre of mass per newton of static thrust.
    torque_per_newton_m: Vector3<f64>,
    /// Reaction torque per newton of static thrust.
    reaction_m: f64,
    pub(super) full_speed_rad_s: f64,
    /// Angular momentum at full speed, kg·m²/s.
    pub(super) full_momentum: Vector3<f64>,
    /// `None`: nothing but its speed and the density counts.
    moving_air: Option<MovingAir>,
}

#[derive(Clone, Debug)]
struct MovingAir {
    inflow: Inflow,
    arm_m: Vector3<f64>,
    /// Reaction torque on the body per newton of static thrust.
    reaction: Vector3<f64>,
    /// n·D at full speed, the travel a second at which J is 1.
    full_travel_m_s: f64,
    /// 2·ρ·A in the air on the ground.
    momentum_per_square_speed: f64,
    /// At full speed in the air on the ground.
    full_drag_n_per_m_s: f64,
    radius_m: f64,
    near_ground: bool,
}

/// How the body moves through the air, body axes.
pub(super) struct Flow {
    pub(super) airspeed_m_s: Vector3<f64>,
    /// Relative to the air, which may turn too.
    pub(super) rate_rad_s: Vector3<f64>,
    /// Of the centre of mass above the ground.
    pub(super) height_m: f64,
    /// Where down is.
    pub(super) down: Vector3<f64>,
    /// Share of the density on the ground.
    pub(super) density_share: f64,
}

/// What a rotor does to the body, body axes; torque about the centre of mass.
pub(super) struct RotorLoad {
    pub(super) thrust_n: f64,
    pub(super) force_n: Vector3<f64>,
    pub(super) torque_nm: Vector3<f64>,
    /// Of the shaft.
    pub(super) reaction_nm: f64,
}

impl Rotor {
    pub(super) fn new(
        rotor: &craft::Rotor,
        center_of_mass_m: &Vector3<f64>,
        air_density_kg_m3: f64,
        ground_effect: Option<GroundEffect>,
    ) -> Rotor {
        let axis = Vector3::from(rotor.axis);
        let arm_m = Vector3::from(rotor.position_m) - center_of_mass_m;
        let reaction_sign = match rotor.spin {
            Spin::Cw => 1.0,
            Spin::Ccw => -1.0,
        };
        let full_speed_rad_s = full_speed_rad_s(rotor);
        let reaction = axis * (reaction_sign * rotor.torque_per_thrust_m);
        let plain = rotor.in_moving_air.inflow == craft::Inflow::Ignored && rotor.in_moving_air.drag_n_per_m_s == 0.0;
        let moving_air = || {
            let air = &rotor.in_moving_air;
            let diameter_m = air.diameter_m.unwrap_or_else(|| typical_diameter_m(rotor.torque_per_thrust_m));
            MovingAir {
                inflow: Inflow::new(&air.inflow),
                arm_m,
                reaction,
                full_travel_m_s: full_speed_rad_s / std::f64::consts::TAU * diameter_m,
                momentum_per_square_speed: momentum_per_square_speed(air_density_kg_m3, diameter_m),
                full_drag_n_per_m_s: air.drag_n_per_m_s * air_density_kg_m3 / RATED_AIR_DENSITY_KG_M3,
                radius_m: 0.5 * diameter_m,
                near_ground: ground_effect.is_some() && diameter_m > 0.0,
            }
        };
        Rotor {
            curve: ThrustCurve::new(rotor),
            response_time_s: rotor.response_time_s,
            full_thrust_n: rotor.thrust_max_n * air_density_kg_m3 / RATED_AIR_DENSITY_KG_M3,
            axis,
            torque_per_newton_m: arm_m.cross(&axis) + reaction,
            reaction_m: rotor.torque_per_thrust_m,
            full_speed_rad_s,
            full_momentum: axis * (-reaction_sign * rotor.inertia_kg_m2 * full_speed_rad_s),
            moving_air: (!plain || ground_effect.is_some()).then(moving_air),
        }
    }

    /// `left`: the share of thrust and torque that a fault leaves.
    pub(super) fn load(&self, speed: f64, left: f64, flow: &Flow) -> RotorLoad {
        let static_n = self.full_thrust_n * speed * speed * flow.density_share * left;
        match &self.moving_air {
            None => RotorLoad {
                thrust_n: static_n,
                force_n: self.axis * static_n,
                torque_nm: self.torque_per_newton_m * static_n,
                reaction_nm: self.reaction_m * static_n,
            },
            Some(air) => self.load_in_moving_air(air, speed, static_n, flow),
        }
    }

    fn load_in_moving_air(&self, air: &MovingAir, speed: f64, static_n: f64, flow: &Flow) -> RotorLoad {
        let hub_m_s = flow.airspeed_m_s + flow.rate_rad_s.cross(&air.arm_m);
        let axial_m_s = hub_m_s.dot(&self.axis);
        let edgewise_m_s = hub_m_s - self.axis * axial_m_s;
        let momentum = air.momentum_per_square_speed * flow.density_share;
        let hover_square = if momentum > 0.0 { static_n / momentum } else { 0.0 };
        let Shares { thrust, torque } = air.inflow.shares(axial_m_s, air.full_travel_m_s * speed, hover_square);
        let mut thrust_n = static_n * thrust;
        if air.near_ground && hover_square > 0.0 {
            let height_in_radii = (flow.height_m - flow.down.dot(&air.arm_m)) / air.radius_m;
            let edgewise_square = edgewise_m_s.norm_squared() / hover_square;
            thrust_n += thrust_n * ground_effect::gain(height_in_radii, edgewise_square, &self.axis, &flow.down);
        }
        let force_n = self.axis * thrust_n - edgewise_m_s * (air.full_drag_n_per_m_s * speed * flow.density_share);
        let shaft_n = static_n * torque;
        RotorLoad {
            thrust_n,
            force_n,
            torque_nm: air.arm_m.cross(&force_n) + air.reaction * shaft_n,
            reaction_nm: self.reaction_m * shaft_n,
        }
    }
}
