//! The path of a demand that can be met: one product, and a look whether any thrust left its limits.
//!
//! Stored axis by axis with a fixed number of rotors, those that do not exist doing nothing, so that
//! the compiler unrolls it.

use heapless::Vec;

use crate::allocation::RotorLimit;
use crate::box_least_squares::Bounded;
use crate::mixer::product;
use crate::scalar::Scalar;

/// Least-squares thrusts for a wrench in newtons and newton metres, and the limits they must keep.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Direct<S, const N: usize> {
    shares: [[S; N]; 4],
    floors: [S; N],
    ceilings: [S; N],
}

impl<S: Scalar, const N: usize> Direct<S, N> {
    pub fn new(pseudo_inverse: &[[f64; 4]; N], rotors: &Vec<Bounded<S>, N>) -> Self {
        // Rotors that do not exist stand at zero, between limits that they never meet.
        let mut direct = Direct { shares: [[S::ZERO; N]; 4], floors: [-S::ONE; N], ceilings: [S::ONE; N] };
        for (axis, row) in direct.shares.iter_mut().enumerate() {
            for (share, values) in row.iter_mut().zip(pseudo_inverse) {
                *share = values.get(axis).map_or(S::ZERO, |value| S::from_f64(*value));
            }
        }
        direct.set_limits(rotors);
        direct
    }

    /// Takes over the rotors' limits as they are now.
    pub fn set_limits(&mut self, rotors: &Vec<Bounded<S>, N>) {
        for ((floor, ceiling), rotor) in self.floors.iter_mut().zip(&mut self.ceilings).zip(rotors) {
            (*floor, *ceiling) = (rotor.floor, rotor.ceiling);
        }
    }

    /// Thrusts per unit of one axis.
    pub fn set_shares(&mut self, axis: usize, shares: [S; N]) {
        if let Some(row) = self.shares.get_mut(axis) {
            *row = shares;
        }
    }

    /// The thrusts for a wrench, whatever the limits.
    #[inline]
    pub fn thrusts(&self, wrench: &[S; 4]) -> [S; N] {
        let ([thrust, roll, pitch, yaw], [w0, w1, w2, w3]) = (&self.shares, *wrench);
        let mut thrusts = [S::ZERO; N];
        for ((((u, a), b), c), d) in thrusts.iter_mut().zip(thrust).zip(roll).zip(pitch).zip(yaw) {
            *u = *a * w0 + *b * w1 + *c * w2 + *d * w3;
        }
        thrusts
    }

    /// The same for a wrench in units.
    pub fn thrusts_in_units(&self, wrench: &[S; 4], units: &[S; 4]) -> [S; N] {
        self.thrusts(&product(wrench, units))
    }

    /// Whether all thrusts keep their limits; a NaN does not.
    #[inline]
    pub fn allows(&self, thrusts: &[S; N]) -> bool {
        let mut allowed = true;
        for ((thrust, floor), ceiling) in thrusts.iter().zip(&self.floors).zip(&self.ceilings) {
            allowed &= *thrust >= *floor && *thrust <= *ceiling;
        }
        allowed
    }

    /// Whether all thrusts stand off their limits; a NaN does not.
    #[inline]
    pub fn leaves_room(&self, thrusts: &[S; N]) -> bool {
        let mut limited = thrusts.iter().zip(&self.floors).zip(&self.ceilings);
        limited.all(|((thrust, floor), ceiling)| *thrust > *floor && *thrust < *ceiling)
    }

    /// Forces the thrusts into their limits.
    pub fn limit(&self, thrusts: &mut [S; N]) {
        for ((thrust, floor), ceiling) in thrusts.iter_mut().zip(&self.floors).zip(&self.ceilings) {
            *thrust = thrust.limit(*floor, *ceiling);
        }
    }

    /// Limit state of each rotor.
    #[inline]
    pub fn limits(&self, thrusts: &[S; N]) -> [RotorLimit; N] {
        let mut limits = [RotorLimit::None; N];
        for (((limit, thrust), floor), ceiling) in limits.iter_mut().zip(thrusts).zip(&self.floors).zip(&self.ceilings)
        {
            *limit = if *thrust <= *floor {
                RotorLimit::Floor
            } else if *thrust >= *ceiling {
                RotorLimit::Ceiling
            } else {
                RotorLimit::None
            };
        }
        limits
    }
}

/// The first `len` of an array.
#[inline]
pub(crate) fn first<T, const N: usize>(array: [T; N], len: usize) -> Vec<T, N> {
    let mut kept = Vec::from_array(array);
    kept.truncate(len);
    kept
}
