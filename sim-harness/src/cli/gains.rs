//! `evenkeel gains`: gains from the craft, with the margins they reach.

use std::io::Write;
use std::path::PathBuf;

use clap::Args;
use evenkeel::file;
use evenkeel::margins::{CraftGains, GainsError, with_gains};
use evenkeel::script::World;
use evenkeel::whole_file::write_whole;
use serde_json::json;

use super::outcome::{Outcome, Refusal};
use super::sign_of_life::with_sign_of_life;
use super::terminal;

/// Gains from the craft, with the margins they reach.
#[derive(Debug, Args)]
pub struct GainsArgs {
    /// Craft file.
    craft: PathBuf,
    /// Put the gains in the craft file; its comments stay.
    #[arg(long)]
    write: bool,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &GainsArgs) -> Result<Outcome, Refusal> {
    let craft = file::read_craft(&typed.craft)?;
    // A refusal takes seconds where loops are slow: each change is tried until it does.
    let looking = || "looking for the least change that would do".to_owned();
    let gains = with_sign_of_life(false, looking, || CraftGains::of(&craft, World::default().gravity_m_s2))?;
    if typed.write {
        let name = typed.craft.display().to_string();
        let text = std::fs::read_to_string(&typed.craft)
            .map_err(|error| Refusal::wrong_input(format!("{name}: cannot be read: {error}")))?;
        let changed = with_gains(&text, &gains).map_err(|error| Refusal::wrong_input(format!("{name}: {error}")))?;
        // What is written must be read again: nothing takes the file's place otherwise.
        file::parse_craft(&name, &changed)?;
        write_whole(&typed.craft, |out| out.write_all(changed.as_bytes()))?;
        terminal::complain(&format!("gains written to {name}"));
    }
    if typed.json {
        terminal::answer_json(&json!(gains))?;
    } else {
        terminal::answer(&gains.text())?;
    }
    Ok(Outcome::Held)
}

impl From<GainsError> for Refusal {
    fn from(reason: GainsError) -> Self {
        Refusal { outcome: Outcome::FellShort, message: reason.to_string() }
    }
}
