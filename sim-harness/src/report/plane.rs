//! Where the values of a drawing stand on it.

use std::ops::Range;

use super::thin::{px, straightened, trace};

/// A rectangle of the drawing and the values along its sides; values rise to the right and upwards.
pub struct Plane {
    /// Values across.
    pub x: Range<f64>,
    /// Values upwards.
    pub y: Range<f64>,
    /// The rectangle's left side, in units of the drawing.
    pub left: f64,
    /// Its top.
    pub top: f64,
    /// Its width.
    pub width: f64,
    /// Its height.
    pub height: f64,
}

impl Plane {
    /// Where a value across stands.
    pub fn right_of(&self, x: f64) -> f64 {
        self.left + (x - self.x.start) / (self.x.end - self.x.start) * self.width
    }

    /// Where a value upwards stands.
    pub fn down_to(&self, y: f64) -> f64 {
        self.top + (self.y.end - y) / (self.y.end - self.y.start) * self.height
    }

    /// Where a point stands.
    pub fn place(&self, [x, y]: [f64; 2]) -> (f64, f64) {
        (self.right_of(x), self.down_to(y))
    }

    /// Its right side.
    pub fn right(&self) -> f64 {
        self.left + self.width
    }

    /// Its bottom.
    pub fn bottom(&self) -> f64 {
        self.top + self.height
    }

    /// Whether a point lies on it, its sides included.
    pub fn holds(&self, [x, y]: [f64; 2]) -> bool {
        self.x.start <= x && x <= self.x.end && self.y.start <= y && y <= self.y.end
    }

    /// A path through points, cut off at the sides; a point that is no number is a gap.
    pub fn path(&self, points: impl IntoIterator<Item = [f64; 2]>) -> String {
        let (mut d, mut run, mut before) = (String::new(), Vec::new(), None);
        for point in points {
            if !point.iter().all(|value| value.is_finite()) {
                trace(&mut d, &straightened(&std::mem::take(&mut run)));
                before = None;
                continue;
            }
            let inside = self.holds(point);
            match before {
                Some(from) if inside && !self.holds(from) => run.push(self.place(self.side(point, from))),
                Some(from) if !inside && self.holds(from) => {
                    run.push(self.place(self.side(from, point)));
                    trace(&mut d, &straightened(&std::mem::take(&mut run)));
                }
                _ => {}
            }
            if inside {
                run.push(self.place(point));
            }
            before = Some(point);
        }
        trace(&mut d, &straightened(&run));
        d
    }

    /// Where the way from a point inside to one outside meets a side.
    fn side(&self, inside: [f64; 2], outside: [f64; 2]) -> [f64; 2] {
        let room = |from: f64, to: f64, side: &Range<f64>| match to - from {
            way if way > 0.0 => (side.end - from) / way,
            way if way < 0.0 => (side.start - from) / way,
            _ => 1.0,
        };
        let share = room(inside[0], outside[0], &self.x).min(room(inside[1], outside[1], &self.y)).clamp(0.0, 1.0);
        std::array::from_fn(|k| inside[k] + share * (outside[k] - inside[k]))
    }

    /// A vertical line from side to side.
    pub fn vertical(&self, x: f64) -> String {
        format!("M{} {}V{}", px(self.right_of(x)), px(self.top), px(self.bottom()))
    }

    /// A horizontal one.
    pub fn horizontal(&self, y: f64) -> String {
        format!("M{} {}H{}", px(self.left), px(self.down_to(y)), px(self.right()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plane() -> Plane {
        Plane { x: 0.0..10.0, y: 0.0..10.0, left: 0.0, top: 0.0, width: 100.0, height: 100.0 }
    }

    #[test]
    fn cuts_a_line_at_its_sides_and_goes_on_where_it_comes_back() {
        let d = plane().path([[2.0, 5.0], [2.0, 15.0], [4.0, 15.0], [4.0, 5.0]]);
        assert_eq!(d, "M20 50 20 0M40 0 40 50");
    }

    #[test]
    fn leaves_a_gap_when_a_point_is_no_number() {
        let d = plane().path([[1.0, 1.0], [2.0, 1.0], [f64::NAN, 1.0], [f64::INFINITY, 1.0], [5.0, 1.0], [6.0, 1.0]]);
        assert_eq!(d, "M10 90 20 90M50 90 60 90");
    }
}
