//! Moments in which a controller can hurt somebody: on a slope, with the thrust demand at nothing, with an input that
//! is no number, after a gap in what is sensed.

use evenkeel::onboard::Onboard;
use evenkeel_controller::{BodyAxes, ControllerState, Motion, Motors, Quaternion, Sensed, Setpoint, Step};
use evenkeel_tests::specimen::quad;

const GRAVITY: f64 = 9.806_65;
const WEIGHT_N: f32 = (1.6 * GRAVITY) as f32;
const ROTORS: usize = evenkeel::craft::MAX_ROTORS;

struct Bench {
    onboard: Onboard<f32>,
    state: ControllerState<f32>,
}

impl Bench {
    fn new() -> Self {
        let onboard = Onboard::new(&quad(), GRAVITY).expect("the quad flies");
        Bench { onboard, state: ControllerState::default() }
    }

    fn step(&mut self, sensed: Sensed<f32>, setpoint: Setpoint<f32>) -> Step<f32, ROTORS> {
        self.onboard.controller.step(&mut self.state, &sensed, &setpoint, &self.onboard.mixer)
    }
}

fn turning(roll: f32) -> Sensed<f32> {
    Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: BodyAxes { roll, ..BodyAxes::default() } }
}

fn level(motors: Motors, thrust_n: f32) -> Setpoint<f32> {
    Setpoint { motors, thrust_n, motion: Motion::LEVEL }
}

#[test]
fn does_not_jump_when_it_stands_on_a_slope() {
    let sensed = Sensed { attitude: Quaternion::roll(3_f32.to_radians()), ..turning(0.0) };
    for share in [0.1, 0.3, 0.6, 0.9] {
        let mut bench = Bench::new();
        for _ in 0..5000 {
            let thrust_n = share * WEIGHT_N;
            let step = bench.step(sensed, level(Motors::Grounded, thrust_n));
            let given = step.allocation.achieved.thrust_n;
            assert!(given <= thrust_n * 1.001, "{given} N where {thrust_n} N were asked");
        }
        let held = bench.state.rate_loops().map(|axis| axis.integral_rad_s2());
        assert_eq!(held, [0.0; 3], "nothing is gathered on the ground");
    }
}

#[test]
fn stops_a_turn_in_flight_when_the_thrust_demand_is_nothing() {
    let step = Bench::new().step(turning(4.0), level(Motors::Flying, 0.0));
    assert!(step.allocation.achieved.roll_nm < -1.0, "{:?}", step.allocation.achieved);
}

#[test]
fn stops_a_turn_when_a_stick_is_no_number() {
    for bad in [f32::NAN, f32::INFINITY] {
        let motion = Motion::Angles { roll_rad: 0.0, pitch_rad: 0.0, yaw_rate_rad_s: bad };
        let step = Bench::new().step(turning(3.0), Setpoint { motion, ..level(Motors::Flying, WEIGHT_N) });
        assert!(step.invalid_input && step.allocation.achieved.roll_nm < -1.0, "{:?}", step.allocation.achieved);
    }
}

#[test]
fn stops_a_turn_when_the_attitude_is_no_attitude() {
    let sensed = Sensed { attitude: Quaternion::from_array([0.0; 4]), ..turning(3.0) };
    let mut bench = Bench::new();
    let mut step = bench.step(sensed, level(Motors::Flying, WEIGHT_N));
    for _ in 0..100 {
        step = bench.step(sensed, level(Motors::Flying, WEIGHT_N));
    }
    assert!(step.invalid_input && step.allocation.achieved.roll_nm < -1.0, "{:?}", step.allocation.achieved);
}

#[test]
fn keeps_the_last_good_thrust_when_the_demand_is_no_number() {
    let mut bench = Bench::new();
    bench.step(turning(0.0), level(Motors::Flying, WEIGHT_N));
    let step = bench.step(turning(0.0), level(Motors::Flying, f32::NAN));
    assert!(step.invalid_input && (step.allocation.achieved.thrust_n - WEIGHT_N).abs() < 1e-3);
}

#[test]
fn forgets_a_rate_that_no_craft_has() {
    for absurd in [1e37, -1e37, 2e3, f32::NAN] {
        let mut bench = Bench::new();
        bench.step(turning(0.0), level(Motors::Flying, WEIGHT_N));
        let blind = bench.step(turning(absurd), level(Motors::Flying, WEIGHT_N));
        assert!(blind.invalid_input && blind.allocation.achieved.roll_nm == 0.0);
        let mut last = None;
        for _ in 0..10 {
            last = Some(bench.step(turning(1.0), level(Motors::Flying, WEIGHT_N)));
        }
        let last = last.expect("ten steps");
        assert!(
            !last.invalid_input && last.allocation.achieved.roll_nm < -0.3,
            "{absurd}: {:?}",
            last.allocation.achieved
        );
    }
}

#[test]
fn does_not_kick_after_a_gap_in_what_is_sensed() {
    let mut bench = Bench::new();
    bench.step(turning(0.0), level(Motors::Flying, WEIGHT_N));
    for _ in 0..200 {
        bench.step(turning(f32::NAN), level(Motors::Flying, WEIGHT_N));
    }
    let after = bench.step(turning(1.0), level(Motors::Flying, WEIGHT_N)).acceleration_rad_s2;
    let fresh = Bench::new().step(turning(1.0), level(Motors::Flying, WEIGHT_N)).acceleration_rad_s2;
    assert_eq!(after, fresh, "as if it had just been switched on");
}
