//! `evenkeel mix`: demands to rotor thrusts and commands, by the mixer that flies.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use evenkeel::allocations::{self, Allocated};
use evenkeel::craft::Craft;
use evenkeel::file;
use evenkeel::onboard::{CraftMixer, mixer_for};
use evenkeel_mixer::{Fixed, Scalar, Wrench};

use super::outcome::{Outcome, Refusal};
use super::sign_of_life::with_sign_of_life;
use super::terminal;

/// Longest file of demands that is read: some five million rows.
const DEMANDS_MAX_BYTES: u64 = 1 << 28;

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
    #[arg(long, value_name = "N,...", value_delimiter = ',', allow_negative_numbers = true, value_parser = parse_rotor)]
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
    let line = || format!("{} demands are being allocated", demands.len());
    let (allocated, words) = with_sign_of_life(false, line, || {
        let allocated = allocate(&craft, typed.scalar, &failed, &demands)?;
        let words = yaw_sign_words(&craft, typed.scalar, &failed, &allocated)?;
        Ok::<_, Refusal>((allocated, words))
    })?;
    let object = |(one, words): (&Allocated, &Option<String>)| {
        let mut object = allocations::json(one);
        if let Some(object) = object.as_object_mut() {
            object.insert("gave_way_words".to_owned(), words.clone().into());
        }
        object
    };
    let mut told = allocated.iter().zip(&words);
    if typed.csv {
        terminal::answer(&allocations::csv(&allocated, craft.rotors.len()))?;
    } else if typed.json {
        terminal::answer_json(&match (&typed.demands, told.next()) {
            (None, Some(one)) => object(one),
            _ => serde_json::json!({ "allocations": allocated.iter().zip(&words).map(object).collect::<Vec<_>>() }),
        })?;
    } else {
        let text = |(one, words): (&Allocated, &Option<String>)| {
            allocations::text(one) + &words.iter().map(|words| format!("{words}\n")).collect::<String>()
        };
        terminal::answer(&told.map(text).collect::<String>())?;
    }
    Ok(Outcome::Held)
}

fn allocate(
    craft: &Craft,
    scalar: Arithmetic,
    failed: &[usize],
    demands: &[Wrench<f64>],
) -> Result<Vec<Allocated>, Refusal> {
    Ok(match scalar {
        Arithmetic::F32 => allocations::allocate(craft, &without::<f32>(craft, failed)?, demands),
        Arithmetic::F64 => allocations::allocate(craft, &without::<f64>(craft, failed)?, demands),
        Arithmetic::Fixed => allocations::allocate(craft, &without::<Fixed>(craft, failed)?, demands),
    })
}

/// Thrust that the yaw sign costs is told from this share of the demand.
const TOLD_SHARE: f64 = 1e-3;

/// Says, demand by demand, where thrust falls short only because yaw may not turn against its demand:
/// found by allocating the same without that rule.
fn yaw_sign_words(
    craft: &Craft,
    scalar: Arithmetic,
    failed: &[usize],
    kept: &[Allocated],
) -> Result<Vec<Option<String>>, Refusal> {
    if !craft.saturation.keep_yaw_sign {
        return Ok(vec![None; kept.len()]);
    }
    let mut freed = craft.clone();
    freed.saturation.keep_yaw_sign = false;
    let demands: Vec<Wrench<f64>> = kept.iter().map(|one| one.demand).collect();
    let freed = allocate(&freed, scalar, failed, &demands)?;
    let words = |(kept, freed): (&Allocated, &Allocated)| {
        let wanted_n = kept.demand.thrust_n;
        let [kept_n, freed_n] = [kept, freed].map(|one| one.achieved.thrust_n);
        let costs_n = (wanted_n - kept_n).abs() - (wanted_n - freed_n).abs();
        (costs_n > TOLD_SHARE * wanted_n).then(|| {
            format!(
                "thrust gave way: keep_yaw_sign holds thrust at {kept_n:.3} N, because going on to {wanted_n:.3} N would turn yaw against its \
                 demand; with `[saturation] keep_yaw_sign = false` thrust is {freed_n:.3} N and yaw {:.4} N\u{b7}m",
                freed.achieved.yaw_nm
            )
        })
    };
    Ok(kept.iter().zip(&freed).map(words).collect())
}

fn single(typed: &MixArgs) -> Result<Wrench<f64>, Refusal> {
    let thrust_n = typed.thrust_n.unwrap_or(0.0);
    let names = ["--thrust-n", "--roll-nm", "--pitch-nm", "--yaw-nm"];
    let values = [thrust_n, typed.roll_nm, typed.pitch_nm, typed.yaw_nm];
    for (name, value) in names.iter().zip(values) {
        if !(value.abs() <= allocations::DEMAND_MAX) {
            let most = allocations::DEMAND_MAX;
            return Err(Refusal::wrong_input(format!("{name} {value:?}: must be a number from -{most:e} to {most:e}")));
        }
    }
    if thrust_n < 0.0 {
        return Err(Refusal::wrong_input(format!(
            "--thrust-n {thrust_n}: must be at least 0 N; thrust pushes along body -z and is never negative"
        )));
    }
    Ok(Wrench::from_array(values))
}

fn parse_rotor(text: &str) -> Result<usize, String> {
    text.parse().map_err(|_| "must be whole numbers from 1 with commas between: --failed 2,5".to_owned())
}

/// Rotors counted from 0, each of which the craft has.
fn failed_rotors(craft: &Craft, numbers: &[usize]) -> Result<Vec<usize>, Refusal> {
    let count = craft.rotors.len();
    let twice = |(place, number): &(usize, &usize)| numbers.iter().take(*place).any(|before| before == *number);
    if let Some((_, number)) = numbers.iter().enumerate().find(twice) {
        return Err(Refusal::wrong_input(format!(
            "--failed {number}: must be named once; this rotor stands there twice"
        )));
    }
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
    let refused = |why: String| Refusal::wrong_input(format!("{}: cannot read the demands: {why}", path.display()));
    let mut text = String::new();
    let file = File::open(path).map_err(|error| refused(error.to_string()))?;
    let read =
        file.take(DEMANDS_MAX_BYTES + 1).read_to_string(&mut text).map_err(|error| refused(error.to_string()))?;
    if read as u64 > DEMANDS_MAX_BYTES {
        return Err(refused(format!("it is longer than {DEMANDS_MAX_BYTES} bytes")));
    }
    allocations::parse_demands(&path.display().to_string(), &text).map_err(Refusal::wrong_input)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(keep_yaw_sign: bool, failed: &[usize], thrust_n: f64) -> Option<String> {
        let mut craft = evenkeel::demo::quad().expect("the built-in quad");
        craft.saturation.keep_yaw_sign = keep_yaw_sign;
        let demand = [Wrench { thrust_n, ..Wrench::default() }];
        let allocated = allocate(&craft, Arithmetic::F32, failed, &demand).expect("allocated");
        yaw_sign_words(&craft, Arithmetic::F32, failed, &allocated).expect("words").remove(0)
    }

    #[test]
    fn says_that_keep_yaw_sign_starves_thrust_when_a_rotor_is_lost() {
        let told = words(true, &[2], 5.0).expect("three rotors lift nothing without turning");
        assert!(told.starts_with("thrust gave way: keep_yaw_sign"), "{told}");
        assert!(told.contains("`[saturation] keep_yaw_sign = false`"), "{told}");
    }

    #[test]
    fn says_nothing_where_keep_yaw_sign_costs_no_thrust() {
        assert_eq!(words(true, &[], 5.0), None);
        assert_eq!(words(false, &[2], 5.0), None);
    }
}
