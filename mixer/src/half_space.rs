//! The attainable set as inequalities, for whoever draws it or measures it outside of flight.
//!
//! * Source: docs/allocation.md, "Attainable set"

use crate::facets::Facet;
use crate::mixer::{Mixer, product};
use crate::scalar::Scalar;

/// One bound of the attainable set: `normal · [thrust, roll, pitch, yaw] ≤ bound`.
///
/// Newtons and newton metres on the right of the dot; the normal has no particular length.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HalfSpace<S> {
    /// Thrust, roll, pitch, yaw.
    pub normal: [S; 4],
    /// What the product may not exceed.
    pub bound: S,
}

impl<S: Scalar, const N: usize, const F: usize, const P: usize> Mixer<S, N, F, P> {
    /// Every facet of the attainable set in all four axes, with the limits and failures of now. Some may
    /// be touched by no wrench once a rotor has failed; none cuts into the set.
    pub fn half_spaces(&self) -> impl Iterator<Item = HalfSpace<S>> + '_ {
        let both = |facet: &Facet<S>| {
            let (normal, (lower, upper)) = (product(&facet.normal, &self.inverse_units), facet.ends());
            [HalfSpace { normal, bound: upper }, HalfSpace { normal: normal.map(|n| -n), bound: -lower }]
        };
        self.plan.full_run().of(&self.facets).iter().flat_map(both)
    }
}
