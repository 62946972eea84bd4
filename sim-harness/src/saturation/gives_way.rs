//! What gives way first when one demand alone grows from hover: how far it goes, which rotors stop it,
//! and which tier is cut beyond. Torques grow while the battery feeds hover; thrust has the voltage that it leaves itself.

use evenkeel_mixer::{Axis, RotorLimit, Wrench};
use serde::Serialize;

use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::onboard::{CraftMixer, Unflyable};
use crate::script::World;

const DEMANDS: [(&str, usize, f64); 8] = [
    ("thrust", 0, 1.0),
    ("less thrust", 0, -1.0),
    ("roll right", 1, 1.0),
    ("roll left", 1, -1.0),
    ("nose up", 2, 1.0),
    ("nose down", 2, -1.0),
    ("nose right", 3, 1.0),
    ("nose left", 3, -1.0),
];

/// How far beyond the edge the demand is sent to see what is cut.
const BEYOND: f64 = 1.01;
/// A thrust this share of the ceiling from a limit stands at it.
const AT_LIMIT_SHARE: f64 = 1.0e-6;

/// One demand that grows from hover, the others as in hover.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GivesWay {
    /// "thrust", "less thrust", "roll right", ...
    pub demand: &'static str,
    /// The largest change from hover that is met in full.
    pub change: f64,
    /// "N" or "N·m".
    pub unit: &'static str,
    /// That change over the largest that the rotors could add up to in this axis if they all worked for it
    /// alone, from floor to ceiling: thrust over full thrust, torque over the largest at any thrust.
    pub share_of_largest_sum: f64,
    /// Angular acceleration at that change; `None` for thrust.
    pub acceleration_rad_s2: Option<f64>,
    /// The axes of the tier that is cut when the demand goes on.
    pub gives_way: Vec<&'static str>,
    /// Rotors that stand at their floors there.
    pub at_floor: Vec<String>,
    /// Rotors that stand at their ceilings there.
    pub at_ceiling: Vec<String>,
}

/// Every demand from hover, both ways, on the battery as charged, in air of sea level.
///
/// # Errors
/// When the rotors cannot control the craft, or cannot carry it.
pub fn gives_way(craft: &Craft, weight_n: f64) -> Result<Vec<GivesWay>, Unflyable> {
    let available = AvailableThrust::of(craft, &World::default())?;
    let feed = Feed::as_charged(craft);
    let most_n = available.least_of_most_n(&[feed]);
    let at = |thrust_n: f64| {
        let mixer = available.mixer_at(available.voltage_share_at(feed, 0.0, thrust_n), 0.0);
        mixer.ok_or(Unflyable::CannotHover { weight_n, balanced_thrust_n: (0.0, most_n) })
    };
    let (hovering, pushing) = (at(weight_n)?, at(most_n)?);
    let one = |(demand, axis, sense): (&'static str, usize, f64)| {
        let mixer = if axis == 0 && sense > 0.0 { &pushing } else { &hovering };
        grown(craft, mixer, weight_n, (demand, axis, sense))
    };
    Ok(DEMANDS.into_iter().map(one).collect())
}

/// One demand under the limits of this mixer.
fn grown(
    craft: &Craft,
    mixer: &CraftMixer<f64>,
    weight_n: f64,
    (demand, axis, sense): (&'static str, usize, f64),
) -> GivesWay {
    let hover = [weight_n, 0.0, 0.0, 0.0];
    let direction: [f64; 4] = std::array::from_fn(|k| if k == axis { sense } else { 0.0 });
    let (_, change) = mixer.span(Wrench::from_array(hover), Wrench::from_array(direction));
    let at = |share: f64| Wrench::from_array(std::array::from_fn(|k| hover[k] + share * change * direction[k]));
    let edge = mixer.allocate(at(1.0));
    let cut = mixer.allocate(at(BEYOND)).gave_way;
    let tier = cut.and_then(|number| craft.saturation.priority.get(usize::from(number)));
    let standing = |wanted: RotorLimit| {
        let rotors = craft.rotors.iter().zip(mixer.limits_n()).zip(&edge.thrusts_n);
        let there = rotors.filter(|((_, limits_n), n)| limit_met(*limits_n, **n) == Some(wanted));
        there.map(|((rotor, _), _)| rotor.name.clone()).collect()
    };
    GivesWay {
        demand,
        change,
        unit: if axis == 0 { "N" } else { "N\u{b7}m" },
        share_of_largest_sum: change / largest_sum(mixer, axis, sense),
        acceleration_rad_s2: (axis > 0).then(|| craft.body.turn_per_torque(axis - 1) * change),
        gives_way: tier.into_iter().flatten().map(|axis| name(*axis)).collect(),
        at_floor: standing(RotorLimit::Floor),
        at_ceiling: standing(RotorLimit::Ceiling),
    }
}

/// What the rotors add up to in an axis if all work for it alone.
fn largest_sum(mixer: &CraftMixer<f64>, axis: usize, sense: f64) -> f64 {
    let ends = mixer.columns().zip(mixer.limits_n()).map(|(column, (floor, ceiling))| {
        let share = sense * column[axis];
        if axis == 0 { column[0].abs() * ceiling } else { (share * floor).max(share * ceiling) }
    });
    ends.sum()
}

/// The limit a thrust stands at but for rounding.
fn limit_met((floor_n, ceiling_n): (f64, f64), thrust_n: f64) -> Option<RotorLimit> {
    let slack = AT_LIMIT_SHARE * ceiling_n;
    if thrust_n <= floor_n + slack {
        Some(RotorLimit::Floor)
    } else if thrust_n >= ceiling_n - slack {
        Some(RotorLimit::Ceiling)
    } else {
        None
    }
}

fn name(axis: Axis) -> &'static str {
    match axis {
        Axis::Thrust => "thrust",
        Axis::Roll => "roll",
        Axis::Pitch => "pitch",
        Axis::Yaw => "yaw",
    }
}

impl GivesWay {
    /// The rotors at a limit, those at the same one together: "front right, rear left at their floor".
    pub fn stopped_by(&self, rotors: usize) -> Vec<String> {
        let words = |names: &[String], word: &str| match names {
            [] => None,
            [one] => Some(format!("{one} at its {word}")),
            all if all.len() == rotors => Some(format!("every rotor at its {word}")),
            some => Some(format!("{} at their {word}", some.join(", "))),
        };
        [words(&self.at_floor, "floor"), words(&self.at_ceiling, "ceiling")].into_iter().flatten().collect()
    }
}
