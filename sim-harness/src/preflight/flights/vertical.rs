//! Up, still, and down: take-off and climb, hover, landing.

use super::{LEVEL, Maiden, Site, largest, leg, mean, settled};
use crate::craft::{Craft, Rotor};
use crate::recording::Row;
use crate::script::Vertical;
use crate::verdict::{Check, Limit};

const CLIMB_M_S: f64 = 1.5;
const HOVER_M: f64 = 3.0;
const LANDING_FROM_M: f64 = 4.0;
/// Sums of positions and torques below this share of their size count as balanced.
const BALANCED_SHARE: f64 = 1.0e-6;

fn thrust_n(row: &Row) -> f64 {
    row.rotor_n.iter().sum()
}

fn drift_m(row: &Row) -> f64 {
    row.position_m[0].hypot(row.position_m[1])
}

pub(super) fn take_off(site: &Site<'_>) -> Maiden {
    let legs = vec![
        leg("lift off", 6.0, Vertical::Height(HOVER_M), LEVEL),
        leg("climb", 12.0, Vertical::Climb(CLIMB_M_S), LEVEL),
    ];
    // In a steady climb thrust carries weight and the drag of the climb.
    let density = site.world.air_density_kg_m3;
    let drag_n = 0.5 * density * site.craft.body.drag_area_m2[2] * CLIMB_M_S * CLIMB_M_S;
    let expected_n = site.weight_n() + drag_n;
    let lift = thrust_share(site.craft);
    Maiden {
        id: "take-off",
        title: "Take-off and climb",
        asked: format!("From the ground to {HOVER_M} m, then climb at {CLIMB_M_S} m/s."),
        flight: site.flight("take-off and climb", 0.0, legs),
        real: None,
        judge: Box::new(move |flown| {
            vec![
                Check::new(
                    "take-off.height",
                    "Height reached before the climb",
                    mean(flown, 5.8, 6.0, Row::height_m),
                    "m",
                    Limit::between(0.9 * HOVER_M, 1.1 * HOVER_M),
                    "the height asked for",
                ),
                Check::new(
                    "take-off.climb",
                    "Steady climb",
                    mean(flown, 10.0, 12.0, |row| -row.velocity_m_s[2]),
                    "m/s",
                    Limit::between(0.97 * CLIMB_M_S, 1.03 * CLIMB_M_S),
                    "the climb asked for",
                ),
                Check::new(
                    "take-off.thrust",
                    "Thrust in the climb / (weight + drag)",
                    lift * mean(flown, 10.0, 12.0, thrust_n) / expected_n,
                    "",
                    Limit::between(0.98, 1.02),
                    "force balance: m g + rho CdA v^2 / 2",
                ),
                Check::new(
                    "take-off.drift",
                    "Sideways drift",
                    largest(flown, 0.0, 12.0, drift_m),
                    "m",
                    Limit::at_most(0.2),
                    "still air: none expected; the limit is our choice",
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
                    Limit::at_most(0.2),
                    "still air: none expected; the limit is our choice",
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
    let (balanced_n, _) = site.onboard.mixer.design().balanced_thrust_n();
    let floors_n = site.craft.rotors.iter().map(|rotor| rotor.thrust_min_n).sum::<f64>().max(balanced_n);
    Maiden {
        id: "landing",
        title: "Descent and landing",
        asked: format!("From {LANDING_FROM_M} m down to the ground, then stand with the rotors at their floors."),
        flight: site.flight("descent and landing", LANDING_FROM_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            let at_ground = |row: &Row| if row.height_m() < 0.2 { row.velocity_m_s[2] } else { 0.0 };
            vec![
                Check::new(
                    "landing.touch-down",
                    "Descent in the last 0.2 m",
                    largest(flown, 3.0, 20.0, at_ground),
                    "m/s",
                    Limit::at_most(0.6),
                    "our choice: a drop from 2 cm",
                ),
                Check::new(
                    "landing.rest",
                    "Speed at the end",
                    largest(flown, 19.0, 20.0, |row| row.velocity_m_s.iter().map(|v| v.abs()).fold(0.0, f64::max)),
                    "m/s",
                    Limit::at_most(0.01),
                    "a craft on the ground stands still",
                ),
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
