//! The whole flight computer in the loop with the plant: it aligns, arms, flies on its own estimate, and
//! comes down by itself when the link is gone.

use evenkeel::onboard::Onboard;
use evenkeel::pilot::{Pilot, View};
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Initial, Lateral, Leg, Vertical, World};
use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::filter::{GyroFilterConfig, SecondOrderLowPassConfig};
use evenkeel_controller::{
    BatteryConfig, BodyAxes, DescentConfig, FlightComputer, FlightComputerConfig, FlightState, FlightStep, Motion,
    Motors, PilotDemand, RotorReportsConfig, Sample, State, SupervisorConfig,
};
use evenkeel_mixer::RotorSet;
use evenkeel_tests::specimen::{estimator, quad};
use nalgebra::{UnitQuaternion, Vector3};

const ROTORS: usize = evenkeel::craft::MAX_ROTORS;
const GRAVITY: f64 = 9.806_65;
const PERIOD_US: u64 = 1000;
/// When the pilot asks to arm: after the craft has stood still long enough to align.
const ARM_AT_S: f64 = 2.0;
/// Largest angle between estimate and truth in gentle flight. While the craft gathers speed the accelerometer shows
/// no tilt: kP times the tilt times the seconds it is held, 0.1 · 0.15 rad · 2 s here.
const ESTIMATE_TOL_RAD: f64 = 0.03;

/// What is wrong with the sensors.
#[derive(Clone, Copy)]
struct Flaws {
    gyro_bias_rad_s: [f64; 3],
    gyro_noise_rad_s: f64,
    acceleration_noise_m_s2: f64,
}

const PERFECT: Flaws = Flaws { gyro_bias_rad_s: [0.0; 3], gyro_noise_rad_s: 0.0, acceleration_noise_m_s2: 0.0 };

/// Uniform noise of unit deviation (splitmix64; G. Steele and others, 2014, from memory).
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        let uniform = ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64;
        (uniform - 0.5) * 12_f64.sqrt()
    }
}

/// One row a control step: time, state, largest estimate error so far, height.
struct Seen {
    t_s: f64,
    state: State,
    off_rad: f64,
    height_m: f64,
    tilt_rad: f64,
    step: FlightStep<f32, ROTORS>,
}

fn fly(seconds: f64, flaws: Flaws, legs: &[Leg], link_until_s: f64) -> Vec<Seen> {
    let craft = quad();
    let mut onboard = Onboard::<f32>::new(&craft, GRAVITY).expect("the quad flies");
    let computer = FlightComputer::<f32>::new(&FlightComputerConfig {
        gyro_filter: GyroFilterConfig {
            notches: None,
            low_pass: Some(SecondOrderLowPassConfig { corner_hz: 150.0, quality: std::f64::consts::FRAC_1_SQRT_2 }),
        },
        estimator: estimator(GRAVITY, 0.0),
        supervisor: SupervisorConfig::usual(1e-3, craft.body.mass_kg * GRAVITY),
        controller: onboard.config,
        battery: BatteryConfig::default(),
        descent: DescentConfig::default(),
        rotor_reports: RotorReportsConfig::default(),
    })
    .unwrap_or_else(|error| panic!("{error}"));
    let plant = Plant::new(&craft, &World::default());
    let mut body = PlantState::from_initial(&Initial::default());
    let mut state = FlightState::<f32, ROTORS>::default();
    let mut pilot = Pilot::new(&craft, GRAVITY, onboard.config.reference.tilt_max_rad, legs);
    let mut noise = Noise(3);
    let mut seen = Vec::new();
    for k in 0..(seconds * 1e6) as u64 / PERIOD_US {
        let now_us = k * PERIOD_US;
        let t_s = now_us as f64 * 1e-6;
        let view = View {
            position_m: body.position_m,
            velocity_m_s: body.velocity_m_s,
            attitude: body.attitude,
            on_ground: plant.on_ground(&body),
        };
        let flying = t_s >= ARM_AT_S + 0.5;
        let wanted = flying.then(|| pilot.setpoint(t_s, 1e-3, &view));
        let asked = wanted.filter(|setpoint| matches!(setpoint.motors, Motors::Grounded | Motors::Flying));
        let linked = t_s < link_until_s;
        let demand = PilotDemand {
            at_us: Some(if linked { now_us } else { (link_until_s * 1e6) as u64 }),
            arm: t_s >= ARM_AT_S,
            disarm: false,
            thrust_n: asked.map_or(0.0, |setpoint| setpoint.thrust_n as f32),
            motion: asked.map_or(Motion::LEVEL, |setpoint| match setpoint.motion {
                Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => Motion::Angles {
                    roll_rad: roll_rad as f32,
                    pitch_rad: pitch_rad as f32,
                    yaw_rate_rad_s: yaw_rate_rad_s as f32,
                },
                Motion::Rates(rates) => Motion::Rates(BodyAxes::from_array(rates.to_array().map(|v| v as f32))),
            }),
        };
        let gyro: [f64; 3] = std::array::from_fn(|axis| {
            body.rate_rad_s[axis] + flaws.gyro_bias_rad_s[axis] + flaws.gyro_noise_rad_s * noise.next()
        });
        let force = plant.specific_force_m_s2(&body);
        let acceleration =
            std::array::from_fn(|axis| (force[axis] + flaws.acceleration_noise_m_s2 * noise.next()) as f32);
        let sample = Sample {
            now_us,
            sensed_at_us: Some(now_us),
            inertial: InertialSample {
                gyro_rad_s: BodyAxes::from_array(gyro.map(|rate| rate as f32)),
                acceleration_m_s2: acceleration,
                heading: None,
            },
            rotor_speeds_rad_s: [0.0; ROTORS],
            stopped_rotors: RotorSet::EMPTY,
            on_ground: Some(view.on_ground),
            battery_share: Some(0.9),
            voltage_share: None,
            climb_m_s: None,
        };
        let step = computer.step(&mut state, &sample, &demand, &mut onboard.mixer);
        let commands: Vec<f64> = step.commands.iter().map(|command| f64::from(*command)).collect();
        let [w, x, y, z] = step.estimate.attitude.to_array().map(f64::from);
        let estimate = UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(w, x, y, z));
        // Yaw is nobody's to know without a heading: compare where down is.
        let down = |attitude: UnitQuaternion<f64>| attitude.inverse_transform_vector(&Vector3::z());
        seen.push(Seen {
            t_s,
            state: step.decision.state,
            off_rad: down(estimate).angle(&down(body.attitude)),
            height_m: -body.position_m.z,
            tilt_rad: down(body.attitude).angle(&Vector3::z()),
            step,
        });
        plant.advance(&mut body, &commands, 1e-3);
        assert!(plant.is_finite(&body), "{t_s} s");
    }
    seen
}

fn leg(until_s: f64, vertical: Vertical, roll_rad: f64, pitch_rad: f64) -> Leg {
    Leg { name: "leg".into(), until_s, vertical, lateral: Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s: 0.0 } }
}

fn gentle() -> Vec<Leg> {
    let height = Vertical::Height(5.0);
    vec![
        leg(8.0, height, 0.0, 0.0),
        leg(9.0, height, 0.15, 0.0),
        leg(11.0, height, -0.15, 0.0),
        leg(12.0, height, 0.15, 0.0),
        leg(14.0, height, 0.0, -0.1),
        leg(60.0, height, 0.0, 0.0),
    ]
}

/// The states passed through, each once.
fn passed(seen: &[Seen]) -> Vec<State> {
    let mut states: Vec<State> = seen.iter().map(|row| row.state).collect();
    states.dedup();
    states
}

#[test]
fn arms_takes_off_and_flies_on_its_own_estimate() {
    let seen = fly(20.0, PERFECT, &gentle(), f64::INFINITY);
    assert_eq!(passed(&seen), [State::Disarmed, State::Standing, State::Flying]);
    let off = seen.iter().filter(|row| row.t_s > 1.5).map(|row| row.off_rad).fold(0.0, f64::max);
    assert!(off < ESTIMATE_TOL_RAD, "estimate off by {off} rad");
    let late = seen.iter().filter(|row| row.t_s > 18.0);
    assert!(late.clone().all(|row| (row.height_m - 5.0).abs() < 0.1), "height kept");
    assert!(late.clone().all(|row| row.tilt_rad < ESTIMATE_TOL_RAD), "level");
    let motors_off = seen.iter().filter(|row| row.t_s < ARM_AT_S);
    assert!(motors_off.clone().all(|row| row.step.commands.iter().all(|command| *command == 0.0)));
}

#[test]
fn flies_with_a_biased_noisy_gyro_and_a_shaking_accelerometer() {
    let flaws = Flaws { gyro_bias_rad_s: [0.02, -0.015, 0.01], gyro_noise_rad_s: 0.01, acceleration_noise_m_s2: 0.3 };
    let seen = fly(20.0, flaws, &gentle(), f64::INFINITY);
    assert_eq!(passed(&seen), [State::Disarmed, State::Standing, State::Flying]);
    let off = seen.iter().filter(|row| row.t_s > 1.5).map(|row| row.off_rad).fold(0.0, f64::max);
    assert!(off < 2.0 * ESTIMATE_TOL_RAD, "estimate off by {off} rad");
    let tilt = seen.iter().filter(|row| row.t_s > 18.0).map(|row| row.tilt_rad).fold(0.0, f64::max);
    assert!(tilt < 2.0 * ESTIMATE_TOL_RAD, "level but for {tilt} rad");
}

#[test]
fn comes_down_level_and_disarms_when_the_link_is_lost() {
    let seen = fly(40.0, PERFECT, &gentle(), 15.0);
    assert_eq!(passed(&seen), [State::Disarmed, State::Standing, State::Flying, State::LinkLost, State::Disarmed]);
    let descent = seen.iter().filter(|row| row.state == State::LinkLost);
    assert!(descent.clone().count() > 1000, "it takes a while");
    assert!(descent.clone().all(|row| row.tilt_rad < 0.05), "level all the way");
    let last = seen.last().expect("rows");
    assert!(last.height_m.abs() < 0.05, "on the ground: {}", last.height_m);
    assert!(last.step.commands.iter().all(|command| *command == 0.0), "motors off");
}

#[test]
fn does_not_arm_before_it_is_aligned() {
    let craft_shaken = Flaws { gyro_noise_rad_s: 2.0, ..PERFECT };
    let seen = fly(4.0, craft_shaken, &gentle(), f64::INFINITY);
    assert_eq!(passed(&seen), [State::Disarmed]);
    assert!(seen.iter().all(|row| row.step.commands.iter().all(|command| *command == 0.0)));
    assert!(!seen.last().expect("rows").step.decision.reasons.is_empty(), "and it says why");
}
