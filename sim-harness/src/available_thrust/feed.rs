//! In which state the battery is when a ceiling is asked for.

use crate::craft::Craft;

/// Voltage of a near-empty battery over that of a full one, where the craft file says nothing of it;
/// common practice for lithium cells at about 3.4 of 4.2 V.
pub const EMPTY_VOLTAGE_SHARE: f64 = 0.8;

/// Share of the voltage that is left after the sudden fall that a craft must stand; our choice.
pub const SUDDEN_VOLTAGE_SHARE: f64 = 0.9;

/// The battery before it is loaded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feed {
    /// State of charge, 0 to 1; without a battery it counts for nothing.
    pub charge: f64,
    /// Share of the open-circuit voltage that is left; without a battery, of full voltage.
    pub voltage_left: f64,
}

impl Feed {
    /// The battery as the craft file says that a flight begins; full voltage without one.
    pub fn as_charged(craft: &Craft) -> Self {
        Feed { charge: craft.battery.as_ref().map_or(1.0, |battery| battery.charge), voltage_left: 1.0 }
    }

    /// The battery at no charge; [`EMPTY_VOLTAGE_SHARE`] of full voltage without one.
    pub fn near_empty(craft: &Craft) -> Self {
        match craft.battery {
            Some(_) => Feed { charge: 0.0, voltage_left: 1.0 },
            None => Feed { charge: 1.0, voltage_left: EMPTY_VOLTAGE_SHARE },
        }
    }

    /// The states of the battery in which a craft must still be carried: after a sudden fall of the voltage as charged, and
    /// with a battery near empty.
    pub fn low(craft: &Craft) -> Vec<Self> {
        let sudden = Feed::as_charged(craft).collapsed_to(SUDDEN_VOLTAGE_SHARE);
        let near_empty = craft.battery.is_some().then(|| Feed::near_empty(craft));
        std::iter::once(sudden).chain(near_empty).collect()
    }

    /// The same at this state of charge.
    #[must_use]
    pub fn at_charge(self, charge: f64) -> Self {
        Feed { charge, ..self }
    }

    /// The same once the battery has lost all but `share` of its open-circuit voltage.
    #[must_use]
    pub fn collapsed_to(self, share: f64) -> Self {
        Feed { voltage_left: self.voltage_left * share, ..self }
    }
}
