//! Demands allocated one by one, and their renderings.

use std::fmt;

use evenkeel_mixer::{Axis, RotorLimit, Scalar, Wrench};
use serde_json::{Value, json};

use crate::craft::Craft;
use crate::onboard::CraftMixer;

/// No demand may be larger than this, newtons or newton metres: single precision must hold it.
pub const DEMAND_MAX: f64 = 1.0e37;

/// One demand with the mixer's answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Allocated {
    /// As it was asked.
    pub demand: Wrench<f64>,
    /// What the rotors give.
    pub achieved: Wrench<f64>,
    /// Each rotor's part.
    pub rotors: Vec<RotorShare>,
    /// Whether any axis fell short.
    pub saturated: bool,
    /// Axes of the most important tier that could not be met; empty when the demand is met.
    pub gave_way: Vec<Axis>,
    /// Torque between the demand and the nearest facet of the attainable set; negative outside.
    pub control_margin_nm: f64,
}

/// One rotor's part of an allocation.
#[derive(Clone, Debug, PartialEq)]
pub struct RotorShare {
    /// The rotor's name.
    pub name: String,
    /// Newtons.
    pub thrust_n: f64,
    /// 0 to 1.
    pub command: f64,
    /// Where it stands.
    pub limit: RotorLimit,
    /// Taken out: it stands still, and its limits mean nothing.
    pub stopped: bool,
}

/// Allocates each demand.
pub fn allocate<S: Scalar>(craft: &Craft, mixer: &CraftMixer<S>, demands: &[Wrench<f64>]) -> Vec<Allocated> {
    let tier = |number: Option<u8>| {
        let tiers = &craft.saturation.priority;
        number.and_then(|number| tiers.get(usize::from(number))).cloned().unwrap_or_default()
    };
    let one = |demand: &Wrench<f64>| {
        let allocation = mixer.allocate(Wrench::from_array(demand.to_array().map(S::from_f64)));
        let commands = mixer.commands(&allocation);
        let parts = allocation.thrusts_n.iter().zip(&commands).zip(&allocation.limits);
        let rotors = craft.rotors.iter().zip(parts).enumerate();
        let rotors = rotors.map(|(place, (rotor, ((thrust, command), limit)))| RotorShare {
            name: rotor.name.clone(),
            thrust_n: thrust.to_f64(),
            command: command.to_f64(),
            limit: rotor.limit_met(thrust.to_f64()).unwrap_or(*limit),
            stopped: mixer.has_failed(place),
        });
        Allocated {
            demand: *demand,
            achieved: Wrench::from_array(allocation.achieved.to_array().map(S::to_f64)),
            rotors: rotors.collect(),
            saturated: allocation.saturated(),
            gave_way: tier(allocation.gave_way),
            control_margin_nm: mixer.control_margin_nm(allocation.demand).to_f64(),
        }
    };
    demands.iter().map(one).collect()
}

/// What is wrong with a file of demands: place, value, and what is allowed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DemandsError(String);

impl fmt::Display for DemandsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for DemandsError {}

const COLUMNS: [&str; 4] = ["thrust_n", "roll_nm", "pitch_nm", "yaw_nm"];

/// Reads demands from CSV with the header `thrust_n,roll_nm,pitch_nm,yaw_nm`.
///
/// # Errors
/// A wrong header, a row of the wrong length, or a value that is not a finite number, with its line.
pub fn parse_demands(name: &str, text: &str) -> Result<Vec<Wrench<f64>>, DemandsError> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|error| DemandsError(format!("{name}: {error}")))?;
    if header.iter().ne(COLUMNS) {
        let found: Vec<&str> = header.iter().collect();
        let (found, wanted) = (found.join(","), COLUMNS.join(","));
        return Err(DemandsError(format!("{name}:1:1: header = {found:?}: must be {wanted:?}; name the columns so")));
    }
    let mut demands = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| DemandsError(format!("{name}: {error}")))?;
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != COLUMNS.len() {
            let found = record.len();
            return Err(DemandsError(format!(
                "{name}:{line}:1: {found} values: must be 4; one for each of {}",
                COLUMNS.join(",")
            )));
        }
        let row =
            record.position().and_then(|place| text.get(usize::try_from(place.byte()).ok()?..)).unwrap_or_default();
        let mut values = [0.0; 4];
        for (k, ((slot, field), column)) in values.iter_mut().zip(&record).zip(COLUMNS).enumerate() {
            *slot = field.parse().ok().filter(|value: &f64| value.abs() <= DEMAND_MAX).ok_or_else(|| {
                DemandsError(format!(
                    "{name}:{line}:{}: {column} = {field:?}: must be a number up to {DEMAND_MAX:e} either way; write it like 12.5",
                    column_of(row, k)
                ))
            })?;
        }
        if values[0] < 0.0 {
            let thrust = values[0];
            return Err(DemandsError(format!(
                "{name}:{line}:{}: thrust_n = {thrust}: must be at least 0 N; thrust pushes along body -z and is never negative",
                column_of(row, 0)
            )));
        }
        demands.push(Wrench::from_array(values));
    }
    Ok(demands)
}

/// Where the value behind `commas` commas starts in a row, counted from 1.
fn column_of(row: &str, commas: usize) -> usize {
    let (mut left, mut quoted) = (commas, false);
    let start = row.char_indices().find(|(_, c)| {
        if left == 0 && !c.is_whitespace() {
            return true;
        }
        quoted ^= *c == '"';
        left -= usize::from(*c == ',' && !quoted && left > 0);
        false
    });
    let before = start.map_or(row, |(byte, _)| row.get(..byte).unwrap_or(row));
    // The reader passes over empty lines, but begins a row at them.
    1 + before.rsplit('\n').next().unwrap_or_default().chars().count()
}

/// One row a demand: demand, achieved, thrusts, commands.
pub fn csv(allocated: &[Allocated], rotors: usize) -> String {
    let names = COLUMNS.iter().map(|column| (*column).to_owned());
    let achieved = COLUMNS.iter().map(|column| format!("achieved_{column}"));
    let thrusts = (1..=rotors).map(|i| format!("rotor_{i}_n"));
    let commands = (1..=rotors).map(|i| format!("command_{i}"));
    let header: Vec<String> = names.chain(achieved).chain(thrusts).chain(commands).collect();
    let rows = allocated.iter().map(|one| {
        let wrenches = one.demand.to_array().into_iter().chain(one.achieved.to_array());
        let thrusts = one.rotors.iter().map(|rotor| rotor.thrust_n);
        let commands = one.rotors.iter().map(|rotor| rotor.command);
        let values: Vec<String> = wrenches.chain(thrusts).chain(commands).map(|value| value.to_string()).collect();
        values.join(",")
    });
    std::iter::once(header.join(",")).chain(rows).map(|line| line + "\n").collect()
}

/// One object a demand.
pub fn json(one: &Allocated) -> Value {
    let wrench = |w: &Wrench<f64>| json!({ "thrust_n": w.thrust_n, "roll_nm": w.roll_nm, "pitch_nm": w.pitch_nm, "yaw_nm": w.yaw_nm });
    let rotor = |rotor: &RotorShare| {
        json!({
            "name": rotor.name,
            "thrust_n": rotor.thrust_n,
            "command": rotor.command,
            "limit": rotor.stands(),
        })
    };
    json!({
        "demand": wrench(&one.demand),
        "achieved": wrench(&one.achieved),
        "rotors": one.rotors.iter().map(rotor).collect::<Vec<_>>(),
        "saturated": one.saturated,
        "gave_way": one.gave_way.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "control_margin_nm": one.control_margin_nm,
    })
}

/// A small table for the terminal.
pub fn text(one: &Allocated) -> String {
    let row = |title: &str, w: &Wrench<f64>| {
        let [thrust, roll, pitch, yaw] = w.to_array();
        format!("{title:<10}{thrust:>10.3} N {roll:>10.4} {pitch:>10.4} {yaw:>10.4} N\u{b7}m\n")
    };
    let width = one.rotors.iter().map(|rotor| rotor.name.chars().count()).max().unwrap_or(0);
    let rotors = one.rotors.iter().map(|rotor| {
        let at = match rotor.stands() {
            "none" => String::new(),
            "stopped" => "  stopped".to_owned(),
            limit => format!("  at its {limit}"),
        };
        format!("  {:<width$}  {:>8.3} N  command {:.4}{at}\n", rotor.name, rotor.thrust_n, rotor.command)
    });
    let head = format!("{:<10}{:>12} {:>10} {:>10} {:>10}\n", "", "thrust", "roll", "pitch", "yaw");
    let short = match one.gave_way.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ") {
        none if none.is_empty() => "met in full".to_owned(),
        first => format!("not met in full; {first} gave way first"),
    };
    let margin_nm = one.control_margin_nm;
    let margin = match margin_nm < 0.0 {
        true => format!("{short}; {:.4} N\u{b7}m of torque beyond the limits\n", -margin_nm),
        false => format!("{short}; {margin_nm:.4} N\u{b7}m of torque to spare\n"),
    };
    head + &row("demand", &one.demand) + &row("achieved", &one.achieved) + &margin + &rotors.collect::<String>()
}

impl RotorShare {
    /// "none", "floor", "ceiling", or "stopped" for a rotor that was taken out.
    fn stands(&self) -> &'static str {
        match self.limit {
            _ if self.stopped => "stopped",
            RotorLimit::None => "none",
            RotorLimit::Floor => "floor",
            RotorLimit::Ceiling => "ceiling",
        }
    }
}
