//! Figures that were left out and on which much depends: the wake of a pair, the size of rotors on a battery.

use super::power::{diameter_m, is_sized};
use super::rotors::median;
use super::shape::Shape;
use super::words::number;
use super::{Doubt, Usual};
use crate::craft::Craft;

pub(super) const KEYS: [&str; 2] = ["layout.lower_thrust_share", "rotor.thrust_share"];
/// A lower rotor with this share of the thrust of the upper one is in no wake.
const FULL_SHARE: f64 = 0.97;
const SHARE: Usual = Usual { min: 0.6, max: 0.95 };
/// A typical share: common practice, no source.
const TYPICAL_SHARE: f64 = 0.8;
const WAKE: &str = "momentum theory: a pair needs 1.28 to 1.41 times the induced power of two rotors apart; J.G. Leishman, \
                    Principles of Helicopter Aerodynamics, 2nd ed., ch. 2 (from memory)";
/// Torque over thrust as a share of the diameter, either end.
const TORQUE_SHARE: Usual = Usual { min: 0.04, max: 0.12 };
const SIZE: &str =
    "UIUC static data, read in a secondary transcription: torque over thrust is 0.061 to 0.112 of the diameter";

/// A pair of rotors whose lower one has all of its thrust although nobody said so.
pub(super) fn wake(craft: &Craft, shape: &Shape) -> Option<Doubt> {
    if craft.figures.thrust_share_stated {
        return None;
    }
    let pairs = shape.places.iter().flat_map(|place| place.windows(2));
    let thrust_n = |rotor: &usize| craft.rotors.get(*rotor).map(|rotor| rotor.thrust_max_n);
    let mut shares = pairs.filter_map(|pair| {
        let (upper, lower) = (pair.first()?, pair.last()?);
        Some((*lower, thrust_n(lower)? / thrust_n(upper)?))
    });
    let (lower, share) = shares.find(|(_, share)| *share >= FULL_SHARE)?;
    Some(Doubt {
        id: "wake",
        key: if craft.figures.from_layout { KEYS[0].to_owned() } else { format!("rotor[{}].thrust_share", lower + 1) },
        value: share,
        unit: "",
        usual: SHARE,
        likely: format!(
            "left out? A lower rotor works in the wake of the upper one: write {}, or what the pair gave on the bench",
            number(TYPICAL_SHARE)
        ),
        because: "thrust of a lower rotor over that of the one above it".into(),
        source: WAKE.into(),
        vouched: false,
    })
}

/// A battery whose rotors have neither speed nor size.
pub(super) fn size(craft: &Craft) -> Option<Doubt> {
    craft.battery.as_ref()?;
    let unsized_rotors = || craft.rotors.iter().filter(|rotor| !is_sized(rotor));
    let torque_m = median(unsized_rotors().map(|rotor| rotor.torque_per_thrust_m))?;
    let value = median(unsized_rotors().filter_map(diameter_m)).unwrap_or(0.0);
    Some(Doubt {
        id: "size_on_battery",
        key: "rotors.diameter_m".to_owned(),
        value,
        unit: "m",
        usual: Usual { min: torque_m / TORQUE_SHARE.max, max: torque_m / TORQUE_SHARE.min },
        likely: format!(
            "left out? Power and minutes of hover depend on it by a factor of two: measure the propeller and write its \
             diameter (a typical one of this torque has {} m), or speed_max_rad_s",
            number(value)
        ),
        because: "the diameter that torque_per_thrust_m alone tells".into(),
        source: SIZE.into(),
        vouched: false,
    })
}
