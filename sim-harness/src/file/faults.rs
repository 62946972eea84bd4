//! The faults of a flight file.

use super::error::FileError;
use super::flight_keys::{FaultKeys, FlightKeys};
use super::table::Table;
use crate::craft::Craft;
use crate::script::{Fault, FaultKind};

/// The faults in order of time.
pub(super) fn faults(file: &FlightKeys<'_>, craft: &Craft) -> Result<Vec<Fault>, FileError> {
    let mut faults =
        file.fault.iter().map(|keys| fault(keys, file.duration_s, craft)).collect::<Result<Vec<_>, _>>()?;
    faults.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    Ok(faults)
}

fn fault(keys: &FaultKeys<'_>, duration_s: f64, craft: &Craft) -> Result<Fault, FileError> {
    if !(keys.at_s <= duration_s) {
        let must = format!("must be at most duration_s, {duration_s} s");
        return Err(keys.at.refuse("at_s", &must, "it would never happen: move it forward or lengthen the flight"));
    }
    if let Some(until_s) = keys.until_s
        && !(until_s > keys.at_s)
    {
        let must = format!("must be above at_s, {} s", keys.at_s);
        return Err(keys.at.refuse(
            "until_s",
            &must,
            "until_s is a time on the flight's clock, not the fault's length",
        ));
    }
    let kind = the_one(keys, craft)?;
    let lasts = matches!(kind, FaultKind::LinkLost { .. } | FaultKind::Sensor { .. } | FaultKind::SamplesLate { .. });
    if keys.until_s.is_some() && !lasts {
        let must = "must stand only beside link_lost, sensor or samples_late_s";
        return Err(keys.at.refuse("until_s", must, "take it out: what breaks in flight stays broken"));
    }
    Ok(Fault { at_s: keys.at_s, kind })
}

/// Exactly one thing goes wrong.
fn the_one(keys: &FaultKeys<'_>, craft: &Craft) -> Result<FaultKind, FileError> {
    let until_s = keys.until_s.unwrap_or(f64::INFINITY);
    let stopped = keys.rotor_stopped.map(|number| rotor(&keys.at, "rotor_stopped", number, craft)).transpose()?;
    let weakened = match &keys.rotor_weakened {
        Some(weak) => Some((rotor(&weak.at, "rotor", weak.rotor, craft)?, weak.thrust_share)),
        None => None,
    };
    let sensor = keys.sensor.as_ref();
    let all = [
        ("rotor_stopped", stopped.map(FaultKind::RotorStopped)),
        ("rotor_weakened", weakened.map(|(rotor, thrust_share)| FaultKind::RotorWeakened { rotor, thrust_share })),
        ("link_lost", keys.link_lost.then_some(FaultKind::LinkLost { until_s })),
        ("sensor", sensor.map(|keys| FaultKind::Sensor { sensor: keys.name, failure: keys.fails, until_s })),
        ("battery", keys.battery.as_ref().map(|keys| FaultKind::BatteryCollapse { voltage_share: keys.voltage_share })),
        ("samples_late_s", keys.samples_late_s.map(|late_s| FaultKind::SamplesLate { late_s, until_s })),
    ];
    let mut given = all.into_iter().filter_map(|(key, kind)| Some((key, kind?)));
    let Some((first, kind)) = given.next() else {
        let mend = "add `rotor_stopped = ...`, the number of a rotor of the craft, counted from 1, or one of rotor_weakened, link_lost, sensor, battery, samples_late_s";
        return Err(keys.at.refuse_table("must say what goes wrong", mend));
    };
    match given.next() {
        Some((second, _)) => {
            let must = format!("must not stand beside {first}");
            Err(keys.at.refuse(second, &must, "write a [[fault]] for each"))
        }
        None => Ok(kind),
    }
}

/// From the number in the file to the place in the craft.
fn rotor(at: &Table<'_>, key: &str, number: u64, craft: &Craft) -> Result<usize, FileError> {
    let rotors = craft.rotors.len();
    match usize::try_from(number) {
        Ok(number) if (1..=rotors).contains(&number) => Ok(number - 1),
        _ => {
            let must = format!("must be from 1 to {rotors}, the rotors of {:?}", craft.name);
            Err(at.refuse(key, &must, "rotors count from 1, in the order of the craft file"))
        }
    }
}
