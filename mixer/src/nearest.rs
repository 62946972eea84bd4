//! The attainable point nearest to a demand in two axes.
//!
//! Projection on a convex polygon never moves two answers further apart than their demands were.
//!
//! * Source: textbook convex geometry

use crate::cut::{Cut, End, Slabs};
use crate::facets::{Facet, Side, dot};
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::segment::sum;
use crate::wrench::Axis;

/// Nearest point, in units, of the polygon that the slabs cut out of the plane of two axes through
/// `wanted`, and the facet it lies on, which is not the one to be avoided. None where `wanted` lies inside, or there is no polygon.
///
/// * Math: for every edge that the demand is beyond, its foot on the edge, moved to the edge's end if
///   it lies past it; the nearest of these
pub(crate) fn nearest_in_two_axes<'a, S: Scalar>(
    slabs: &[Slabs<'a, S>],
    wanted: &[S; 4],
    axes: AxisSet,
    rounding: S,
    avoided: Option<&Facet<S>>,
) -> Option<([S; 4], End<'a, S>)> {
    let mut best: Option<(S, [S; 4], End<'a, S>)> = None;
    for (slab, facet) in slabs.iter().flat_map(|slab| slab.facets.iter().map(move |facet| (slab, facet))) {
        let normal = axes.of(&facet.normal);
        let square = dot(&normal, &normal);
        if square == S::ZERO {
            continue;
        }
        if avoided.is_some_and(|avoided| core::ptr::eq(facet, avoided)) {
            continue;
        }
        let (down, up) = slab.room(facet, wanted);
        let (beyond, side) = if up < S::ZERO {
            (-up, Side::Upper)
        } else if down > S::ZERO {
            (-down, Side::Lower)
        } else {
            continue;
        };
        let foot = sum(wanted, -(beyond / square), &normal);
        let tangent = across(axes, &normal);
        let mut edge = Cut::unbounded();
        for slab in slabs {
            edge.by(*slab, &foot, &tangent);
        }
        let past = edge.low - edge.high;
        if !(past * dot(&tangent, &tangent).sqrt() <= rounding && edge.beside <= rounding) {
            continue;
        }
        let along = if past > S::ZERO { S::HALF * (edge.low + edge.high) } else { S::ZERO.limit(edge.low, edge.high) };
        if along == S::ZERO {
            // A foot on the polygon is its nearest point. Distances are flat there and lose half the digits: by them
            // the end of another edge might look nearer.
            return Some((foot, slab.end(facet, side)));
        }
        let point = sum(&foot, along, &tangent);
        let away = sum(&point, -S::ONE, wanted);
        let distance = dot(&away, &away);
        if best.as_ref().is_none_or(|best| distance < best.0) {
            best = Some((distance, point, slab.end(facet, side)));
        }
    }
    best.map(|(_, point, end)| (point, end))
}

/// At right angles to `normal` in the plane of two axes.
fn across<S: Scalar>(axes: AxisSet, normal: &[S; 4]) -> [S; 4] {
    let mut tangent = [S::ZERO; 4];
    let mut components = Axis::ALL.iter().zip(normal).filter(|(axis, _)| axes.contains(**axis));
    if let (Some((first, a)), Some((second, b))) = (components.next(), components.next()) {
        for (axis, value) in Axis::ALL.iter().zip(&mut tangent) {
            if axis == first {
                *value = *b;
            } else if axis == second {
                *value = -*a;
            }
        }
    }
    tangent
}
