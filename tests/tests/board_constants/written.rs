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
pub const NAME: &str = "thrust before tilt";

/// Rotors.
pub const ROTORS: usize = 6;

/// Most points of a bench table; 0 without one.
pub const POINTS: usize = 5;

/// The rotors, in the order of the craft file.
pub const GEOMETRY: [Rotor; ROTORS] = [
    Rotor {
        position_m: [
            0.36,
            0.0,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Ccw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
    Rotor {
        position_m: [
            0.18,
            0.3118,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Cw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
    Rotor {
        position_m: [
            -0.18,
            0.3118,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Ccw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
    Rotor {
        position_m: [
            -0.36,
            0.0,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Cw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
    Rotor {
        position_m: [
            -0.18,
            -0.3118,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Ccw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
    Rotor {
        position_m: [
            0.18,
            -0.3118,
            0.0,
        ],
        axis: [
            0.0,
            0.0,
            -1.0,
        ],
        spin: Cw,
        torque_per_thrust_m: 0.018,
        thrust_min_n: 0.6,
        thrust_max_n: 15.0,
    },
];

/// Centre of mass from the datum, body axes.
pub const CENTER_OF_MASS_M: [f64; 3] = [
    0.01,
    0.0,
    0.03,
];

/// What is met first; the last gives way first.
pub const PRIORITY: Priority = Priority::expect(&[&[Axis::Thrust], &[Axis::Pitch, Axis::Roll], &[Axis::Yaw]], false);

/// Each rotor's bench table; empty where thrust goes with the command squared.
pub const CURVES: [&[CurvePoint<f64>]; ROTORS] = [
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
    &[CurvePoint { command: 0.1, thrust_n: 0.4 }, CurvePoint { command: 0.25, thrust_n: 1.6 }, CurvePoint { command: 0.5, thrust_n: 4.9 }, CurvePoint { command: 0.75, thrust_n: 9.5 }, CurvePoint { command: 1.0, thrust_n: 15.0 }],
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
        hover_thrust_n: 39.2266,
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
                p_per_s: 33.89769930000128,
                i_per_s2: 143.6317522291634,
                d: 1.2711637237500482,
                d_filter_hz: 12.732395447351628,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 97.28556826604998,
            },
            RateLoopConfig {
                p_per_s: 33.89769930000128,
                i_per_s2: 143.6317522291634,
                d: 1.2711637237500482,
                d_filter_hz: 12.732395447351628,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 76.91389583333333,
            },
            RateLoopConfig {
                p_per_s: 7.775170685706587,
                i_per_s2: 7.556659898983879,
                d: 0.0,
                d_filter_hz: 12.732395447351628,
                set_point_weight: 1.0,
                feed_forward: 1.0,
                integral_max_rad_s2: 3.8875853428532934,
            },
        ],
        angle: AngleLoopConfig {
            gain_per_s: [
                4.975085231347222,
                4.975085231347222,
                2.2214773387733104,
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
                    acceleration_max: 48.64278413302499,
                    gain_per_s: 9.950170462694444,
                },
                ShaperConfig {
                    slew_max: 5.026548245743669,
                    acceleration_max: 38.456947916666664,
                    gain_per_s: 9.950170462694444,
                },
            ],
            rate: [
                ShaperConfig {
                    slew_max: 48.64278413302499,
                    acceleration_max: 972.8556826604997,
                    gain_per_s: 20.0,
                },
                ShaperConfig {
                    slew_max: 38.456947916666664,
                    acceleration_max: 769.1389583333332,
                    gain_per_s: 20.0,
                },
                ShaperConfig {
                    slew_max: 1.9437926714266467,
                    acceleration_max: 38.875853428532935,
                    gain_per_s: 20.0,
                },
            ],
            rotor_lag_s: 0.05,
            tilt_max_rad: 0.6108652381980153,
            rate_max_rad_s: [
                6.283185307179586,
                6.283185307179586,
                0.875,
            ],
        },
        inertia_kg_m2: [
            [
                0.09,
                0.0,
                -0.002,
            ],
            [
                0.0,
                0.096,
                0.0,
            ],
            [
                -0.002,
                0.0,
                0.165,
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
