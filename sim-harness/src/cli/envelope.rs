//! `evenkeel envelope`: the largest torques over the range of thrust.

use std::path::PathBuf;

use clap::Args;
use evenkeel::envelope::Envelope;
use evenkeel::file;
use serde_json::json;

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// Largest torques over the range of thrust.
#[derive(Debug, Args)]
pub struct EnvelopeArgs {
    /// Craft file.
    craft: PathBuf,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &EnvelopeArgs) -> Result<Outcome, Refusal> {
    let envelope = Envelope::of(&file::read_craft(&typed.craft)?)?;
    if typed.json {
        terminal::answer_json(&json!(envelope))?;
    } else {
        terminal::answer(&envelope.text())?;
    }
    Ok(Outcome::Held)
}
