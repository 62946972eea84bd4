//! Thrusts within their limits whose wrench comes nearest to one that is wanted.
//!
//! The climb of [`crate::box_least_squares`] sees thrusts only through multipliers. Where columns all but lie in one
//! facet these grow beyond what the scalar can tell apart, and thrusts that stand off their limits come out wrong by
//! newtons. A facet may also pin the wrong rotors there, because rounding decides which of two was met. Here the thrusts
//! themselves move: the step of least squares over those off their limits, up to the first limit met; then the rotor
//! is let go that draws the wrench nearer most. What is left over falls with every pass that moves, so no choice of
//! rotors comes twice. Projection moves no answer further than its wrench was off.
//!
//! * Math: min |Bu − w|², low ≤ u ≤ high, from thrusts that are right but for rounding
//! * Output: always inside the limits
//! * Source: P. B. Stark, R. L. Parker, Bounded-variable least-squares: an algorithm and applications,
//!   Computational Statistics 10, 1995 (from memory)

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::facets::dot;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::segment::sum;

/// A direction that columns reach by less than this, in units of the machine epsilon and of the longest column,
/// is not theirs: all of a thrust moves the wrench along it by no more than rounding.
const REACH_ULPS: f64 = 64.0;

/// Moves `thrusts` until what they leave of `wrench` is no more than `met` in any axis, or as little as can be;
/// returns the number of passes, no more than `most`. None where they make the wrench already.
#[inline(never)]
pub(crate) fn reduce<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    wrench: &[S; 4],
    thrusts: &mut [S; N],
    met: S,
    most: u8,
) -> u8 {
    let mut free = RotorSet::EMPTY;
    for (i, (rotor, thrust)) in rotors.iter().zip(thrusts.iter()).enumerate() {
        if *thrust > rotor.floor && *thrust < rotor.ceiling {
            free = free.with(i);
        }
    }
    // Let go and held back at once: by rounding alone it seemed to help.
    let mut barred = RotorSet::EMPTY;
    let mut let_go = None;
    for pass in 0..most {
        let left = residual(rotors, wrench, thrusts);
        if left.iter().all(|value| value.abs() <= met) {
            return pass;
        }
        let span = Span::new(rotors, free);
        let step = span.least_squares(rotors, free, &left);
        let (share, blocked) = room(rotors, free, thrusts, &step);
        for ((rotor, thrust), change) in rotors.iter().zip(thrusts.iter_mut()).zip(step) {
            *thrust = (*thrust + share * change).limit(rotor.floor, rotor.ceiling);
        }
        if let Some((held, limit)) = blocked {
            if let Some(thrust) = thrusts.get_mut(held) {
                *thrust = limit;
            }
            free = free.without(held);
            if let_go == Some(held) && !(share > S::ZERO) {
                barred = barred.with(held);
            }
            continue;
        }
        let left = span.beside(&residual(rotors, wrench, thrusts));
        let Some(next) = most_helpful(rotors, free.and(barred), thrusts, &left, met) else { return pass + 1 };
        free = free.with(next);
        let_go = Some(next);
    }
    most
}

/// What thrusts leave of a wrench.
pub(crate) fn residual<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    wrench: &[S; 4],
    thrusts: &[S; N],
) -> [S; 4] {
    rotors.iter().zip(thrusts).fold(*wrench, |rest, (rotor, thrust)| sum(&rest, -*thrust, &rotor.column))
}

/// The rotor whose thrust, as far as it can still go, brings the wrench nearer most; none where that is rounding.
fn most_helpful<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    but: RotorSet,
    thrusts: &[S; N],
    left: &[S; 4],
    met: S,
) -> Option<usize> {
    let length = dot(left, left).sqrt();
    if !(length > met) {
        return None;
    }
    let mut best = None;
    let mut most = S::from_f64(REACH_ULPS) * S::EPSILON * length;
    for (i, (rotor, thrust)) in rotors.iter().zip(thrusts).enumerate().filter(|(i, _)| !but.contains(*i)) {
        let pull = dot(&rotor.column, left);
        let can = if pull > S::ZERO { *thrust < rotor.ceiling } else { *thrust > rotor.floor };
        if can && pull.abs() > most {
            (best, most) = (Some(i), pull.abs());
        }
    }
    best
}

/// How much of a step the limits allow, at most all of it, and the rotor that ends it with its limit.
fn room<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    free: RotorSet,
    thrusts: &[S; N],
    step: &[S; N],
) -> (S, Option<(usize, S)>) {
    let (mut share, mut blocked) = (S::ONE, None);
    let moves = rotors.iter().zip(thrusts).zip(step).enumerate();
    for (i, ((rotor, thrust), change)) in moves.filter(|(i, _)| free.contains(*i)) {
        let limit = if *change > S::ZERO { rotor.ceiling } else { rotor.floor };
        let to_go = limit - *thrust;
        // Beyond the limit, so the quotient is below one.
        if change.abs() > to_go.abs() && to_go.abs() <= share * change.abs() {
            (share, blocked) = (to_go / *change, Some((i, limit)));
        }
    }
    (share, blocked)
}

/// What the columns of some rotors span.
struct Span<S> {
    /// At right angles to each other, of length one; zero beyond the rank.
    directions: [[S; 4]; 4],
    rank: usize,
}

impl<S: Scalar> Span<S> {
    fn new<const N: usize>(rotors: &Vec<Bounded<S>, N>, free: RotorSet) -> Self {
        let mut rest: Vec<[S; 4], N> = Vec::new();
        for (_, rotor) in rotors.iter().enumerate().filter(|(i, _)| free.contains(*i)) {
            let _ = rest.push(rotor.column);
        }
        let mut span = Span { directions: [[S::ZERO; 4]; 4], rank: 0 };
        let mut least = S::ZERO;
        for place in 0..4 {
            let mut longest = [S::ZERO; 4];
            for column in &rest {
                if dot(column, column) > dot(&longest, &longest) {
                    longest = *column;
                }
            }
            if place == 0 {
                least = S::from_f64(REACH_ULPS) * S::EPSILON * dot(&longest, &longest).sqrt();
            }
            let length = dot(&longest, &longest).sqrt();
            if !(length > least) {
                break;
            }
            let direction = span.beside(&longest.map(|value| value / length));
            let inverse = dot(&direction, &direction).recip_sqrt();
            let direction = direction.map(|value| value * inverse);
            for column in &mut rest {
                *column = sum(column, -dot(column, &direction), &direction);
            }
            if let Some(slot) = span.directions.get_mut(place) {
                *slot = direction;
            }
            span.rank = place + 1;
        }
        span
    }

    /// The part of a wrench at right angles to all of it.
    fn beside(&self, wrench: &[S; 4]) -> [S; 4] {
        let take_out = |rest: [S; 4], direction: &[S; 4]| sum(&rest, -dot(&rest, direction), direction);
        self.directions.iter().take(self.rank).fold(*wrench, take_out)
    }

    fn seen(&self, wrench: &[S; 4]) -> [S; 4] {
        self.directions.each_ref().map(|direction| dot(direction, wrench))
    }

    /// The smallest move of the free rotors after which none of them could bring the wrench nearer.
    fn least_squares<const N: usize>(&self, rotors: &Vec<Bounded<S>, N>, free: RotorSet, left: &[S; 4]) -> [S; N] {
        let mut turned = Vec::new();
        for rotor in rotors {
            // There are no more of them than rotors.
            let _ = turned.push(Bounded { column: self.seen(&rotor.column), ..*rotor });
        }
        Rows::<S, N>::new(&turned, AxisSet::ALL, self.rank, |i, _| free.contains(i)).least_effort(&self.seen(left))
    }
}
