//! `evenkeel margins --json --response`: the open loops point by point, against the margins beside them.

use std::process::Command;

use serde_json::Value;

/// Between two points of two hundred a decade the gain and phase move by this much at most, decibels and degrees.
const BETWEEN_POINTS: f64 = 2.0;

fn answer(options: &[&str]) -> (Option<i32>, String) {
    let craft = format!("{}/crafts/quad.toml", env!("CARGO_MANIFEST_DIR"));
    let output = Command::new(env!("CARGO_BIN_EXE_evenkeel")).args(["margins", &craft]).args(options).output().unwrap();
    (output.status.code(), String::from_utf8(output.stdout).unwrap())
}

fn number(value: &Value, key: &str) -> f64 {
    value[key].as_f64().unwrap_or_else(|| panic!("{key} in {value}"))
}

#[test]
fn points_pass_through_the_margins_told_beside_them() {
    let (status, out) = answer(&["--json", "--response"]);
    assert_eq!(status, Some(0));
    let answer: Value = serde_json::from_str(&out).unwrap();
    let loops = answer["loops"].as_array().unwrap();
    assert_eq!(loops.len(), 6);
    for one in loops {
        let points = one["response"].as_array().unwrap();
        let nearest = |hz: f64| {
            let off = |point: &&Value| (number(point, "frequency_hz") / hz).ln().abs();
            points.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap()
        };
        let at_crossover = nearest(number(one, "crossover_hz"));
        assert!(number(at_crossover, "magnitude_db").abs() < BETWEEN_POINTS, "{at_crossover}");
        let margin = (number(at_crossover, "phase_deg") + 180.0).abs();
        assert!((margin - number(one, "phase_margin_deg")).abs() < BETWEEN_POINTS, "{at_crossover}");
        let last = number(points.last().unwrap(), "frequency_hz");
        assert!((last / number(one, "nyquist_hz") - 1.0).abs() < 1e-9, "{last}");
        let rate_hz = if one["loop"] == "rate" { 1000.0 } else { 250.0 };
        assert!((2.0 * last / rate_hz - 1.0).abs() < 1e-9, "{last}");
    }
}

#[test]
fn answer_without_the_option_has_no_points() {
    let (status, out) = answer(&["--json"]);
    let answer: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(status, Some(0));
    assert!(answer["loops"][0].get("response").is_none() && answer["loops"][0].get("crossover_hz").is_some());
    // There is no table that could hold the points.
    assert_eq!(self::answer(&["--response"]).0, Some(2));
}
