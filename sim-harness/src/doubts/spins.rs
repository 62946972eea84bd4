//! Spins whose reaction torques do not cancel: in hover the craft would turn.
//!
//! Source: common practice, no source: neighbours turn opposite ways so that reaction torques cancel.

use std::f64::consts::PI;

use super::shape::Shape;
use super::{Doubt, Usual};
use crate::craft::{Craft, Rotor, Spin};

pub(super) const KEY: &str = "rotor.spin";
const SOURCE: &str = "common practice, no source: neighbours turn opposite ways so that reaction torques cancel";
/// Torque left over that an odd number of rotors leaves, in torques of one rotor, with room for rotors that differ.
const LEFT_OVER: f64 = 1.5;

/// The doubt about the spins, if reaction torques do not cancel and turning rotors round would make them.
pub(super) fn doubt(craft: &Craft, shape: &Shape) -> Option<Doubt> {
    let reactions: Vec<f64> = craft.rotors.iter().map(|rotor| rotor.torque_per_thrust_m * rotor.thrust_max_n).collect();
    let total: f64 = reactions.iter().sum();
    let one = super::rotors::median(reactions.iter().copied())?;
    if !(one > 0.0) {
        return None;
    }
    let found = left_over(craft);
    let allowed = LEFT_OVER * one;
    if found.abs() <= allowed {
        return None;
    }
    let turned = turned_round(craft, shape, allowed)?;
    let first = *turned.first()?;
    let names: Vec<String> = turned.iter().map(|rotor| (rotor + 1).to_string()).collect();
    let to = word(opposite(craft.rotors.get(first)?.spin));
    let likely = match names.as_slice() {
        [_] => format!("turns the other way? write spin = \"{to}\""),
        _ => format!("neighbours turn opposite ways: write spin = \"{to}\" for rotors {}", names.join(", ")),
    };
    Some(Doubt {
        id: "spins",
        key: format!("rotor[{}].spin", first + 1),
        value: found / total,
        unit: "",
        usual: Usual { min: -allowed / total, max: allowed / total },
        likely,
        because: "the torques of the rotors do not cancel in hover: what is left, over their sum".into(),
        source: SOURCE.into(),
        vouched: false,
    })
}

/// Torque about the vertical with every rotor at the same share of its thrust, N·m.
fn left_over(craft: &Craft) -> f64 {
    let [center_x, center_y, _] = craft.body.center_of_mass_m;
    let of = |rotor: &Rotor| {
        let lever_m =
            (rotor.position_m[0] - center_x) * rotor.axis[1] - (rotor.position_m[1] - center_y) * rotor.axis[0];
        rotor.thrust_max_n * (lever_m - rotor.reaction_m() * rotor.axis[2])
    };
    craft.rotors.iter().map(of).sum()
}

/// The rotors to turn round, those first that differ least from their neighbours.
fn turned_round(craft: &Craft, shape: &Shape, allowed: f64) -> Option<Vec<usize>> {
    let mut craft = craft.clone();
    let mut turned = Vec::new();
    while left_over(&craft).abs() > allowed {
        let left = left_over(&craft).abs();
        let better = (0..craft.rotors.len()).filter(|rotor| left_over(&with_turned(&craft, *rotor)).abs() < left);
        let best = better.max_by_key(|rotor| (opposed(&with_turned(&craft, *rotor), shape), usize::MAX - rotor))?;
        craft = with_turned(&craft, best);
        turned.push(best);
    }
    Some(turned)
}

fn with_turned(craft: &Craft, rotor: usize) -> Craft {
    let mut craft = craft.clone();
    if let Some(rotor) = craft.rotors.get_mut(rotor) {
        rotor.spin = opposite(rotor.spin);
    }
    craft
}

/// Pairs of neighbours that turn opposite ways, along the ring and within each place.
fn opposed(craft: &Craft, shape: &Shape) -> usize {
    let spin = |rotor: &usize| craft.rotors.get(*rotor).map(|rotor| rotor.spin);
    let azimuth = |place: &&Vec<usize>| {
        let hub = place.first().and_then(|rotor| craft.rotors.get(*rotor)).map_or([0.0; 3], |rotor| rotor.position_m);
        (hub[1] - shape.center_m[1]).atan2(hub[0] - shape.center_m[0]).rem_euclid(2.0 * PI)
    };
    let mut ring: Vec<&Vec<usize>> = shape.places.iter().collect();
    ring.sort_by(|a, b| azimuth(a).total_cmp(&azimuth(b)));
    let next = ring.iter().cycle().skip(1);
    let along = ring.iter().zip(next).filter(|(a, b)| a.first().map(spin) != b.first().map(spin)).count();
    let within =
        ring.iter().flat_map(|place| place.windows(2)).filter(|pair| pair.first().map(spin) != pair.last().map(spin));
    along + within.count()
}

fn opposite(spin: Spin) -> Spin {
    match spin {
        Spin::Cw => Spin::Ccw,
        Spin::Ccw => Spin::Cw,
    }
}

fn word(spin: Spin) -> &'static str {
    match spin {
        Spin::Cw => "cw",
        Spin::Ccw => "ccw",
    }
}
