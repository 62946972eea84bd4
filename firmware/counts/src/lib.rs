//! What the flying code costs on a Cortex-M4F.
//!
//! * `counts` prints instructions and bytes as tables; it runs on the emulated board
//! * `linked_*` hold the flying code of one craft and nothing else; they are linked, not run: the link
//!   fails when a panic can be reached, and their size is the size of the code
#![no_std]

pub mod bare;
pub mod counter;
pub mod crafts;
pub mod demands;
pub mod linked;
pub mod program;
