//! Steady flights, scripted as a user scripts them, against force balances worked out here.
//!
//! The formulas are elementary mechanics (common practice, no source): Newton's second law with weight, thrust
//! along the body's z axis, and drag −½·ρ·CdA·v·|v| on each body axis. Nothing of the harness's own formulas is
//! used.

use std::f64::consts::TAU;

use evenkeel::craft::Craft;
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::preflight::preflight;
use evenkeel::recording::{Recording, Row};
use evenkeel::script::{FaultKind, Flight};
use evenkeel::simulation::fly;
use nalgebra::{Quaternion, UnitQuaternion, Vector3};

const GRAVITY: f64 = 9.806_65;
const DENSITY: f64 = 1.225;
/// What a steady flight may be off its formula.
const SHARE_TOL: f64 = 0.01;
/// Forces left over in a steady flight, as a share of weight.
const BALANCE_TOL: f64 = 1.0e-3;
/// A fall is integrated, not controlled: error of the method alone, m/s and m.
const FALL_TOL: f64 = 1.0e-6;

/// The craft of the file format's description, its ring of rotors.
const CRAFT_HEAD: &str = r#"
format = 1
name = "survey quad"

[body]
mass_kg = 1.6
center_of_mass_m = [0.0, 0.0, 0.0]       # body axes, from the datum
inertia_kg_m2 = { xx = 0.0165, yy = 0.0170, zz = 0.0310 }   # about the centre of mass; products xy, xz, yz optional
drag_area_m2 = [0.012, 0.014, 0.030]     # Cd*A along body x, y, z

[rotors]                                  # defaults for every rotor
thrust_max_n = 8.0                        # full command, full battery, 1.225 kg/m3, static
thrust_min_n = 0.3                        # slowest safe spin while armed
torque_per_thrust_m = 0.016               # reaction torque / thrust
response_time_s = 0.035                   # first-order lag of rotor speed; thrust goes with speed squared
"#;
const CRAFT_RING: &str = r#"
[layout]                                  # either a regular layout ...
rotors = 4                                # arms, equally spaced, counted clockwise from first_azimuth_deg
arm_m = 0.25
first_azimuth_deg = 45.0                  # from the nose, clockwise seen from above
first_spin = "ccw"                        # alternates around the ring
coaxial = false                           # true: a second rotor under each, opposite spin, listed after the first ring
"#;
const CRAFT_LIST: &str = r#"
[[rotor]]                                 # ... or each rotor by itself
name = "front right"
position_m = [0.18, 0.18, 0.0]
spin = "ccw"                              # seen from above
axis = [0.0, 0.0, -1.0]                   # thrust direction, optional, normalised on reading

[[rotor]]
position_m = [-0.18, 0.18, 0.0]
spin = "cw"
thrust_max_n = 8.0

[[rotor]]
position_m = [-0.18, -0.18, 0.0]
spin = "ccw"
thrust_min_n = 0.3

[[rotor]]
position_m = [0.18, -0.18, 0.0]
spin = "cw"
torque_per_thrust_m = 0.016
response_time_s = 0.035
"#;
const CRAFT_TAIL: &str = r#"
[saturation]
priority = [["roll", "pitch"], ["thrust"], ["yaw"]]     # this is the default
keep_yaw_sign = true                      # default: yaw never turns against its demand to please thrust

[loops]
rate_hz = 1000.0
angle_divider = 4
extra_delay_s = 0.0                       # transport delay added between command and rotor, for margin tests
"#;
/// The flight of the file format's description.
const FLIGHT: &str = r#"
format = 1
name = "out and back"
duration_s = 60.0
log_period_s = 0.02
seed = 3
# control = "off"                         rotors stopped: a free body

[initial]                                 # all optional; default at rest, level, on the ground
position_m = [0.0, 0.0, -30.0]            # north, east, down
velocity_m_s = [0.0, 0.0, 0.0]
attitude_deg = [0.0, 0.0, 0.0]            # roll, pitch, yaw
rate_rad_s = [0.0, 0.0, 0.0]              # body

[world]
gravity_m_s2 = 9.80665
air_density_kg_m3 = 1.225
wind_m_s = [0.0, 0.0, 0.0]                # steady, north east down; gusts have keys of their own

[[leg]]
name = "forward"
until_s = 60.0                            # this leg's end on the flight's clock
height_m = 30.0                           # or climb_m_s, or thrust_n
pitch_deg = -17.0                         # with roll_deg and yaw_rate_deg_s; all default 0
"#;
const FAULT: &str = r#"
[[fault]]                                 # optional
at_s = 12.0
rotor_stopped = 3                         # 1-based; also link_lost, sensor and battery faults
"#;

fn craft() -> Craft {
    parsed_craft(&[CRAFT_HEAD, CRAFT_RING, CRAFT_TAIL].concat())
}

fn parsed_craft(text: &str) -> Craft {
    parse_craft("craft.toml", text).unwrap_or_else(|error| panic!("{error}"))
}

fn flight(text: &str) -> Flight {
    parse_flight("flight.toml", text, &craft()).unwrap_or_else(|error| panic!("{error}"))
}

fn flown(text: &str) -> Recording {
    flown_by(&craft(), text)
}

fn flown_by(craft: &Craft, text: &str) -> Recording {
    let flight = flight(text);
    let onboard = Onboard::<f32>::new(craft, flight.world.gravity_m_s2).unwrap_or_else(|error| panic!("{error}"));
    fly(craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

/// A flight of one leg from 30 m above the ground.
fn one_leg(duration_s: f64, world: &str, leg: &str) -> String {
    format!(
        "format = 1\nname = \"one leg\"\nduration_s = {duration_s}\nlog_period_s = 0.01\n\
         [initial]\nposition_m = [0.0, 0.0, -30.0]\n[world]\n{world}\n\
         [[leg]]\nname = \"leg\"\nuntil_s = {duration_s}\n{leg}\n"
    )
}

fn close(ours: f64, expected: f64) {
    assert!((ours / expected - 1.0).abs() <= SHARE_TOL, "{ours} against {expected}");
}

fn mean(recording: &Recording, last_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    let end = recording.rows.last().expect("rows").t_s;
    let values: Vec<f64> = recording.between(end - last_s, end).map(value).collect();
    values.iter().sum::<f64>() / values.len() as f64
}

fn thrust_n(row: &Row) -> f64 {
    row.rotor_n.iter().sum()
}

/// Thrust, drag and weight together, world axes.
fn net_force_n(row: &Row, wind_m_s: [f64; 3]) -> Vector3<f64> {
    let craft = craft();
    let [w, x, y, z] = row.attitude;
    let attitude = UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z));
    let air = attitude.inverse() * (Vector3::from(row.velocity_m_s) - Vector3::from(wind_m_s));
    let drag = air.zip_map(&Vector3::from(craft.body.drag_area_m2), |v, area| -0.5 * DENSITY * area * v * v.abs());
    let thrust = Vector3::new(0.0, 0.0, -thrust_n(row));
    attitude * (thrust + drag) + Vector3::new(0.0, 0.0, craft.body.mass_kg * GRAVITY)
}

#[test]
fn finds_the_craft_of_the_description_fit_in_both_of_its_forms() {
    for rotors in [CRAFT_RING, CRAFT_LIST] {
        let found = preflight(&parsed_craft(&[CRAFT_HEAD, rotors, CRAFT_TAIL].concat()), &|_, _| {});
        let found = found.unwrap_or_else(|error| panic!("{error}"));
        assert!(found.fit(), "{:?}", found.reasons().collect::<Vec<_>>());
    }
}

#[test]
fn reads_the_flight_of_the_description_as_it_stands() {
    let read = flight(&[FLIGHT, FAULT].concat());
    assert_eq!((read.duration_s, read.log_period_s, read.seed, read.control), (60.0, 0.02, 3, true));
    assert_eq!((read.faults[0].at_s, read.faults[0].kind), (12.0, FaultKind::RotorStopped(2)));
    // A quad that loses a rotor comes down; the computation goes on to the end.
    let lost = flown(&[FLIGHT, FAULT].concat());
    assert_eq!(lost.rows.len(), 3001);
    let last = lost.rows.last().expect("rows");
    assert!(last.height_m() < 1.0 && last.rotor_n[2] == 0.0, "{last:?}");
}

/// Along body x only weight and drag act: m·g·sin θ = ½·ρ·CdA·(v·cos θ)². Along body z thrust carries the rest
/// of the weight and the drag of the air from above.
fn tilted(recording: &Recording, axis: usize, area_m2: f64) {
    let (sin, cos) = 17.0_f64.to_radians().sin_cos();
    let weight = craft().body.mass_kg * GRAVITY;
    let speed = (2.0 * weight * sin / (DENSITY * area_m2)).sqrt() / cos;
    close(mean(recording, 1.0, |row| row.velocity_m_s[axis]), speed);
    close(mean(recording, 1.0, thrust_n), weight * cos + 0.5 * DENSITY * 0.030 * (speed * sin).powi(2));
    close(mean(recording, 1.0, Row::height_m), 30.0);
    assert!(mean(recording, 1.0, |row| row.velocity_m_s[1 - axis].abs()) < SHARE_TOL * speed);
    let left_over = net_force_n(recording.rows.last().expect("rows"), [0.0; 3]);
    assert!(left_over.norm() < BALANCE_TOL * weight, "{left_over}");
}

#[test]
fn reaches_the_speed_at_which_drag_balances_when_the_nose_is_held_down() {
    tilted(&flown(FLIGHT), 0, 0.012);
}

#[test]
fn reaches_the_speed_at_which_drag_balances_when_the_right_side_is_held_down() {
    tilted(&flown(&FLIGHT.replace("pitch_deg = -17.0", "roll_deg = 17.0")), 1, 0.014);
}

/// On the way there v = v∞·tanh(t·g·tan θ/v∞), with the tilt assumed at once; it takes a fraction of a second.
#[test]
fn gathers_speed_as_a_hyperbolic_tangent_when_the_nose_is_held_down() {
    let recording = flown(FLIGHT);
    let (sin, cos) = 17.0_f64.to_radians().sin_cos();
    let steady = (2.0 * 1.6 * GRAVITY * sin / (DENSITY * 0.012)).sqrt() / cos;
    for row in recording.rows.iter().filter(|row| row.t_s >= 2.0 && row.t_s <= 40.0) {
        // The tilt is late by at most 0.4 s, so the speed is that of a moment between.
        let speed_at = |t_s: f64| steady * (t_s * GRAVITY * sin / cos / steady).tanh();
        let speed = row.velocity_m_s[0];
        assert!(speed > 0.99 * speed_at(row.t_s - 0.4) && speed < 1.01 * speed_at(row.t_s), "{row:?}");
    }
}

/// Centripetal force m·v²/r from the bank: tan(bank) = v²/(r·g); drag only pitches the nose down.
#[test]
fn keeps_radius_speed_and_bank_when_it_flies_a_circle() {
    let circle = "height_m = 30.0\ncircle = { radius_m = 14.0, speed_m_s = 6.5 }";
    let recording = flown(&one_leg(90.0, "", circle));
    let lap_s = TAU * 14.0 / 6.5;
    let [north, east] = [0, 1].map(|axis| mean(&recording, 2.0 * lap_s, |row| row.position_m[axis]));
    let radius = |row: &Row| (row.position_m[0] - north).hypot(row.position_m[1] - east);
    for row in recording.between(90.0 - 2.0 * lap_s, 90.0) {
        close(radius(row), 14.0);
        close(row.ground_speed_m_s(), 6.5);
        close(row.height_m(), 30.0);
        // Clockwise seen from above: the velocity is square to the radius, on its right.
        let [x, y] = [row.position_m[0] - north, row.position_m[1] - east];
        close(x * row.velocity_m_s[1] - y * row.velocity_m_s[0], 14.0 * 6.5);
    }
    close(mean(&recording, lap_s, |row| row.euler_rad()[0]), (6.5_f64.powi(2) / (14.0 * GRAVITY)).atan());
    // Newton: what is left of the forces is the centripetal force.
    let last = recording.rows.last().expect("rows");
    let inward = Vector3::new(north - last.position_m[0], east - last.position_m[1], 0.0).normalize();
    let left_over = net_force_n(last, [0.0; 3]) - inward * (1.6 * 6.5 * 6.5 / 14.0);
    assert!(left_over.norm() < 0.01 * 1.6 * GRAVITY, "{left_over}");
}

#[test]
fn carries_weight_and_drag_when_it_climbs_and_when_it_sinks() {
    let weight = 1.6 * GRAVITY;
    for climb in [5.0, 3.0, -2.0] {
        let recording = flown(&one_leg(12.0, "", &format!("climb_m_s = {climb:.1}")));
        close(mean(&recording, 2.0, |row| -row.velocity_m_s[2]), climb);
        let expected = weight + 0.5 * DENSITY * 0.030 * climb * f64::abs(climb);
        assert!((mean(&recording, 2.0, thrust_n) - expected).abs() < BALANCE_TOL * weight, "{climb} m/s");
    }
}

/// On sensors without error; with those that a craft has, in the mean.
#[test]
fn pushes_a_quarter_of_the_weight_with_each_rotor_when_it_hovers_from_a_start_in_the_air() {
    let text = one_leg(10.0, "", "height_m = 30.0");
    let quarter = 1.6 * GRAVITY / 4.0;
    let perfect = parsed_craft(&[CRAFT_HEAD, CRAFT_RING, CRAFT_TAIL, "[sensors]\nperfect = true\n"].concat());
    for row in &flown_by(&perfect, &text).rows {
        assert!(row.rotor_n.iter().all(|n| (n / quarter - 1.0).abs() < BALANCE_TOL), "{row:?}");
        assert!((row.height_m() - 30.0).abs() < 0.01, "{row:?}");
    }
    let recording = flown(&text);
    for rotor in 0..4 {
        let share = mean(&recording, 10.0, |row| row.rotor_n[rotor]) / quarter;
        assert!((share - 1.0).abs() < BALANCE_TOL, "rotor {rotor}: {share}");
    }
    assert!(recording.rows.iter().all(|row| row.rotor_n.iter().all(|n| (n / quarter - 1.0).abs() < SHARE_TOL)));
    assert!(recording.rows.iter().all(|row| (row.height_m() - 30.0).abs() < 0.01));
}

#[test]
fn pushes_more_in_command_when_the_air_is_thin() {
    // Thrust goes with density and the square of the command: the same weight needs √(1.225/0.9) of the command.
    let hover = |world| mean(&flown(&one_leg(10.0, world, "height_m = 30.0")), 1.0, |row| row.command[0]);
    close(hover("air_density_kg_m3 = 0.9") / hover(""), (DENSITY / 0.9_f64).sqrt());
}

#[test]
fn holds_its_velocity_over_ground_when_a_steady_wind_blows() {
    let wind = [-2.0, 4.0, 0.0];
    let leg = "height_m = 30.0\nvelocity_m_s = [3.0, -2.0]";
    let recording = flown(&one_leg(60.0, "wind_m_s = [-2.0, 4.0, 0.0]", leg));
    close(mean(&recording, 1.0, |row| row.velocity_m_s[0]), 3.0);
    close(mean(&recording, 1.0, |row| row.velocity_m_s[1]), -2.0);
    close(mean(&recording, 1.0, Row::height_m), 30.0);
    let left_over = net_force_n(recording.rows.last().expect("rows"), wind);
    assert!(left_over.norm() < BALANCE_TOL * 1.6 * GRAVITY, "{left_over}");
    // It leans into the wind: nose down, and left side down.
    let [roll, pitch, _] = recording.rows.last().expect("rows").euler_rad();
    assert!(pitch < -0.01 && roll < -0.01, "{roll} {pitch}");
}

/// Source: the textbook fall with quadratic drag, v = v_t·tanh(g·t/v_t), fallen v_t²/g·ln cosh(g·t/v_t),
/// v_t = √(2·m·g/(ρ·CdA)).
#[test]
fn falls_as_the_textbook_says_when_its_control_is_off() {
    let text = "format = 1\nname = \"fall\"\nduration_s = 12.0\nlog_period_s = 0.05\ncontrol = \"off\"\n\
                [initial]\nposition_m = [0.0, 0.0, -900.0]\n";
    let recording = flown(text);
    let terminal = (2.0 * 1.6 * GRAVITY / (DENSITY * 0.030)).sqrt();
    for row in &recording.rows {
        let time = GRAVITY * row.t_s / terminal;
        assert!((row.velocity_m_s[2] - terminal * time.tanh()).abs() < FALL_TOL, "{row:?}");
        let fallen = terminal * terminal / GRAVITY * time.cosh().ln();
        assert!((row.position_m[2] + 900.0 - fallen).abs() < FALL_TOL, "{row:?}");
        assert!(row.rotor_n.iter().chain(&row.command).all(|value| *value == 0.0), "{row:?}");
    }
}

/// Source: a thrown body without air (common practice): the parabola.
#[test]
fn flies_a_parabola_as_it_was_thrown_when_there_is_no_air() {
    let text = "format = 1\nname = \"throw\"\nduration_s = 3.0\nlog_period_s = 0.1\ncontrol = \"off\"\n\
                [world]\nair_density_kg_m3 = 0.0\ngravity_m_s2 = 1.62\n\
                [initial]\nposition_m = [5.0, -6.0, -70.0]\nvelocity_m_s = [3.0, -4.0, -5.0]\n\
                attitude_deg = [10.0, 20.0, 30.0]\nrate_rad_s = [0.0, 0.0, 0.0]\n";
    let recording = flown(text);
    assert_eq!(recording.rows.len(), 31);
    for row in &recording.rows {
        let t = row.t_s;
        let expected = [5.0 + 3.0 * t, -6.0 - 4.0 * t, -70.0 - 5.0 * t + 0.5 * 1.62 * t * t];
        for (ours, expected) in row.position_m.iter().zip(expected) {
            assert!((ours - expected).abs() < FALL_TOL, "{row:?}");
        }
        let angles = row.euler_rad().map(f64::to_degrees);
        assert!(angles.iter().zip([10.0, 20.0, 30.0]).all(|(ours, given)| (ours - given).abs() < FALL_TOL));
    }
}
