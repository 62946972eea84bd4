//! A craft as Rust constants, for a board that flies it.

use std::fmt::{Debug, Write as _};

use evenkeel_controller::FlightComputerConfig;
use evenkeel_controller::link::{CraftFacts, Fingerprint, fingerprint};
use evenkeel_mixer::{Axis, CurvePoint};

use super::facts::flight_computer_config;
use crate::craft::{Craft, Saturation};
use crate::onboard::{Unflyable, priority, rotors};

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
/// When the craft cannot be flown.
pub fn constants(craft: &Craft, gravity_m_s2: f64) -> Result<String, Unflyable> {
    // What is no order of priority is found here, and not by whoever compiles it.
    priority(craft)?;
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
    constant(
        "What is met first; the last gives way first.",
        "PRIORITY",
        "Priority",
        &format_args!("{}", order(&craft.saturation)),
    );
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
    ReferenceConfig, RotorReportsConfig, SampleClockConfig, ShaperConfig, SupervisorConfig,
};
use evenkeel_mixer::Spin::{Ccw, Cw};
use evenkeel_mixer::{Axis, CurvePoint, Priority, Rotor};
";

fn order(saturation: &Saturation) -> String {
    let axes = |tier: &Vec<Axis>| tier.iter().map(|axis| format!("Axis::{axis:?}")).collect::<Vec<_>>().join(", ");
    let tiers: Vec<String> = saturation.priority.iter().map(|tier| format!("&[{}]", axes(tier))).collect();
    format!("Priority::expect(&[{}], {})", tiers.join(", "), saturation.keep_yaw_sign)
}

fn curves(craft: &Craft) -> Vec<Vec<CurvePoint<f64>>> {
    let points = |table: &crate::craft::ThrustTable| {
        let point = |(command, thrust_n): (&f64, &f64)| CurvePoint { command: *command, thrust_n: *thrust_n };
        table.command.iter().zip(&table.thrust_n).map(point).collect()
    };
    craft.rotors.iter().map(|rotor| rotor.thrust_curve.as_ref().map(points).unwrap_or_default()).collect()
}
