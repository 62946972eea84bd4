//! Up, still, and down: take-off and climb, hover, landing.

use evenkeel_controller::State;

use super::{LEVEL, Maiden, Site, largest, leg, mean, rest, settled, touch_down};
use crate::craft::{Craft, Rotor};
use crate::recording::Row;
use crate::script::Vertical;
use crate::simulation::FLIES_AT_S;
use crate::verdict::{Check, Limit};

const CLIMB_M_S: f64 = 1.5;
const TAKE_OFF_END_S: f64 = FLIES_AT_S + 12.0;
const HOVER_M: f64 = 3.0;
const LANDING_FROM_M: f64 = 4.0;
/// Sums of positions and torques below this share of their size count as balanced.
const BALANCED_SHARE: f64 = 1.0e-6;

/// Drift without noise, our choice, and how many deviations of the gyro's walk are added to it.
const DRIFT_STILL_M: f64 = 0.2;
const DRIFT_DEVIATIONS: f64 = 5.0;
const DRIFT_SOURCE: &str = "still air: the walk of the gyro's noise, five deviations; 0.2 m more is our choice";
const ALIGNED_DRIFT_SOURCE: &str = "still air: what alignment leaves of bias and tilt, the walk of the gyro's noise, five \
     deviations; 0.2 m more is our choice";

fn thrust_n(row: &Row) -> f64 {
    row.rotor_n.iter().sum()
}

fn drift_m(row: &Row) -> f64 {
    row.position_m[0].hypot(row.position_m[1])
}

/// How far the craft may drift in still air; see [`walk_m`].
fn drift_max_m(site: &Site<'_>, time_s: f64) -> f64 {
    DRIFT_STILL_M + DRIFT_DEVIATIONS * walk_m(site, time_s)
}

/// The same after the alignment, which is a mean over a time T of what the sensors show: it is off by N/√T, the bias in rad/s
/// and the tilt in rad by the accelerometer's N over g. A tilt error that stays moves the craft by g·t²/2 of it, one that grows
/// with a bias by g·t³/6.
fn aligned_drift_max_m(site: &Site<'_>, time_s: f64) -> f64 {
    let (sensors, gravity) = (&site.craft.sensors, site.world.gravity_m_s2);
    let align_s = site.onboard.computer_config.estimator.align_s;
    let bias_rad_s = two_sided(sensors.gyro.noise_density) / align_s.sqrt();
    let tilt_rad = two_sided(sensors.accelerometer.noise_density) / gravity / align_s.sqrt();
    let by_bias_m = gravity * bias_rad_s * time_s.powi(3) / 6.0;
    let by_tilt_m = gravity * tilt_rad * time_s.powi(2) / 2.0;
    DRIFT_STILL_M + DRIFT_DEVIATIONS * walk_m(site, time_s).hypot(by_bias_m).hypot(by_tilt_m)
}

/// The estimate walks off level with the gyro's noise, and what it leans by accelerates the craft. With N the two-sided
/// density, the deviation after t along each axis is g·N·∫√… = g·N·√(t⁵/20).
fn walk_m(site: &Site<'_>, time_s: f64) -> f64 {
    site.world.gravity_m_s2 * two_sided(site.craft.sensors.gyro.noise_density) * (time_s.powi(5) / 20.0).sqrt()
}

/// A data sheet's one-sided density as one that counts both signs of the frequency.
fn two_sided(density: f64) -> f64 {
    density * std::f64::consts::FRAC_1_SQRT_2
}

pub(super) fn take_off(site: &Site<'_>) -> Maiden {
    let legs = vec![
        leg("lift off", FLIES_AT_S + 6.0, Vertical::Height(HOVER_M), LEVEL),
        leg("climb", TAKE_OFF_END_S, Vertical::Climb(CLIMB_M_S), LEVEL),
    ];
    // In a steady climb thrust carries weight and the drag of the climb.
    let density = site.world.air_density_kg_m3;
    let drag_n = 0.5 * density * site.craft.body.drag_area_m2[2] * CLIMB_M_S * CLIMB_M_S;
    let expected_n = site.weight_n() + drag_n;
    let lift = thrust_share(site.craft);
    let drift_max_m = aligned_drift_max_m(site, TAKE_OFF_END_S);
    Maiden {
        id: "take-off",
        title: "Take-off and climb",
        asked: format!(
            "Switched on: align standing still, arm, from the ground to {HOVER_M} m, then climb at {CLIMB_M_S} m/s."
        ),
        flight: {
            let mut flight = site.flight("take-off and climb", 0.0, legs);
            flight.initial.power_up = true;
            flight
        },
        real: None,
        judge: Box::new(move |flown| {
            let [disarmed, standing, flying] = [State::Disarmed, State::Standing, State::Flying];
            let mut states: Vec<State> = flown.rows.iter().filter_map(|row| row.on_board.state()).collect();
            states.dedup();
            let out_of_order = if states == [disarmed, standing, flying] { 0.0 } else { 1.0 };
            vec![
                Check::new(
                    "take-off.sequence",
                    "Aligned, armed and flying, in that order: steps out of it",
                    out_of_order,
                    "",
                    Limit::at_most(0.0),
                    "the supervisor's table of states",
                ),
                Check::new(
                    "take-off.height",
                    "Height reached before the climb",
                    mean(flown, FLIES_AT_S + 5.8, FLIES_AT_S + 6.0, Row::height_m),
                    "m",
                    Limit::between(0.9 * HOVER_M, 1.1 * HOVER_M),
                    "the height asked for",
                ),
                Check::new(
                    "take-off.climb",
                    "Steady climb",
                    mean(flown, TAKE_OFF_END_S - 2.0, TAKE_OFF_END_S, |row| -row.velocity_m_s[2]),
                    "m/s",
                    Limit::between(0.97 * CLIMB_M_S, 1.03 * CLIMB_M_S),
                    "the climb asked for",
                ),
                Check::new(
                    "take-off.thrust",
                    "Thrust in the climb / (weight + drag)",
                    lift * mean(flown, TAKE_OFF_END_S - 2.0, TAKE_OFF_END_S, thrust_n) / expected_n,
                    "",
                    Limit::between(0.98, 1.02),
                    "force balance: m g + rho CdA v^2 / 2",
                ),
                Check::new(
                    "take-off.drift",
                    "Sideways drift",
                    largest(flown, 0.0, TAKE_OFF_END_S, drift_m),
                    "m",
                    Limit::at_most(drift_max_m),
                    ALIGNED_DRIFT_SOURCE,
                ),
            ]
        }),
    }
}

/// Share of the rotors' thrust that lifts, for rotors that lean the same amount.
fn thrust_share(craft: &Craft) -> f64 {
    let ceiling: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum::<f64>() / ceiling
}

pub(super) fn hover(site: &Site<'_>) -> Maiden {
    let legs = vec![leg("hover", 15.0, Vertical::Height(HOVER_M), LEVEL)];
    let weight_n = site.weight_n();
    let lift = thrust_share(site.craft);
    let each_n = weight_n / lift / site.craft.rotors.len() as f64;
    let balanced = is_balanced(site.craft);
    let drift_max_m = drift_max_m(site, 15.0);
    Maiden {
        id: "hover",
        title: "Hover",
        asked: format!("Hold {HOVER_M} m for a quarter of a minute."),
        flight: site.flight("hover", HOVER_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            let mut checks = vec![
                Check::new(
                    "hover.thrust",
                    "Thrust / weight",
                    lift * mean(flown, 10.0, 15.0, thrust_n) / weight_n,
                    "",
                    Limit::between(0.99, 1.01),
                    "force balance: thrust = m g",
                ),
                Check::new(
                    "hover.height",
                    "Height, most off",
                    largest(flown, 5.0, 15.0, |row| (row.height_m() - HOVER_M).abs()),
                    "m",
                    Limit::at_most(0.1),
                    "our choice",
                ),
                Check::new(
                    "hover.drift",
                    "Sideways drift",
                    largest(flown, 0.0, 15.0, drift_m),
                    "m",
                    Limit::at_most(drift_max_m),
                    DRIFT_SOURCE,
                ),
            ];
            checks.push(settled("hover", flown, 10.0, 15.0));
            if balanced {
                let off = |row: &Row| row.rotor_n.iter().map(|n| (n / each_n - 1.0).abs()).fold(0.0, f64::max);
                checks.push(Check::new(
                    "hover.equal",
                    "Rotor thrust, most off weight / rotors",
                    100.0 * largest(flown, 10.0, 15.0, off),
                    "%",
                    Limit::at_most(1.0),
                    "common practice: equal thrusts on a balanced craft",
                ));
            }
            checks
        }),
    }
}

/// Whether equal thrusts leave no torque: positions sum to the centre of mass, reaction torques to
/// zero, and all rotors are alike.
fn is_balanced(craft: &Craft) -> bool {
    let Some(first) = craft.rotors.first() else { return false };
    let alike = craft.rotors.iter().all(|rotor| {
        rotor.axis == first.axis && rotor.thrust_max_n == first.thrust_max_n && rotor.thrust_min_n == first.thrust_min_n
    });
    let center = craft.body.center_of_mass_m;
    let offset = |axis: usize| {
        let (sum, size) = craft.rotors.iter().fold((0.0, 0.0), |(sum, size): (f64, f64), rotor| {
            let arm = rotor.position_m[axis] - center[axis];
            (sum + arm, size + arm.abs())
        });
        sum.abs() <= BALANCED_SHARE * size
    };
    let torque: f64 = craft.rotors.iter().map(Rotor::reaction_m).sum();
    let size: f64 = craft.rotors.iter().map(|rotor| rotor.torque_per_thrust_m).sum();
    alike && craft.is_upright() && offset(0) && offset(1) && torque.abs() <= BALANCED_SHARE * size
}

pub(super) fn landing(site: &Site<'_>) -> Maiden {
    let legs = vec![
        leg("hover", 3.0, Vertical::Height(LANDING_FROM_M), LEVEL),
        leg("descend and land", 20.0, Vertical::Height(0.0), LEVEL),
    ];
    // With its mass off centre a craft cannot have every rotor at its floor and no torque.
    let balanced_n = f64::from(site.onboard.mixer.balanced_thrust_n().0);
    let floors_n = site.craft.rotors.iter().map(|rotor| rotor.thrust_min_n).sum::<f64>().max(balanced_n);
    Maiden {
        id: "landing",
        title: "Descent and landing",
        asked: format!("From {LANDING_FROM_M} m down to the ground, then stand with the rotors at their floors."),
        flight: site.flight("descent and landing", LANDING_FROM_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            vec![
                touch_down("landing", flown, 3.0, 20.0),
                rest("landing", flown, 20.0),
                Check::new(
                    "landing.level",
                    "Tilt at the end",
                    largest(flown, 19.0, 20.0, Row::tilt_rad).to_degrees(),
                    "deg",
                    Limit::at_most(1.0),
                    "level ground",
                ),
                Check::new(
                    "landing.idle",
                    "Thrust at the end, over the least",
                    mean(flown, 19.0, 20.0, thrust_n) - floors_n,
                    "N",
                    Limit::between(-0.01 * floors_n - 0.01, 0.2 * floors_n + 0.01),
                    "rotors at their floors, or at the least that leaves no torque, while armed on the ground",
                ),
            ]
        }),
    }
}
