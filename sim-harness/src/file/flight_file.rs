//! From the keys of a flight file to a checked [`Flight`] for one craft.

use super::craft_file::parse_toml;
use super::error::FileError;
use super::expectations::expectations;
use super::faults::faults;
use super::flight_keys::{FlightKeys, LegKeys};
use super::key::Keys;
use super::source::Source;
use super::table::Table;
use super::world::world;
use crate::craft::Craft;
use crate::script::{Flight, Initial, Lateral, Leg, Vertical};

/// Most rows a log may have.
pub const MAX_LOG_ROWS: f64 = 1e6;
const LOG_PERIOD_S: f64 = 0.02;

/// Checks the text of a flight file for `craft`; messages call it `name`.
///
/// # Errors
/// The text is no TOML, or does not describe a flight this craft can be put through.
pub fn parse_flight(name: &str, text: &str, craft: &Craft) -> Result<Flight, FileError> {
    let source = Source::new(name, text, "flight")?;
    let document = parse_toml(&source)?;
    let root = Table::root(&source, &document);
    root.check_format()?;
    flight(&FlightKeys::read(&root)?, craft)
}

fn flight(file: &FlightKeys<'_>, craft: &Craft) -> Result<Flight, FileError> {
    let initial = &file.initial;
    let [_, _, down_m] = initial.position_m;
    if !(down_m <= 0.0) {
        let mend = format!("the third number is down: a height of {down_m} m is {}", -down_m);
        return Err(initial.at.refuse("position_m", "must not start below the ground", &mend));
    }
    let legs = legs(file)?;
    let log_period_s = log_period_s(file)?;
    Ok(Flight {
        name: file.name.clone(),
        duration_s: file.duration_s,
        log_period_s,
        seed: file.seed,
        control: file.control,
        initial: Initial {
            position_m: initial.position_m,
            velocity_m_s: initial.velocity_m_s,
            attitude_rad: initial.attitude_deg.map(f64::to_radians),
            rate_rad_s: initial.rate_rad_s,
            power_up: initial.power_up,
        },
        world: world(&file.world, file.duration_s)?,
        expectations: expectations(file, craft, &legs, log_period_s)?,
        legs,
        faults: faults(file, craft)?,
    })
}

fn log_period_s(file: &FlightKeys<'_>) -> Result<f64, FileError> {
    let Some(period_s) = file.log_period_s else {
        return Ok(LOG_PERIOD_S.min(file.duration_s));
    };
    if !(period_s <= file.duration_s) {
        let must = format!("must be at most duration_s, {} s", file.duration_s);
        return Err(file.at.refuse("log_period_s", &must, "shorten the period or lengthen the flight"));
    }
    if !(file.duration_s / period_s <= MAX_LOG_ROWS) {
        let least = file.duration_s / MAX_LOG_ROWS;
        let must = format!("must be at least {least} s, a millionth of duration_s");
        return Err(file.at.refuse("log_period_s", &must, "a longer log would fill the disk: lengthen the period"));
    }
    Ok(period_s)
}

/// The legs; the last one ends with the flight, whatever its `until_s`.
fn legs(file: &FlightKeys<'_>) -> Result<Vec<Leg>, FileError> {
    if file.leg.is_empty() && file.control {
        let mend = "add [[leg]] with height_m, or set control = \"off\" for a free body";
        return Err(file.at.refuse("leg", "missing: must have at least one leg while control is on", mend));
    }
    let mut legs = Vec::with_capacity(file.leg.len());
    let mut start_s = 0.0;
    for (index, keys) in file.leg.iter().enumerate() {
        if !(start_s < file.duration_s) {
            let must = format!(
                "must start before duration_s, {} s, but the leg before it ends at {start_s} s",
                file.duration_s
            );
            return Err(keys.at.refuse_table(&must, "lengthen duration_s or take the leg out"));
        }
        let last = index + 1 == file.leg.len();
        let until_s = until_s(keys, start_s, last.then_some(file.duration_s))?;
        legs.push(Leg {
            name: keys.name.clone().unwrap_or_else(|| format!("leg {}", index + 1)),
            until_s: if last { file.duration_s } else { until_s },
            vertical: vertical(keys)?,
            lateral: lateral(keys)?,
        });
        start_s = until_s;
    }
    Ok(legs)
}

fn until_s(keys: &LegKeys<'_>, start_s: f64, when_left_out: Option<f64>) -> Result<f64, FileError> {
    let until_s = keys.until_s.or(when_left_out).ok_or_else(|| {
        let mend = "add `until_s = ...`, the leg's end on the flight's clock; only the last leg may leave it out";
        keys.at.refuse("until_s", "missing: must be given", mend)
    })?;
    if !(until_s > start_s) {
        let must = format!("must be above the end of the leg before it, {start_s} s");
        return Err(keys.at.refuse("until_s", &must, "until_s is a time on the flight's clock, not the leg's length"));
    }
    Ok(until_s)
}

fn vertical(keys: &LegKeys<'_>) -> Result<Vertical, FileError> {
    match (keys.height_m, keys.climb_m_s, keys.thrust_n) {
        (Some(height_m), None, None) => Ok(Vertical::Height(height_m)),
        (None, Some(climb_m_s), None) => Ok(Vertical::Climb(climb_m_s)),
        (None, None, Some(thrust_n)) => Ok(Vertical::Thrust(thrust_n)),
        (None, None, None) => {
            let mend = "add one: height_m holds a height, climb_m_s a climb speed, thrust_n a bare thrust";
            Err(keys.at.refuse_table("must have one of height_m, climb_m_s, thrust_n", mend))
        }
        (height_m, climb_m_s, _) => {
            let second = if height_m.is_some() && climb_m_s.is_some() { "climb_m_s" } else { "thrust_n" };
            let must = "must stand alone: exactly one of height_m, climb_m_s, thrust_n";
            Err(keys.at.refuse(second, must, "keep the one that is meant"))
        }
    }
}

fn lateral(keys: &LegKeys<'_>) -> Result<Lateral, FileError> {
    let angles = [("roll_deg", keys.roll_deg), ("pitch_deg", keys.pitch_deg), ("yaw_rate_deg_s", keys.yaw_rate_deg_s)];
    let angle = angles.iter().find(|(_, value)| value.is_some()).map(|(key, _)| *key);
    let rates = keys.rate_deg_s.map(|_| "rate_deg_s");
    let circle = keys.circle.as_ref().map(|_| "circle");
    let velocity = keys.velocity_m_s.map(|_| "velocity_m_s");
    let mut kinds = [angle, rates, circle, velocity].into_iter().flatten();
    if let (Some(first), Some(second)) = (kinds.next(), kinds.next()) {
        let must = format!("must not stand beside {first}");
        let mend = "a leg has either angles (roll_deg, pitch_deg, yaw_rate_deg_s) or one of rate_deg_s, circle, velocity_m_s: keep the one that is meant";
        return Err(keys.at.refuse(second, &must, mend));
    }
    let radians = |degrees: Option<f64>| degrees.unwrap_or(0.0).to_radians();
    Ok(match (keys.rate_deg_s, &keys.circle, keys.velocity_m_s) {
        (Some(rates), _, _) => Lateral::Rates(rates.map(f64::to_radians)),
        (_, Some(circle), _) => Lateral::Circle { radius_m: circle.radius_m, speed_m_s: circle.speed_m_s },
        (_, _, Some(velocity)) => Lateral::Velocity(velocity),
        _ => Lateral::Angles {
            roll_rad: radians(keys.roll_deg),
            pitch_rad: radians(keys.pitch_deg),
            yaw_rate_rad_s: radians(keys.yaw_rate_deg_s),
        },
    })
}
