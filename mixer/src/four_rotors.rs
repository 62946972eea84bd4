//! Four rotors that all work: the wrench alone says their thrusts, so what a facet leaves is read off
//! four inequalities, floor ≤ thrust ≤ ceiling, without any least squares.
//!
//! * Math: u = B⁻¹·w. A pinned rotor is one equation in the axes that are still open; with two open axes
//!   one equation leaves a line and two a point, with one open axis one equation leaves a point.

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::direct::Direct;
use crate::face::Face;
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::segment::{Segment, sum};
use crate::wrench::Axis;

/// A pinned rotor: its thrusts per unit of the open axes, and what they must still add to its thrust.
#[derive(Clone, Copy, Default)]
struct Equation<S> {
    shares: [S; 2],
    left: S,
}

/// The wrenches, in units, that keep `wrench` in the axes decided and the pinned rotors at their limits.
///
/// None where more than one facet was met or more than two axes are open: those are rare, and read off
/// the rotors that are free.
pub(crate) fn segment<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    direct: &Direct<S, N>,
    units: &[S; 4],
    face: &Face<S, N>,
    decided: AxisSet,
    wrench: &[S; 4],
) -> Option<Segment<S>> {
    let open = AxisSet::ALL.without(decided);
    let mut axes = open.iter();
    let (first, second) = (axes.next()?, axes.next());
    if axes.next().is_some() || face.facets() != 1 {
        return None;
    }
    if second.is_none()
        && let Some(found) = point_on_an_axis(rotors.len(), direct, units, face, first, wrench)
    {
        return Some(found);
    }
    let thrusts = direct.thrusts_in_units(wrench, units);
    let by_first = direct.shares_in_units(first, units);
    let by_second = second.map_or([S::ZERO; N], |axis| direct.shares_in_units(axis, units));

    let mut pinned: Vec<Equation<S>, 4> = Vec::new();
    let mut main = Equation::default();
    let mut square = S::ZERO;
    for (((i, thrust), a), b) in thrusts.iter().enumerate().zip(by_first).zip(by_second).take(rotors.len()) {
        let Some(limit) = face.pinned_thrust(i) else { continue };
        let equation = Equation { shares: [a, b], left: limit - *thrust };
        let size = a * a + b * b;
        if size > square {
            (main, square) = (equation, size);
        }
        // There are four rotors.
        let _ = pinned.push(equation);
    }
    let [a, b] = main.shares;
    let second = second.unwrap_or(first);
    let one_axis = second == first;
    let point = |at| Some(Segment::new(placed(wrench, first, second, at), [S::ZERO; 4]));
    let (at, along) = match (one_axis, pinned.len()) {
        // One open axis: the facet spans it, or says where it stands.
        (true, 1) => ([S::ZERO; 2], [S::ONE, S::ZERO]),
        (false, 2) => ([a * main.left / square, b * main.left / square], [-b, a]),
        (false, 3) => return point(crossing(&main, &pinned)),
        _ => return None,
    };
    let mut segment = Segment::new(placed(wrench, first, second, at), placed(&[S::ZERO; 4], first, second, along));
    let ([x, y], [dx, dy]) = (at, along);
    let shares = thrusts.iter().zip(by_first).zip(by_second);
    for ((i, rotor), ((thrust, a), b)) in rotors.iter().enumerate().zip(shares) {
        if face.is_free(i) {
            segment.keep(*thrust + a * x + b * y, a * dx + b * dy, rotor.floor, rotor.ceiling);
        }
    }
    Some(segment.closed())
}

/// One open axis and two pinned rotors: where the one that this axis moves most stands at its limit.
fn point_on_an_axis<S: Scalar, const N: usize>(
    count: usize,
    direct: &Direct<S, N>,
    units: &[S; 4],
    face: &Face<S, N>,
    axis: Axis,
    wrench: &[S; 4],
) -> Option<Segment<S>> {
    let shares = direct.shares_in_units(axis, units);
    let (mut main, mut largest, mut pinned) = (0, S::ZERO, 0);
    for (i, share) in shares.iter().enumerate().take(count).filter(|(i, _)| !face.is_free(*i)) {
        pinned += 1;
        if share.abs() > largest.abs() {
            (main, largest) = (i, *share);
        }
    }
    if pinned != 2 || largest == S::ZERO {
        return None;
    }
    let left = face.pinned_thrust(main)? - direct.thrust_in_units(main, wrench, units)?;
    Some(Segment::new(placed(wrench, axis, axis, [left / largest, S::ZERO]), [S::ZERO; 4]))
}

/// Where two equations hold: `main` and the one that crosses it most steeply.
fn crossing<S: Scalar>(main: &Equation<S>, all: &[Equation<S>]) -> [S; 2] {
    let [a, b] = main.shares;
    let mut other = Equation::default();
    let mut steepest = S::ZERO;
    for equation in all {
        let [c, d] = equation.shares;
        let determinant = a * d - b * c;
        if determinant.abs() > steepest.abs() {
            (steepest, other) = (determinant, *equation);
        }
    }
    if steepest == S::ZERO {
        return [S::ZERO; 2];
    }
    let ([c, d], inverse) = (other.shares, S::ONE / steepest);
    [(main.left * d - b * other.left) * inverse, (a * other.left - main.left * c) * inverse]
}

/// `wrench` moved by this much in two axes; by the first alone where they are one.
fn placed<S: Scalar>(wrench: &[S; 4], first: Axis, second: Axis, [x, y]: [S; 2]) -> [S; 4] {
    let mut moved = [S::ZERO; 4];
    for (axis, value) in Axis::ALL.iter().zip(&mut moved) {
        if *axis == first {
            *value = x;
        } else if *axis == second {
            *value = y;
        }
    }
    sum(wrench, S::ONE, &moved)
}
