//! What can be typed, and what becomes of it.
//!
//! Answers go to standard output, messages and progress to standard error. Colour and progress need a
//! terminal and no `NO_COLOR`.

mod constants;
mod disperse;
mod envelope;
mod fly;
mod gains;
mod margins;
mod mix;
mod outcome;
mod preflight;
mod sign_of_life;
mod terminal;
mod watch;

use std::path::Path;
use std::process::ExitCode;

use clap::{CommandFactory, Parser, Subcommand};

use outcome::{Outcome, Refusal};

/// Takes a multirotor from a frame on the bench to a safe first flight.
#[derive(Debug, Parser)]
#[command(name = "evenkeel", version, args_conflicts_with_subcommands = true, after_help = AFTER_HELP)]
struct CommandLine {
    #[command(flatten)]
    preflight: preflight::PreflightArgs,
    #[command(subcommand)]
    command: Option<Command>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Fly the maiden-flight check and print the verdict (the default command).
    Preflight(preflight::PreflightArgs),
    /// Allocate thrust and torque demands to the rotors.
    Mix(mix::MixArgs),
    /// Print the largest torques over the range of thrust.
    Envelope(envelope::EnvelopeArgs),
    /// Derive gains from the craft, with the margins they reach.
    Gains(gains::GainsArgs),
    /// Print what the loops bear: gain, phase and delay margins.
    Margins(margins::MarginsArgs),
    /// Fly a script and log it.
    Fly(fly::FlyArgs),
    /// Fly many crafts that are not quite what the file says.
    Disperse(disperse::DisperseArgs),
    /// Write the craft as Rust constants for a board.
    Constants(constants::ConstantsArgs),
    /// Show what a board on the bench senses and does.
    Watch(watch::WatchArgs),
}

const AFTER_HELP: &str = "\
Exit status: 0 done, every check held; 1 done, the craft or the flight fell short;
2 the input was wrong; 3 the computation diverged.

A simulation is no clearance to fly. Propellers off on the bench.";

/// Runs the command line of this process.
pub fn run() -> ExitCode {
    let typed = match CommandLine::try_parse() {
        Ok(typed) => typed,
        // What follows a misspelt command makes no sense either; the first word is what has to be mended.
        Err(error) => match std::env::args_os().nth(1).and_then(|word| misspelt_command(Path::new(&word))) {
            Some(refusal) => {
                terminal::complain(&refusal.message);
                return refusal.outcome.into();
            }
            None => error.exit(),
        },
    };
    let json = typed.json();
    let outcome = match typed.command {
        Some(Command::Preflight(typed)) => preflight::run(&typed),
        Some(Command::Mix(typed)) => mix::run(&typed),
        Some(Command::Envelope(typed)) => envelope::run(&typed),
        Some(Command::Gains(typed)) => gains::run(&typed),
        Some(Command::Margins(typed)) => margins::run(&typed),
        Some(Command::Fly(typed)) => fly::run(&typed),
        Some(Command::Disperse(typed)) => disperse::run(&typed),
        Some(Command::Constants(typed)) => constants::run(&typed),
        Some(Command::Watch(typed)) => watch::run(&typed),
        None => match typed.preflight.craft.as_deref().and_then(misspelt_command) {
            Some(refusal) => Err(refusal),
            None => preflight::run(&typed.preflight),
        },
    };
    outcome
        .unwrap_or_else(|refusal| {
            terminal::complain(&refusal.message);
            // An unfit craft is an answer, and a script reads answers on standard output.
            if json && refusal.outcome == Outcome::FellShort {
                let _ = terminal::answer_json(&serde_json::json!({ "fit": false, "reason": refusal.message }));
            }
            refusal.outcome
        })
        .into()
}

/// How alike a word and a command are from which the command was meant; our choice.
const MEANT: f64 = 0.8;

/// A first word that is no file, and is like a command, is that command misspelt.
fn misspelt_command(word: &Path) -> Option<Refusal> {
    let name = word.to_str().filter(|name| !name.starts_with('-') && !word.exists())?;
    let commands: Vec<String> =
        CommandLine::command().get_subcommands().map(|command| command.get_name().to_owned()).collect();
    if commands.iter().any(|command| command == name) {
        return None;
    }
    let alike = |command: &String| strsim::jaro_winkler(name, command);
    let near = commands.iter().max_by(|a, b| alike(a).total_cmp(&alike(b))).filter(|near| alike(near) >= MEANT)?;
    let (shown, all) = (evenkeel::file::printable(name), commands.join(", "));
    Some(Refusal::wrong_input(format!(
        "{shown}: no such command and no such file: must be a craft file or one of {all}; did you mean {near}?"
    )))
}

impl CommandLine {
    /// Whether the answer is to be one JSON object.
    fn json(&self) -> bool {
        match &self.command {
            Some(Command::Preflight(typed)) => typed.json,
            Some(Command::Mix(typed)) => typed.json,
            Some(Command::Envelope(typed)) => typed.json,
            Some(Command::Gains(typed)) => typed.json,
            Some(Command::Margins(typed)) => typed.json,
            Some(Command::Fly(typed)) => typed.json,
            Some(Command::Disperse(typed)) => typed.json,
            Some(Command::Constants(typed)) => typed.json,
            Some(Command::Watch(_)) => false,
            None => self.preflight.json,
        }
    }
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        ExitCode::from(outcome as u8)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn command_line_is_consistent() {
        CommandLine::command().debug_assert();
    }
}
