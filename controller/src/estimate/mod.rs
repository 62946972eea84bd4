//! Attitude from gyro and accelerometer, and heading from whatever knows it.
//!
//! An explicit complementary filter on the rotations: the gyro is integrated, and the estimate is
//! turned slowly so that what it takes for down agrees with what the accelerometer sees; what that
//! turning adds up to is the gyro's bias.
//!
//! * Frames: body x forward, y right, z down; world north, east, down; attitude body to world
//! * Source: R. Mahony, T. Hamel, J.-M. Pflimlin, Nonlinear complementary filters on the special
//!   orthogonal group, IEEE TAC 53(5), 2008, 1203-1218 (law from memory; its linearisation is checked
//!   in tests/); docs/filters_and_estimate.md says where this departs from it

mod alignment;
mod config;
mod direction;
mod estimator;
mod gate;
mod heading;

pub use alignment::{ALIGN_KNOCK_SHARE, ALIGN_LENGTH_SHARE, ALIGN_WINDOW_S, Alignment};
pub use config::{AttitudeEstimatorConfig, AttitudeEstimatorError, STEP_MAX_RAD};
pub use estimator::{AttitudeEstimator, AttitudeEstimatorState, Estimate, EstimateStatus, InertialSample};
pub use heading::HeadingReference;
