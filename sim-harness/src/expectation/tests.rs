use evenkeel_mixer::Wrench;
use nalgebra::UnitQuaternion;

use super::*;
use crate::attitude;
use crate::craft::Craft;
use crate::demo;
use crate::recording::Row;

/// Rounding of a few operations.
const ROUNDING: f64 = 1.0e-9;

fn craft() -> Craft {
    demo::quad().unwrap()
}

/// A row at `t_s`, level and at rest at a height, commands at a half.
fn row(t_s: f64, height_m: f64) -> Row {
    Row {
        t_s,
        position_m: [0.0, 0.0, -height_m],
        velocity_m_s: [0.0; 3],
        attitude: [1.0, 0.0, 0.0, 0.0],
        rate_rad_s: [0.0; 3],
        demand: Wrench::default(),
        achieved: Wrench::default(),
        rotor_n: vec![2.0; 4],
        command: vec![0.5; 4],
        on_board: Default::default(),
    }
}

fn turned(t_s: f64, euler_deg: [f64; 3]) -> Row {
    let attitude: UnitQuaternion<f64> = attitude::from_euler_rad(euler_deg.map(f64::to_radians));
    Row { attitude: attitude::components(&attitude), ..row(t_s, 1.0) }
}

fn heights(heights_m: &[f64]) -> Recording {
    Recording { rows: heights_m.iter().enumerate().map(|(k, height)| row(k as f64, *height)).collect() }
}

fn headings(headings_deg: &[f64]) -> Recording {
    Recording { rows: headings_deg.iter().enumerate().map(|(k, deg)| turned(k as f64, [0.0, 0.0, *deg])).collect() }
}

fn expect(quantity: &str, taken: Taken, limit: Limit) -> Expectation {
    Expectation {
        name: "test".into(),
        quantity: Quantity::named(quantity, 4, [0.0; 3]).unwrap(),
        from_s: 0.0,
        until_s: 100.0,
        taken,
        limit,
        source: None,
    }
}

fn judged(expectation: &Expectation, recording: &Recording) -> Finding {
    let craft = craft();
    expectation.judge(recording, &Scene::new(&craft))
}

/// Heights 1, 2, 3, 6: mean 3, standard deviation √3.5 (worked by hand).
const FOUR: [f64; 4] = [1.0, 2.0, 3.0, 6.0];

#[test]
fn holds_and_falls_short_on_either_side_of_its_value_when_taken_in_each_way() {
    let spread = 3.5_f64.sqrt();
    let cases = [
        (Taken::Mean, 3.0),
        (Taken::Largest, 6.0),
        (Taken::Smallest, 1.0),
        (Taken::End, 6.0),
        (Taken::StandardDeviation, spread),
    ];
    for (taken, value) in cases {
        for (limit, held) in [
            (Limit::at_least(value - ROUNDING), true),
            (Limit::at_least(value + ROUNDING), false),
            (Limit::at_most(value + ROUNDING), true),
            (Limit::at_most(value - ROUNDING), false),
            (Limit::between(value - 0.1, value + 0.1), true),
            (Limit::between(value + 0.1, value + 0.2), false),
        ] {
            let finding = judged(&expect("height_m", taken, limit), &heights(&FOUR));
            assert_eq!(finding.held, held, "{finding:?}");
            assert!((finding.value - value).abs() < ROUNDING, "{finding:?}");
            assert_eq!(finding.excess() <= 0.0, held, "{finding:?}");
        }
    }
}

#[test]
fn finds_the_sample_that_is_worst_when_every_sample_counts() {
    for (limit, held, value, at_s) in [
        (Limit::at_least(1.0), true, 1.0, 0.0),
        (Limit::at_least(1.5), false, 1.0, 0.0),
        (Limit::at_most(6.0), true, 6.0, 3.0),
        (Limit::at_most(5.9), false, 6.0, 3.0),
        (Limit::between(0.0, 5.0), false, 6.0, 3.0),
        (Limit::between(1.9, 9.0), false, 1.0, 0.0),
    ] {
        let finding = judged(&expect("height_m", Taken::Every, limit), &heights(&FOUR));
        assert_eq!((finding.held, finding.value, finding.at_s), (held, value, Some(at_s)), "{finding:?}");
    }
}

#[test]
fn looks_at_its_window_alone_when_it_has_one() {
    let window =
        |from_s, until_s| Expectation { from_s, until_s, ..expect("height_m", Taken::Largest, Limit::at_most(3.0)) };
    let finding = judged(&window(1.0, 2.0), &heights(&FOUR));
    assert_eq!((finding.held, finding.value, finding.samples), (true, 3.0, 2));
    assert!(!judged(&window(1.0, 3.0), &heights(&FOUR)).held);
    // A row at 1/3 s stands at 0.333333333 s.
    let recording = Recording { rows: vec![row(0.333_333_333, 2.0)] };
    assert_eq!(judged(&window(1.0 / 3.0, 1.0), &recording).samples, 1);
}

#[test]
fn falls_short_when_a_sample_is_no_number_or_there_is_none() {
    let takens = TAKEN.iter().map(|(_, taken)| *taken);
    for taken in takens {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            for limit in [Limit::at_least(-1e9), Limit::at_most(1e9), Limit::between(-1e9, 1e9)] {
                let worst_last = heights(&[1.0, 1.0, bad]);
                let finding = judged(&expect("height_m", taken, limit), &worst_last);
                let hidden = match taken {
                    Taken::Largest => bad == f64::NEG_INFINITY,
                    Taken::Smallest => bad == f64::INFINITY,
                    Taken::Every => limit.holds(bad),
                    _ => false,
                };
                assert!(!finding.held || (hidden && !bad.is_nan()), "{taken:?} {bad}: {finding:?}");
            }
        }
        let none = judged(&expect("height_m", taken, Limit::at_least(0.0)), &Recording::default());
        assert!(!none.held && none.value.is_nan() && none.excess() == f64::INFINITY, "{none:?}");
        let one = judged(&expect("height_m", taken, Limit::at_least(0.0)), &heights(&[1.0]));
        assert_eq!(one.held, taken != Taken::StandardDeviation, "one sample has no spread: {one:?}");
    }
}

/// Angles of a row run from −180 to 180: north and south are where they may jump.
#[test]
fn knows_that_359_and_1_degree_are_neighbours_when_a_heading_goes_round() {
    for middle in [0.0, 180.0] {
        let across = headings(&[-5.0, -2.0, 2.0, 5.0].map(|off| middle + off));
        let around = |middle: f64| Limit::between(middle - 6.0, middle + 6.0);
        for taken in [Taken::Every, Taken::Mean, Taken::Largest, Taken::Smallest, Taken::End] {
            for same in [middle, middle + 360.0, middle - 360.0] {
                let near = judged(&expect("heading_deg", taken, around(same)), &across);
                assert!(near.held, "{near:?}");
            }
            let away = judged(&expect("heading_deg", taken, around(middle + 180.0)), &across);
            assert!(!away.held, "{away:?}");
        }
        let mean = judged(&expect("heading_deg", Taken::Mean, around(middle)), &across);
        assert!((mean.value - middle).abs() < ROUNDING, "{mean:?}");
        // Distances from the mean: 5, 2, 2, 5.
        let spread = judged(&expect("heading_deg", Taken::StandardDeviation, Limit::at_most(4.0)), &across);
        assert!(spread.held && (spread.value - 14.5_f64.sqrt()).abs() < ROUNDING, "{spread:?}");
    }
}

/// Each quantity against a row whose value is plain.
#[test]
fn reads_what_its_name_says_when_a_quantity_is_looked_at() {
    let craft = craft();
    let full_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    let mut moving = turned(0.0, [20.0, -10.0, 90.0]);
    moving.position_m = [3.0, 4.0, -12.0];
    moving.velocity_m_s = [0.0, -6.0, -8.0];
    moving.rate_rad_s = [0.1, 0.2, -0.3];
    moving.rotor_n = vec![1.0, 2.0, 3.0, 4.0];
    moving.command = vec![0.1, 0.4, 0.6, 0.95];
    moving.demand = Wrench { thrust_n: 12.0, roll_nm: 3.0, pitch_nm: 0.0, yaw_nm: 1.0 };
    moving.achieved = Wrench { thrust_n: 11.0, roll_nm: 0.0, pitch_nm: 4.0, yaw_nm: 1.0 };
    let [roll, pitch] = [20.0_f64, -10.0].map(f64::to_radians);
    let expected = [
        ("height_m", 12.0),
        ("climb_m_s", 8.0),
        ("speed_m_s", 10.0),
        ("ground_speed_m_s", 6.0),
        ("course_deg", -90.0),
        ("heading_deg", 90.0),
        ("roll_deg", 20.0),
        ("pitch_deg", -10.0),
        ("tilt_deg", (roll.cos() * pitch.cos()).acos().to_degrees()),
        ("roll_rate_deg_s", 0.1_f64.to_degrees()),
        ("pitch_rate_deg_s", 0.2_f64.to_degrees()),
        ("yaw_rate_deg_s", -(0.3_f64.to_degrees())),
        ("turn_rate_deg_s", ((0.2 * roll.sin() - 0.3 * roll.cos()) / pitch.cos()).to_degrees()),
        ("rotation_deg_s", 0.14_f64.sqrt().to_degrees()),
        ("thrust_n", 10.0),
        ("thrust_share", 10.0 / full_n),
        ("largest_command", 0.95),
        ("smallest_command", 0.1),
        ("command_margin", 0.05),
        ("thrust_shortfall_n", 1.0),
        ("torque_shortfall_nm", 5.0),
        ("distance_m", 13.0),
        ("ground_distance_m", 5.0),
        ("north_m", 3.0),
        ("q_rad_s", 0.2),
        ("rotor_3_n", 3.0),
        ("command_4", 0.95),
        ("achieved_pitch_nm", 4.0),
    ];
    let scene = Scene::new(&craft);
    for (name, value) in expected {
        let quantity = Quantity::named(name, 4, [0.0; 3]).unwrap();
        let found = quantity.of(&moving, &scene);
        assert!((found - value).abs() < ROUNDING, "{name}: {found}, not {value}");
    }
    let from = Quantity::named("distance_m", 4, [3.0, 0.0, -9.0]).unwrap();
    assert!((from.of(&moving, &scene) - 5.0).abs() < ROUNDING);
    let tried: Vec<&str> = expected.iter().map(|(name, _)| *name).collect();
    let left: Vec<_> = QUANTITIES.iter().filter(|about| !tried.contains(&about.name)).map(|about| about.name).collect();
    assert_eq!(left, ["control_margin_nm"], "tried below");
}

#[test]
fn tells_the_torque_to_spare_when_the_demand_is_within_or_beyond_reach() {
    let craft = craft();
    let scene = Scene::new(&craft);
    let margin = Quantity::named("control_margin_nm", 4, [0.0; 3]).unwrap();
    let with = |roll_nm| {
        let demand = Wrench { thrust_n: 15.0, roll_nm, pitch_nm: 0.0, yaw_nm: 0.0 };
        margin.of(&Row { demand, ..row(0.0, 1.0) }, &scene)
    };
    assert!(with(0.0) > 0.0 && with(0.1) <= with(0.0) && with(50.0) < 0.0, "{} {}", with(0.0), with(50.0));
    assert_eq!(margin.unit(), "N m");
}

#[test]
fn knows_no_course_when_at_a_standstill() {
    let craft = craft();
    let course = Quantity::named("course_deg", 4, [0.0; 3]).unwrap();
    assert!(course.of(&row(0.0, 1.0), &Scene::new(&craft)).is_nan());
}

#[test]
fn knows_the_columns_of_the_rotors_it_has_when_asked_for_more() {
    assert!(Quantity::named("rotor_4_n", 4, [0.0; 3]).is_some());
    assert!(Quantity::named("rotor_5_n", 4, [0.0; 3]).is_none());
    assert!(Quantity::named("t_s", 4, [0.0; 3]).is_none(), "the time is no quantity");
}
