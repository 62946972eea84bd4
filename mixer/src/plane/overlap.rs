//! Where strips across a plane overlap.
//!
//! * Math: at x, the strips leave of y what lies between the largest of their lower bounds and the smallest of their upper
//!   ones. The gap, lower less upper, is convex and piecewise linear in x. Newton's method from a wanted x finds its nearest
//!   root without passing it
//! * Source: docs/allocation.md, "Four rotors"

use crate::cut::FAR;
use crate::scalar::Scalar;

/// From strip to strip in no more steps than this; what needs more is left to the facets.
const MOST_STEPS: usize = 6;

/// Strips whose slopes differ by less than this, in units of the machine epsilon and of the slopes, are parallel.
const PARALLEL_ULPS: f64 = 64.0;

/// A bound of the last axis and how it moves with the one before.
#[derive(Clone, Copy, PartialEq)]
pub(super) struct Bound<S> {
    pub at: S,
    pub slope: S,
}

/// A strip across two axes: `low ≤ y + slope·x ≤ high`.
#[derive(Clone, Copy, Default)]
pub(super) struct Cut<S> {
    pub slope: S,
    pub low: S,
    pub high: S,
}

impl<S: Scalar> Cut<S> {
    /// The same with the axes in each other's place; none where the strip runs along one of them.
    pub fn across(&self) -> Option<Self> {
        let slope = S::ONE / self.slope;
        if !(slope.abs() <= S::from_f64(FAR)) {
            return None;
        }
        let (a, b) = (self.low * slope, self.high * slope);
        Some(if slope > S::ZERO { Cut { slope, low: a, high: b } } else { Cut { slope, low: b, high: a } })
    }
}

/// Where strips overlap.
pub(super) enum Overlap<S> {
    /// Here, and they leave of y what lies between these.
    At { x: S, low: S, high: S },
    /// For no x.
    Nowhere,
    /// Rounding is all that could tell.
    NotFound,
}

/// The x nearest to `x` at which the strips, and y from one value to another, overlap but for `slack`.
pub(super) fn nearest_overlap<S: Scalar, const N: usize>(
    cuts: &[Cut<S>; N],
    (from, to): (S, S),
    mut x: S,
    slack: S,
) -> Overlap<S> {
    let mut last = S::ZERO;
    for _ in 0..MOST_STEPS {
        let (mut low, mut high) = (Bound { at: from, slope: S::ZERO }, Bound { at: to, slope: S::ZERO });
        for cut in cuts {
            let off = cut.slope * x;
            let (enters, leaves) = (cut.low - off, cut.high - off);
            if enters > low.at {
                low = Bound { at: enters, slope: cut.slope };
            }
            if leaves < high.at {
                high = Bound { at: leaves, slope: cut.slope };
            }
        }
        let gap = low.at - high.at;
        if gap <= S::ZERO {
            return Overlap::At { x, low: low.at, high: high.at };
        }
        if gap <= slack {
            let middle = S::HALF * (low.at + high.at);
            return Overlap::At { x, low: middle, high: middle };
        }
        let turn = high.slope - low.slope;
        if are_parallel(turn, high.slope.abs().larger(low.slope.abs())) {
            return Overlap::NotFound;
        }
        // The gap is convex, and lies above both tangents: it never closes.
        if turn * last < S::ZERO {
            return Overlap::Nowhere;
        }
        x = x - gap / turn;
        last = turn;
    }
    Overlap::NotFound
}

/// Where a line of this slope, which is not zero, enters and leaves what lies between two values.
pub(super) fn over<S: Scalar>(low: S, high: S, slope: S) -> (S, S) {
    let (a, b) = (low / slope, high / slope);
    if slope > S::ZERO { (a, b) } else { (b, a) }
}

/// Whether what is left of two slopes, of which the larger is `steepest`, may be their rounding; in fixed point that does
/// not shrink with them.
pub(super) fn are_parallel<S: Scalar>(difference: S, steepest: S) -> bool {
    let rounding = S::EPSILON * steepest;
    !(difference.abs() > S::from_f64(PARALLEL_ULPS) * rounding.larger(S::SMALLEST))
}

/// Where the two of three lines meet that cross most steeply.
pub(super) fn crossing<S: Scalar>([a, b, c]: [Bound<S>; 3]) -> Option<[S; 2]> {
    let turn = |(one, other): &(Bound<S>, Bound<S>)| (one.slope - other.slope).abs();
    let steeper = |one, other| if turn(&one) >= turn(&other) { one } else { other };
    let (one, other) = steeper(steeper((a, b), (b, c)), (c, a));
    let x = (other.at - one.at) / (one.slope - other.slope);
    (one.slope != other.slope).then_some([x, one.at + one.slope * x])
}
