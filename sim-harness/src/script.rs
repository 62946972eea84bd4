//! A flight as a script: where it starts, the world it flies in, what the pilot is told to do.
//!
//! SI units and radians; world axes north, east, down. The file format is in docs/files.md.

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
}

/// The world around the craft.
#[derive(Clone, Debug, PartialEq)]
pub struct World {
    /// Downward.
    pub gravity_m_s2: f64,
    /// Uniform.
    pub air_density_kg_m3: f64,
    /// Steady wind, the air's own velocity: north, east, down.
    pub wind_m_s: [f64; 3],
}

impl Default for World {
    /// Standard gravity and sea-level air at rest.
    fn default() -> Self {
        World { gravity_m_s2: 9.806_65, air_density_kg_m3: 1.225, wind_m_s: [0.0; 3] }
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

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FaultKind {
    /// This rotor (counted from 0) stops and stays stopped.
    RotorStopped(usize),
}
