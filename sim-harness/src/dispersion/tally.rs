//! Counts over flights, and which were the worst. They do not depend on the order in which flights end.

use std::cmp::Ordering;

use serde::{Deserialize, Serialize};

use crate::expectation::Finding;
use crate::report::{Figures, figures_of};
use crate::verdict::Limit;

/// Flights listed as the worst.
const WORST_LISTED: usize = 10;

/// One check over all flights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckTally {
    /// Its name.
    pub name: String,
    /// What is looked at.
    pub quantity: String,
    /// How it is taken.
    pub taken: String,
    /// Start of its window.
    pub from_s: f64,
    /// End of its window.
    pub until_s: f64,
    /// The unit of value and limit.
    pub unit: String,
    /// What it is held to.
    pub limit: Limit,
    /// Flights that were held to it.
    pub flights: u64,
    /// Flights that fell short of it.
    pub fell_short: u64,
    /// The flight furthest beyond, or nearest to, the limit.
    pub worst_index: u64,
    /// Its value; none when it is no number.
    pub worst_value: Option<f64>,
    /// How far beyond the limit, as a share of it; none when beyond all measure.
    pub worst_excess: Option<f64>,
}

/// One flight, by what it was worst at.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Worst {
    /// Which flight.
    pub index: u64,
    /// Whether everything held.
    pub held: bool,
    /// What it was worst at.
    pub reason: String,
    /// How far beyond the limit, as a share of it; negative when it held, none when beyond all measure.
    pub excess: Option<f64>,
}

/// One flight in short.
pub(super) struct Brief {
    redrawn: u32,
    held: bool,
    checks: Vec<CheckTally>,
    pub worst: Worst,
}

/// Counts of some flights.
#[derive(Default)]
pub(super) struct Tally {
    pub flights: u64,
    pub passed: u64,
    pub redrawn: u64,
    pub checks: Vec<CheckTally>,
    pub worst: Vec<Worst>,
}

/// The greater of two excesses, where none is beyond all measure.
fn is_worse(one: Option<f64>, other: Option<f64>) -> Ordering {
    one.unwrap_or(f64::INFINITY).total_cmp(&other.unwrap_or(f64::INFINITY))
}

fn finite(value: f64) -> Option<f64> {
    Some(value).filter(|value| value.is_finite())
}

impl Brief {
    pub(super) fn of(index: u64, redrawn: u32, findings: &[Finding]) -> Self {
        // The first of equals.
        let worst = findings.iter().rev().max_by(|a, b| {
            let fell_short = |finding: &Finding| !finding.held;
            fell_short(a).cmp(&fell_short(b)).then(a.excess().total_cmp(&b.excess()))
        });
        let mut checks: Vec<CheckTally> = findings.iter().map(|finding| CheckTally::of(index, finding)).collect();
        checks.sort_by(CheckTally::order);
        checks.dedup_by(|a, b| a.order(b).is_eq());
        Brief {
            redrawn,
            held: findings.iter().all(|finding| finding.held),
            checks,
            worst: Worst {
                index,
                held: findings.iter().all(|finding| finding.held),
                reason: worst.map_or_else(String::new, |finding| format!("{}: {}", finding.name, finding.text())),
                excess: worst.map_or(Some(0.0), |finding| finite(finding.excess())),
            },
        }
    }
}

impl CheckTally {
    fn of(index: u64, finding: &Finding) -> Self {
        CheckTally {
            name: finding.name.clone(),
            quantity: finding.quantity.clone(),
            taken: finding.taken.to_owned(),
            from_s: finding.from_s,
            until_s: finding.until_s,
            unit: finding.unit.to_owned(),
            limit: finding.limit,
            flights: 1,
            fell_short: u64::from(!finding.held),
            worst_index: index,
            worst_value: finite(finding.value),
            worst_excess: finite(finding.excess()),
        }
    }

    /// One order for all checks of a flight; checks that are the same in everything are one.
    pub(super) fn order(&self, other: &CheckTally) -> Ordering {
        let words = |check: &CheckTally| [check.name.clone(), check.quantity.clone(), check.taken.clone()];
        let end = |end: Option<f64>, none: f64| end.unwrap_or(none);
        let numbers = |check: &CheckTally| {
            let Limit { min, max } = check.limit;
            [check.from_s, check.until_s, end(min, f64::NEG_INFINITY), end(max, f64::INFINITY)]
        };
        let by_numbers = numbers(self).into_iter().zip(numbers(other)).map(|(a, b)| a.total_cmp(&b));
        words(self).cmp(&words(other)).then(by_numbers.fold(Ordering::Equal, Ordering::then))
    }

    fn join(&mut self, other: CheckTally) {
        let order = is_worse(other.worst_excess, self.worst_excess).then(self.worst_index.cmp(&other.worst_index));
        if order.is_gt() {
            self.worst_index = other.worst_index;
            self.worst_value = other.worst_value;
            self.worst_excess = other.worst_excess;
        }
        self.flights = self.flights.saturating_add(other.flights);
        self.fell_short = self.fell_short.saturating_add(other.fell_short);
    }

    /// The worst value and what it was held to: `12.3 deg; must be at most 15 deg`.
    pub fn text(&self) -> String {
        let Figures { value, limit } = figures_of(self.worst_value.unwrap_or(f64::NAN), self.limit);
        format!("{value} {unit}; must be {limit} {unit}", unit = self.unit).trim_end().replace(" ;", ";")
    }
}

impl Tally {
    pub(super) fn with(self, brief: Brief) -> Self {
        let one = Tally {
            flights: 1,
            passed: u64::from(brief.held),
            redrawn: brief.redrawn.into(),
            checks: brief.checks,
            worst: vec![brief.worst],
        };
        self.joined(one)
    }

    pub(super) fn joined(mut self, other: Tally) -> Self {
        self.flights = self.flights.saturating_add(other.flights);
        self.passed = self.passed.saturating_add(other.passed);
        self.redrawn = self.redrawn.saturating_add(other.redrawn);
        for check in other.checks {
            match self.checks.iter_mut().find(|known| known.order(&check).is_eq()) {
                Some(known) => known.join(check),
                None => self.checks.push(check),
            }
        }
        self.worst.extend(other.worst);
        self.worst.sort_by(|a, b| a.held.cmp(&b.held).then(is_worse(b.excess, a.excess)).then(a.index.cmp(&b.index)));
        self.worst.truncate(WORST_LISTED);
        self
    }
}
