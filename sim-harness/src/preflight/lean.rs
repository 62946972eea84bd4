//! The check on how a craft leans, or is pushed, while it believes itself level.

use super::flights::alignment::AfterAlignment;
use crate::site::Site;
use crate::verdict::{Check, Limit};

/// A pilot holds this against it with a few degrees of stick; more, and the first seconds carry the craft away.
const LEAN_MAX_DEG: f64 = 3.0;
/// A part below this share of the largest is not told.
const TOLD_SHARE: f64 = 0.3;

/// What would carry a craft off that is held level by its own sensors, as a lean, and which figures of the file are behind it.
pub(super) fn check(site: &Site<'_>) -> Check {
    let after = AfterAlignment::of(site);
    let [ahead, right] = after.pull();
    let value = ahead.hypot(right).atan().to_degrees();
    Check::new(
        "bench.lean",
        "Lean that carries it off while it believes itself level",
        value,
        "deg",
        Limit::at_most(LEAN_MAX_DEG),
        "our choice; bias of the accelerometer over gravity, misalignment, sideways push of the rotors",
    )
    .or_else(|| mend(site, &after))
}

fn mend(site: &Site<'_>, after: &AfterAlignment) -> String {
    let sensors = &site.craft.sensors;
    let [x, y, _] = sensors.accelerometer.bias;
    let [roll, pitch, _] = sensors.misalignment_rad;
    let parts = [
        (x.hypot(y) / site.world.gravity_m_s2, "calibrate the accelerometer (sensors.accelerometer.bias_m_s2)"),
        (
            roll.hypot(pitch),
            "mount the sensors square to the frame, or turn their readings on board (sensors.misalignment_deg)",
        ),
        (after.push[0].hypot(after.push[1]), "tilt the rotors so that their sideways pushes cancel (rotor.axis)"),
    ];
    let most = parts.iter().map(|(share, _)| *share).fold(0.0, f64::max);
    let told: Vec<String> = parts
        .iter()
        .filter(|(share, _)| *share >= TOLD_SHARE * most)
        .map(|(share, words)| format!("{words}: {:.1} degrees", share.atan().to_degrees()))
        .collect();
    let mut words = told.join("; ");
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words + "."
}
