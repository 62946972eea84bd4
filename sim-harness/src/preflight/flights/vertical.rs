//! Up, still, and down: take-off and climb, hover, landing.

use evenkeel_controller::State;

use nalgebra::{Quaternion, UnitQuaternion, Vector3};

use super::alignment::AfterAlignment;
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

/// Drift left for the script and the air that the rotors have moved; our choice.
const DRIFT_STILL_M: f64 = 0.2;
const DRIFT_SOURCE: &str = "still air: what alignment leaves of tilt and bias, the sideways push of the rotors, the walk of the gyro's \
     noise, five deviations; 0.2 m more is our choice";

/// What the rotors push upward, each along its own axis.
fn lift_n(axes: &[Vector3<f64>], row: &Row) -> f64 {
    let [w, x, y, z] = row.attitude;
    let attitude = UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z));
    axes.iter().zip(&row.rotor_n).map(|(axis, n)| -(attitude * axis).z * n).sum()
}

fn axes(craft: &Craft) -> Vec<Vector3<f64>> {
    craft.rotors.iter().map(|rotor| Vector3::from(rotor.axis)).collect()
}

fn drift_m(row: &Row) -> f64 {
    row.position_m[0].hypot(row.position_m[1])
}

/// How far the craft may drift in still air.
fn drift_max_m(site: &Site<'_>, time_s: f64) -> f64 {
    DRIFT_STILL_M + AfterAlignment::of(site).drift_max_m(time_s)
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
    let axes = axes(site.craft);
    let drift_max_m = drift_max_m(site, TAKE_OFF_END_S);
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
                    mean(flown, TAKE_OFF_END_S - 2.0, TAKE_OFF_END_S, |row| lift_n(&axes, row)) / expected_n,
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
                    DRIFT_SOURCE,
                ),
            ]
        }),
    }
}

pub(super) fn hover(site: &Site<'_>) -> Maiden {
    let legs = vec![leg("hover", 15.0, Vertical::Height(HOVER_M), LEVEL)];
    let weight_n = site.weight_n();
    let axes = axes(site.craft);
    let each_n = weight_n / site.craft.rotors.len() as f64;
    let (balanced, swing_max) = (is_balanced(site.craft), site.swing_max());
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
                    mean(flown, 10.0, 15.0, |row| lift_n(&axes, row)) / weight_n,
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
            checks.push(settled("hover", flown, 10.0, 15.0, swing_max));
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
    let softly_m_s = site.touch_down_max_m_s();
    let floors_n: f64 = site.craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_min_n).sum();
    // With its mass off centre a craft cannot have every rotor at its floor and no torque.
    let balanced_n = floors_n.max(f64::from(site.onboard.mixer.balanced_thrust_n().0));
    Maiden {
        id: "landing",
        title: "Descent and landing",
        asked: format!("From {LANDING_FROM_M} m down to the ground, then stand with the rotors at their floors."),
        flight: site.flight("descent and landing", LANDING_FROM_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            vec![
                touch_down("landing", flown, 3.0, 20.0, softly_m_s),
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
                    "Thrust commanded at the end, over the least",
                    mean(flown, 19.0, 20.0, |row| row.achieved.thrust_n) - floors_n,
                    "N",
                    Limit::between(-0.01 * floors_n - 0.01, balanced_n - floors_n + 0.2 * balanced_n + 0.01),
                    "rotors at their floors, or at the least that leaves no torque, while armed on the ground",
                ),
            ]
        }),
    }
}
