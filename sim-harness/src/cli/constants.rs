//! `evenkeel constants`: the craft as Rust constants, for a board that flies it.

use std::io::Write as _;
use std::path::PathBuf;

use clap::Args;
use evenkeel::board::{constants, craft_fingerprint};
use evenkeel::file;
use evenkeel::whole_file::write_whole;
use serde_json::json;

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// The gravity that a board reckons with, CGPM 1901.
const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;

/// Write the craft as constants.
#[derive(Debug, Args)]
pub struct ConstantsArgs {
    /// Craft file.
    craft: PathBuf,
    /// Write them to this file, as firmware/board/src/craft/constants.rs, instead of printing them.
    #[arg(long, value_name = "FILE.rs")]
    out: Option<PathBuf>,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &ConstantsArgs) -> Result<Outcome, Refusal> {
    let craft = file::read_craft(&typed.craft)?;
    let text = constants(&craft, STANDARD_GRAVITY_M_S2)?;
    let fingerprint = craft_fingerprint(&craft, STANDARD_GRAVITY_M_S2)?.to_string();
    if let Some(out) = &typed.out {
        if matches!((out.canonicalize(), typed.craft.canonicalize()), (Ok(out), Ok(craft)) if out == craft) {
            return Err(Refusal::wrong_input(format!(
                "--out {}: must not be the craft file; name another file",
                out.display()
            )));
        }
        write_whole(out, |file| file.write_all(text.as_bytes()))?;
    }
    if typed.json {
        let constants = typed.out.is_none().then_some(&text);
        terminal::answer_json(&json!({ "craft": craft.name, "fingerprint": fingerprint, "constants": constants }))?;
    } else if typed.out.is_some() {
        terminal::answer(&format!("{}: fingerprint {fingerprint}\n", craft.name))?;
    } else {
        terminal::answer(&text)?;
    }
    Ok(Outcome::Held)
}
