//! What the maiden-flight check found: facts, checks, and the verdict that follows from them.
//!
//! Every renderer (terminal, JSON, HTML) reads these types and adds nothing of its own.

use serde::{Deserialize, Serialize};

use crate::doubts::Doubt;
use crate::margins::LoopResponse;
use crate::recording::Recording;
use crate::saturation::Picture;

/// A bound a value is held to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// The value must be at least this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub min: Option<f64>,
    /// The value must be at most this.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max: Option<f64>,
}

impl Limit {
    /// At least `min`.
    pub const fn at_least(min: f64) -> Self {
        Limit { min: Some(min), max: None }
    }

    /// At most `max`.
    pub const fn at_most(max: f64) -> Self {
        Limit { min: None, max: Some(max) }
    }

    /// From `min` to `max`.
    pub const fn between(min: f64, max: f64) -> Self {
        Limit { min: Some(min), max: Some(max) }
    }

    /// Whether `value` keeps the bound. NaN never does.
    pub fn holds(&self, value: f64) -> bool {
        !value.is_nan() && self.min.is_none_or(|min| value >= min) && self.max.is_none_or(|max| value <= max)
    }
}

/// One question with its answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Check {
    /// Stable name for scripts, `group.what`.
    pub id: String,
    /// The question in words.
    pub title: String,
    /// Whether the value keeps its limit.
    pub held: bool,
    /// The figure found.
    pub value: f64,
    /// Its unit; empty for a ratio or a count.
    pub unit: &'static str,
    /// What it is held to.
    pub limit: Limit,
    /// Where the limit or the expected value comes from.
    pub source: String,
    /// What would mend it, where one is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mend: Option<String>,
}

impl Check {
    /// A value held to its limit.
    pub fn new(id: &str, title: &str, value: f64, unit: &'static str, limit: Limit, source: &str) -> Self {
        let held = limit.holds(value);
        Check { id: id.into(), title: title.into(), held, value, unit, limit, source: source.into(), mend: None }
    }

    /// With what would mend it, kept only when the check failed.
    #[must_use]
    pub fn or_else(mut self, mend: impl FnOnce() -> String) -> Self {
        if !self.held {
            self.mend = Some(mend());
        }
        self
    }

    /// Whether the check counts as held: it was found so, and its value is a number.
    pub fn passes(&self) -> bool {
        self.held && self.value.is_finite()
    }
}

/// How each rotor answers to one stick, from hover.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StickResponse {
    /// The stick: "thrust up", "roll right", "nose up", "nose right".
    pub stick: &'static str,
    /// Names of the rotors that speed up.
    pub faster: Vec<String>,
    /// Names of the rotors that slow down.
    pub slower: Vec<String>,
}

/// What gives way first when one demand alone grows from hover.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FirstLimit {
    /// The demand: "thrust", "roll right", "roll left", ...
    pub demand: &'static str,
    /// The largest value that is still met in full.
    pub value: f64,
    /// "N" or "N·m".
    pub unit: &'static str,
    /// Of a thrust: what of it lies above hover, newtons.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub above_hover_n: Option<f64>,
    /// Angular acceleration at that value; `None` for thrust.
    pub acceleration_rad_s2: Option<f64>,
    /// The rotors that stop there, those at the same limit together: "front right, rear left at their
    /// floor".
    pub stopped_by: Vec<String>,
}

impl FirstLimit {
    /// The demand for a reader: thrust says which way.
    pub fn words(&self) -> &'static str {
        if self.demand == "thrust" { "thrust up" } else { self.demand }
    }
}

/// A fact about the craft, for the head of the report.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fact {
    /// What it is.
    pub title: &'static str,
    /// Its value, ready to print.
    pub value: String,
}

/// A flight flown for the verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct FlightReport {
    /// Stable name, also the stem of its CSV file.
    pub id: &'static str,
    /// Its name in words.
    pub title: &'static str,
    /// What the craft was asked to do.
    pub asked: String,
    /// What it was held to.
    pub checks: Vec<Check>,
    /// What happened.
    pub recording: Recording,
}

/// One change that makes every failed check hold.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Mend {
    /// What to change, with its figure.
    pub change: String,
    /// How many checks hold on the craft so changed: all of them. It was flown.
    pub held_after: usize,
}

/// Everything the maiden-flight check found.
#[derive(Clone, Debug, PartialEq)]
pub struct Preflight {
    /// The craft's name.
    pub craft: String,
    /// Figures of its file that are hard to believe, found before anything flew.
    pub doubts: Vec<Doubt>,
    /// Facts about it.
    pub facts: Vec<Fact>,
    /// How its rotors answer.
    pub sticks: Vec<StickResponse>,
    /// What saturates first.
    pub first_limits: Vec<FirstLimit>,
    /// What the rotors can reach, and what the flights asked of them; `None` when the craft cannot be flown.
    pub saturation: Option<Box<Picture>>,
    /// The loops cut open; empty when the craft cannot be flown.
    pub loops: Vec<LoopResponse>,
    /// Checks on the craft at rest.
    pub bench: Vec<Check>,
    /// The flights, each with its checks; empty when the craft cannot be flown at all.
    pub flights: Vec<FlightReport>,
    /// One change that makes every failed check hold; `None` where nothing failed, or none was found.
    pub mend: Option<Mend>,
}

impl Preflight {
    /// Every check, the bench first, then flight by flight.
    pub fn checks(&self) -> impl Iterator<Item = &Check> {
        self.bench.iter().chain(self.flights.iter().flat_map(|flight| &flight.checks))
    }

    /// Fit for a first flight: flights were flown, every check passes, and no doubt is left that nobody vouches for.
    pub fn fit(&self) -> bool {
        !self.flights.is_empty() && self.checks().all(Check::passes) && self.open_doubts().next().is_none()
    }

    /// The doubts that decide: nobody vouches for the figure.
    pub fn open_doubts(&self) -> impl Iterator<Item = &Doubt> {
        self.doubts.iter().filter(|doubt| !doubt.vouched)
    }

    /// What would mend each of the reasons, in their order; a change that was already told is not told again: "as under 1".
    pub fn mends(&self) -> Vec<Option<String>> {
        let all: Vec<Option<&String>> = self.reasons().map(|(_, check)| check.mend.as_ref()).collect();
        let told = |(k, mend): (usize, &Option<&String>)| {
            let first = all.iter().position(|other| other == mend)?;
            mend.map(|mend| if first < k { format!("as under {}", first + 1) } else { mend.clone() })
        };
        all.iter().enumerate().map(told).collect()
    }

    /// The checks that failed, each with where: "At rest", or the flight's title.
    pub fn reasons(&self) -> impl Iterator<Item = (&'static str, &Check)> {
        self.placed().filter(|(_, check)| !check.passes())
    }

    /// Every check with where: "At rest", or the flight's title.
    pub fn placed(&self) -> impl Iterator<Item = (&'static str, &Check)> {
        let bench = self.bench.iter().map(|check| ("At rest", check));
        let flown = self.flights.iter().flat_map(|flight| flight.checks.iter().map(|check| (flight.title, check)));
        bench.chain(flown)
    }
}

/// What a simulation cannot take off your hands; printed with every verdict.
pub const CAUTIONS: &[&str] = &[
    "A simulation is no clearance to fly. It knows only the figures it was given.",
    "Propellers off for every bench test: signs, rotor order, spin direction, arming, loss of link.",
    "First power with propellers on: craft tied down, nobody within reach of the propellers' plane, eyes protected.",
    "First hover low, over soft ground, in still air, far from people and animals; a second person watches.",
    "Know how to disarm without looking. Try it, and try loss of link, before the first take-off.",
    "Batteries: charge watched, never on a damaged cell, and carry something to put out a fire.",
    "Local rules, your club and a licensed pilot's judgement come before anything printed here.",
];
