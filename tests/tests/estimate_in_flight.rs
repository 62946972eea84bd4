//! How far the estimate is from the truth in flight, on the sensors a craft has when its file says nothing; that the same
//! seed gives the same bytes; and how far apart the arithmetics fly.

use evenkeel::craft::Craft;
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::recording::{Recording, Row};
use evenkeel::simulation::fly;
use evenkeel_mixer::{Fixed, Scalar};
use nalgebra::{Quaternion, UnitQuaternion};

const CRAFT: &str = include_str!("../../sim-harness/crafts/quad.toml");
/// Estimated down against true down: in a hover of a minute.
const HOVER_TOL_RAD: f64 = 2.0e-3;
/// In a level turn of a minute and a half.
const TURN_TOL_RAD: f64 = 4.0e-3;
/// While the nose is held 17 degrees down until drag balances.
const RUN_TOL_RAD: f64 = 6.0e-3;
/// A flight in f32, or in fixed point, against the same in f64.
const SINGLE_TOL_RAD: f64 = 5.0e-4;
const FIXED_TOL_RAD: f64 = 5.0e-4;

fn craft() -> Craft {
    parse_craft("quad.toml", CRAFT).unwrap_or_else(|error| panic!("{error}"))
}

fn flown<S: Scalar>(seed: u64, duration_s: f64, leg: &str) -> Recording {
    let craft = craft();
    let text = format!(
        "format = 1\nname = \"f\"\nduration_s = {duration_s}\nseed = {seed}\n[initial]\n\
         position_m = [0.0, 0.0, -30.0]\n[[leg]]\nheight_m = 30.0\n{leg}\n"
    );
    let flight = parse_flight("flight.toml", &text, &craft).unwrap_or_else(|error| panic!("{error}"));
    let onboard = Onboard::<S>::new(&craft, flight.world.gravity_m_s2).unwrap_or_else(|error| panic!("{error}"));
    fly(&craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

fn most(recording: &Recording, value: impl Fn(&Row) -> f64) -> f64 {
    recording.rows.iter().skip(1).map(value).fold(0.0, f64::max)
}

const TURN: &str = "circle = { radius_m = 14.0, speed_m_s = 6.5 }";
const RUN: &str = "pitch_deg = -17.0";

#[test]
fn knows_where_down_is_when_it_hovers_turns_and_gathers_speed() {
    for (leg, duration_s, tolerance_rad) in
        [("", 60.0, HOVER_TOL_RAD), (TURN, 90.0, TURN_TOL_RAD), (RUN, 60.0, RUN_TOL_RAD)]
    {
        for seed in [1, 2, 3] {
            let off_rad = most(&flown::<f32>(seed, duration_s, leg), Row::tilt_error_rad);
            println!("{leg:?} seed {seed}: {off_rad:.2e} rad");
            assert!(off_rad > 0.0 && off_rad < tolerance_rad, "{leg}: {off_rad:e} rad, seed {seed}");
        }
    }
}

fn bytes(recording: &Recording) -> Vec<u8> {
    let mut bytes = Vec::new();
    recording.write_csv(&mut bytes).expect("memory takes it");
    bytes
}

#[test]
fn flies_the_same_bytes_when_the_seed_is_the_same_on_any_thread() {
    let fly = |seed| bytes(&flown::<f32>(seed, 5.0, TURN));
    let alone = fly(7);
    let beside: Vec<Vec<u8>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..3).map(|_| scope.spawn(|| fly(7))).collect();
        threads.into_iter().map(|thread| thread.join().expect("it flies")).collect()
    });
    assert!(beside.iter().all(|other| *other == alone));
    assert_ne!(fly(8), alone, "another seed, another flight");
}

/// Largest angle between the attitudes of two flights.
fn apart_rad(a: &Recording, b: &Recording) -> f64 {
    let turn = |row: &Row| {
        let [w, x, y, z] = row.attitude;
        UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z))
    };
    a.rows.iter().zip(&b.rows).map(|(a, b)| turn(a).angle_to(&turn(b))).fold(0.0, f64::max)
}

#[test]
fn flies_nearly_the_same_in_single_and_double_precision_and_in_fixed_point() {
    for (leg, duration_s) in [("", 20.0), (TURN, 40.0), (RUN, 40.0)] {
        let double = flown::<f64>(3, duration_s, leg);
        let single = apart_rad(&flown::<f32>(3, duration_s, leg), &double);
        let fixed = apart_rad(&flown::<Fixed>(3, duration_s, leg), &double);
        println!("{leg:?}: f32 {single:.2e} rad, fixed {fixed:.2e} rad");
        assert!(single > 0.0 && single < SINGLE_TOL_RAD, "{leg}: {single:e} rad");
        assert!(fixed > 0.0 && fixed < FIXED_TOL_RAD, "{leg}: {fixed:e} rad");
    }
}
