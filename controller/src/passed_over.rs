//! What was given and is not to be believed: looked at all together, and one by one only where something is wrong.

use evenkeel_mixer::Scalar;

use crate::finite::{all_finite, zero_of};
use crate::flight_computer::{PilotDemand, Sample};

/// Values that were given, are not finite or cannot be, and were passed over. What the estimate and the loops passed over, their
/// own records say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct PassedOver {
    /// A rotor's speed: its notch stays where it was.
    pub rotor_speed: bool,
    /// The battery's charge: it counts as low.
    pub battery: bool,
    /// The supply voltage: the ceilings stay where they were.
    pub voltage: bool,
    /// The vertical speed: it counts as not known.
    pub climb: bool,
    /// The pilot's demand.
    pub demand: bool,
    /// The stopped rotors: those beyond the craft's count; or in flight all of them, when it says that none is left.
    pub stopped_rotors: bool,
}

impl PassedOver {
    pub(crate) fn of<S: Scalar, const N: usize>(
        sample: &Sample<S, N>,
        pilot: &PilotDemand<S>,
        stopped_rotors: bool,
    ) -> Self {
        let demanded = zero_of([pilot.thrust_n]) * zero_of(pilot.motion.to_array());
        let mut zero = zero_of(sample.rotor_speeds_rad_s) * demanded;
        // One by one: a loop over them is not unrolled.
        if let Some(share) = sample.battery_share {
            zero = zero * share;
        }
        if let Some(share) = sample.voltage_share {
            zero = zero * share;
        }
        if let Some(climb_m_s) = sample.climb_m_s {
            zero = zero * climb_m_s;
        }
        // Nearly always.
        if zero == S::ZERO {
            return PassedOver { stopped_rotors, ..PassedOver::default() };
        }
        PassedOver { stopped_rotors, ..PassedOver::found(sample, pilot) }
    }

    #[cold]
    #[inline(never)]
    fn found<S: Scalar, const N: usize>(sample: &Sample<S, N>, pilot: &PilotDemand<S>) -> Self {
        let bad = |value: Option<S>| value.is_some_and(|value| !value.is_finite());
        PassedOver {
            rotor_speed: !all_finite(sample.rotor_speeds_rad_s),
            battery: bad(sample.battery_share),
            voltage: bad(sample.voltage_share),
            climb: bad(sample.climb_m_s),
            demand: !(pilot.thrust_n.is_finite() && pilot.motion.is_finite()),
            stopped_rotors: false,
        }
    }

    /// Whether any was.
    pub fn any(&self) -> bool {
        self.rotor_speed || self.battery || self.voltage || self.climb || self.demand || self.stopped_rotors
    }
}
