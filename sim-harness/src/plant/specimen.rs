//! A craft for the unit tests of the plant's parts.

use crate::craft::{Body, Craft, Gains, InMovingAir, Limits, Loops, Rotor, Saturation, Spin};

pub(crate) fn rotor() -> Rotor {
    Rotor {
        name: "rotor".to_owned(),
        position_m: [0.0; 3],
        axis: [0.0, 0.0, -1.0],
        spin: Spin::Cw,
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

/// Two kilograms with a radius of gyration of 0.1 m about every axis, and these rotors.
pub(crate) fn craft(rotors: Vec<Rotor>) -> Craft {
    Craft {
        name: "specimen".to_owned(),
        body: Body {
            mass_kg: 2.0,
            center_of_mass_m: [0.0; 3],
            inertia_kg_m2: [[0.02, 0.0, 0.0], [0.0, 0.02, 0.0], [0.0, 0.0, 0.02]],
            drag_area_m2: [0.01, 0.02, 0.03],
        },
        rotors,
        saturation: Saturation { priority: Vec::new(), keep_yaw_sign: true },
        loops: Loops { rate_hz: 1000.0, angle_divider: 4, extra_delay_s: 0.0 },
        gains: Gains::default(),
        limits: Limits::default(),
        dispersion: Default::default(),
        battery: None,
        ground_effect: None,
        figures: Default::default(),
        sensors: crate::sensors::SensorsConfig::PERFECT,
    }
}
