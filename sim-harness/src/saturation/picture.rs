//! All of the saturation picture of one craft.

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::{Attainable, Interval};
use super::flown::{Flown, Tightest, least_margin};
use super::gives_way::{GivesWay, gives_way};
use super::operating_point::{CLIMB_WEIGHTS, OperatingPoint, attainable_under_load, operating_points};
use super::questions::Answers;
use super::stopped::{Stopped, stopped_rotors};
use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable, mixer_for};
use crate::script::World;
use crate::verdict::FlightReport;

/// The picture. What the flights add stands empty until they are flown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Picture {
    /// Weight, the hover thrust.
    pub weight_n: f64,
    /// Roll against pitch at several thrusts.
    pub roll_pitch: Vec<Slice>,
    /// Corners of yaw torque (N·m) against thrust (N), roll and pitch zero, anticlockwise; each thrust at the voltage that it
    /// leaves of the battery as charged.
    pub thrust_yaw: Vec<[f64; 2]>,
    /// The largest torques in hover, climb and with the battery near empty.
    pub operating_points: Vec<OperatingPoint>,
    /// What gives way first from hover.
    pub gives_way: Vec<GivesWay>,
    /// What remains with each rotor stopped.
    pub rotor_stopped: Vec<Stopped>,
    /// A builder's questions.
    pub answers: Answers,
    /// The smallest control margin in the flights, but for the one that asks for more than there is.
    pub least_margin: Option<Tightest>,
    /// Control margin of level hover, newton metres, for the drawing.
    #[serde(skip)]
    pub hover_margin_nm: f64,
    /// Demands of the flights, for the drawing.
    #[serde(skip)]
    pub flown: Vec<Flown>,
}

/// One polygon of roll against pitch torque.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Slice {
    /// "half hover", "hover", ...
    pub name: String,
    /// Held thrust.
    pub thrust_n: f64,
    /// Corners, roll and pitch torque in newton metres, anticlockwise; yaw zero, at the voltage that this thrust leaves of the
    /// battery as charged. Empty where this thrust is out of reach.
    pub corners_nm: Vec<[f64; 2]>,
}

/// Steps of thrust in which yaw is looked at where the voltage falls with the thrust.
const THRUST_STEPS: u32 = 40;

/// The flight whose demand cannot be met, on purpose: its margin says nothing.
const ASKS_TOO_MUCH: &str = "out-of-reach";

impl Picture {
    /// Works the picture out for a craft that can hover.
    ///
    /// # Errors
    /// When it cannot be controlled or hover.
    pub fn of(craft: &Craft, onboard: &Onboard<f32>, world: &World) -> Result<Self, Unflyable> {
        let weight_n = craft.body.mass_kg * world.gravity_m_s2;
        let available = AvailableThrust::of(craft, world)?;
        let feed = Feed::as_charged(craft);
        let most_n = available.most(feed, 0.0).map_or(0.0, |load| load.thrust_n);
        let thrusts = [
            ("half hover".to_owned(), 0.5 * weight_n),
            ("hover".to_owned(), weight_n),
            (format!("climb, {CLIMB_WEIGHTS} weights"), CLIMB_WEIGHTS * weight_n),
            ("nine tenths of full".to_owned(), 0.9 * most_n),
        ];
        let slice = |(name, thrust_n): (String, f64)| {
            let held = Wrench { thrust_n, ..Wrench::default() };
            let set = attainable_under_load(&available, feed, thrust_n);
            let corners_nm = set.map_or_else(Vec::new, |set| set.polygon(held, Axis::Roll, Axis::Pitch));
            Slice { name, thrust_n, corners_nm }
        };
        Ok(Picture {
            weight_n,
            hover_margin_nm: attainable_under_load(&available, feed, weight_n).map_or(f64::NEG_INFINITY, |set| {
                set.torque_margin_nm(Wrench { thrust_n: weight_n, ..Wrench::default() })
            }),
            roll_pitch: thrusts.map(slice).to_vec(),
            thrust_yaw: thrust_yaw(&available, feed, most_n),
            operating_points: operating_points(craft, world)?,
            gives_way: gives_way(craft, weight_n)?,
            rotor_stopped: stopped_rotors(craft, weight_n)?,
            answers: Answers::of(craft, onboard, world)?,
            least_margin: None,
            flown: Vec::new(),
        })
    }

    /// The picture with the demands of the flights in it.
    ///
    /// # Errors
    /// When the craft cannot be controlled.
    pub fn with_flights(mut self, craft: &Craft, flights: &[FlightReport]) -> Result<Self, Unflyable> {
        let set = Attainable::of(&mixer_for(craft)?);
        let kept = flights.iter().filter(|flight| flight.id != ASKS_TOO_MUCH);
        self.least_margin = least_margin(&set, kept.map(|flight| (flight.id, flight.title, &flight.recording)));
        self.flown = flights.iter().map(|flight| Flown::of(&set, flight.id, flight.title, &flight.recording)).collect();
        Ok(self)
    }
}

/// Corners of yaw torque against thrust, at the voltage that each thrust leaves.
fn thrust_yaw(available: &AvailableThrust<'_>, feed: Feed, most_n: f64) -> Vec<[f64; 2]> {
    if available.craft().battery.is_none() {
        // One voltage, one set: its corners.
        let set = attainable_under_load(available, feed, most_n);
        return set.map_or_else(Vec::new, |set| set.polygon(Wrench::default(), Axis::Thrust, Axis::Yaw));
    }
    let Some(unloaded) = attainable_under_load(available, feed, 0.0) else { return Vec::new() };
    let Some(Interval { low: least_n, .. }) = unloaded.interval(Wrench::default(), Axis::Thrust) else {
        return Vec::new();
    };
    let thrusts =
        (0..=THRUST_STEPS).map(|step| least_n + (most_n - least_n) * f64::from(step) / f64::from(THRUST_STEPS));
    let yaw = |thrust_n: f64| {
        let set = attainable_under_load(available, feed, thrust_n)?;
        Some((thrust_n, set.interval(Wrench { thrust_n, ..Wrench::default() }, Axis::Yaw)?))
    };
    let rows: Vec<(f64, Interval)> = thrusts.filter_map(yaw).collect();
    let there = rows.iter().map(|(thrust_n, yaw)| [*thrust_n, yaw.low]);
    there.chain(rows.iter().rev().map(|(thrust_n, yaw)| [*thrust_n, yaw.high])).collect()
}
