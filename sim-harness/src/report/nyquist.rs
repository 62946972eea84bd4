//! The Nyquist picture of one loop cut open, near −1: what the curve must keep out of, and how near it comes.
//!
//! * Math: |1/(1 + L)| ≤ M outside the circle of radius 1/M about −1; the disk margin α is borne outside the disk whose
//!   ends on the real axis are −(1 + α/2)/(1 − α/2) and its inverse, and the curve touches it
//! * Source: docs/margins.md

use std::f64::consts::{PI, TAU};

use maud::{Markup, html};
use nalgebra::Complex;

use super::figures::{figure, figures_of, trimmed};
use super::marks::{LEGEND_ROW, Mark, legend};
use super::plane::Plane;
use super::standing::value_at;
use super::thin::px;
use super::ticks::ticks;
use crate::margins::LoopResponse;
use crate::verdict::Limit;

const WIDTH: f64 = 440.0;
const HEIGHT: f64 = 300.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 12.0;
const BELOW: f64 = 36.0;
/// Half of what is shown upwards; across as much as has room, up to this.
const HALF: f64 = 1.3;
const RIGHTMOST: f64 = 1.08;
/// Gain at which the arrowhead sits.
const ARROW_DB: f64 = 1.5;
/// A disk margin this near to 2 is half a plane.
const HALF_PLANE: f64 = 1.97;
/// Points of a circle: one in this length.
const STEP: f64 = 0.03;

/// The picture as an `svg` element whose title and description carry `id`.
pub fn nyquist(one: &LoopResponse, id: &str) -> Markup {
    let (legend, rows) = legend(&entries(one), LEFT, WIDTH);
    let plane = plane(26.0 + LEGEND_ROW * rows as f64);
    let title = format!("Nyquist picture of the {} {} loop cut open, near −1", one.judged.axis, one.judged.name);
    let values = || one.points.iter().map(|point| point.value());
    html! {
        svg.chart viewBox=(format!("0 0 {WIDTH} {}", plane.bottom() + BELOW)) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
            title id=(format!("{id}-t")) { (title) }
            desc id=(format!("{id}-d")) { (describe(one)) }
            (axes(&plane))
            path.ring d=(circle(&plane, -1.0, 1.0 / most_sensitive(one)) + "z") {}
            path.unit-circle d=(circle(&plane, 0.0, 1.0)) {}
            @if let Some((center, radius)) = disk(one) { path.disk d=(circle(&plane, center, radius)) {} }
            (limits(one, &plane))
            path.mirrored d=(plane.path(values().map(|value| [value.re, -value.im]))) {}
            path.line.s0.nyquist d=(plane.path(values().map(|value| [value.re, value.im]))) {}
            (arrow(one, &plane))
            @let (x, y) = plane.place([-1.0, 0.0]);
            path.mass d=(format!("M{} {}l10 10m0 -10l-10 10", px(x - 5.0), px(y - 5.0))) {}
            text.said x=(px(x - 7.0)) y=(px(y - 8.0)) text-anchor="end" { "−1" }
            @for (mark, value) in marks(one) {
                @if plane.holds([value.re, value.im]) { @let (x, y) = plane.place([value.re, value.im]); (mark.at(x, y)) }
            }
            (legend)
        }
    }
}

fn plane(top: f64) -> Plane {
    let width = WIDTH - LEFT - RIGHT;
    let across = 2.0 * HALF * width / HEIGHT;
    Plane { x: RIGHTMOST - across..RIGHTMOST, y: -HALF..HALF, left: LEFT, top, width, height: HEIGHT }
}

fn most_sensitive(one: &LoopResponse) -> f64 {
    one.judged.limits.peak_sensitivity.max.unwrap_or(f64::NAN)
}

/// Middle and radius of the disk that the loop's own margin leaves free; `None` where it is half a plane or nothing.
fn disk(one: &LoopResponse) -> Option<(f64, f64)> {
    let half = 0.5 * one.judged.disk_margin;
    if !(one.judged.stable && half > 0.0 && one.judged.disk_margin < HALF_PLANE) {
        return None;
    }
    let (far, near) = ((1.0 + half) / (1.0 - half), (1.0 - half) / (1.0 + half));
    Some((-0.5 * (far + near), 0.5 * (far - near)))
}

fn circle(plane: &Plane, center: f64, radius: f64) -> String {
    let count = (TAU * radius / STEP).clamp(90.0, 6000.0).round() as u32;
    let angle = |k: u32| TAU * f64::from(k) / f64::from(count);
    plane.path((0..=count).map(|k| [center + radius * angle(k).cos(), radius * angle(k).sin()]))
}

/// What the verdict holds gain and phase alone to: a stretch of the real axis and an arc of the unit circle.
fn limits(one: &LoopResponse, plane: &Plane) -> Markup {
    let factor = 10_f64.powf(one.judged.limits.gain_margin_db.min.unwrap_or(0.0) / 20.0);
    let turn = one.judged.limits.phase_margin_deg.min.unwrap_or(0.0).to_radians();
    let arc = (0..=60).map(|k| PI - turn + 2.0 * turn * f64::from(k) / 60.0);
    html! {
        path.kept-out.gain d=(plane.path([[-factor, 0.0], [-1.0 / factor, 0.0]])) {}
        path.kept-out.phase d=(plane.path(arc.map(|angle| [angle.cos(), angle.sin()]))) {}
    }
}

fn axes(plane: &Plane) -> Markup {
    let (across, up) = (ticks(plane.x.start, plane.x.end, 7), ticks(plane.y.start, plane.y.end, 6));
    html! {
        @for (&value, label) in up.values.iter().zip(&up.labels) {
            path.(if value == 0.0 { "zero" } else { "grid" }) d=(plane.horizontal(value)) {}
            text.tick x=(px(LEFT - 6.0)) y=(px(plane.down_to(value) + 4.0)) text-anchor="end" { (label) }
        }
        @for (&value, label) in across.values.iter().zip(&across.labels) {
            path.(if value == 0.0 { "zero" } else { "grid" }) d=(plane.vertical(value)) {}
            text.tick x=(px(plane.right_of(value))) y=(px(plane.bottom() + 15.0)) text-anchor="middle" { (label) }
        }
        text.tick x="2" y=(px(plane.top - 8.0)) { "imaginary part" }
        text.tick x=(px(WIDTH - RIGHT)) y=(px(plane.bottom() + 30.0)) text-anchor="end" { "real part" }
    }
}

/// An arrowhead a little outside the unit circle, towards rising frequency.
fn arrow(one: &LoopResponse, plane: &Plane) -> Markup {
    let off = |db: f64| (db - ARROW_DB).abs();
    let nearest = one.points.windows(2).min_by(|a, b| off(a[0].magnitude_db).total_cmp(&off(b[0].magnitude_db)));
    let Some([from, to]) = nearest else { return html! {} };
    let [from, to] = [from, to].map(|point| point.value());
    if !(plane.holds([from.re, from.im]) && plane.holds([to.re, to.im])) {
        return html! {};
    }
    let (x, y) = plane.place([to.re, to.im]);
    let (x0, y0) = plane.place([from.re, from.im]);
    let turn = (y - y0).atan2(x - x0);
    let at = |ahead: f64, aside: f64| {
        let (sin, cos) = turn.sin_cos();
        (x + ahead * cos - aside * sin, y + ahead * sin + aside * cos)
    };
    let corners = [at(7.0, 0.0), at(-4.0, 5.0), at(-4.0, -5.0)].map(|(x, y)| format!("{} {}", px(x), px(y)));
    html! { path.arrow d=(format!("M{}z", corners.join("L"))) {} }
}

/// Where the margins stand on the curve.
fn marks(one: &LoopResponse) -> Vec<(Mark, Complex<f64>)> {
    if !one.judged.stable {
        return Vec::new();
    }
    let found = &one.found;
    let at = |omega: f64| value_at(one, omega / TAU);
    let mut marks = Vec::new();
    marks.extend(found.gain_up.is_finite().then(|| (Mark::Circle, Complex::from(-1.0 / found.gain_up))));
    marks.extend((found.gain_down > 0.0).then(|| (Mark::Square, Complex::from(-1.0 / found.gain_down))));
    marks.extend(at(found.crossover_rad_s).map(|value| (Mark::Diamond, value / value.norm())));
    marks.extend(at(found.peak_sensitivity_rad_s).map(|value| (Mark::Triangle, value)));
    marks
}

fn entries(one: &LoopResponse) -> Vec<(Mark, String)> {
    let (judged, found) = (&one.judged, &one.found);
    let limits = &judged.limits;
    let least = |limit: Limit| figure(limit.min.unwrap_or(f64::NAN), 3);
    let mut entries = vec![
        (Mark::Line("line s0"), "open loop, frequency rising along the arrow".to_owned()),
        (Mark::Line("mirrored"), "negative frequencies".to_owned()),
        (Mark::Line("unit-circle"), "gain 1".to_owned()),
        (Mark::Line("ring"), format!("limit: peak sensitivity {}", trimmed(figure(most_sensitive(one), 3)))),
        (
            Mark::Line("kept-out"),
            format!("limits: {} dB and {} deg", least(limits.gain_margin_db), least(limits.phase_margin_deg)),
        ),
    ];
    if !judged.stable {
        entries.push((Mark::Circle, "✕ unstable as it is: no margins".to_owned()));
        return entries;
    }
    let told = |value: f64, limit: Limit| {
        let cross = if limit.holds(value) { "" } else { "✕ " };
        (cross, figures_of(value, limit).value)
    };
    if disk(one).is_some() {
        entries.push((Mark::Line("disk"), format!("disk margin {}, this loop's", figure(judged.disk_margin, 3))));
    }
    if judged.gain_margin_up_db.is_finite() {
        let (cross, db) = told(judged.gain_margin_up_db, limits.gain_margin_db);
        entries.push((Mark::Circle, format!("{cross}gain margin up {db} dB")));
    }
    if let Some(down_db) = judged.gain_margin_down_db {
        let (cross, db) = told(down_db, limits.gain_margin_db);
        let seen = plane(0.0).holds([-1.0 / found.gain_down, 0.0]);
        entries.push((
            Mark::Square,
            format!("{cross}gain margin down {db} dB{}", if seen { "" } else { " (off to the left)" }),
        ));
    }
    if judged.crossover_hz.is_finite() {
        let (cross, deg) = told(judged.phase_margin_deg, limits.phase_margin_deg);
        entries.push((Mark::Diamond, format!("{cross}phase margin {deg} deg")));
    }
    let (cross, peak) = told(judged.peak_sensitivity, limits.peak_sensitivity);
    entries.push((Mark::Triangle, format!("{cross}nearest to −1: peak sensitivity {peak}")));
    entries
}

/// The picture in words, for those who do not see it.
fn describe(one: &LoopResponse) -> String {
    let words = "The open loop as a curve of real against imaginary part near −1, with its mirror image.";
    if !one.judged.stable {
        return format!("{words} Unstable as it is: no margins.");
    }
    let (judged, limit) = (&one.judged, one.judged.limits.peak_sensitivity);
    let keeps = if limit.holds(judged.peak_sensitivity) { "stays outside" } else { "enters" };
    format!(
        "{words} It {keeps} the circle of radius 1/{} about −1: peak sensitivity {}. Disk margin {}.",
        trimmed(figure(most_sensitive(one), 3)),
        figures_of(judged.peak_sensitivity, limit).value,
        figure(judged.disk_margin, 3)
    )
}
