//! Checks of the controller.

use evenkeel_controller::estimate::{Alignment, AttitudeEstimator, InertialSample};
use evenkeel_controller::filter::{
    FirstOrderLowPass, FirstOrderLowPassConfig, Notch, NotchConfig, SecondOrderLowPass, SecondOrderLowPassConfig,
};
use evenkeel_controller::link::{CRC, FrameReader, Hello, PROTOCOL, Received, ToBoard, encode};
use evenkeel_controller::{
    ATAN2_TOL, BodyAxes, Inertia, Quaternion, SIN_COS_TOL, State, Supervisor, SupervisorConfig, SupervisorInput,
    SupervisorState, TelemetryQueue, atan2, sin_cos,
};
use evenkeel_counts::crafts::{ESTIMATOR, HOVER_N, PERIOD_S};

use crate::seen::{Check, Seen};

pub const CHECKS: &[Check] = &[
    Check::new("sine_and_cosine_are_those_of_known_angles", known_angles),
    Check::new("angle_comes_back_from_its_sine_and_cosine", angle_back),
    Check::new("turning_there_and_back_is_no_turn", there_and_back),
    Check::new("down_is_seen_forward_when_the_nose_is_down", nose_down),
    Check::new("low_passes_pass_what_stands_still", low_passes),
    Check::new("notch_stops_its_own_frequency_alone", notch),
    Check::new("gyroscopic_torque_is_that_of_the_formula", gyroscopic),
    Check::new("estimate_finds_down_when_the_craft_lies_tilted", estimate),
    Check::new("arms_flies_and_comes_down_when_the_link_is_lost", supervisor),
    Check::new("records_that_find_no_room_are_counted", telemetry),
    Check::new("frame_survives_and_a_damaged_one_does_not", frames),
];

fn known_angles(seen: &mut Seen) {
    let pi = core::f64::consts::PI;
    let root = core::f64::consts::FRAC_1_SQRT_2;
    let known =
        [(0.0, 0.0, 1.0), (pi / 6.0, 0.5, 0.866_025_403_784_438_6), (pi / 4.0, root, root), (pi / 2.0, 1.0, 0.0)];
    for (angle, sine, cosine) in known {
        let (sin, cos) = sin_cos(angle as f32);
        // The angle is rounded to single precision first.
        seen.near(sin, sine, SIN_COS_TOL + 1.0e-7);
        seen.near(cos, cosine, SIN_COS_TOL + 1.0e-7);
    }
    let (sin, cos) = sin_cos(f32::NAN);
    seen.ask(sin == 0.0 && cos == 1.0);
}

fn angle_back(seen: &mut Seen) {
    for step in -31..=31_i8 {
        let angle = 0.1 * f32::from(step);
        let (sin, cos) = sin_cos(angle);
        seen.near(sin * sin + cos * cos, 1.0, 4.0 * SIN_COS_TOL);
        seen.near(atan2(sin, cos), f64::from(angle), ATAN2_TOL + 2.0 * SIN_COS_TOL);
    }
}

fn there_and_back(seen: &mut Seen) {
    for step in 0..40_u8 {
        let angle = 0.15 * f32::from(step);
        let turn = Quaternion::roll(angle) * Quaternion::pitch(0.5 * angle) * Quaternion::yaw(-angle);
        let [w, x, y, z] = (turn * turn.conjugate()).to_array();
        seen.near(w, 1.0, 2.0e-6);
        [x, y, z].into_iter().for_each(|value| seen.near(value, 0.0, 2.0e-6));
    }
}

fn nose_down(seen: &mut Seen) {
    let [forward, right, down] = Quaternion::<f32>::pitch(-0.5).down_in_body();
    // sin and cos of 0.5, from memory of no table: 0.4794 and 0.8776.
    seen.near(forward, 0.479_425_538_604_203, 1.0e-6);
    seen.near(right, 0.0, 1.0e-6);
    seen.near(down, 0.877_582_561_890_372_8, 1.0e-6);
}

fn low_passes(seen: &mut Seen) {
    let first = FirstOrderLowPass::<f32>::new(&FirstOrderLowPassConfig { corner_hz: 20.0 }, PERIOD_S);
    let config = SecondOrderLowPassConfig { corner_hz: 80.0, quality: core::f64::consts::FRAC_1_SQRT_2 };
    let second = SecondOrderLowPass::<f32>::new(&config, PERIOD_S);
    let (Ok(first), Ok(second)) = (first, second) else { return seen.ask(false) };
    let (mut first_state, mut second_state) = (Default::default(), Default::default());
    let mut out = (0.0, 0.0);
    for _ in 0..500 {
        out = (first.step(&mut first_state, 3.0), second.step(&mut second_state, 3.0));
        seen.numbers(&[out.0, out.1]);
    }
    seen.near(out.0, 3.0, 1.0e-5);
    seen.near(out.1, 3.0, 1.0e-5);
}

fn notch(seen: &mut Seen) {
    let Ok(notch) = Notch::<f32>::new(&NotchConfig { center_hz: 125.0, quality: 2.0 }, PERIOD_S) else {
        return seen.ask(false);
    };
    let mut state = Default::default();
    // Eight samples a turn: 125 Hz.
    let wave = [0.0, core::f32::consts::FRAC_1_SQRT_2, 1.0, core::f32::consts::FRAC_1_SQRT_2];
    for number in 0..800_usize {
        let half = wave.get(number % 4).copied().unwrap_or(0.0);
        let out = notch.step(&mut state, if number % 8 < 4 { half } else { -half });
        seen.number(out);
        seen.ask(number < 400 || (out < 1.0e-3 && out > -1.0e-3));
    }
    let mut state = Default::default();
    let still = (0..400).fold(0.0, |_, _| notch.step(&mut state, 1.0));
    seen.near(still, 1.0, 1.0e-4);
}

fn gyroscopic(seen: &mut Seen) {
    let Ok(inertia) = Inertia::<f32>::new([[0.02, 0.0, 0.0], [0.0, 0.03, 0.0], [0.0, 0.0, 0.05]]) else {
        return seen.ask(false);
    };
    let torque =
        inertia.torque(BodyAxes { roll: 1.0, pitch: 0.0, yaw: 0.0 }, BodyAxes { roll: 0.0, pitch: 2.0, yaw: 3.0 });
    // Euler: Ixx·α + (Izz − Iyy)·q·r.
    seen.near(torque.roll, 0.02 + 0.02 * 6.0, 1.0e-6);
    seen.near(torque.pitch, 0.0, 1.0e-6);
}

fn estimate(seen: &mut Seen) {
    let Ok(estimator) = AttitudeEstimator::<f32>::new(&ESTIMATOR, PERIOD_S) else { return seen.ask(false) };
    let mut state = Default::default();
    let [forward, right, down] = Quaternion::roll(0.3_f32).down_in_body();
    let sample = InertialSample {
        gyro_rad_s: BodyAxes { roll: 0.01, pitch: -0.02, yaw: 0.0 },
        acceleration_m_s2: [-9.806_65 * forward, -9.806_65 * right, -9.806_65 * down],
        heading: None,
    };
    for number in 0..1500 {
        let found = estimator.step(&mut state, &sample);
        seen.numbers(&found.attitude.to_array());
        if number == 1499 {
            seen.ask(found.status.alignment == Alignment::Aligned);
            let [_, across, _] = found.attitude.down_in_body();
            seen.near(across, f64::from(right), 1.0e-3);
            seen.near(found.bias_rad_s.pitch, -0.02, 1.0e-3);
        }
    }
}

fn supervisor(seen: &mut Seen) {
    let Ok(supervisor) = Supervisor::<f32>::new(&SupervisorConfig::usual(PERIOD_S, HOVER_N)) else {
        return seen.ask(false);
    };
    let mut memory = SupervisorState::default();
    let mut state = State::Disarmed;
    for number in 0..6000_u64 {
        let now_us = 1000 * number;
        // Armed after two seconds, flown after three, and the link is lost after four.
        let input = SupervisorInput {
            now_us,
            arm_request: number >= 2000,
            disarm: false,
            demand_at_us: Some(now_us.min(4_000_000)),
            thrust_n: if number >= 3000 { HOVER_N as f32 } else { 0.0 },
            sensed_at_us: Some(now_us),
            sensors_finite: true,
            cos_tilt: 1.0,
            rate_rad_s: BodyAxes::default(),
            on_ground: Some(number < 3100),
            battery_share: Some(0.9),
            configuration_valid: true,
            attitude_known: true,
            rotor_stopped: false,
        };
        state = supervisor.step(&mut memory, &input).state;
        // A sample's grace about each change.
        let expected = match number {
            0..=1998 => Some(State::Disarmed),
            2002..=2998 => Some(State::Standing),
            3002..=4498 => Some(State::Flying),
            4503.. => Some(State::LinkLost),
            _ => None,
        };
        seen.ask(expected.is_none_or(|expected| state == expected));
    }
    seen.ask(state == State::LinkLost);
}

fn telemetry(seen: &mut Seen) {
    let mut queue = TelemetryQueue::<u8, 3>::new();
    let (mut writer, mut reader) = queue.split();
    seen.ask(writer.push(1) && writer.push(2) && !writer.push(3) && writer.dropped() == 1);
    seen.ask(reader.pop().is_some_and(|first| first.record == 1 && first.dropped == 0));
}

fn frames(seen: &mut Seen) {
    // The published check value of this CRC, from memory.
    seen.ask(CRC.checksum(b"123456789") == 0xcbf4_3926);
    let hello = ToBoard::<f32, 4>::Hello(Hello { protocol: PROTOCOL });
    let mut buffer = Default::default();
    let Ok(frame) = encode::<_, 64>(&hello, &mut buffer) else { return seen.ask(false) };
    for spoilt in [false, true] {
        let mut reader = FrameReader::<64>::new();
        let mut got: Received<ToBoard<f32, 4>> = Received::Nothing;
        for (place, byte) in frame.iter().enumerate() {
            got = reader.push(if spoilt && place == 1 { byte ^ 2 } else { *byte });
        }
        seen.ask(matches!(got, Received::Message(ref message) if *message == hello) != spoilt);
    }
}
