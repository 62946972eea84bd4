//! The Bode picture of one loop cut open: magnitude in decibels and phase in degrees over the logarithm of the
//! frequency, with the margins drawn where they are read off and bars as long as their limits.

use std::ops::Range;

use maud::{Markup, html};

use super::decades::{between_decades, decades};
use super::figures::{figure, figures_of};
use super::marks::{LEGEND_ROW, Mark, legend, said};
use super::plane::Plane;
use super::standing::{Crossover, GainMargin, crossover, gains};
use super::thin::px;
use crate::margins::LoopResponse;
use crate::verdict::Limit;

const WIDTH: f64 = 440.0;
const HEIGHT: f64 = 168.0;
const LEFT: f64 = 50.0;
const RIGHT: f64 = 12.0;
/// Room between the panels, for the name of the lower one's axis.
const GAP: f64 = 26.0;
const BELOW: f64 = 36.0;
/// The axis goes on past half the sample rate by this factor, so that its mark is seen.
const PAST_NYQUIST: f64 = 1.3;
/// What is beyond is cut off, decibels and degrees.
const MAGNITUDE_SHOWN: Range<f64> = -80.0..80.0;
/// Room above 0 dB for the words that stand there.
const LEAST_TOP_DB: f64 = 60.0;
const LOWEST_PHASE_DEG: f64 = -450.0;
/// Below this a loop has a zero, and no phase worth drawing.
const NOTHING_LEFT_DB: f64 = -200.0;
/// Room a note beside a mark takes.
const NOTE: f64 = 76.0;
const GATE: f64 = 4.0;

/// The picture as an `svg` element whose title and description carry `id`.
pub fn bode(one: &LoopResponse, id: &str) -> Markup {
    let (legend, rows) = legend(&entries(one), LEFT, WIDTH);
    let picture = Bode::of(one, 20.0 + LEGEND_ROW * rows as f64);
    let title = format!("Bode picture of the {} {} loop cut open", one.judged.axis, one.judged.name);
    html! {
        svg.chart viewBox=(format!("0 0 {WIDTH} {}", picture.phase.bottom() + BELOW)) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
            title id=(format!("{id}-t")) { (title) }
            desc id=(format!("{id}-d")) { (describe(one)) }
            (picture.axes())
            (picture.gates())
            path.line.s0.magnitude d=(picture.magnitude.path(one.points.iter().map(|point| [point.frequency_hz.log10(), point.magnitude_db]))) {}
            path.line.s0.phase d=(picture.phase.path(one.points.iter().filter(|point| point.magnitude_db > NOTHING_LEFT_DB).map(|point| [point.frequency_hz.log10(), point.phase_deg]))) {}
            (picture.marks())
            (picture.words())
            (legend)
        }
    }
}

struct Bode<'a> {
    one: &'a LoopResponse,
    magnitude: Plane,
    phase: Plane,
    gains: Vec<GainMargin>,
    crossover: Option<Crossover>,
}

fn entries(one: &LoopResponse) -> Vec<(Mark, String)> {
    let limits = &one.judged.limits;
    let least = |limit: Limit| figure(limit.min.unwrap_or(f64::NAN), 3);
    vec![
        (Mark::Line("line s0"), "open loop".to_owned()),
        (Mark::Line("margin"), "margin".to_owned()),
        (Mark::Gate, format!("its limit: {} dB, {} deg", least(limits.gain_margin_db), least(limits.phase_margin_deg))),
    ]
}

impl<'a> Bode<'a> {
    fn of(one: &'a LoopResponse, top: f64) -> Self {
        let first_hz = one.points.first().map_or(1.0, |point| point.frequency_hz);
        let x = first_hz.log10()..(PAST_NYQUIST * one.nyquist_hz).log10();
        let gains = gains(one);
        let crossover = crossover(one);
        let plane = |y: Range<f64>, top: f64| Plane {
            x: x.clone(),
            y,
            left: LEFT,
            top,
            width: WIDTH - LEFT - RIGHT,
            height: HEIGHT,
        };
        let magnitude = plane(magnitude_range(one, &gains), top);
        let phase = plane(phase_range(one, crossover), top + HEIGHT + GAP);
        Bode { one, magnitude, phase, gains, crossover }
    }

    fn axes(&self) -> Markup {
        let hz = [self.magnitude.x.start, self.magnitude.x.end].map(|exponent| 10_f64.powf(exponent));
        let across = decades(hz[0], hz[1]);
        let panels = [(&self.magnitude, 20.0, "magnitude, dB"), (&self.phase, phase_step(&self.phase.y), "phase, deg")];
        html! {
            @for (plane, step, name) in panels {
                @for minor in between_decades(hz[0], hz[1]) { path.minor d=(plane.vertical(minor)) {} }
                @for value in multiples(&plane.y, step) {
                    // The lines that margins are counted from.
                    @let counted = value == 0.0 && std::ptr::eq(plane, &self.magnitude) || value == -180.0 && std::ptr::eq(plane, &self.phase);
                    path.(if counted { "zero" } else { "grid" }) d=(plane.horizontal(value)) {}
                    text.tick x=(px(LEFT - 6.0)) y=(px(plane.down_to(value) + 4.0)) text-anchor="end" { (minus(value)) }
                }
                @for &value in &across.values { path.grid d=(plane.vertical(value)) {} }
                path.half d=(plane.vertical(self.one.nyquist_hz.log10())) {}
                text.tick x="2" y=(px(plane.top - 7.0)) { (name) }
            }
            @for (&value, label) in across.values.iter().zip(&across.labels) {
                text.tick x=(px(self.phase.right_of(value))) y=(px(self.phase.bottom() + 15.0)) text-anchor="middle" { (label) }
            }
            text.tick x=(px(WIDTH - RIGHT)) y=(px(self.phase.bottom() + 30.0)) text-anchor="end" { "frequency, Hz" }
        }
    }

    /// A bar as long as each limit, where the margin is read off: the curve must not enter it.
    fn gates(&self) -> Markup {
        let limits = &self.one.judged.limits;
        let gain_db = limits.gain_margin_db.min.unwrap_or(0.0);
        let phase_deg = limits.phase_margin_deg.min.unwrap_or(0.0);
        let gate = |plane: &Plane, hz: f64, low: f64, high: f64| {
            let (x, top, bottom) = (plane.right_of(hz.log10()), plane.down_to(high), plane.down_to(low));
            let (top, bottom) = (top.max(plane.top), bottom.min(plane.bottom()));
            html! { rect.gate x=(px(x - GATE)) y=(px(top)) width=(px(2.0 * GATE)) height=(px((bottom - top).max(0.0))) {} }
        };
        html! {
            @for one in &self.gains {
                @let (low, high) = if one.up { (-gain_db, 0.0) } else { (0.0, gain_db) };
                (gate(&self.magnitude, one.frequency_hz, low, high))
            }
            @if let Some(Crossover { hz, half_turn_deg, .. }) = self.crossover {
                (gate(&self.phase, hz, half_turn_deg - phase_deg, half_turn_deg + phase_deg))
            }
        }
    }

    fn marks(&self) -> Markup {
        html! {
            @if let Some(Crossover { hz, phase_deg, half_turn_deg }) = self.crossover {
                @let x = self.phase.right_of(hz.log10());
                path.crossing d=(self.magnitude.vertical(hz.log10())) {}
                path.crossing d=(self.phase.vertical(hz.log10())) {}
                path.margin.phase d=(format!("M{} {}V{}", px(x), px(self.phase.down_to(half_turn_deg)), px(self.phase.down_to(phase_deg)))) {}
                (ends(x, self.phase.down_to(half_turn_deg), self.phase.down_to(phase_deg)))
            }
            @for one in &self.gains {
                @let (x, zero, tip) = self.margin_at(one);
                path.crossing d=(format!("M{} {}V{}", px(x), px(self.magnitude.top), px(self.phase.bottom()))) {}
                path.margin.gain d=(format!("M{} {}V{}", px(x), px(zero), px(tip))) {}
                (ends(x, zero, tip))
            }
        }
    }

    /// Across, and down to both ends.
    fn margin_at(&self, one: &GainMargin) -> (f64, f64, f64) {
        let tip_db = if one.up { -one.margin_db } else { one.margin_db };
        let x = self.magnitude.right_of(one.frequency_hz.log10());
        (x, self.magnitude.down_to(0.0), self.magnitude.down_to(tip_db))
    }

    /// All that is said, last: its rim then keeps it readable over every line.
    fn words(&self) -> Markup {
        let judged = &self.one.judged;
        let nyquist = self.magnitude.right_of(self.one.nyquist_hz.log10());
        let half_rate = format!("half the sample rate, {} Hz", figure(self.one.nyquist_hz, 3));
        html! {
            (said(nyquist - 4.0, self.magnitude.top + 27.0, "end", &half_rate))
            @if !judged.stable {
                (said(LEFT + 8.0, self.magnitude.bottom() - 8.0, "start", "✕ unstable as it is: no margins"))
            }
            @if let Some(Crossover { hz, .. }) = self.crossover {
                @let x = self.phase.right_of(hz.log10());
                (note(x, self.magnitude.top + 12.0, &format!("crossover {} Hz", figure(hz, 3))))
                (note(x, self.phase.top + 12.0, &words("phase margin", judged.phase_margin_deg, "deg", judged.limits.phase_margin_deg)))
            }
            @for one in &self.gains {
                @let (x, zero, _) = self.margin_at(one);
                (self.gain_note(one, x, zero))
            }
        }
    }

    /// Beside its mark, where the curve is not: over 0 dB where the curve is under it, and the other way round.
    fn gain_note(&self, one: &GainMargin, x: f64, zero: f64) -> Markup {
        let limit = self.one.judged.limits.gain_margin_db;
        let figure = words(if one.up { "up" } else { "down" }, one.margin_db, "dB", limit);
        let right = if one.up { x + NOTE < WIDTH - RIGHT } else { x - NOTE < LEFT };
        let (x, anchor) = if right { (x + 8.0, "start") } else { (x - 8.0, "end") };
        let y = if one.up { zero - 19.0 } else { zero + 15.0 };
        html! { (said(x, y, anchor, "gain margin")) (said(x, y + 13.0, anchor, &figure)) }
    }
}

/// A name, a figure, and where it falls short, by how much it should be.
fn words(name: &str, value: f64, unit: &str, limit: Limit) -> String {
    let value_words = figures_of(value, limit).value;
    if limit.holds(value) {
        return format!("{name} {value_words} {unit}");
    }
    format!("✕ {name} {value_words} {unit}, below {}", figure(limit.min.unwrap_or(f64::NAN), 3))
}

fn note(x: f64, y: f64, words: &str) -> Markup {
    let long = words.chars().count() as f64 * 5.8;
    let left = x + long > WIDTH - RIGHT && x - LEFT > WIDTH - RIGHT - x;
    if left { said(x - 5.0, y, "end", words) } else { said(x + 5.0, y, "start", words) }
}

/// Short strokes across both ends of a margin.
fn ends(x: f64, from: f64, to: f64) -> Markup {
    html! { path.margin d=(format!("M{} {}h7M{} {}h7", px(x - 3.5), px(from), px(x - 3.5), px(to))) {} }
}

fn magnitude_range(one: &LoopResponse, gains: &[GainMargin]) -> Range<f64> {
    let values = || one.points.iter().map(|point| point.magnitude_db).filter(|db| db.is_finite());
    let marked = |up: bool| gains.iter().filter(|g| g.up == up).fold(20.0, |most: f64, g| most.max(g.margin_db + 10.0));
    let low = values().fold(0.0, f64::min).max(MAGNITUDE_SHOWN.start).min(-marked(true));
    let high = values().fold(LEAST_TOP_DB, f64::max).min(MAGNITUDE_SHOWN.end).max(marked(false));
    20.0 * (low / 20.0).floor()..20.0 * (high / 20.0).ceil()
}

fn phase_range(one: &LoopResponse, crossover: Option<Crossover>) -> Range<f64> {
    let left = || one.points.iter().filter(|point| point.magnitude_db > NOTHING_LEFT_DB);
    let values = || left().map(|point| point.phase_deg).filter(|deg| deg.is_finite());
    let low = values().fold(-225.0, f64::min).max(LOWEST_PHASE_DEG);
    let high = values().fold(-90.0, f64::max).max(low + 90.0);
    let (low, high) =
        crossover.map_or((low, high), |at| (low.min(at.half_turn_deg - 45.0), high.max(at.half_turn_deg + 45.0)));
    // A step more, for the words above the curve.
    45.0 * (low / 45.0).floor()..45.0 * (high / 45.0).ceil() + 45.0
}

fn phase_step(range: &Range<f64>) -> f64 {
    if range.end - range.start > 315.0 { 90.0 } else { 45.0 }
}

fn multiples(range: &Range<f64>, step: f64) -> Vec<f64> {
    let (first, last) = ((range.start / step).ceil() as i32, (range.end / step).floor() as i32);
    (first..=last).map(|k| f64::from(k) * step).collect()
}

fn minus(value: f64) -> String {
    format!("{value:.0}").replace('-', "−")
}

/// The picture in words, for those who do not see it.
fn describe(one: &LoopResponse) -> String {
    let judged = &one.judged;
    let mut words = format!(
        "Two panels over frequency, logarithmic, to half the sample rate of {} Hz: magnitude in dB, phase in degrees.",
        figure(one.nyquist_hz, 3)
    );
    if !judged.stable {
        return words + " Unstable as it is: no margins.";
    }
    words += &format!(
        " Crossover at {} Hz with a phase margin of {} degrees.",
        figure(judged.crossover_hz, 3),
        figures_of(judged.phase_margin_deg, judged.limits.phase_margin_deg).value
    );
    for gain in gains(one) {
        let way = if gain.up { "up" } else { "down" };
        let value = figures_of(gain.margin_db, judged.limits.gain_margin_db).value;
        words += &format!(" Gain margin {way} {value} dB at {} Hz.", figure(gain.frequency_hz, 3));
    }
    words
}
