//! The saturation picture's part of the verdict.

use super::picture::Picture;
use crate::craft::Craft;
use crate::verdict::{Check, Limit};

/// Roll and pitch in a climb or on a near-empty battery: half of what is asked at rest in hover.
const TILT_LEFT_MIN_RAD_S2: f64 = 2.5;
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
            format!("Take off {less_kg:.3} kg, fit stronger rotors, or land at a higher voltage.")
        }),
    ];
    for (name, id) in [("climb", "climb"), ("hover, battery near empty", "near_empty")] {
        let Some(point) = picture.operating_points.iter().find(|point| point.name == name) else { continue };
        let axes = point.axes.as_ref().map(|axes| axes.map(|axis| axis.weaker_rad_s2()));
        let [roll, pitch, yaw] = axes.unwrap_or([0.0; 3]);
        let words = if id == "climb" { "in a climb at 1.2 weights" } else { "on a near-empty battery" };
        let mend = || "Less mass, stronger rotors, or less inertia.".to_owned();
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
            .or_else(|| "Less mass, propellers with more reaction torque, or rotors tilted a few degrees.".to_owned()),
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
                "tilt" => "A larger limits.tilt_deg, less drag area, or more mass.".to_owned(),
                _ => "Stronger rotors or less drag area.".to_owned(),
            }),
        );
    }
    checks
}
