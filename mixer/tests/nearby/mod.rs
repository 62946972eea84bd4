//! Backward error: is what came out in single precision the exact answer to data next to those given?
//!
//! A problem may turn its answer by more than a tolerance when its data move by one rounding. No arithmetic
//! of that precision can then promise to stay near the exact answer to the data as given; it can promise
//! that what it returns is the exact answer to data that nobody could tell from them. Here such data are
//! looked for, and shown: rotors and demand moved by no more than [`DATA_ULPS`] roundings of `f32` whose
//! answer in double precision is what came out. A search that finds none has refuted the promise.
//!
//! * Drawn: every coordinate of every rotor (in roundings of its distance from the datum), every component
//!   of its axis, its torque ratio, floor and ceiling (of the ceiling), and each component of the demand
//!   (of the axis range, or of itself where it is larger), evenly within the bound. First anywhere, then
//!   around the best so far, closer and closer.
//! * Source: N. J. Higham, Accuracy and Stability of Numerical Algorithms, 2nd ed., 2002, section 1.5
//!   (backward error; from memory)
#![allow(dead_code, reason = "each test file uses some of this")]

use evenkeel_mixer::{Mixer, Priority, Rotor, Wrench};
use rand::Rng;
use rand::rngs::SmallRng;

use crate::crafts::{FACETS, TestDesign, apart, design};

/// Data count as the same when no number of them moves by more than so many roundings of `f32`: 4e-6 of itself,
/// a fifth of the tolerance on the answer. It is what the walk itself takes for rounding, 32 epsilons.
pub const DATA_ULPS: f64 = 64.0;
/// How far `f32` may be from an exact answer to such data, as a share of the axis range: in the default order, and
/// where axes share a tier below others, so that the edge they end on may lie almost along what is decided.
pub const TOL_DEFAULT_ORDER: f64 = 2e-5;
pub const TOL_OTHER_ORDERS: f64 = 5e-5;
/// One rounding of `f32`, relative.
const ROUNDING: f64 = f32::EPSILON as f64 / 2.0;
/// Draws anywhere, and draws around the best.
const ANYWHERE: usize = 400;
const AROUND: usize = 1600;
/// By how much each draw around the best comes closer.
const CLOSER: f64 = 0.993;
/// Numbers of one rotor: position, axis, torque ratio, floor, ceiling.
const PER_ROTOR: usize = 9;

/// What is asked of the search.
pub struct Question<'a> {
    pub rotors: &'a [Rotor],
    pub priority: Priority,
    pub demand: [f64; 4],
    pub reach: [f64; 4],
    /// What came out in single precision.
    pub got: [f64; 4],
}

impl Question<'_> {
    /// The smallest distance, as a share of the axis range, between what came out and the exact answer to
    /// data nearby. Ends once it is within `tol`.
    pub fn distance(&self, random: &mut SmallRng, tol: f64) -> f64 {
        let size = self.rotors.len() * PER_ROTOR + 4;
        let mut best = (vec![0.0; size], self.moved_by(&vec![0.0; size]));
        let mut radius = 1.0;
        for draw in 0..ANYWHERE + AROUND {
            if best.1 <= tol {
                break;
            }
            let from = if draw < ANYWHERE { None } else { Some(&best.0) };
            let place = |i: usize, share: f64| from.map_or(share, |from| (from[i] + radius * share).clamp(-1.0, 1.0));
            let moves: Vec<f64> = (0..size).map(|i| place(i, random.random_range(-1.0..1.0))).collect();
            let distance = self.moved_by(&moves);
            if distance < best.1 {
                best = (moves, distance);
            }
            if draw >= ANYWHERE {
                radius *= CLOSER;
            }
        }
        best.1
    }

    /// Distance when the data are moved by these shares of the bound.
    fn moved_by(&self, moves: &[f64]) -> f64 {
        let (rotors, demand) = moves.split_at(moves.len() - 4);
        let moved: Vec<Rotor> = self.rotors.iter().zip(rotors.chunks(PER_ROTOR)).map(|(r, m)| moved(r, m)).collect();
        let Ok(design): Result<TestDesign, _> = design(&moved, self.priority) else { return f64::INFINITY };
        let wanted = std::array::from_fn(|k| {
            let size = self.demand[k].abs().max(self.reach[k]);
            let value = self.demand[k] + DATA_ULPS * ROUNDING * demand[k] * size;
            // A thrust below zero would be refused.
            if k == 0 { value.max(0.0) } else { value }
        });
        let mixer = Mixer::<f64, 8, FACETS>::new(&design);
        apart(mixer.allocate(Wrench::from_array(wanted)).achieved.to_array(), self.got, self.reach)
    }
}

fn moved(rotor: &Rotor, moves: &[f64]) -> Rotor {
    let by = |place: usize, size: f64| DATA_ULPS * ROUNDING * moves[place] * size;
    let long = |vector: [f64; 3]| vector.iter().map(|value| value * value).sum::<f64>().sqrt();
    let (arm, axis) = (long(rotor.position_m), long(rotor.axis));
    let ceiling = rotor.thrust_max_n;
    Rotor {
        position_m: std::array::from_fn(|k| rotor.position_m[k] + by(k, arm)),
        axis: std::array::from_fn(|k| rotor.axis[k] + by(3 + k, axis)),
        torque_per_thrust_m: rotor.torque_per_thrust_m + by(6, rotor.torque_per_thrust_m),
        thrust_min_n: (rotor.thrust_min_n + by(7, ceiling)).max(0.0),
        thrust_max_n: ceiling + by(8, ceiling),
        ..*rotor
    }
}
