//! What good files read as: the demo crafts, every default, and crafts that cannot fly but can be described.

use std::fs;

use evenkeel::craft::{Craft, Gains, Limits, Loops, Saturation, Spin};
use evenkeel::dispersion::{Dispersion, Shape};
use evenkeel::expectation::{Quantity, Scene, Taken};
use evenkeel::file::{MAX_BYTES, THRUST_MIN_FRACTION, parse_craft, parse_flight, read_craft, read_flight};
use evenkeel::onboard::Onboard;
use evenkeel::script::{Fault, FaultKind, Initial, Lateral, Vertical, World};
use evenkeel::simulation::fly;
use evenkeel::verdict::Limit;
use evenkeel_mixer::Axis;
use tempfile::tempdir;

const RING: &str = include_str!("files/ring.toml");
const LIST: &str = include_str!("files/list.toml");
const FLIGHT: &str = include_str!("files/flight.toml");
/// Standard gravity. Source: ISO 80000-3, from memory.
const G: f64 = 9.806_65;
/// Rounding error allowed where a value passes through trigonometry or a change of unit, relative.
const ROUNDING: f64 = 1e-15;

fn demo(name: &str) -> Craft {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts").join(name);
    read_craft(&path).unwrap_or_else(|error| panic!("{error}"))
}

fn thrust_to_weight(craft: &Craft) -> f64 {
    craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum::<f64>() / (craft.body.mass_kg * G)
}

fn spins(craft: &Craft) -> Vec<Spin> {
    craft.rotors.iter().map(|rotor| rotor.spin).collect()
}

#[test]
fn reads_the_demo_crafts_as_plausible_when_they_are_meant_to_fly() {
    for (name, rotors) in [("quad.toml", 4), ("six.toml", 6), ("eight.toml", 8)] {
        let craft = demo(name);
        assert_eq!(craft.rotors.len(), rotors, "{name}");
        // Common practice, no source: a craft for work has about twice the thrust it weighs.
        assert!((2.0..2.5).contains(&thrust_to_weight(&craft)), "{name}: {}", thrust_to_weight(&craft));
        // Reaction torques cancel at equal thrust.
        let signs = craft.rotors.iter().map(|rotor| if rotor.spin == Spin::Cw { 1.0 } else { -1.0 });
        let torque: f64 = signs.zip(&craft.rotors).map(|(sign, rotor)| sign * rotor.torque_per_thrust_m).sum();
        assert_eq!(torque, 0.0, "{name}");
        // No craft's mass sits farther out than its rotors: radius of gyration below the arm.
        let arm_m = craft.rotors.iter().map(|rotor| rotor.position_m[0].hypot(rotor.position_m[1])).fold(0.0, f64::max);
        for axis in 0..3 {
            let gyration_m = (craft.body.inertia_kg_m2[axis][axis] / craft.body.mass_kg).sqrt();
            assert!((0.2 * arm_m..0.8 * arm_m).contains(&gyration_m), "{name}: {gyration_m} of {arm_m}");
        }
    }
}

#[test]
fn reads_the_unfit_craft_as_too_heavy_when_it_is_meant_to_be() {
    let ratio = thrust_to_weight(&demo("unfit.toml"));
    assert!(ratio > 1.0 && ratio < 1.1, "{ratio}");
}

#[test]
fn reads_the_model_flight_when_the_quad_flies_it() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts/out_and_back.toml");
    let flight = read_flight(&path, &demo("quad.toml")).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(flight.legs.len(), 6);
    assert_eq!(flight.initial, Initial::default());
    assert_eq!(flight.legs[1].lateral, Lateral::Velocity([4.0, 0.0]));
    assert_eq!(flight.legs[5].vertical, Vertical::Climb(-1.0));
    // The way out and the way back cancel, so the flight ends where it began.
    let (mut start_s, mut north_m) = (0.0, 0.0);
    for leg in &flight.legs {
        if let Lateral::Velocity([north, _]) = leg.lateral {
            north_m += north * (leg.until_s - start_s);
        }
        start_s = leg.until_s;
    }
    assert_eq!((start_s, north_m), (flight.duration_s, 0.0));
}

#[test]
fn counts_clockwise_from_the_first_arm_when_the_layout_is_regular() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let half = 0.25 * std::f64::consts::FRAC_1_SQRT_2;
    let places: Vec<[f64; 3]> = craft.rotors.iter().map(|rotor| rotor.position_m).collect();
    // Front right, rear right, rear left, front left: x forward, y right.
    assert_eq!(places, [[half, half, 0.0], [-half, half, 0.0], [-half, -half, 0.0], [half, -half, 0.0]]);
    assert_eq!(spins(&craft), [Spin::Ccw, Spin::Cw, Spin::Ccw, Spin::Cw]);
    assert_eq!(craft.rotors[3].name, "rotor 4");
    assert!(craft.rotors.iter().all(|rotor| rotor.axis == [0.0, 0.0, -1.0]));
}

#[test]
fn lists_the_lower_ring_last_with_opposite_spins_when_coaxial() {
    let text = RING.replace("arm_m = 0.25", "arm_m = 0.25\ncoaxial = true\nring_gap_m = 0.05");
    let craft = parse_craft("ring.toml", &text).unwrap();
    assert_eq!(craft.rotors.len(), 8);
    let (upper, lower) = craft.rotors.split_at(4);
    for (upper, lower) in upper.iter().zip(lower) {
        let [x, y, z] = upper.position_m;
        assert_eq!(lower.position_m, [x, y, z + 0.05]);
        assert_ne!(lower.spin, upper.spin);
    }
    // Without a gap the two rings share their places, and that is no twin.
    let touching = RING.replace("arm_m = 0.25", "arm_m = 0.25\ncoaxial = true");
    assert_eq!(parse_craft("ring.toml", &touching).unwrap().rotors[4].position_m[2], 0.0);
}

#[test]
fn takes_the_stated_defaults_when_keys_are_left_out() {
    let text = LIST.replace("thrust_min_n = 0.3\n", "");
    let craft = parse_craft("list.toml", &text).unwrap();
    assert_eq!(craft.body.center_of_mass_m, [0.0; 3]);
    assert_eq!(craft.body.drag_area_m2, [0.0; 3]);
    let priority = vec![vec![Axis::Roll, Axis::Pitch], vec![Axis::Thrust], vec![Axis::Yaw]];
    assert_eq!(craft.saturation, Saturation { priority, keep_yaw_sign: true });
    assert_eq!(craft.loops, Loops { rate_hz: 1000.0, angle_divider: 4, extra_delay_s: 0.0 });
    assert_eq!(craft.gains, Gains::default());
    assert_eq!(craft.limits, Limits::default());
    let rotor = &craft.rotors[0];
    assert_eq!(rotor.thrust_min_n, THRUST_MIN_FRACTION * 8.0);
    assert_eq!((rotor.inertia_kg_m2, rotor.speed_max_rad_s, &rotor.thrust_curve), (0.0, None, &None));
    let names: Vec<&str> = craft.rotors.iter().map(|rotor| rotor.name.as_str()).collect();
    assert_eq!(names, ["only the first", "rotor 2", "rotor 3", "rotor 4"]);

    let flight = "format = 1\nname = \"f\"\nduration_s = 0.015\n[[leg]]\nthrust_n = 3";
    let flight = parse_flight("f.toml", flight, &craft).unwrap();
    assert_eq!((flight.log_period_s, flight.seed, flight.control), (0.015, 0, true));
    assert_eq!((flight.initial, flight.world), (Initial::default(), World::default()));
    let level = Lateral::Angles { roll_rad: 0.0, pitch_rad: 0.0, yaw_rate_rad_s: 0.0 };
    assert_eq!((flight.legs[0].name.as_str(), flight.legs[0].until_s, flight.legs[0].lateral), ("leg 1", 0.015, level));
    assert!(flight.faults.is_empty());
}

#[test]
fn keeps_a_rotors_own_values_when_it_overrides_the_shared_ones() {
    let craft = parse_craft("list.toml", LIST).unwrap();
    let thrusts: Vec<f64> = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).collect();
    assert_eq!(thrusts, [8.0, 9.0, 8.0, 8.0]);
    let length = 1.01_f64.sqrt();
    for (found, exact) in craft.rotors[2].axis.iter().zip([0.0, 0.1 / length, -1.0 / length]) {
        assert!((found - exact).abs() <= ROUNDING, "the axis is normalised on reading");
    }
    // A curve of its own brings its own full thrust.
    let curve = "thrust_curve = { command = [0.2, 1.0], thrust_n = [1.0, 9.5] }";
    let craft = parse_craft("list.toml", &LIST.replace("thrust_max_n = 9.0", curve)).unwrap();
    assert_eq!(craft.rotors[1].thrust_max_n, 9.5);
    assert_eq!(craft.rotors[1].thrust_curve.as_ref().unwrap().command, [0.2, 1.0]);
    assert_eq!(craft.rotors[0].thrust_curve, None);
}

#[test]
fn turns_degrees_into_radians_when_gains_and_limits_are_fixed() {
    let text = format!(
        "{RING}\n[limits]\ntilt_deg = 30\nyaw_rate_deg_s = 90.0\n[gains.angle]\nroll_per_s = 6.0\n[gains.rate.pitch]\nd = 0.01\n"
    );
    let craft = parse_craft("ring.toml", &text).unwrap();
    let tilt_rad = craft.limits.tilt_rad.unwrap();
    assert!((tilt_rad / std::f64::consts::FRAC_PI_6 - 1.0).abs() <= ROUNDING);
    assert_eq!(craft.limits.rate_rad_s, [None, None, Some(std::f64::consts::FRAC_PI_2)]);
    assert_eq!(craft.gains.angle_per_s, [Some(6.0), None, None]);
    assert_eq!(craft.gains.rate[1].d, Some(0.01));
}

#[test]
fn puts_the_products_off_the_diagonal_when_given() {
    let text = RING.replace("zz = 0.0310", "zz = 0.0310, xy = 0.001, xz = -0.002, yz = 0.0003");
    let inertia = parse_craft("ring.toml", &text).unwrap().body.inertia_kg_m2;
    assert_eq!(inertia, [[0.0165, 0.001, -0.002], [0.001, 0.0170, 0.0003], [-0.002, 0.0003, 0.0310]]);
}

#[test]
fn accepts_a_flat_body_when_its_moments_are_rounded() {
    // 0.0165 + 0.0170 = 0.0335: the limit for a flat plate; one part in a thousand more is rounding.
    let with = |zz: &str| parse_craft("ring.toml", &RING.replace("zz = 0.0310", &format!("zz = {zz}")));
    assert!(with("0.0335").is_ok());
    assert!(with("0.03353").is_ok());
    assert!(with("0.03354").is_err());
}

#[test]
fn accepts_a_craft_when_it_merely_cannot_fly() {
    let heavy = RING.replace("mass_kg = 1.6", "mass_kg = 160");
    let two = RING.replace("rotors = 4", "rotors = 2");
    let one = RING.replace("rotors = 4", "rotors = 1");
    let no_yaw = RING.replace("torque_per_thrust_m = 0.016", "torque_per_thrust_m = 0.0");
    let same_spin = LIST.replace("spin = \"ccw\"", "spin = \"cw\"");
    let one_side = LIST.replace("[-0.2, -0.2, 0.0]", "[0.1, 0.2, 0.0]").replace("[0.2, -0.2, 0.0]", "[0.0, 0.2, 0.0]");
    let downward = LIST.replace("[0.0, 0.1, -1.0]", "[0.0, 0.0, 1.0]");
    // Rotors 2 and 4 turn alike, 1 and 3 turn alike: put 2 onto 1, as a coaxial pair.
    let pair = LIST.replace("[-0.2, 0.2, 0.0]", "[0.2, 0.2, 0.0]");
    for text in [heavy, two, one, no_yaw, same_spin, one_side, downward, pair] {
        assert!(parse_craft("craft.toml", &text).is_ok(), "{text}");
    }
}

#[test]
fn reads_every_kind_of_leg_when_a_flight_has_them() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let with = |way: &str| {
        let text = FLIGHT.replace("circle = { radius_m = 8.0, speed_m_s = 3.0 }", way);
        parse_flight("flight.toml", &text, &craft).unwrap().legs[1].lateral
    };
    assert_eq!(with("circle = { radius_m = 8, speed_m_s = 3 }"), Lateral::Circle { radius_m: 8.0, speed_m_s: 3.0 });
    assert_eq!(with("velocity_m_s = [1.0, -2.0]"), Lateral::Velocity([1.0, -2.0]));
    assert_eq!(with("rate_deg_s = [180.0, 0.0, 0.0]"), Lateral::Rates([std::f64::consts::PI, 0.0, 0.0]));
    let right = std::f64::consts::FRAC_PI_2;
    let angles = Lateral::Angles { roll_rad: right, pitch_rad: -right, yaw_rate_rad_s: 0.0 };
    assert_eq!(with("roll_deg = 90.0\npitch_deg = -90.0"), angles);
    let turn = Lateral::Angles { roll_rad: 0.0, pitch_rad: 0.0, yaw_rate_rad_s: right };
    assert_eq!(with("yaw_rate_deg_s = 90"), turn);
}

#[test]
fn ends_the_last_leg_with_the_flight_when_it_says_otherwise() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    for until in ["until_s = 15.0\n", "until_s = 25.0\n", ""] {
        let flight = parse_flight("f.toml", &FLIGHT.replace("until_s = 20.0\n", until), &craft).unwrap();
        assert_eq!(flight.legs.iter().map(|leg| leg.until_s).collect::<Vec<_>>(), [12.0, 20.0]);
    }
}

#[test]
fn sorts_faults_by_time_and_counts_rotors_from_zero_when_read() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let text = format!("{FLIGHT}[[fault]]\nat_s = 2\nrotor_stopped = 1\n");
    let stopped = |at_s, rotor| Fault { at_s, kind: FaultKind::RotorStopped(rotor) };
    assert_eq!(parse_flight("f.toml", &text, &craft).unwrap().faults, [stopped(2.0, 0), stopped(15.0, 2)]);
}

#[test]
fn needs_no_legs_when_control_is_off() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let text =
        "format = 1\nname = \"fall\"\nduration_s = 5\ncontrol = \"off\"\n[initial]\nattitude_deg = [0, 0, 180]\n";
    let flight = parse_flight("fall.toml", text, &craft).unwrap();
    assert!(!flight.control && flight.legs.is_empty());
    assert_eq!(flight.initial.attitude_rad, [0.0, 0.0, std::f64::consts::PI]);
}

#[test]
fn says_so_when_the_file_cannot_be_read() {
    let folder = tempdir().unwrap();
    let told = |name: &str, bytes: &[u8]| {
        let path = folder.path().join(name);
        fs::write(&path, bytes).unwrap();
        read_craft(&path).unwrap_err().to_string().replace(&format!("{}/", folder.path().display()), "")
    };
    let too_long = vec![b'#'; MAX_BYTES as usize + 1];
    let messages = [
        told("empty.toml", b""),
        told("blank.toml", b" \n\t\n"),
        told("long.toml", &too_long),
        told("latin.toml", b"format = 1\nname = \"caf\xe9\"\n"),
        told("binary.toml", &[0, 1, 2, 255]),
        read_craft(folder.path()).unwrap_err().to_string().replace(&folder.path().display().to_string(), "FOLDER"),
        read_craft(std::path::Path::new("nowhere/quad.toml")).unwrap_err().to_string(),
        read_flight(std::path::Path::new("nowhere/out.toml"), &demo("quad.toml")).unwrap_err().to_string(),
    ];
    insta::assert_snapshot!(messages.join("\n\n"));
    let mut full = RING.as_bytes().to_vec();
    full.resize(MAX_BYTES as usize, b'\n');
    fs::write(folder.path().join("full.toml"), full).unwrap();
    assert!(read_craft(&folder.path().join("full.toml")).is_ok(), "exactly the limit is read");
}

#[test]
fn reads_window_limit_and_name_when_a_flight_has_expectations() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let [first, second] = parse_flight("flight.toml", FLIGHT, &craft).unwrap().expectations.try_into().unwrap();
    assert_eq!((first.name.as_str(), first.quantity.name(), first.taken), ("height kept", "height_m", Taken::Mean));
    assert_eq!((first.from_s, first.until_s), (0.0, 12.0), "the time of its leg");
    assert_eq!(first.limit, Limit::between(9.5, 10.5));
    assert_eq!(first.source.as_deref(), Some("the height asked for"));
    assert_eq!((second.name.as_str(), second.taken), ("heading_deg, every sample", Taken::Every));
    assert_eq!((second.from_s, second.until_s), (2.0, 3.0));
    let bounds = "at_least = -1\nat_most = 2.5\n[[expect]]\nquantity = \"distance_m\"\nat_most = 9";
    let text = FLIGHT.replace("equals = 10.0\nwithin = 0.5", bounds).replace("leg = \"hold\"\n", "leg = \"circle\"\n");
    let flight = parse_flight("flight.toml", &text, &craft).unwrap();
    assert_eq!(flight.expectations[0].limit, Limit::between(-1.0, 2.5));
    assert_eq!((flight.expectations[0].from_s, flight.expectations[0].until_s), (12.0, 20.0));
    let distance = &flight.expectations[1];
    assert_eq!((distance.from_s, distance.until_s, distance.limit), (0.0, 20.0, Limit::at_most(9.0)));
    let from_start = Quantity::named("distance_m", 4, [0.0, 0.0, -10.0]).unwrap();
    assert_eq!(distance.quantity, from_start, "from where the flight starts");
}

#[test]
fn varies_by_the_defaults_when_a_craft_does_not_say_by_how_much() {
    let craft = |more: &str| parse_craft("ring.toml", &RING.replace("[loops]", more)).unwrap();
    assert_eq!(craft("[loops]").dispersion, Dispersion::DEFAULT);
    let said = craft("[dispersion]\nshape = \"normal\"\nlag_share = 0.5\nwind_m_s = 0\n[loops]").dispersion;
    let expected = Dispersion { shape: Shape::Normal, lag_share: 0.5, wind_m_s: 0.0, ..Dispersion::DEFAULT };
    assert_eq!(said, expected);
}

/// A window that holds one row is one; how the rows fall is worked out from the period, not from rounding.
#[test]
fn accepts_the_narrowest_window_when_it_holds_a_row() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    let with = |period: &str, window: &str| {
        let text = FLIGHT.replace("log_period_s = 0.02", period).replace("from_s = 2.0\nuntil_s = 3.0", window);
        parse_flight("flight.toml", &text, &craft).map(|flight| flight.expectations[1].clone())
    };
    for (period, window, is_one) in [
        ("log_period_s = 0.02", "from_s = 2.02\nuntil_s = 2.02", true),
        ("log_period_s = 0.02", "from_s = 2.001\nuntil_s = 2.02", true),
        ("log_period_s = 0.02", "from_s = 2.001\nuntil_s = 2.019", false),
        ("log_period_s = 0.1", "from_s = 0.3\nuntil_s = 0.3", true),
        ("log_period_s = 0.7", "until_s = 0.0", true),
        ("log_period_s = 0.7", "from_s = 19.7", false),
        ("log_period_s = 20.0", "from_s = 20.0", true),
    ] {
        assert_eq!(with(period, window).is_ok(), is_one, "{period} {window}");
    }
}

#[test]
fn keeps_what_it_expects_when_the_model_flight_is_flown() {
    let craft = demo("quad.toml");
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts/out_and_back.toml");
    let flight = read_flight(&path, &craft).unwrap();
    let onboard = Onboard::<f32>::new(&craft, G).unwrap();
    let recording = fly(&craft, &flight, Some(&onboard), &|_| ()).unwrap();
    let scene = Scene::new(&craft);
    assert!(flight.expectations.len() >= 3);
    for finding in flight.expectations.iter().map(|expectation| expectation.judge(&recording, &scene)) {
        assert!(finding.held, "{finding:?}");
    }
}
