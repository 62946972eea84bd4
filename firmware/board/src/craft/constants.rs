//! Written by `evenkeel constants`: change the craft file and write it anew. A number changed here makes another craft
//! than the one that was flown and checked, and the host refuses the board.
#![cfg_attr(rustfmt, rustfmt_skip)]
#![allow(unused_imports, reason = "which blocks there are depends on the craft")]
#![allow(clippy::all, reason = "numbers as they came")]

use evenkeel_controller::estimate::AttitudeEstimatorConfig;
use evenkeel_controller::filter::{GyroFilterConfig, NotchBankConfig, SecondOrderLowPassConfig};
use evenkeel_controller::{
    AngleLoopConfig, BatteryConfig, ControllerConfig, DescentConfig, FlightComputerConfig, RateLoopConfig,
    ReferenceConfig, RotorReportsConfig, SampleClockConfig, ShaperConfig, SupervisorConfig,
};
use evenkeel_mixer::Spin::{Ccw, Cw};
use evenkeel_mixer::{Axis, CurvePoint, Priority, Rotor};

/// The craft's name.
pub const NAME: &str = "four-arm survey craft";

/// Rotors.
pub const ROTORS: usize = 4;

/// Most points of a bench table; 0 without one.
pub const POINTS: usize = 0;

/// The rotors, in the order of the craft file.
pub const GEOMETRY: [Rotor; ROTORS] = [
    Rotor {
        position_m: [
            0.1767766952966369,
            0.1767766952966369,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Ccw,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
    },
    Rotor {
        position_m: [
            -0.1767766952966369,
            0.1767766952966369,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Cw,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
    },
    Rotor {
        position_m: [
            -0.1767766952966369,
            -0.1767766952966369,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Ccw,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
    },
    Rotor {
        position_m: [
            0.1767766952966369,
            -0.1767766952966369,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Cw,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
    },
];

/// Centre of mass from the datum, body axes.
pub const CENTER_OF_MASS_M: [f64; 3] = [
    0.0,
    0.0,
    0.015,
];

/// What is met first; the last gives way first.
pub const PRIORITY: Priority = Priority::expect(&[&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]], true);

/// Each rotor's bench table; empty where thrust goes with the command squared.
pub const CURVES: [&[CurvePoint<f64>]; ROTORS] = [
    &[],
    &[],
    &[],
    &[],
];

/// Every block's configuration, gains included.
pub const CONFIG: FlightComputerConfig = FlightComputerConfig {
    gyro_filter: GyroFilterConfig {
        notches: None,
        low_pass: Some(
            SecondOrderLowPassConfig {
                corner_hz: 300.0,
                quality: 0.7071067811865476,
            },
        ),
    },
    estimator: AttitudeEstimatorConfig {
        kp_per_s: 0.003,
        ki_per_s2: 2.25e-6,
        heading_weight: 1.0,
        bias_max_rad_s: 0.1,
        rate_max_rad_s: 34.90658503988659,
        gravity_m_s2: 9.80665,
        gate_share: 0.03,
        rate_gate_rad_s: 0.3,
        align_s: 1.0,
        still_rad_s: 0.1,
    },
    supervisor: SupervisorConfig {
        samples: SampleClockConfig {
            period_s: 0.001,
            late_share: 0.5,
            gap_max_s: 0.05,
            overruns_max: 16,
            window: 64,
        },
        hover_thrust_n: 15.69064,
        thrust_low_share: 0.2,
        arm_tilt_max_rad: 0.2617993877991494,
        arm_rate_max_rad_s: 0.1,
        arm_still_s: 0.5,
        arm_battery_min_share: 0.3,
        standing_max_s: 60.0,
        touch_down_s: 0.5,
        link_timeout_s: 0.5,
        link_good_s: 1.0,
        handback_thrust_min_share: 0.7,
        handback_thrust_max_share: 1.5,
        descent_thrust_share: 0.9,
        descent_max_s: 30.0,
        tilt_max_rad: 1.7453292519943295,
        tilt_level_s: 1.0,
        tilt_stop_s: 3.0,
        sensor_timeout_s: 0.05,
        sensor_good_s: 0.1,
        blind_max_s: 0.5,
    },
    controller: ControllerConfig {
        period_s: 0.001,
        angle_divider: 4,
        rate: [
            RateLoopConfig {
                p_per_s: 45.45345623768149,
                i_per_s2: 258.2520854938533,
                d: 1.1931532262391393,
                d_filter_hz: 18.189136353359466,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 155.24893648080354,
            },
            RateLoopConfig {
                p_per_s: 45.45345623768149,
                i_per_s2: 258.2520854938533,
                d: 1.1931532262391393,
                d_filter_hz: 18.189136353359466,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 150.6827912901917,
            },
            RateLoopConfig {
                p_per_s: 14.958080000000002,
                i_per_s2: 27.96801966080001,
                d: 0.0,
                d_filter_hz: 18.189136353359466,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 7.479040000000001,
            },
        ],
        angle: AngleLoopConfig {
            gain_per_s: [
                6.9083873839534,
                6.9083873839534,
                4.273737142857144,
            ],
            rate_max_rad_s: [
                6.283185307179586,
                6.283185307179586,
                0.875,
            ],
        },
        reference: ReferenceConfig {
            tilt: [
                ShaperConfig {
                    slew_max: 5.026548245743669,
                    acceleration_max: 77.62446824040177,
                    gain_per_s: 13.8167747679068,
                },
                ShaperConfig {
                    slew_max: 5.026548245743669,
                    acceleration_max: 75.34139564509584,
                    gain_per_s: 13.8167747679068,
                },
            ],
            rate: [
                ShaperConfig {
                    slew_max: 77.62446824040177,
                    acceleration_max: 2217.8419497257646,
                    gain_per_s: 28.57142857142857,
                },
                ShaperConfig {
                    slew_max: 75.34139564509584,
                    acceleration_max: 2152.611304145595,
                    gain_per_s: 28.57142857142857,
                },
                ShaperConfig {
                    slew_max: 3.7395200000000006,
                    acceleration_max: 106.84342857142857,
                    gain_per_s: 28.57142857142857,
                },
            ],
            rotor_lag_s: 0.035,
            tilt_max_rad: 0.6108652381980153,
            rate_max_rad_s: [
                6.283185307179586,
                6.283185307179586,
                0.875,
            ],
        },
        inertia_kg_m2: [
            [
                0.0165,
                0.0,
                0.0,
            ],
            [
                0.0,
                0.017,
                0.0,
            ],
            [
                0.0,
                0.0,
                0.031,
            ],
        ],
        tilt_compensation_max: 1.0,
    },
    battery: BatteryConfig {
        voltage_share_min: 0.5,
        smoothing_s: 0.5,
    },
    descent: DescentConfig {
        speed_m_s: 1.0,
        p_share_s_per_m: 0.15,
        i_share_per_m: 0.05,
        share_min: 0.5,
        share_max: 1.3,
    },
    rotor_reports: RotorReportsConfig {
        believe_s: 0.01,
    },
};
