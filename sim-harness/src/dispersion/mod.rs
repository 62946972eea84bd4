//! Crafts that are not quite what their file says: the same flight on many of them, each varied anew.
//!
//! The mixer and the controller are those of the craft as its file has it, because a builder flies the
//! gains and the geometry he believes in. The plant is the varied craft. What varies, by how much and
//! with which distribution stands in `[dispersion]` of the craft file; docs/dispersion.md explains it.
//!
//! Flight `k` of a seed is the same flight whatever the number of flights, of shards or of threads.

mod answer;
mod campaign;
mod draws;
mod judge;
mod merge;
mod round;
mod safety;
mod spread;
mod tally;
mod varied;
mod wilson;

pub use answer::{Answer, Head, Nominal, VariedBy};
pub use campaign::{Campaign, CampaignError, Flown, Shard};
pub use judge::{FLIGHTS_JUDGED, Judged, PASS_RATE_MIN, judge};
pub use merge::{MergeError, merge};
pub use round::round;
pub use safety::{CALM_MAX_DEG_S, HEIGHT_OFF_MAX_M, LEAN_OFF_MAX_DEG, RECOVERY_MAX_S, TILT_BEYOND_MAX_DEG, safety};
pub use spread::{Dispersion, SHAPES, Shape};
pub use tally::{CheckTally, Worst};
pub use varied::{CannotVary, Drawn, MAX_DRAWS, Sample, VARIED, Varied, vary};
pub use wilson::{Z_95, wilson};
