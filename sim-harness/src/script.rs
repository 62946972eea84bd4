//! A flight as a script: where it starts, the world it flies in, what the pilot is told to do.
//!
//! SI units and radians; world axes north, east, down. The file format is in docs/files.md.

use std::fmt;

use crate::expectation::Expectation;

/// A checked flight script.
#[derive(Clone, Debug, PartialEq)]
pub struct Flight {
    /// What its author calls it.
    pub name: String,
    /// How long it lasts.
    pub duration_s: f64,
    /// Time between two rows of the log.
    pub log_period_s: f64,
    /// Seed of everything random.
    pub seed: u64,
    /// `false`: rotors stopped, a free body.
    pub control: bool,
    /// The state at time zero.
    pub initial: Initial,
    /// Air and gravity.
    pub world: World,
    /// What the pilot does, in order of time; empty only when `control` is `false`.
    pub legs: Vec<Leg>,
    /// What goes wrong, in order of time.
    pub faults: Vec<Fault>,
    /// What its author holds it to.
    pub expectations: Vec<Expectation>,
}

/// The state at time zero.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Initial {
    /// Centre of mass: north, east, down.
    pub position_m: [f64; 3],
    /// World axes.
    pub velocity_m_s: [f64; 3],
    /// Roll, pitch, yaw (Euler 3-2-1).
    pub attitude_rad: [f64; 3],
    /// Body axes.
    pub rate_rad_s: [f64; 3],
    /// The flight computer has just been switched on: it aligns, and the pilot arms it before taking off. Else it begins
    /// armed and aligned; in flight when the start is in the air.
    pub power_up: bool,
}

/// The world around the craft.
#[derive(Clone, Debug, PartialEq)]
pub struct World {
    /// Downward.
    pub gravity_m_s2: f64,
    /// Uniform, unless `ground_altitude_m` says otherwise.
    pub air_density_kg_m3: f64,
    /// Altitude of the ground above sea level: air as in the standard atmosphere from there up; `None`: uniform air.
    pub ground_altitude_m: Option<f64>,
    /// Steady wind, the air's own velocity: north, east, down.
    pub wind_m_s: [f64; 3],
    /// Random gustiness; `None`: the air is smooth.
    pub turbulence: Option<Turbulence>,
    /// Single gusts; they add up.
    pub gusts: Vec<Gust>,
}

/// Dryden turbulence of the low-altitude model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turbulence {
    /// Wind speed 20 ft above the ground, which sets the strength.
    pub wind_20ft_m_s: f64,
}

/// A discrete 1 − cosine gust: rises, holds, falls as it rose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gust {
    /// When it starts to rise.
    pub at_s: f64,
    /// Full gust, the air's own velocity: north, east, down.
    pub velocity_m_s: [f64; 3],
    /// Time from nothing to full.
    pub rise_s: f64,
    /// Time at full before it falls; `None`: it stays.
    pub hold_s: Option<f64>,
}

impl World {
    /// Smooth uniform air.
    pub const fn uniform(gravity_m_s2: f64, air_density_kg_m3: f64, wind_m_s: [f64; 3]) -> World {
        World {
            gravity_m_s2,
            air_density_kg_m3,
            ground_altitude_m: None,
            wind_m_s,
            turbulence: None,
            gusts: Vec::new(),
        }
    }
}

impl Default for World {
    /// Standard gravity and sea-level air at rest.
    fn default() -> Self {
        World::uniform(9.806_65, 1.225, [0.0; 3])
    }
}

/// One leg of a flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Leg {
    /// Its name in reports.
    pub name: String,
    /// Its end on the flight's clock; it starts where the one before ended.
    pub until_s: f64,
    /// What the thrust is for.
    pub vertical: Vertical,
    /// What the tilt is for.
    pub lateral: Lateral,
}

/// Where the thrust demand comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Vertical {
    /// Hold this height above the start of the world's down axis, metres.
    Height(f64),
    /// Climb at this speed, metres a second, up positive.
    Climb(f64),
    /// This thrust, newtons, whatever comes of it.
    Thrust(f64),
}

/// Where the attitude demand comes from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Lateral {
    /// Hold these angles while turning at this yaw rate.
    Angles {
        /// Right side down.
        roll_rad: f64,
        /// Nose up.
        pitch_rad: f64,
        /// Nose right.
        yaw_rate_rad_s: f64,
    },
    /// Turn at these body rates.
    Rates([f64; 3]),
    /// A level circle in the world, clockwise seen from above, through where the leg starts.
    Circle {
        /// Radius.
        radius_m: f64,
        /// Ground speed along the circle.
        speed_m_s: f64,
    },
    /// Fly at this ground velocity: north, east.
    Velocity([f64; 2]),
}

/// Something that goes wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fault {
    /// When.
    pub at_s: f64,
    /// What.
    pub kind: FaultKind,
}

/// What can go wrong. Times are on the flight's clock; infinite: to the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// This rotor (counted from 0) stops and stays stopped.
    RotorStopped(usize),
    /// This rotor (counted from 0) keeps this share of its thrust, 0 to 1.
    RotorWeakened {
        /// Which.
        rotor: usize,
        /// What it keeps.
        thrust_share: f64,
    },
    /// The battery keeps this share of its voltage, 0 to 1.
    BatteryCollapse {
        /// What it keeps.
        voltage_share: f64,
    },
    /// Nothing comes over the link.
    LinkLost {
        /// When it is back.
        until_s: f64,
    },
    /// A sensor fails.
    Sensor {
        /// Which.
        sensor: Sensor,
        /// How.
        failure: SensorFailure,
        /// When it works again.
        until_s: f64,
    },
    /// Every step of the flight computer is late by a random time.
    SamplesLate {
        /// Latest, after its time.
        late_s: f64,
        /// When they come in time again.
        until_s: f64,
    },
}

/// In words, rotors counted from 1.
impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FaultKind::RotorStopped(rotor) => write!(f, "rotor {} stops", rotor + 1)?,
            FaultKind::RotorWeakened { rotor, thrust_share } => {
                write!(f, "rotor {} keeps {:.0} % of its thrust", rotor + 1, 100.0 * thrust_share)?;
            }
            FaultKind::BatteryCollapse { voltage_share } => {
                write!(f, "the battery keeps {:.0} % of its voltage", 100.0 * voltage_share)?;
            }
            FaultKind::LinkLost { .. } => f.write_str("the link is lost")?,
            FaultKind::Sensor { sensor, failure, .. } => write!(f, "the {} {}", sensor.words(), failure.words())?,
            FaultKind::SamplesLate { late_s, .. } => {
                write!(f, "each step is up to {:.3} ms late", 1.0e3 * late_s)?;
            }
        }
        match self {
            FaultKind::LinkLost { until_s }
            | FaultKind::Sensor { until_s, .. }
            | FaultKind::SamplesLate { until_s, .. }
                if until_s.is_finite() =>
            {
                write!(f, ", until {until_s:.2} s")
            }
            _ => Ok(()),
        }
    }
}

/// A sensor that can fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sensor {
    /// Rates of turn.
    Gyro,
    /// Acceleration less gravity.
    Accelerometer,
    /// Where the nose points.
    Heading,
    /// Vertical speed.
    Climb,
    /// Supply voltage.
    Voltage,
}

impl Sensor {
    fn words(self) -> &'static str {
        match self {
            Sensor::Gyro => "gyro",
            Sensor::Accelerometer => "accelerometer",
            Sensor::Heading => "heading",
            Sensor::Climb => "vertical speed",
            Sensor::Voltage => "supply voltage",
        }
    }
}

/// How a sensor fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SensorFailure {
    /// It goes on to say what it said last.
    Frozen,
    /// Noise is added: [`crate::sensors::FAILURE_NOISE`].
    Noisy,
    /// It says nothing.
    Dropped,
    /// It says what is no number.
    NotFinite,
}

impl SensorFailure {
    fn words(self) -> &'static str {
        match self {
            SensorFailure::Frozen => "is frozen",
            SensorFailure::Noisy => "is noisy",
            SensorFailure::Dropped => "says nothing",
            SensorFailure::NotFinite => "says what is no number",
        }
    }
}
