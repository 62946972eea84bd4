//! The maiden-flight check: everything it asks of a craft, and the verdict.
//!
//! Top to bottom: facts, which rotors answer which stick, what saturates first, checks at rest, then
//! the flights, and last the crafts that are not quite what the file says. Every expectation is a formula or a stated practice, never the program's own last
//! output.

mod bench;
mod command_noise;
mod effectiveness;
mod facts;
pub mod flights;
mod lean;
#[cfg(test)]
mod loaded_tests;
mod margins;
mod one_mend;
mod remedy;
mod rotor_response;
mod saturation;
mod sticks;

use rayon::prelude::*;

use crate::craft::Craft;
use crate::dispersion::{self, FLIGHTS_JUDGED};
use crate::doubts::{Doubt, doubts};
use crate::margins::LoopResponse;
use crate::onboard::Onboard;
use crate::recording::Recording;
use crate::saturation::{Picture, checks};
use crate::script::World;
use crate::simulation::{Diverged, fly};
use crate::site::Site;
use crate::verdict::{Check, FlightReport, Limit, Preflight};
use flights::Maiden;

/// Runs the whole check. `progress` is told the number of flights flown and how many there are.
///
/// A craft that cannot be flown at all gets its reasons and no flights.
///
/// # Errors
/// When the computation of a flight diverges; that is a fault of the program or of gains the owner
/// fixed, not a property of the craft.
pub fn preflight(craft: &Craft, progress: &(dyn Fn(usize, usize) + Sync)) -> Result<Preflight, Diverged> {
    let found = checked(craft, progress)?;
    let mend = one_mend::find(craft, &found);
    Ok(Preflight { mend, ..found })
}

/// The check itself, without a search for what would mend it.
fn checked(craft: &Craft, progress: &(dyn Fn(usize, usize) + Sync)) -> Result<Preflight, Diverged> {
    let world = World::default();
    let doubts = doubts(craft, &world);
    let onboard = match Onboard::<f32>::new(craft, world.gravity_m_s2) {
        Ok(onboard) => onboard,
        Err(reason) => return Ok(unflyable(craft, doubts, &bench::refusal(craft, reason, world.gravity_m_s2))),
    };
    let maidens = flights::all(craft, &onboard, &world);
    let count = maidens.len() + FLIGHTS_JUDGED as usize;
    let flown = std::sync::atomic::AtomicUsize::new(0);
    progress(0, count);
    let one_more = || progress(flown.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1, count);
    let fly_maiden = |maiden| flown_and_judged(craft, &onboard, maiden).inspect(|_| one_more());
    // Together: the longest flight of the set would leave the other cores idle at its end.
    let (maidens, varied) = rayon::join(
        || maidens.par_iter().map(fly_maiden).collect::<Result<Vec<FlightReport>, Diverged>>(),
        || varied(craft, &one_more),
    );
    let mut flights = maidens?;
    flights.push(varied?);
    let picture = Picture::of(craft, &onboard, &world).and_then(|picture| picture.with_flights(craft, &flights)).ok();
    let site = Site { craft, onboard: &onboard, world: &world };
    let bench = bench_of(&site, picture.as_ref());
    remedy::say(craft, &onboard, &bench, &mut flights);
    Ok(Preflight {
        craft: craft.name.clone(),
        doubts,
        facts: facts::facts(craft, Some(&onboard)),
        sticks: sticks::responses(craft, &onboard),
        first_limits: saturation::first_limits(craft, &onboard),
        saturation: picture.map(Box::new),
        loops: LoopResponse::all(craft, world.gravity_m_s2).unwrap_or_default(),
        bench,
        flights,
        mend: None,
    })
}

/// The checks at rest.
fn bench_of(site: &Site<'_>, picture: Option<&Picture>) -> Vec<Check> {
    let mut bench = bench::checks(site.craft, site.onboard);
    bench.extend([lean::check(site), command_noise::check(site)]);
    bench.extend(picture.iter().flat_map(|picture| checks(site.craft, picture)));
    bench.extend(margins::checks(site.craft, site.world.gravity_m_s2));
    bench
}

/// The same of a craft that is not flown; `None` where it cannot be.
fn at_rest(craft: &Craft, world: &World) -> Option<Vec<Check>> {
    let onboard = Onboard::<f32>::new(craft, world.gravity_m_s2).ok()?;
    let picture = Picture::of(craft, &onboard, world).ok();
    Some(bench_of(&Site { craft, onboard: &onboard, world }, picture.as_ref()))
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

/// The varied crafts, all in one report; its recording is that of the worst.
fn varied(craft: &Craft, progress: &(dyn Fn() + Sync)) -> Result<FlightReport, Diverged> {
    let title = "Crafts not quite as their file says";
    let asked = format!("{FLIGHTS_JUDGED} crafts varied as [dispersion] says: up, lean each way, turn, and down.");
    let judged = match dispersion::judge(craft, FLIGHTS_JUDGED, progress) {
        Ok(judged) => judged,
        // No flight, and so nothing that holds.
        Err(reason) => {
            let limit = Limit::at_least(dispersion::PASS_RATE_MIN);
            let check = Check::new("dispersed.pass_rate", title, f64::NAN, "", limit, "no varied craft was flown")
                .or_else(|| format!("{reason}."));
            let recording = Recording::default();
            return Ok(FlightReport { id: "dispersed", title, asked, checks: vec![check], recording });
        }
    };
    let asked = match judged.answer.worst.first() {
        Some(worst) => format!("{asked} The worst is flight {}; it is the one shown.", worst.index),
        None => asked,
    };
    Ok(FlightReport { id: "dispersed", title, asked, checks: judged.checks, recording: judged.recording? })
}

fn unflyable(craft: &Craft, doubts: Vec<Doubt>, reasons: &[crate::verdict::Check]) -> Preflight {
    Preflight {
        craft: craft.name.clone(),
        doubts,
        facts: facts::facts(craft, None),
        sticks: Vec::new(),
        first_limits: Vec::new(),
        saturation: None,
        loops: Vec::new(),
        bench: reasons.to_vec(),
        flights: Vec::new(),
        mend: None,
    }
}
