//! Every demand of the flights by its control margin, a line a flight: right of the bar it was met, left of it it was cut.
//!
//! A polygon holds at one thrust and one yaw torque and says nothing of a demand at another. The margin of a demand is
//! taken at its own, with the ceilings and rotors of its moment, so that every mark stands on the side where it belongs.

use std::collections::BTreeSet;

use maud::{Markup, html};

use super::chart::DRAWABLE;
use super::figures::{figure, with_unit};
use super::flight_page::typeset;
use super::marks::{LEGEND_ROW, said};
use super::thin::px;
use super::ticks::ticks;
use crate::saturation::Flown;

const WIDTH: f64 = 440.0;
const LEFT: f64 = 12.0;
const RIGHT: f64 = 14.0;
/// Two rows of legend and the note on hover.
const TOP: f64 = 2.0 * LEGEND_ROW + 24.0;
/// A flight's words and, below them, its marks.
const ROW: f64 = 34.0;
const MARKS_DOWN: f64 = 24.0;
const BELOW: f64 = 40.0;
/// Half the bar between met and cut; marks keep clear of it.
const BAR: f64 = 2.0;
const DOT: f64 = 1.8;
const CROSS: f64 = 3.0;
/// Marks of one kind nearer to each other than this are drawn once.
const CELL: f64 = 2.5;
/// The side of the cut is at least this part of the other, so that there is room for its name, and at most as wide.
const CUT_SIDE_MIN: f64 = 0.3;

/// The chart of all flights.
pub struct MarginChart<'a> {
    /// Their demands; flights that never left the ground have no line.
    pub flights: Vec<&'a Flown>,
    /// Control margin of level hover, newton metres.
    pub hover_nm: f64,
    /// Where on the page values stand.
    scale: Scale,
}

/// Newton metres to units of the drawing, on either side of the bar.
struct Scale {
    zero: f64,
    per_nm: f64,
    /// The ends, newton metres.
    cut_nm: f64,
    met_nm: f64,
}

impl Scale {
    fn of(flights: &[&Flown], hover_nm: f64) -> Self {
        let drawable = |nm: &&f64| nm.abs() < DRAWABLE;
        let met = flights.iter().flat_map(|flown| &flown.met_nm).filter(drawable);
        let most = met.chain([&hover_nm].into_iter().filter(drawable)).fold(0.0, |most: f64, nm| most.max(*nm));
        let cut = flights.iter().flat_map(|flown| &flown.cut_nm).filter(drawable);
        let missing = cut.fold(0.0, |most: f64, nm| most.max(-nm));
        let met_nm = match (most > 0.0, missing > 0.0) {
            (true, _) => most,
            (false, true) => missing,
            (false, false) => 1.0,
        };
        let cut_nm = missing.max(CUT_SIDE_MIN * met_nm).min(met_nm);
        let room = WIDTH - LEFT - RIGHT - 2.0 * BAR - DOT - 2.0 * CROSS;
        let per_nm = room / (met_nm + cut_nm);
        Scale { zero: LEFT + 2.0 * CROSS + cut_nm * per_nm + BAR, per_nm, cut_nm, met_nm }
    }

    /// The middle of a dot.
    fn met(&self, nm: f64) -> f64 {
        self.zero + BAR + DOT + nm * self.per_nm
    }

    /// The middle of a cross.
    fn cut(&self, nm: f64) -> f64 {
        self.zero - BAR - CROSS + nm * self.per_nm
    }

    fn at(&self, nm: f64) -> f64 {
        if nm > 0.0 {
            self.met(nm)
        } else if nm < 0.0 {
            self.cut(nm)
        } else {
            self.zero
        }
    }

    fn shows(&self, nm: f64) -> bool {
        -self.cut_nm <= nm && nm <= self.met_nm
    }
}

impl<'a> MarginChart<'a> {
    /// The chart of these flights, those that were off the ground.
    pub fn of(flights: &'a [Flown], hover_nm: f64) -> Self {
        let flights: Vec<&Flown> =
            flights.iter().filter(|one| !(one.met_nm.is_empty() && one.cut_nm.is_empty())).collect();
        let scale = Scale::of(&flights, hover_nm);
        MarginChart { flights, hover_nm, scale }
    }

    /// The chart as an `svg` element whose title and description carry `id`.
    pub fn svg(&self, id: &str) -> Markup {
        let bottom = TOP + ROW * self.flights.len() as f64;
        html! {
            svg.chart viewBox=(format!("0 0 {WIDTH} {}", px(bottom + BELOW))) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
                title id=(format!("{id}-t")) { "Control margin of every demand" }
                desc id=(format!("{id}-d")) { (self.describe()) }
                (legend())
                rect.band x=(px(LEFT)) y=(px(TOP)) width=(px(self.scale.zero - LEFT)) height=(px(bottom - TOP)) {}
                (self.axis(bottom))
                @for (flown, k) in self.flights.iter().zip(0u16..) { (self.line(flown, TOP + ROW * f64::from(k))) }
                rect.boundary x=(px(self.scale.zero - BAR)) y=(px(TOP)) width=(px(2.0 * BAR)) height=(px(bottom - TOP)) {}
            }
        }
    }

    fn axis(&self, bottom: f64) -> Markup {
        let Scale { zero, cut_nm, met_nm, .. } = self.scale;
        let ticks = ticks(-cut_nm, met_nm, 6);
        let upright = |x: f64| format!("M{} {}V{}", px(x), px(TOP), px(bottom));
        html! {
            @for (&value, label) in ticks.values.iter().zip(&ticks.labels) {
                @let x = self.scale.at(value);
                @if value != 0.0 { path.grid d=(upright(x)) {} }
                text.tick x=(px(x)) y=(px(bottom + 15.0)) text-anchor="middle" { (label) }
            }
            @if self.scale.shows(self.hover_nm) && self.hover_nm > 0.0 {
                @let x = self.scale.at(self.hover_nm);
                path.half d=(upright(x)) {}
                (said(x, TOP - 5.0, "end", "level hover"))
            }
            text.tick x=(px(zero - BAR - 4.0)) y=(px(bottom + 32.0)) text-anchor="end" { "missing" }
            text.tick x=(px(zero + BAR + 4.0)) y=(px(bottom + 32.0)) { "torque to spare, N·m" }
        }
    }

    fn line(&self, flown: &Flown, top: f64) -> Markup {
        let y = top + MARKS_DOWN;
        let beyond = flown.cut_nm.iter().any(|nm| !self.scale.shows(*nm));
        html! {
            path.grid d=(format!("M{} {}H{}", px(LEFT), px(top), px(WIDTH - RIGHT))) {}
            g.marks {
                @for x in spots(&flown.met_nm, &self.scale, Scale::met) { circle.met cx=(px(x)) cy=(px(y)) r=(px(DOT)) {} }
                @for x in spots(&flown.cut_nm, &self.scale, Scale::cut) {
                    path.cut d=(format!("M{} {}l6 6m0 -6l-6 6", px(x - CROSS), px(y - CROSS))) {}
                }
                @if beyond { path.cut d=(format!("M{} {}l-5 5l5 5", px(LEFT), px(y - 5.0))) {} }
            }
            (said(LEFT + 2.0, top + 13.0, "start", flown.title))
            (said(WIDTH - RIGHT, top + 13.0, "end", &counted(flown)))
        }
    }

    /// The chart in words, for those who do not see it.
    fn describe(&self) -> String {
        let mut words = "A line for each flight; torque to spare to the right, torque missing to the left.".to_owned();
        for flown in &self.flights {
            let least = flown.met_nm.iter().copied().reduce(f64::min);
            let least = least.map_or(String::new(), |nm| format!(", least to spare {} N·m", figure(nm, 3)));
            words += &format!(" {}: {} met{least}; {}.", flown.title, flown.met_nm.len(), counted(flown));
        }
        words
    }
}

/// "37 of 1201 cut, by up to 0.467 N·m", or "none cut".
fn counted(flown: &Flown) -> String {
    let all = flown.met_nm.len() + flown.cut_nm.len() + flown.unplaced;
    let cut = flown.cut_nm.len() + flown.unplaced;
    if cut == 0 {
        return "none cut".to_owned();
    }
    let farthest = flown.cut_nm.iter().copied().filter(|nm| nm.is_finite()).reduce(f64::min);
    let by = farthest.map_or(String::new(), |nm| format!(", by up to {}", with_unit(&typeset(&figure(-nm, 2)), "N·m")));
    format!("{cut} of {all} cut{by}")
}

fn legend() -> Markup {
    let (dot, cross) = (10.0, 160.0);
    let second = 10.0 + LEGEND_ROW;
    html! {
        circle.met cx=(px(dot)) cy="10" r="2.5" {}
        text.key x=(px(dot + 10.0)) y="14" { "demand met in full" }
        path.cut d=(format!("M{} 7l6 6m0 -6l-6 6", px(cross - 3.0))) {}
        text.key x=(px(cross + 10.0)) y="14" { "demand cut" }
        path.cut d="M273 5l-5 5l5 5" {}
        text.key x="282" y="14" { "cut, further out" }
        rect.boundary x=(px(dot - BAR)) y=(px(second - 6.0)) width=(px(2.0 * BAR)) height="12" {}
        text.key x=(px(dot + 10.0)) y=(px(second + 4.0)) { "all that the rotors can give" }
    }
}

/// Where marks stand that can be drawn, one a cell.
fn spots(margins_nm: &[f64], scale: &Scale, place: fn(&Scale, f64) -> f64) -> Vec<f64> {
    let mut taken = BTreeSet::new();
    let shown = margins_nm.iter().filter(|nm| scale.shows(**nm)).map(|nm| place(scale, *nm));
    shown.filter(|x| taken.insert((x / CELL) as i64)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flown(met_nm: &[f64], cut_nm: &[f64]) -> Flown {
        Flown { id: "a", title: "A flight", met_nm: met_nm.to_vec(), cut_nm: cut_nm.to_vec(), unplaced: 0 }
    }

    fn drawn(flights: &[Flown]) -> String {
        MarginChart::of(flights, 0.2).svg("m").into_string()
    }

    fn lines(svg: &str) -> Vec<(usize, usize)> {
        let lines = svg.split("<g class=\"marks\">").skip(1).map(|line| line.split("</g>").next().unwrap());
        lines.map(|line| (line.matches("class=\"met\"").count(), line.matches("class=\"cut\"").count())).collect()
    }

    #[test]
    fn draws_each_kind_on_its_line_and_equal_ones_once() {
        let flights = [flown(&[0.1; 500], &[]), flown(&[0.1, 0.2], &[-0.05, -0.1])];
        assert_eq!(lines(&drawn(&flights)), [(1, 0), (2, 2)]);
    }

    #[test]
    fn says_how_far_demands_lie_beyond_the_frame_and_draws_one_arrow_for_them() {
        let svg = drawn(&[flown(&[0.1], &[-40.0, f64::NEG_INFINITY, -12.0])]);
        assert_eq!(lines(&svg), [(1, 1)]);
        assert!(svg.contains("3 of 4 cut, by up to 40 N·m"), "{svg}");
    }

    #[test]
    fn leaves_out_a_flight_that_stayed_on_the_ground() {
        assert_eq!(lines(&drawn(&[flown(&[], &[]), flown(&[0.1], &[])])).len(), 1);
    }

    #[test]
    fn draws_numbers_alone_when_margins_are_bad() {
        let svg = drawn(&[flown(&[f64::INFINITY, 0.0], &[f64::NEG_INFINITY])]);
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        assert!(!drawn(&[]).contains("NaN"));
    }
}
