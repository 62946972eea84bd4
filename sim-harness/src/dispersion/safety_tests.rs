use super::*;
use crate::script::{Fault, FaultKind, Initial, World};

const TILT_MAX_RAD: f64 = 0.6;
const PERIOD_S: f64 = 0.1;
const HEIGHT_M: f64 = 10.0;

fn angles(roll_deg: f64) -> Lateral {
    Lateral::Angles { roll_rad: roll_deg.to_radians(), pitch_rad: 0.0, yaw_rate_rad_s: 0.0 }
}

/// Three seconds of each lateral, at one height.
fn flight(laterals: &[Lateral]) -> Flight {
    let leg = |(index, lateral): (usize, &Lateral)| Leg {
        name: index.to_string(),
        until_s: 3.0 * (index + 1) as f64,
        vertical: Vertical::Height(HEIGHT_M),
        lateral: *lateral,
    };
    Flight {
        name: "test".into(),
        duration_s: 3.0 * laterals.len() as f64,
        log_period_s: PERIOD_S,
        seed: 0,
        control: true,
        initial: Initial::default(),
        world: World::default(),
        legs: laterals.iter().enumerate().map(leg).collect(),
        faults: Vec::new(),
        expectations: Vec::new(),
    }
}

/// What a craft does: its roll in degrees, and then whatever `also` changes.
fn flown(flight: &Flight, roll_deg: impl Fn(f64) -> f64, also: impl Fn(f64, &mut Row)) -> Recording {
    let count = (flight.duration_s / PERIOD_S).round() as u32;
    let row = |index: u32| {
        let t_s = f64::from(index) * PERIOD_S;
        let half = 0.5 * roll_deg(t_s).to_radians();
        let mut row = Row {
            t_s,
            position_m: [0.0, 0.0, -HEIGHT_M],
            velocity_m_s: [0.0; 3],
            attitude: [half.cos(), half.sin(), 0.0, 0.0],
            rate_rad_s: [0.0; 3],
            demand: Default::default(),
            achieved: Default::default(),
            rotor_n: Vec::new(),
            command: Vec::new(),
            on_board: Default::default(),
        };
        also(t_s, &mut row);
        row
    };
    Recording { rows: (0..=count).map(row).collect() }
}

fn fallen_short(flight: &Flight, recording: &Recording) -> Vec<String> {
    let findings = safety(flight, TILT_MAX_RAD, recording);
    assert!(!findings.is_empty());
    findings.into_iter().filter(|finding| !finding.held).map(|finding| finding.name).collect()
}

const NONE: [&str; 0] = [];

#[test]
fn holds_when_a_craft_does_what_it_is_asked() {
    let flight = flight(&[angles(10.0), angles(-10.0)]);
    let follows = flown(&flight, |t_s| if t_s < 3.0 { 10.0 } else { -10.0 }, |_, _| ());
    assert_eq!(fallen_short(&flight, &follows), NONE);
    assert_eq!(safety(&flight, TILT_MAX_RAD, &follows).len(), 5, "all are asked");
}

#[test]
fn falls_short_of_attitude_when_the_tilt_goes_far_beyond_what_is_asked() {
    let flight = flight(&[angles(10.0), angles(0.0)]);
    let beyond = |more: f64| {
        flown(
            &flight,
            move |t_s| {
                if (1.0..1.5).contains(&t_s) {
                    10.0 + TILT_BEYOND_MAX_DEG + more
                } else if t_s < 3.0 {
                    10.0
                } else {
                    0.0
                }
            },
            |_, _| (),
        )
    };
    assert_eq!(fallen_short(&flight, &beyond(-0.1)), NONE);
    assert_eq!(fallen_short(&flight, &beyond(0.1)), ["attitude"]);
    assert_eq!(fallen_short(&flight, &beyond(f64::NAN)), ["attitude"]);
    assert_eq!(fallen_short(&flight, &beyond(150.0)), ["attitude"]);
}

#[test]
fn falls_short_of_the_lean_when_a_leg_ends_away_from_it() {
    let flight = flight(&[angles(10.0)]);
    for (roll_deg, held) in
        [(10.0 - 4.9, true), (10.0 - 5.1, false), (10.0 + 4.9, true), (10.0 + 5.1, false), (-10.0, false)]
    {
        let recording = flown(&flight, |_| roll_deg, |_, _| ());
        assert_eq!(fallen_short(&flight, &recording).is_empty(), held, "{roll_deg}");
    }
    // The way there is not judged.
    let late = flown(&flight, |t_s| if t_s < 1.9 { 0.0 } else { 10.0 }, |_, _| ());
    assert_eq!(fallen_short(&flight, &late), NONE);
}

#[test]
fn falls_short_of_calm_when_the_craft_shakes_at_the_end_of_a_leg() {
    let flight = flight(&[angles(0.0)]);
    let shaking = |from_s: f64, to_s: f64, rate_deg_s: f64| {
        flown(
            &flight,
            |_| 0.0,
            move |t_s, row| {
                if t_s >= from_s && t_s < to_s {
                    row.rate_rad_s = [0.0, rate_deg_s.to_radians(), 9.0];
                }
            },
        )
    };
    assert_eq!(fallen_short(&flight, &shaking(2.0, 3.1, CALM_MAX_DEG_S + 0.1)), ["calm"]);
    assert_eq!(fallen_short(&flight, &shaking(2.0, 3.1, CALM_MAX_DEG_S - 0.1)), NONE);
    assert_eq!(fallen_short(&flight, &shaking(0.0, 1.9, 300.0)), NONE, "a leg may take its time");
    assert_eq!(fallen_short(&flight, &shaking(2.0, 3.1, f64::NAN)), ["calm"]);
}

#[test]
fn falls_short_of_height_when_the_craft_sinks_or_rises_off_its_way() {
    let flight = flight(&[angles(0.0)]);
    let off =
        |off_m: f64| flown(&flight, |_| 0.0, move |t_s, row| row.position_m[2] -= if t_s > 1.0 { off_m } else { 0.0 });
    for (off_m, held) in [(0.9, true), (1.1, false), (-0.9, true), (-1.1, false), (f64::NAN, false)] {
        assert_eq!(fallen_short(&flight, &off(off_m)).is_empty(), held, "{off_m}");
    }
    // On the way from where the leg starts, anything between is right; and a dive takes v²/2a to stop.
    let climbing = flown(&flight, |_| 0.0, |t_s, row| row.position_m[2] = -(HEIGHT_M - 6.0 + 2.0 * t_s).min(HEIGHT_M));
    assert_eq!(fallen_short(&flight, &climbing), NONE);
    let diving = flown(
        &flight,
        |_| 0.0,
        |t_s, row| {
            row.velocity_m_s[2] = if t_s < 0.05 { 4.0 } else { 0.0 };
            row.position_m[2] += if t_s > 1.0 { 4.5 } else { 0.0 };
        },
    );
    assert_eq!(fallen_short(&flight, &diving), NONE);
}

#[test]
fn judges_no_height_when_something_has_failed() {
    let mut flight = flight(&[angles(0.0)]);
    let sinks = flown(&flight, |_| 0.0, |t_s, row| row.position_m[2] += 2.0 * (t_s - 1.0).max(0.0));
    assert_eq!(fallen_short(&flight, &sinks), ["height"]);
    flight.faults.push(Fault { at_s: 1.0, kind: FaultKind::RotorStopped(0) });
    assert_eq!(fallen_short(&flight, &sinks), NONE);
}

#[test]
fn falls_short_of_the_ground_when_it_is_met_hard() {
    let mut flight = flight(&[angles(0.0)]);
    flight.legs[0].vertical = Vertical::Climb(-3.0);
    let lands = |speed_m_s: f64| {
        flown(
            &flight,
            |_| 0.0,
            move |t_s, row| {
                row.position_m[2] = -(5.0 - speed_m_s * t_s).max(0.0);
                row.velocity_m_s[2] = if row.position_m[2] < 0.0 { speed_m_s } else { 0.0 };
            },
        )
    };
    assert_eq!(fallen_short(&flight, &lands(IMPACT_MAX_M_S - 0.1)), NONE);
    assert_eq!(fallen_short(&flight, &lands(IMPACT_MAX_M_S + 0.1)), ["ground"]);
}

#[test]
fn waits_for_recovery_but_not_for_ever_when_a_flight_starts_upset() {
    let flight = flight(&[angles(0.0), angles(0.0), angles(0.0)]);
    let level_after = |s: f64| flown(&flight, move |t_s| if t_s < s { 170.0 } else { 0.0 }, |_, _| ());
    assert_eq!(fallen_short(&flight, &level_after(1.5)), NONE);
    assert!(fallen_short(&flight, &level_after(RECOVERY_MAX_S + 0.2)).contains(&"attitude".to_owned()));
    assert!(fallen_short(&flight, &level_after(99.0)).contains(&"attitude".to_owned()));
    let twice = flown(&flight, |t_s| if t_s < 1.0 || (4.0..4.2).contains(&t_s) { 90.0 } else { 0.0 }, |_, _| ());
    assert_eq!(fallen_short(&flight, &twice), ["attitude"], "once recovered, it is to stay so");
}

#[test]
fn falls_short_when_the_flight_ends_before_an_attitude_was_found() {
    let flight = flight(&[angles(0.0)]);
    let never = flown(&flight, |_| 120.0, |_, _| ());
    assert!(fallen_short(&flight, &never).contains(&"attitude".to_owned()));
}

#[test]
fn has_no_attitude_to_keep_when_a_leg_turns_at_given_rates() {
    let flight = flight(&[Lateral::Rates([6.0, 0.0, 0.0]), angles(0.0)]);
    // It is level for a moment as the second leg starts.
    let rolls = flown(&flight, |t_s| if t_s < 4.0 { 120.0 * t_s } else { 0.0 }, |_, _| ());
    assert_eq!(fallen_short(&flight, &rolls), NONE);
}

#[test]
fn asks_nothing_when_nobody_flies() {
    let mut flight = flight(&[angles(0.0)]);
    let falls = flown(&flight, |_| 150.0, |_, _| ());
    flight.control = false;
    assert!(safety(&flight, TILT_MAX_RAD, &falls).is_empty());
}
