//! An invented craft with invented flights to render: closed-form curves, no simulation behind them. Its loops are its own.

use std::f64::consts::{PI, TAU};

use evenkeel_mixer::{Axis, Spin, Wrench};

use crate::craft::{Body, Craft, Gains, InMovingAir, Limits, Loops, Rotor, Saturation};
use crate::margins::LoopResponse;
use crate::recording::{Recording, Row};
use crate::verdict::{Check, Fact, FirstLimit, FlightReport, Limit, Preflight, StickResponse};

const PERIOD_S: f64 = 0.02;
const WEIGHT_N: f64 = 1.6 * 9.806_65;
const NAMES: [&str; 4] = ["front right", "rear right", "rear left", "front left"];
const PLACES_M: [[f64; 2]; 4] = [[0.177, 0.177], [-0.177, 0.177], [-0.177, -0.177], [0.177, -0.177]];

/// A craft whose checks are all held.
pub fn fit() -> (Preflight, Craft) {
    let flights = vec![hover(), climb(), yaw(), forward(), circle(), upset()];
    let bench = vec![
        check("bench.thrust_to_weight", "Thrust to weight", 2.04, "", Limit::at_least(1.8), "common practice"),
        check(
            "bench.balance",
            "Hover thrust of a rotor, most to least",
            1.0,
            "",
            Limit::at_most(1.25),
            "common practice",
        ),
        check(
            "bench.gain_margin",
            "Least gain margin of the rate loops",
            9.87,
            "dB",
            Limit::at_least(6.0),
            "sample text",
        ),
        check(
            "bench.phase_margin",
            "Least phase margin of the rate loops",
            58.2,
            "deg",
            Limit::at_least(45.0),
            "sample text",
        ),
    ];
    let facts = [
        ("Take-off mass", "1.6 kg"),
        ("Rotors", "4, in a cross"),
        ("Thrust, all together", "32 N"),
        ("Hover thrust of a rotor", "3.92 N, 49 % of its ceiling"),
        ("Mixer", "roll and pitch, then thrust, then yaw; yaw never reversed"),
    ];
    let craft = craft();
    let preflight = Preflight {
        craft: "survey quad".into(),
        doubts: Vec::new(),
        mend: None,
        facts: facts.map(|(title, value)| Fact { title, value: value.into() }).to_vec(),
        sticks: sticks(),
        first_limits: first_limits(),
        saturation: None,
        loops: LoopResponse::all(&craft, 9.806_65).unwrap(),
        bench,
        flights,
    };
    (preflight, craft)
}

/// The same craft with too little yaw and a short hover.
pub fn unfit() -> (Preflight, Craft) {
    let (mut preflight, craft) = fit();
    let margin = &mut preflight.bench[3];
    (margin.value, margin.held) = (44.96, false);
    margin.mend = Some("Lower the rate gain in [gains], or shorten the delay between command and rotor.".into());
    let yaw = &mut preflight.flights[2].checks[0];
    (yaw.value, yaw.held) = (21.4, false);
    yaw.mend = Some("Propellers with more reaction torque, rotors tilted a few degrees, or less yaw asked for.".into());
    (preflight, craft)
}

fn check(id: &str, title: &str, value: f64, unit: &'static str, limit: Limit, source: &str) -> Check {
    let held = limit.holds(value);
    Check { id: id.into(), title: title.into(), held, value, unit, limit, source: source.into(), mend: None }
}

pub fn craft() -> Craft {
    let rotors = NAMES.iter().zip(PLACES_M).enumerate().map(|(k, (name, [x, y]))| Rotor {
        name: (*name).into(),
        position_m: [x, y, 0.0],
        axis: [0.0, 0.0, -1.0],
        spin: if k % 2 == 0 { Spin::Ccw } else { Spin::Cw },
        thrust_max_n: 8.0,
        thrust_min_n: 0.3,
        torque_per_thrust_m: 0.016,
        response_time_s: 0.035,
        thrust_curve: None,
        inertia_kg_m2: 0.0,
        speed_max_rad_s: None,
        in_moving_air: InMovingAir::default(),
    });
    Craft {
        name: "survey quad".into(),
        body: Body {
            mass_kg: 1.6,
            center_of_mass_m: [0.0; 3],
            inertia_kg_m2: [[0.0165, 0.0, 0.0], [0.0, 0.017, 0.0], [0.0, 0.0, 0.031]],
            drag_area_m2: [0.012, 0.014, 0.03],
        },
        rotors: rotors.collect(),
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
        sensors: crate::sensors::SensorsConfig::PERFECT,
    }
}

fn sticks() -> Vec<StickResponse> {
    let of = |picked: &[usize]| picked.iter().map(|&k| NAMES[k].to_owned()).collect::<Vec<_>>();
    let response =
        |stick, faster: &[usize], slower: &[usize]| StickResponse { stick, faster: of(faster), slower: of(slower) };
    vec![
        response("thrust up", &[0, 1, 2, 3], &[]),
        response("roll right", &[2, 3], &[0, 1]),
        response("nose up", &[0, 3], &[1, 2]),
        response("nose right", &[0, 2], &[1, 3]),
    ]
}

fn first_limits() -> Vec<FirstLimit> {
    let limit = |demand, value, unit, turn, by: &[usize]| FirstLimit {
        demand,
        value,
        unit,
        above_hover_n: (unit == "N").then_some(value - WEIGHT_N),
        acceleration_rad_s2: turn,
        stopped_by: by
            .iter()
            .map(|&k| format!("{} at its {}", NAMES[k], if unit == "N" { "ceiling" } else { "floor" }))
            .collect(),
    };
    vec![
        limit("thrust", 32.0, "N", None, &[0, 1, 2, 3]),
        limit("roll right", 2.565, "N·m", Some(155.5), &[0, 1]),
        limit("nose up", 2.565, "N·m", Some(150.9), &[1, 2]),
        limit("nose right", 0.2317, "N·m", Some(7.475), &[1, 3]),
    ]
}

/// Position, velocity, roll-pitch-yaw and torque demand at one time.
type Instant = ([f64; 3], [f64; 3], [f64; 3], [f64; 3]);

fn record(duration_s: f64, at: impl Fn(f64) -> Instant) -> Recording {
    let row = |k: usize| {
        let t_s = k as f64 * PERIOD_S;
        let (position_m, velocity_m_s, angles, torque) = at(t_s);
        // A ripple, so that the curves are as busy as recorded ones.
        let ripple = |k: f64| 0.004 * ((97.0 + 11.0 * k) * t_s).sin() + 0.003 * ((61.3 + 7.0 * k) * t_s).cos();
        let [roll_nm, pitch_nm, yaw_nm] =
            [torque[0] + ripple(1.0), torque[1] + ripple(2.0), torque[2] + 0.1 * ripple(3.0)];
        let thrust_n = WEIGHT_N / (angles[0].cos() * angles[1].cos()).max(0.5);
        let demand = Wrench { thrust_n, roll_nm, pitch_nm, yaw_nm };
        let held = |torque: f64, most: f64| torque.clamp(-most, most);
        let achieved =
            Wrench { roll_nm: held(roll_nm, 2.5), pitch_nm: held(pitch_nm, 2.5), yaw_nm: held(yaw_nm, 0.2), ..demand };
        let rotor_n: Vec<f64> = PLACES_M
            .iter()
            .zip([1.0, -1.0, 1.0, -1.0])
            .map(|([x, y], turn)| {
                let share = thrust_n - achieved.roll_nm / y + achieved.pitch_nm / x + turn * achieved.yaw_nm / 0.016;
                (share / 4.0).clamp(0.3, 8.0)
            })
            .collect();
        let command = rotor_n.iter().map(|n| (n / 8.0).sqrt()).collect();
        Row {
            t_s,
            position_m,
            velocity_m_s,
            attitude: quaternion(angles),
            rate_rad_s: [0.0; 3],
            demand,
            achieved,
            rotor_n,
            command,
            on_board: crate::recording::OnBoard::default(),
        }
    };
    Recording { rows: (0..=(duration_s / PERIOD_S).round() as usize).map(row).collect() }
}

fn quaternion([roll, pitch, yaw]: [f64; 3]) -> [f64; 4] {
    let [(sr, cr), (sp, cp), (sy, cy)] = [roll, pitch, yaw].map(|angle| (angle / 2.0).sin_cos());
    let q = [
        cr * cp * cy + sr * sp * sy,
        sr * cp * cy - cr * sp * sy,
        cr * sp * cy + sr * cp * sy,
        cr * cp * sy - sr * sp * cy,
    ];
    q.map(|part| part * q[0].signum())
}

fn flight(
    id: &'static str,
    title: &'static str,
    asked: &str,
    recording: Recording,
    checks: Vec<Check>,
) -> FlightReport {
    FlightReport { id, title, asked: asked.into(), checks, recording }
}

fn hover() -> FlightReport {
    let curve = record(60.0, |t| {
        (
            [0.02 * (0.7 * t).sin(), 0.02 * (0.5 * t).cos(), -3.0 - 0.03 * (0.9 * t).sin()],
            [0.014, 0.01, -0.02],
            [0.004 * (1.1 * t).sin(), 0.004 * (1.3 * t).cos(), 0.0],
            [0.0; 3],
        )
    });
    flight(
        "hover",
        "Hover",
        "Hold 3 m above the ground, level, for 60 s.",
        curve,
        vec![
            check("hover.height", "Height, furthest from 3 m", 0.0302, "m", Limit::at_most(0.2), "common practice"),
            check(
                "hover.spread",
                "Rotor thrusts, widest apart",
                0.051,
                "N",
                Limit::at_most(0.4),
                "a balanced craft hovers with equal rotors: common practice",
            ),
        ],
    )
}

fn climb() -> FlightReport {
    let curve = record(30.0, |t| {
        let speed = 2.0 * (1.0 - (-t / 0.8).exp());
        ([0.0, 0.0, -(2.0 * t - 1.6 * (1.0 - (-t / 0.8).exp()))], [0.0, 0.0, -speed], [0.0; 3], [0.0; 3])
    });
    flight(
        "climb",
        "Take-off and climb",
        "From the ground, climb at 2 m/s for 30 s.",
        curve,
        vec![check(
            "climb.speed",
            "Climb speed at the end",
            2.0,
            "m/s",
            Limit::between(1.9, 2.1),
            "the speed asked for, within 5 %",
        )],
    )
}

fn yaw() -> FlightReport {
    let curve = record(30.0, |t| {
        ([0.0, 0.0, -5.0], [0.0; 3], [0.0, 0.0, 0.7 * t], [0.0, 0.0, if t < 2.0 { 0.31 } else { 0.02 }])
    });
    flight(
        "yaw",
        "Yaw",
        "Turn nose right at 40 deg/s for 30 s, height held.",
        curve,
        vec![
            check(
                "yaw.rate",
                "Yaw rate reached",
                40.0,
                "deg/s",
                Limit::at_least(36.0),
                "the rate asked for, within 10 %",
            ),
            check("yaw.height", "Height, furthest from 5 m", 0.061, "m", Limit::at_most(0.5), "common practice"),
        ],
    )
}

fn forward() -> FlightReport {
    let curve = record(60.0, |t| {
        let speed = 14.2 * (t / 9.0).tanh();
        (
            [14.2 * 9.0 * (t / 9.0).cosh().ln(), 0.05 * t, -30.0],
            [speed, 0.05, 0.0],
            [0.0, -0.297 * (t / 0.4).tanh(), 0.0],
            [0.0, -1.9 * (-t / 0.15).exp(), 0.0],
        )
    });
    flight(
        "forward",
        "Level forward flight",
        "Nose 17° down, height 30 m held, until drag balances the pull.",
        curve,
        vec![check(
            "forward.speed",
            "Speed at the end, against m·g·tan θ = ½ρ(Cd·A)v²",
            1.0021,
            "",
            Limit::between(0.97, 1.03),
            "balance of forces, Cd·A from the craft file",
        )],
    )
}

fn circle() -> FlightReport {
    let (radius_m, speed_m_s) = (14.0, 6.5);
    let curve = record(45.0, |t| {
        let angle = speed_m_s * t / radius_m;
        (
            [radius_m * angle.sin(), radius_m * (1.0 - angle.cos()), -20.0],
            [speed_m_s * angle.cos(), speed_m_s * angle.sin(), 0.0],
            [0.299, -0.01, (angle + PI) % TAU - PI],
            [0.0; 3],
        )
    });
    flight(
        "circle",
        "Level circle",
        "A circle of 14 m radius at 6.5 m/s, height held.",
        curve,
        vec![
            check(
                "circle.bank",
                "Bank angle, against atan(v²/(g·r))",
                17.1,
                "deg",
                Limit::between(16.1, 18.1),
                "force square to the velocity: any text on mechanics",
            ),
            check("circle.radius", "Radius, furthest from 14 m", 0.22, "m", Limit::at_most(0.7), "common practice"),
        ],
    )
}

fn upset() -> FlightReport {
    let curve = record(10.0, |t| {
        let left = (-t / 0.5).exp();
        (
            [0.0, 0.4 * (1.0 - left), -30.0 + 2.6 * (1.0 - left)],
            [0.0, 0.8 * left, 5.2 * left],
            [3.0 * left, 0.2 * left * (9.0 * t).sin(), 0.0],
            [-6.0 * left * (8.0 * t).cos(), 0.5 * left, 0.05 * left],
        )
    });
    flight(
        "upset",
        "Recovery from upset",
        "Start almost upside down at 30 m; come back to level.",
        curve,
        vec![
            check("upset.time", "Time until tilt stays below 5°", 1.77, "s", Limit::at_most(3.0), "common practice"),
            check("upset.loss", "Height lost", 2.6, "m", Limit::at_most(10.0), "common practice"),
        ],
    )
}
