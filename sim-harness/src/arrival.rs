//! How hard a craft came to the ground.

use crate::recording::{Recording, Row};

/// Meeting the ground faster than this is a crash: a drop from half a metre.
pub const IMPACT_MAX_M_S: f64 = 3.0;
/// Below this the craft is at the ground.
const AT_GROUND_M: f64 = 0.1;

/// Fastest speed at which the craft came to the ground; 0 when it never did.
pub fn hardest_arrival_m_s(recording: &Recording) -> f64 {
    arrivals(recording).map(|(_, speed_m_s)| speed_m_s).fold(0.0, f64::max)
}

/// Each arrival at the ground: when, and how fast.
pub fn arrivals(recording: &Recording) -> impl Iterator<Item = (f64, f64)> {
    let mut arrival = Arrival::default();
    recording.rows.iter().filter_map(move |row| arrival.see(row))
}

/// Watches rows one after another for arrivals at the ground.
#[derive(Clone, Copy, Debug, Default)]
pub struct Arrival {
    /// Speed in the row before, when that was above the ground.
    falling_m_s: Option<f64>,
}

impl Arrival {
    /// The next row: when the craft has just arrived, the time and how fast it came.
    pub fn see(&mut self, row: &Row) -> Option<(f64, f64)> {
        let height_m = row.height_m();
        let before = std::mem::replace(&mut self.falling_m_s, (height_m >= AT_GROUND_M).then(|| speed_m_s(row)));
        before.filter(|_| height_m < AT_GROUND_M).map(|speed_m_s| (row.t_s, speed_m_s))
    }
}

fn speed_m_s(row: &Row) -> f64 {
    row.velocity_m_s.iter().map(|v| v * v).sum::<f64>().sqrt()
}
