//! What goes wrong in flight does what its name says, and the flight computer answers as its table of states says.

use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::recording::{Recording, Row};
use evenkeel::simulation::fly;
use evenkeel_controller::State;

const CRAFT: &str = include_str!("../../sim-harness/crafts/quad.toml");
const AT_S: f64 = 4.0;
const END_S: f64 = 30.0;

/// A hover at 5 m with this going wrong after 4 s.
fn flown(fault: &str) -> Recording {
    let craft = parse_craft("quad.toml", CRAFT).unwrap_or_else(|error| panic!("{error}"));
    let text = format!(
        "format = 1\nname = \"hover\"\nduration_s = {END_S}\n[initial]\nposition_m = [0.0, 0.0, -5.0]\n\
         [[leg]]\nheight_m = 5.0\n[[fault]]\nat_s = {AT_S}\n{fault}\n"
    );
    let flight = parse_flight("flight.toml", &text, &craft).unwrap_or_else(|error| panic!("{error}"));
    let onboard = Onboard::<f32>::new(&craft, flight.world.gravity_m_s2).unwrap_or_else(|error| panic!("{error}"));
    fly(&craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

/// The states passed through, each once.
fn passed(recording: &Recording) -> Vec<State> {
    let mut states: Vec<State> = recording.rows.iter().map(|row| State::ALL[row.on_board.state as usize]).collect();
    states.dedup();
    states
}

fn at(recording: &Recording, t_s: f64) -> &Row {
    recording.rows.iter().find(|row| row.t_s >= t_s).expect("a row")
}

fn most(recording: &Recording, from_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    recording.between(from_s, END_S).map(value).fold(f64::NEG_INFINITY, f64::max)
}

/// Over all rotors.
fn mean_command(recording: &Recording, from_s: f64, to_s: f64) -> f64 {
    let commands: Vec<f64> = recording.between(from_s, to_s).flat_map(|row| row.command.clone()).collect();
    commands.iter().sum::<f64>() / commands.len() as f64
}

#[test]
fn comes_down_level_and_stops_its_motors_when_the_link_is_lost() {
    let flown = flown("link_lost = true");
    assert_eq!(passed(&flown), [State::Flying, State::LinkLost, State::Disarmed]);
    assert!(most(&flown, AT_S, Row::tilt_rad) < 0.03, "level all the way");
    // The descent holds 1 m/s once it has settled.
    let sinking = at(&flown, AT_S + 3.0).velocity_m_s[2];
    assert!((sinking - 1.0).abs() < 0.15, "{sinking} m/s");
    let last = flown.rows.last().expect("rows");
    assert!(last.height_m().abs() < 0.02 && last.command.iter().all(|command| *command == 0.0), "{last:?}");
}

#[test]
fn gives_the_craft_back_when_the_link_returns() {
    let flown = flown("link_lost = true\nuntil_s = 6.0");
    assert_eq!(passed(&flown), [State::Flying, State::LinkLost, State::Flying]);
    assert!((flown.rows.last().expect("rows").height_m() - 5.0).abs() < 0.2, "at its height again");
}

#[test]
fn stops_in_the_air_when_the_gyro_falls_silent_or_says_no_number() {
    for failure in ["dropped", "not_finite"] {
        let flown = flown(&format!("sensor = {{ name = \"gyro\", fails = \"{failure}\" }}"));
        assert_eq!(passed(&flown), [State::Flying, State::FaultBlind, State::FaultStopped], "{failure}");
    }
}

#[test]
fn flies_on_without_heading_climb_or_voltage() {
    for name in ["heading", "climb", "voltage"] {
        for failure in ["dropped", "not_finite", "frozen"] {
            let flown = flown(&format!("sensor = {{ name = \"{name}\", fails = \"{failure}\" }}"));
            assert_eq!(passed(&flown), [State::Flying], "{name} {failure}");
            assert!(most(&flown, 10.0, |row| (row.height_m() - 5.0).abs()) < 0.1, "{name} {failure}");
        }
    }
}

/// A fresh, finite, wrong gyro goes unnoticed: the craft turns over, which is why it stands among the faults.
#[test]
fn says_the_same_again_and_again_when_the_gyro_is_frozen() {
    let flown = flown("sensor = { name = \"gyro\", fails = \"frozen\" }\nuntil_s = 4.3");
    let frozen: Vec<f64> = flown.between(AT_S + 0.1, 4.28).map(|row| row.on_board.rate_rad_s[0]).collect();
    assert!(frozen.len() > 3 && frozen.windows(2).all(|pair| (pair[0] - pair[1]).abs() < 1e-4), "{frozen:?}");
}

#[test]
fn shakes_more_when_the_gyro_is_noisy() {
    let flown = flown("sensor = { name = \"gyro\", fails = \"noisy\" }\nuntil_s = 8.0");
    let size = |from_s: f64, to_s: f64| {
        let rates: Vec<f64> = flown.between(from_s, to_s).map(|row| row.on_board.rate_rad_s[0].powi(2)).collect();
        (rates.iter().sum::<f64>() / rates.len() as f64).sqrt()
    };
    // 0.5 rad/s is added before the low-pass; afterwards it is quiet again.
    assert!(size(5.0, 8.0) > 0.1, "{}", size(5.0, 8.0));
    assert!(size(1.0, 4.0) < 0.02 && size(9.0, 12.0) < 0.02, "{}", size(9.0, 12.0));
    assert_eq!(passed(&flown), [State::Flying]);
}

#[test]
fn comes_down_when_the_samples_are_late_again_and_again() {
    let flown = flown("samples_late_s = 0.004\nuntil_s = 6.0");
    assert_eq!(passed(&flown)[..2], [State::Flying, State::FaultDescent]);
    assert!(most(&flown, AT_S, Row::tilt_rad) < 0.1, "in hand");
}

#[test]
fn pushes_harder_elsewhere_when_a_rotor_is_weakened() {
    let flown = flown("rotor_weakened = { rotor = 2, thrust_share = 0.8 }");
    let (before, after) = (at(&flown, 3.9), at(&flown, END_S));
    // The thrust to hold is what it was; the rotor needs √(1/0.8) of the command.
    assert!((after.command[1] / before.command[1] - (1.0_f64 / 0.8).sqrt()).abs() < 0.02, "{after:?}");
    assert!((after.height_m() - 5.0).abs() < 0.1 && after.tilt_rad() < 0.02, "{after:?}");
}

#[test]
fn commands_more_and_holds_its_height_when_the_battery_collapses() {
    let flown = flown("battery = { voltage_share = 0.9 }");
    let after = at(&flown, END_S);
    assert!((after.on_board.voltage_share - 0.9).abs() < 1e-9);
    // Speed goes with command times voltage.
    let ratio = mean_command(&flown, 20.0, END_S) / mean_command(&flown, 1.0, AT_S);
    assert!((ratio * 0.9 - 1.0).abs() < 0.005, "{ratio}");
    assert!((after.height_m() - 5.0).abs() < 0.1, "{after:?}");
}
