//! The whole flight computer in the loop with the plant, while something is wrong for a while: a rotor that gives no
//! more, sensors that fall silent.

use evenkeel::onboard::Onboard;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Initial, World};
use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::{BodyAxes, FlightState, FlightStep, Motion, PilotDemand, Quaternion, Sample, State};
use evenkeel_mixer::RotorSet;
use evenkeel_tests::specimen::quad;
use nalgebra::Vector3;

const ROTORS: usize = evenkeel::craft::MAX_ROTORS;
const GRAVITY: f64 = 9.806_65;
const PERIOD_US: u64 = 1000;
const PERIOD_S: f64 = 1.0e-3;

/// What a moment of a flight can be made of.
struct Moment {
    /// Whether the sensors give a new sample.
    sensed: bool,
    motion: Motion<f32>,
    /// What the first rotor's command is cut to before it reaches the motor.
    first_rotor_max: f64,
}

const CALM: Moment = Moment { sensed: true, motion: Motion::LEVEL, first_rotor_max: 1.0 };

struct Row {
    t_s: f64,
    tilt_rad: f64,
    rate_rad_s: Vector3<f64>,
    step: FlightStep<f32, ROTORS>,
}

/// From a level hover 100 m up, one millisecond after another.
fn flown(seconds: f64, moment: impl Fn(u64) -> Moment) -> Vec<Row> {
    let craft = quad();
    let mut onboard = Onboard::<f32>::new(&craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    let plant = Plant::new(&craft, &World::default());
    let initial = Initial { position_m: [0.0, 0.0, -100.0], ..Initial::default() };
    let mut body = PlantState::from_initial(&initial);
    let hover_n = craft.body.mass_kg * GRAVITY;
    body.rotor_speed.iter_mut().take(4).for_each(|speed| *speed = (0.25 * hover_n / 8.0).sqrt());
    let mut state = FlightState::<f32, ROTORS>::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    let mut sensed_at_us = 0;
    let mut last = None;
    let mut rows = Vec::new();
    for count in 0..(seconds / PERIOD_S) as u64 {
        let now_us = 1_000_000 + count * PERIOD_US;
        let moment = moment(count);
        if moment.sensed || last.is_none() {
            sensed_at_us = now_us;
            last = Some(InertialSample {
                gyro_rad_s: BodyAxes::from_array(<[f64; 3]>::from(body.rate_rad_s).map(|rate| rate as f32)),
                acceleration_m_s2: <[f64; 3]>::from(plant.specific_force_m_s2(&body)).map(|value| value as f32),
                heading: None,
            });
        }
        let sample = Sample {
            now_us,
            sensed_at_us: Some(sensed_at_us),
            inertial: last.expect("taken in the first step"),
            rotor_speeds_rad_s: [0.0; ROTORS],
            stopped_rotors: RotorSet::EMPTY,
            on_ground: Some(false),
            battery_share: None,
            voltage_share: None,
            climb_m_s: None,
        };
        let demand = PilotDemand {
            at_us: Some(now_us),
            arm: true,
            disarm: false,
            thrust_n: hover_n as f32,
            motion: moment.motion,
        };
        let step = onboard.computer.step(&mut state, &sample, &demand, &mut onboard.mixer);
        let mut arrived: Vec<f64> = step.commands.iter().map(|command| f64::from(*command)).collect();
        arrived[0] = arrived[0].min(moment.first_rotor_max);
        plant.advance(&mut body, &arrived, PERIOD_S);
        assert!(plant.is_finite(&body), "{count} ms");
        let down_body = body.attitude.inverse_transform_vector(&Vector3::z());
        let t_s = (count + 1) as f64 * PERIOD_S;
        rows.push(Row { t_s, tilt_rad: down_body.angle(&Vector3::z()), rate_rad_s: body.rate_rad_s, step });
    }
    rows
}

fn largest(rows: &[Row], from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    let values = rows.iter().filter(|row| row.t_s > from_s && row.t_s <= to_s).map(value);
    values.fold(f64::NEG_INFINITY, |most, next| if next > most { next } else { most })
}

fn states(rows: &[Row]) -> Vec<State> {
    let mut states: Vec<State> = rows.iter().map(|row| row.step.decision.state).collect();
    states.dedup();
    states
}

fn lean(roll_rad: f32, pitch_rad: f32) -> Motion<f32> {
    Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s: 0.0 }
}

/// A motor that for a second gives no more than it does in hover, and nobody is told.
#[test]
fn does_not_tumble_when_a_rotor_gives_no_more_for_a_second() {
    let hover = (0.25_f64 * 1.6 * GRAVITY / 8.0).sqrt();
    for share in [1.0, 0.95] {
        let rows = flown(6.0, |count| Moment {
            // Lean away from that rotor in the middle of it, which asks it for more.
            motion: if (1300..1700).contains(&count) { lean(-0.2, 0.2) } else { Motion::LEVEL },
            first_rotor_max: if (1000..2000).contains(&count) { share * hover } else { 1.0 },
            ..CALM
        });
        let cut = |row: &Row| f64::from(row.step.commands[0]) - share * hover;
        assert!(largest(&rows, 1.0, 2.0, cut) > 0.05, "it was to matter");
        let tilt = largest(&rows, 0.0, 6.0, |row| row.tilt_rad);
        assert!(tilt < 0.4, "{share}: leaned {tilt} rad");
        assert!(largest(&rows, 3.5, 6.0, |row| row.tilt_rad) < 0.02, "{share}: level again");
        assert_eq!(states(&rows), [State::Flying], "{share}");
    }
}

/// Sensors that fall silent for less than the limit: the commands are held.
#[test]
fn flies_on_when_the_sensors_are_silent_for_a_moment() {
    let rows = flown(4.0, |count| Moment { sensed: !(1000..1040).contains(&count), motion: lean(0.2, 0.0), ..CALM });
    assert_eq!(states(&rows), [State::Flying]);
    assert!(rows[1020].step.decision.hold && rows[1020].step.control.is_none());
    let off = largest(&rows, 1.0, 4.0, |row| (row.tilt_rad - 0.2).abs());
    assert!(off < 0.005, "{off}");
    assert!(largest(&rows, 3.0, 4.0, |row| row.rate_rad_s.norm()) < 0.02);
}
