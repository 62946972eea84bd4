//! `evenkeel margins`: what the loops bear.

use std::path::PathBuf;

use clap::Args;
use evenkeel::file;
use evenkeel::margins::{LoopResponse, Margins};
use evenkeel::script::World;
use serde_json::{Value, json};

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
    /// With --json: each loop's open-loop response as well, to half its sample rate.
    #[arg(long, requires = "json")]
    response: bool,
}

pub fn run(typed: &MarginsArgs) -> Result<Outcome, Refusal> {
    let (craft, gravity_m_s2) = (file::read_craft(&typed.craft)?, World::default().gravity_m_s2);
    let margins = Margins::of(&craft, gravity_m_s2)?;
    if typed.response {
        terminal::answer_json(&with_responses(json!(margins), &LoopResponse::all(&craft, gravity_m_s2)?))?;
    } else if typed.json {
        terminal::answer_json(&json!(margins))?;
    } else {
        terminal::answer(&margins.text())?;
    }
    Ok(if margins.held { Outcome::Held } else { Outcome::FellShort })
}

/// The answer with each loop's response in it; both have the loops in the same order.
fn with_responses(mut answer: Value, responses: &[LoopResponse]) -> Value {
    let loops = answer.get_mut("loops").and_then(Value::as_array_mut).into_iter().flatten();
    for (one, told) in loops.zip(responses) {
        if let Some(one) = one.as_object_mut() {
            one.insert("nyquist_hz".into(), json!(told.nyquist_hz));
            one.insert("response".into(), json!(told.points));
        }
    }
    answer
}
