//! What the rotors do about one axis, from hover: their shares of its torque, their lags, and what spinning them up adds.
//!
//! * Math: thrust goes with the square of the speed, so the momentum J·Ω_max·√(f/f_max) changes with the thrust by
//!   J·Ω_max/(2·√(f·f_max)); its rate of change is a torque on the body, as that of the reaction torque comes

use evenkeel_mixer::Wrench;

use super::plant::RotorGroup;
use crate::craft::Craft;
use crate::onboard::{Authority, CraftMixer};
use crate::plant::full_speed_rad_s;

/// The step in torque at which the rotors' shares are read, as a share of the authority.
const STEP_SHARE: f64 = 0.01;

/// The time by which spinning the rotors up leads their torque about an axis (roll 0, pitch 1, yaw 2), as if all lagged like
/// the slowest: a quicker rotor's counts for more, by as much as it has more gain at high frequencies.
pub(crate) fn spin_up_s(craft: &Craft, mixer: &CraftMixer<f64>, authority: &Authority, axis: usize) -> f64 {
    let slowest_s = craft.slowest_lag_s();
    rotor_groups(craft, mixer, authority, axis).iter().map(|group| group.spin_up_s * slowest_s / group.lag_s).sum()
}

/// The rotors of a craft by lag: what each does for a small torque about this axis, from hover.
pub(crate) fn rotor_groups(
    craft: &Craft,
    mixer: &CraftMixer<f64>,
    authority: &Authority,
    axis: usize,
) -> Vec<RotorGroup> {
    let hover = Wrench { thrust_n: authority.hover_n, ..Wrench::default() };
    let (negative, positive) = authority.torque_nm[axis];
    let step_nm = STEP_SHARE * positive.min(-negative);
    let mut asked = hover.to_array();
    asked[axis + 1] = step_nm;
    let (level, turning) = (mixer.allocate(hover), mixer.allocate(Wrench::from_array(asked)));
    let mut groups: Vec<RotorGroup> = Vec::new();
    for (index, rotor) in craft.rotors.iter().enumerate() {
        let (Some(before), Some(after)) = (level.thrusts_n.get(index), turning.thrusts_n.get(index)) else { continue };
        let mut alone = vec![0.0; craft.rotors.len()];
        alone[index] = after - before;
        let share = mixer.wrench(&alone).to_array()[axis + 1] / step_nm;
        // d(momentum)/d(thrust): thrust goes with the square of the speed.
        let speed_per_n = 0.5 / (before * rotor.thrust_max_n).sqrt() * full_speed_rad_s(rotor);
        let sense = -rotor.nose_sense() * rotor.axis[axis];
        let spin_up_s = sense * rotor.inertia_kg_m2 * speed_per_n * (after - before) / step_nm;
        match groups.iter_mut().find(|group| group.lag_s == rotor.response_time_s) {
            Some(group) => {
                group.share += share;
                group.spin_up_s += spin_up_s;
            }
            None => groups.push(RotorGroup { lag_s: rotor.response_time_s, share, spin_up_s }),
        }
    }
    groups
}
