//! Sound crafts drawn from parts and rotor physics, and the slips of builders who describe them.
//!
//! * A craft is drawn from a seed: a frame, propellers, motors, parts with mass and place, a battery that carries it for
//!   minutes. What is drawn is the craft; its file follows from it, figure by figure, rounded as a builder rounds
//! * Sound by construction: thrust over weight 2.3 to 3.2 on a full pack, at least [`LOADED_THRUST_TO_WEIGHT`] under load
//!   and [`LOW_THRUST_TO_WEIGHT`] with a fifth of the charge left; roll, pitch and yaw within those thrusts as [`Authority`]
//!   has them. A draw that falls short is built stronger, as a builder would do it; no verdict of the program is asked
//! * Bands without a source are common practice and marked so where they stand
pub mod authority;
pub mod body;
pub mod craft;
pub mod frame;
pub mod one_figure;
pub mod outcome;
pub mod parts;
pub mod propeller;
pub mod random;
pub mod sensors;
pub mod slips;
pub mod supply;
pub mod table;
pub mod turned;
pub mod write;

pub use authority::Authority;
pub use craft::{Drawn, sound};
pub use outcome::{Outcome, doubted_or_flown, outcome};

/// Standard gravity.
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// Air of the standard atmosphere at sea level.
pub const AIR_DENSITY_KG_M3: f64 = 1.225;
/// Least thrust over weight on a full pack with all rotors at full command: twice the weight is common practice for the
/// rated thrust, and this is what sag may leave of it.
pub const LOADED_THRUST_TO_WEIGHT: f64 = 1.75;
/// The same with a fifth of the charge left.
pub const LOW_THRUST_TO_WEIGHT: f64 = 1.4;
