//! Where on a loop's response its margins stand.

use std::f64::consts::TAU;

use nalgebra::Complex;

use crate::margins::{LoopResponse, ResponsePoint};

/// One gain margin.
pub struct GainMargin {
    /// Where the phase is half a turn.
    pub frequency_hz: f64,
    /// How much it is; above zero either way.
    pub margin_db: f64,
    /// More gain, or less.
    pub up: bool,
}

/// Where the phase margin is read off.
#[derive(Clone, Copy)]
pub struct Crossover {
    /// Where the gain is one.
    pub hz: f64,
    /// The phase there.
    pub phase_deg: f64,
    /// The odd half turn nearest to it.
    pub half_turn_deg: f64,
}

/// The gain margins of a stable loop, up first.
pub fn gains(one: &LoopResponse) -> Vec<GainMargin> {
    let standing = |omega: f64, margin_db: f64, up: bool| {
        let drawn = one.judged.stable && omega.is_finite() && margin_db.is_finite();
        drawn.then_some(GainMargin { frequency_hz: omega / TAU, margin_db, up })
    };
    let down = one.judged.gain_margin_down_db.and_then(|db| standing(one.found.phase_crossover_down_rad_s, db, false));
    standing(one.found.phase_crossover_rad_s, one.judged.gain_margin_up_db, true).into_iter().chain(down).collect()
}

/// The crossover of a stable loop.
pub fn crossover(one: &LoopResponse) -> Option<Crossover> {
    let hz = one.judged.crossover_hz;
    if !(one.judged.stable && hz.is_finite()) {
        return None;
    }
    let (before, after, share) = around(one, hz)?;
    let phase_deg = before.phase_deg + share * (after.phase_deg - before.phase_deg);
    let half_turn_deg = 180.0 * (2.0 * (0.5 * (phase_deg / 180.0 - 1.0)).round() + 1.0);
    Some(Crossover { hz, phase_deg, half_turn_deg })
}

/// The response between two of its points.
pub fn value_at(one: &LoopResponse, hz: f64) -> Option<Complex<f64>> {
    let (before, after, share) = around(one, hz)?;
    Some(before.value() + (after.value() - before.value()) * share)
}

/// The points on both sides of a frequency, and how far it is from the first to the second.
fn around(one: &LoopResponse, hz: f64) -> Option<(&ResponsePoint, &ResponsePoint, f64)> {
    let pair = one.points.windows(2).find(|pair| pair[0].frequency_hz <= hz && hz <= pair[1].frequency_hz)?;
    let [before, after] = pair else { return None };
    Some((before, after, (hz / before.frequency_hz).ln() / (after.frequency_hz / before.frequency_hz).ln()))
}
