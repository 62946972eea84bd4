//! Which rotors answer which stick, and whether practice agrees.
//!
//! What practice expects is read from where a rotor sits and how it turns, not from the mixer.

use evenkeel_mixer::Wrench;

use crate::craft::{Craft, Rotor};
use crate::onboard::Onboard;
use crate::verdict::StickResponse;

/// A change below this share of a rotor's ceiling is none.
const STEADY_SHARE: f64 = 1.0e-4;
/// The demand: this share of what the axis has to spare from hover.
const NUDGE: f64 = 0.1;

/// One stick moved a little.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stick {
    pub name: &'static str,
    /// Axis: thrust 0, roll 1, pitch 2, yaw 3.
    axis: usize,
    /// The sense in which this rotor should change, by position and spin: +1, −1, 0 for "either".
    pub expected: fn(&Rotor, [f64; 3]) -> f64,
}

/// Arms shorter than this share of a metre have no say in roll or pitch.
const ON_AXIS_M: f64 = 1.0e-3;

fn side(distance_m: f64) -> f64 {
    if distance_m.abs() < ON_AXIS_M { 0.0 } else { distance_m.signum() }
}

pub(super) const STICKS: [Stick; 4] = [
    Stick { name: "thrust up", axis: 0, expected: |_, _| 1.0 },
    // The left side pushes harder to roll right.
    Stick { name: "roll right", axis: 1, expected: |rotor, [_, y, _]| side(y - rotor.position_m[1]) },
    // The front pushes harder to lift the nose.
    Stick { name: "nose up", axis: 2, expected: |rotor, [x, ..]| side(rotor.position_m[0] - x) },
    // Rotors that turn counter-clockwise push the body the other way.
    Stick { name: "nose right", axis: 3, expected: |rotor, _| rotor.nose_sense() },
];

/// How the rotors answer, from the mixer as it flies.
pub(super) fn responses(craft: &Craft, onboard: &Onboard<f32>) -> Vec<StickResponse> {
    STICKS
        .iter()
        .map(|stick| {
            let changes = changes(stick, craft, onboard);
            let named = |sense: f64| {
                let moved = changes.iter().zip(&craft.rotors).filter(|(change, _)| **change == sense);
                moved.map(|(_, rotor)| rotor.name.clone()).collect()
            };
            StickResponse { stick: stick.name, faster: named(1.0), slower: named(-1.0) }
        })
        .collect()
}

/// Each rotor that answers a stick against practice, with that stick.
pub(super) fn against_practice(craft: &Craft, onboard: &Onboard<f32>) -> Vec<String> {
    let wrong = |stick: &'static Stick| {
        let changes = changes(stick, craft, onboard).into_iter().zip(&craft.rotors);
        changes
            .filter(|(change, rotor)| change * (stick.expected)(rotor, craft.body.center_of_mass_m) < 0.0)
            .map(|(_, rotor)| format!("{} ({})", rotor.name, stick.name))
    };
    STICKS.iter().flat_map(wrong).collect()
}

/// +1, −1 or 0 for each rotor: faster, slower, as before.
fn changes(stick: &Stick, craft: &Craft, onboard: &Onboard<f32>) -> Vec<f64> {
    let hover = Wrench { thrust_n: onboard.authority.hover_n, ..Wrench::default() };
    let mut nudged = hover.to_array();
    let [(_, roll), (_, pitch), (_, yaw)] = onboard.authority.torque_nm;
    let spare = [onboard.authority.hover_n, roll, pitch, yaw];
    for ((axis, value), spare) in nudged.iter_mut().enumerate().zip(spare) {
        if axis == stick.axis {
            *value += NUDGE * spare;
        }
    }
    let thrusts = |wrench: [f64; 4]| onboard.mixer.allocate(Wrench::from_array(wrench.map(|v| v as f32))).thrusts_n;
    thrusts(nudged)
        .iter()
        .zip(&thrusts(hover.to_array()))
        .zip(&craft.rotors)
        .map(|((after, before), rotor)| {
            let change = f64::from(after - before);
            if change.abs() < STEADY_SHARE * rotor.thrust_max_n { 0.0 } else { change.signum() }
        })
        .collect()
}
