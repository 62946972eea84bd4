//! What is made of the samples in a window, and how far a value is from a bound.

use crate::verdict::Limit;

/// How the samples of a window become one value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// Each sample by itself: the value is the one nearest to its limit, or furthest beyond it.
    Every,
    /// Their mean.
    Mean,
    /// The largest.
    Largest,
    /// The smallest.
    Smallest,
    /// The last.
    End,
    /// Their standard deviation: the root of the mean square distance from the mean.
    StandardDeviation,
}

/// The words of the flight file.
pub const TAKEN: &[(&str, Taken)] = &[
    ("every sample", Taken::Every),
    ("mean", Taken::Mean),
    ("largest", Taken::Largest),
    ("smallest", Taken::Smallest),
    ("at the end", Taken::End),
    ("standard deviation", Taken::StandardDeviation),
];

/// A full turn.
const TURN_DEG: f64 = 360.0;

impl Taken {
    /// Its word in the flight file.
    pub fn word(self) -> &'static str {
        TAKEN.iter().find(|(_, taken)| *taken == self).map_or("", |(word, _)| word)
    }

    /// Samples below which the value says nothing.
    pub fn least_samples(self) -> usize {
        if self == Taken::StandardDeviation { 2 } else { 1 }
    }

    /// Whether what becomes of angles is an angle: adding a constant to every sample adds it to the value.
    pub(crate) fn of_an_angle(self) -> bool {
        self != Taken::StandardDeviation
    }

    /// Begins to gather samples.
    pub(super) fn begin(self) -> Gathered {
        Gathered { taken: self, samples: 0, most: None, sum: 0.0, values: Vec::new() }
    }
}

/// Samples of a window so far. Only the standard deviation keeps them: its mean must be known first.
#[derive(Clone, Debug)]
pub(super) struct Gathered {
    taken: Taken,
    samples: usize,
    /// The sample that the value is so far, and its rank.
    most: Option<Ranked>,
    sum: f64,
    values: Vec<f64>,
}

#[derive(Clone, Copy, Debug)]
struct Ranked {
    at_s: f64,
    value: f64,
    rank: f64,
}

impl Gathered {
    /// One sample more. NaN spreads.
    pub(super) fn add(&mut self, at_s: f64, value: f64, excess: impl Fn(f64) -> f64) {
        self.samples += 1;
        let rank = match self.taken {
            Taken::Every => excess(value),
            Taken::Largest => value,
            Taken::Smallest => -value,
            Taken::End => f64::INFINITY,
            Taken::Mean => return self.sum += value,
            Taken::StandardDeviation => return self.values.push(value),
        };
        let replaced = match &self.most {
            Some(most) => rank > most.rank || value.is_nan() || self.taken == Taken::End,
            None => true,
        };
        if replaced {
            self.most = Some(Ranked { at_s, value, rank });
        }
    }

    /// How many there were.
    pub(super) fn samples(&self) -> usize {
        self.samples
    }

    /// Their value, and its time where it is one sample's. NaN where there are too few samples.
    pub(super) fn value(&self) -> (f64, Option<f64>) {
        if self.samples < self.taken.least_samples() {
            return (f64::NAN, None);
        }
        match self.taken {
            Taken::Mean => (self.sum / self.samples as f64, None),
            Taken::StandardDeviation => {
                let center = mean(self.values.iter().copied());
                (mean(self.values.iter().map(|value| (value - center).powi(2))).sqrt(), None)
            }
            _ => self.most.map_or((f64::NAN, None), |most| (most.value, Some(most.at_s))),
        }
    }
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (count, sum) = values.fold((0.0, 0.0), |(count, sum), value| (count + 1.0, sum + value));
    sum / count
}

/// How far `value` lies beyond `limit`, as a share of the limit's own size: half the width of a limit on
/// both sides, else the bound, else 1. At most 0 when it is kept; infinite for NaN.
pub(super) fn excess(limit: &Limit, value: f64) -> f64 {
    let below = limit.min.map_or(f64::NEG_INFINITY, |min| min - value);
    let above = limit.max.map_or(f64::NEG_INFINITY, |max| value - max);
    let size = match (limit.min, limit.max) {
        (Some(min), Some(max)) => (max - min) / 2.0,
        (min, max) => min.or(max).unwrap_or(0.0).abs(),
    };
    let beyond = below.max(above) / if size > 0.0 { size } else { 1.0 };
    if value.is_nan() || beyond.is_nan() { f64::INFINITY } else { beyond }
}

/// The angle that points as `value_deg` does and is nearest to `to_deg`.
pub(super) fn nearest_turn_deg(value_deg: f64, to_deg: f64) -> f64 {
    value_deg - TURN_DEG * ((value_deg - to_deg) / TURN_DEG).round()
}
