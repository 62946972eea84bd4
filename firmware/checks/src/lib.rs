//! Unit checks of the flying crates, the same on the board and on the host: each says whether it holds, and gives a
//! check value over every number it saw, which must be the same on both.
#![no_std]

mod controller;
mod mixer;
mod seen;

pub use seen::{CHECKS, Check, Seen};
