//! How the rotors answer a demand, held to what effectiveness and inertia predict for it, sign and size.
//!
//! Where a rotor sits does not tell which way it must go: a rotor near the axis, a centre of mass off the middle, a product of
//! inertia or tilted rotors make some go against the side they sit on, and rightly so.

use super::effectiveness::{least_squares_n, torque_nm};
use crate::craft::{Craft, Spin};

/// A rotor is off when it misses its predicted change by more than this share of the largest predicted change: the rest of the
/// rotors' work, their lags and the noise take less, and a rotor that goes the wrong way misses by more. A rotor whose own share
/// is smaller has no wrong way.
const OFF_SHARE: f64 = 0.5;

/// Changes of thrust that a demand calls for, rotor by rotor, up to a common factor above zero.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RotorResponse {
    change: Vec<f64>,
}

impl RotorResponse {
    /// To turn about one axis alone (roll 0, pitch 1, yaw 2), to the positive side or, with a `sense` of −1, the other.
    pub(super) fn to_turn(craft: &Craft, axis: usize, sense: f64) -> Option<Self> {
        let [roll_nm, pitch_nm, yaw_nm] = torque_nm(craft, axis).map(|nm| sense * nm);
        Self::to_give(craft, [0.0, roll_nm, pitch_nm, yaw_nm])
    }

    /// To give this wrench (thrust, roll, pitch, yaw) on top of a hover.
    pub(super) fn to_give(craft: &Craft, wrench: [f64; 4]) -> Option<Self> {
        Some(RotorResponse { change: least_squares_n(craft, wrench)? })
    }

    /// The rotors (from 0) that did not answer so, of those that changed their thrust by `seen_n`.
    pub(super) fn missed_by(&self, seen_n: &[f64]) -> Vec<usize> {
        let most = self.change.iter().fold(0.0, |most: f64, change| most.max(change.abs()));
        let square: f64 = self.change.iter().map(|change| change * change).sum();
        let along: f64 = self.change.iter().zip(seen_n).map(|(change, seen)| change * seen).sum();
        // How large the demand was.
        let size = along / square;
        let is_off = |(change, seen): (&f64, &f64)| {
            // Nobody answers, or all the other way: each rotor that has a share is off.
            let off = if size > 0.0 { (seen - size * change).abs() / size } else { change.abs() };
            !(off <= OFF_SHARE * most)
        };
        self.change.iter().zip(seen_n).enumerate().filter(|(_, pair)| is_off(*pair)).map(|(rotor, _)| rotor).collect()
    }
}

/// The one slip of the file that would explain what was seen: two rotors in each other's place, or one that turns the other way.
/// `None` where neither does.
pub(super) fn explained_by(
    craft: &Craft,
    response: impl Fn(&Craft) -> Option<RotorResponse>,
    seen_n: &[f64],
) -> Option<String> {
    let explains = |other: &Craft| response(other).is_some_and(|response| response.missed_by(seen_n).is_empty());
    let count = craft.rotors.len();
    for first in 0..count {
        let mut turned = craft.clone();
        let rotor = turned.rotors.get_mut(first)?;
        rotor.spin = if rotor.spin == Spin::Cw { Spin::Ccw } else { Spin::Cw };
        if explains(&turned) {
            return Some(format!("as if {} turned the other way: check rotor.spin", craft.rotors.get(first)?.name));
        }
    }
    for (first, second) in (0..count).flat_map(|first| (first + 1..count).map(move |second| (first, second))) {
        let mut swapped = craft.clone();
        swapped.rotors.swap(first, second);
        if explains(&swapped) {
            let [one, other] = [first, second].map(|rotor| craft.rotors.get(rotor).map_or("", |rotor| &rotor.name));
            return Some(format!("as if {one} and {other} were in each other's place: check rotor.position_m"));
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    fn roll(craft: &Craft) -> Option<RotorResponse> {
        RotorResponse::to_turn(craft, 0, 1.0)
    }

    /// Common practice, no source: to roll right the left rotors speed up and the right ones slow.
    #[test]
    fn left_side_pushes_to_roll_right_on_a_symmetric_craft() {
        let craft = demo::quad().unwrap();
        let response = roll(&craft).unwrap();
        let signs: Vec<f64> = response.change.iter().map(|change| change.signum()).collect();
        assert_eq!(signs, [-1.0, -1.0, 1.0, 1.0]);
        assert_eq!(response.missed_by(&[-2.0, -2.0, 2.0, 2.0]), [0usize; 0]);
        assert_eq!(response.missed_by(&[-2.0, 2.0, 2.0, 2.0]), [1]);
        assert_eq!(response.missed_by(&[2.0, 2.0, -2.0, -2.0]), [0, 1, 2, 3]);
        assert_eq!(response.missed_by(&[0.0; 4]), [0, 1, 2, 3]);
        assert_eq!(response.missed_by(&[f64::NAN; 4]), [0, 1, 2, 3]);
    }

    /// Rolling such a craft cleanly takes yaw torque: a product of inertia as of a camera low in front and a battery high
    /// behind. The rotors on one side then share the work unevenly, and one near the axis may turn round.
    #[test]
    fn rotor_near_the_axis_goes_against_its_side_when_inertia_couples_roll_and_yaw() {
        let mut craft = demo::quad().unwrap();
        craft.rotors[0].position_m[1] = 0.01;
        craft.body.inertia_kg_m2[0][2] = 0.004;
        craft.body.inertia_kg_m2[2][0] = 0.004;
        let response = roll(&craft).unwrap();
        assert!(response.missed_by(&response.change).is_empty());
        let plain = demo::quad().map(|mut plain| {
            plain.rotors[0].position_m[1] = 0.01;
            roll(&plain).unwrap()
        });
        assert_ne!(plain.unwrap().change, response.change);
    }

    #[test]
    fn slip_of_the_file_is_named_when_it_explains_what_is_seen() {
        let craft = demo::quad().unwrap();
        let mut wired = craft.clone();
        wired.rotors.swap(0, 3);
        let seen = roll(&wired).unwrap().change;
        let said = explained_by(&craft, roll, &seen).unwrap();
        assert!(said.contains("in each other's place"), "{said}");
        let yaw = |craft: &Craft| RotorResponse::to_turn(craft, 2, 1.0);
        let mut turned = craft.clone();
        turned.rotors[2].spin = Spin::Cw;
        let said = explained_by(&craft, yaw, &yaw(&turned).unwrap().change);
        assert!(said.is_some_and(|said| said.contains("rotor 3 turned the other way")));
        assert_eq!(explained_by(&craft, roll, &[0.0; 4]), None);
    }
}
