//! The attainable set: every wrench the rotors can reach within their limits.
//!
//! With thrusts between floor and ceiling the wrenches of N rotors form a zonotope. Its facets are
//! known in advance: any k − 1 linearly independent columns of the effectiveness matrix, restricted
//! to k axes, span one direction of facet. Opposite facets share their normal, so each direction is
//! kept as a slab, `|n·w − middle| ≤ half width`: whether a wrench lies in it is one comparison.
//!
//! * Math: n is the generalised cross product of the columns; middle = Σ n·bᵢ (hiᵢ + loᵢ)/2,
//!   half width = Σ |n·bᵢ| (hiᵢ − loᵢ)/2
//! * Source: docs/allocation.md; zonotopes: G. M. Ziegler, Lectures on Polytopes, 1995, lecture 7
//!   (from memory)

use crate::geometry::{Effectiveness, GeometryError};
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::scalar::{Scalar, recip_sqrt_f64};
use crate::wrench::Axis;

/// Normals are told apart, and found to be of no length, at this relative tolerance.
pub const NORMAL_TOL: f64 = 1.0e-9;

/// Room of which less than this is missing, as a share of half a slab's width, is there: what rounding leaves.
const ROOM_TOL: f64 = 1.0e-12;

/// A component of a unit normal below this, in units of the machine epsilon, is zero when it flies.
const SLOPE_ULPS: f64 = 8.0;

/// Facet slabs that are enough for `rotors` rotors under every priority order.
///
/// A mixer that keeps to the default order needs at most `rotors + rotors·(rotors − 1) + C(rotors, 3)`.
pub const fn facet_capacity(rotors: usize) -> usize {
    let pairs = rotors * rotors.saturating_sub(1) / 2;
    let triples = pairs * rotors.saturating_sub(2) / 3;
    2 + 2 * rotors + 2 * pairs + triples
}

/// One pair of opposite facets: `|normal·w − middle| ≤ half_width` for every attainable wrench `w`, measured
/// in [`Effectiveness::units`], in which the normal has length one.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Facet<S> {
    pub normal: [S; 4],
    pub middle: S,
    pub half_width: S,
    /// Rotors that span the facet: on it they are free, all others stand at a limit.
    pub free: RotorSet,
    /// Rotors whose thrust moves along the normal: at the ceiling on the upper facet.
    pub rising: RotorSet,
}

/// One of the two facets of a slab.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Side {
    Lower,
    Upper,
}

impl<S: Scalar> Facet<S> {
    /// In the flying scalar. A component that is lost in its rounding is dropped: a line cut would
    /// divide by it.
    pub fn quantised(facet: &Facet<f64>) -> Self {
        let least = SLOPE_ULPS * S::EPSILON.to_f64();
        Facet {
            normal: facet.normal.map(|value| if value.abs() < least { S::ZERO } else { S::from_f64(value) }),
            middle: S::from_f64(facet.middle),
            half_width: S::from_f64(facet.half_width),
            free: facet.free,
            rising: facet.rising,
        }
    }

    /// How far a point lies along the normal from the middle of the slab; inside, no more than half its width.
    #[inline(always)]
    pub fn off_middle(&self, point: &[S; 4]) -> S {
        dot(&self.normal, point) - self.middle
    }

    /// Where the two facets stand along the normal.
    pub fn ends(&self) -> (S, S) {
        (self.middle - self.half_width, self.middle + self.half_width)
    }
}

/// A run of facets in the table: those of one set of axes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Run {
    axes: AxisSet,
    start: u16,
    end: u16,
}

impl Run {
    pub const EMPTY: Run = Run { axes: AxisSet::EMPTY, start: 0, end: 0 };

    pub const fn bounds(self) -> (usize, usize) {
        (self.start as usize, self.end as usize)
    }

    /// The facets of this run; none if the table is shorter than it was when the run was made.
    pub fn of<T>(self, table: &[T]) -> &[T] {
        table.get(usize::from(self.start)..usize::from(self.end)).unwrap_or(&[])
    }
}

/// Sets of axes there are.
const RUNS: usize = 15;

/// The facets of every set of axes a priority order asks for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct FacetTable<const F: usize> {
    facets: [Facet<f64>; F],
    len: usize,
    runs: [Run; RUNS],
    run_count: usize,
}

impl<const F: usize> FacetTable<F> {
    pub const fn new() -> Self {
        const NONE: Facet<f64> =
            Facet { normal: [0.0; 4], middle: 0.0, half_width: 0.0, free: RotorSet::EMPTY, rising: RotorSet::EMPTY };
        FacetTable { facets: [NONE; F], len: 0, runs: [Run::EMPTY; RUNS], run_count: 0 }
    }

    pub const fn facets(&self) -> &[Facet<f64>] {
        self.facets.split_at(self.len).0
    }

    /// The facets, and how many of them there are; what was needed to build them is left behind.
    pub const fn into_parts(self) -> ([Facet<f64>; F], usize) {
        (self.facets, self.len)
    }

    /// The facets of the attainable set seen in these axes alone, computed on first request.
    pub const fn run<const N: usize>(
        &mut self,
        matrix: &Effectiveness<N>,
        axes: AxisSet,
    ) -> Result<Run, GeometryError> {
        let mut known = 0;
        while known < self.run_count {
            if self.runs[known].axes.same(axes) {
                return Ok(self.runs[known]);
            }
            known += 1;
        }
        let units = matrix.units();
        let start = self.len;
        let mut pick = [0, 1, 2];
        let size = axes.len() - 1;
        let mut more = size <= matrix.len();
        while more {
            if let Some(normal) = unit_normal(matrix, units, axes, pick)
                && !self.has_since(start, normal)
            {
                if self.len == F {
                    return Err(GeometryError::TooManyFacets { capacity: F });
                }
                self.facets[self.len] = slab(matrix, units, normal, 1.0);
                self.len += 1;
            }
            more = next_combination(&mut pick, size, matrix.len());
        }
        let run = Run { axes, start: start as u16, end: self.len as u16 };
        self.runs[self.run_count] = run;
        self.run_count += 1;
        Ok(run)
    }

    /// Whether the facets of a run hold for every attainable wrench with `axis` set to zero, with all ceilings at any one
    /// share of the designed ones that leaves each above its floor.
    ///
    /// * Math: the slab that the wrenches fill along the normal without its part in `axis` lies in the facet's slab;
    ///   by how much it stands out is convex in the share, so both ends of the share tell
    pub const fn never_bind_without<const N: usize>(&self, run: Run, axis: Axis, matrix: &Effectiveness<N>) -> bool {
        let shares = [least_share(matrix), 1.0];
        let (mut place, end) = run.bounds();
        while place < end {
            let normal = self.facets[place].normal;
            let mut rest = normal;
            rest[axis.index()] = 0.0;
            let mut i = 0;
            while i < shares.len() {
                let facet = slab(matrix, matrix.units(), normal, shares[i]);
                let filled = slab(matrix, matrix.units(), rest, shares[i]);
                let room = facet.half_width - filled.half_width - (facet.middle - filled.middle).abs();
                if !(room >= -ROOM_TOL * self.facets[place].half_width) {
                    return false;
                }
                i += 1;
            }
            place += 1;
        }
        true
    }

    /// Whether a parallel normal stands in the table from `start` on.
    const fn has_since(&self, start: usize, normal: [f64; 4]) -> bool {
        let mut i = start;
        while i < self.len {
            let other = self.facets[i].normal;
            let (mut apart, mut opposed) = (0.0_f64, 0.0_f64);
            let mut k = 0;
            while k < 4 {
                apart = apart.max((normal[k] - other[k]).abs());
                opposed = opposed.max((normal[k] + other[k]).abs());
                k += 1;
            }
            if apart < NORMAL_TOL || opposed < NORMAL_TOL {
                return true;
            }
            i += 1;
        }
        false
    }
}

/// Unit normal to the picked columns within `axes`, rows scaled; none if they are dependent.
const fn unit_normal<const N: usize>(
    matrix: &Effectiveness<N>,
    units: [f64; 4],
    axes: AxisSet,
    pick: [usize; 3],
) -> Option<[f64; 4]> {
    // Axes left out are spanned by their own unit vectors: the normal then has no part in them, and
    // one generalised cross product of three vectors serves every number of axes.
    let mut spanning = [[0.0; 4]; 3];
    let mut filled = 0;
    while filled + 1 < axes.len() {
        let column = matrix.columns()[pick[filled]];
        let mut k = 0;
        while k < 4 {
            if axes.contains(Axis::ALL[k]) {
                spanning[filled][k] = column[k] / units[k];
            }
            k += 1;
        }
        filled += 1;
    }
    let mut k = 0;
    while k < 4 {
        if !axes.contains(Axis::ALL[k]) {
            spanning[filled][k] = 1.0;
            filled += 1;
        }
        k += 1;
    }
    let mut normal = cross(spanning);
    let square = normal[0] * normal[0] + normal[1] * normal[1] + normal[2] * normal[2] + normal[3] * normal[3];
    let size = length(spanning[0]) * length(spanning[1]) * length(spanning[2]);
    let inverse = recip_sqrt_f64(square);
    if !(square * inverse > NORMAL_TOL * size) {
        return None;
    }
    let mut k = 0;
    while k < 4 {
        normal[k] *= inverse;
        // What is zero in exact arithmetic must be zero here: a line cut divides by it.
        if normal[k].abs() < NORMAL_TOL {
            normal[k] = 0.0;
        }
        k += 1;
    }
    Some(normal)
}

/// The share of the designed ceilings at which the first of them is down at its floor.
const fn least_share<const N: usize>(matrix: &Effectiveness<N>) -> f64 {
    let (mut share, mut i) = (0.0_f64, 0);
    while i < matrix.len() {
        share = share.max(matrix.floors_n()[i] / matrix.ceilings_n()[i]);
        i += 1;
    }
    share
}

/// Where the wrenches end along a normal, with all ceilings at this share of the designed ones.
const fn slab<const N: usize>(matrix: &Effectiveness<N>, units: [f64; 4], normal: [f64; 4], share: f64) -> Facet<f64> {
    let mut facet = Facet { normal, middle: 0.0, half_width: 0.0, free: RotorSet::EMPTY, rising: RotorSet::EMPTY };
    let mut i = 0;
    while i < matrix.len() {
        let (mut reach, mut square) = (0.0, 0.0);
        let mut k = 0;
        while k < 4 {
            let share = matrix.columns()[i][k] / units[k];
            reach += normal[k] * share;
            square += share * share;
            k += 1;
        }
        // What is zero in exact arithmetic must count as zero: such a rotor spans the facet.
        if reach * reach > NORMAL_TOL * NORMAL_TOL * square {
            let (floor, ceiling) = (matrix.floors_n()[i], share * matrix.ceilings_n()[i]);
            facet.middle += 0.5 * reach * (ceiling + floor);
            facet.half_width += 0.5 * reach.abs() * (ceiling - floor);
            if reach > 0.0 {
                facet.rising = facet.rising.with(i);
            }
        } else {
            facet.free = facet.free.with(i);
        }
        i += 1;
    }
    facet
}

const fn length(v: [f64; 4]) -> f64 {
    let square = v[0] * v[0] + v[1] * v[1] + v[2] * v[2] + v[3] * v[3];
    square * recip_sqrt_f64(square)
}

/// The vector at right angles to three others in four dimensions, as long as the volume they span.
const fn cross([u, v, w]: [[f64; 4]; 3]) -> [f64; 4] {
    const fn minor(u: [f64; 4], v: [f64; 4], w: [f64; 4], a: usize, b: usize, c: usize) -> f64 {
        u[a] * (v[b] * w[c] - v[c] * w[b]) - u[b] * (v[a] * w[c] - v[c] * w[a]) + u[c] * (v[a] * w[b] - v[b] * w[a])
    }
    [minor(u, v, w, 1, 2, 3), -minor(u, v, w, 0, 2, 3), minor(u, v, w, 0, 1, 3), -minor(u, v, w, 0, 1, 2)]
}

/// The next `size` indices below `count` in ascending order; `false` after the last.
const fn next_combination(pick: &mut [usize; 3], size: usize, count: usize) -> bool {
    let mut place = size;
    while place > 0 {
        place -= 1;
        if pick[place] + (size - place) < count {
            pick[place] += 1;
            while place + 1 < size {
                pick[place + 1] = pick[place] + 1;
                place += 1;
            }
            return true;
        }
    }
    false
}

pub(crate) fn dot<S: Scalar>(a: &[S; 4], b: &[S; 4]) -> S {
    let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (*a, *b);
    a0 * b0 + a1 * b1 + a2 * b2 + a3 * b3
}

#[cfg(test)]
mod tests;
