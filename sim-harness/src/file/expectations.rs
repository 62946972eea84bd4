//! From the keys of `[[expect]]` to checked [`Expectation`]s.

use super::error::FileError;
use super::flight_keys::{ExpectKeys, FlightKeys};
use super::table::nearest;
use crate::craft::Craft;
use crate::expectation::{Expectation, Quantity};
use crate::script::Leg;
use crate::verdict::Limit;

/// Samples that all expectations of a flight may look at: a few seconds of work.
pub const MAX_SAMPLES: f64 = 5.0e7;

/// Every expectation, in the order of the file.
pub(super) fn expectations(
    file: &FlightKeys<'_>,
    craft: &Craft,
    legs: &[Leg],
    log_period_s: f64,
) -> Result<Vec<Expectation>, FileError> {
    let mut looked_at = 0.0;
    let mut expectations = Vec::with_capacity(file.expect.len());
    for keys in &file.expect {
        let expected = expectation(keys, file, craft, legs, log_period_s)?;
        looked_at += samples_until(expected.until_s, log_period_s) - samples_before(expected.from_s, log_period_s);
        if !(looked_at <= MAX_SAMPLES) {
            let must = format!(
                "must leave [[expect]] at most {MAX_SAMPLES} samples to look at in all; with it there are more"
            );
            let mend = "lengthen log_period_s, narrow the windows, or take an [[expect]] out";
            return Err(keys.at.refuse_table(&must, mend));
        }
        expectations.push(expected);
    }
    Ok(expectations)
}

fn expectation(
    keys: &ExpectKeys<'_>,
    file: &FlightKeys<'_>,
    craft: &Craft,
    legs: &[Leg],
    log_period_s: f64,
) -> Result<Expectation, FileError> {
    let quantity = quantity(keys, file, craft)?;
    let (from_s, until_s) = window(keys, file.duration_s, legs)?;
    let wanted = keys.taken.least_samples();
    if !(samples_until(until_s, log_period_s) - samples_before(from_s, log_period_s) >= wanted as f64) {
        let must = match wanted {
            1 => "must have a window that holds a row of the log".to_owned(),
            _ => format!("must have a window that holds {wanted} rows of the log"),
        };
        let mend = format!("rows are {log_period_s} s apart, from 0 on: widen {from_s} s to {until_s} s");
        return Err(keys.at.refuse_table(&must, &mend));
    }
    Ok(Expectation {
        name: keys.name.clone().unwrap_or_else(|| format!("{}, {}", keys.quantity, keys.taken.word())),
        limit: limit(keys, &quantity)?,
        quantity,
        from_s,
        until_s,
        taken: keys.taken,
        source: keys.source.clone(),
    })
}

fn quantity(keys: &ExpectKeys<'_>, file: &FlightKeys<'_>, craft: &Craft) -> Result<Quantity, FileError> {
    let rotors = craft.rotors.len();
    let from_m = keys.from_point_m.unwrap_or(file.initial.position_m);
    let Some(quantity) = Quantity::named(&keys.quantity, rotors, from_m) else {
        let names = Quantity::names(rotors);
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let mend = match nearest(&keys.quantity, &names) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None => format!("one of {}; or a column of the log", first_names(&names)),
        };
        return Err(keys.at.refuse("quantity", "must be a quantity listed in docs/files.md", &mend));
    };
    if keys.from_point_m.is_some() && !quantity.is_distance() {
        let mend = "take it out, or look at distance_m or ground_distance_m";
        return Err(keys.at.refuse("from_point_m", "must stand only beside a distance", mend));
    }
    Ok(quantity)
}

/// The quantities that are no columns, for whoever wrote something quite different.
fn first_names(names: &[&str]) -> String {
    let derived = crate::expectation::QUANTITIES.len();
    names.iter().take(derived).copied().collect::<Vec<_>>().join(", ")
}

fn window(keys: &ExpectKeys<'_>, duration_s: f64, legs: &[Leg]) -> Result<(f64, f64), FileError> {
    if let Some(name) = &keys.leg {
        for (key, value) in [("from_s", keys.from_s), ("until_s", keys.until_s)] {
            if value.is_some() {
                let mend = "the leg's time is the window: take one of the two out";
                return Err(keys.at.refuse(key, "must not stand beside leg", mend));
            }
        }
        return leg_window(keys, name, legs);
    }
    let (from_s, until_s) = (keys.from_s.unwrap_or(0.0), keys.until_s.unwrap_or(duration_s));
    for (key, value) in [("from_s", from_s), ("until_s", until_s)] {
        if !(value <= duration_s) {
            let must = format!("must be at most duration_s, {duration_s} s");
            return Err(keys.at.refuse(
                key,
                &must,
                "the flight ends before it: move it forward or lengthen the flight",
            ));
        }
    }
    if !(from_s <= until_s) {
        let key = if keys.until_s.is_some() { "until_s" } else { "from_s" };
        return Err(keys.at.refuse(key, "must have until_s at or after from_s", "did you swap the two?"));
    }
    Ok((from_s, until_s))
}

fn leg_window(keys: &ExpectKeys<'_>, name: &str, legs: &[Leg]) -> Result<(f64, f64), FileError> {
    let named: Vec<usize> =
        (0..legs.len()).filter(|index| legs.get(*index).is_some_and(|leg| leg.name == name)).collect();
    match named.as_slice() {
        [one] => {
            let end_s = |index: usize| legs.get(index).map_or(0.0, |leg| leg.until_s);
            Ok((one.checked_sub(1).map_or(0.0, end_s), end_s(*one)))
        }
        [] => {
            let names: Vec<&str> = legs.iter().map(|leg| leg.name.as_str()).collect();
            let mend = match nearest(name, &names) {
                Some(near) => format!("did you mean {near:?}?"),
                None if names.is_empty() => "there is no leg: use from_s and until_s".to_owned(),
                None => format!("the legs are {}", names.join(", ")),
            };
            Err(keys.at.refuse("leg", "must be the name of a leg of this flight", &mend))
        }
        _ => Err(keys.at.refuse("leg", "must be the name of one leg", "several have it: give each a name of its own")),
    }
}

fn limit(keys: &ExpectKeys<'_>, quantity: &Quantity) -> Result<Limit, FileError> {
    let bounds = match (keys.at_least, keys.at_most) {
        (None, None) => None,
        (min, max) => Some(Limit { min, max }),
    };
    match (bounds, keys.equals, keys.within) {
        (None, None, None) => {
            let mend = "add at_least, at_most or both; or equals with within";
            Err(keys.at.refuse_table("must have a bound", mend))
        }
        (Some(_), Some(_), _) => {
            Err(keys.at.refuse("equals", "must not stand beside at_least or at_most", "keep the one that is meant"))
        }
        (_, None, Some(_)) => {
            Err(keys.at.refuse("within", "must stand beside equals", "add `equals = ...`, the value expected"))
        }
        (None, Some(_), None) => {
            let mend = "add `within = ...`, how far from it the value may lie either way";
            Err(keys.at.refuse("equals", "must stand beside within", mend))
        }
        (None, Some(equals), Some(within)) => Ok(Limit::between(equals - within, equals + within)),
        (Some(limit), None, None) => {
            if let (Some(min), Some(max)) = (limit.min, limit.max)
                && !(min < max)
            {
                let must = format!("must be below at_most, {max}");
                return Err(keys.at.refuse(
                    "at_least",
                    &must,
                    "did you swap the two? For one value, use equals and within",
                ));
            }
            if quantity.goes_round() && keys.taken.of_an_angle() {
                let key = if keys.at_least.is_some() { "at_least" } else { "at_most" };
                let must = "must be equals and within for an angle that goes round";
                return Err(keys.at.refuse(
                    key,
                    must,
                    "359 and 1 deg are neighbours: give the middle and how far from it",
                ));
            }
            Ok(limit)
        }
    }
}

/// Rows of the log up to a time, itself included.
fn samples_until(time_s: f64, log_period_s: f64) -> f64 {
    ((time_s + ROUNDING_S) / log_period_s).floor() + 1.0
}

/// Rows of the log before a time.
fn samples_before(time_s: f64, log_period_s: f64) -> f64 {
    ((time_s - ROUNDING_S) / log_period_s).ceil().max(0.0)
}

/// Rows stand at whole nanoseconds.
const ROUNDING_S: f64 = 0.5e-9;
