//! How far along a step the dual of the box least squares rises.
//!
//! Its slope falls along the step, piecewise linearly: by the squared speeds of the rotors off their limits. A rotor
//! comes off one limit and meets the other at most once.
//!
//! * Math: the root of φ'(s) = step·(w − Bu(λ + s·step)), crossing by crossing
//! * Source: docs/allocation.md, "Rotor thrusts"

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::facets::dot;
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;

/// What counts as rounding in the line search, in units of the machine epsilon.
const LINE_ULPS: f64 = 4096.0;

/// The rotors that count for the slope along a step.
#[derive(Clone, Copy)]
pub(crate) struct Along {
    /// Off their limits at the start and all the way.
    pub steady: RotorSet,
    /// May come off a limit or meet one.
    pub crossing: RotorSet,
}

/// Where the dual stops rising along the step: the root of its piecewise linear slope.
///
/// `rise` is the slope at the start, above zero. What is left of it after the bends is known only to
/// rounding, and so is which rotors do not move along the step: both thresholds are relative.
#[cold]
#[inline(never)]
pub(crate) fn line_search<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    along_it: Along,
    multipliers: &[S; 4],
    step: &[S; 4],
    mut rise: S,
) -> S {
    let rounding = S::from_f64(LINE_ULPS) * S::EPSILON;
    let level = rounding * rise;
    let (steady, crossings) = bends(rotors, along_it, multipliers, step, rounding);
    let mut along = S::ZERO;
    // Each rotor crosses its two limits at most once.
    for _ in 0..=2 * N {
        let mut bend = steady;
        let mut next = None;
        for crossing in &crossings {
            if crossing.enters <= along && along < crossing.leaves {
                bend = bend + crossing.speed * crossing.speed;
            }
            for place in [crossing.enters, crossing.leaves] {
                if place > along && next.is_none_or(|earliest| place < earliest) {
                    next = Some(place);
                }
            }
        }
        let Some(next) = next else {
            return if bend > S::ZERO { along + rise / bend } else { along };
        };
        let drop = bend * (next - along);
        if rise <= drop {
            return along + rise / bend;
        }
        rise = rise - drop;
        if rise <= level {
            return next;
        }
        along = next;
    }
    along
}

/// Where along the step a rotor comes off one limit and meets the other.
struct Crossing<S> {
    speed: S,
    enters: S,
    leaves: S,
}

/// By how much the slope falls along the step: what the steady rotors make it, and between which places each of the others
/// adds to it.
fn bends<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    along_it: Along,
    multipliers: &[S; 4],
    step: &[S; 4],
    rounding: S,
) -> (S, Vec<Crossing<S>, N>) {
    let (mut fastest, mut steady) = (S::ZERO, S::ZERO);
    let mut crossings: Vec<Crossing<S>, N> = Vec::new();
    for (_, rotor) in along_it.steady.among(rotors) {
        let speed = dot(&rotor.column, step);
        (steady, fastest) = (steady + speed * speed, fastest.larger(speed.abs()));
    }
    for (_, rotor) in along_it.crossing.among(rotors) {
        fastest = fastest.larger(dot(&rotor.column, step).abs());
    }
    for (_, rotor) in along_it.crossing.among(rotors) {
        let speed = dot(&rotor.column, step);
        if !(speed.abs() > rounding * fastest) {
            continue;
        }
        let start = dot(&rotor.column, multipliers);
        let (at_floor, at_ceiling) = ((rotor.floor - start) / speed, (rotor.ceiling - start) / speed);
        let (enters, leaves) = if speed > S::ZERO { (at_floor, at_ceiling) } else { (at_ceiling, at_floor) };
        // There are no more crossings than rotors.
        let _ = crossings.push(Crossing { speed, enters, leaves });
    }
    (steady, crossings)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two rotors along the first axis that both stand at zero and move at speed one, one to 1 N, one to 3 N.
    fn length(wrench: f64) -> f64 {
        let rotor = |ceiling| Bounded { column: [1.0, 0.0, 0.0, 0.0], floor: 0.0, ceiling };
        let rotors: Vec<Bounded<f64>, 3> = [rotor(1.0), rotor(3.0), rotor(9.0)].into_iter().collect();
        let both = Along { steady: RotorSet::EMPTY, crossing: RotorSet::from_bits(0b011) };
        line_search(&rotors, both, &[0.0; 4], &[1.0, 0.0, 0.0, 0.0], wrench)
    }

    /// They make min(s, 1) + min(s, 3): the wrench itself is the slope at the start.
    #[test]
    fn length_is_where_the_thrusts_make_the_wrench_before_and_past_a_limit() {
        for (wrench, expected) in [(0.5, 0.25), (2.0, 1.0), (3.0, 2.0), (4.0, 3.0)] {
            assert_eq!(length(wrench), expected, "{wrench}");
        }
    }

    #[test]
    fn length_ends_at_the_last_limit_where_the_dual_rises_for_ever() {
        assert_eq!(length(5.0), 3.0);
    }

    #[test]
    fn rotors_that_come_off_a_limit_on_the_way_count_from_there() {
        let rotor = |floor, ceiling| Bounded { column: [1.0, 0.0, 0.0, 0.0], floor, ceiling };
        let rotors: Vec<Bounded<f64>, 2> = [rotor(0.0, 9.0), rotor(2.0, 9.0)].into_iter().collect();
        // They make s + max(s, 2), two at the start: the slope there is the rest.
        let both = Along { steady: RotorSet::EMPTY, crossing: RotorSet::first(2) };
        let length = line_search(&rotors, both, &[0.0; 4], &[1.0, 0.0, 0.0, 0.0], 6.0 - 2.0);
        assert_eq!(length, 3.0);
    }

    /// The same two, the second of which stays off its limits: it makes no difference to be told so, nor where the first
    /// has met its limit.
    #[test]
    fn rotor_that_stays_off_its_limits_counts_without_being_looked_at() {
        let rotor = |ceiling| Bounded { column: [1.0, 0.0, 0.0, 0.0], floor: 0.0, ceiling };
        let rotors: Vec<Bounded<f64>, 3> = [rotor(1.0), rotor(9.0), rotor(2.0)].into_iter().collect();
        let told = Along { steady: RotorSet::from_bits(0b010), crossing: RotorSet::from_bits(0b001) };
        let not_told = Along { steady: RotorSet::EMPTY, crossing: RotorSet::first(2) };
        for (wrench, expected) in [(0.5, 0.25), (2.0, 1.0), (3.0, 2.0), (4.0, 3.0)] {
            let length = |along_it| line_search(&rotors, along_it, &[0.0; 4], &[1.0, 0.0, 0.0, 0.0], wrench);
            assert_eq!((length(told), length(not_told)), (expected, expected), "{wrench}");
        }
    }
}
