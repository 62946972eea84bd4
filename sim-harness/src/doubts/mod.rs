//! Figures of a craft file that no craft of this size is known to have, or that contradict other figures: found before
//! anything flies, each with the slip that would explain it and the number to type.
//!
//! Ratios of figures are held to bands (`relation`). Where ratios leave their bands, every slip of a catalogue (`slip`) is
//! mended in turn, and the one after which the craft is the most usual is named; what it does not explain is looked at
//! again. So one slip is one doubt, whatever follows from it. docs/doubts.md lists bands and slips.

mod battery;
mod body;
mod control;
mod explain;
mod figure;
mod keys;
mod missing;
mod odd;
mod power;
mod relation;
mod rotors;
mod shape;
mod slip;
mod spins;
#[cfg(test)]
mod tests;
mod words;

use serde::{Deserialize, Serialize};

pub use keys::{doubtable_keys, is_doubtable};
pub use power::{figure_of_merit, ideal_hover_power_w};

use crate::craft::Craft;
use crate::script::World;
use shape::Shape;

/// From where to where a figure is usual, in its own unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Usual {
    /// The least.
    pub min: f64,
    /// The most.
    pub max: f64,
}

/// A figure that is hard to believe.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubt {
    /// Stable name of what is out of place.
    pub id: &'static str,
    /// Its key in the craft file.
    pub key: String,
    /// The figure as it stands; of several numbers the largest.
    pub value: f64,
    /// Its unit; empty for a ratio or a word.
    pub unit: &'static str,
    /// What is usual for this craft, as its other figures have it.
    pub usual: Usual,
    /// The slip that would explain it, with what to type.
    pub likely: String,
    /// The ratio that is out of its band, in words.
    pub because: String,
    /// Where the band comes from, with its status.
    pub source: String,
    /// Whether the craft file says that the figure was measured: the doubt no longer decides.
    pub vouched: bool,
}

/// Most doubts that are told one by one: beyond, the file describes no craft.
const DOUBTS_MAX: usize = 8;

/// Everything in the craft's figures that is hard to believe, the likeliest slip first.
pub fn doubts(craft: &Craft, world: &World) -> Vec<Doubt> {
    let mut found = explain::explained(craft, world.gravity_m_s2);
    if let Some(shape) = Shape::of(craft) {
        found.extend(spins::doubt(craft, &shape));
        found.extend(missing::wake(craft, &shape));
    }
    let told = |key: &str, found: &[Doubt]| found.iter().any(|doubt| doubt.key == key);
    found.extend(missing::size(craft).filter(|doubt| !told(&doubt.key, &found)));
    found.truncate(DOUBTS_MAX);
    for doubt in &mut found {
        doubt.vouched = craft.figures.measured.iter().any(|typed| keys::covers(typed, &doubt.key));
    }
    found
}
