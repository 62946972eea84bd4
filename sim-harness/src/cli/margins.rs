//! `evenkeel margins`: what the loops bear.

use std::path::PathBuf;

use clap::Args;
use evenkeel::file;
use evenkeel::margins::Margins;
use evenkeel::script::World;
use serde_json::json;

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// Gain, phase and delay margins of the sampled loops as flown.
#[derive(Debug, Args)]
pub struct MarginsArgs {
    /// Craft file.
    craft: PathBuf,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &MarginsArgs) -> Result<Outcome, Refusal> {
    let margins = Margins::of(&file::read_craft(&typed.craft)?, World::default().gravity_m_s2)?;
    if typed.json {
        terminal::answer_json(&json!(margins))?;
    } else {
        terminal::answer(&margins.text())?;
    }
    Ok(if margins.held { Outcome::Held } else { Outcome::FellShort })
}
