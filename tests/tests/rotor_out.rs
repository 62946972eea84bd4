//! A rotor stops in flight: what the attainable set says, and what a craft does that is told of it, or is not.

use evenkeel::craft::{Craft, MAX_ROTORS};
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::recording::{Recording, Row};
use evenkeel::saturation::stopped_rotors;
use evenkeel::script::{Fault, FaultKind, Flight};
use evenkeel::simulation::{HostComputer, fly, fly_with, start_of};
use evenkeel_controller::State;
use evenkeel_mixer::{Fixed, RotorSet, Scalar};

const QUAD: &str = include_str!("../../sim-harness/crafts/quad.toml");
const SIX: &str = include_str!("../../sim-harness/crafts/six.toml");
const EIGHT: &str = include_str!("../../sim-harness/crafts/eight.toml");
const GRAVITY: f64 = 9.806_65;
const AT_S: f64 = 3.0;
const HEIGHT_M: f64 = 20.0;
/// The script comes down from here on.
const DOWN_S: f64 = 12.0;
const END_S: f64 = 32.0;
/// The demo crafts report a stop after 0.05 s, and a report is believed after 0.01 s.
const KNOWN_S: f64 = 0.06;
/// Arithmetics round apart; a flight in still air carries them this far in tilt and height.
const SAME_TILT_RAD: f64 = 2e-3;
const SAME_HEIGHT_M: f64 = 0.02;

/// With motor electronics that report a stop, or without.
fn craft(text: &str, reports: bool) -> Craft {
    let text = format!("{text}\n[sensors.rotors]\nfitted = {reports}\n");
    parse_craft("craft.toml", &text).unwrap_or_else(|error| panic!("{error}"))
}

/// A hover, and then down; nothing wrong yet.
fn hover(craft: &Craft) -> Flight {
    let text = format!(
        "format = 1\nname = \"hover\"\nduration_s = {END_S}\nlog_period_s = 0.005\n[initial]\n\
         position_m = [0.0, 0.0, -{HEIGHT_M}]\n[[leg]]\nuntil_s = {DOWN_S}\nheight_m = {HEIGHT_M}\n[[leg]]\nclimb_m_s = -1.5\n"
    );
    parse_flight("flight.toml", &text, craft).unwrap_or_else(|error| panic!("{error}"))
}

fn stopping(craft: &Craft, rotor: usize, at_s: f64) -> Flight {
    Flight { faults: vec![Fault { at_s, kind: FaultKind::RotorStopped(rotor) }], ..hover(craft) }
}

fn flown<S: Scalar>(craft: &Craft, flight: &Flight) -> Recording {
    let onboard = Onboard::<S>::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    fly(craft, flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

/// The same, and the computer is told these rotors have stopped at these times, whatever is true.
fn flown_and_told(craft: &Craft, flight: &Flight, told: impl Fn(u64) -> u16) -> Recording {
    let onboard = Onboard::<f32>::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    let mut host = HostComputer::new(&onboard, start_of(craft, &onboard, flight));
    let step = |sample: &evenkeel_controller::Sample<f32, MAX_ROTORS>, pilot: &_| {
        let mut sample = *sample;
        sample.stopped_rotors = sample.stopped_rotors.and(RotorSet::from_bits(told(sample.now_us)));
        Ok::<_, std::convert::Infallible>(host.step(&sample, pilot))
    };
    let mut recording = Recording::default();
    fly_with(craft, flight, &onboard, step, &|_| (), &mut |row| recording.rows.push(row))
        .unwrap_or_else(|error| panic!("{error}"));
    recording
}

fn most(recording: &Recording, from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    recording.between(from_s, to_s).map(value).fold(f64::NEG_INFINITY, f64::max)
}

fn fell_m(row: &Row) -> f64 {
    HEIGHT_M - row.height_m()
}

/// The states passed through, each once.
fn passed(recording: &Recording) -> Vec<State> {
    let mut states: Vec<State> = recording.rows.iter().map(|row| State::ALL[row.on_board.state as usize]).collect();
    states.dedup();
    states
}

fn last(recording: &Recording) -> State {
    *passed(recording).last().expect("rows")
}

fn at_rest(row: &Row) -> bool {
    row.command.iter().all(|command| *command == 0.0)
        && row.height_m().abs() < 0.05
        && row.velocity_m_s.iter().all(|v| v.abs() < 0.01)
}

fn commands(recording: &Recording) -> Vec<&[f64]> {
    recording.rows.iter().map(|row| row.command.as_slice()).collect()
}

#[test]
fn coaxial_eight_stays_level_and_at_its_height_when_told_and_worse_when_not() {
    let lost = |reports: bool, rotor: usize| {
        let craft = craft(EIGHT, reports);
        assert!(stopped_rotors(&craft, 9.0 * GRAVITY).expect("it flies").iter().all(|one| one.holds_level));
        let flown = flown::<f32>(&craft, &stopping(&craft, rotor, AT_S));
        let level = most(&flown, DOWN_S - 2.0, DOWN_S, Row::tilt_rad);
        assert!(level < 0.02, "rotor {rotor}: {level} rad at the end");
        assert!(!reports || at_rest(flown.rows.last().expect("rows")), "rotor {rotor}");
        (most(&flown, AT_S, DOWN_S, Row::tilt_rad), most(&flown, AT_S, DOWN_S, fell_m), last(&flown))
    };
    for rotor in [0, 3, 5] {
        let (told, untold) = (lost(true, rotor), lost(false, rotor));
        assert!(told.0 < 0.1 && told.0 < 0.5 * untold.0, "tilt of rotor {rotor}: {} and {} rad", told.0, untold.0);
        assert!(told.1 < 0.1 && told.1 < 0.25 * untold.1, "fall of rotor {rotor}: {} and {} m", told.1, untold.1);
        // The pilot flies to the ground, and there the motors stop.
        assert_eq!((told.2, untold.2), (State::FaultStopped, State::Standing), "rotor {rotor}");
    }
}

/// The attainable set: with one rotor of a flat alternating six out, the one across stands at its floor, the others
/// balance, and the nose is turned by what is left over at hover, the end of the interval nearest to the demand.
///
/// Source: dr/dt = yaw torque / Izz, no other torque about the vertical
#[test]
fn alternating_six_holds_level_and_height_and_turns_as_the_attainable_set_says() {
    let craft = craft(SIX, true);
    let left = stopped_rotors(&craft, craft.body.mass_kg * GRAVITY).expect("it flies");
    for (rotor, one) in left.iter().enumerate() {
        let [low_nm, high_nm] = one.yaw_nm.expect("level hover is within reach");
        // Its camera leaves the tail some torque to spare, hardly any, and the other rotors none.
        assert!(one.holds_level_without_yaw && one.holds_level == (low_nm < 0.0 && high_nm > 0.0), "{one:?}");
        assert_eq!(one.holds_level, one.rotor == "tail");
        let flown = flown::<f32>(&craft, &stopping(&craft, rotor, AT_S));
        let tilt = most(&flown, AT_S + 2.0, DOWN_S, Row::tilt_rad);
        let fell = most(&flown, AT_S, DOWN_S, fell_m);
        assert!(tilt < 0.02 && fell < 0.2, "{}: {tilt} rad, {fell} m", one.rotor);
        // Settled, and before the heading has come round.
        let (from_s, to_s) = (AT_S + 1.5, AT_S + 5.0);
        let asks_right = most(&flown, from_s, to_s, |row| -row.demand.yaw_nm) < 0.0;
        let nearest_nm = if asks_right { high_nm } else { low_nm };
        let turning = |t_s: f64| flown.rows.iter().find(|row| row.t_s >= t_s).expect("a row").rate_rad_s[2];
        let gathered = turning(to_s) - turning(from_s);
        let expected = (to_s - from_s) * nearest_nm / craft.body.inertia_kg_m2[2][2];
        assert!((gathered / expected - 1.0).abs() < 0.1, "{}: {gathered} rad/s, {expected} expected", one.rotor);
        assert_eq!(last(&flown), State::FaultStopped, "{}", one.rotor);
    }
}

#[test]
fn quad_comes_down_slower_when_told_and_its_motors_are_stopped_either_way() {
    let lost = |reports: bool| {
        let craft = craft(QUAD, reports);
        assert!(!stopped_rotors(&craft, 1.6 * GRAVITY).expect("it flies").iter().any(|one| one.holds_level));
        let flown = flown::<f32>(&craft, &stopping(&craft, 0, AT_S));
        let end = flown.rows.last().expect("rows");
        assert!(end.command.iter().all(|command| *command == 0.0), "{:?}", passed(&flown));
        assert_eq!(last(&flown), State::FaultStopped);
        most(&flown, AT_S, END_S, |row| row.velocity_m_s[2])
    };
    let (told_m_s, untold_m_s) = (lost(true), lost(false));
    assert!(told_m_s < 0.6 * untold_m_s, "{told_m_s} m/s told, {untold_m_s} m/s untold");
}

#[test]
fn rotor_is_given_up_when_the_report_has_come_and_held() {
    let craft = craft(EIGHT, true);
    let flown = flown::<f32>(&craft, &stopping(&craft, 6, AT_S));
    let given_up = flown.rows.iter().find(|row| row.command[6] == 0.0).expect("it is given up").t_s - AT_S;
    // Two samples and a row of the log.
    assert!(given_up > KNOWN_S - 0.005 && given_up < KNOWN_S + 0.01, "{given_up} s");
    let told = |row: &&Row| row.on_board.flags as u32 & 256 != 0;
    let reasons = flown.rows.iter().find(told).expect("the pilot is told to land").t_s - AT_S;
    assert!((reasons - given_up).abs() <= 0.0051, "{reasons} s");
}

#[test]
fn every_arithmetic_flies_without_the_rotor_alike() {
    let craft = craft(EIGHT, true);
    let flight = stopping(&craft, 2, AT_S);
    let single = flown::<f32>(&craft, &flight);
    for (name, other) in [("f64", flown::<f64>(&craft, &flight)), ("fixed", flown::<Fixed>(&craft, &flight))] {
        assert_eq!(passed(&other), passed(&single), "{name}");
        for (a, b) in single.between(0.0, DOWN_S).zip(other.between(0.0, DOWN_S)) {
            assert!((a.tilt_rad() - b.tilt_rad()).abs() < SAME_TILT_RAD, "{name} at {} s", a.t_s);
            assert!((a.height_m() - b.height_m()).abs() < SAME_HEIGHT_M, "{name} at {} s", a.t_s);
        }
    }
}

#[test]
fn report_that_cannot_be_or_does_not_last_changes_no_command() {
    let craft = craft(EIGHT, true);
    let flight = Flight { duration_s: 5.0, ..hover(&craft) };
    let plain = flown::<f32>(&craft, &flight);
    let after = |now_us: u64| now_us > 2_000_000;
    // One step in two; five samples of 2 ms are a run.
    let flickering = |now_us: u64| if after(now_us) && (now_us / 2_000).is_multiple_of(2) { 0b1 } else { 0 };
    let for_a_moment = |now_us: u64| if (2_000_000..2_008_000).contains(&now_us) { 0b1000 } else { 0 };
    let beyond = |now_us: u64| if after(now_us) { 0xff00 } else { 0 };
    let all = |now_us: u64| if after(now_us) { 0xffff } else { 0 };
    type Told<'a> = &'a dyn Fn(u64) -> u16;
    let cases: [(&str, Told<'_>, bool); 4] = [
        ("flickering", &flickering, false),
        ("for a moment", &for_a_moment, false),
        ("rotors that there are not", &beyond, true),
        ("all of them", &all, true),
    ];
    for (name, told, passed_over) in cases {
        let flown = flown_and_told(&craft, &flight, told);
        assert!(commands(&flown) == commands(&plain), "{name}");
        let flagged = flown.rows.iter().filter(|row| row.on_board.flags as u32 & 128 != 0).count();
        assert_eq!(flagged > 500, passed_over, "{name}: {flagged} rows");
    }
}

#[test]
fn rotor_that_is_reported_falsely_and_no_longer_stays_out_until_disarmed() {
    let craft = craft(EIGHT, true);
    let flight = hover(&craft);
    let told = |now_us: u64| if (3_000_000..3_100_000).contains(&now_us) { 0b10 } else { 0 };
    let flown = flown_and_told(&craft, &flight, told);
    assert!(flown.between(3.1, END_S).all(|row| row.command[1] == 0.0), "it does not come and go");
    assert!(most(&flown, AT_S, DOWN_S, fell_m) < 0.1 && most(&flown, AT_S, DOWN_S, Row::tilt_rad) < 0.1);
    assert_eq!(last(&flown), State::FaultStopped, "and on the ground the motors stop");
}

#[test]
fn is_not_armed_while_a_rotor_is_reported_stopped() {
    let craft = craft(QUAD, true);
    let from_power_up = |at_s: f64| {
        let mut flight = Flight { duration_s: 8.0, ..stopping(&craft, 3, at_s) };
        flight.initial.power_up = true;
        flight.initial.position_m = [0.0; 3];
        flown::<f32>(&craft, &flight)
    };
    let refused = from_power_up(1.0);
    assert_eq!(passed(&refused), [State::Disarmed]);
    assert!(refused.rows.iter().all(|row| row.command.iter().all(|command| *command == 0.0)));
    // Armed at 2 s, thrust up from 2.5 s: between them it stands.
    let standing = from_power_up(2.2);
    assert_eq!(passed(&standing), [State::Disarmed, State::Standing, State::FaultStopped]);
    // Without a fault it flies: a rotor that stands still because it is told to is not reported.
    assert_eq!(passed(&from_power_up(7.9))[..3], [State::Disarmed, State::Standing, State::Flying]);
}
