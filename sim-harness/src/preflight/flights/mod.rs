//! The maiden flights: what each asks of the craft, and the formula it is held to.
//!
//! Tilts, turns, and the speeds and times of cruise and circle follow from the craft and its limits, so
//! that thirty grams and thirty kilograms fly the same set; heights and the climb are the same for all.

pub(super) mod alignment;
mod axes;
mod circle;
mod cruise;
mod off_centre;
mod out_of_reach;
pub(super) mod rotor_out;
pub(super) mod trouble;
mod vertical;

use alignment::AfterAlignment;
use evenkeel_mixer::Wrench;

use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::preflight::command_noise;
use crate::recording::{Recording, Row};
use crate::script::{Flight, Initial, Lateral, Leg, Vertical, World};
use crate::site::Site;
use crate::verdict::{Check, Limit};

/// Holds a recording to what a flight must show.
pub type Judge = Box<dyn Fn(&Recording) -> Vec<Check> + Sync>;

/// One maiden flight.
pub struct Maiden {
    /// Stable name.
    pub id: &'static str,
    /// In words.
    pub title: &'static str,
    /// What the craft is asked to do.
    pub asked: String,
    /// The script.
    pub flight: Flight,
    /// The craft as it is, where the flight is about its not being quite what its file says.
    pub real: Option<Craft>,
    /// What its recording is held to.
    pub judge: Judge,
}

/// The whole set, in the order in which one would fly it; the loss of a rotor only for crafts that can stand it.
pub fn all(craft: &Craft, onboard: &Onboard<f32>, world: &World) -> Vec<Maiden> {
    let site = Site { craft, onboard, world };
    let mut maidens = vec![
        vertical::take_off(&site),
        vertical::hover(&site),
        off_centre::off_centre(&site),
        axes::yaw(&site),
        axes::pitch(&site),
        axes::roll(&site),
        cruise::forward(&site),
        cruise::sideways(&site),
        circle::circle(&site),
        vertical::landing(&site),
        trouble::upset(&site),
        trouble::gust(&site),
        trouble::battery_low(&site),
        trouble::link_loss(&site),
        out_of_reach::out_of_reach(&site),
    ];
    maidens.extend(rotor_out::rotor_out(&site));
    maidens
}

impl Site<'_> {
    /// What alignment leaves of level and bias.
    fn aligned(&self) -> AfterAlignment {
        AfterAlignment::of(self)
    }

    /// Tilt that a craft may show although it is asked to be level, so long after its alignment: `most_deg`, and what it cannot
    /// know.
    fn level_within(&self, most_deg: f64, time_s: f64) -> Limit {
        let aligned = self.aligned();
        Limit::at_most(most_deg + (aligned.lean_all_rad() + aligned.tilt_off_rad(time_s)).to_degrees())
    }

    /// Sum of the rotors' thrusts that carries the craft level: more than the weight where they lean.
    fn hover_rotors_n(&self) -> f64 {
        let hover = Wrench { thrust_n: self.weight_n() as f32, ..Wrench::default() };
        self.onboard.mixer.allocate(hover).thrusts_n.iter().map(|n| f64::from(*n)).sum()
    }

    /// Height from which a craft that is given thrust of its weight stays `clear_m` above the ground for so long: where nothing on
    /// board tells the voltage of a battery that sags, it is given less, and falls.
    fn height_for(&self, clear_m: f64, time_s: f64) -> f64 {
        if self.craft.battery.is_none() || self.craft.sensors.voltage.is_some() {
            return clear_m;
        }
        let share = AvailableThrust::of(self.craft, self.world)
            .map_or(1.0, |available| available.voltage_share_at(Feed::near_empty(self.craft), 0.0, self.weight_n()));
        clear_m + 0.5 * self.world.gravity_m_s2 * (1.0 - share * share) * time_s * time_s
    }

    /// Descent at a touch-down: a drop from 2 cm, or from 5 cm where nothing on board tells the voltage of a battery that sags.
    fn touch_down_max_m_s(&self) -> f64 {
        if self.craft.battery.is_some() && self.craft.sensors.voltage.is_none() { 1.0 } else { 0.6 }
    }

    /// Swing of the commands, once settled: what the gyro's noise alone makes, and as much more as counts as rest.
    fn swing_max(&self) -> f64 {
        SWING_MAX + command_noise::swing(self)
    }

    /// An angle of tilt this craft may be asked for: `wanted`, or four fifths of its own limit.
    fn tilt_rad(&self, wanted: f64) -> f64 {
        wanted.min(0.8 * self.onboard.config.reference.tilt_max_rad)
    }

    fn flight(&self, name: &str, height_m: f64, legs: Vec<Leg>) -> Flight {
        Flight {
            name: name.into(),
            duration_s: legs.last().map_or(0.0, |leg| leg.until_s),
            log_period_s: 0.02,
            seed: 0,
            control: true,
            initial: Initial { position_m: [0.0, 0.0, -height_m], ..Initial::default() },
            world: self.world.clone(),
            legs,
            faults: Vec::new(),
            expectations: Vec::new(),
        }
    }
}

fn leg(name: &str, until_s: f64, vertical: Vertical, lateral: Lateral) -> Leg {
    Leg { name: name.into(), until_s, vertical, lateral }
}

const LEVEL: Lateral = angles(0.0, 0.0, 0.0);

const fn angles(roll_rad: f64, pitch_rad: f64, yaw_rate_rad_s: f64) -> Lateral {
    Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
}

fn mean(recording: &Recording, from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    let (count, sum) =
        recording.between(from_s, to_s).fold((0.0, 0.0), |(count, sum), row| (count + 1.0, sum + value(row)));
    sum / count
}

/// Largest swing of any command: what a loop that does not settle does to its rotors.
fn swing(recording: &Recording, from_s: f64, to_s: f64) -> f64 {
    let rotors = recording.rows.first().map_or(0, |row| row.command.len());
    let of = |rotor: usize| {
        let command = |row: &Row| row.command.get(rotor).copied().unwrap_or(f64::NAN);
        largest(recording, from_s, to_s, command) + largest(recording, from_s, to_s, |row| -command(row))
    };
    (0..rotors).map(of).fold(0.0, |most: f64, value| if value > most || value.is_nan() { value } else { most })
}

/// The check that a flight has settled: no command swings more than `swing_max`.
fn settled(id: &str, recording: &Recording, from_s: f64, to_s: f64, swing_max: f64) -> Check {
    Check::new(
        &format!("{id}.settled"),
        "Swing of the commands once settled",
        swing(recording, from_s, to_s),
        "",
        Limit::at_most(swing_max),
        "a stable loop comes to rest in still air: our choice, and what the gyro's noise makes of it",
    )
}

/// The check that a craft comes down softly between these times.
fn touch_down(id: &str, recording: &Recording, from_s: f64, to_s: f64, most_m_s: f64) -> Check {
    let at_ground = |row: &Row| if row.height_m() < 0.2 { row.velocity_m_s[2] } else { 0.0 };
    Check::new(
        &format!("{id}.touch-down"),
        "Descent in the last 0.2 m",
        largest(recording, from_s, to_s, at_ground),
        "m/s",
        Limit::at_most(most_m_s),
        "our choice: a drop from 2 cm, or from 5 cm where nothing on board tells the voltage",
    )
}

/// The check that it stands on the ground in the last second.
fn rest(id: &str, recording: &Recording, end_s: f64) -> Check {
    let speed = |row: &Row| row.velocity_m_s.iter().map(|v| v.abs()).fold(0.0, f64::max);
    Check::new(
        &format!("{id}.rest"),
        "Speed at the end",
        largest(recording, end_s - 1.0, end_s, speed),
        "m/s",
        Limit::at_most(0.01),
        "a craft on the ground stands still",
    )
}

/// Share of full command.
const SWING_MAX: f64 = 0.05;

/// Largest value; NaN spreads, and is the answer where there is no row.
fn largest(recording: &Recording, from_s: f64, to_s: f64, value: impl Fn(&Row) -> f64) -> f64 {
    let values = recording.between(from_s, to_s).map(value);
    values.reduce(|most, value| if value > most || value.is_nan() { value } else { most }).unwrap_or(f64::NAN)
}
