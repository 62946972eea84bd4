//! How the rotors answer a demand, held to what effectiveness and inertia predict for it, sign and size.
//!
//! Where a rotor sits does not tell which way it must go: a rotor near the axis, a centre of mass off the middle, a product of
//! inertia or tilted rotors make some go against the side they sit on, and rightly so.

use super::effectiveness::least_squares_n;
use crate::craft::{Craft, Spin};

/// A rotor is off when it misses its predicted change by more than this share of the largest predicted change: what rounding and
/// the rest of the rotors' work leave is less, and a rotor that goes the wrong way misses by more. A rotor whose own share is
/// smaller has no wrong way.
const OFF_SHARE: f64 = 0.5;

/// Changes of thrust that a change of the wrench calls for, rotor by rotor.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RotorResponse {
    change_n: Vec<f64>,
}

impl RotorResponse {
    /// To give this wrench (thrust, roll, pitch, yaw) on top of a hover.
    pub(super) fn to_give(craft: &Craft, wrench: [f64; 4]) -> Option<Self> {
        Some(RotorResponse { change_n: least_squares_n(craft, wrench)? })
    }

    /// The rotors (from 0) that did not answer so, of those that changed their thrust by `seen_n`. Where some rotor is
    /// `at_a_limit` the others take over its share, so that only the sign tells.
    pub(super) fn missed_by(&self, seen_n: &[f64], at_a_limit: bool) -> Vec<usize> {
        let most_n = self.change_n.iter().fold(0.0, |most: f64, change| most.max(change.abs()));
        let is_off = |(change, seen): (&f64, &f64)| {
            if at_a_limit {
                return change.abs() >= OFF_SHARE * most_n && !(change * seen > 0.0);
            }
            !((seen - change).abs() <= OFF_SHARE * most_n)
        };
        let pairs = self.change_n.iter().zip(seen_n).enumerate();
        pairs.filter(|(_, pair)| is_off(*pair)).map(|(rotor, _)| rotor).collect()
    }

    fn square_off(&self, seen_n: &[f64]) -> f64 {
        self.change_n.iter().zip(seen_n).map(|(change, seen)| (change - seen) * (change - seen)).sum()
    }
}

/// The one slip of the file that would explain what was seen: two rotors in each other's place, or one that turns the other way.
/// `None` where neither does.
pub(super) fn explained_by(
    craft: &Craft,
    response: impl Fn(&Craft) -> Option<RotorResponse>,
    seen_n: &[f64],
    at_a_limit: bool,
) -> Option<String> {
    // What is left unexplained; `None` where it does not explain.
    let left = |other: &Craft| {
        let response = response(other)?;
        response.missed_by(seen_n, at_a_limit).is_empty().then(|| response.square_off(seen_n))
    };
    let name = |rotor: usize| craft.rotors.get(rotor).map_or("", |rotor| rotor.name.as_str());
    let count = craft.rotors.len();
    let turned = (0..count).filter_map(|first| {
        let mut turned = craft.clone();
        let rotor = turned.rotors.get_mut(first)?;
        rotor.spin = if rotor.spin == Spin::Cw { Spin::Ccw } else { Spin::Cw };
        Some((left(&turned)?, format!("as if {} turned the other way: check rotor.spin", name(first))))
    });
    let pairs = (0..count).flat_map(|first| (first + 1..count).map(move |second| (first, second)));
    let swapped = pairs.filter_map(|(first, second)| {
        let mut swapped = craft.clone();
        swapped.rotors.swap(first, second);
        let (one, other) = (name(first), name(second));
        Some((left(&swapped)?, format!("as if {one} and {other} were in each other's place: check rotor.position_m")))
    });
    turned.chain(swapped).min_by(|(one, _), (other, _)| one.total_cmp(other)).map(|(_, words)| words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::preflight::effectiveness::torque_nm;

    /// To turn about one axis alone (roll 0, pitch 1, yaw 2) by 10 rad/s².
    fn turn(craft: &Craft, axis: usize) -> Option<RotorResponse> {
        let [roll_nm, pitch_nm, yaw_nm] = torque_nm(craft, axis).map(|nm| 10.0 * nm);
        RotorResponse::to_give(craft, [0.0, roll_nm, pitch_nm, yaw_nm])
    }

    fn roll(craft: &Craft) -> Option<RotorResponse> {
        turn(craft, 0)
    }

    /// Common practice, no source: to roll right the left rotors speed up and the right ones slow.
    #[test]
    fn left_side_pushes_to_roll_right_on_a_symmetric_craft() {
        let craft = demo::quad().unwrap();
        let response = roll(&craft).unwrap();
        // Statics: four rotors share the torque at the same lever.
        let each_n = 10.0 * craft.body.inertia_kg_m2[0][0] / (4.0 * craft.rotors[0].position_m[1].abs());
        let change = |signs: [f64; 4]| signs.map(|sign| sign * each_n);
        assert_eq!(response.missed_by(&change([-1.0, -1.0, 1.0, 1.0]), false), [0usize; 0]);
        assert_eq!(response.missed_by(&change([-1.0, 1.0, 1.0, 1.0]), false), [1]);
        assert_eq!(response.missed_by(&change([1.0, 1.0, -1.0, -1.0]), true), [0, 1, 2, 3]);
        assert_eq!(response.missed_by(&change([-0.2, -0.2, 0.2, 1.8]), true), [0usize; 0]);
        for nothing in [0.0, f64::NAN] {
            assert_eq!(response.missed_by(&[nothing; 4], false), [0, 1, 2, 3]);
            assert_eq!(response.missed_by(&[nothing; 4], true), [0, 1, 2, 3]);
        }
    }

    /// Rolling such a craft cleanly takes yaw torque: a product of inertia as of a camera low in front and a battery high
    /// behind. The rotors on one side then share the work unevenly, and one near the axis turns round.
    #[test]
    fn rotor_near_the_axis_goes_against_its_side_when_inertia_couples_roll_and_yaw() {
        let near_the_axis = || {
            let mut craft = demo::quad().unwrap();
            craft.rotors[0].position_m[1] = 0.01;
            craft
        };
        let mut coupled = near_the_axis();
        coupled.body.inertia_kg_m2[0][2] = -0.008;
        coupled.body.inertia_kg_m2[2][0] = -0.008;
        let [plain, coupled] = [near_the_axis(), coupled].map(|craft| roll(&craft).unwrap());
        assert!(!plain.missed_by(&coupled.change_n, false).is_empty(), "{plain:?} {coupled:?}");
        assert!(coupled.missed_by(&coupled.change_n, false).is_empty());
    }

    #[test]
    fn slip_of_the_file_is_named_when_it_explains_what_is_seen() {
        let craft = demo::quad().unwrap();
        let mut wired = craft.clone();
        wired.rotors.swap(0, 3);
        let seen = roll(&wired).unwrap().change_n;
        let said = explained_by(&craft, roll, &seen, false).unwrap();
        assert!(said.contains("in each other's place"), "{said}");
        let yaw = |craft: &Craft| turn(craft, 2);
        let mut turned = craft.clone();
        turned.rotors[2].spin = Spin::Cw;
        let said = explained_by(&craft, yaw, &yaw(&turned).unwrap().change_n, false);
        // Any one of the four would explain it: on a symmetric craft the yaw of three against one is the same.
        assert!(said.as_ref().is_some_and(|said| said.contains("turned the other way")), "{said:?}");
        assert_eq!(explained_by(&craft, roll, &[0.0; 4], false), None);
    }
}
