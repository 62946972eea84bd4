//! The flight file: every key with its range, default and meaning.

use super::error::FileError;
use super::key::{KeyRule, Keys, Row, keys};
use super::rule::{Rule, above, from, number, vector, whole, within};
use super::section::{list, section};
use super::table::Table;
use super::word::{flag, text, word};
use crate::craft::MAX_ROTORS;
use crate::expectation::{TAKEN, Taken};
use crate::script::{Sensor, SensorFailure};

const MOST: i64 = MAX_ROTORS as i64;
/// Lower end of a down axis: a height of 100 km.
const HIGHEST_M: f64 = 1e5;

const ONE_FAULT: &str = "one fault of those in this table must stand";
const SENSORS: &[(&str, Sensor)] = &[
    ("gyro", Sensor::Gyro),
    ("accelerometer", Sensor::Accelerometer),
    ("heading", Sensor::Heading),
    ("climb", Sensor::Climb),
    ("voltage", Sensor::Voltage),
];
const FAILURES: &[(&str, SensorFailure)] = &[
    ("frozen", SensorFailure::Frozen),
    ("noisy", SensorFailure::Noisy),
    ("dropped", SensorFailure::Dropped),
    ("not_finite", SensorFailure::NotFinite),
];

const ONE_VERTICAL: &str = "exactly one of height_m, climb_m_s, thrust_n";
const ONE_BOUND: &str = "at_least, at_most or both; or equals with within";
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
        expect: Vec<ExpectKeys<'a>> = list::<ExpectKeys>(), "what the flight is held to";
    }

    /// `[initial]`
    InitialKeys {
        position_m: [f64; 3] = vector::<3>(from(-HIGHEST_M).to(HIGHEST_M)).or([0.0; 3]), "the centre of mass: north, east, down; down is at most 0, the ground";
        velocity_m_s: [f64; 3] = vector::<3>(within(500.0)).or([0.0; 3]), "the velocity north, east, down";
        attitude_deg: [f64; 3] = vector::<3>(within(360.0)).or([0.0; 3]), "the roll, pitch, yaw it starts at (Euler 3-2-1)";
        rate_rad_s: [f64; 3] = vector::<3>(within(200.0)).or([0.0; 3]), "the roll, pitch, yaw rate, body axes";
        power_up: bool = flag().or(false), "whether the flight computer has just been switched on: it aligns, the pilot arms it at 2 s and flies the legs from 2.5 s; else it begins armed and aligned";
    }

    /// `[world]`
    WorldKeys {
        gravity_m_s2: f64 = number(from(0.0).to(100.0)).or(9.806_65), "the pull of gravity, downward";
        air_density_kg_m3: f64 = number(from(0.0).to(20.0)).or(1.225), "the density of the air, the same everywhere; 0 is a vacuum";
        ground_altitude_m: Option<f64> = number(from(-500.0).to(1e4)).optional("air_density_kg_m3, the same everywhere"), "the altitude of the ground above sea level: the air is the standard atmosphere from there up, instead of air_density_kg_m3";
        wind_m_s: [f64; 3] = vector::<3>(within(100.0)).or([0.0; 3]), "the steady wind, the air's own velocity: north, east, down";
        turbulence: Option<TurbulenceKeys<'a>> = section::<TurbulenceKeys>().optional("the air is smooth"), "Dryden turbulence, drawn from seed";
        gust: Vec<GustKeys<'a>> = list::<GustKeys>(), "single gusts; they add to the wind and to each other";
    }

    /// `[world.turbulence]`
    TurbulenceKeys {
        wind_20ft_m_s: f64 = number(from(0.0).to(60.0)).required(), "the wind at 20 ft that the turbulence is of: 7.7 is light, 15.4 moderate, 23.2 severe. It adds no steady wind: that is wind_m_s";
    }

    /// `[[world.gust]]`
    GustKeys {
        at_s: f64 = number(from(0.0).to(3600.0)).required(), "when it starts to rise on the flight's clock; before duration_s";
        velocity_m_s: [f64; 3] = vector::<3>(within(100.0)).required(), "the full gust, the air's own velocity: north, east, down";
        rise_s: f64 = number(from(1e-3).to(600.0)).required(), "how long it rises, as one minus cosine";
        hold_s: Option<f64> = number(from(0.0).to(3600.0)).optional("it stays"), "how long it stays at full before it falls as it rose";
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

    /// `fault.rotor_weakened`
    WeakenedKeys {
        rotor: u64 = whole(1, MOST).required(), "the number of the rotor, counted from 1";
        thrust_share: f64 = number(from(0.0).to(1.0)).required(), "the share of its thrust and torque that it keeps";
    }

    /// `fault.sensor`
    FailedSensorKeys {
        name: Sensor = word(SENSORS).required(), "which sensor";
        fails: SensorFailure = word(FAILURES).required(), "how: it repeats its last value, gets noise, says nothing, or says what is no number";
    }

    /// `fault.battery`
    CollapseKeys {
        voltage_share: f64 = number(from(0.0).to(1.0)).required(), "the share of its voltage that it keeps";
    }

    /// `[[fault]]`
    FaultKeys {
        at_s: f64 = number(from(0.0).to(3600.0)).required(), "when it happens on the flight's clock; at most duration_s";
        until_s: Option<f64> = number(above(0.0).to(1e6)).optional("to the end"), "when it is over, for link_lost, sensor and samples_late_s";
        rotor_stopped: Option<u64> = whole(1, MOST).optional(ONE_FAULT), "the number of the rotor that stops and stays stopped, counted from 1 in the order of the craft file";
        rotor_weakened: Option<WeakenedKeys<'a>> = section::<WeakenedKeys>().optional(ONE_FAULT), "a rotor that has lost some of its thrust";
        link_lost: bool = flag().or(false), "whether the link is lost: the craft keeps the last demand it received";
        sensor: Option<FailedSensorKeys<'a>> = section::<FailedSensorKeys>().optional(ONE_FAULT), "a sensor that fails";
        battery: Option<CollapseKeys<'a>> = section::<CollapseKeys>().optional(ONE_FAULT), "a battery that collapses";
        samples_late_s: Option<f64> = number(above(0.0).to(1.0)).optional(ONE_FAULT), "by how much each step of the flight computer is late at most, at random";
    }
    /// `[[expect]]`
    ExpectKeys {
        name: Option<String> = text().optional("how it is taken, and the quantity"), "what reports call it";
        quantity: String = text().required(), "what is looked at: a name of the table of quantities";
        taken: Taken = word(TAKEN).or(Taken::Every), "what is made of the samples in the window";
        leg: Option<String> = text().optional("then from_s and until_s hold"), "the name of a leg, whose time is the window; instead of from_s and until_s";
        from_s: Option<f64> = number(from(0.0).to(3600.0)).optional("`0.0`"), "the start of the window on the flight's clock";
        until_s: Option<f64> = number(from(0.0).to(3600.0)).optional("duration_s"), "the end of the window on the flight's clock; at most duration_s";
        at_least: Option<f64> = number(within(1e9)).optional(ONE_BOUND), "the smallest value allowed, in the unit of the quantity";
        at_most: Option<f64> = number(within(1e9)).optional(ONE_BOUND), "the largest value allowed, in the unit of the quantity";
        equals: Option<f64> = number(within(1e9)).optional(ONE_BOUND), "the value expected, in the unit of the quantity; with within";
        within: Option<f64> = number(above(0.0).to(1e9)).optional("required beside equals"), "how far from equals the value may lie either way";
        from_point_m: Option<[f64; 3]> = vector::<3>(within(HIGHEST_M)).optional("where the flight starts"), "the point that a distance is from: north, east, down";
        source: Option<String> = text().optional("none"), "where the bound comes from";
    }
}
