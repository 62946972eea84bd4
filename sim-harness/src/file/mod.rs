//! Craft files and flight files: TOML in, a checked [`Craft`] or [`Flight`] out, or one message that
//! says where the file is wrong and how to mend it.
//!
//! The formats stand as tables of keys in `craft_keys` and `flight_keys`, each key with its range and
//! default; docs/files.md is generated from the same tables. What single keys cannot say (two keys that
//! contradict each other, an inertia no body can have) is checked in the other files of this folder.
//!
//! Source of the syntax: TOML 1.1, <https://toml.io/en/v1.1.0>.

mod battery;
mod craft_file;
mod craft_keys;
mod error;
mod expectations;
mod faults;
mod flight_file;
mod flight_keys;
mod inertia;
mod key;
mod layout;
mod propeller;
mod reference;
mod rotors;
mod rule;
mod section;
mod sensors;
mod source;
mod table;
mod unit;
mod vouched;
mod word;
mod world;

use std::path::Path;

pub use craft_file::parse_craft;
pub use error::{FileError, printable};
pub use expectations::MAX_SAMPLES;
pub use flight_file::{MAX_LOG_ROWS, parse_flight};
pub use inertia::INERTIA_TOLERANCE;
pub use layout::SAME_PLACE_M;
pub use reference::{craft_reference, flight_reference};
pub use rotors::{CURVE_END_TOLERANCE, THRUST_MIN_FRACTION};
pub use source::MAX_BYTES;

pub(crate) use inertia::can_exist as inertia_can_exist;
pub(crate) use unit::of as unit_of;

use crate::craft::Craft;
use crate::script::Flight;

/// Reads and checks a craft file.
///
/// # Errors
/// The file cannot be read, is no TOML, or does not describe a physically possible craft.
pub fn read_craft(path: &Path) -> Result<Craft, FileError> {
    let text = source::read_text(path, "craft")?;
    parse_craft(&path.display().to_string(), &text)
}

/// Reads and checks a flight file for `craft`.
///
/// # Errors
/// The file cannot be read, is no TOML, or does not describe a flight this craft can be put through.
pub fn read_flight(path: &Path, craft: &Craft) -> Result<Flight, FileError> {
    let text = source::read_text(path, "flight")?;
    parse_flight(&path.display().to_string(), &text, craft)
}
