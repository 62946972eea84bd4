//! One flight, flown by many varied crafts.

use std::fmt;

use rayon::prelude::*;

use super::answer::{Answer, Head, Nominal, VariedBy};
use super::round::round;
use super::safety::safety;
use super::tally::{Brief, Tally};
use super::varied::{CannotVary, Sample, VARIED, Varied, vary};
use crate::craft::Craft;
use crate::expectation::{Finding, Scene};
use crate::onboard::{Onboard, Unflyable};
use crate::recording::Recording;
use crate::script::{Flight, World};
use crate::simulation::{Diverged, fly};
use crate::verdict::Limit;

/// A part of the flights, so that several machines can share them: those with an index that leaves the
/// same rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shard {
    number: u64,
    of: u64,
}

/// Why a campaign cannot be flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CampaignError {
    /// The craft as its file has it cannot be flown.
    Unflyable(Unflyable),
    /// A free body without expectations: no flight could fall short.
    NothingToHold,
    /// No craft that can exist was drawn.
    CannotVary(CannotVary),
}

impl fmt::Display for CampaignError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CampaignError::Unflyable(reason) => reason.fmt(f),
            CampaignError::NothingToHold => f.write_str(
                "the flight has control = \"off\" and no [[expect]]: must have something it is held to; add an [[expect]]",
            ),
            CampaignError::CannotVary(reason) => reason.fmt(f),
        }
    }
}

impl std::error::Error for CampaignError {}

impl From<Unflyable> for CampaignError {
    fn from(reason: Unflyable) -> Self {
        CampaignError::Unflyable(reason)
    }
}

impl From<CannotVary> for CampaignError {
    fn from(reason: CannotVary) -> Self {
        CampaignError::CannotVary(reason)
    }
}

impl Shard {
    /// All flights.
    pub const WHOLE: Shard = Shard { number: 1, of: 1 };

    /// Shard `number`, from 1, of so many; `None` when there is no such shard.
    pub fn new(number: u64, of: u64) -> Option<Self> {
        (number >= 1 && number <= of).then_some(Shard { number, of })
    }

    /// Which one, from 1.
    pub fn number(self) -> u64 {
        self.number
    }

    /// How many there are.
    pub fn of(self) -> u64 {
        self.of
    }

    /// Its flights among `1..=flights`: `number`, and on in steps of `of`. No list of them is kept: there may be many.
    fn indices(self, flights: u64) -> impl ParallelIterator<Item = u64> {
        let count = flights.checked_sub(self.number).map_or(0, |rest| rest / self.of + 1);
        (0..count).into_par_iter().map(move |place| self.number + place * self.of)
    }
}

/// A craft and a flight for its varied likes.
pub struct Campaign<'a> {
    nominal: &'a Craft,
    onboard: Option<Onboard<f32>>,
    flight: Flight,
    scene: Scene<'a>,
}

/// One varied craft's flight.
#[derive(Clone, Debug)]
pub struct Flown {
    /// The craft and its air.
    pub sample: Sample,
    /// What happened, or when the computation left what is finite or sensible.
    pub recording: Result<Recording, Diverged>,
    /// What it was held to: the expectations of the flight, then safety.
    pub findings: Vec<Finding>,
}

impl<'a> Campaign<'a> {
    /// Flies `flight`, or [`round()`] without one.
    ///
    /// # Errors
    /// When the craft as its file has it cannot be flown, or nothing could fall short.
    pub fn new(nominal: &'a Craft, flight: Option<Flight>) -> Result<Self, CampaignError> {
        let gravity_m_s2 = flight.as_ref().map_or(World::default().gravity_m_s2, |flight| flight.world.gravity_m_s2);
        let onboard = match &flight {
            Some(flight) if !flight.control && flight.expectations.is_empty() => {
                return Err(CampaignError::NothingToHold);
            }
            Some(flight) if !flight.control => None,
            _ => Some(Onboard::<f32>::new(nominal, gravity_m_s2)?),
        };
        let flight = match (flight, &onboard) {
            (None, Some(onboard)) => round(nominal, onboard),
            (flight, _) => flight.ok_or(CampaignError::NothingToHold)?,
        };
        Ok(Campaign { nominal, onboard, flight, scene: Scene::new(nominal) })
    }

    /// The flight before the air of any sample.
    pub fn flight(&self) -> &Flight {
        &self.flight
    }

    /// Flight `index` of a seed.
    ///
    /// # Errors
    /// When no craft that can exist was drawn.
    pub fn fly_one(&self, seed: u64, index: u64) -> Result<Flown, CannotVary> {
        let sample = vary(self.nominal, seed, index)?;
        let (recording, findings) = self.fly_craft(&sample.craft, &sample.flight(&self.flight));
        Ok(Flown { sample, recording, findings })
    }

    /// The craft as its file has it, through the same flight.
    pub fn fly_nominal(&self) -> (Result<Recording, Diverged>, Vec<Finding>) {
        self.fly_craft(self.nominal, &self.flight)
    }

    fn fly_craft(&self, craft: &Craft, flight: &Flight) -> (Result<Recording, Diverged>, Vec<Finding>) {
        let recording = fly(craft, flight, self.onboard.as_ref(), &|_| ());
        let findings = match &recording {
            Err(diverged) => vec![computed(flight, diverged)],
            Ok(recording) => {
                let expected = flight.expectations.iter().map(|one| one.judge(recording, &self.scene));
                let tilt_max_rad = self.onboard.as_ref().map_or(0.0, |onboard| onboard.config.reference.tilt_max_rad);
                expected.chain(safety(flight, tilt_max_rad, recording)).collect()
            }
        };
        (recording, findings)
    }

    /// Flies the shard's part of `1..=flights` on all cores. `progress` is called after each flight.
    ///
    /// # Errors
    /// When no craft that can exist was drawn for some flight.
    pub fn run(
        &self,
        flights: u64,
        seed: u64,
        shard: Shard,
        progress: &(dyn Fn() + Sync),
    ) -> Result<Answer, CannotVary> {
        let brief = |index: u64| {
            let flown = self.fly_one(seed, index)?;
            progress();
            Ok(Brief::of(index, flown.sample.redrawn, &flown.findings))
        };
        let tally = shard
            .indices(flights)
            .map(brief)
            .try_fold(Tally::default, |tally, brief: Result<Brief, CannotVary>| Ok(tally.with(brief?)))
            .try_reduce(Tally::default, |one, other| Ok(one.joined(other)))?;
        // What the craft has not did not vary.
        let drawn = vary(self.nominal, seed, 1)?.drawn;
        let did = |varied: &&Varied| drawn.iter().any(|one| one.key == varied.key);
        let by = &self.nominal.dispersion;
        let varied_by = |one: &Varied| VariedBy { key: one.key.to_owned(), bound: (one.bound)(by) };
        let head = Head {
            craft: self.nominal.name.clone(),
            flight: self.flight.name.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            seed,
            flights_asked: flights,
            shape: by.shape.word().to_owned(),
            varied: VARIED.iter().filter(did).map(varied_by).collect(),
            nominal: Nominal::of(&self.fly_nominal().1),
        };
        Ok(Answer::new(head, shard, tally))
    }
}

/// The one finding of a flight whose computation diverged: it did not get to its end.
fn computed(flight: &Flight, diverged: &Diverged) -> Finding {
    let at_s = diverged.at_s;
    let (value, limit) = (at_s / flight.duration_s, Limit::at_least(1.0));
    Finding {
        name: "computed to the end".to_owned(),
        quantity: "flown_share".to_owned(),
        taken: "at the end",
        from_s: 0.0,
        until_s: flight.duration_s,
        samples: 1,
        held: false,
        value,
        at_s: Some(at_s),
        unit: "",
        limit,
        source: Some("a state that is no longer finite or sensible cannot be flown on".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn splits_the_flights_without_gap_or_overlap_when_sharded() {
        for of in 1..=7 {
            let mut all: Vec<u64> =
                (1..=of).flat_map(|n| Shard::new(n, of).unwrap().indices(20).collect::<Vec<_>>()).collect();
            all.sort_unstable();
            assert_eq!(all, (1..=20).collect::<Vec<_>>(), "{of}");
        }
        assert_eq!(Shard::new(2, 3).unwrap().indices(9).collect::<Vec<_>>(), [2, 5, 8]);
        assert_eq!(Shard::new(3, 3).unwrap().indices(2).collect::<Vec<_>>(), [0; 0]);
        let huge = Shard::new(u64::MAX, u64::MAX).unwrap();
        assert_eq!(huge.indices(u64::MAX).collect::<Vec<_>>(), [u64::MAX]);
        assert_eq!((Shard::new(0, 3), Shard::new(4, 3), Shard::new(1, 0)), (None, None, None));
    }
}
