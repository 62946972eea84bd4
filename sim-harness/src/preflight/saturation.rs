//! What gives way first when one demand alone grows from hover.

use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::saturation::{GivesWay, gives_way};
use crate::verdict::FirstLimit;

/// Less thrust is told by the check on descent.
const TOLD_ELSEWHERE: &str = "less thrust";

/// For each demand the largest value that is met in full, and the rotors that stop it there.
pub(super) fn first_limits(craft: &Craft, onboard: &Onboard<f32>) -> Vec<FirstLimit> {
    let hover_n = onboard.authority.hover_n;
    let found = gives_way(craft, hover_n).unwrap_or_default();
    let limit = |found: GivesWay| FirstLimit {
        demand: found.demand,
        value: if found.acceleration_rad_s2.is_none() { hover_n + found.change } else { found.change },
        unit: found.unit,
        above_hover_n: found.acceleration_rad_s2.is_none().then_some(found.change),
        acceleration_rad_s2: found.acceleration_rad_s2,
        stopped_by: found.stopped_by(craft.rotors.len()),
    };
    found.into_iter().filter(|found| found.demand != TOLD_ELSEWHERE).map(limit).collect()
}
