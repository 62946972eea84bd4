//! The demo crafts, built in. All of them are inventions of this project.

use crate::craft::Craft;
use crate::file::{FileError, parse_craft};

/// The craft flown when none is named.
///
/// # Errors
/// Never, unless this build carries a broken demo file; a test reads them all.
pub fn quad() -> Result<Craft, FileError> {
    parse_craft("quad.toml (built in)", include_str!("../crafts/quad.toml"))
}
