//! How the answers of shards become one.
//!
//! Counts add, and the worst flights of all are the worst among the worst of each.

use std::collections::BTreeSet;
use std::fmt;

use super::answer::{Answer, Head};
use super::tally::Tally;

/// Why answers do not make one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MergeError {
    /// There is none.
    Nothing,
    /// The answer of this place (from 0) is of another campaign: this differs.
    Other {
        /// Which answer.
        place: usize,
        /// What differs.
        what: &'static str,
    },
    /// The answer of this place (from 0) has a shard that another has too.
    Twice {
        /// Which answer.
        place: usize,
        /// Which shard.
        shard: u64,
    },
    /// The counts of the answer of this place (from 0) do not add up.
    Counts {
        /// Which answer.
        place: usize,
    },
}

impl fmt::Display for MergeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MergeError::Nothing => write!(f, "nothing to merge"),
            MergeError::Other { what, .. } => {
                write!(
                    f,
                    "must be of the same campaign as the file before it, but {what} differs; fly the shards alike"
                )
            }
            MergeError::Twice { shard, .. } => {
                write!(f, "must not repeat shard {shard}, which a file before it has; name each file once")
            }
            MergeError::Counts { .. } => {
                write!(f, "its counts do not add up: must be the answer of `disperse --json` as it was printed")
            }
        }
    }
}

impl std::error::Error for MergeError {}

/// Makes one answer of the answers of several shards. Those of all shards give what one run gives.
///
/// # Errors
/// When they are not different shards of the same campaign.
pub fn merge(answers: Vec<Answer>) -> Result<Answer, MergeError> {
    let first = answers.first().ok_or(MergeError::Nothing)?;
    let (head, shards) = (first.head.clone(), first.shards);
    let mut done = BTreeSet::new();
    let mut tally = Tally::default();
    for (place, answer) in answers.into_iter().enumerate() {
        if let Some(what) =
            head.difference(&answer.head).or((answer.shards != shards).then_some("the number of shards"))
        {
            return Err(MergeError::Other { place, what });
        }
        if !answer.adds_up() {
            return Err(MergeError::Counts { place });
        }
        if let Some(shard) = answer.shards_done.iter().copied().find(|shard| !done.insert(*shard)) {
            return Err(MergeError::Twice { place, shard });
        }
        tally = tally.joined(answer.into_tally());
    }
    let whole = done.len() as u64 == shards;
    let (shards, done) = if whole { (1, BTreeSet::from([1])) } else { (shards, done) };
    Ok(Answer::with(head, shards, done, tally))
}

impl Head {
    fn difference(&self, other: &Head) -> Option<&'static str> {
        let parts = [
            (self.craft == other.craft, "the craft"),
            (self.flight == other.flight, "the flight"),
            (self.version == other.version, "the version of the program"),
            (self.seed == other.seed, "the seed"),
            (self.flights_asked == other.flights_asked, "the number of flights asked for"),
            (self.shape == other.shape && self.varied == other.varied, "what varies"),
            (self.nominal == other.nominal, "the flight of the craft as its file has it"),
        ];
        parts.into_iter().find(|(same, _)| !same).map(|(_, what)| what)
    }
}

impl Answer {
    /// Whether the counts are possible: a file may have been edited.
    fn adds_up(&self) -> bool {
        let (asked, of) = (self.head.flights_asked, self.shards);
        let numbers = self.shards_done.iter().all(|number| (1..=of).contains(number)) && of <= asked;
        // Flights of shard i: those of 1..=asked that leave the rest i.
        let flown = |number: &u64| u128::from((asked - number) / of + 1);
        numbers
            && !self.shards_done.is_empty()
            && self.shards_done.iter().map(flown).sum::<u128>() == u128::from(self.flights)
            && self.passed <= self.flights
            && self.checks.iter().all(|check| check.fell_short <= check.flights && check.flights <= self.flights)
    }
}
