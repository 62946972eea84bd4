//! What can be looked at in a flight: the columns of its log, and quantities in the words of the trade.

use std::sync::OnceLock;

use nalgebra::Vector3;

use crate::craft::Craft;
use crate::file;
use crate::onboard::{CraftMixer, mixer_for};
use crate::recording::{self, Row};

/// Below this speed a direction of travel means nothing.
const STANDSTILL_M_S: f64 = 1.0e-3;

/// What quantities are worked out from, beside a row of the log.
pub struct Scene<'a> {
    craft: &'a Craft,
    mixer: OnceLock<Option<CraftMixer<f64>>>,
}

impl<'a> Scene<'a> {
    /// The flight is that of `craft`, as its file has it.
    pub fn new(craft: &'a Craft) -> Self {
        Scene { craft, mixer: OnceLock::new() }
    }

    /// Torque between a demand and the nearest limit of the rotors; NaN for a craft without control.
    fn control_margin_nm(&self, row: &Row) -> f64 {
        let mixer = self.mixer.get_or_init(|| mixer_for(self.craft).ok());
        mixer.as_ref().map_or(f64::NAN, |mixer| mixer.control_margin_nm(row.demand))
    }
}

/// A quantity in the words of the trade.
#[derive(Debug)]
pub struct About {
    /// Its name, with its unit at the end.
    pub name: &'static str,
    /// What it is.
    pub about: &'static str,
    /// An angle that starts anew after a full turn.
    pub goes_round: bool,
    value: Value,
}

#[derive(Clone, Copy, Debug)]
enum Value {
    OfRow(fn(&Row) -> f64),
    InScene(fn(&Row, &Scene<'_>) -> f64),
    /// Distance from a point, by its part along each world axis.
    From([f64; 3]),
}

const fn of(name: &'static str, value: fn(&Row) -> f64, about: &'static str) -> About {
    About { name, about, goes_round: false, value: Value::OfRow(value) }
}

const fn round(name: &'static str, value: fn(&Row) -> f64, about: &'static str) -> About {
    About { name, about, goes_round: true, value: Value::OfRow(value) }
}

const fn seen(name: &'static str, value: fn(&Row, &Scene<'_>) -> f64, about: &'static str) -> About {
    About { name, about, goes_round: false, value: Value::InScene(value) }
}

const fn away(name: &'static str, along: [f64; 3], about: &'static str) -> About {
    About { name, about, goes_round: false, value: Value::From(along) }
}

/// Every quantity that is no column of the log.
pub const QUANTITIES: &[About] = &[
    of("height_m", Row::height_m, "height above the ground"),
    of("climb_m_s", |row| -row.velocity_m_s[2], "speed of climb, up positive"),
    of("speed_m_s", |row| Vector3::from(row.velocity_m_s).norm(), "speed, climb included"),
    of("ground_speed_m_s", Row::ground_speed_m_s, "speed over ground"),
    round("course_deg", course_deg, "direction of travel over ground, clockwise from north; none at a standstill"),
    round("heading_deg", |row| row.euler_rad()[2].to_degrees(), "where the nose points, clockwise from north"),
    of("roll_deg", |row| row.euler_rad()[0].to_degrees(), "roll, right side down positive (Euler 3-2-1)"),
    of("pitch_deg", |row| row.euler_rad()[1].to_degrees(), "pitch, nose up positive (Euler 3-2-1)"),
    of("tilt_deg", |row| row.tilt_rad().to_degrees(), "angle between the craft's down axis and the world's"),
    of("roll_rate_deg_s", |row| row.rate_rad_s[0].to_degrees(), "rate about body x"),
    of("pitch_rate_deg_s", |row| row.rate_rad_s[1].to_degrees(), "rate about body y"),
    of("yaw_rate_deg_s", |row| row.rate_rad_s[2].to_degrees(), "rate about body z"),
    of("turn_rate_deg_s", turn_rate_deg_s, "rate of turn: how fast the heading changes, nose right positive"),
    of("rotation_deg_s", |row| Vector3::from(row.rate_rad_s).norm().to_degrees(), "size of the body rate, all axes"),
    of("thrust_n", |row| row.rotor_n.iter().sum(), "thrust of all rotors now, each along its own axis"),
    seen("thrust_share", thrust_share, "that thrust as a share of full thrust, 0 to 1"),
    of(
        "largest_command",
        |row| most(row.command.iter().copied()),
        "command of the rotor that is asked for most, 0 to 1",
    ),
    of("smallest_command", |row| -most(row.command.iter().map(|c| -c)), "command of the rotor that is asked for least"),
    of(
        "command_margin",
        |row| -most(row.command.iter().map(|c| -c.min(1.0 - c))),
        "what is left of a command to 0 or 1, on the rotor that has least left",
    ),
    seen(
        "control_margin_nm",
        |row, scene| scene.control_margin_nm(row),
        "torque between the demand and what the rotors can give, all running; negative beyond it",
    ),
    of("thrust_shortfall_n", |row| row.demand.thrust_n - row.achieved.thrust_n, "thrust demanded and not achieved"),
    of("torque_shortfall_nm", torque_shortfall_nm, "size of the torque demanded and not achieved"),
    away("distance_m", [1.0, 1.0, 1.0], "distance from from_point_m"),
    away("ground_distance_m", [1.0, 1.0, 0.0], "level distance from from_point_m, whatever the height"),
];

/// NaN spreads.
fn most(values: impl Iterator<Item = f64>) -> f64 {
    values.reduce(|most, value| if value > most || value.is_nan() { value } else { most }).unwrap_or(f64::NAN)
}

fn course_deg(row: &Row) -> f64 {
    let [north, east, _] = row.velocity_m_s;
    if row.ground_speed_m_s() > STANDSTILL_M_S { east.atan2(north).to_degrees() } else { f64::NAN }
}

/// * Math: ψ̇ = (q·sin φ + r·cos φ)/cos θ
/// * Source: kinematics of Euler angles 3-2-1, any textbook of flight mechanics (from memory)
fn turn_rate_deg_s(row: &Row) -> f64 {
    let ([roll, pitch, _], [_, q, r]) = (row.euler_rad(), row.rate_rad_s);
    ((q * roll.sin() + r * roll.cos()) / pitch.cos()).to_degrees()
}

fn thrust_share(row: &Row, scene: &Scene<'_>) -> f64 {
    let full_n: f64 = scene.craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    row.rotor_n.iter().sum::<f64>() / full_n
}

fn torque_shortfall_nm(row: &Row) -> f64 {
    let (demand, achieved) = (row.demand, row.achieved);
    let short =
        [demand.roll_nm - achieved.roll_nm, demand.pitch_nm - achieved.pitch_nm, demand.yaw_nm - achieved.yaw_nm];
    Vector3::from(short).norm()
}

/// One quantity of one craft's flights.
#[derive(Clone, Debug)]
pub struct Quantity {
    name: String,
    source: Source,
}

#[derive(Clone, Debug)]
enum Source {
    Column(usize),
    Derived(&'static About),
    Point { along: [f64; 3], from_m: [f64; 3] },
}

impl PartialEq for Quantity {
    fn eq(&self, other: &Self) -> bool {
        let point = |quantity: &Quantity| match quantity.source {
            Source::Point { from_m, .. } => Some(from_m),
            _ => None,
        };
        self.name == other.name && point(self) == point(other)
    }
}

/// Names of the log's own columns that can be looked at, for a craft with so many rotors.
pub fn log_quantities(rotors: usize) -> Vec<String> {
    recording::columns(rotors).into_iter().skip(1).collect()
}

impl Quantity {
    /// The quantity of this name, for a craft with so many rotors; distances are from `from_m`.
    pub fn named(name: &str, rotors: usize, from_m: [f64; 3]) -> Option<Self> {
        let derived = QUANTITIES.iter().find(|about| about.name == name).map(|about| match about.value {
            Value::From(along) => Source::Point { along, from_m },
            _ => Source::Derived(about),
        });
        // The first column is the time.
        let column = || recording::columns(rotors).iter().skip(1).position(|column| column == name);
        let source = derived.or_else(|| column().map(|index| Source::Column(index + 1)))?;
        Some(Quantity { name: name.to_owned(), source })
    }

    /// Every name there is, for a craft with so many rotors.
    pub fn names(rotors: usize) -> Vec<String> {
        QUANTITIES.iter().map(|about| about.name.to_owned()).chain(log_quantities(rotors)).collect()
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The unit at the end of its name; empty for a ratio.
    pub fn unit(&self) -> &'static str {
        file::unit_of(&self.name)
    }

    /// Whether it is an angle that starts anew after a full turn.
    pub fn goes_round(&self) -> bool {
        matches!(self.source, Source::Derived(about) if about.goes_round)
    }

    /// Whether it is a distance from a point.
    pub fn is_distance(&self) -> bool {
        matches!(self.source, Source::Point { .. })
    }

    /// Its value in one row.
    pub fn of(&self, row: &Row, scene: &Scene<'_>) -> f64 {
        match &self.source {
            Source::Column(index) => recording::values(row).nth(*index).unwrap_or(f64::NAN),
            Source::Point { along, from_m } => {
                let away = Vector3::from(row.position_m) - Vector3::from(*from_m);
                away.component_mul(&Vector3::from(*along)).norm()
            }
            Source::Derived(about) => match about.value {
                Value::OfRow(value) => value(row),
                Value::InScene(value) => value(row, scene),
                Value::From(_) => f64::NAN,
            },
        }
    }
}
