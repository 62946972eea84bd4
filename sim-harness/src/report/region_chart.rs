//! Polygons of what the rotors can reach.

use std::ops::Range;

use maud::{Markup, html};

use super::chart::DRAWABLE;
use super::figures::figure;
use super::plane::Plane;
use super::thin::px;
use super::ticks::ticks;

const WIDTH: f64 = 440.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 56.0;
const RIGHT: f64 = 12.0;
const BELOW: f64 = 38.0;
const LEGEND_ROW: f64 = 17.0;
/// Free space round the polygons, as a part of their span.
const MARGIN: f64 = 0.05;

/// One polygon.
pub struct Region {
    /// Its name in the legend.
    pub label: String,
    /// Corners in order; closed by the drawing.
    pub corners: Vec<[f64; 2]>,
}

/// A chart of polygons.
pub struct RegionChart {
    /// What it shows.
    pub title: &'static str,
    /// Name of the horizontal axis, with its unit.
    pub across: &'static str,
    /// Name of the vertical axis, with its unit.
    pub up: &'static str,
    /// Lines of their own dash and colour, the first the thinnest.
    pub regions: Vec<Region>,
    /// A place with a name: hover.
    pub marked: Option<([f64; 2], &'static str)>,
}

impl RegionChart {
    /// The chart as an `svg` element whose title and description carry `id`.
    pub fn svg(&self, id: &str) -> Markup {
        let rows = self.regions.len().div_ceil(2);
        let frame = self.frame(10.0 + LEGEND_ROW * (rows + 1) as f64);
        let bottom = frame.top + HEIGHT;
        html! {
            svg.chart viewBox=(format!("0 0 {WIDTH} {}", bottom + BELOW)) role="img" aria-labelledby=(format!("{id}-t {id}-d")) {
                title id=(format!("{id}-t")) { (self.title) }
                desc id=(format!("{id}-d")) { (self.describe()) }
                (self.axes(&frame))
                @for (k, region) in self.regions.iter().enumerate() {
                    path class=(format!("region line s{}", k % super::chart::TONES)) d=(outline(region, &frame)) {}
                }
                @if let Some((point, name)) = self.marked {
                    @let (x, y) = frame.place(point);
                    path.mass d=(format!("M{} {}h12m-6 -6v12", px(x - 6.0), px(y))) {}
                    text.said x=(px(x + 8.0)) y=(px(y - 8.0)) { (name) }
                }
                (self.legend())
            }
        }
    }

    fn frame(&self, top: f64) -> Plane {
        let corners = || self.regions.iter().flat_map(|region| &region.corners).filter(|c| drawable(c));
        let (x, y) = (span(corners().map(|c| c[0])), span(corners().map(|c| c[1])));
        Plane { x, y, left: LEFT, top, width: WIDTH - LEFT - RIGHT, height: HEIGHT }
    }

    fn axes(&self, frame: &Plane) -> Markup {
        let (across, up) = (ticks(frame.x.start, frame.x.end, 6), ticks(frame.y.start, frame.y.end, 6));
        let bottom = frame.top + HEIGHT;
        html! {
            @for (&value, label) in up.values.iter().zip(&up.labels) {
                @let y = frame.down_to(value);
                path.(if value == 0.0 { "zero" } else { "grid" }) d=(frame.horizontal(value)) {}
                text.tick x=(px(LEFT - 6.0)) y=(px(y + 4.0)) text-anchor="end" { (label) }
            }
            @for (&value, label) in across.values.iter().zip(&across.labels) {
                @let x = frame.right_of(value);
                path.(if value == 0.0 { "zero" } else { "grid" }) d=(frame.vertical(value)) {}
                text.tick x=(px(x)) y=(px(bottom + 15.0)) text-anchor="middle" { (label) }
            }
            text.tick x="2" y=(px(frame.top - 8.0)) { (self.up) }
            text.tick x=(px(WIDTH - RIGHT)) y=(px(bottom + 31.0)) text-anchor="end" { (self.across) }
        }
    }

    fn legend(&self) -> Markup {
        let column = |k: usize| if k.is_multiple_of(2) { 4.0 } else { WIDTH / 2.0 + 4.0 };
        let row = |k: usize| LEGEND_ROW * (k / 2) as f64 + 10.0;
        html! {
            @for (k, region) in self.regions.iter().enumerate() {
                path class=(format!("line s{}", k % super::chart::TONES)) d=(format!("M{} {}h22", px(column(k)), px(row(k)))) {}
                text.key x=(px(column(k) + 28.0)) y=(px(row(k) + 4.0)) { (region.label) }
            }
        }
    }

    /// The chart in words, for those who do not see it.
    fn describe(&self) -> String {
        let mut words = format!("Vertical axis {}, horizontal axis {}.", self.up, self.across);
        for region in &self.regions {
            let values = |k: usize| region.corners.iter().map(move |corner| corner[k]);
            let ends = |k: usize| (values(k).reduce(f64::min), values(k).reduce(f64::max));
            words += &match (ends(0), ends(1)) {
                ((Some(left), Some(right)), (Some(low), Some(high))) => {
                    let [left, right, low, high] = [left, right, low, high].map(|value| figure(value, 3));
                    format!(" {}: {left} to {right} across, {low} to {high} up.", region.label)
                }
                _ => format!(" {}: out of reach.", region.label),
            };
        }
        words
    }
}

fn outline(region: &Region, frame: &Plane) -> String {
    let mut d = String::new();
    for (k, corner) in region.corners.iter().filter(|c| drawable(c)).enumerate() {
        let (x, y) = frame.place(*corner);
        d += &format!("{}{} {}", if k == 0 { "M" } else { "L" }, px(x), px(y));
    }
    if d.is_empty() { d } else { d + "z" }
}

fn drawable(point: &[f64; 2]) -> bool {
    point.iter().all(|value| value.abs() < DRAWABLE)
}

fn span(values: impl Iterator<Item = f64>) -> Range<f64> {
    let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    if !(low < high) {
        return -1.0..1.0;
    }
    let edge = MARGIN * (high - low);
    low - edge..high + edge
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> RegionChart {
        RegionChart {
            title: "t",
            across: "x",
            up: "y",
            regions: vec![Region {
                label: "one".into(),
                corners: vec![[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]],
            }],
            marked: None,
        }
    }

    #[test]
    fn says_out_of_reach_when_a_polygon_is_empty() {
        let mut chart = square();
        chart.regions[0].corners.clear();
        assert!(chart.svg("a").into_string().contains("one: out of reach"));
    }
}
