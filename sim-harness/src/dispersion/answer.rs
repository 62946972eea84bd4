//! What a campaign found.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use super::campaign::Shard;
use super::tally::{Brief, CheckTally, Tally, Worst};
use super::wilson::wilson;
use crate::expectation::Finding;

/// What all shards of one campaign share.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Head {
    /// The craft's name.
    pub craft: String,
    /// The flight's name.
    pub flight: String,
    /// Of this program.
    pub version: String,
    /// Seed of all that was drawn.
    pub seed: u64,
    /// Flights of all shards together.
    pub flights_asked: u64,
    /// How deviations lie within their bounds.
    pub shape: String,
    /// What varied.
    pub varied: Vec<VariedBy>,
    /// How the craft does as its file has it.
    pub nominal: Nominal,
}

/// The craft that is just as its file has it, through the same flight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Nominal {
    /// Whether everything held.
    pub held: bool,
    /// What it was worst at.
    pub reason: String,
}

/// One quantity that varied, and its bound.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VariedBy {
    /// Its key in `[dispersion]`.
    pub key: String,
    /// In the unit of the key.
    pub bound: f64,
}

/// What a campaign, or a part of it, found.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// What was flown.
    #[serde(flatten)]
    pub head: Head,
    /// Shards the flights are shared out to; 1 when this is all of them.
    pub shards: u64,
    /// Those that are in this answer.
    pub shards_done: BTreeSet<u64>,
    /// Flights flown.
    pub flights: u64,
    /// Flights in which everything held.
    pub passed: u64,
    /// Their share.
    pub pass_rate: f64,
    /// Where the share of all such crafts lies, with 95 % confidence.
    pub interval95: [f64; 2],
    /// Crafts drawn that cannot exist, and were drawn anew.
    pub redrawn: u64,
    /// What the flights were held to.
    pub checks: Vec<CheckTally>,
    /// The worst flights, the worst first, those that held included.
    pub worst: Vec<Worst>,
}

impl Nominal {
    pub(super) fn of(findings: &[Finding]) -> Self {
        let Worst { held, reason, .. } = Brief::of(0, 0, findings).worst;
        Nominal { held, reason }
    }
}

impl Answer {
    pub(super) fn new(head: Head, shard: Shard, tally: Tally) -> Self {
        Answer::with(head, shard.of(), BTreeSet::from([shard.number()]), tally)
    }

    pub(super) fn with(head: Head, shards: u64, shards_done: BTreeSet<u64>, mut tally: Tally) -> Self {
        let (low, high) = wilson(tally.passed, tally.flights);
        // Checks come in whatever order flights end; a diverged flight has only the last.
        tally.checks.sort_by(CheckTally::order);
        Answer {
            head,
            shards,
            shards_done,
            flights: tally.flights,
            passed: tally.passed,
            pass_rate: tally.passed as f64 / tally.flights as f64,
            interval95: [low, high],
            redrawn: tally.redrawn,
            checks: tally.checks,
            worst: tally.worst,
        }
    }

    /// The worst over all flights of one check.
    pub fn check(&self, name: &str) -> Option<&CheckTally> {
        self.checks.iter().find(|check| check.name == name)
    }

    pub(super) fn into_tally(self) -> Tally {
        let Answer { flights, passed, redrawn, checks, worst, .. } = self;
        Tally { flights, passed, redrawn, checks, worst }
    }
}
