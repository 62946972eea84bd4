//! What a whole step costs on a Cortex-M4F: the flight computer's, part by part, and the same step written by hand.
#![no_std]

pub mod blocks;
pub mod flights;
pub mod floor;
pub mod inputs;
