//! What a flight is held to by whoever wrote it: a quantity, a window in time, and a bound.
//!
//! The keys are those of `[[expect]]` in docs/files.md. An expectation is judged on the rows of the log,
//! so its samples are one log period apart. NaN keeps no bound.

mod quantity;
mod taken;

use serde::Serialize;

pub use quantity::{About, QUANTITIES, Quantity, Scene, log_quantities};
pub use taken::{TAKEN, Taken};

use taken::Gathered;

use crate::recording::{Recording, Row};
use crate::report::{Figures, figures_of};
use crate::verdict::Limit;

/// Rows stand at whole nanoseconds; a window written with fewer digits still holds the row at its end.
const ROUNDING_S: f64 = 1.5e-9;

/// One expectation, checked against the flight and the craft it was written for.
#[derive(Clone, Debug, PartialEq)]
pub struct Expectation {
    /// What reports call it.
    pub name: String,
    /// What is looked at.
    pub quantity: Quantity,
    /// Start of the window, itself included.
    pub from_s: f64,
    /// End of the window, itself included.
    pub until_s: f64,
    /// What is made of the samples in the window.
    pub taken: Taken,
    /// What that is held to.
    pub limit: Limit,
    /// Where the bound comes from.
    pub source: Option<String>,
}

/// What became of an expectation.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// What reports call it.
    pub name: String,
    /// The quantity, with its unit at the end.
    pub quantity: String,
    /// How it was taken.
    pub taken: &'static str,
    /// Start of the window.
    pub from_s: f64,
    /// End of the window.
    pub until_s: f64,
    /// Samples in the window.
    pub samples: usize,
    /// Whether the value keeps its limit.
    pub held: bool,
    /// The value; with every sample taken, that of the sample nearest to its limit or furthest beyond it.
    pub value: f64,
    /// When that sample was; only where the value is one sample's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub at_s: Option<f64>,
    /// Unit of the value; empty for a ratio.
    pub unit: &'static str,
    /// What it was held to.
    pub limit: Limit,
    /// Where the limit comes from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

impl Expectation {
    /// Holds a recording to this.
    pub fn judge(&self, recording: &Recording, scene: &Scene<'_>) -> Finding {
        let mut sampled = self.begin();
        recording.rows.iter().for_each(|row| sampled.see(row, scene));
        sampled.finding()
    }

    /// Begins to look at rows, one after another.
    pub fn begin(&self) -> Sampled<'_> {
        let middle = self.limit.min.zip(self.limit.max).map(|(min, max)| (min + max) / 2.0);
        let wound = self.quantity.goes_round() && self.taken.of_an_angle();
        Sampled { of: self, gathered: self.taken.begin(), last: None, near: middle.filter(|_| wound) }
    }
}

/// An expectation on its way through the rows of a flight.
#[derive(Clone, Debug)]
pub struct Sampled<'a> {
    of: &'a Expectation,
    gathered: Gathered,
    /// The sample before, of an angle that goes round.
    last: Option<f64>,
    /// The value is that turn of the angle which is nearest to this.
    near: Option<f64>,
}

impl Sampled<'_> {
    /// Looks at a row, if it lies in the window.
    pub fn see(&mut self, row: &Row, scene: &Scene<'_>) {
        let Expectation { from_s, until_s, quantity, limit, .. } = self.of;
        if !(row.t_s >= from_s - ROUNDING_S && row.t_s <= until_s + ROUNDING_S) {
            return;
        }
        let mut value = quantity.of(row, scene);
        if quantity.goes_round() {
            // An angle runs on past a full turn, so that its samples do not jump.
            value = self.last.map_or(value, |last| taken::nearest_turn_deg(value, last));
            self.last = Some(value);
        }
        let near = self.near;
        self.gathered.add(row.t_s, value, |value| taken::excess(limit, turned(near, value)));
    }

    /// What became of it, at the end of the flight.
    pub fn finding(&self) -> Finding {
        let of = self.of;
        let (value, at_s) = self.gathered.value();
        let value = turned(self.near, value);
        Finding {
            name: of.name.clone(),
            quantity: of.quantity.name().to_owned(),
            taken: of.taken.word(),
            from_s: of.from_s,
            until_s: of.until_s,
            samples: self.gathered.samples(),
            held: of.limit.holds(value) && value.is_finite(),
            value,
            at_s,
            unit: of.quantity.unit(),
            limit: of.limit,
            source: of.source.clone(),
        }
    }
}

fn turned(near: Option<f64>, value: f64) -> f64 {
    near.map_or(value, |middle| taken::nearest_turn_deg(value, middle))
}

impl Finding {
    /// How far the value is towards its limit, or beyond it: at most 0 when held. Without a unit.
    pub fn excess(&self) -> f64 {
        taken::excess(&self.limit, self.value)
    }

    /// The value and what it was held to: `largest 21.3 deg at 3.40 s; must be at most 15 deg`.
    pub fn text(&self) -> String {
        let Figures { value, limit } = figures_of(self.value, self.limit);
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        let when = self.at_s.map_or_else(String::new, |at_s| format!(" at {at_s:.2} s"));
        format!("{value}{unit}{when}; must be {limit}{unit}")
    }
}

#[cfg(test)]
mod tests;
