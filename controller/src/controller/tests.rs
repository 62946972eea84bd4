use super::*;
use crate::angle_loop::AngleLoopConfig;
use crate::reference::ReferenceConfig;
use crate::shaping::ShaperConfig;

/// No rate that is believed: a step with it forgets how the craft turned.
const NOT_BELIEVED_RAD_S: f64 = 2.0 * RATE_BELIEVED_MAX;

const RATE_LOOP: RateLoopConfig = RateLoopConfig {
    p_per_s: 20.0,
    i_per_s2: 0.0,
    d: 0.5,
    d_filter_hz: 30.0,
    set_point_weight: 1.0,
    feed_forward: 1.0,
    integral_max_rad_s2: 10.0,
};

fn config() -> ControllerConfig {
    ControllerConfig {
        period_s: 1e-3,
        angle_divider: 4,
        rate: [RATE_LOOP; 3],
        angle: AngleLoopConfig { gain_per_s: [6.0, 6.0, 3.0], rate_max_rad_s: [5.0, 5.0, 2.0] },
        reference: ReferenceConfig {
            tilt: [ShaperConfig { slew_max: 4.0, acceleration_max: 80.0, gain_per_s: 12.0 }; 2],
            rate: [ShaperConfig { slew_max: 80.0, acceleration_max: 2000.0, gain_per_s: 30.0 }; 3],
            rotor_lag_s: 0.03,
            tilt_max_rad: 0.6,
            rate_max_rad_s: [5.0, 5.0, 2.0],
        },
        inertia_kg_m2: [[0.012, 0.0, 0.0], [0.0, 0.014, 0.0], [0.0, 0.0, 0.022]],
        tilt_compensation_max: 1.0,
    }
}

/// Rates that differ from axis to axis and from step to step.
fn turning(number: u32) -> BodyAxes<f64> {
    let step = f64::from(number);
    BodyAxes { roll: 1.0 + 0.3 * step, pitch: -2.0 - 0.2 * step * step, yaw: 3.0 - 0.5 * step }
}

/// The three axes are asked once whether they have a past: each must answer as its loop does by itself, at the beginning
/// and after a gap as well.
#[test]
fn axes_begin_and_forget_together_as_each_would_alone() {
    let (made, mut state) = (Controller::<f64>::new(&config()).unwrap(), ControllerState::default());
    let alone = RateLoop::<f64>::new(&RATE_LOOP, 1e-3).unwrap();
    let mut memories = [RateLoopState::default(); 3];
    for number in 0..12 {
        if number == 6 {
            let gap = BodyAxes { roll: NOT_BELIEVED_RAD_S, ..BodyAxes::default() };
            let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: gap };
            let setpoint = Setpoint { motors: Motors::Flying, thrust_n: 5.0, motion: Motion::LEVEL };
            made.decide(&mut state, &sensed, &setpoint);
            memories.iter_mut().for_each(RateLoopState::forget_motion);
        }
        let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: turning(number) };
        let setpoint = Setpoint { motors: Motors::Flying, thrust_n: 5.0, motion: Motion::LEVEL };
        let decided = made.decide(&mut state, &sensed, &setpoint);
        let RateSetpoint { rate_rad_s, acceleration_rad_s2, expected_rad_s2 } = decided.rate_setpoint;
        let [wanted, known, expected] = [rate_rad_s, acceleration_rad_s2, expected_rad_s2].map(BodyAxes::to_array);
        for axis in 0..3 {
            let axis_setpoint =
                AxisSetpoint { wanted_rad_s: wanted[axis], known_rad_s2: known[axis], expected_rad_s2: expected[axis] };
            let rate = turning(number).to_array()[axis];
            let by_itself = alone.step(&mut memories[axis], axis_setpoint, rate);
            assert_eq!(decided.acceleration_rad_s2.to_array()[axis], by_itself, "axis {axis} at step {number}");
        }
    }
}

/// What is lent and cannot be is level with the last thrust, as if level had been asked for.
#[test]
fn motion_that_is_no_number_is_level_and_said_to_be_invalid() {
    let made = Controller::<f64>::new(&config()).unwrap();
    let after = |motion| {
        let mut state = ControllerState::default();
        let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: turning(0) };
        let mut answers = std::vec::Vec::new();
        for _ in 0..100 {
            let decided = made.decide(&mut state, &sensed, &Setpoint { motors: Motors::Flying, thrust_n: 5.0, motion });
            answers.push((decided.acceleration_rad_s2, decided.demand));
        }
        let last = made.decide(&mut state, &sensed, &Setpoint { motors: Motors::Flying, thrust_n: 5.0, motion });
        (answers, last.invalid_input)
    };
    let bad = Motion::Angles { roll_rad: f64::NAN, pitch_rad: 0.1, yaw_rate_rad_s: 0.0 };
    let ((level, level_invalid), (bad, bad_invalid)) = (after(Motion::LEVEL), after(bad));
    assert_eq!(level, bad);
    assert!(bad_invalid && !level_invalid);
}
