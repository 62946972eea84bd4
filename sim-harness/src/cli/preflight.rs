//! `evenkeel preflight`: the maiden-flight check.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use clap::Args;
use evenkeel::craft::Craft;
use evenkeel::{demo, file, preflight, report};

use super::outcome::{Outcome, Refusal};
use super::sign_of_life::with_sign_of_life;
use super::terminal;

/// The maiden-flight check.
#[derive(Debug, Args)]
pub struct PreflightArgs {
    /// Craft file; without one, a built-in demo craft.
    pub craft: Option<PathBuf>,
    /// Folder for report.html, verdict.json and flights/*.csv.
    #[arg(long, value_name = "DIR", default_value = "evenkeel-report")]
    out: PathBuf,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &PreflightArgs) -> Result<Outcome, Refusal> {
    let craft = craft(typed.craft.as_deref())?;
    // Found out before the flights, not after them.
    std::fs::create_dir_all(typed.out.join("flights")).map_err(|error| {
        Refusal::wrong_input(format!(
            "--out {}: must be a folder that can be written: {error}; name another",
            typed.out.display()
        ))
    })?;
    let bar = terminal::progress(1, "flights");
    let (flown, count) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let told = |done: usize, of: usize| {
        bar.set_length(of as u64);
        bar.inc(u64::from(done > 0));
        flown.fetch_max(done, Ordering::Relaxed);
        count.store(of, Ordering::Relaxed);
    };
    let line = || format!("{} of {} flights flown", flown.load(Ordering::Relaxed), count.load(Ordering::Relaxed));
    let found = with_sign_of_life(!bar.is_hidden(), line, || preflight::preflight(&craft, &told));
    bar.finish_and_clear();
    let found = found?;
    report::write_all(&typed.out, &found, &craft)?;
    if typed.json {
        terminal::answer_json(&report::json(&found))?;
    } else {
        terminal::answer(&report::text(&found, terminal::style()))?;
        terminal::answer(&format!("\nReport: {}\n", typed.out.join("report.html").display()))?;
    }
    Ok(if found.fit() { Outcome::Held } else { Outcome::FellShort })
}

fn craft(path: Option<&Path>) -> Result<Craft, Refusal> {
    Ok(match path {
        Some(path) => file::read_craft(path)?,
        None => demo::quad()?,
    })
}
