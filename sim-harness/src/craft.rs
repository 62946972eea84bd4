//! A craft as the harness knows it: physical values, SI units, already checked.
//!
//! Body axes: x forward, y right, z down, origin at the frame's datum (ISO 1151-1). Whatever holds a
//! [`Craft`] may rely on every value being finite and physically possible; whether the craft can
//! *fly* is another question, answered by [`crate::preflight`].

pub use evenkeel_mixer::Spin;
use evenkeel_mixer::{Axis, RotorLimit};
use nalgebra::{Matrix3, Vector3};

use crate::dispersion::Dispersion;
use crate::sensors::SensorsConfig;

/// Most rotors a craft may have.
pub const MAX_ROTORS: usize = 16;

/// A checked craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Craft {
    /// What its owner calls it.
    pub name: String,
    /// Mass, inertia and drag.
    pub body: Body,
    /// The rotors, in the order of the craft file.
    pub rotors: Vec<Rotor>,
    /// What gives way first when the rotors cannot meet a demand.
    pub saturation: Saturation,
    /// The rates at which the control loops run.
    pub loops: Loops,
    /// Gains the owner fixed; what is `None` follows from the craft.
    pub gains: Gains,
    /// Limits the owner fixed; what is `None` follows from the craft.
    pub limits: Limits,
    /// By how much the craft may differ from all this.
    pub dispersion: Dispersion,
    /// What it senses with.
    pub sensors: SensorsConfig,
    /// What feeds the rotors; `None`: full voltage always.
    pub battery: Option<Battery>,
    /// Where the ground is, for the thrust it adds; `None`: it adds none.
    pub ground_effect: Option<GroundEffect>,
    /// What its file says about its own figures.
    pub figures: Figures,
}

/// What a craft file says about its own figures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Figures {
    /// Keys that were measured and are right although unusual, as typed: [`crate::doubts`] about them do not decide.
    pub measured: Vec<String>,
    /// Whether the rotors stand in a regular layout, not one by one.
    pub from_layout: bool,
    /// Whether the file says what rotors in a wake keep of their thrust.
    pub thrust_share_stated: bool,
}

/// The rigid body.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// Take-off mass.
    pub mass_kg: f64,
    /// Centre of mass from the datum, body axes.
    pub center_of_mass_m: [f64; 3],
    /// Inertia tensor about the centre of mass, body axes: `[xx, xy, xz]`, `[xy, yy, yz]`,
    /// `[xz, yz, zz]`. The products carry the sign of the tensor's off-diagonal entries.
    pub inertia_kg_m2: [[f64; 3]; 3],
    /// Drag area Cd·A along each body axis.
    pub drag_area_m2: [f64; 3],
}

/// One rotor.
#[derive(Clone, Debug, PartialEq)]
pub struct Rotor {
    /// Its name in reports.
    pub name: String,
    /// Hub position from the datum, body axes.
    pub position_m: [f64; 3],
    /// Direction of its thrust, body axes, unit length.
    pub axis: [f64; 3],
    /// Sense of rotation seen from above the craft.
    pub spin: Spin,
    /// Static thrust at full command, full battery, air of 1.225 kg/m³.
    pub thrust_max_n: f64,
    /// Thrust at the slowest safe spin while armed.
    pub thrust_min_n: f64,
    /// Reaction torque per newton of thrust.
    pub torque_per_thrust_m: f64,
    /// First-order lag of the rotor's speed.
    pub response_time_s: f64,
    /// Bench table, command against thrust; `None` when thrust goes with the command squared.
    pub thrust_curve: Option<ThrustTable>,
    /// Moment of inertia of what spins, about the spin axis.
    pub inertia_kg_m2: f64,
    /// Speed at full thrust; `None` when it follows from the propeller.
    pub speed_max_rad_s: Option<f64>,
    /// How moving air changes what it gives.
    pub in_moving_air: InMovingAir,
}

/// How a rotor's thrust and torque depend on the air that meets it. The default: not at all.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct InMovingAir {
    /// Propeller diameter; `None`: that of a typical propeller.
    pub diameter_m: Option<f64>,
    /// What air along the axis does.
    pub inflow: Inflow,
    /// Drag in the rotor's plane at full speed in air of 1.225 kg/m³, per m/s of air across the axis.
    pub drag_n_per_m_s: f64,
}

/// What air along a rotor's axis does to its thrust.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Inflow {
    /// Nothing.
    #[default]
    Ignored,
    /// Momentum theory at constant shaft power.
    Momentum,
    /// What was measured on the propeller.
    Table(PropellerTable),
}

/// A propeller in axial flow: columns of equal length; the advance ratio rises from 0, the static point.
#[derive(Clone, Debug, PartialEq)]
pub struct PropellerTable {
    /// J = V/(n·D), n in turns a second.
    pub advance_ratio: Vec<f64>,
    /// C_T = T/(ρ·n²·D⁴); the first is above 0.
    pub thrust_coefficient: Vec<f64>,
    /// C_P = P/(ρ·n³·D⁵); the first is above 0.
    pub power_coefficient: Vec<f64>,
}

/// A battery: an ideal source behind a resistance.
#[derive(Clone, Debug, PartialEq)]
pub struct Battery {
    /// Charge it holds when full.
    pub capacity_ah: f64,
    /// Open-circuit voltage at full charge: the voltage at which `thrust_max_n` holds.
    pub full_v: f64,
    /// Open-circuit voltage at no charge.
    pub empty_v: f64,
    /// Of the pack, its leads and the motor controllers.
    pub resistance_ohm: f64,
    /// Shaft power over electrical power, above 0 and at most 1.
    pub efficiency: f64,
    /// State of charge at the start, 0 to 1.
    pub charge: f64,
    /// Open-circuit voltage over state of charge; `None`: a straight line from empty to full.
    pub voltage_curve: Option<VoltageCurve>,
}

/// Both columns rise; charge from 0 to 1, voltage from `empty_v` to `full_v`.
#[derive(Clone, Debug, PartialEq)]
pub struct VoltageCurve {
    /// State of charge.
    pub charge: Vec<f64>,
    /// Open-circuit voltage.
    pub voltage_v: Vec<f64>,
}

/// The ground's nearness to the rotors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GroundEffect {
    /// Height of the datum above the ground while the craft stands.
    pub datum_height_m: f64,
}

/// Thrust measured on a bench: both columns rise strictly, the first command is at least 0, the
/// last is 1 and carries `thrust_max_n`.
#[derive(Clone, Debug, PartialEq)]
pub struct ThrustTable {
    /// Command, 0 to 1.
    pub command: Vec<f64>,
    /// Thrust at that command.
    pub thrust_n: Vec<f64>,
}

/// The order in which demands are met.
#[derive(Clone, Debug, PartialEq)]
pub struct Saturation {
    /// Most important tier first; together the tiers name each axis once.
    pub priority: Vec<Vec<Axis>>,
    /// Yaw never turns against its demand to please thrust.
    pub keep_yaw_sign: bool,
}

/// Loop timing.
#[derive(Clone, Debug, PartialEq)]
pub struct Loops {
    /// Rate loop and mixer.
    pub rate_hz: f64,
    /// The angle loop runs once in this many rate steps.
    pub angle_divider: u32,
    /// Transport delay added between command and rotor.
    pub extra_delay_s: f64,
}

/// Gains fixed by the owner, per axis roll, pitch, yaw.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Gains {
    /// Rate loop.
    pub rate: [RateGains; 3],
    /// Angle loop: rate demanded per radian of error.
    pub angle_per_s: [Option<f64>; 3],
}

/// Rate-loop gains of one axis. They act on angular acceleration.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RateGains {
    /// Proportional, rad/s² per rad/s.
    pub p_per_s: Option<f64>,
    /// Integral, rad/s² per rad.
    pub i_per_s2: Option<f64>,
    /// Derivative, rad/s² per rad/s².
    pub d: Option<f64>,
    /// Corner of the derivative's low-pass.
    pub d_filter_hz: Option<f64>,
}

/// Limits fixed by the owner.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Limits {
    /// Largest tilt the angle loop is asked for.
    pub tilt_rad: Option<f64>,
    /// Largest rate the angle loop may ask for: roll, pitch, yaw.
    pub rate_rad_s: [Option<f64>; 3],
}

/// A thrust this share of the ceiling from a limit stands at it.
const AT_LIMIT_SHARE: f64 = 1.0e-6;

impl Craft {
    /// Lag of the slowest rotor.
    pub fn slowest_lag_s(&self) -> f64 {
        self.rotors.iter().map(|rotor| rotor.response_time_s).fold(0.0, f64::max)
    }

    /// Mean distance of the rotors from the centre of mass, seen from above.
    pub fn mean_arm_m(&self) -> f64 {
        let [x, y, _] = self.body.center_of_mass_m;
        let arms = self.rotors.iter().map(|rotor| (rotor.position_m[0] - x).hypot(rotor.position_m[1] - y));
        arms.sum::<f64>() / self.rotors.len() as f64
    }

    /// Whether every rotor pushes straight up.
    pub fn is_upright(&self) -> bool {
        self.rotors.iter().all(|rotor| rotor.axis[0] == 0.0 && rotor.axis[1] == 0.0)
    }
}

impl Body {
    /// Angular acceleration about a body axis (x 0, y 1, z 2) for a newton metre about it; NaN for a
    /// tensor without an inverse.
    pub fn turn_per_torque(&self, axis: usize) -> f64 {
        let inverse = Matrix3::from(self.inertia_kg_m2).try_inverse().unwrap_or_else(|| Matrix3::repeat(f64::NAN));
        let unit = Vector3::ith(axis, 1.0);
        (inverse * unit).dot(&unit)
    }
}

impl Rotor {
    /// Which way the reaction of a rotor that pushes up turns the nose: +1 right, −1 left.
    pub fn nose_sense(&self) -> f64 {
        match self.spin {
            Spin::Cw => -1.0,
            Spin::Ccw => 1.0,
        }
    }

    /// Reaction torque per newton of thrust, nose right positive for a rotor that pushes up.
    pub fn reaction_m(&self) -> f64 {
        self.nose_sense() * self.torque_per_thrust_m
    }

    /// The limit a thrust stands at but for rounding.
    pub fn limit_met(&self, thrust_n: f64) -> Option<RotorLimit> {
        let slack = AT_LIMIT_SHARE * self.thrust_max_n;
        if thrust_n <= self.thrust_min_n + slack {
            Some(RotorLimit::Floor)
        } else if thrust_n >= self.thrust_max_n - slack {
            Some(RotorLimit::Ceiling)
        } else {
            None
        }
    }
}
