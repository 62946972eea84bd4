//! The attainable point nearest to a demand in two axes.
//!
//! Projection on a convex polygon never moves two answers further apart than their demands were.
//!
//! * Source: textbook convex geometry

use crate::cut::{Along, Cut, End, Slabs};
use crate::facets::{Facet, Side, dot};
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::segment::sum;
use crate::wrench::Axis;

/// Nearest point, in units, of the polygon that the slabs cut out of the plane of two axes through
/// `wanted`, and the facet it lies on. None where `wanted` lies inside, or there is no polygon.
///
/// * Math: for every edge that the demand is beyond, its foot on the edge, moved to the edge's end if
///   it lies past it; the nearest of these
pub(crate) fn nearest_in_two_axes<'a, S: Scalar>(
    facets: &'a [Facet<S>],
    wanted: &[S; 4],
    axes: AxisSet,
    rounding: S,
) -> Option<([S; 4], End<'a, S>)> {
    let mut best: Option<(S, [S; 4], End<'a, S>)> = None;
    for facet in facets {
        let normal = axes.of(&facet.normal);
        let square = dot(&normal, &normal);
        if square == S::ZERO {
            continue;
        }
        let offset = dot(&facet.normal, wanted);
        let (beyond, side) = if offset > facet.upper {
            (offset - facet.upper, Side::Upper)
        } else if offset < facet.lower {
            (offset - facet.lower, Side::Lower)
        } else {
            continue;
        };
        let foot = sum(wanted, -(beyond / square), &normal);
        let tangent = across(axes, &normal);
        let mut edge = Cut::unbounded();
        edge.by(Slabs::plain(facets), &foot, Along::Direction(&tangent));
        let past = edge.low - edge.high;
        if !(past * dot(&tangent, &tangent).sqrt() <= rounding && edge.beside <= rounding) {
            continue;
        }
        let along = if past > S::ZERO { S::HALF * (edge.low + edge.high) } else { S::ZERO.limit(edge.low, edge.high) };
        let point = sum(&foot, along, &tangent);
        let away = sum(&point, -S::ONE, wanted);
        let distance = dot(&away, &away);
        if best.as_ref().is_none_or(|best| distance < best.0) {
            best = Some((distance, point, End { facet, side, held: None }));
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
