//! The maiden-flight check: everything it asks of a craft, and the verdict.
//!
//! Top to bottom: facts, which rotors answer which stick, what saturates first, checks at rest, then
//! the flights. Every expectation is a formula or a stated practice, never the program's own last
//! output.

mod bench;
mod facts;
pub mod flights;
mod saturation;
mod sticks;

use rayon::prelude::*;

use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::script::World;
use crate::simulation::{Diverged, fly};
use crate::verdict::{FlightReport, Preflight};
use flights::Maiden;

/// Runs the whole check. `progress` is told the number of flights flown and how many there are.
///
/// A craft that cannot be flown at all gets its reasons and no flights.
///
/// # Errors
/// When the computation of a flight diverges; that is a fault of the program or of gains the owner
/// fixed, not a property of the craft.
pub fn preflight(craft: &Craft, progress: &(dyn Fn(usize, usize) + Sync)) -> Result<Preflight, Diverged> {
    let world = World::default();
    let onboard = match Onboard::<f32>::new(craft, world.gravity_m_s2) {
        Ok(onboard) => onboard,
        Err(reason) => return Ok(unflyable(craft, &bench::refusal(craft, reason))),
    };
    let maidens = flights::all(craft, &onboard, &world);
    let count = maidens.len();
    let flown = std::sync::atomic::AtomicUsize::new(0);
    progress(0, count);
    let flights = maidens
        .par_iter()
        .map(|maiden| {
            let report = flown_and_judged(craft, &onboard, maiden)?;
            progress(flown.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1, count);
            Ok(report)
        })
        .collect::<Result<Vec<FlightReport>, Diverged>>()?;
    Ok(Preflight {
        craft: craft.name.clone(),
        facts: facts::facts(craft, Some(&onboard)),
        sticks: sticks::responses(craft, &onboard),
        first_limits: saturation::first_limits(craft, &onboard),
        bench: bench::checks(craft, &onboard),
        flights,
    })
}

fn flown_and_judged(craft: &Craft, onboard: &Onboard<f32>, maiden: &Maiden) -> Result<FlightReport, Diverged> {
    let recording = fly(maiden.real.as_ref().unwrap_or(craft), &maiden.flight, Some(onboard), &|_| ())?;
    Ok(FlightReport {
        id: maiden.id,
        title: maiden.title,
        asked: maiden.asked.clone(),
        checks: (maiden.judge)(&recording),
        recording,
    })
}

fn unflyable(craft: &Craft, reasons: &[crate::verdict::Check]) -> Preflight {
    Preflight {
        craft: craft.name.clone(),
        facts: facts::facts(craft, None),
        sticks: Vec::new(),
        first_limits: Vec::new(),
        bench: reasons.to_vec(),
        flights: Vec::new(),
    }
}
