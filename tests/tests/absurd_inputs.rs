//! Whatever is sensed or asked, the commands are numbers within limits, and what is no number is reported.

use evenkeel::onboard::Onboard;
use evenkeel_controller::{BodyAxes, ControllerState, Motion, Motors, Quaternion, Sensed, Setpoint};
use evenkeel_mixer::Scalar;
use evenkeel_tests::specimen::quad;

/// A stream of numbers, some sensible, some absurd, some no numbers at all (splitmix64; G. Steele and others, 2014,
/// from memory).
struct Absurd(u64);

impl Absurd {
    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn number<S: Scalar>(&mut self, bad: &[f64], size: f64) -> S {
        let (choice, bits) = (self.bits() % 40, self.bits());
        let plain = size * (2.0 * (bits >> 11) as f64 / (1u64 << 53) as f64 - 1.0);
        S::from_f64(match choice {
            0 => bad[bits as usize % bad.len()],
            1 => plain * 1.0e30,
            2 => plain * 1.0e-40,
            _ => plain,
        })
    }
}

fn answers_within_limits<S: Scalar>(largest: f64, steps: usize) {
    let bad = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, largest, -largest, -0.0, 0.0, 1e-310];
    let onboard = Onboard::<S>::new(&quad(), 9.806_65).unwrap_or_else(|error| panic!("{error}"));
    let (mut state, mut stream) = (ControllerState::default(), Absurd(7));
    let mut raised = 0;
    for step in 0..steps {
        let attitude: [S; 4] = std::array::from_fn(|_| stream.number(&bad, 1.0));
        let rate: [S; 3] = std::array::from_fn(|_| stream.number(&bad, 5.0));
        let motion: [S; 3] = std::array::from_fn(|_| stream.number(&bad, 3.0));
        let thrust_n: S = stream.number(&bad, 40.0);
        let [a, b, c] = motion;
        let (motion, asked) = if stream.bits() % 2 == 0 {
            (Motion::Rates(BodyAxes::from_array([a, b, c])), vec![a, b, c])
        } else {
            (Motion::Angles { roll_rad: a, pitch_rad: b, yaw_rate_rad_s: c }, vec![a, b, c])
        };
        let sensed = Sensed { attitude: Quaternion::from_array(attitude), rate_rad_s: BodyAxes::from_array(rate) };
        let setpoint =
            Setpoint { motors: if stream.bits() % 8 == 0 { Motors::Off } else { Motors::Flying }, thrust_n, motion };
        let answer = onboard.controller.step(&mut state, &sensed, &setpoint, &onboard.mixer);
        let commands: Vec<f64> = answer.commands.iter().map(|command| command.to_f64()).collect();
        assert_eq!(commands.len(), 4);
        assert!(
            commands.iter().all(|command| (0.0..=1.0).contains(command)),
            "{step}: {commands:?} {sensed:?} {setpoint:?}"
        );
        assert!(
            setpoint.motors != Motors::Off || commands.iter().all(|command| *command == 0.0),
            "{step}: disarmed {commands:?}"
        );
        let finite = attitude.iter().chain(&rate).chain(&asked).chain([&thrust_n]).all(|value| value.is_finite());
        let invalid = answer.invalid_input || answer.allocation.invalid_demand;
        assert!(finite || invalid, "{step}: nothing is said of {sensed:?} {setpoint:?}");
        let held = state.rate_loops().iter().all(|memory| memory.integral_rad_s2().is_finite());
        assert!(held, "{step}: what is remembered stays a number");
        raised += usize::from(invalid);
    }
    assert!(raised > steps / 10 && raised < steps, "both kinds came: {raised}");

    // And it has taken no harm: level and still, it hovers.
    let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: BodyAxes::default() };
    let hover = Setpoint { motors: Motors::Flying, thrust_n: S::from_f64(15.7), motion: Motion::LEVEL };
    let answer = onboard.controller.step(&mut state, &sensed, &hover, &onboard.mixer);
    assert!((answer.allocation.achieved.thrust_n.to_f64() - 15.7).abs() < 1e-4 && !answer.invalid_input);
}

#[test]
fn commands_stay_within_limits_when_inputs_are_absurd() {
    answers_within_limits::<f32>(f64::from(f32::MAX), 200_000);
    answers_within_limits::<f64>(f64::MAX, 50_000);
}
