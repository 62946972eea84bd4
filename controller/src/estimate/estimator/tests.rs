//! The estimator by itself.

use super::*;

const G: f64 = 9.806_65;
const PERIOD_S: f64 = 4e-3;
const CONFIG: AttitudeEstimatorConfig = AttitudeEstimatorConfig {
    kp_per_s: 1.0,
    ki_per_s2: 0.3,
    heading_weight: 0.5,
    bias_max_rad_s: 0.1,
    rate_max_rad_s: 35.0,
    gravity_m_s2: G,
    gate_share: 0.2,
    rate_gate_rad_s: f64::INFINITY,
    align_s: 0.4,
    still_rad_s: 0.06,
};

fn made() -> AttitudeEstimator<f64> {
    AttitudeEstimator::new(&CONFIG, PERIOD_S).unwrap()
}

fn at_rest(attitude: Quaternion<f64>, bias: [f64; 3]) -> InertialSample<f64> {
    let acceleration_m_s2 = attitude.down_in_body().map(|down| -G * down);
    InertialSample { gyro_rad_s: BodyAxes::from_array(bias), acceleration_m_s2, heading: None }
}

fn tilt_off(estimate: &Estimate<f64>, truth: Quaternion<f64>) -> f64 {
    dot(estimate.attitude.down_in_body(), truth.down_in_body()).clamp(-1.0, 1.0).acos()
}

#[test]
fn aligns_in_the_stated_time_to_tilt_heading_and_bias() {
    for (yaw, pitch, roll) in [(0.0, 0.0, 0.0), (1.0, 0.3, -0.5), (-2.0, -0.2, 3.0), (3.0, 1.0, core::f64::consts::PI)]
    {
        let truth = (Quaternion::yaw(yaw) * Quaternion::pitch(pitch) * Quaternion::roll(roll)).normalized().unwrap();
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        let heading = Some(HeadingReference::nose(yaw));
        let sample = InertialSample { heading, ..at_rest(truth, [0.01, -0.02, 0.03]) };
        for _ in 0..99 {
            let estimate = block.step(&mut state, &sample);
            assert_eq!(estimate.status.alignment, Alignment::Collecting);
            assert_eq!(estimate.attitude, Quaternion::IDENTITY);
        }
        let estimate = block.step(&mut state, &sample);
        assert_eq!(estimate.status.alignment, Alignment::Aligned);
        assert!(estimate.status.heading_used);
        let between = truth.conjugate() * estimate.attitude;
        assert!(between.w.abs() > 1.0 - 1e-12, "{yaw} {pitch} {roll}: {estimate:?}");
        let off = sum(estimate.bias_rad_s.to_array(), [-0.01, 0.02, -0.03]);
        assert!(dot(off, off) < 1e-24, "{off:?}");
        assert!(dot(estimate.rate_rad_s.to_array(), estimate.rate_rad_s.to_array()) < 1e-24);
    }
}

/// Samples in a tenth of a second.
const WINDOW: usize = 25;

fn still() -> InertialSample<f64> {
    at_rest(Quaternion::IDENTITY, [0.0; 3])
}

fn shown(acceleration_m_s2: [f64; 3]) -> InertialSample<f64> {
    InertialSample { acceleration_m_s2, ..still() }
}

/// The state after this many of one sample.
fn fed(state: &mut AttitudeEstimatorState<f64>, sample: &InertialSample<f64>, times: usize) -> Alignment {
    let block = made();
    (0..times).map(|_| block.step(state, sample).status.alignment).last().unwrap()
}

/// What single samples show is judged at once when it is no noise, else by the window it is in.
#[test]
fn says_what_keeps_it_from_aligning_and_starts_again() {
    let cases = [
        (at_rest(Quaternion::IDENTITY, [0.0, 0.061, 0.0]), WINDOW, Alignment::GyroMoving),
        (at_rest(Quaternion::IDENTITY, [0.0, 0.31, 0.0]), 1, Alignment::GyroMoving),
        (shown([0.0, 0.0, -1.21 * G]), WINDOW, Alignment::AccelerationOffGravity),
        (shown([0.0, 0.21 * G, -G]), WINDOW, Alignment::DownMoving),
        (shown([0.0, 0.0, -1.51 * G]), 1, Alignment::AccelerationOffGravity),
        (shown([0.0; 3]), 1, Alignment::AccelerationOffGravity),
        (shown([0.0, f64::NAN, -G]), 1, Alignment::BadSample),
        (at_rest(Quaternion::IDENTITY, [0.0, 0.0, 36.0]), 1, Alignment::BadSample),
    ];
    for (sample, times, why) in cases {
        let mut state = AttitudeEstimatorState::default();
        assert_eq!(fed(&mut state, &still(), 2 * WINDOW), Alignment::Collecting);
        let mut after = fed(&mut state, &sample, times);
        if times == 1 && why == Alignment::GyroMoving {
            after = fed(&mut state, &still(), WINDOW - 1);
        }
        assert_eq!(after, why, "{sample:?}");
        // The reason stands until a whole window was good.
        assert_eq!(fed(&mut state, &still(), WINDOW - 1), why);
        assert_eq!(fed(&mut state, &still(), 1), Alignment::Collecting, "{why:?}");
        assert_eq!(fed(&mut state, &still(), 3 * WINDOW - 1), Alignment::Collecting, "{why:?}");
        assert_eq!(fed(&mut state, &still(), 1), Alignment::Aligned, "{why:?}");
    }
}

#[test]
fn takes_what_lies_just_within_the_limits() {
    let cases = [
        at_rest(Quaternion::IDENTITY, [0.0599, -0.0599, 0.0]),
        shown([0.0, 0.0, -1.199 * G]),
        shown([0.0, 0.0, -0.801 * G]),
    ];
    for sample in cases {
        assert_eq!(fed(&mut AttitudeEstimatorState::default(), &sample, 100), Alignment::Aligned, "{sample:?}");
    }
}

/// One sample in a window of this, the rest at rest.
#[test]
fn edges_of_a_sample_while_aligning() {
    let cases = [
        (0.0, Alignment::Aligned),
        (-0.0, Alignment::Aligned),
        (5e-324, Alignment::Aligned),
        (-f64::MIN_POSITIVE, Alignment::Aligned),
        (f64::MAX, Alignment::BadSample),
        (f64::MIN, Alignment::BadSample),
        (f64::INFINITY, Alignment::BadSample),
        (f64::NEG_INFINITY, Alignment::BadSample),
        (f64::NAN, Alignment::BadSample),
    ];
    for (edge, expected) in cases {
        for sample in [at_rest(Quaternion::IDENTITY, [edge, 0.0, edge]), shown([edge, edge, -G])] {
            let mut state = AttitudeEstimatorState::default();
            fed(&mut state, &still(), 99);
            assert_eq!(fed(&mut state, &sample, 1), expected, "{sample:?}");
            let [w, x, y, z] = state.attitude.to_array();
            assert!(w == 1.0 && x.abs() + y.abs() + z.abs() < 1e-15, "{sample:?}: {:?}", state.attitude);
        }
    }
}

#[test]
fn mean_rate_above_the_bias_limit_is_motion() {
    let config = AttitudeEstimatorConfig { bias_max_rad_s: 0.05, ..CONFIG };
    let block = AttitudeEstimator::new(&config, PERIOD_S).unwrap();
    let mut state = AttitudeEstimatorState::default();
    let drifting = at_rest(Quaternion::IDENTITY, [0.055, 0.0, 0.0]);
    let last = (0..100).map(|_| block.step(&mut state, &drifting).status.alignment).last();
    assert_eq!(last, Some(Alignment::GyroMoving));
}

#[test]
fn directions_that_cancel_are_no_gravity() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    let last = (0..100).map(|k| block.step(&mut state, &shown([0.0, 0.0, if k % 2 == 0 { -G } else { G }])));
    assert_eq!(last.last().unwrap().status.alignment, Alignment::AccelerationOffGravity);
}

/// Windows and samples are whole: the time is met to within half a sample a window, and one sample is enough for one.
#[test]
fn takes_about_the_stated_time_when_it_does_not_divide() {
    for (align_s, period_s, samples) in
        [(0.4, 4e-3, 100), (1.0, 3e-3, 330), (0.15, 1e-3, 150), (0.002, 1e-3, 2), (1e-5, 1e-3, 1), (1.0, 2e-2, 50)]
    {
        let config = AttitudeEstimatorConfig { align_s, rate_max_rad_s: 5.0, ..CONFIG };
        let block = AttitudeEstimator::new(&config, period_s).unwrap();
        let mut state = AttitudeEstimatorState::default();
        let took = 1
            + (0..400).take_while(|_| block.step(&mut state, &still()).status.alignment != Alignment::Aligned).count();
        assert_eq!(took, samples, "{align_s} s of {period_s} s");
    }
}

#[test]
fn holds_everything_when_the_gyro_is_faulty() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    state.restart_at(Quaternion::roll(0.3));
    let before = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.5, 0.2, -0.1]));
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 35.1, -35.1, f64::MAX] {
        let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.0, bad, 0.0]));
        assert!(estimate.status.gyro_faulty, "{bad}");
        assert_eq!((estimate.attitude, estimate.rate_rad_s), (before.attitude, before.rate_rad_s), "{bad}");
        assert_eq!(estimate.bias_rad_s, before.bias_rad_s, "{bad}");
    }
    assert!(!block.step(&mut state, &at_rest(Quaternion::IDENTITY, [35.0; 3])).status.gyro_faulty);
}

#[test]
fn goes_on_with_the_gyro_when_the_accelerometer_is_faulty() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    state.restart_at(Quaternion::IDENTITY);
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e200] {
        let mut sample = at_rest(Quaternion::IDENTITY, [0.5, 0.0, 0.0]);
        sample.acceleration_m_s2[1] = bad;
        let before = state.attitude.x;
        let estimate = block.step(&mut state, &sample);
        assert!(estimate.status.accelerometer_faulty && estimate.status.accelerometer_weight == 0.0, "{bad}");
        assert!((estimate.attitude.x - before - 0.5 * 0.5 * PERIOD_S).abs() < 1e-6, "{bad}");
        assert_eq!(estimate.bias_rad_s, BodyAxes::default(), "{bad}");
    }
}

#[test]
fn heading_that_is_no_number_is_flagged_and_passed_over() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    state.restart_at(Quaternion::IDENTITY);
    for heading in [HeadingReference::north([f64::NAN; 3]), HeadingReference::nose(f64::INFINITY)] {
        let sample = InertialSample { heading: Some(heading), ..at_rest(Quaternion::IDENTITY, [0.0; 3]) };
        let status = block.step(&mut state, &sample).status;
        assert!(status.heading_faulty && !status.heading_used, "{heading:?}");
    }
    assert_eq!(state.attitude, Quaternion::IDENTITY);
}

#[test]
fn bias_stops_at_its_limit_and_says_so() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    state.restart_at(Quaternion::IDENTITY);
    let mut limited = false;
    for _ in 0..10_000 {
        let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.3, 0.0, 0.0]));
        assert!(estimate.bias_rad_s.roll <= 0.1);
        limited = estimate.status.bias_limited;
    }
    assert!(limited);
    // What is left of the bias leans the estimate by its share of kP: sin e = 0.2.
    let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.3, 0.0, 0.0]));
    assert!((tilt_off(&estimate, Quaternion::IDENTITY).sin() - 0.2).abs() < 1e-6, "{estimate:?}");
}

#[test]
fn rate_gate_shuts_the_accelerometer_out_while_turning_fast() {
    let block = AttitudeEstimator::new(&AttitudeEstimatorConfig { rate_gate_rad_s: 2.0, ..CONFIG }, PERIOD_S).unwrap();
    let weight = |rate: f64| {
        let mut state = AttitudeEstimatorState::default();
        state.restart_at(Quaternion::IDENTITY);
        block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.0, 0.0, rate])).status.accelerometer_weight
    };
    assert_eq!([weight(0.0), weight(0.99), weight(-2.0), weight(30.0)], [1.0, 1.0, 0.0, 0.0]);
    assert!((weight(1.5) - 0.5).abs() < 1e-12);
}

#[test]
fn memory_is_small() {
    assert_eq!(core::mem::size_of::<AttitudeEstimatorState<f32>>(), 112, "bytes");
}

#[test]
fn restart_without_an_attitude_aligns_as_usual() {
    let (block, mut state) = (made(), AttitudeEstimatorState::default());
    state.restart_at(Quaternion { w: f64::NAN, ..Quaternion::IDENTITY });
    assert_eq!(block.step(&mut state, &still()).status.alignment, Alignment::BadSample);
    assert_eq!(fed(&mut state, &still(), 98), Alignment::Collecting);
    assert_eq!(fed(&mut state, &still(), 1), Alignment::Aligned);
}

#[test]
fn refuses_what_makes_no_sense() {
    use AttitudeEstimatorError as E;
    let made = |config: AttitudeEstimatorConfig| AttitudeEstimator::<f32>::new(&config, PERIOD_S).map(|_| ());
    assert_eq!(made(CONFIG), Ok(()));
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        let period = AttitudeEstimator::<f32>::new(&CONFIG, bad).map(|_| ());
        assert_eq!(period, Err(E::Period), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { kp_per_s: bad, ..CONFIG }), Err(E::Gain), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { rate_max_rad_s: bad, ..CONFIG }), Err(E::RateLimit), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { gravity_m_s2: bad, ..CONFIG }), Err(E::Gravity), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { gate_share: bad, ..CONFIG }), Err(E::Gate), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { align_s: bad, ..CONFIG }), Err(E::AlignTime), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { still_rad_s: bad, ..CONFIG }), Err(E::Stillness), "{bad}");
    }
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(made(AttitudeEstimatorConfig { ki_per_s2: bad, ..CONFIG }), Err(E::Gain), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { bias_max_rad_s: bad, ..CONFIG }), Err(E::BiasLimit), "{bad}");
        assert_eq!(made(AttitudeEstimatorConfig { heading_weight: bad, ..CONFIG }), Err(E::HeadingWeight), "{bad}");
    }
    for bad in [f64::NAN, -1.0, 0.0] {
        assert_eq!(made(AttitudeEstimatorConfig { rate_gate_rad_s: bad, ..CONFIG }), Err(E::RateGate), "{bad}");
    }
    assert_eq!(made(AttitudeEstimatorConfig { rate_max_rad_s: 73.0, ..CONFIG }), Err(E::StepTooLarge));
    assert_eq!(made(AttitudeEstimatorConfig { align_s: 61.0, ..CONFIG }), Err(E::AlignTime));
    assert_eq!(made(AttitudeEstimatorConfig { still_rad_s: 1e-30, ..CONFIG }), Err(E::Stillness));
    assert_eq!(made(AttitudeEstimatorConfig { ki_per_s2: 1e-60, ..CONFIG }), Err(E::Gain));
    assert_eq!(made(AttitudeEstimatorConfig { gravity_m_s2: 1e-60, ..CONFIG }), Err(E::Gravity));
}

/// A turn at a changing rate, of which ten samples in a row are missing.
#[test]
fn bridges_a_gap_with_the_mean_of_the_rates_around_it() {
    let block = made();
    let turned = |missing: core::ops::Range<u32>| {
        let mut state = AttitudeEstimatorState::default();
        state.restart_at(Quaternion::IDENTITY);
        for k in 0..60 {
            let sample = at_rest(state.attitude, [0.02 * f64::from(k), 0.0, 0.0]);
            if k == missing.end {
                block.bridge(&mut state, &sample, missing.end - missing.start);
            }
            if !missing.contains(&k) {
                block.step(&mut state, &sample);
            }
        }
        state.attitude
    };
    let (whole, bridged) = (turned(0..0), turned(20..30));
    let off = |attitude: Quaternion<f64>| 2.0 * (whole.conjugate() * attitude).x.abs();
    // Half a period's change of rate is left of each rate.
    assert!(off(bridged) < 10.0 * PERIOD_S * 0.02, "{}", off(bridged));
    let mut lost = AttitudeEstimatorState::default();
    lost.restart_at(Quaternion::IDENTITY);
    block.bridge(&mut lost, &at_rest(Quaternion::IDENTITY, [f64::NAN, 0.0, 0.0]), 40);
    assert_eq!(lost.attitude, Quaternion::IDENTITY, "a gyro that is no number turns nothing");
}
