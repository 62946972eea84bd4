//! What the flying code of a craft is made from.

use evenkeel_controller::FlightComputerConfig;

use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};

/// Every block's configuration for this craft under this gravity.
///
/// # Errors
/// When it cannot be flown.
pub fn flight_computer_config(craft: &Craft, gravity_m_s2: f64) -> Result<FlightComputerConfig, Unflyable> {
    Onboard::<f64>::new(craft, gravity_m_s2).map(|onboard| onboard.computer_config)
}
