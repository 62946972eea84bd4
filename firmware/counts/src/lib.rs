//! What the flying code costs on a Cortex-M4F.
//!
//! * `counts` prints instructions and bytes as tables; it runs on the emulated board
//! * `linked_*` hold the flying code of one craft and nothing else; they are linked, not run: the link
//!   fails when a panic can be reached, and their size is the size of the code
//!
//! Elsewhere than on the board there are only the crafts.
#![no_std]

#[cfg(target_arch = "arm")]
pub mod bare;
#[cfg(target_arch = "arm")]
pub mod counter;
pub mod crafts;
#[cfg(target_arch = "arm")]
pub mod demands;
#[cfg(target_arch = "arm")]
pub mod linked;
#[cfg(target_arch = "arm")]
pub mod program;
