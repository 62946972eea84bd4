//! Rotors that are held back by air across their axis, on crafts of several sizes: level flight, a step of tilt and a gust against
//! force balances integrated here, and the maiden-flight check on such crafts.
//!
//! The balances are elementary mechanics (common practice, no source): along the tilted body axis m·v̇ = m·g·sin θ − B·v − ½·ρ·CdA·v²,
//! with B the drag of all rotors per m/s at the speed at which they carry the craft. Nothing of the harness's own formulas is used.

use evenkeel::craft::Craft;
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::preflight::flights::{self, Maiden};
use evenkeel::preflight::preflight;
use evenkeel::script::World;
use evenkeel::simulation::fly;

const GRAVITY: f64 = 9.806_65;
const DENSITY: f64 = 1.225;
const TILT_DEG: f64 = 12.0;
const ROTORS: f64 = 4.0;
const FULL_N: f64 = 8.0;
/// Steady speed against the balance, relative: the tilt held is off by the estimate's error, a milliradian or two.
const SPEED_TOL: f64 = 0.015;
/// With drag of the rotors the speed must be lower by more than this share, or the test would say nothing.
const TOLD_APART: f64 = 0.2;
const MASSES_KG: [f64; 3] = [0.1, 1.6, 12.0];

/// Lengths go with the cube root of the mass, rotors give the same thrust to weight.
fn text(mass_kg: f64, rotors: &str) -> String {
    let (share, length) = (mass_kg / 1.6, (mass_kg / 1.6_f64).cbrt());
    format!(
        "format = 1\nname = \"scaled\"\n[body]\nmass_kg = {mass_kg}\n\
         inertia_kg_m2 = {{ xx = {xx}, yy = {xx}, zz = {zz} }}\ndrag_area_m2 = [{area}, {area}, {below}]\n\
         [rotors]\nthrust_max_n = {full}\ntorque_per_thrust_m = {torque}\nresponse_time_s = {lag}\n{rotors}\n\
         [layout]\nrotors = 4\narm_m = {arm}\nfirst_azimuth_deg = 45.0\n",
        xx = 0.0165 * share * length * length,
        zz = 0.031 * share * length * length,
        area = 0.012 * length * length,
        below = 0.03 * length * length,
        full = FULL_N * share,
        torque = 0.016 * length,
        lag = 0.035 * length.sqrt(),
        arm = 0.25 * length,
    )
}

fn drag_text(mass_kg: f64) -> String {
    format!("drag_n_per_m_s = {}", drag_n_per_m_s(mass_kg))
}

/// Of one rotor at full speed.
fn drag_n_per_m_s(mass_kg: f64) -> f64 {
    0.05 * mass_kg / 1.6
}

fn craft(text: &str) -> Craft {
    parse_craft("scaled.toml", text).unwrap_or_else(|error| panic!("{error}"))
}

/// Speed over ground after `seconds` of level flight, by small steps of the balance along the tilted axis.
fn balanced_m_s(mass_kg: f64, one_rotor_n_per_m_s: f64, seconds: f64) -> f64 {
    const STEPS: u32 = 200_000;
    let (sin, cos) = TILT_DEG.to_radians().sin_cos();
    let length = (mass_kg / 1.6_f64).cbrt();
    let [area, below] = [0.012, 0.03].map(|area| area * length * length);
    let dt_s = seconds / f64::from(STEPS);
    let along = (0..STEPS).fold(0.0, |v: f64, _| {
        let through = v * sin / cos;
        let pull_n = mass_kg * GRAVITY * sin;
        let body_n = 0.5 * DENSITY * area * v * v;
        // What the rotors carry: weight square to the axis, drag from above, and what turns the path.
        let coast_n = mass_kg * GRAVITY * cos + 0.5 * DENSITY * below * through * through;
        let speed = (coast_n / (ROTORS * FULL_N * mass_kg / 1.6)).sqrt();
        v + dt_s * (pull_n - body_n - ROTORS * one_rotor_n_per_m_s * speed * v) / mass_kg
    });
    along / cos
}

#[test]
fn flies_level_as_fast_as_drag_of_body_and_rotors_lets_it_when_small_or_large() {
    const SECONDS: f64 = 20.0;
    for mass_kg in MASSES_KG {
        let speeds = ["", &drag_text(mass_kg)].map(|rotors| {
            let craft = craft(&text(mass_kg, rotors));
            let flight = format!(
                "format = 1\nname = \"level\"\nduration_s = {SECONDS}\n[initial]\nposition_m = [0.0, 0.0, -30.0]\n\
                 [[leg]]\nheight_m = 30.0\npitch_deg = -{TILT_DEG}\n"
            );
            let flight = parse_flight("level.toml", &flight, &craft).unwrap_or_else(|error| panic!("{error}"));
            let onboard = Onboard::<f32>::new(&craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
            let flown = fly(&craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
            let ours = flown.rows.last().expect("rows").velocity_m_s[0];
            let each = if rotors.is_empty() { 0.0 } else { drag_n_per_m_s(mass_kg) };
            let expected = balanced_m_s(mass_kg, each, SECONDS);
            // Without rotor drag the craft still gathers speed then, and the tilt took a moment to build up.
            let tolerance = if rotors.is_empty() { 2.0 * SPEED_TOL } else { SPEED_TOL };
            assert!((ours / expected - 1.0).abs() < tolerance, "{mass_kg} kg, {rotors}: {ours} against {expected}");
            ours
        });
        assert!(speeds[1] < (1.0 - TOLD_APART) * speeds[0], "{mass_kg} kg: {speeds:?}");
    }
}

/// The expectation of each flight that air across the rotors slows.
fn slowed(craft: &Craft) -> Vec<(String, f64, bool)> {
    let (world, onboard) =
        (World::default(), Onboard::<f32>::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}")));
    let set: Vec<Maiden> = flights::all(craft, &onboard, &world);
    let slowed = ["pitch", "roll", "forward", "sideways", "circle", "gust"];
    set.iter()
        .filter(|maiden| slowed.contains(&maiden.id))
        .flat_map(|maiden| {
            let flown = fly(craft, &maiden.flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
            (maiden.judge)(&flown)
        })
        .map(|check| (check.id, check.value, check.held))
        .collect()
}

#[test]
fn keeps_every_expectation_that_rotor_drag_enters_when_small_or_large() {
    for mass_kg in MASSES_KG {
        for rotors in [String::new(), drag_text(mass_kg), drag_text(mass_kg) + "\ninflow = \"momentum\""] {
            let fell_short: Vec<_> =
                slowed(&craft(&text(mass_kg, &rotors))).into_iter().filter(|(.., held)| !held).collect();
            assert!(fell_short.is_empty(), "{mass_kg} kg, {rotors}: {fell_short:?}");
        }
    }
}

#[test]
fn finds_a_demo_craft_fit_when_its_rotors_have_drag() {
    let quad = include_str!("../../sim-harness/crafts/quad.toml");
    for drag in ["0.01", "0.05"] {
        let with = quad.replace("[rotors]\n", &format!("[rotors]\ndrag_n_per_m_s = {drag}\n"));
        assert_ne!(with, quad);
        let found = preflight(&craft(&with), &|_, _| ()).unwrap_or_else(|error| panic!("{error}"));
        let reasons: Vec<_> = found.reasons().map(|(_, check)| (&check.id, check.value)).collect();
        assert!(found.fit(), "{drag}: {reasons:?}");
    }
}
