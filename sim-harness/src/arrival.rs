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
    recording.rows.windows(2).filter_map(|pair| match pair {
        [before, after] if before.height_m() >= AT_GROUND_M && after.height_m() < AT_GROUND_M => {
            Some((after.t_s, speed_m_s(before)))
        }
        _ => None,
    })
}

fn speed_m_s(row: &Row) -> f64 {
    row.velocity_m_s.iter().map(|v| v * v).sum::<f64>().sqrt()
}
