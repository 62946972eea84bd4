//! `evenkeel envelope`: what the rotors can reach, in figures and in words.

use std::path::PathBuf;

use clap::Args;
use evenkeel::craft::Craft;
use evenkeel::envelope::Envelope;
use evenkeel::file;
use evenkeel::onboard::{Onboard, Unflyable};
use evenkeel::saturation::{Picture, text};
use evenkeel::script::World;
use serde_json::json;

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// Largest torques over the range of thrust, what gives way first, and a builder's questions.
#[derive(Debug, Args)]
pub struct EnvelopeArgs {
    /// Craft file.
    craft: PathBuf,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &EnvelopeArgs) -> Result<Outcome, Refusal> {
    let craft = file::read_craft(&typed.craft)?;
    let envelope = Envelope::of(&craft)?;
    let picture = picture(&craft);
    if typed.json {
        let mut object = json!(envelope);
        match (object.as_object_mut(), picture.as_ref().map(|picture| json!(picture))) {
            (Some(object), Ok(serde_json::Value::Object(more))) => object.extend(more),
            (Some(object), Err(reason)) => {
                object.insert("no_picture".into(), json!(reason.to_string()));
            }
            _ => {}
        }
        terminal::answer_json(&object)?;
    } else {
        let more = match &picture {
            Ok(picture) => text(picture, craft.rotors.len()),
            Err(reason) => format!("\nNo more than this can be told: {reason}\n"),
        };
        terminal::answer(&(envelope.text() + &more))?;
    }
    Ok(Outcome::Held)
}

/// What depends on the weight; a craft that cannot hover has none.
fn picture(craft: &Craft) -> Result<Picture, Unflyable> {
    let world = World::default();
    Picture::of(craft, &Onboard::new(craft, world.gravity_m_s2)?, &world)
}
