//! The Bode and Nyquist pictures against the numbers they show: what is drawn is read back by the ticks beside it.

use std::f64::consts::TAU;

use nalgebra::Complex;

use super::bode::bode;
use super::nyquist::nyquist;
use super::{fixture, loops_page};
use crate::demo;
use crate::margins::{AxisLoops, Limits, LoopResponse};
use crate::onboard::Onboard;

const GRAVITY_M_S2: f64 = 9.806_65;
/// Coordinates are printed to a tenth, and points are left out that lie nearer than this to the line drawn.
const DRAWN_TOL: f64 = 0.35;

/// Marks beside an axis: from a place in the drawing to a value.
struct Scale {
    marks: Vec<(f64, f64)>,
}

impl Scale {
    /// A straight line through the outermost marks.
    fn value(&self, at: f64) -> f64 {
        let ((a, low), (b, high)) = (self.marks[0], *self.marks.last().unwrap());
        low + (at - a) / (b - a) * (high - low)
    }

    /// Units of the drawing in one of the value.
    fn per_unit(&self) -> f64 {
        let ((a, low), (b, high)) = (self.marks[0], *self.marks.last().unwrap());
        ((b - a) / (high - low)).abs()
    }
}

fn attribute<'a>(tag: &'a str, name: &str) -> &'a str {
    tag.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap()
}

/// Labels of the ticks that end at this side, between two heights, each with its place.
fn scale(svg: &str, anchor: &str, rows: std::ops::Range<f64>, value: fn(f64) -> f64) -> Scale {
    let ticks = svg.split("<text class=\"tick\"").skip(1).filter_map(|text| {
        let (tag, rest) = text.split_once('>')?;
        let label: f64 = rest.split('<').next()?.replace('−', "-").parse().ok()?;
        if !tag.contains(&format!("text-anchor=\"{anchor}\"")) {
            return None;
        }
        let (x, y): (f64, f64) = (attribute(tag, "x").parse().ok()?, attribute(tag, "y").parse().ok()?);
        // Labels beside an axis stand four below their mark.
        rows.contains(&y).then_some((if anchor == "end" { y - 4.0 } else { x }, value(label)))
    });
    Scale { marks: ticks.collect() }
}

/// The corners of the first path of this class.
fn corners(svg: &str, class: &str) -> Vec<(f64, f64)> {
    let tag = svg.split(&format!("<path class=\"{class}\"")).nth(1).unwrap_or_else(|| panic!("no {class}"));
    let d = attribute(tag.split('>').next().unwrap(), "d");
    let numbers: Vec<f64> = d.replace(['M', 'L', 'z'], " ").split_whitespace().map(|n| n.parse().unwrap()).collect();
    numbers.chunks(2).map(|pair| (pair[0], pair[1])).collect()
}

/// From and to of the vertical path of this class; the place across first.
fn upright(svg: &str, class: &str) -> Vec<(f64, f64, f64)> {
    let start = format!("<path class=\"{class}\"");
    let tags = svg.split(&start).skip(1);
    let numbers = |tag: &str| -> Vec<f64> {
        attribute(tag.split('>').next().unwrap(), "d")
            .replace(['M', 'V'], " ")
            .split_whitespace()
            .map(|n| n.parse().unwrap())
            .collect()
    };
    tags.map(numbers).map(|n| (n[0], n[1], n[2])).collect()
}

/// Where the second panel of a Bode picture begins.
fn second_panel(svg: &str) -> f64 {
    let text = svg.split("<text class=\"tick\"").find(|text| text.contains(">phase, deg<")).unwrap();
    attribute(text.split('>').next().unwrap(), "y").parse().unwrap()
}

/// k/(s·(τs + 1)²): what every textbook draws.
fn textbook(gain: f64, lag_s: f64) -> (impl Fn(f64) -> Complex<f64>, LoopResponse) {
    let response = move |omega: f64| {
        let s = Complex::new(0.0, omega);
        gain / (s * (lag_s * s + 1.0) * (lag_s * s + 1.0))
    };
    let one = LoopResponse::of_textbook(&response, TAU * 250.0, Limits::of(&demo::quad().unwrap()));
    (response, one)
}

/// Source: the response of k/(s(τs + 1)²) written out: 20·log10 and −90° − 2·atan(ωτ).
#[test]
fn bode_curve_is_the_textbook_response_when_it_is_read_back_by_its_ticks() {
    let (response, one) = textbook(4.0, 0.1);
    let svg = bode(&one, "b").into_string();
    let middle = second_panel(&svg);
    let hz = scale(&svg, "middle", 0.0..1000.0, f64::log10);
    let (db, deg) = (scale(&svg, "end", 0.0..middle, |v| v), scale(&svg, "end", middle..middle + 180.0, |v| v));
    let magnitude = corners(&svg, "line s0 magnitude");
    assert!(magnitude.len() > 10, "{magnitude:?}");
    for (x, y) in magnitude {
        let expected = 20.0 * response(TAU * 10_f64.powf(hz.value(x))).norm().log10();
        let off = (db.value(y) - expected) * db.per_unit();
        // Sixty decibels a decade: an error across shows upwards too.
        assert!(off.abs() < 3.0 * DRAWN_TOL, "{x} {y}: {} dB for {expected}", db.value(y));
    }
    for (x, y) in corners(&svg, "line s0 phase") {
        let omega = TAU * 10_f64.powf(hz.value(x));
        let expected = -90.0 - 2.0 * (0.1 * omega).atan().to_degrees();
        assert!(((deg.value(y) - expected) * deg.per_unit()).abs() < 2.0 * DRAWN_TOL, "{x} {y}");
    }
}

#[test]
fn bode_marks_are_as_long_as_the_margins_of_the_table_when_the_craft_is_the_demo() {
    let mut drawn = 0;
    for one in LoopResponse::all(&demo::quad().unwrap(), GRAVITY_M_S2).unwrap() {
        let svg = bode(&one, "b").into_string();
        let middle = second_panel(&svg);
        let hz = scale(&svg, "middle", 0.0..1000.0, f64::log10);
        let (db, deg) = (scale(&svg, "end", 0.0..middle, |v| v), scale(&svg, "end", middle..middle + 180.0, |v| v));
        let [(x, from, to)] = upright(&svg, "margin phase")[..] else { panic!("one phase margin") };
        let margin_deg = (deg.value(from) - deg.value(to)).abs();
        assert!((margin_deg - one.judged.phase_margin_deg).abs() * deg.per_unit() < DRAWN_TOL, "{margin_deg}");
        assert!((hz.value(x) - one.judged.crossover_hz.log10()).abs() * hz.per_unit() < DRAWN_TOL);
        let gains = upright(&svg, "margin gain");
        let told = [Some(one.judged.gain_margin_up_db), one.judged.gain_margin_down_db.map(|down| -down)];
        for ((_, from, to), told) in gains.iter().zip(told.into_iter().flatten()) {
            let margin_db = db.value(*from) - db.value(*to);
            assert!((margin_db - told).abs() * db.per_unit() < DRAWN_TOL, "{margin_db} for {told}");
            drawn += 1;
        }
        let page = loops_page::section(std::slice::from_ref(&one)).into_string();
        let cells: Vec<f64> = page
            .split("<td class=\"number\" role=\"cell\">")
            .skip(1)
            .map(|cell| cell.split('<').next().unwrap().parse().unwrap_or(f64::NAN))
            .collect();
        // Up, down, phase, in three figures.
        assert!((cells[2] / margin_deg - 1.0).abs() < 1e-2, "{} for {margin_deg}", cells[2]);
        for ((_, from, to), cell) in gains.iter().zip(&cells) {
            let margin_db = (db.value(*from) - db.value(*to)).abs();
            assert!((margin_db - cell).abs() < 0.05 + DRAWN_TOL / db.per_unit(), "{cell} for {margin_db}");
        }
    }
    // Up of six loops, down of the three rate loops.
    assert_eq!(drawn, 9);
}

#[test]
fn nyquist_curve_is_the_loop_as_flown_when_it_is_read_back_by_its_ticks() {
    let craft = demo::quad().unwrap();
    let flown = AxisLoops::all(&craft, &Onboard::<f64>::new(&craft, GRAVITY_M_S2).unwrap()).unwrap();
    let told = LoopResponse::all(&craft, GRAVITY_M_S2).unwrap();
    for (axis, flown) in flown.iter().enumerate() {
        let svg = nyquist(&told[2 * axis], "n").into_string();
        let re = scale(&svg, "middle", 0.0..1000.0, |v| v);
        let im = scale(&svg, "end", 0.0..1000.0, |v| v);
        assert!((re.per_unit() / im.per_unit() - 1.0).abs() < 2e-3, "one scale both ways");
        // Finely, so that the nearest is on the curve.
        let span = told[2 * axis].points.first().unwrap().frequency_hz.ln()..told[2 * axis].nyquist_hz.ln();
        let curve: Vec<Complex<f64>> = (0..=6000)
            .map(|k| span.start + (span.end - span.start) * f64::from(k) / 6000.0)
            .map(|ln| flown.rate_response(TAU * ln.exp()))
            .collect();
        let corners = corners(&svg, "line s0 nyquist");
        assert!(corners.len() > 20);
        for (x, y) in corners {
            let read = Complex::new(re.value(x), im.value(y));
            let off = curve.iter().map(|value| (value - read).norm()).fold(f64::MAX, f64::min);
            assert!(off * re.per_unit() < 2.0 * DRAWN_TOL, "{read} is {off} off");
        }
    }
}

/// The curve touches the disk of its own disk margin, and stays out of it.
#[test]
fn nyquist_disk_touches_the_curve_from_outside() {
    for one in LoopResponse::all(&demo::quad().unwrap(), GRAVITY_M_S2).unwrap() {
        let svg = nyquist(&one, "n").into_string();
        let re = scale(&svg, "middle", 0.0..1000.0, |v| v);
        let im = scale(&svg, "end", 0.0..1000.0, |v| v);
        let disk: Vec<_> =
            corners(&svg, "disk").into_iter().map(|(x, y)| Complex::new(re.value(x), im.value(y))).collect();
        // The right end on the real axis, from the definition.
        let half = 0.5 * one.judged.disk_margin;
        let (near, far) = (-(1.0 - half) / (1.0 + half), -(1.0 + half) / (1.0 - half));
        let (center, radius) = (0.5 * (near + far), 0.5 * (near - far));
        assert!(disk.iter().all(|value| ((value - center).norm() - radius).abs() * re.per_unit() < 2.0 * DRAWN_TOL));
        let closest = one.points.iter().map(|p| (p.value() - center).norm() - radius).fold(f64::MAX, f64::min);
        assert!(closest.abs() < 2e-3 && closest > -1e-9, "{} {}: {closest}", one.judged.axis, one.judged.name);
    }
}

#[test]
fn limits_stand_where_the_verdict_holds_them() {
    let (_, one) = textbook(4.0, 0.1);
    let svg = nyquist(&one, "n").into_string();
    let re = scale(&svg, "middle", 0.0..1000.0, |v| v);
    let ends = corners(&svg, "kept-out gain");
    let [(from, _), .., (to, _)] = ends[..] else { panic!("a stretch") };
    let six_db = 10_f64.powf(6.0 / 20.0);
    assert!((re.value(from) + six_db).abs() * re.per_unit() < DRAWN_TOL);
    assert!((re.value(to) + 1.0 / six_db).abs() * re.per_unit() < DRAWN_TOL);
    let ring = corners(&svg, "ring");
    let right = ring.iter().map(|(x, _)| re.value(*x)).fold(f64::MIN, f64::max);
    assert!((right + 1.0 - 1.0 / 1.6).abs() * re.per_unit() < DRAWN_TOL, "{right}");
}

/// Gain 16 at a lag of 0.1 s: 20·log10(2/1.6) = 1.9 dB.
#[test]
fn says_below_its_limit_where_a_margin_falls_short() {
    let (_, one) = textbook(16.0, 0.1);
    assert!(!one.judged.held && one.judged.stable);
    let (bode, nyquist) = (bode(&one, "b").into_string(), nyquist(&one, "n").into_string());
    assert!(bode.contains("✕ up 1.94 dB, below 6"), "{bode}");
    assert!(bode.contains("✕ phase margin") && nyquist.contains("✕ gain margin up 1.94 dB"));
    assert!(nyquist.contains("It enters the circle"));
}

#[test]
fn draws_the_curve_and_no_margin_when_the_loop_is_unstable() {
    let (_, one) = textbook(40.0, 0.1);
    assert!(!one.judged.stable);
    let (bode, nyquist) = (bode(&one, "b").into_string(), nyquist(&one, "n").into_string());
    assert!(bode.contains("unstable as it is") && nyquist.contains("unstable as it is"));
    assert!(
        bode.contains("line s0 magnitude") && !bode.contains("margin phase") && !nyquist.contains("class=\"disk\"")
    );
    for svg in [bode, nyquist] {
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}

#[test]
fn shows_two_pictures_for_each_loop_of_the_page() {
    let (preflight, craft) = fixture::fit();
    let page = super::html(&preflight, &craft);
    assert_eq!(page.matches("id=\"bode-").count(), 2 * 6);
    assert_eq!(page.matches("id=\"nyquist-").count(), 2 * 6);
}

/// A word's rim covers what was drawn before it.
#[test]
fn no_line_is_drawn_over_words() {
    let (_, one) = textbook(4.0, 0.1);
    let svg = bode(&one, "b").into_string();
    let (before, after) = svg.split_once("<text class=\"said\"").unwrap();
    for line in ["crossing", "half", "grid", "zero"] {
        let class = format!("<path class=\"{line}\"");
        assert!(before.contains(&class) && !after.contains(&class), "{line}");
    }
}

#[test]
fn reads_as_agreed_when_a_textbook_loop_is_drawn() {
    let (_, one) = textbook(4.0, 0.1);
    let lines = |svg: String| svg.replace("><", ">\n<");
    insta::assert_snapshot!("bode", lines(bode(&one, "b").into_string()));
    insta::assert_snapshot!("nyquist", lines(nyquist(&one, "n").into_string()));
}
