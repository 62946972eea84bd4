//! Filters for what is measured: low-passes, a notch, a bank of notches that follow the rotors.
//!
//! Each is block and state, like a loop: [`FirstOrderLowPass`], [`SecondOrderLowPass`], [`Notch`],
//! [`NotchBank`], and [`GyroFilter`], the whole chain on three axes. Each tells its [`Response`] at a
//! frequency, from the coefficients as quantised; responses multiply along a chain with
//! [`Response::then`], which is what a margin must count.
//!
//! What holds for all: a sample that is not finite, or so large that the filter would lose its
//! memory, is passed over and the last output stands; gain at standstill is one, exactly, whatever
//! the quantisation; `reset_to` starts a filter as if its input had always been that value.
//!
//! docs/filters_and_estimate.md says why this structure.

mod error;
mod first_order;
mod gyro;
mod notch;
mod notch_bank;
mod response;
mod second_order;
mod state_variable;

pub use error::FilterError;
pub use first_order::{FirstOrderLowPass, FirstOrderLowPassConfig, FirstOrderLowPassState};
pub use gyro::{GyroFilter, GyroFilterConfig, GyroFilterError, GyroFilterOutput, GyroFilterState};
pub use notch::{Notch, NotchConfig, NotchState};
pub use notch_bank::{NotchBank, NotchBankConfig, NotchBankError, NotchBankState, NotchBankTuning};
pub use response::Response;
pub use second_order::{SecondOrderLowPass, SecondOrderLowPassConfig, SecondOrderLowPassState};
pub use state_variable::{BiquadCoefficients, CORNER_MAX_SHARE, SAMPLE_MAX};
