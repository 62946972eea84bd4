//! Crafts and settings made for checks: as few parts as the check needs.

use evenkeel::craft::{Body, Craft, Gains, InMovingAir, Limits, Loops, Rotor, Saturation, Spin};
use evenkeel::script::World;
use evenkeel_controller::estimate::AttitudeEstimatorConfig;
use evenkeel_mixer::Axis;
use nalgebra::{Matrix3, Vector3};

/// Neither gravity, nor air, nor wind.
pub const SPACE: World = World::uniform(0.0, 0.0, [0.0; 3]);

/// A body without rotors or drag, centre of mass at the datum.
pub fn bare_body(mass_kg: f64, inertia_kg_m2: Matrix3<f64>) -> Craft {
    Craft {
        name: "bare body".to_owned(),
        body: Body {
            mass_kg,
            center_of_mass_m: [0.0; 3],
            inertia_kg_m2: std::array::from_fn(|i| std::array::from_fn(|j| inertia_kg_m2[(i, j)])),
            drag_area_m2: [0.0; 3],
        },
        rotors: Vec::new(),
        saturation: Saturation {
            priority: vec![vec![Axis::Roll, Axis::Pitch], vec![Axis::Thrust], vec![Axis::Yaw]],
            keep_yaw_sign: true,
        },
        loops: Loops { rate_hz: 1000.0, angle_divider: 4, extra_delay_s: 0.0 },
        gains: Gains::default(),
        limits: Limits::default(),
        dispersion: Default::default(),
        battery: None,
        ground_effect: None,
        figures: Default::default(),
        sensors: evenkeel::sensors::SensorsConfig::PERFECT,
    }
}

/// A body with three principal moments of inertia.
pub fn principal_body(xx: f64, yy: f64, zz: f64) -> Craft {
    bare_body(1.0, Matrix3::from_diagonal(&Vector3::new(xx, yy, zz)))
}

/// A rotor that thrusts up.
pub fn rotor(position_m: [f64; 3], spin: Spin) -> Rotor {
    Rotor {
        name: "rotor".to_owned(),
        position_m,
        axis: [0.0, 0.0, -1.0],
        spin,
        thrust_max_n: 8.0,
        thrust_min_n: 0.3,
        torque_per_thrust_m: 0.016,
        response_time_s: 0.035,
        thrust_curve: None,
        inertia_kg_m2: 0.0,
        speed_max_rad_s: None,
        in_moving_air: InMovingAir::default(),
    }
}

/// Four rotors on a cross of 0.25 m, front right first, clockwise from above, counter-clockwise first.
pub fn quad() -> Craft {
    let mut craft = bare_body(1.6, Matrix3::from_diagonal(&Vector3::new(0.0165, 0.0170, 0.0310)));
    let place = 0.25 * std::f64::consts::FRAC_1_SQRT_2;
    craft.name = "quad".to_owned();
    craft.body.drag_area_m2 = [0.012, 0.014, 0.030];
    craft.rotors = vec![
        rotor([place, place, 0.0], Spin::Ccw),
        rotor([-place, place, 0.0], Spin::Cw),
        rotor([-place, -place, 0.0], Spin::Ccw),
        rotor([place, -place, 0.0], Spin::Cw),
    ];
    craft
}

/// An estimate that trusts the accelerometer enough for a check to see it, and aligns in a second.
pub fn estimator(gravity_m_s2: f64, heading_weight: f64) -> AttitudeEstimatorConfig {
    AttitudeEstimatorConfig {
        kp_per_s: 0.1,
        ki_per_s2: 0.0025,
        heading_weight,
        bias_max_rad_s: 0.1,
        rate_max_rad_s: 35.0,
        gravity_m_s2,
        gate_share: 0.1,
        rate_gate_rad_s: 1.0,
        align_s: 1.0,
        still_rad_s: 0.1,
    }
}
