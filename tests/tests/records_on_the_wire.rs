//! What the flight computer takes and gives, through a compact format without names and lengths (postcard, whose wire
//! format is published), with buffers of fixed size as on a microcontroller, and back unchanged.

use evenkeel::onboard::Onboard;
use evenkeel_controller::estimate::{HeadingReference, InertialSample};
use evenkeel_controller::filter::GyroFilterConfig;
use evenkeel_controller::{
    BatteryConfig, BodyAxes, DescentConfig, FlightComputer, FlightComputerConfig, FlightState, FlightStep, Motion,
    PilotDemand, Quaternion, RotorReportsConfig, Sample, SupervisorConfig,
};
use evenkeel_mixer::{Fixed, RotorSet, Scalar};
use evenkeel_tests::specimen::{estimator, quad};
use serde::Serialize;
use serde::de::DeserializeOwned;

const GRAVITY: f64 = 9.806_65;
const ROTORS: usize = evenkeel::craft::MAX_ROTORS;
/// Room on the wire for the largest record.
const ROOM: usize = 2048;

fn comes_back<T: Serialize + DeserializeOwned + PartialEq + std::fmt::Debug>(record: &T) {
    let mut room = [0; ROOM];
    let bytes = postcard::to_slice(record, &mut room).unwrap_or_else(|error| panic!("{error}: {record:?}"));
    let (back, rest): (T, _) = postcard::take_from_bytes(bytes).unwrap_or_else(|error| panic!("{error}: {record:?}"));
    assert_eq!((&back, rest), (record, [].as_slice()));
}

fn sample<S: Scalar>(now_us: u64) -> Sample<S, ROTORS> {
    let s = S::from_f64;
    Sample {
        now_us,
        sensed_at_us: Some(now_us),
        inertial: InertialSample {
            gyro_rad_s: BodyAxes::from_array([0.01, -0.02, 0.03].map(s)),
            acceleration_m_s2: [0.1, -0.2, -GRAVITY].map(s),
            heading: Some(HeadingReference::nose(s(0.3))),
        },
        rotor_speeds_rad_s: std::array::from_fn(|rotor| s(400.0 + rotor as f64)),
        stopped_rotors: RotorSet::from_bits(0x0205),
        on_ground: Some(false),
        battery_share: Some(s(0.75)),
        voltage_share: Some(s(0.875)),
        climb_m_s: Some(s(-0.5)),
    }
}

fn demand<S: Scalar>(now_us: u64) -> PilotDemand<S> {
    let s = S::from_f64;
    let motion = Motion::Angles { roll_rad: s(0.1), pitch_rad: s(-0.2), yaw_rate_rad_s: s(0.3) };
    PilotDemand { at_us: Some(now_us), arm: true, disarm: false, thrust_n: s(15.0), motion }
}

/// One step in flight, and one that refuses to arm and lists why.
fn steps<S: Scalar>() -> [FlightStep<S, ROTORS>; 2] {
    let craft = quad();
    let mut onboard = Onboard::<S>::new(&craft, GRAVITY).expect("the quad flies");
    let computer = FlightComputer::<S>::new(&FlightComputerConfig {
        gyro_filter: GyroFilterConfig::default(),
        estimator: estimator(GRAVITY, 0.5),
        supervisor: SupervisorConfig::usual(1e-3, craft.body.mass_kg * GRAVITY),
        controller: onboard.config,
        battery: BatteryConfig::default(),
        descent: DescentConfig::default(),
        rotor_reports: RotorReportsConfig::default(),
    })
    .expect("a sound configuration");
    let flying = FlightState::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    [flying, FlightState::default()]
        .map(|mut state| computer.step(&mut state, &sample(1000), &demand(1000), &mut onboard.mixer))
}

fn all_come_back<S: Scalar + Serialize + DeserializeOwned>() {
    comes_back(&sample::<S>(5));
    comes_back(&Sample::<S, ROTORS> { sensed_at_us: None, on_ground: None, climb_m_s: None, ..sample(u64::MAX) });
    comes_back(&demand::<S>(7));
    let [flying, refused] = steps::<S>();
    assert!(flying.control.is_some() && !refused.decision.reasons.is_empty());
    comes_back(&flying);
    comes_back(&refused);
}

#[test]
fn records_come_back_as_they_were_when_written_and_read() {
    all_come_back::<f32>();
    all_come_back::<f64>();
    all_come_back::<Fixed>();
}

#[test]
fn rotor_speeds_of_another_craft_are_refused() {
    let speeds = |count: u8| -> Vec<u8> {
        let mut room = [0; ROOM];
        let whole = postcard::to_slice(&sample::<f32>(5), &mut room).expect("there is room").to_vec();
        // The one byte that is the length: the number of rotors in front of the first speed.
        let mark = [&[ROTORS as u8][..], &400.0_f32.to_le_bytes()].concat();
        let place = whole.windows(5).position(|bytes| bytes == mark).expect("the speeds");
        [&whole[..place], &[count], &whole[place + 1..]].concat()
    };
    let read = |bytes: Vec<u8>| postcard::from_bytes::<Sample<f32, ROTORS>>(&bytes).is_ok();
    assert!(read(speeds(ROTORS as u8)));
    assert!(!read(speeds(ROTORS as u8 - 1)) && !read(speeds(ROTORS as u8 + 1)));
}
