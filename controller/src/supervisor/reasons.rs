//! Why the craft does not do what the pilot asks.

use core::fmt;

/// One reason.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Reason {
    /// The configuration was refused.
    ConfigurationInvalid,
    /// The estimate has not found down yet.
    AttitudeUnknown,
    /// The arm request has not been off since power-up or since it was last refused.
    ArmRequestNotSeenOff,
    /// The disarm action is held.
    DisarmHeld,
    /// No demand from the pilot for longer than the limit.
    LinkSilent,
    /// The thrust demand is above what counts as low, or not a number.
    ThrustNotLow,
    /// Tilted too far to take off.
    NotLevel,
    /// Turning, or has been until a moment ago.
    Moving,
    /// No new sample from the sensors for longer than the limit.
    SensorsStale,
    /// What the sensors say is not finite.
    SensorsNotFinite,
    /// Too many samples came late.
    SamplesLate,
    /// The battery is below what a flight should start with, or its level is not a number.
    BatteryLow,
    /// A rotor is reported stopped.
    RotorStopped,
    /// Tilted beyond recovery for longer than the limit.
    TiltBeyondRecovery,
    /// A descent took longer than the limit.
    DescentTooLong,
}

impl Reason {
    /// Every reason, in the order in which they are listed.
    pub const ALL: [Reason; 15] = [
        Reason::ConfigurationInvalid,
        Reason::AttitudeUnknown,
        Reason::ArmRequestNotSeenOff,
        Reason::DisarmHeld,
        Reason::LinkSilent,
        Reason::ThrustNotLow,
        Reason::NotLevel,
        Reason::Moving,
        Reason::SensorsStale,
        Reason::SensorsNotFinite,
        Reason::SamplesLate,
        Reason::BatteryLow,
        Reason::RotorStopped,
        Reason::TiltBeyondRecovery,
        Reason::DescentTooLong,
    ];

    const fn bit(self) -> u16 {
        1 << self as u16
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Reason::ConfigurationInvalid => "the configuration is not valid",
            Reason::AttitudeUnknown => "the attitude is not known yet",
            Reason::ArmRequestNotSeenOff => "the arm request must be off first",
            Reason::DisarmHeld => "the disarm action is held",
            Reason::LinkSilent => "the link is silent",
            Reason::ThrustNotLow => "the thrust demand is not low",
            Reason::NotLevel => "the craft is not level",
            Reason::Moving => "the craft is not still",
            Reason::SensorsStale => "the sensors are silent",
            Reason::SensorsNotFinite => "a sensor value is not a number",
            Reason::SamplesLate => "too many samples come late",
            Reason::BatteryLow => "the battery is low",
            Reason::RotorStopped => "a rotor has stopped",
            Reason::TiltBeyondRecovery => "tilted beyond recovery",
            Reason::DescentTooLong => "the descent took too long",
        })
    }
}

/// A set of reasons. Shown, it lists them in plain words, with commas.
#[derive(Clone, Copy, Default, PartialEq, Eq)]
pub struct Reasons(u16);

impl Reasons {
    /// None.
    pub const NONE: Self = Reasons(0);

    /// Whether there is none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Whether this one is among them.
    pub const fn contains(self, reason: Reason) -> bool {
        self.0 & reason.bit() != 0
    }

    /// These, and this one when it `holds`.
    #[must_use]
    pub const fn with(self, reason: Reason, holds: bool) -> Self {
        if holds { Reasons(self.0 | reason.bit()) } else { self }
    }

    /// These and those.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Reasons(self.0 | other.0)
    }

    /// One after another, in the order of [`Reason::ALL`].
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        Reason::ALL.into_iter().filter(move |reason| self.contains(*reason))
    }
}

impl fmt::Display for Reasons {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (k, reason) in self.iter().enumerate() {
            let comma = if k == 0 { "" } else { ", " };
            write!(f, "{comma}{reason}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Reasons {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter()).finish()
    }
}

/// On the wire: the bits, lowest first in the order of [`Reason::ALL`].
#[cfg(feature = "defmt")]
impl defmt::Format for Reasons {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Reasons({=u16:#b})", self.0);
    }
}

/// A list of names: bits would not outlive the next reason. Gathered first, because some formats write
/// the length ahead.
#[cfg(feature = "serde")]
impl serde::Serialize for Reasons {
    fn serialize<W: serde::Serializer>(&self, serializer: W) -> Result<W::Ok, W::Error> {
        let mut list = heapless::Vec::<Reason, { Reason::ALL.len() }>::new();
        for reason in self.iter() {
            // There is room for all of them.
            let _ = list.push(reason);
        }
        list.serialize(serializer)
    }
}

#[cfg(feature = "serde")]
impl<'de> serde::Deserialize<'de> for Reasons {
    fn deserialize<R: serde::Deserializer<'de>>(deserializer: R) -> Result<Self, R::Error> {
        let list = heapless::Vec::<Reason, { Reason::ALL.len() }>::deserialize(deserializer)?;
        Ok(list.into_iter().fold(Reasons::NONE, |set, reason| set.with(reason, true)))
    }
}

#[cfg(test)]
mod tests {
    use std::string::ToString;
    use std::vec::Vec;

    use super::*;

    #[test]
    fn holds_each_reason_apart_from_all_others() {
        for one in Reason::ALL {
            let set = Reasons::NONE.with(one, true);
            assert!(!set.is_empty());
            for other in Reason::ALL {
                assert_eq!(set.contains(other), one == other, "{one:?} {other:?}");
            }
            assert_eq!(Reasons::NONE.with(one, false), Reasons::NONE);
        }
    }

    #[test]
    fn lists_in_one_order_however_it_was_filled() {
        let late = Reasons::NONE.with(Reason::BatteryLow, true).with(Reason::NotLevel, true);
        let early = Reasons::NONE.with(Reason::NotLevel, true).and(Reasons::NONE.with(Reason::BatteryLow, true));
        assert_eq!(late, early);
        assert_eq!(late.iter().collect::<Vec<_>>(), [Reason::NotLevel, Reason::BatteryLow]);
        assert_eq!(late.to_string(), "the craft is not level, the battery is low");
        assert_eq!(Reasons::NONE.to_string(), "");
    }

    #[test]
    fn says_something_different_for_each_reason() {
        let words: Vec<_> = Reason::ALL.iter().map(ToString::to_string).collect();
        for (k, one) in words.iter().enumerate() {
            assert!(!one.is_empty() && !words.iter().skip(k + 1).any(|other| other == one), "{one}");
        }
    }
}
