//! One rotor whose figure is far from that of the others.

use super::Usual;
use super::figure::Figure;
use super::rotors::median;
use crate::craft::{Craft, Rotor};

/// Largest and smallest figure of a rotor over the middle one: our choice; rotors of two sizes on one craft are within it.
pub(super) const ODD: Usual = Usual { min: 0.2, max: 5.0 };
/// A rotor may stand at the middle of the craft; the others do not stand this much further out than the middle one.
const FAR_OUT: f64 = 6.0;

/// A rotor that is odd in one figure.
pub(super) struct OddRotor {
    pub rotor: usize,
    pub value: f64,
    /// Its figure over the middle one.
    pub ratio: f64,
    pub usual: Usual,
}

/// The rotors whose `figure` is far from the middle one.
pub(super) fn odd_rotors(craft: &Craft, figure: Figure) -> Vec<OddRotor> {
    let center = [0, 1].map(|part| median(craft.rotors.iter().map(|rotor| rotor.position_m[part])).unwrap_or(0.0));
    let of = |rotor: &Rotor| match figure {
        Figure::Thrust => Some(rotor.thrust_max_n),
        Figure::ThrustMin => Some(rotor.thrust_min_n),
        Figure::Torque => Some(rotor.torque_per_thrust_m),
        Figure::Lag => Some(rotor.response_time_s),
        Figure::Diameter => rotor.in_moving_air.diameter_m,
        Figure::Speed => rotor.speed_max_rad_s,
        Figure::Arm => Some((rotor.position_m[0] - center[0]).hypot(rotor.position_m[1] - center[1])),
        _ => None,
    };
    let Some(middle) = median(craft.rotors.iter().filter_map(of)).filter(|middle| *middle > 0.0) else {
        return Vec::new();
    };
    let usual = if figure == Figure::Arm { Usual { min: 0.0, max: FAR_OUT } } else { ODD };
    let each = craft.rotors.iter().enumerate().filter_map(|(rotor, of_rotor)| Some((rotor, of(of_rotor)?)));
    each.map(|(rotor, value)| OddRotor { rotor, value, ratio: value / middle, usual })
        .filter(|odd| !(odd.ratio >= odd.usual.min && odd.ratio <= odd.usual.max))
        .collect()
}
