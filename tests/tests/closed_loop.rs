//! The loop as flown, controller and mixer against the plant: does it do what theory says, and does it survive
//! what it will meet?

use std::collections::VecDeque;
use std::f64::consts::{FRAC_PI_4, PI};

use evenkeel::attitude::to_euler_rad;
use evenkeel::craft::Craft;
use evenkeel::onboard::Onboard;
use evenkeel::recording::{Recording, Row};
use evenkeel::script::{Flight, Initial, Lateral, Leg, Vertical, World};
use evenkeel::simulation::fly;
use evenkeel_controller::{BodyAxes, ControllerState, Motion, Motors, Quaternion, Sensed, Setpoint, ShaperConfig};
use evenkeel_mixer::Scalar;
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::quad;
use nalgebra::{UnitQuaternion, Vector3};

const GRAVITY: f64 = 9.806_65;
/// Percent of the step: the hold of the sampled loop takes a little damping away.
const OVERSHOOT_TOL_PCT: f64 = 0.5;
/// Times against the table, as a share.
const TIME_SHARE_TOL: f64 = 0.02;
/// Flown rate against a linear model with the same gains, as a share of the step: thrust is a square, the loop
/// is sampled.
const LINEAR_SHARE_TOL: f64 = 0.03;
/// Shaped, a step in angle has no overshoot but that of a plant that is not quite linear.
const ANGLE_OVERSHOOT_MAX: f64 = 0.01;
/// Largest difference between a flight in f32 and the same in f64 that never saturates: the estimate adds up rounding.
const SINGLE_PRECISION_RAD: f64 = 2.0e-4;
/// The same where it saturates: rounding decides at which step an axis falls short.
const SATURATED_PRECISION_RAD: f64 = 1.0e-3;

fn leg(until_s: f64, vertical: Vertical, lateral: Lateral) -> Leg {
    Leg { name: "leg".into(), until_s, vertical, lateral }
}

const fn angles(roll_rad: f64, pitch_rad: f64, yaw_rate_rad_s: f64) -> Lateral {
    Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
}

const LEVEL: Lateral = angles(0.0, 0.0, 0.0);

fn weight(craft: &Craft) -> Vertical {
    Vertical::Thrust(craft.body.mass_kg * GRAVITY)
}

/// From 100 m above the ground.
fn flight(log_period_s: f64, legs: Vec<Leg>) -> Flight {
    Flight {
        name: "test".into(),
        duration_s: legs.last().map_or(0.0, |leg| leg.until_s),
        log_period_s,
        seed: 0,
        control: true,
        initial: Initial { position_m: [0.0, 0.0, -100.0], ..Initial::default() },
        world: World::default(),
        legs,
        faults: Vec::new(),
        expectations: Vec::new(),
    }
}

fn onboard<S: Scalar>(craft: &Craft) -> Onboard<S> {
    Onboard::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"))
}

fn flown(craft: &Craft, flight: &Flight) -> Recording {
    fly(craft, flight, Some(&onboard::<f32>(craft)), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

fn largest(recording: &Recording, from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    let values: Vec<f64> = recording.between(from_s, to_s).map(value).collect();
    assert!(!values.is_empty() && values.iter().all(|value| value.is_finite()));
    values.into_iter().fold(f64::NEG_INFINITY, f64::max)
}

/// First time at which a rising signal passes a level, between rows by a straight line.
fn passes_at(points: &[(f64, f64)], level: f64) -> f64 {
    let pair = points.windows(2).find(|pair| pair[0].1 < level && pair[1].1 >= level).expect("it rises");
    let [(t0, y0), (t1, y1)] = [pair[0], pair[1]];
    t0 + (t1 - t0) * (level - y0) / (y1 - y0)
}

const STEP_AT_S: f64 = 0.1;
const STEP_RAD_S: f64 = 0.1;

/// The flying code with its set-point shaping opened wide and nothing fed forward: what is left is the rate loop.
fn without_shaping(craft: &Craft) -> Onboard<f32> {
    let onboard = onboard::<f32>(craft);
    let mut config = onboard.config;
    let period_s = config.period_s * f64::from(config.angle_divider);
    let open = ShaperConfig { slew_max: 1e6, acceleration_max: 1e12, gain_per_s: 0.49 / period_s };
    config.reference.rate = [open; 3];
    config.reference.rotor_lag_s = 0.0;
    for axis in &mut config.rate {
        axis.feed_forward = 0.0;
    }
    onboard.with_loops(config).unwrap_or_else(|error| panic!("{error}"))
}

/// Time from the step, and roll rate as a share of the step.
fn rate_step(craft: &Craft, lasts_s: f64) -> Vec<(f64, f64)> {
    let thrust = weight(craft);
    let legs = vec![
        leg(STEP_AT_S, thrust, Lateral::Rates([0.0; 3])),
        leg(STEP_AT_S + lasts_s, thrust, Lateral::Rates([STEP_RAD_S, 0.0, 0.0])),
    ];
    let flight = flight(0.5e-3, legs);
    let recording =
        fly(craft, &flight, Some(&without_shaping(craft)), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
    let rows = recording.rows.iter().filter(|row| row.t_s >= STEP_AT_S);
    rows.map(|row| (row.t_s - STEP_AT_S, row.rate_rad_s[0] / STEP_RAD_S)).collect()
}

/// With P alone the loop is P/(s·(τs + 1)) closed: of second order, ωn = √(P/τ), ζ = 1/(2·√(P·τ)). So
/// P = 1/(4ζ²τ) makes any row of the table.
///
/// Source: `reference/second_order_step.csv` (overshoot formula and rise times read in published course notes;
/// the rest computed).
#[test]
fn steps_in_rate_as_the_table_when_the_loop_is_of_second_order() {
    for row in table("second_order_step").rows() {
        let [zeta, overshoot, peak, rise] = row.numbers(["zeta", "overshoot_pct", "wn_tpeak", "wn_rise10_90"]);
        if zeta < 0.4 {
            continue; // So much gain would saturate the rotors.
        }
        let mut craft = quad();
        (craft.loops.rate_hz, craft.loops.angle_divider) = (8000.0, 1);
        let lag_s = craft.rotors[0].response_time_s;
        let gain = 1.0 / (4.0 * zeta * zeta * lag_s);
        for axis in &mut craft.gains.rate {
            (axis.p_per_s, axis.i_per_s2, axis.d) = (Some(gain), Some(0.0), Some(0.0));
        }
        let natural = (gain / lag_s).sqrt();
        let points = rate_step(&craft, 12.0 / natural);
        let (peak_at, highest) =
            points.iter().copied().fold((0.0, 0.0), |best, next| if next.1 > best.1 { next } else { best });
        assert!((100.0 * (highest - 1.0) - overshoot).abs() < OVERSHOOT_TOL_PCT, "{zeta}: {highest}, {overshoot} %");
        let share = |ours: f64, theirs: f64| (natural * ours / theirs - 1.0).abs();
        // At 0.9 the peak is a thousandth high: where it stands means nothing.
        assert!(zeta > 0.85 || share(peak_at, peak) < 2.0 * TIME_SHARE_TOL, "{zeta}: peak at {}", natural * peak_at);
        let rose = passes_at(&points, 0.9) - passes_at(&points, 0.1);
        assert!(share(rose, rise) < TIME_SHARE_TOL, "{zeta}: rise {} against {rise}", natural * rose);
    }
}

/// A continuous PID with its derivative filter, an integrator and the rotors' lag: written out again here, linear, in
/// steps so small that they do not matter. The set-point steps by one; its own acceleration is known to the
/// derivative, which therefore sees the error. Commands act a period late, and hold for another: a dead time of one
/// and a half. Gives the rate.
fn linear_step(craft: &Craft, lasts_s: f64) -> impl Fn(f64) -> f64 {
    let gains = onboard::<f64>(craft).config.rate[0];
    let (lag_s, filter_s) = (craft.rotors[0].response_time_s, 1.0 / (2.0 * PI * gains.d_filter_hz));
    let step_s = 1.0e-5;
    let (mut rate, mut acceleration, mut integral, mut filtered) = (0.0, 0.0, 0.0, 0.0);
    let mut values = Vec::new();
    let mut under_way = VecDeque::from(vec![0.0; (1.5 / craft.loops.rate_hz / step_s).round() as usize]);
    for _ in 0..(lasts_s / step_s) as usize + 2 {
        values.push(rate);
        let error = 1.0 - rate;
        let slope = (-error - filtered) / filter_s;
        let wanted = gains.p_per_s * error + integral - gains.d * slope;
        integral += step_s * gains.i_per_s2 * error;
        filtered += step_s * slope;
        rate += step_s * acceleration;
        under_way.push_back(wanted);
        let arrived = under_way.pop_front().unwrap_or(wanted);
        acceleration += step_s * (arrived - acceleration) / lag_s;
    }
    move |t_s| values[(t_s / step_s).round() as usize]
}

/// At the higher rates hold and computation hardly matter; at the usual one they cost half a sample.
const LOOP_RATES: [(f64, f64); 2] = [(8000.0, LINEAR_SHARE_TOL), (1000.0, 2.0 * LINEAR_SHARE_TOL)];

#[test]
fn steps_in_rate_as_a_linear_model_when_the_gains_follow_from_the_craft() {
    for (rate_hz, share) in LOOP_RATES {
        let mut craft = quad();
        (craft.loops.rate_hz, craft.loops.angle_divider) = (rate_hz, 1);
        let model = linear_step(&craft, 1.0);
        let points = rate_step(&craft, 1.0);
        for (t_s, rate) in &points {
            let expected = model(*t_s);
            assert!((rate - expected).abs() < share, "{rate_hz} Hz, {t_s} s: {rate} against {expected}");
        }
        assert!(points.iter().any(|(_, rate)| *rate > 0.9), "it got there");
    }
}

/// Largest rate that is left of a rise and fall at `slope` to `highest` once it has passed the rotors' lag.
fn behind_a_lag(highest: f64, slope: f64, lag_s: f64) -> f64 {
    let step_s = 1.0e-5;
    let (mut lagged, mut most) = (0.0, 0.0_f64);
    for k in 0..(2.0 * highest / slope / step_s) as usize {
        let t_s = k as f64 * step_s;
        let rate = (slope * t_s).min(2.0 * highest - slope * t_s);
        lagged += step_s * (rate - lagged) / lag_s;
        most = most.max(lagged);
    }
    most
}

/// With the wanted acceleration fed forward and the feedback expecting it behind the rotors' lag, what is wanted and
/// what is flown are the same trajectory.
#[test]
fn follows_the_shaped_step_when_nothing_disturbs_it() {
    let (craft, step) = (quad(), 0.55);
    let recording = flown(&craft, &flight(1e-3, vec![leg(2.0, weight(&craft), angles(step, 0.0, 0.0))]));
    let points: Vec<(f64, f64)> = recording.rows.iter().map(|row| (row.t_s, row.euler_rad()[0] / step)).collect();
    let reference = onboard::<f32>(&craft).config.reference;
    let (roll, lag_s) = (reference.tilt[0], reference.rotor_lag_s);
    // Kinematics of the shaping: up at a, back on the parabola, the last a/k² of the way at the rate k.
    let tail = roll.acceleration_max / (roll.gain_per_s * roll.gain_per_s);
    assert!(tail < step, "part of the step is on the parabola");
    let fastest = largest(&recording, 0.0, 2.0, |row| row.rate_rad_s[0]);
    let reachable = (roll.acceleration_max * (step - 0.5 * tail)).sqrt().min(roll.slew_max);
    // Braking at the full limit would take the lag's share from the peak; the gentler end takes less.
    let least = behind_a_lag(reachable, roll.acceleration_max, lag_s);
    assert!(fastest > least && fastest < reachable, "{fastest} between {least} and {reachable} rad/s");
    // Past the parabola what is left shrinks by e in 1/k; the lag delays it, and does not change the ratio.
    let (late, later) = (passes_at(&points, 0.99), passes_at(&points, 1.0 - 0.01 / std::f64::consts::E));
    assert!(((later - late) * roll.gain_per_s - 1.0).abs() < 0.2, "{late} {later}");
    assert!(late < 2.0 * step / fastest + 3.0 / roll.gain_per_s + lag_s, "crisp: {late} s");
}

#[test]
fn overshoots_little_when_it_steps_in_roll_or_pitch() {
    let (craft, step) = (quad(), 0.05);
    for (axis, tilt) in [(0, angles(step, 0.0, 0.0)), (1, angles(0.0, step, 0.0))] {
        let recording = flown(&craft, &flight(1e-3, vec![leg(2.0, weight(&craft), tilt)]));
        let highest = largest(&recording, 0.0, 2.0, |row| row.euler_rad()[axis] / step);
        assert!(highest > 0.99 && highest < 1.0 + ANGLE_OVERSHOOT_MAX, "axis {axis}: {highest}");
        assert!(largest(&recording, 1.5, 2.0, |row| (row.euler_rad()[axis] / step - 1.0).abs()) < 0.02, "axis {axis}");
    }
}

fn rates(roll: f32, pitch: f32, yaw: f32) -> Setpoint<f32> {
    Setpoint { motors: Motors::Flying, thrust_n: 15.7, motion: Motion::Rates(BodyAxes { roll, pitch, yaw }) }
}

/// Held by hand, the craft cannot turn: what the integrator does is all there is to see.
#[test]
fn keeps_its_integrator_when_a_yaw_demand_cannot_be_met() {
    let onboard = onboard::<f32>(&quad());
    let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: BodyAxes::default() };
    let integral_after = |yaw: f32, seconds: usize| {
        let mut state = ControllerState::default();
        for _ in 0..1000 * seconds {
            onboard.controller.step(&mut state, &sensed, &rates(0.0, 0.0, yaw), &onboard.mixer);
        }
        state.rate_loops()[2].integral_rad_s2()
    };
    let limit = onboard.authority.acceleration_rad_s2[2] as f32;
    let gathered = integral_after(5.0, 1);
    assert!(gathered < 0.25 * limit, "what is gathered on the way to what is out of reach: {gathered} of {limit}");
    assert_eq!(integral_after(5.0, 10), gathered, "out of reach: nothing more is gathered");
    assert_eq!(integral_after(-5.0, 10), -gathered);
    let weak = integral_after(0.05, 20);
    assert!(weak > 0.5 * limit && weak <= limit, "within reach it gathers, and stops at the reach: {weak} of {limit}");
}

/// Yaw falls short, roll and pitch do not: rounding in what they achieve is no shortfall.
#[test]
fn gathers_in_roll_and_pitch_as_ever_when_yaw_alone_saturates() {
    let onboard = onboard::<f32>(&quad());
    let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: BodyAxes::default() };
    let gathered = |roll: f32, pitch: f32, yaw: f32| {
        let mut state = ControllerState::default();
        let mut saturated = false;
        for _ in 0..300 {
            let step = onboard.controller.step(&mut state, &sensed, &rates(roll, pitch, yaw), &onboard.mixer);
            saturated = step.allocation.saturated();
        }
        assert_eq!(saturated, yaw > 1.0);
        let [roll, pitch, _] = state.rate_loops();
        [roll.integral_rad_s2(), pitch.integral_rad_s2()]
    };
    for (roll, pitch) in [(0.011, -0.007), (-0.003, 0.02), (0.0123, 0.0137), (1e-4, -1e-3)] {
        assert_eq!(gathered(roll, pitch, 5.0), gathered(roll, pitch, 0.0), "{roll} {pitch}");
    }
}

#[test]
fn stops_turning_without_a_swing_when_a_yaw_demand_out_of_reach_is_let_go() {
    let mut craft = quad();
    craft.limits.rate_rad_s[2] = Some(40.0);
    let thrust = weight(&craft);
    let fast = Lateral::Rates([0.0, 0.0, 40.0]);
    let legs = vec![leg(2.0, thrust, fast), leg(6.0, thrust, Lateral::Rates([0.0; 3]))];
    let recording = flown(&craft, &flight(0.01, legs));
    let fastest = largest(&recording, 0.0, 2.2, |row| row.rate_rad_s[2]);
    assert!(fastest > 5.0 && fastest < 39.0, "it never got there: {fastest}");
    let swing = largest(&recording, 2.2, 6.0, |row| -row.rate_rad_s[2]);
    assert!(swing < 0.05 * fastest, "{swing} after {fastest}");
    assert!(largest(&recording, 5.5, 6.0, |row| row.rate_rad_s[2].abs()) < 0.05, "and it stands");
    assert!(largest(&recording, 0.0, 6.0, Row::tilt_rad) < 0.02, "level all the while");
}

/// Start attitudes all over the sphere: turned by up to half a turn about 26 axes.
#[test]
fn comes_level_when_it_starts_at_any_attitude() {
    let craft = quad();
    let onboard = onboard::<f32>(&craft);
    let places = [-1.0, 0.0, 1.0];
    let axes = places.iter().flat_map(|x| places.iter().flat_map(move |y| places.map(|z| Vector3::new(*x, *y, z))));
    for axis in axes.filter(|axis| axis.norm() > 0.0) {
        for turn in 1..=4 {
            let angle = FRAC_PI_4 * f64::from(turn);
            let attitude = UnitQuaternion::from_scaled_axis(axis.normalize() * angle);
            let mut flight = flight(0.02, vec![leg(8.0, Vertical::Height(100.0), LEVEL)]);
            flight.initial.attitude_rad = to_euler_rad(&attitude);
            let recording = fly(&craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
            let at = format!("{angle} rad about {axis:?}");
            assert!(largest(&recording, 3.0, 8.0, Row::tilt_rad) < 0.03, "{at}: not level");
            assert!(largest(&recording, 6.0, 8.0, |row| row.rate_rad_s[2].abs()) < 0.05, "{at}: still turning");
            assert!(largest(&recording, 0.0, 8.0, |row| -row.height_m()) < -85.0, "{at}: fell too far");
        }
    }
}

/// The onboard code believes one craft and flies another.
#[test]
fn holds_its_angles_when_inertia_and_thrust_are_a_fifth_off() {
    let believed = quad();
    for (inertia, thrust) in [(0.8, 0.8), (0.8, 1.2), (1.2, 0.8), (1.2, 1.2), (1.0, 1.2), (1.2, 1.0)] {
        let mut real = quad();
        real.body.inertia_kg_m2 = real.body.inertia_kg_m2.map(|row| row.map(|entry| inertia * entry));
        for rotor in &mut real.rotors {
            rotor.thrust_max_n *= thrust;
        }
        let height = Vertical::Height(100.0);
        let legs = vec![
            leg(1.0, height, LEVEL),
            leg(3.0, height, angles(0.2, 0.0, 0.3)),
            leg(5.0, height, angles(0.0, -0.2, 0.0)),
            leg(8.0, height, LEVEL),
        ];
        let recording = fly(&real, &flight(0.01, legs), Some(&onboard::<f32>(&believed)), &|_| ())
            .unwrap_or_else(|error| panic!("{error}"));
        let at = format!("inertia {inertia}, thrust {thrust}");
        assert!(largest(&recording, 2.0, 3.0, |row| (row.euler_rad()[0] - 0.2).abs()) < 0.01, "{at}: roll");
        assert!(largest(&recording, 4.0, 5.0, |row| (row.euler_rad()[1] + 0.2).abs()) < 0.01, "{at}: pitch");
        assert!(largest(&recording, 0.0, 8.0, Row::tilt_rad) < 0.24, "{at}: overshoot");
        assert!(largest(&recording, 7.0, 8.0, Row::tilt_rad) < 0.005, "{at}: level");
        assert!(largest(&recording, 6.0, 8.0, |row| (row.height_m() - 100.0).abs()) < 0.5, "{at}: height");
    }
}

#[test]
fn does_not_tumble_when_it_saturates_for_a_second() {
    let craft = quad();
    let height = Vertical::Height(100.0);
    for thrust_n in [32.0, 1.5] {
        let everything = angles(0.5, -0.4, 6.0);
        let legs =
            vec![leg(1.0, height, LEVEL), leg(2.0, Vertical::Thrust(thrust_n), everything), leg(6.0, height, LEVEL)];
        let recording = flown(&craft, &flight(0.01, legs));
        let short = |row: &Row| {
            (row.demand.yaw_nm - row.achieved.yaw_nm).abs().max(row.demand.thrust_n - row.achieved.thrust_n)
        };
        let rows = recording.between(1.0, 2.0);
        let saturated = rows.clone().filter(|row| short(row) > 0.01).count();
        assert!(2 * saturated > rows.count(), "{thrust_n} N: it was to saturate: {saturated}");
        let tilt_max = onboard::<f32>(&craft).config.reference.tilt_max_rad;
        assert!(largest(&recording, 0.0, 6.0, Row::tilt_rad) < 1.2 * tilt_max, "{thrust_n} N");
        assert!(largest(&recording, 3.5, 6.0, Row::tilt_rad) < 0.02, "{thrust_n} N: level again");
    }
}

fn attitude(row: &Row) -> UnitQuaternion<f64> {
    let [w, x, y, z] = row.attitude;
    UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(w, x, y, z))
}

/// Largest angle between a flight in f32 and the same in f64, and the number of rows short of their demand.
fn precisions_apart_rad(legs: Vec<Leg>) -> (f64, usize) {
    // Every step: a shortfall may last no longer than one period of the angle loop.
    let (craft, flight) = (quad(), flight(1e-3, legs));
    let single = flown(&craft, &flight);
    let double = fly(&craft, &flight, Some(&onboard::<f64>(&craft)), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
    let apart = |(a, b): (&Row, &Row)| 2.0 * (attitude(a).inverse() * attitude(b)).imag().norm();
    let farthest = single.rows.iter().zip(&double.rows).map(apart).fold(0.0, f64::max);
    assert!(farthest > 0.0, "they are two computations");
    let short = |row: &&Row| (row.demand.yaw_nm - row.achieved.yaw_nm).abs() > 1e-3;
    (farthest, double.rows.iter().filter(short).count())
}

#[test]
fn flies_the_same_in_single_and_double_precision() {
    let height = Vertical::Height(100.0);
    let (apart_rad, short) = precisions_apart_rad(vec![
        leg(2.0, height, LEVEL),
        leg(5.0, height, angles(0.05, 0.0, 0.05)),
        leg(5.5, height, LEVEL),
        leg(8.0, height, angles(0.0, -0.1, 0.0)),
        leg(12.0, height, Lateral::Velocity([1.5, 0.0])),
        leg(20.0, height, LEVEL),
    ]);
    assert_eq!(short, 0, "nothing saturates here");
    assert!(apart_rad < SINGLE_PRECISION_RAD, "{apart_rad:e} rad");
    let (apart_rad, short) = precisions_apart_rad(vec![
        leg(2.0, height, LEVEL),
        leg(6.0, height, Lateral::Velocity([4.0, -2.0])),
        leg(10.0, height, angles(0.2, -0.1, 0.5)),
        leg(14.0, height, Lateral::Velocity([0.0, 0.0])),
    ]);
    assert!(short > 0, "this one was to saturate");
    assert!(apart_rad < SATURATED_PRECISION_RAD, "{apart_rad:e} rad");
}
