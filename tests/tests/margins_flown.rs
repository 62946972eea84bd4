//! Margins against flight: what is flown settles just inside them and does not just outside.
//!
//! And the response itself: the controller's own step and the plant, driven with sines around hover, loop cut open.
//!
//! Crafts: geometric similarity with times as the root of the length (common practice, no source read).

use evenkeel::craft::{Craft, RateGains};
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::margins::{AxisLoops, CraftGains, Margins};
use evenkeel::onboard::Onboard;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Initial, World};
use evenkeel::sensors::SensorsConfig;
use evenkeel::simulation::fly;
use evenkeel_controller::{BodyAxes, ControllerState, Motion, Motors, Quaternion, Sensed, Setpoint};
use evenkeel_mixer::Wrench;
use nalgebra::{Complex, DMatrix, DVector};

const GRAVITY_M_S2: f64 = 9.806_65;
/// How far inside and outside a margin is flown.
const NEAR: f64 = 0.05;
const MASSES_KG: [f64; 3] = [0.1, 1.6, 10.0];

fn scaled(mass_kg: f64) -> Craft {
    let length = (mass_kg / 1.6_f64).cbrt();
    let full = 2.1 * mass_kg * GRAVITY_M_S2 / 4.0;
    let [xx, yy, zz] = [0.0165, 0.0170, 0.0310].map(|inertia: f64| inertia * length.powi(5));
    let text = format!(
        "format = 1\nname = \"scaled\"\n[body]\nmass_kg = {mass_kg}\ninertia_kg_m2 = {{ xx = {xx}, yy = {yy}, zz = {zz} }}\n\
         drag_area_m2 = [0.0, 0.0, 0.0]\n[rotors]\nthrust_max_n = {full}\nthrust_min_n = {}\n\
         torque_per_thrust_m = {}\nresponse_time_s = {}\n[layout]\nrotors = 4\narm_m = {}\nfirst_azimuth_deg = 45.0\n",
        0.04 * full,
        0.016 * length,
        0.035 * length.sqrt(),
        0.25 * length
    );
    let mut craft = parse_craft("craft.toml", &text).unwrap_or_else(|error| panic!("{error}"));
    // Noise would hide what has died away; the low-pass stays.
    craft.sensors = SensorsConfig { gyro_low_pass_hz: craft.sensors.gyro_low_pass_hz, ..SensorsConfig::PERFECT };
    craft
}

/// The craft with its own gains fixed, so that what is changed next does not change them.
fn fixed(craft: &Craft) -> Craft {
    let gains = CraftGains::of(craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
    let mut craft = craft.clone();
    for ((rate, angle), axis) in craft.gains.rate.iter_mut().zip(&mut craft.gains.angle_per_s).zip(&gains.axes) {
        *rate = RateGains {
            p_per_s: Some(axis.p_per_s),
            i_per_s2: Some(axis.i_per_s2),
            d: Some(axis.d),
            d_filter_hz: Some(axis.d_filter_hz),
        };
        *angle = Some(axis.angle_per_s);
    }
    craft
}

/// Largest roll rate in the last of ten seconds over that in the first, from a lean of half a degree.
fn left_over(craft: &Craft) -> f64 {
    let text = "format = 1\nname = \"lean\"\nduration_s = 10.0\nlog_period_s = 0.005\n[initial]\n\
                position_m = [0.0, 0.0, -30.0]\nattitude_deg = [0.5, 0.0, 0.0]\n[[leg]]\nname = \"hover\"\n\
                until_s = 10.0\nheight_m = 30.0\n";
    let flight = parse_flight("flight.toml", text, craft).unwrap_or_else(|error| panic!("{error}"));
    let onboard = Onboard::<f64>::new(craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
    let Ok(recording) = fly(craft, &flight, Some(&onboard), &|_| ()) else { return f64::INFINITY };
    let peak = |from_s: f64| {
        let second = recording.rows.iter().filter(|row| row.t_s >= from_s && row.t_s < from_s + 1.0);
        second.map(|row| row.rate_rad_s[0].abs()).fold(0.0, f64::max)
    };
    peak(9.0) / peak(0.0)
}

fn roll(craft: &Craft) -> AxisLoops {
    let onboard = Onboard::<f64>::new(craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
    let [roll, _, _] = AxisLoops::all(craft, &onboard).unwrap_or_else(|error| panic!("{error}"));
    roll
}

#[test]
fn settles_just_inside_the_delay_margin_and_not_just_outside() {
    for mass in MASSES_KG {
        let craft = fixed(&scaled(mass));
        let margin_s = roll(&craft).rate().delay_margin_s;
        let [inside, outside] = [1.0 - NEAR, 1.0 + NEAR].map(|share| {
            let mut late = craft.clone();
            late.loops.extra_delay_s = share * margin_s;
            left_over(&late)
        });
        assert!(inside < 0.1 && outside > 0.5, "{mass} kg: {inside} {outside}");
    }
}

#[test]
fn settles_just_inside_the_gain_margin_and_not_just_outside() {
    for mass in MASSES_KG {
        let craft = fixed(&scaled(mass));
        let margin = roll(&craft).rate().gain_up;
        let [inside, outside] = [1.0 - NEAR, 1.0 + NEAR].map(|share| {
            let mut strong = craft.clone();
            let gains = &mut strong.gains.rate[0];
            for gain in [&mut gains.p_per_s, &mut gains.i_per_s2, &mut gains.d] {
                *gain = gain.map(|gain| gain * share * margin);
            }
            left_over(&strong)
        });
        assert!(inside < 0.1 && outside > 0.5, "{mass} kg: {inside} {outside}");
    }
}

#[test]
fn gains_reach_their_margins_when_a_craft_weighs_thirty_grams_to_thirty_kilograms() {
    for mass in [0.03, 0.1, 0.4, 1.6, 5.0, 12.0, 30.0] {
        let margins = Margins::of(&scaled(mass), GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
        assert!(margins.held, "{mass} kg:\n{}", margins.text());
    }
}

/// How closely the two responses must agree.
const GAIN_TOL_DB: f64 = 0.3;
const PHASE_TOL_DEG: f64 = 2.0;
/// Torque of the sine, as a share of the authority: small enough for no square to show.
const SINE_SHARE: f64 = 1.0e-3;

/// The roll rate loop cut at the torque demand: a sine in torque goes to the rotors, and what the controller answers to
/// the motion is read off. The integrators drift, so a cubic is fitted along with the sine.
fn driven(craft: &Craft, omega_rad_s: f64) -> Complex<f64> {
    let onboard = Onboard::<f64>::new(craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
    let (world, period_s) = (World::default(), onboard.config.period_s);
    let plant = Plant::new(craft, &world);
    let mut state = PlantState::from_initial(&Initial::default());
    state.position_m[2] = -100.0;
    let hover = Wrench { thrust_n: onboard.authority.hover_n, ..Wrench::default() };
    let level = onboard.mixer.allocate(hover);
    for ((speed, thrust), rotor) in state.rotor_speed.iter_mut().zip(&level.thrusts_n).zip(&craft.rotors) {
        *speed = (thrust / rotor.thrust_max_n).sqrt();
    }
    let mut arrived: Vec<f64> = onboard.mixer.commands(&level).iter().copied().collect();
    let mut memory = ControllerState::default();
    let motion = Motion::Angles { roll_rad: 0.0, pitch_rad: 0.0, yaw_rate_rad_s: 0.0 };
    let asked = Setpoint { motors: Motors::Flying, thrust_n: hover.thrust_n, motion };
    let amplitude = SINE_SHARE * onboard.authority.acceleration_rad_s2[0];
    let cycle = std::f64::consts::TAU / (omega_rad_s * period_s);
    let settling = (20.0 * craft.slowest_lag_s() / period_s).ceil() as usize;
    let count = settling + (6.0 * cycle).ceil() as usize;
    let mut rows = Vec::new();
    for step in 0..count {
        let q = &state.attitude;
        let sensed = Sensed {
            attitude: Quaternion::from_array([q.w, q.i, q.j, q.k]),
            rate_rad_s: BodyAxes::from_array(state.rate_rad_s.into()),
        };
        let answer = onboard.controller.step(&mut memory, &sensed, &asked, &onboard.mixer).acceleration_rad_s2.roll;
        let angle = omega_rad_s * period_s * step as f64;
        if step >= settling {
            rows.push((angle, answer));
        }
        let roll_nm = amplitude * angle.cos() * craft.body.inertia_kg_m2[0][0];
        let turning = onboard.mixer.allocate(Wrench { roll_nm, ..hover });
        // What was worked out in the last period arrives now.
        plant.advance(&mut state, &arrived, period_s);
        arrived = onboard.mixer.commands(&turning).iter().copied().collect();
    }
    let last = rows.last().map_or(1.0, |(angle, _)| *angle);
    let basis = DMatrix::from_fn(rows.len(), 6, |row, column| {
        let (angle, share) = (rows[row].0, rows[row].0 / last);
        [angle.cos(), angle.sin(), 1.0, share, share * share, share * share * share][column]
    });
    let answers = DVector::from_iterator(rows.len(), rows.iter().map(|(_, answer)| *answer));
    let fit = basis.svd(true, true).solve(&answers, 1e-14).unwrap_or_else(|error| panic!("{error}"));
    // a·cos − b·sin is the real part of (a + jb)·e^(jωt); feedback is negative.
    -Complex::new(fit[0], -fit[1]) / amplitude
}

#[test]
fn answers_a_sine_around_hover_as_the_response_says() {
    // The loops are driven by themselves, without the gyro's filter.
    let mut craft = fixed(&scaled(1.6));
    craft.sensors.gyro_low_pass_hz = None;
    let loops = roll(&craft);
    let crossover = loops.rate().crossover_rad_s;
    for share in [0.2, 0.35, 0.6, 1.0, 1.7, 3.0, 5.0] {
        let off = driven(&craft, share * crossover) / loops.rate_response(share * crossover);
        let (decibels, degrees) = (20.0 * off.norm().log10(), off.arg().to_degrees());
        assert!(decibels.abs() < GAIN_TOL_DB && degrees.abs() < PHASE_TOL_DEG, "{share}: {decibels} dB {degrees} deg");
    }
}
