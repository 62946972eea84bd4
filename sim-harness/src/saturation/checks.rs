//! The saturation picture's part of the verdict.

use std::ops::Range;

use super::operating_point::{OperatingPoint, attainable_at, reaches};
use super::picture::Picture;
use crate::craft::Craft;
use crate::enough::ENOUGH_TILT_RAD_S2;
use crate::verdict::{Check, Limit};

/// Roll and pitch in a climb or on a near-empty battery: half of what is asked at rest in hover.
const TILT_LEFT_MIN_RAD_S2: f64 = 0.5 * ENOUGH_TILT_RAD_S2;
/// Yaw left in the same: less than this and wind turns the nose.
const YAW_LEFT_MIN_RAD_S2: f64 = 0.2;
/// Steady wind that a first flight's place should stand.
const WIND_MIN_M_S: f64 = 3.0;

/// Checks with limit, source and what would mend.
pub fn checks(craft: &Craft, picture: &Picture) -> Vec<Check> {
    let answers = &picture.answers;
    let mut checks = vec![
        Check::new(
            "saturation.aged_battery",
            "Voltage it still hovers at / near-empty voltage",
            answers.hover_voltage_share / answers.empty_voltage_share,
            "",
            Limit::at_most(1.0),
            "thrust goes with voltage squared; common practice: land at 80 % of full voltage or above",
        )
        .or_else(|| {
            let lighter = (answers.empty_voltage_share / answers.hover_voltage_share).powi(2);
            let less_kg = craft.body.mass_kg * (1.0 - lighter);
            let higher = 100.0 * answers.hover_voltage_share;
            format!(
                "Take off {less_kg:.3} kg, fit stronger rotors, or land well above {higher:.0} % of full voltage, where nothing is \
                 left to spare."
            )
        }),
    ];
    for (name, id) in [("climb", "climb"), ("hover, battery near empty", "near_empty")] {
        let Some(point) = picture.operating_points.iter().find(|point| point.name == name) else { continue };
        let axes = point.axes.as_ref().map(|axes| axes.map(|axis| axis.weaker_rad_s2()));
        let [roll, pitch, yaw] = axes.unwrap_or([0.0; 3]);
        let words = if id == "climb" { "in a climb at 1.2 weights" } else { "on a near-empty battery" };
        let heaviest = |axes: Range<usize>, least_rad_s2: f64| {
            let mass_kg = heaviest_kg(craft, point, axes, least_rad_s2)?;
            Some(format!("Take off {:.2} kg, or ", round_up(craft.body.mass_kg - mass_kg)))
        };
        let or = |first: Option<String>, rest: &str| match first {
            Some(first) => first + rest,
            None => format!("No mass alone would do: {rest}"),
        };
        let mend = || or(heaviest(0..2, TILT_LEFT_MIN_RAD_S2), "stronger rotors, or less inertia.");
        checks.push(
            Check::new(
                &format!("saturation.{id}_tilt"),
                &format!("Roll and pitch left {words}"),
                roll.min(pitch),
                "rad/s\u{b2}",
                Limit::at_least(TILT_LEFT_MIN_RAD_S2),
                "our choice: half of what is asked in hover",
            )
            .or_else(mend),
        );
        checks.push(
            Check::new(
                &format!("saturation.{id}_yaw"),
                &format!("Yaw left {words}"),
                yaw,
                "rad/s\u{b2}",
                Limit::at_least(YAW_LEFT_MIN_RAD_S2),
                "our choice",
            )
            .or_else(|| {
                or(
                    heaviest(2..3, YAW_LEFT_MIN_RAD_S2),
                    "stronger rotors, propellers with more reaction torque, or rotors tilted a few degrees.",
                )
            }),
        );
    }
    if let Some(weakest) = answers.wind.iter().min_by(|a, b| a.speed_m_s.total_cmp(&b.speed_m_s)) {
        checks.push(
            Check::new(
                "saturation.wind",
                "Steady wind in which it holds its place",
                weakest.speed_m_s,
                "m/s",
                Limit::at_least(WIND_MIN_M_S),
                "our choice: a light breeze; drag balance at the tilt or thrust limit",
            )
            .or_else(|| match weakest.limited_by {
                // Drag goes with its area and the wind squared.
                "tilt" => format!(
                    "A larger limits.tilt_deg, or {:.2} of the drag area.",
                    (weakest.speed_m_s / WIND_MIN_M_S).powi(2)
                ),
                _ => format!("Stronger rotors, or {:.2} of the drag area.", (weakest.speed_m_s / WIND_MIN_M_S).powi(2)),
            }),
        );
    }
    checks
}

/// Steps in which a lighter craft is looked for, as a share of the mass.
const MASS_STEP: f64 = 0.01;
/// No craft is asked to be lighter than this share of its mass.
const LIGHTEST: f64 = 0.3;

/// The heaviest mass, in steps, with which these axes (roll 0, pitch 1, yaw 2) keep this much; ceilings and inertia stay.
fn heaviest_kg(craft: &Craft, point: &OperatingPoint, axes: Range<usize>, least_rad_s2: f64) -> Option<f64> {
    let set = attainable_at(craft, point.ceiling_share).ok()??;
    let keeps = |share: f64| {
        let found = reaches(craft, &set, share * point.thrust_n);
        found.is_some_and(|found| {
            found.iter().take(axes.end).skip(axes.start).all(|one| one.weaker_rad_s2() >= least_rad_s2)
        })
    };
    let steps = ((1.0 - LIGHTEST) / MASS_STEP) as u32;
    let share = (1..=steps).map(|step| 1.0 - MASS_STEP * f64::from(step)).find(|share| keeps(*share))?;
    Some(share * craft.body.mass_kg)
}

/// To the hundredth that is printed, so that what is printed does mend.
fn round_up(mass_kg: f64) -> f64 {
    (100.0 * mass_kg).ceil() / 100.0
}
