//! The attainable set of one craft as inequalities: cuts through it, margins, and what is left of it when
//! one axis is let go.
//!
//! Everything is exact but for rounding: polygons come from clipping by the facets, letting an axis go
//! is Fourier-Motzkin elimination.
//!
//! * Source: docs/saturation.md; elimination: A. Schrijver, Theory of Linear and Integer Programming,
//!   1986, 12.2 (from memory)

use evenkeel_mixer::{Axis, Wrench};

use crate::onboard::CraftMixer;

/// A component this small against the largest of its normal counts as none.
const SLOPE_TOL: f64 = 1.0e-12;
/// Corners nearer than this share of the polygon's extent are one.
const CORNER_TOL: f64 = 1.0e-9;
/// Slack below this share of a bound counts as touching it.
pub const TOUCH_TOL: f64 = 1.0e-9;

/// `normal · w ≤ bound`, `w` in newtons and newton metres.
#[derive(Clone, Copy, Debug)]
struct Bound {
    normal: [f64; 4],
    bound: f64,
}

/// The attainable set of a craft with the limits of one moment.
#[derive(Clone, Debug)]
pub struct Attainable {
    bounds: Vec<Bound>,
    /// No wrench of the set is larger than this in any axis.
    farthest: [f64; 4],
}

/// Interval of an axis, newtons or newton metres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl Attainable {
    /// Reads the facets of a mixer.
    pub fn of(mixer: &CraftMixer<f64>) -> Self {
        let bounds = mixer.half_spaces().map(|face| Bound { normal: face.normal, bound: face.bound });
        let mut farthest = [0.0; 4];
        for (column, (_, ceiling_n)) in mixer.columns().zip(mixer.limits_n()) {
            farthest.iter_mut().zip(column).for_each(|(sum, share)| *sum += share.abs() * ceiling_n);
        }
        Attainable { bounds: bounds.collect(), farthest }
    }

    /// The most that the rotors add up to in each axis if all of them push the same way, newtons and newton metres.
    pub fn reach(&self) -> [f64; 4] {
        self.farthest
    }

    /// The largest of these that is a torque.
    pub fn torque_reach_nm(&self) -> f64 {
        let [_, roll, pitch, yaw] = self.farthest;
        roll.max(pitch).max(yaw)
    }

    /// The set seen without yaw: a wrench is in it when some yaw torque, whatever it is, goes with it.
    pub fn with_yaw_let_go(&self) -> Self {
        let yaw = Axis::Yaw.index();
        let largest = |bound: &Bound| bound.normal.iter().fold(0.0, |most: f64, n| most.max(n.abs()));
        let sense = |bound: &Bound| {
            if bound.normal[yaw].abs() <= SLOPE_TOL * largest(bound) { 0.0 } else { bound.normal[yaw].signum() }
        };
        let of_sense = |wanted: f64| self.bounds.iter().filter(move |bound| sense(bound) == wanted);
        let mut bounds: Vec<Bound> = of_sense(0.0).copied().collect();
        for up in of_sense(1.0) {
            for down in of_sense(-1.0) {
                let (a, b) = (-down.normal[yaw], up.normal[yaw]);
                let mut normal: [f64; 4] = std::array::from_fn(|k| a * up.normal[k] + b * down.normal[k]);
                normal[yaw] = 0.0;
                let terms = a * largest(up) + b * largest(down);
                // Two sides of one slab cancel: what is left is rounding and bounds nothing.
                if normal.iter().any(|n| n.abs() > SLOPE_TOL * terms) {
                    bounds.push(Bound { normal, bound: a * up.bound + b * down.bound });
                }
            }
        }
        Attainable { bounds, farthest: self.farthest }
    }

    /// The interval that the line through `from` along `axis` spends inside the set; `None` where it
    /// passes the set by.
    pub fn interval(&self, from: Wrench<f64>, axis: Axis) -> Option<Interval> {
        let axis = axis.index();
        let mut from = from.to_array();
        from[axis] = 0.0;
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        for Bound { normal, bound } in &self.bounds {
            let slack = bound - dot(normal, &from);
            let slope = normal[axis];
            if slope == 0.0 {
                if slack < -TOUCH_TOL * terms(normal, &from, *bound) {
                    return None;
                }
            } else if slope > 0.0 {
                high = high.min(slack / slope);
            } else {
                low = low.max(slack / slope);
            }
        }
        let rounding = TOUCH_TOL * low.abs().max(high.abs());
        (low <= high + rounding && low.is_finite() && high.is_finite()).then_some(Interval { low, high })
    }

    /// The polygon that the set leaves in the plane of two axes, the other two held as `at` says:
    /// corners anticlockwise, first axis across. Empty where the plane passes the set by.
    pub fn polygon(&self, at: Wrench<f64>, across: Axis, up: Axis) -> Vec<[f64; 2]> {
        let (x, y) = (across.index(), up.index());
        let mut held = at.to_array();
        (held[x], held[y]) = (0.0, 0.0);
        let [far_x, far_y] = [x, y].map(|axis| 2.0 * self.farthest[axis]);
        let mut corners = vec![[-far_x, -far_y], [far_x, -far_y], [far_x, far_y], [-far_x, far_y]];
        for Bound { normal, bound } in &self.bounds {
            let (slack, rounding) = (bound - dot(normal, &held), TOUCH_TOL * terms(normal, &held, *bound));
            if normal[x] == 0.0 && normal[y] == 0.0 {
                if slack < -rounding {
                    return Vec::new();
                }
                continue;
            }
            corners = clipped(&corners, [normal[x], normal[y]], slack);
        }
        distinct(corners)
    }

    /// Signed distance from a wrench to the nearest facet along roll, pitch and yaw at its thrust, newton
    /// metres: the smallest torque that spends what is left. Negative outside; minus infinity where no
    /// torque at all goes with this thrust.
    pub fn torque_margin_nm(&self, wrench: Wrench<f64>) -> f64 {
        let w = wrench.to_array();
        self.bounds.iter().fold(f64::INFINITY, |least, Bound { normal, bound }| {
            let slack = bound - dot(normal, &w);
            let rounding = TOUCH_TOL * terms(normal, &w, *bound);
            let slack = if slack.abs() <= rounding { 0.0 } else { slack };
            let length = normal[1].hypot(normal[2]).hypot(normal[3]);
            let distance = if length > 0.0 {
                slack / length
            } else if slack < 0.0 {
                f64::NEG_INFINITY
            } else {
                f64::INFINITY
            };
            least.min(distance)
        })
    }
}

fn dot(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The largest sum that rounding could have worked on.
fn terms(normal: &[f64; 4], wrench: &[f64; 4], bound: f64) -> f64 {
    bound.abs() + normal.iter().zip(wrench).map(|(n, w)| (n * w).abs()).sum::<f64>()
}

/// The part of a convex polygon with `normal · corner ≤ slack`.
///
/// * Source: I. E. Sutherland, G. W. Hodgman, Reentrant polygon clipping, CACM 17(1), 1974 (from memory)
fn clipped(corners: &[[f64; 2]], normal: [f64; 2], slack: f64) -> Vec<[f64; 2]> {
    let over = |corner: &[f64; 2]| normal[0] * corner[0] + normal[1] * corner[1] - slack;
    let mut kept = Vec::with_capacity(corners.len() + 1);
    for (k, corner) in corners.iter().enumerate() {
        let next = &corners[(k + 1) % corners.len()];
        let (here, there) = (over(corner), over(next));
        if here <= 0.0 {
            kept.push(*corner);
        }
        if (here < 0.0 && there > 0.0) || (here > 0.0 && there < 0.0) {
            let share = here / (here - there);
            kept.push([corner[0] + share * (next[0] - corner[0]), corner[1] + share * (next[1] - corner[1])]);
        }
    }
    kept
}

/// Without corners that rounding has doubled, and without those on a straight edge.
fn distinct(corners: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    let extent = corners.iter().flatten().fold(0.0, |most: f64, value| most.max(value.abs()));
    let near = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]) <= CORNER_TOL * extent;
    let mut kept: Vec<[f64; 2]> = Vec::new();
    for corner in corners {
        if !kept.last().is_some_and(|last| near(last, &corner)) && !(kept.len() > 1 && near(&kept[0], &corner)) {
            kept.push(corner);
        }
    }
    let count = kept.len();
    let turns = |k: usize| {
        let (a, b, c) = (kept[(k + count - 1) % count], kept[k], kept[(k + 1) % count]);
        let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
        (u[0] * v[1] - u[1] * v[0]).abs() > CORNER_TOL * u[0].hypot(u[1]) * v[0].hypot(v[1])
    };
    if count < 3 { kept } else { (0..count).filter(|k| turns(*k)).map(|k| kept[k]).collect() }
}
