//! Checks on what the loops bear; each value is that of the loop that bears least.

use crate::craft::{Craft, Gains};
use crate::margins::{ANGLE_GAIN_MIN_PER_S, CraftGains, LoopMargins, Margins};
use crate::onboard::Onboard;
use crate::verdict::{Check, Limit};

const STANDARD: &str = "SAE AS94900 (from memory)";
const CHOICE: &str = "our choice";
const PRACTICE: &str = "common practice";

pub(super) fn checks(craft: &Craft, gravity_m_s2: f64) -> Vec<Check> {
    // A craft that cannot be flown has been refused before.
    let (Ok(found), Ok(onboard)) = (Margins::of(craft, gravity_m_s2), Onboard::<f64>::new(craft, gravity_m_s2)) else {
        return Vec::new();
    };
    let Some(limits) = found.loops.first().map(|one| one.limits) else { return Vec::new() };
    let mend = || how_to_mend(craft, gravity_m_s2);
    let check = |id: &str, title: &str, unit, limit: Limit, source: &str, figure: &dyn Fn(&LoopMargins) -> f64| {
        // NaN stays: it holds no limit.
        let worse = |least: f64, value: f64| match limit.min {
            _ if least.is_nan() || value.is_nan() => f64::NAN,
            Some(_) => least.min(value),
            None => least.max(value),
        };
        let value = found.loops.iter().map(figure).reduce(worse).unwrap_or(f64::NAN);
        Check::new(id, title, value, unit, limit, source).or_else(mend)
    };
    let over_least =
        onboard.config.angle.gain_per_s.into_iter().zip(ANGLE_GAIN_MIN_PER_S).map(|(gain, least)| gain / least);
    let slowest = over_least.reduce(|least, value| if value >= least { least } else { value }).unwrap_or(f64::NAN);
    let separation = |one: &LoopMargins| one.separation.unwrap_or(f64::INFINITY);
    vec![
        check("margins.gain", "Gain margin, either way", "dB", limits.gain_margin_db, STANDARD, &|one| {
            one.gain_margin_db
        }),
        check("margins.phase", "Phase margin", "deg", limits.phase_margin_deg, STANDARD, &|one| one.phase_margin_deg),
        check("margins.delay", "Further delay the loops bear", "s", limits.delay_margin_s, CHOICE, &|one| {
            one.delay_margin_s
        }),
        check("margins.sensitivity", "Peak sensitivity", "", limits.peak_sensitivity, CHOICE, &|one| {
            one.peak_sensitivity
        }),
        check("margins.separation", "Rate loop over angle loop", "", limits.separation, PRACTICE, &separation),
        Check::new(
            "margins.angle_gain",
            "Angle gain over the least that holds a craft",
            slowest,
            "",
            Limit::at_least(1.0),
            "our choice: 1 per second, 0.25 about yaw",
        )
        .or_else(mend),
    ]
}

/// What `evenkeel gains` says, as a sentence.
fn sentence(words: &str) -> String {
    let mut rest = words.chars();
    rest.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), rest.as_str()))
}

fn how_to_mend(craft: &Craft, gravity_m_s2: f64) -> String {
    let owners = craft.gains != Gains::default();
    match CraftGains::of(craft, gravity_m_s2) {
        Ok(gains) if owners => {
            let of = |axis: &crate::margins::AxisGains| format!("{} {:.3}", axis.axis, axis.p_per_s);
            let [roll, pitch, yaw] = &gains.axes;
            let (roll, pitch, yaw) = (of(roll), of(pitch), of(yaw));
            let [angle_roll, angle_pitch, angle_yaw] = gains.axes.map(|axis| axis.angle_per_s);
            format!(
                "Take [gains] out of the craft file: the derived ones keep every limit (P: {roll}, {pitch}, {yaw}; angle: roll \
                 {angle_roll:.3}, pitch {angle_pitch:.3}, yaw {angle_yaw:.3})."
            )
        }
        Ok(_) => "Derive the gains anew with `evenkeel gains`.".into(),
        Err(reason) => sentence(&reason.to_string()),
    }
}
