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

    /// The value of samples (time, value), and its time where it is one sample's. NaN spreads, and is the
    /// value where there are too few samples.
    pub(super) fn of(self, samples: &[(f64, f64)], excess: impl Fn(f64) -> f64) -> (f64, Option<f64>) {
        if samples.len() < self.least_samples() {
            return (f64::NAN, None);
        }
        let by = |rank: &dyn Fn(f64) -> f64| {
            let one = samples
                .iter()
                .copied()
                .reduce(|most, sample| if rank(sample.1) > rank(most.1) || sample.1.is_nan() { sample } else { most });
            one.map_or((f64::NAN, None), |(at_s, value)| (value, Some(at_s)))
        };
        match self {
            Taken::Every => by(&excess),
            Taken::Largest => by(&|value| value),
            Taken::Smallest => by(&|value| -value),
            Taken::End => samples.last().map_or((f64::NAN, None), |(at_s, value)| (*value, Some(*at_s))),
            Taken::Mean => (mean(samples.iter().map(|(_, value)| *value)), None),
            Taken::StandardDeviation => {
                let center = mean(samples.iter().map(|(_, value)| *value));
                (mean(samples.iter().map(|(_, value)| (value - center).powi(2))).sqrt(), None)
            }
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

/// Lets an angle run on past a full turn, so that its samples do not jump.
pub(super) fn unwind_deg(samples: &mut [(f64, f64)]) {
    let mut last: Option<f64> = None;
    for (_, value) in samples {
        if let Some(last) = last {
            *value = nearest_turn_deg(*value, last);
        }
        last = Some(*value);
    }
}

/// The angle that points as `value_deg` does and is nearest to `to_deg`.
pub(super) fn nearest_turn_deg(value_deg: f64, to_deg: f64) -> f64 {
    value_deg - TURN_DEG * ((value_deg - to_deg) / TURN_DEG).round()
}
