//! What gives way first when one demand alone grows from hover.

use evenkeel_mixer::{RotorLimit, Wrench};

use crate::craft::Craft;
use crate::onboard::{Onboard, mixer_for};
use crate::verdict::FirstLimit;

const DEMANDS: [(&str, usize, f64); 7] = [
    ("thrust", 0, 1.0),
    ("roll right", 1, 1.0),
    ("roll left", 1, -1.0),
    ("nose up", 2, 1.0),
    ("nose down", 2, -1.0),
    ("nose right", 3, 1.0),
    ("nose left", 3, -1.0),
];

/// For each demand the largest value that is met in full, and the rotors that stop it there.
pub(super) fn first_limits(craft: &Craft, onboard: &Onboard<f32>) -> Vec<FirstLimit> {
    let Ok(mixer) = mixer_for::<f64>(craft) else { return Vec::new() };
    let hover = [onboard.authority.hover_n, 0.0, 0.0, 0.0];
    DEMANDS
        .iter()
        .map(|&(demand, axis, sense)| {
            let direction: [f64; 4] = std::array::from_fn(|k| if k == axis { sense } else { 0.0 });
            let (_, reach) = mixer.span(Wrench::from_array(hover), Wrench::from_array(direction));
            let edge: [f64; 4] = std::array::from_fn(|k| hover[k] + direction[k] * reach);
            let allocation = mixer.allocate(Wrench::from_array(edge));
            let stopped_by = stopped_by(craft, &allocation.thrusts_n);
            let acceleration_rad_s2 = (axis > 0).then(|| craft.body.turn_per_torque(axis - 1) * reach);
            let (value, unit) = if axis == 0 { (edge[0], "N") } else { (reach, "N\u{b7}m") };
            FirstLimit { demand, value, unit, acceleration_rad_s2, stopped_by }
        })
        .collect()
}

/// The rotors at a limit, those at the same one together: "front right, rear left at their floor".
fn stopped_by(craft: &Craft, thrusts_n: &[f64]) -> Vec<String> {
    let at = |wanted: RotorLimit| {
        let stopped =
            craft.rotors.iter().zip(thrusts_n).filter(|(rotor, thrust)| rotor.limit_met(**thrust) == Some(wanted));
        stopped.map(|(rotor, _)| rotor.name.as_str()).collect::<Vec<_>>()
    };
    let words = [(RotorLimit::Floor, "floor"), (RotorLimit::Ceiling, "ceiling")];
    let named = words.map(|(limit, word)| match at(limit).as_slice() {
        [] => None,
        [one] => Some(format!("{one} at its {word}")),
        all if all.len() == craft.rotors.len() => Some(format!("every rotor at its {word}")),
        some => Some(format!("{} at their {word}", some.join(", "))),
    });
    named.into_iter().flatten().collect()
}
