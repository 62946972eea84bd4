//! Filters, estimate and supervisor in fixed point against the same in double precision.

use evenkeel_controller::estimate::{
    AttitudeEstimator, AttitudeEstimatorConfig, AttitudeEstimatorState, HeadingReference, InertialSample,
};
use evenkeel_controller::filter::{
    FirstOrderLowPass, FirstOrderLowPassConfig, FirstOrderLowPassState, GyroFilter, GyroFilterConfig, GyroFilterState,
    Notch, NotchConfig, NotchState, SecondOrderLowPass, SecondOrderLowPassConfig, SecondOrderLowPassState,
};
use evenkeel_controller::{
    BodyAxes, Quaternion, State, Supervisor, SupervisorConfig, SupervisorInput, SupervisorState,
};
use evenkeel_mixer::{Fixed, Scalar};

const PERIOD_S: f64 = 1.0e-3;
const GRAVITY: f64 = 9.806_65;
/// A filter that forgets in some hundred samples, each rounded to 2⁻³².
const FILTER_TOL: f64 = 2.0e-7;
/// Largest angle between the two estimates after twenty seconds of motion.
const ATTITUDE_TOL_RAD: f64 = 1.0e-5;
/// What the integral of 20,000 rounded corrections is worth.
const BIAS_TOL_RAD_S: f64 = 1.0e-5;

/// A body that turns about all its axes: rates, as the gyro gives them.
fn turning_rad_s(step: usize) -> [f64; 3] {
    let t_s = step as f64 * PERIOD_S;
    [1.1 * (2.1 * t_s).sin(), 0.8 * (3.3 * t_s + 1.0).sin(), 0.5 * (0.7 * t_s).cos()]
}

fn axes<S: Scalar>(values: [f64; 3]) -> BodyAxes<S> {
    BodyAxes::from_array(values.map(S::from_f64))
}

/// One filter of each kind, and the whole of what stands behind the gyro; a sweep with noise on top.
fn filtered<S: Scalar>() -> Vec<[f64; 4]> {
    let first = FirstOrderLowPass::<S>::new(&FirstOrderLowPassConfig { corner_hz: 20.0 }, PERIOD_S).unwrap();
    let config = SecondOrderLowPassConfig { corner_hz: 90.0, quality: std::f64::consts::FRAC_1_SQRT_2 };
    let second = SecondOrderLowPass::<S>::new(&config, PERIOD_S).unwrap();
    let notch = Notch::<S>::new(&NotchConfig { center_hz: 120.0, quality: 3.0 }, PERIOD_S).unwrap();
    let gyro = GyroFilter::<S>::new(&GyroFilterConfig { notches: None, low_pass: Some(config) }, PERIOD_S).unwrap();
    let mut first_state = FirstOrderLowPassState::default();
    let (mut second_state, mut notch_state) = (SecondOrderLowPassState::default(), NotchState::default());
    let mut gyro_state = GyroFilterState::<S, 4>::default();
    let one = |step: usize| {
        let t_s = step as f64 * PERIOD_S;
        let value = 3.0 * (60.0 * t_s * t_s).sin() + 0.1 * ((step * 7919) % 101) as f64;
        let input = S::from_f64(value);
        let rates = gyro.step(&mut gyro_state, axes([value, -value, 0.5]), &[S::ZERO; 4]).rate_rad_s;
        [
            first.step(&mut first_state, input),
            second.step(&mut second_state, input),
            notch.step(&mut notch_state, input),
            rates.pitch,
        ]
        .map(S::to_f64)
    };
    (0..4000).map(one).collect()
}

#[test]
fn filters_the_same_in_fixed_point_and_in_double_precision() {
    let (fixed, double) = (filtered::<Fixed>(), filtered::<f64>());
    for (step, (ours, theirs)) in fixed.iter().zip(&double).enumerate() {
        for (filter, (a, b)) in ours.iter().zip(theirs).enumerate() {
            assert!((a - b).abs() < FILTER_TOL, "filter {filter}, step {step}: {a} against {b}");
        }
    }
    assert!(fixed != double, "they are two computations");
    assert!(double.iter().any(|row| row[1].abs() > 1.0), "and something passed");
}

/// Attitude and bias, from power-up: aligned, then turning, with bias, heading and an accelerometer that leans.
fn estimated<S: Scalar>() -> (Quaternion<f64>, [f64; 3]) {
    let config = AttitudeEstimatorConfig {
        kp_per_s: 0.3,
        ki_per_s2: 0.02,
        heading_weight: 0.5,
        bias_max_rad_s: 0.1,
        rate_max_rad_s: 35.0,
        gravity_m_s2: GRAVITY,
        gate_share: 0.2,
        rate_gate_rad_s: 10.0,
        align_s: 1.0,
        still_rad_s: 0.1,
    };
    let block = AttitudeEstimator::<S>::new(&config, PERIOD_S).unwrap();
    let mut state = AttitudeEstimatorState::default();
    let bias = [0.02, -0.03, 0.01];
    let mut truth = Quaternion::<f64>::IDENTITY;
    let mut last = None;
    for step in 0..21_000 {
        let rate = if step < 1000 { [0.0; 3] } else { turning_rad_s(step) };
        let turn = rate.map(|axis| axis * PERIOD_S);
        truth = (truth * Quaternion::small_turn(turn)).normalized().unwrap();
        let down = truth.down_in_body();
        let sample = InertialSample {
            gyro_rad_s: axes(std::array::from_fn(|axis| rate[axis] + bias[axis])),
            acceleration_m_s2: std::array::from_fn(|axis| S::from_f64(0.3 * turn[axis] - GRAVITY * down[axis])),
            heading: (step % 10 == 0).then(|| HeadingReference::nose(S::from_f64(0.2))),
        };
        last = Some(block.step(&mut state, &sample));
    }
    let last = last.unwrap();
    (Quaternion::from_array(last.attitude.to_array().map(S::to_f64)), last.bias_rad_s.to_array().map(S::to_f64))
}

#[test]
fn estimates_the_same_in_fixed_point_and_in_double_precision() {
    let ((fixed, fixed_bias), (double, double_bias)) = (estimated::<Fixed>(), estimated::<f64>());
    let [_, x, y, z] = (fixed.conjugate() * double).to_array();
    let apart_rad = 2.0 * (x * x + y * y + z * z).sqrt();
    assert!(apart_rad > 0.0 && apart_rad < ATTITUDE_TOL_RAD, "{apart_rad:e} rad");
    for (a, b) in fixed_bias.into_iter().zip(double_bias) {
        assert!((a - b).abs() < BIAS_TOL_RAD_S, "{a} against {b}");
    }
    assert!(double_bias[1] < -0.005, "it learnt: {double_bias:?}");
}

/// A flight with everything in it: arming, flight, a lost link and its return, tilt, sensors gone, stop.
fn decided<S: Scalar>() -> Vec<(State, String)> {
    let block = Supervisor::<S>::new(&SupervisorConfig::usual(PERIOD_S, 15.7)).unwrap();
    let mut state = SupervisorState::default();
    let mut answers = Vec::new();
    for step in 0..30_000_u64 {
        let (now_us, t_s) = (step * 1000, step as f64 * PERIOD_S);
        let during = |from: f64, to: f64| t_s >= from && t_s < to;
        let tilt_rad: f64 = if during(14.0, 15.5) { 1.9 } else { 0.1 * (3.0 * t_s).sin() };
        let input = SupervisorInput {
            now_us,
            arm_request: t_s > 2.0 && !during(20.0, 21.0),
            disarm: false,
            demand_at_us: Some(if during(6.0, 9.0) { 6_000_000 } else { now_us }),
            thrust_n: S::from_f64(if during(3.0, 18.0) || t_s > 23.0 { 15.0 } else { 0.5 }),
            sensed_at_us: Some(if during(26.0, 26.3) || t_s > 28.0 {
                now_us.min(28_000_000) - 400_000
            } else {
                now_us
            }),
            sensors_finite: true,
            cos_tilt: S::from_f64(tilt_rad.cos()),
            rate_rad_s: BodyAxes { roll: S::from_f64(0.02), ..BodyAxes::default() },
            on_ground: Some(t_s < 3.2 || during(19.0, 23.2)),
            battery_share: Some(S::from_f64(0.9)),
            configuration_valid: true,
            attitude_known: t_s > 1.0,
            rotor_stopped: false,
        };
        let decision = block.step(&mut state, &input);
        answers.push((decision.state, format!("{:?} {}", decision.reasons, decision.hold)));
    }
    answers
}

#[test]
fn decides_the_same_in_fixed_point_and_in_double_precision() {
    let (fixed, double) = (decided::<Fixed>(), decided::<f64>());
    let place = fixed.iter().zip(&double).position(|(a, b)| a != b);
    assert_eq!(place, None, "{:?} against {:?}", fixed[place.unwrap_or(0)], double[place.unwrap_or(0)]);
    let mut states: Vec<State> = fixed.iter().map(|(state, _)| *state).collect();
    states.dedup();
    assert!(states.len() > 6, "much happens: {states:?}");
    assert!(
        [State::LinkLost, State::FaultDescent, State::FaultBlind].iter().all(|state| states.contains(state)),
        "{states:?}"
    );
}
