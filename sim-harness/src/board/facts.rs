//! What the flying code of a craft is made from.

use evenkeel_controller::FlightComputerConfig;
use evenkeel_mixer::{Priority, Rotor};

use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};

pub(super) fn rotors(craft: &Craft) -> Vec<Rotor> {
    let rotor = |rotor: &crate::craft::Rotor| Rotor {
        position_m: rotor.position_m,
        axis: rotor.axis,
        spin: rotor.spin,
        torque_per_thrust_m: rotor.torque_per_thrust_m,
        thrust_min_n: rotor.thrust_min_n,
        thrust_max_n: rotor.thrust_max_n,
    };
    craft.rotors.iter().map(rotor).collect()
}

pub(super) fn priority(craft: &Craft) -> Result<Priority, Unflyable> {
    let tiers = craft.saturation.priority.iter().map(Vec::as_slice);
    Priority::new(tiers, craft.saturation.keep_yaw_sign).map_err(Unflyable::Priority)
}

/// Every block's configuration for this craft under this gravity.
///
/// # Errors
/// When it cannot be flown.
pub fn flight_computer_config(craft: &Craft, gravity_m_s2: f64) -> Result<FlightComputerConfig, Unflyable> {
    Onboard::<f64>::new(craft, gravity_m_s2).map(|onboard| onboard.computer_config)
}
