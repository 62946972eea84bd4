//! What changes in flight: ceilings that sag with the battery, floors, a rotor that has failed.
//!
//! Limits move the facets along their normals and never turn them, so the attainable set follows in
//! one pass over the facets where all ceilings sag together, and in one over facets and rotors where a
//! rotor's own limits change: bounded time, no heap. A failed rotor also takes its share out of the
//! direct product.

use crate::box_least_squares::Bounded;
use crate::facets::dot;
use crate::mixer::{Mixer, product};
use crate::offsets::Offsets;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::wrench::Wrench;

impl<S: Scalar, const N: usize, const F: usize, const P: usize> Mixer<S, N, F, P> {
    /// Ceilings as a share of those the craft was designed with, as battery voltage falls; commands
    /// rise accordingly. Thrust at full command goes with voltage squared, so `share` is (V/V_full)².
    ///
    /// Returns whether the share was taken: it must be above 0 and at most 1, and leave every rotor a
    /// ceiling above its floor. Nothing changes otherwise.
    #[must_use]
    pub fn scale_ceilings(&mut self, share: S) -> bool {
        let sound = share > S::ZERO && share <= S::ONE;
        let leaves_room = |(rotor, (_, rated)): (&Bounded<S>, &(S, S))| rotor.floor < share * *rated;
        if !(sound && self.rotors.iter().zip(&self.rated).all(leaves_room)) {
            return false;
        }
        if share == self.ceiling_share && self.apart == self.failed {
            return true;
        }
        for ((i, rotor), (_, rated)) in self.rotors.iter_mut().enumerate().zip(&self.rated) {
            if !self.failed.contains(i) {
                rotor.ceiling = share * *rated;
            }
        }
        (self.ceiling_share, self.inverse_share) = (share, S::ONE / share);
        if self.apart == self.failed {
            self.place_facets();
        } else {
            self.apart = self.failed;
            self.replan();
        }
        true
    }

    /// Floor and ceiling of one rotor (from 0), newtons, until the next change.
    ///
    /// Returns whether they were taken: the rotor must exist and not have failed, the floor be at
    /// least 0 and below a finite ceiling.
    #[must_use]
    pub fn set_limits(&mut self, rotor: usize, floor_n: S, ceiling_n: S) -> bool {
        let sound = floor_n >= S::ZERO && floor_n < ceiling_n && ceiling_n.is_finite();
        match self.rotors.get_mut(rotor) {
            Some(slot) if sound && !self.failed.contains(rotor) => {
                (slot.floor, slot.ceiling) = (floor_n, ceiling_n);
                self.apart = self.apart.with(rotor);
                self.floors_apart = self.floors_apart.with(rotor);
                self.replan();
                true
            }
            _ => false,
        }
    }

    /// Declares a rotor (from 0) failed: it gives no thrust, and the others share the work. What they
    /// can no longer reach gives way in the usual order. Returns whether there is such a rotor.
    pub fn fail_rotor(&mut self, rotor: usize) -> bool {
        let Some(slot) = self.rotors.get_mut(rotor) else { return false };
        (slot.floor, slot.ceiling) = (S::ZERO, S::ZERO);
        (self.failed, self.apart) = (self.failed.with(rotor), self.apart.with(rotor));
        self.replan();
        self.share_out();
        true
    }

    /// Puts a rotor (from 0) that was declared failed back to work, with its floor as designed and its
    /// ceiling as [`Mixer::scale_ceilings`] left those of the others. Returns whether it had failed.
    pub fn restore_rotor(&mut self, rotor: usize) -> bool {
        if !self.failed.contains(rotor) {
            return false;
        }
        let (Some(slot), Some((floor, ceiling))) = (self.rotors.get_mut(rotor), self.rated.get(rotor)) else {
            return false;
        };
        (slot.floor, slot.ceiling) = (*floor, self.ceiling_share * *ceiling);
        (self.failed, self.apart) = (self.failed.without(rotor), self.apart.without(rotor));
        self.floors_apart = self.floors_apart.without(rotor);
        self.replan();
        self.share_out();
        true
    }

    /// Whether yaw may turn against its demand from now on, to leave thrust what it asks for, on a craft designed with
    /// [`Priority::keep_yaw_sign`](crate::Priority::keep_yaw_sign). A craft that has lost a rotor and cannot hold its
    /// nose and its height at once would otherwise give up its height.
    pub fn let_yaw_go(&mut self, let_go: bool) {
        self.keep_yaw_sign = !let_go;
    }

    /// The rotors that have been declared failed.
    pub fn failed(&self) -> RotorSet {
        self.failed
    }

    /// Whether a rotor (from 0) has been declared failed.
    pub fn has_failed(&self, rotor: usize) -> bool {
        self.failed.contains(rotor)
    }

    /// Signed distance from a wrench to the nearest facet of the attainable set, measured along the
    /// torque axes at the thrust of that wrench: the smallest torque, newton metres, that spends what
    /// is left. Negative outside: the torque that is missing.
    ///
    /// * Cost: one pass over the facets of all four axes, a square root each; not part of
    ///   [`Mixer::allocate`] for that reason
    pub fn control_margin_nm(&self, wrench: Wrench<S>) -> S {
        self.distance_to_facets(wrench, [S::ZERO, S::ONE, S::ONE, S::ONE])
    }

    /// Signed distance from a wrench to the nearest facet in all four axes, newtons and newton metres
    /// mixed: of the hover wrench, the available control authority index. Not above zero where hover
    /// cannot be held.
    ///
    /// * Source: G.-X. Du, Q. Quan, B. Yang, K.-Y. Cai, JGCD 38(5), 2015 (definition from memory)
    pub fn control_authority_index(&self, wrench: Wrench<S>) -> S {
        self.distance_to_facets(wrench, [S::ONE; 4])
    }

    /// Distance along the axes whose weight is one.
    fn distance_to_facets(&self, wrench: Wrench<S>, weights: [S; 4]) -> S {
        let wrench = product(&wrench.to_array(), &self.inverse_units);
        let mut nearest = None;
        for facet in self.plan.full_run().of(&self.facets) {
            let normal = product(&product(&facet.normal, &self.inverse_units), &weights);
            let inverse = dot(&normal, &normal).recip_sqrt();
            if !(inverse > S::ZERO) {
                continue;
            }
            let slack = (facet.half_width - facet.off_middle(&wrench).abs()) * inverse;
            nearest = Some(nearest.map_or(slack, |least: S| slack.smaller(least)));
        }
        nearest.unwrap_or_default()
    }

    /// Everything that follows from floors, ceilings of their own and failures.
    fn replan(&mut self) {
        for (facet, offsets) in self.facets.iter().zip(&mut self.offsets) {
            *offsets = Offsets::new(facet, &self.rotors, &self.rated, self.apart);
        }
        self.place_facets();
    }

    /// Everything that follows from the share of the rated ceilings.
    fn place_facets(&mut self) {
        for (facet, offsets) in self.facets.iter_mut().zip(&self.offsets) {
            offsets.place(facet, self.ceiling_share);
        }
        self.strength = self.rotors.iter().fold(S::ZERO, |sum, rotor| sum + rotor.ceiling);
        self.direct.set_limits(&self.rotors);
        self.place_strips();
    }

    /// The least-squares product over the rotors that still work.
    fn share_out(&mut self) {
        let failed = self.failed;
        let rows = Rows::new(&self.rotors, AxisSet::ALL, 4, |i, _: &Bounded<S>| !failed.contains(i));
        self.four_axes_left = rows.rank() == 4;
        for axis in 0..4 {
            let mut unit = [S::ZERO; 4];
            if let (Some(one), Some(inverse)) = (unit.get_mut(axis), self.inverse_units.get(axis)) {
                *one = *inverse;
            }
            self.direct.set_shares(axis, rows.least_effort(&unit));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Design, Priority, Rotor, Spin, facet_capacity};

    const FACETS: usize = facet_capacity(4);
    /// Facets worked out by two ways agree to this, newtons.
    const OFFSET_TOL_N: f64 = 1e-12;

    fn quad() -> Mixer<f64, 4, FACETS> {
        let place = [(1.0, 1.0, Spin::Ccw), (-1.0, 1.0, Spin::Cw), (-1.0, -1.0, Spin::Ccw), (1.0, -1.0, Spin::Cw)];
        let rotors = place.map(|(x, y, spin)| Rotor {
            position_m: [0.2 * x, 0.2 * y, 0.0],
            spin,
            torque_per_thrust_m: 0.016,
            thrust_min_n: 0.3,
            thrust_max_n: 8.0,
            ..Rotor::UP
        });
        Mixer::new(&Design::new(&rotors, [0.0; 3], Priority::DEFAULT).expect("a quad"))
    }

    /// Each facet against the sum over the rotors' limits as they are.
    fn assert_facets_stand_where_the_limits_say(mixer: &Mixer<f64, 4, FACETS>) {
        for facet in &mixer.facets {
            let ends = mixer.rotors.iter().map(|rotor| {
                let reach = dot(&facet.normal, &rotor.column);
                let (a, b) = (reach * rotor.floor, reach * rotor.ceiling);
                if a < b { (a, b) } else { (b, a) }
            });
            let (lower, upper) = ends.fold((0.0, 0.0), |sum, end| (sum.0 + end.0, sum.1 + end.1));
            let ends = facet.ends();
            let off = (ends.0 - lower).abs().max((ends.1 - upper).abs());
            assert!(off <= OFFSET_TOL_N, "{facet:?}: {lower} to {upper}");
        }
    }

    #[test]
    fn facets_follow_the_limits_whatever_changed_them_and_in_what_order() {
        let mut mixer = quad();
        assert_facets_stand_where_the_limits_say(&mixer);
        assert!(mixer.scale_ceilings(0.8));
        assert_facets_stand_where_the_limits_say(&mixer);
        assert!(mixer.set_limits(1, 0.5, 3.0));
        assert_facets_stand_where_the_limits_say(&mixer);
        assert!(mixer.fail_rotor(2));
        assert_facets_stand_where_the_limits_say(&mixer);
        assert!(mixer.scale_ceilings(0.6));
        assert_eq!(mixer.limits_n().nth(1), Some((0.5, 0.6 * 8.0)), "its ceiling sags with the others again");
        assert_facets_stand_where_the_limits_say(&mixer);
        assert!(mixer.restore_rotor(2));
        assert_facets_stand_where_the_limits_say(&mixer);
    }
}
