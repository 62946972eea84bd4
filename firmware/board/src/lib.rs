//! The example port: flies one craft on one board.
//!
//! * [`board::Board`] is what a board must be able to do; porting is filling that trait
//! * [`craft`] is the craft, a constant, written by `evenkeel constants`
//! * [`flight::Flight`] is the loop: sample, step, commands, record
//! * `main.rs` and `emulated.rs` are the program for the emulated board
//!
//! docs/porting.md leads from here to the first check with the propellers off.
#![no_std]

pub mod board;
pub mod craft;
pub mod flight;
mod log;
mod scalar;

pub use scalar::{ARITHMETIC, Flying};
