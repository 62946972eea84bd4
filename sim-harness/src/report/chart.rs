//! A line chart as inline SVG: round ticks, a legend, shaded limits, and no more points than a
//! reader can see.
//!
//! Colours, dashes and fonts are classes; the page's style sheet gives them for light and dark.

use std::fmt::Write;
use std::ops::Range;

use maud::{Markup, html};

use super::figures::figure;
use super::plane::Plane;
use super::thin::{px, spaced, straightened, thinned, trace};
use super::ticks::{Ticks, ticks};

/// Series with a colour and dash of their own; more than this start again with thicker lines.
pub const TONES: usize = 8;
/// Values beyond this are left out as a gap: no axis could show them beside the others.
pub const DRAWABLE: f64 = 1e12;

pub(super) const WIDTH: f64 = 440.0;
const HEIGHT: f64 = 170.0;
const SQUARE: f64 = 300.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 12.0;
const BELOW: f64 = 36.0;
const LEGEND_ROW: f64 = 17.0;
const CHARACTER: f64 = 7.7;
/// Longer names are cut in the legend; the description has them whole.
const LONGEST_KEY: usize = 44;
/// Labels of limits nearer than this would lie on each other: the first one stays.
const LABEL: f64 = 13.0;
const SWATCH: f64 = 28.0;
/// Free space above and below the data, as a part of their span.
const MARGIN: f64 = 0.06;

/// A line that moves by less than this share of the least span of its axis looks flat.
const STILL: f64 = 0.01;

/// One line of a chart.
pub struct Series {
    /// Its name in the legend.
    pub label: String,
    /// Colour and dash, by number.
    pub tone: usize,
    /// Wide and pale: what was asked, beneath what came of it.
    pub asked: bool,
    /// In order of drawing; what is not finite is a gap.
    pub points: Vec<(f64, f64)>,
}

/// A part of the vertical axis that is out of reach, shaded.
pub struct Band {
    /// The reachable side's edge.
    pub edge: f64,
    /// Shaded above the edge, else below it.
    pub above: bool,
    /// What the edge is.
    pub label: String,
}

/// A chart.
pub struct Chart {
    /// What it shows.
    pub title: &'static str,
    /// Name of the horizontal axis, with its unit.
    pub across: &'static str,
    /// Unit of the vertical axis.
    pub unit: &'static str,
    /// The lines.
    pub series: Vec<Series>,
    /// Limits.
    pub bands: Vec<Band>,
    /// The vertical axis shows at least this much, so that noise stays small.
    pub least_span: f64,
    /// The vertical axis shows zero.
    pub with_zero: bool,
    /// Both axes at one scale, with start and end marked: a track seen from above.
    pub track: bool,
}

impl Chart {
    /// The chart as an `svg` element whose title and description carry `id`.
    pub fn svg(&self, id: &str) -> Markup {
        let (legend, rows) = self.legend();
        let frame = self.frame(8.0 + LEGEND_ROW * (rows + 1) as f64);
        let across = ticks(frame.x.start, frame.x.end, 6);
        let up = ticks(frame.y.start, frame.y.end, if self.track { 6 } else { 5 });
        html! {
            svg.chart viewBox=(format!("0 0 {WIDTH} {}", frame.bottom() + BELOW)) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
                title id=(format!("{id}-t")) { (self.title) }
                desc id=(format!("{id}-d")) { (self.describe()) }
                (self.axes(&frame, &across, &up))
                (self.bands(&frame))
                @for series in &self.series { (self.line(series, &frame)) }
                (legend)
            }
        }
    }

    /// The one value that every line keeps to, as near as its axis would show: such a chart says no more
    /// than a sentence does. `None` where something moves, or limits are drawn to compare with.
    pub fn still_at(&self) -> Option<f64> {
        let mut values = self.series.iter().flat_map(|series| &series.points).map(|point| point.1);
        let first = values.next()?;
        let still = |value: f64| (value - first).abs() <= STILL * self.least_span;
        (!self.track && self.bands.is_empty() && first.abs() < DRAWABLE && values.all(still)).then_some(first)
    }

    pub(super) fn frame(&self, top: f64) -> Plane {
        let points = || self.series.iter().flat_map(|series| &series.points).filter(|point| drawable(point));
        let edges = self.bands.iter().map(|band| band.edge).filter(|edge| edge.abs() < DRAWABLE);
        let x = span(points().map(|point| point.0), if self.track { self.least_span } else { 1e-3 });
        let y = span(points().map(|point| point.1).chain(edges).chain(self.with_zero.then_some(0.0)), self.least_span);
        if !self.track {
            let y = widened(&y, (y.end - y.start) * (1.0 + 2.0 * MARGIN));
            return Plane { x, y, left: LEFT, top, width: WIDTH - LEFT - RIGHT, height: HEIGHT };
        }
        let per_unit =
            ((x.end - x.start) / (WIDTH - LEFT - RIGHT)).max((y.end - y.start) / SQUARE) * (1.0 + 2.0 * MARGIN);
        let x = widened(&x, per_unit * (WIDTH - LEFT - RIGHT));
        Plane { x, y: widened(&y, per_unit * SQUARE), left: LEFT, top, width: WIDTH - LEFT - RIGHT, height: SQUARE }
    }

    fn bands(&self, frame: &Plane) -> Markup {
        let mut labelled: Vec<f64> = Vec::new();
        let seen = self.bands.iter().filter(|band| frame.y.contains(&band.edge)).map(|band| {
            let edge = frame.down_to(band.edge);
            let (from, to, label) =
                if band.above { (frame.top, edge, edge + 13.0) } else { (edge, frame.bottom(), edge - 4.0) };
            let free = labelled.iter().all(|other| (other - label).abs() >= LABEL);
            labelled.extend(free.then_some(label));
            (band, from, to, free.then_some(label))
        });
        html! {
            @for (band, from, to, label) in seen {
                rect.band x=(px(LEFT)) y=(px(from)) width=(px(WIDTH - LEFT - RIGHT)) height=(px(to - from)) {}
                path.edge d=(frame.horizontal(band.edge)) {}
                @if let Some(y) = label { text.note x=(px(WIDTH - RIGHT - 4.0)) y=(px(y)) text-anchor="end" { (band.label) } }
            }
        }
    }

    fn axes(&self, frame: &Plane, across: &Ticks, up: &Ticks) -> Markup {
        html! {
            @for (&value, label) in up.values.iter().zip(&up.labels) {
                @let y = frame.down_to(value);
                path.(if value == 0.0 { "zero" } else { "grid" }) d=(frame.horizontal(value)) {}
                text.tick x=(px(LEFT - 6.0)) y=(px(y + 4.0)) text-anchor="end" { (label) }
            }
            @for (&value, label) in across.values.iter().zip(&across.labels) {
                @let x = frame.right_of(value);
                path.grid d=(frame.vertical(value)) {}
                text.tick x=(px(x)) y=(px(frame.bottom() + 15.0)) text-anchor="middle" { (label) }
            }
            text.tick x=(px(if self.track { 2.0 } else { LEFT - 6.0 })) y=(px(frame.top - 8.0)) text-anchor=(if self.track { "start" } else { "end" }) { (self.unit) }
            text.tick x=(px(WIDTH - RIGHT)) y=(px(frame.bottom() + 30.0)) text-anchor="end" { (self.across) }
        }
    }

    fn line(&self, series: &Series, frame: &Plane) -> Markup {
        let place = |&(x, y): &(f64, f64)| (frame.right_of(x), frame.down_to(y));
        let mut seen = series.points.iter().filter(|point| drawable(point)).map(place);
        let (first, last) = (seen.next(), seen.next_back());
        let runs = series.points.split(|point| !drawable(point)).filter(|run| !run.is_empty());
        let d = runs.fold(String::new(), |mut d, run| {
            let placed: Vec<_> = run.iter().map(place).collect();
            let kept = if self.track { spaced(&placed) } else { thinned(&placed) };
            trace(&mut d, &straightened(&kept));
            d
        });
        html! {
            path class=(class(series)) d=(d) {}
            @if let (true, Some((x, y))) = (self.track, first) { circle.start cx=(px(x)) cy=(px(y)) r="5" {} }
            @if let (true, Some((x, y))) = (self.track, last) { rect.end x=(px(x - 4.0)) y=(px(y - 4.0)) width="8" height="8" {} }
        }
    }

    fn legend(&self) -> (Markup, usize) {
        if self.series.len() == 1 && !self.track {
            // The title names a line that is alone.
            return (html! {}, 0);
        }
        let (mut x, mut row) = (LEFT, 0);
        let mut entries: Vec<(f64, f64, String, String)> = Vec::new();
        let marks = if self.track { &[("start", "start"), ("end", "end")][..] } else { &[] };
        let named = self.series.iter().map(|s| (s.label.as_str(), class(s)));
        for (label, class) in named.chain(marks.iter().map(|&(label, class)| (label, class.to_owned()))) {
            let label = cut(label);
            let width = SWATCH + label.chars().count() as f64 * CHARACTER + 12.0;
            if x > LEFT && x + width > WIDTH {
                (x, row) = (LEFT, row + 1);
            }
            entries.push((x, LEGEND_ROW * row as f64 + 10.0, label, class));
            x += width;
        }
        let markup = html! {
            @for (x, y, label, class) in entries {
                @match class.as_str() {
                    "start" => circle.start cx=(px(x + 16.0)) cy=(px(y)) r="5" {},
                    "end" => rect.end x=(px(x + 12.0)) y=(px(y - 4.0)) width="8" height="8" {},
                    _ => path class=(class) d=(format!("M{} {}h22", px(x), px(y))) {},
                }
                text.key x=(px(x + SWATCH)) y=(px(y + 4.0)) { (label) }
            }
        };
        (markup, row + 1)
    }

    /// The chart in words, for those who do not see it.
    fn describe(&self) -> String {
        let mut words = format!("Vertical axis in {}, horizontal axis {}.", self.unit, self.across);
        for series in &self.series {
            let values = || series.points.iter().filter(|point| drawable(point)).map(|point| point.1);
            let _ = match (values().reduce(f64::min), values().reduce(f64::max), values().next_back()) {
                (Some(low), Some(high), Some(last)) => {
                    // What the axis could not show is no figure worth saying.
                    let seen = |value: f64| if value.abs() < 1e-3 * self.least_span { 0.0 } else { value };
                    let [low, high, last] = [low, high, last].map(|value| figure(seen(value), 3));
                    write!(words, " {}: from {low} to {high}, at the end {last}.", series.label)
                }
                _ => write!(words, " {}: nothing that can be drawn.", series.label),
            };
        }
        self.bands.iter().for_each(|band| _ = write!(words, " Limit: {}.", band.label));
        words
    }
}

fn cut(label: &str) -> String {
    match label.char_indices().nth(LONGEST_KEY) {
        Some((end, _)) => format!("{}…", &label[..end]),
        None => label.to_owned(),
    }
}

fn class(series: &Series) -> String {
    let round = if series.tone >= TONES { " again" } else { "" };
    let asked = if series.asked { " asked" } else { "" };
    format!("line s{}{round}{asked}", series.tone % TONES)
}

fn drawable(point: &(f64, f64)) -> bool {
    point.0.abs() < DRAWABLE && point.1.abs() < DRAWABLE
}

fn span(values: impl Iterator<Item = f64>, least: f64) -> Range<f64> {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if low > high {
        return 0.0..least;
    }
    // Never so narrow that the axis runs out of digits.
    let least = least.max(1e-6 * low.abs().max(high.abs()));
    widened(&(low..high), least.max(high - low))
}

fn widened(range: &Range<f64>, span: f64) -> Range<f64> {
    let middle = range.start + (range.end - range.start) / 2.0;
    middle - span / 2.0..middle + span / 2.0
}
