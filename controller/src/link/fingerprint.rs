//! What tells a board's craft from the host's: a check value over every number that flies.

use core::fmt;

use evenkeel_mixer::{CurvePoint, Priority, Rotor};
use postcard::ser_flavors::Flavor;
use serde::{Deserialize, Serialize};

use crate::flight_computer::FlightComputerConfig;
use crate::link::frame::CRC;

/// Two crafts with the same one are the same for every purpose of flight, but for a chance of 1 in 4 billion.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fingerprint(pub u32);

impl fmt::Display for Fingerprint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:08x}", self.0)
    }
}

/// Everything about a craft that the flying code is made from.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct CraftFacts<'a> {
    /// The rotors.
    pub rotors: &'a [Rotor],
    /// From the datum, body axes.
    pub center_of_mass_m: [f64; 3],
    /// What gives way first.
    pub priority: Priority,
    /// Each rotor's bench table; empty where thrust goes with the command squared.
    pub curves: &'a [&'a [CurvePoint<f64>]],
    /// Every block's configuration.
    pub config: FlightComputerConfig,
}

/// The check value over these facts, each number as its IEEE-754 bits in the order of the fields.
pub fn fingerprint(facts: &CraftFacts<'_>) -> Fingerprint {
    // Only a full buffer is an error, and there is no buffer.
    Fingerprint(postcard::serialize_with_flavor(facts, Digest(CRC.digest())).unwrap_or_default())
}

struct Digest(crc::Digest<'static, u32>);

impl Flavor for Digest {
    type Output = u32;

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.0.update(&[byte]);
        Ok(())
    }

    fn try_extend(&mut self, bytes: &[u8]) -> postcard::Result<()> {
        self.0.update(bytes);
        Ok(())
    }

    fn finalize(self) -> postcard::Result<u32> {
        Ok(self.0.finalize())
    }
}
