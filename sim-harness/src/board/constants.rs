//! A craft as Rust constants, for a board that flies it.

use std::fmt::{self, Debug, Write as _};

use evenkeel_controller::FlightComputerConfig;
use evenkeel_controller::link::{CraftFacts, Fingerprint, fingerprint};
use evenkeel_mixer::{CurvePoint, Priority};

use super::facts::flight_computer_config;
use crate::craft::Craft;
use crate::onboard::{Unflyable, priority, rotors};

/// Why a craft cannot be written as constants.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ConstantsError {
    /// It cannot be flown.
    Unflyable(Unflyable),
    /// Its order of priority cannot be a constant.
    Priority,
}

impl fmt::Display for ConstantsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ConstantsError::Unflyable(cause) => write!(f, "this craft cannot be flown: {cause}"),
            ConstantsError::Priority => f.write_str(
                "saturation.priority must be the default order, [[\"roll\", \"pitch\"], [\"thrust\"], [\"yaw\"]], for a \
                 craft that is a constant",
            ),
        }
    }
}

impl std::error::Error for ConstantsError {}

impl From<Unflyable> for ConstantsError {
    fn from(cause: Unflyable) -> Self {
        ConstantsError::Unflyable(cause)
    }
}

/// What tells this craft, flown under this gravity, from others.
///
/// # Errors
/// When it cannot be flown.
pub fn craft_fingerprint(craft: &Craft, gravity_m_s2: f64) -> Result<Fingerprint, Unflyable> {
    let curves = curves(craft);
    let curves: Vec<&[CurvePoint<f64>]> = curves.iter().map(Vec::as_slice).collect();
    Ok(fingerprint(&CraftFacts {
        rotors: &rotors(craft),
        center_of_mass_m: craft.body.center_of_mass_m,
        priority: priority(craft)?,
        curves: &curves,
        config: flight_computer_config(craft, gravity_m_s2)?,
    }))
}

/// The text of `firmware/board/src/craft/constants.rs` for this craft under this gravity. The same craft gives the
/// same text; whoever compiles it gets the numbers of [`craft_fingerprint`], bit for bit.
///
/// # Errors
/// When the craft cannot be flown, or not be written as constants.
pub fn constants(craft: &Craft, gravity_m_s2: f64) -> Result<String, ConstantsError> {
    let priority = priority(craft)?;
    if priority.with_keep_yaw_sign(true) != Priority::DEFAULT {
        return Err(ConstantsError::Priority);
    }
    let config: FlightComputerConfig = flight_computer_config(craft, gravity_m_s2)?;
    let curves = curves(craft);
    let points = curves.iter().map(Vec::len).max().unwrap_or(0);
    let mut text = String::from(HEAD);
    let mut constant = |doc: &str, name: &str, kind: &str, value: &dyn Debug| {
        // A string takes everything.
        let _ = write!(text, "\n/// {doc}\npub const {name}: {kind} = {value:#?};\n");
    };
    constant("The craft's name.", "NAME", "&str", &craft.name);
    constant("Rotors.", "ROTORS", "usize", &craft.rotors.len());
    constant("Most points of a bench table; 0 without one.", "POINTS", "usize", &points);
    constant("The rotors, in the order of the craft file.", "GEOMETRY", "[Rotor; ROTORS]", &rotors(craft));
    constant("Centre of mass from the datum, body axes.", "CENTER_OF_MASS_M", "[f64; 3]", &craft.body.center_of_mass_m);
    let default = format!("Priority::DEFAULT.with_keep_yaw_sign({})", priority.keep_yaw_sign());
    constant("What gives way first.", "PRIORITY", "Priority", &format_args!("{default}"));
    let tables: String = curves.iter().map(|table| format!("    &{table:?},\n")).collect();
    constant(
        "Each rotor's bench table; empty where thrust goes with the command squared.",
        "CURVES",
        "[&[CurvePoint<f64>]; ROTORS]",
        &format_args!("[\n{tables}]"),
    );
    constant("Every block's configuration, gains included.", "CONFIG", "FlightComputerConfig", &config);
    Ok(text)
}

const HEAD: &str = "\
//! Written by `evenkeel constants`: change the craft file and write it anew. A number changed here makes another craft
//! than the one that was flown and checked, and the host refuses the board.
#![cfg_attr(rustfmt, rustfmt_skip)]
#![allow(unused_imports, reason = \"which blocks there are depends on the craft\")]
#![allow(clippy::all, reason = \"numbers as they came\")]

use evenkeel_controller::estimate::AttitudeEstimatorConfig;
use evenkeel_controller::filter::{GyroFilterConfig, NotchBankConfig, SecondOrderLowPassConfig};
use evenkeel_controller::{
    AngleLoopConfig, BatteryConfig, ControllerConfig, DescentConfig, FlightComputerConfig, RateLoopConfig,
    ReferenceConfig, SampleClockConfig, ShaperConfig, SupervisorConfig,
};
use evenkeel_mixer::Spin::{Ccw, Cw};
use evenkeel_mixer::{CurvePoint, Priority, Rotor};
";

fn curves(craft: &Craft) -> Vec<Vec<CurvePoint<f64>>> {
    let points = |table: &crate::craft::ThrustTable| {
        let point = |(command, thrust_n): (&f64, &f64)| CurvePoint { command: *command, thrust_n: *thrust_n };
        table.command.iter().zip(&table.thrust_n).map(point).collect()
    };
    craft.rotors.iter().map(|rotor| rotor.thrust_curve.as_ref().map(points).unwrap_or_default()).collect()
}
