//! The verdict for scripts: the object that docs/files.md promises.

use serde_json::{Value, json};

use crate::near_misses::{NearMiss, near_misses};
use crate::verdict::{CAUTIONS, Check, Preflight};

/// The maiden-flight check as JSON.
///
/// A value that is not a finite number becomes `null`, and its check is not held. Numbers round-trip.
pub fn json(preflight: &Preflight) -> Value {
    let flights: Vec<Value> = preflight
        .flights
        .iter()
        .map(|flight| json!({ "id": flight.id, "title": flight.title, "asked": flight.asked }))
        .collect();
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "craft": preflight.craft,
        "fit": preflight.fit(),
        "checks": preflight.checks().map(check).collect::<Vec<_>>(),
        "near_misses": near_misses(preflight).iter().map(near_miss).collect::<Vec<_>>(),
        "doubts": preflight.doubts,
        "mend": preflight.mend,
        "facts": preflight.facts,
        "sticks": preflight.sticks,
        "first_limits": preflight.first_limits,
        "saturation": preflight.saturation,
        "loops": preflight.loops.iter().map(|one| &one.judged).collect::<Vec<_>>(),
        "flights": flights,
        "cautions": CAUTIONS,
    })
}

fn check(check: &Check) -> Value {
    let mut object = json!(check);
    object["held"] = json!(check.passes());
    object
}

fn near_miss(near: &NearMiss<'_>) -> Value {
    json!({ "id": near.check.id, "share": near.share })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn holds_every_promised_key_when_written() {
        let (preflight, _) = fixture::unfit();
        let value = json(&preflight);
        for key in ["craft", "fit", "checks", "facts", "sticks", "first_limits", "flights", "cautions", "version"] {
            assert!(value.get(key).is_some(), "{key} is missing");
        }
        let checks = value["checks"].as_array().unwrap();
        assert_eq!(checks.len(), preflight.checks().count());
        for check in checks {
            for key in ["id", "title", "held", "value", "unit", "limit", "source"] {
                assert!(check.get(key).is_some(), "{key} is missing in {check}");
            }
        }
        assert_eq!(value["fit"], false);
        assert_eq!(value["flights"][0]["id"], "hover");
    }

    #[test]
    fn lists_near_misses_by_the_ids_of_held_checks() {
        let (preflight, _) = fixture::fit();
        let value = json(&preflight);
        let (near, checks) = (value["near_misses"].as_array().unwrap(), value["checks"].as_array().unwrap());
        assert!(!near.is_empty());
        for one in near {
            assert!(one["share"].as_f64().is_some_and(|share| (0.0..=1.0).contains(&share)), "{one}");
            assert!(checks.iter().any(|check| check["id"] == one["id"] && check["held"] == true), "{one}");
        }
    }

    #[test]
    fn is_null_and_not_held_when_a_value_is_no_number() {
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let (mut preflight, _) = fixture::fit();
            preflight.bench[0].value = bad;
            preflight.bench[0].held = true;
            let value = json(&preflight);
            assert!(value["checks"][0]["value"].is_null());
            assert_eq!(value["checks"][0]["held"], false);
            assert_eq!(value["fit"], false);
        }
    }

    #[test]
    fn gives_the_same_numbers_when_read_back() {
        let (preflight, _) = fixture::fit();
        let read: Value = serde_json::from_str(&json(&preflight).to_string()).unwrap();
        for (check, read) in preflight.checks().zip(read["checks"].as_array().unwrap()) {
            assert_eq!(read["value"].as_f64(), Some(check.value), "{}", check.id);
        }
    }

    #[test]
    fn is_not_fit_when_no_flight_was_flown() {
        let (mut preflight, _) = fixture::fit();
        assert_eq!(json(&preflight)["fit"], true);
        preflight.flights.clear();
        assert_eq!(json(&preflight)["fit"], false);
    }
}
