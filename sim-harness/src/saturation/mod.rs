//! The saturation picture: what the rotors can reach, what gives way first, what is left with a rotor
//! stopped, and a builder's questions, all read from the facets of the attainable set.
//!
//! How each figure is computed and how to read the pictures: docs/saturation.md.

mod attainable;
mod checks;
mod flown;
mod gives_way;
mod gust;
mod operating_point;
mod picture;
mod questions;
mod stopped;
mod text;
mod wind;

pub use attainable::{Attainable, Interval, TOUCH_TOL};
pub use checks::checks;
pub use flown::{Flown, OFF_GROUND_M, Tightest, least_margin};
pub use gives_way::{GivesWay, gives_way};
pub use gust::{DiscreteGust, RISE_S};
pub(crate) use operating_point::reaches_under_load;
pub use operating_point::{
    AxisReach, CLIMB_WEIGHTS, EMPTY_VOLTAGE_SHARE, OperatingPoint, attainable_under_load, empty_voltage_share,
    operating_points,
};
pub use picture::{Picture, Slice};
pub use questions::{Answers, HARD_CLIMB_WEIGHTS, HeaviestMass, Offset, least_hover_voltage_share};
pub use stopped::{SPINNING_NOT_TRIED, Stopped, stopped_rotors};
pub use text::{sentences, text};
pub use wind::SteadyWind;
