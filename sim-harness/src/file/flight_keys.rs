//! The flight file: every key with its range, default and meaning.

use super::error::FileError;
use super::key::{KeyRule, Keys, NotYet, Row, keys};
use super::rule::{Rule, above, from, number, vector, whole, within};
use super::section::{list, section};
use super::table::Table;
use super::word::{text, word};
use crate::craft::MAX_ROTORS;

const MOST: i64 = MAX_ROTORS as i64;
/// Lower end of a down axis: a height of 100 km.
const HIGHEST_M: f64 = 1e5;

const ONE_VERTICAL: &str = "exactly one of height_m, climb_m_s, thrust_n";
const ONE_LATERAL: &str = "level, unless rate_deg_s, circle or velocity_m_s stands instead";

keys! {
    /// A flight file.
    FlightKeys {
        format: u64 = whole(1, 1).required(), "the version of the file format";
        name: String = text().required(), "what you call the flight";
        duration_s: f64 = number(from(0.01).to(3600.0)).required(), "how long it lasts";
        log_period_s: Option<f64> = number(from(1e-4).to(3600.0)).optional("`0.02`, or duration_s if that is less"), "the time between two rows of the log; at most duration_s, and at most a million rows";
        seed: u64 = whole(0, i64::MAX).or(0), "the seed of everything random";
        control: bool = word(&[("on", true), ("off", false)]).or(true), "whether the craft is flown; off is a free body with its rotors stopped, and legs are not flown";
        initial: InitialKeys<'a> = section::<InitialKeys>().or_empty(), "the state at time zero";
        world: WorldKeys<'a> = section::<WorldKeys>().or_empty(), "the air and gravity";
        leg: Vec<LegKeys<'a>> = list::<LegKeys>(), "what the pilot does, in order of time; at least one unless control is off";
        fault: Vec<FaultKeys<'a>> = list::<FaultKeys>(), "what goes wrong";
    }

    /// `[initial]`
    InitialKeys {
        position_m: [f64; 3] = vector::<3>(from(-HIGHEST_M).to(HIGHEST_M)).or([0.0; 3]), "the centre of mass: north, east, down; down is at most 0, the ground";
        velocity_m_s: [f64; 3] = vector::<3>(within(500.0)).or([0.0; 3]), "the velocity north, east, down";
        attitude_deg: [f64; 3] = vector::<3>(within(360.0)).or([0.0; 3]), "the roll, pitch, yaw it starts at (Euler 3-2-1)";
        rate_rad_s: [f64; 3] = vector::<3>(within(200.0)).or([0.0; 3]), "the roll, pitch, yaw rate, body axes";
    }

    /// `[world]`
    WorldKeys {
        gravity_m_s2: f64 = number(from(0.0).to(100.0)).or(9.806_65), "the pull of gravity, downward";
        air_density_kg_m3: f64 = number(from(0.0).to(20.0)).or(1.225), "the density of the air, the same everywhere; 0 is a vacuum";
        wind_m_s: [f64; 3] = vector::<3>(within(100.0)).or([0.0; 3]), "the steady wind, the air's own velocity: north, east, down";
    }

    /// `[[leg]]`
    LegKeys {
        name: Option<String> = text().optional("\"leg 1\", \"leg 2\" and so on"), "what reports call it";
        until_s: Option<f64> = number(above(0.0).to(1e6)).optional("required; the last leg may leave it out and then lasts to the end"), "the leg's end on the flight's clock; it starts where the one before ended";
        height_m: Option<f64> = number(from(0.0).to(HIGHEST_M)).optional(ONE_VERTICAL), "the height to hold above the ground";
        climb_m_s: Option<f64> = number(within(50.0)).optional(ONE_VERTICAL), "the speed to climb at, up positive";
        thrust_n: Option<f64> = number(from(0.0).to(1e5)).optional(ONE_VERTICAL), "the thrust to give, whatever comes of it";
        roll_deg: Option<f64> = number(within(180.0)).optional("`0.0`"), "the roll to hold, right side down positive";
        pitch_deg: Option<f64> = number(within(180.0)).optional("`0.0`"), "the pitch to hold, nose up positive";
        yaw_rate_deg_s: Option<f64> = number(within(2000.0)).optional("`0.0`"), "the rate to turn at, nose right positive";
        rate_deg_s: Option<[f64; 3]> = vector::<3>(within(3000.0)).optional(ONE_LATERAL), "the roll, pitch, yaw rate to turn at, body axes, instead of angles";
        circle: Option<CircleKeys<'a>> = section::<CircleKeys>().optional(ONE_LATERAL), "a level circle in the world, clockwise seen from above, instead of angles";
        velocity_m_s: Option<[f64; 2]> = vector::<2>(within(100.0)).optional(ONE_LATERAL), "the ground velocity to fly at, north and east, instead of angles";
    }

    /// `leg.circle`
    CircleKeys {
        radius_m: f64 = number(from(0.1).to(1e4)).required(), "the radius of the circle";
        speed_m_s: f64 = number(above(0.0).to(100.0)).required(), "the ground speed along the circle";
    }

    /// `[[fault]]`
    FaultKeys {
        at_s: f64 = number(from(0.0).to(3600.0)).required(), "when it happens on the flight's clock; at most duration_s";
        rotor_stopped: Option<u64> = whole(1, MOST).optional("required while it is the only fault"), "the number of the rotor that stops and stays stopped, counted from 1 in the order of the craft file";
        link_lost: () = NotYet, "a lost link";
        sensor: () = NotYet, "a sensor fault";
        battery: () = NotYet, "a battery fault";
    }
}
