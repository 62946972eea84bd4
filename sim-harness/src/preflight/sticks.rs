//! Which rotors answer which stick, and whether they are those that the effectiveness matrix predicts.

use evenkeel_mixer::Wrench;

use super::rotor_response::{RotorResponse, explained_by};
use crate::craft::{Craft, Rotor};
use crate::onboard::Onboard;
use crate::verdict::{Check, Limit, StickResponse};

/// A change below this share of a rotor's ceiling is none.
const STEADY_SHARE: f64 = 1.0e-4;
/// The demand: this share of what the axis has to spare from hover.
const NUDGE: f64 = 0.1;

/// What each stick asks for: its place in a wrench (thrust 0, roll 1, pitch 2, yaw 3).
const STICKS: [(&str, usize); 4] = [("thrust up", 0), ("roll right", 1), ("nose up", 2), ("nose right", 3)];

/// How the rotors answer, from the mixer as it flies.
pub(super) fn responses(craft: &Craft, onboard: &Onboard<f32>) -> Vec<StickResponse> {
    STICKS
        .iter()
        .map(|(stick, axis)| {
            let changes = changes_n(*axis, onboard);
            let named = |sense: f64| {
                let goes = |(change, rotor): &(&f64, &Rotor)| {
                    change.abs() >= STEADY_SHARE * rotor.thrust_max_n && change.signum() == sense
                };
                changes.iter().zip(&craft.rotors).filter(goes).map(|(_, rotor)| rotor.name.clone()).collect()
            };
            StickResponse { stick, faster: named(1.0), slower: named(-1.0) }
        })
        .collect()
}

/// The check that the mixer moves the rotors as the craft's geometry asks.
pub(super) fn check(craft: &Craft, onboard: &Onboard<f32>) -> Check {
    let of_stick = |(stick, axis): &(&'static str, usize)| {
        let predicted = |craft: &Craft| RotorResponse::to_give(craft, nudge(*axis, onboard));
        let seen_n = changes_n(*axis, onboard);
        let missed =
            predicted(craft).map_or_else(|| (0..seen_n.len()).collect(), |found| found.missed_by(&seen_n, false));
        let names = missed.iter().filter_map(|rotor| craft.rotors.get(*rotor)).map(|rotor| rotor.name.as_str());
        let names: Vec<&str> = names.collect();
        let why = explained_by(craft, predicted, &seen_n, false).map_or_else(String::new, |why| format!(", {why}"));
        (!names.is_empty()).then(|| (names.len(), format!("{} ({stick}{why})", names.join(", "))))
    };
    let wrong: Vec<(usize, String)> = STICKS.iter().filter_map(of_stick).collect();
    Check::new(
        "bench.stick_senses",
        "Rotors that do not answer a stick as predicted",
        wrong.iter().map(|(count, _)| *count as f64).sum(),
        "",
        Limit::at_most(0.0),
        "effectiveness matrix: least squares",
    )
    .or_else(|| {
        let words: Vec<String> = wrong.into_iter().map(|(_, words)| words).collect();
        format!("The mixer does not move the rotors as places and spins of the file ask: {}.", words.join("; "))
    })
}

/// What a stick moved a little asks for on top of the hover.
fn nudge(axis: usize, onboard: &Onboard<f32>) -> [f64; 4] {
    let [(_, roll), (_, pitch), (_, yaw)] = onboard.authority.torque_nm;
    let spare = [onboard.authority.hover_n, roll, pitch, yaw];
    let mut wrench = [0.0; 4];
    if let (Some(entry), Some(spare)) = (wrench.get_mut(axis), spare.get(axis)) {
        *entry = NUDGE * spare;
    }
    wrench
}

/// Change of each rotor's thrust when a stick is moved a little.
fn changes_n(axis: usize, onboard: &Onboard<f32>) -> Vec<f64> {
    let hover = Wrench { thrust_n: onboard.authority.hover_n, ..Wrench::default() }.to_array();
    let mut nudged = hover;
    nudged.iter_mut().zip(nudge(axis, onboard)).for_each(|(value, change)| *value += change);
    let thrusts = |wrench: [f64; 4]| onboard.mixer.allocate(Wrench::from_array(wrench.map(|v| v as f32))).thrusts_n;
    let (before, after) = (thrusts(hover), thrusts(nudged));
    after.iter().zip(&before).map(|(after, before)| f64::from(after - before)).collect()
}
