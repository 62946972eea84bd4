//! `evenkeel mix`: demands to rotor thrusts and commands, by the mixer that flies.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use evenkeel::allocations;
use evenkeel::craft::Craft;
use evenkeel::file;
use evenkeel::onboard::{CraftMixer, mixer_for};
use evenkeel_mixer::{Fixed, Scalar, Wrench};

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// Allocate demands.
#[derive(Debug, Args)]
pub struct MixArgs {
    /// Craft file.
    craft: PathBuf,
    /// Thrust along body -z, newtons.
    #[arg(long, value_name = "T", allow_negative_numbers = true, required_unless_present = "demands")]
    thrust_n: Option<f64>,
    /// Torque about body x, right side down positive, newton metres.
    #[arg(long, value_name = "R", allow_negative_numbers = true, default_value_t = 0.0)]
    roll_nm: f64,
    /// Torque about body y, nose up positive, newton metres.
    #[arg(long, value_name = "P", allow_negative_numbers = true, default_value_t = 0.0)]
    pitch_nm: f64,
    /// Torque about body z, nose right positive, newton metres.
    #[arg(long, value_name = "Y", allow_negative_numbers = true, default_value_t = 0.0)]
    yaw_nm: f64,
    /// Allocate each row of this CSV file (thrust_n,roll_nm,pitch_nm,yaw_nm).
    #[arg(long, value_name = "FILE.csv", conflicts_with_all = ["thrust_n", "roll_nm", "pitch_nm", "yaw_nm"])]
    demands: Option<PathBuf>,
    /// Take these rotors out, counted from 1: --failed 2,5.
    #[arg(long, value_name = "N,...", value_delimiter = ',')]
    failed: Vec<usize>,
    /// Arithmetic of the mixer.
    #[arg(long, value_enum, default_value_t = Arithmetic::F32)]
    scalar: Arithmetic,
    /// Print one CSV row a demand.
    #[arg(long, conflicts_with = "json")]
    csv: bool,
    /// Print one JSON object.
    #[arg(long)]
    pub json: bool,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Arithmetic {
    /// Single precision, as flown.
    F32,
    /// Double precision.
    F64,
    /// Fixed point, 32 bits before and 32 behind the point, saturating.
    Fixed,
}

pub fn run(typed: &MixArgs) -> Result<Outcome, Refusal> {
    let craft = file::read_craft(&typed.craft)?;
    let demands = match &typed.demands {
        Some(path) => read_demands(path)?,
        None => vec![single(typed)?],
    };
    let failed = failed_rotors(&craft, &typed.failed)?;
    let allocated = match typed.scalar {
        Arithmetic::F32 => allocations::allocate(&craft, &without::<f32>(&craft, &failed)?, &demands),
        Arithmetic::F64 => allocations::allocate(&craft, &without::<f64>(&craft, &failed)?, &demands),
        Arithmetic::Fixed => allocations::allocate(&craft, &without::<Fixed>(&craft, &failed)?, &demands),
    };
    if typed.csv {
        terminal::answer(&allocations::csv(&allocated, craft.rotors.len()))?;
    } else if typed.json {
        terminal::answer_json(&match (&typed.demands, allocated.as_slice()) {
            (None, [one]) => allocations::json(one),
            _ => serde_json::json!({ "allocations": allocated.iter().map(allocations::json).collect::<Vec<_>>() }),
        })?;
    } else {
        terminal::answer(&allocated.iter().map(allocations::text).collect::<String>())?;
    }
    Ok(Outcome::Held)
}

fn single(typed: &MixArgs) -> Result<Wrench<f64>, Refusal> {
    let thrust_n = typed.thrust_n.unwrap_or(0.0);
    let names = ["--thrust-n", "--roll-nm", "--pitch-nm", "--yaw-nm"];
    let values = [thrust_n, typed.roll_nm, typed.pitch_nm, typed.yaw_nm];
    for (name, value) in names.iter().zip(values) {
        if !(value.abs() <= allocations::DEMAND_MAX) {
            let most = allocations::DEMAND_MAX;
            return Err(Refusal::wrong_input(format!("{name} {value}: must be a number from -{most:e} to {most:e}")));
        }
    }
    if thrust_n < 0.0 {
        return Err(Refusal::wrong_input(format!(
            "--thrust-n {thrust_n}: must be at least 0 N; thrust pushes along body -z and is never negative"
        )));
    }
    Ok(Wrench::from_array(values))
}

/// Rotors counted from 0, each of which the craft has.
fn failed_rotors(craft: &Craft, numbers: &[usize]) -> Result<Vec<usize>, Refusal> {
    let count = craft.rotors.len();
    let index = |number: &usize| {
        number.checked_sub(1).filter(|index| *index < count).ok_or_else(|| {
            Refusal::wrong_input(format!("--failed {number}: must be from 1 to {count}; this craft has {count} rotors"))
        })
    };
    numbers.iter().map(index).collect()
}

fn without<S: Scalar>(craft: &Craft, failed: &[usize]) -> Result<CraftMixer<S>, Refusal> {
    let mut mixer = mixer_for::<S>(craft)?;
    for rotor in failed {
        mixer.fail_rotor(*rotor);
    }
    Ok(mixer)
}

fn read_demands(path: &Path) -> Result<Vec<Wrench<f64>>, Refusal> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| Refusal::wrong_input(format!("{}: cannot read the demands: {error}", path.display())))?;
    allocations::parse_demands(&path.display().to_string(), &text).map_err(Refusal::wrong_input)
}
