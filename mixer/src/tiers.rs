//! Tier by tier to the best attainable wrench: the lexicographic optimum in closed form.
//!
//! Each tier takes the best value that the tiers above it leave possible, while the axes below it are
//! still free. "Free" means: only the facets of the axes decided so far count. A tier of one axis is
//! an interval and a clamp; a tier of several axes keeps its direction and is scaled.
//!
//! * Source: docs/allocation.md

use crate::facets::{FacetTable, Run};
use crate::geometry::{Effectiveness, GeometryError};
use crate::plane::Order;
use crate::priority::{AxisSet, Priority};
use crate::scalar::Scalar;
use crate::walk::{Bounds, Made, Walk};
use crate::wrench::Axis;

/// One tier, with the facets that bound it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Tier {
    axes: AxisSet,
    /// Once this tier is decided.
    bounds: Bounds,
    /// The yaw band is drawn before this tier.
    band: Option<YawBand>,
}

/// What the band of yaw torques worth having hangs on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct YawBand {
    /// Of the axes decided before and yaw.
    pub bounds: Bounds,
    /// Whether the bounds let yaw be zero whatever was decided before, with all ceilings at any one share of the
    /// designed ones. So it is on every craft that looks the same from behind as from ahead.
    pub zero_can_be_had: bool,
}

/// The order of work for a craft and a priority order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TierPlan {
    tiers: [Tier; 4],
    len: usize,
    full: Run,
}

impl TierPlan {
    /// Lays out the tiers and adds the facets they need to the table.
    pub const fn new<const N: usize, const F: usize>(
        matrix: &Effectiveness<N>,
        priority: Priority,
        table: &mut FacetTable<F>,
    ) -> Result<Self, GeometryError> {
        const NONE: Tier = Tier { axes: AxisSet::EMPTY, bounds: Bounds::NONE, band: None };
        macro_rules! facets_of {
            ($axes:expr) => {
                match table.run(matrix, $axes) {
                    Ok(run) => run,
                    Err(error) => return Err(error),
                }
            };
        }
        let mut plan = TierPlan { tiers: [NONE; 4], len: 0, full: Run::EMPTY };
        let mut decided = AxisSet::EMPTY;
        let mut banded = false;
        while plan.len < 4 && priority.tier(plan.len as u8).len() > 0 {
            let axes = priority.tier(plan.len as u8);
            let next = decided.union(axes);
            let mut tier = Tier { axes, ..NONE };
            if priority.keep_yaw_sign() && axes.contains(Axis::Thrust) && !next.contains(Axis::Yaw) {
                let facets = facets_of!(decided.with(Axis::Yaw));
                let capped = facets_of!(decided.with(Axis::Yaw).with(Axis::Thrust));
                let bounds = Bounds { facets, capped, banded: Run::EMPTY };
                tier.band =
                    Some(YawBand { bounds, zero_can_be_had: table.never_bind_without(facets, Axis::Yaw, matrix) });
                banded = true;
            }
            tier.bounds.facets = facets_of!(next);
            if banded && !next.contains(Axis::Yaw) {
                tier.bounds.banded = facets_of!(next.with(Axis::Yaw));
            }
            if !next.contains(Axis::Thrust) {
                tier.bounds.capped = facets_of!(next.with(Axis::Thrust));
            }
            plan.tiers[plan.len] = tier;
            plan.len += 1;
            decided = next;
        }
        plan.full = facets_of!(decided);
        Ok(plan)
    }

    /// The order, if it begins with two torques at once and goes on one axis at a time.
    pub fn as_plane(&self) -> Option<Order> {
        let [tier, second, third, _] = &self.tiers;
        let (mut axes, second_axis, third_axis) = (tier.axes.iter(), second.axes.only()?, third.axes.only()?);
        match (axes.next(), axes.next(), axes.next()) {
            // Zero thrust lies on the edge of what can be had: nothing is scaled towards it.
            (Some(one), Some(other), None) if !tier.axes.contains(Axis::Thrust) => Some(Order {
                first: [one, other],
                second: second_axis,
                third: third_axis,
                run: tier.bounds.facets,
                banded: second.band.is_some(),
            }),
            _ => None,
        }
    }

    /// The facets of all four axes.
    pub fn full_run(&self) -> Run {
        self.full
    }

    /// The same as places in the table.
    pub const fn full_bounds(&self) -> (usize, usize) {
        self.full.bounds()
    }

    /// Walks down the tiers to the best attainable wrench, lexicographically; with the rule of yaw's sign where the plan
    /// has it and it is to be kept.
    pub fn attain<S: Scalar, const N: usize>(&self, mut walk: Walk<S, N>, keep_yaw_sign: bool) -> Made<S, N> {
        self.descend(&mut walk, keep_yaw_sign);
        let made = walk.made();
        if walk.has_strayed(&made) { self.attain_another_way(&walk, made, keep_yaw_sign) } else { walk.mended(made) }
    }

    #[cold]
    fn attain_another_way<S: Scalar, const N: usize>(
        &self,
        walk: &Walk<S, N>,
        made: Made<S, N>,
        keep_yaw_sign: bool,
    ) -> Made<S, N> {
        let mut other = walk.another_way();
        self.descend(&mut other, keep_yaw_sign);
        let other_made = other.made();
        if other.is_closer_than(&other_made, walk, &made) { other.mended(other_made) } else { walk.mended(made) }
    }

    fn descend<S: Scalar, const N: usize>(&self, walk: &mut Walk<S, N>, keep_yaw_sign: bool) {
        if walk.meets_the_demand(self.full) {
            return;
        }
        for tier in self.tiers.iter().take(self.len) {
            if let Some(band) = tier.band.as_ref().filter(|_| keep_yaw_sign) {
                walk.draw_yaw_band(band);
            }
            walk.take(tier.axes, &tier.bounds);
        }
    }

    /// The first tier, counted from 0, that `achieved` leaves short by more than `met_tol`.
    pub fn first_short<S: Scalar>(&self, demand: &[S; 4], achieved: &[S; 4], met_tol: &[S; 4]) -> Option<u8> {
        let is_short = |axes: AxisSet| {
            let values = Axis::ALL.iter().zip(demand).zip(achieved).zip(met_tol);
            values
                .into_iter()
                .any(|(((axis, wanted), got), tol)| axes.contains(*axis) && !((*wanted - *got).abs() <= *tol))
        };
        (0_u8..).zip(self.tiers.iter().take(self.len)).find(|(_, tier)| is_short(tier.axes)).map(|(number, _)| number)
    }
}
