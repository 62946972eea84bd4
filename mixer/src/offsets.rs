//! How far out the facets stand: linear in the share of the rated ceilings that a sagging battery leaves.
//!
//! Every rotor off a facet stands at its floor on one side of the slab and at its ceiling on the other. The
//! floors stay and all ceilings sag by one share, so the slab's middle and its half width are each a fixed part and
//! a part that goes with the share: two multiplications and two additions, whatever the number of rotors.
//!
//! * Math: middle = Σ ½r·(hi·share + lo), half width = Σ ½|r|·(hi·share − lo), r = n·b

use crate::box_least_squares::Bounded;
use crate::facets::{Facet, dot};
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;

/// `fixed + share·sagging`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Offset<S> {
    fixed: S,
    sagging: S,
}

/// Where a slab stands.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Offsets<S> {
    middle: Offset<S>,
    half_width: Offset<S>,
}

impl<S: Scalar> Offset<S> {
    fn at(self, share: S) -> S {
        self.fixed + share * self.sagging
    }
}

impl<S: Scalar> Offsets<S> {
    /// For rotors with these limits, of which those `apart` keep the ceiling they have whatever the share and
    /// all others have their share of the rated one.
    pub fn new(facet: &Facet<S>, rotors: &[Bounded<S>], rated: &[(S, S)], apart: RotorSet) -> Self {
        let (mut middle, mut half_width) = (Offset::default(), Offset::default());
        for ((i, rotor), (_, rated)) in rotors.iter().enumerate().zip(rated) {
            if facet.free.contains(i) {
                continue;
            }
            let reach = S::HALF * dot(&facet.normal, &rotor.column);
            let size = if facet.rising.contains(i) { reach } else { -reach };
            let (keeps, sags) = if apart.contains(i) { (rotor.ceiling, S::ZERO) } else { (S::ZERO, *rated) };
            middle.fixed = middle.fixed + reach * (keeps + rotor.floor);
            middle.sagging = middle.sagging + reach * sags;
            half_width.fixed = half_width.fixed + size * (keeps - rotor.floor);
            half_width.sagging = half_width.sagging + size * sags;
        }
        Offsets { middle, half_width }
    }

    /// Moves the slab to where it stands at this share.
    pub fn place(&self, facet: &mut Facet<S>, share: S) {
        (facet.middle, facet.half_width) = (self.middle.at(share), self.half_width.at(share));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rotor_set::RotorSet;

    /// Floor and ceiling as designed.
    type Rated = [(f64, f64); 3];

    /// One rotor along the normal, one against it, one on the facet.
    fn craft() -> (Facet<f64>, [Bounded<f64>; 3], Rated) {
        let facet = Facet {
            normal: [1.0, 0.0, 0.0, 0.0],
            rising: RotorSet::EMPTY.with(0),
            free: RotorSet::EMPTY.with(2),
            ..Facet::default()
        };
        let rotor = |reach, floor, ceiling| Bounded { column: [reach, 0.0, 0.0, 1.0], floor, ceiling };
        let rotors = [rotor(1.0, 0.5, 8.0), rotor(-2.0, 0.25, 4.0), rotor(0.0, 1.0, 2.0)];
        (facet, rotors, rotors.map(|rotor| (rotor.floor, rotor.ceiling)))
    }

    #[test]
    fn ceilings_move_the_facet_and_floors_do_not() {
        let (mut facet, rotors, rated) = craft();
        let offsets = Offsets::new(&facet, &rotors, &rated, RotorSet::EMPTY);
        for share in [1.0, 0.75, 0.5] {
            offsets.place(&mut facet, share);
            // Highest: the first at its ceiling, the second at its floor. Lowest: the other way round.
            assert_eq!(facet.ends(), (0.5 - 2.0 * 4.0 * share, 8.0 * share - 2.0 * 0.25));
        }
    }

    #[test]
    fn a_ceiling_set_apart_does_not_sag() {
        let (mut facet, mut rotors, rated) = craft();
        rotors[1].ceiling = 3.0;
        let offsets = Offsets::new(&facet, &rotors, &rated, RotorSet::EMPTY.with(1));
        for share in [1.0, 0.5] {
            offsets.place(&mut facet, share);
            assert_eq!(facet.ends(), (0.5 - 2.0 * 3.0, 8.0 * share - 2.0 * 0.25));
        }
    }
}
