//! The loop closed while something is wrong: samples late in a storm, an integrator that is not told of saturation.

use evenkeel::craft::MAX_ROTORS;
use evenkeel::onboard::Onboard;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Initial, World};
use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::{
    AxisSetpoint, BodyAxes, FlightState, Motion, PilotDemand, Quaternion, RateLoop, RateLoopState, Sample, State,
};
use evenkeel_mixer::{RotorSet, Wrench};
use evenkeel_tests::specimen::quad;
use nalgebra::Vector3;

const GRAVITY: f64 = 9.806_65;
const PERIOD_S: f64 = 1.0e-3;
const WEIGHT_N: f64 = 1.6 * GRAVITY;

/// Flown with these gaps between samples: largest tilt off what is asked for after a second, and the last state.
/// The pilot asks for a lean and a turn, then for level.
fn flown_with(mut gap_us: impl FnMut(u64) -> u64, new_sample: impl Fn(u64) -> bool, seconds: f64) -> (f64, State) {
    let craft = quad();
    let mut onboard = Onboard::<f32>::new(&craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    let plant = Plant::new(&craft, &World::default());
    let mut body = PlantState::from_initial(&Initial { position_m: [0.0, 0.0, -200.0], ..Initial::default() });
    let mut state = FlightState::<f32, MAX_ROTORS>::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    let (mut now_us, mut step, mut worst_rad, mut inertial, mut sensed_at_us) = (0, 0, 0.0_f64, None, 0);
    let mut last = State::Flying;
    while (now_us as f64) < seconds * 1e6 {
        let t_s = now_us as f64 * 1e-6;
        let leaning = t_s > 0.5 && t_s < 2.0;
        let demand = PilotDemand {
            at_us: Some(now_us),
            arm: true,
            disarm: false,
            thrust_n: WEIGHT_N as f32,
            motion: Motion::Angles {
                roll_rad: if leaning { 0.25 } else { 0.0 },
                pitch_rad: 0.0,
                yaw_rate_rad_s: if leaning { 0.5 } else { 0.0 },
            },
        };
        if new_sample(step) || inertial.is_none() {
            let force = plant.specific_force_m_s2(&body);
            sensed_at_us = now_us;
            inertial = Some(InertialSample {
                gyro_rad_s: BodyAxes::from_array(std::array::from_fn(|axis| body.rate_rad_s[axis] as f32)),
                acceleration_m_s2: std::array::from_fn(|axis| force[axis] as f32),
                heading: None,
            });
        }
        let sample = Sample {
            now_us,
            sensed_at_us: Some(sensed_at_us),
            inertial: inertial.unwrap_or_else(|| panic!("seen")),
            rotor_speeds_rad_s: [0.0; MAX_ROTORS],
            stopped_rotors: RotorSet::EMPTY,
            on_ground: Some(false),
            battery_share: Some(0.9),
            voltage_share: None,
            climb_m_s: None,
        };
        let answer = onboard.computer.step(&mut state, &sample, &demand, &mut onboard.mixer);
        let commands: Vec<f64> = answer.commands.iter().map(|command| f64::from(*command)).collect();
        last = answer.decision.state;
        let down = body.attitude.inverse_transform_vector(&Vector3::z());
        let tilt_rad = down.angle(&Vector3::z());
        worst_rad = worst_rad.max(tilt_rad);
        let gap = gap_us(step);
        // The plant goes on in steps of at most a millisecond.
        let parts = gap.div_ceil(1000).max(1);
        for _ in 0..parts {
            plant.advance(&mut body, &commands, gap as f64 * 1e-6 / parts as f64);
        }
        assert!(plant.is_finite(&body), "{t_s} s");
        now_us += gap;
        step += 1;
    }
    let down = body.attitude.inverse_transform_vector(&Vector3::z());
    assert!(down.angle(&Vector3::z()) < 0.02, "level at the end: {}", down.angle(&Vector3::z()));
    (worst_rad, last)
}

/// A stream of bits that looks random (splitmix64; G. Steele and others, 2014, from memory).
fn scattered(k: u64) -> u64 {
    let mut z = k.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[test]
fn flies_on_when_a_storm_of_late_samples_stays_below_the_limit() {
    let (on_time, state) = flown_with(|_| 1000, |_| true, 5.0);
    assert_eq!(state, State::Flying);
    // One sample in eight comes up to 3 ms late: 8 of 64, the limit is 16.
    let late = |step: u64| if step % 8 == 3 { 1000 + scattered(step) % 3000 } else { 1000 };
    let (worst, state) = flown_with(late, |_| true, 5.0);
    assert_eq!(state, State::Flying);
    assert!(worst < 1.1 * on_time, "leans {worst} rad, {on_time} rad on time");
    // One in ten carries nothing new: its commands are held.
    let (worst, state) = flown_with(|_| 1000, |step| !scattered(step).is_multiple_of(10), 5.0);
    assert_eq!(state, State::Flying);
    assert!(worst < 1.1 * on_time, "leans {worst} rad, {on_time} rad on time");
}

#[test]
fn comes_level_and_down_when_a_storm_of_late_samples_passes_the_limit() {
    let late = |step: u64| if step > 1000 { 1000 + scattered(step) % 4000 } else { 1000 };
    let (worst, state) = flown_with(late, |_| true, 5.0);
    assert_eq!(state, State::FaultDescent);
    assert!(worst < 0.4, "and never tumbles: {worst} rad");
}

/// The yaw of a craft whose pilot asks for a rate out of reach, and lets go: largest rate against the direction of the
/// turn, and what the integrator held when it was let go.
fn let_go(told_of_saturation: bool) -> (f64, f64) {
    let onboard = Onboard::<f64>::new(&quad(), GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    let block = RateLoop::<f64>::new(&onboard.config.rate[2], PERIOD_S).unwrap_or_else(|error| panic!("{error}"));
    let (inertia, lag_s) = (quad().body.inertia_kg_m2[2][2], quad().rotors[0].response_time_s);
    let mut memory = RateLoopState::default();
    let (mut rate, mut torque_nm, mut swing, mut held) = (0.0, 0.0, 0.0_f64, 0.0);
    for step in 0..8000 {
        let wanted_rad_s = if step < 1000 { 40.0 } else { 0.0 };
        if step == 1000 {
            held = memory.integral_rad_s2();
        }
        let setpoint = AxisSetpoint { wanted_rad_s, ..AxisSetpoint::default() };
        let acceleration = block.step(&mut memory, setpoint, rate);
        let demand = Wrench { thrust_n: WEIGHT_N, yaw_nm: inertia * acceleration, ..Wrench::default() };
        let allocation = onboard.mixer.allocate(demand);
        block.integrate(&mut memory, if told_of_saturation { allocation.unmet().yaw_nm } else { 0.0 });
        torque_nm += PERIOD_S / lag_s * (allocation.achieved.yaw_nm - torque_nm);
        rate += PERIOD_S * torque_nm / inertia;
        swing = swing.max(-rate);
    }
    (swing, held)
}

#[test]
fn swings_back_far_less_when_the_integrator_is_told_of_saturation() {
    let ((with, held), (without, gathered)) = (let_go(true), let_go(false));
    let limit = Onboard::<f64>::new(&quad(), GRAVITY).unwrap_or_else(|error| panic!("{error}")).config.rate[2];
    assert!(held.abs() < 0.01 * limit.integral_max_rad_s2, "out of reach from the start: {held}");
    assert_eq!(gathered, limit.integral_max_rad_s2, "not told, it fills to its limit");
    assert!(with < 0.2 * without, "{with} rad/s against {without} rad/s");
}
