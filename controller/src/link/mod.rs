//! The wire format between a board and a host: messages, frames, and what tells two crafts apart.
//!
//! ```text
//! message ─► postcard ─► + CRC-32 ─► COBS ─► + 0x00 ─► wire
//! ```
//!
//! One definition for both ends. The written specification, with examples in hex, is docs/link.md.

mod fingerprint;
mod frame;
mod messages;

pub use fingerprint::{CraftFacts, Fingerprint, fingerprint};
pub use frame::{CRC, FrameError, FrameReader, Received, encode, frame_max};
pub use messages::{
    Arithmetic, Begin, CraftName, FromBoard, Hello, Mode, NAME_MAX, Record, Refusal, Start, StepRequest, ToBoard,
    Welcome,
};

/// The version of this format. Raised with every change that an older end would misread.
pub const PROTOCOL: u16 = 3;
/// Bytes of a floating-point number on the wire, and the most a fixed-point number takes.
pub const SCALAR_BYTES_MAX: usize = 10;

/// Most bytes of a frame to the board for a craft of this many rotors, end mark included.
pub const fn frame_to_board_max(rotors: usize) -> usize {
    // Number, two times with a mark, stopped rotors, marks, pilot's flags; inertial sample 11, battery, voltage, climb 3,
    // pilot 4.
    frame_max(1 + 5 + 10 + 11 + 3 + 1 + 2 + 3 + 2 + rotors + 11 + 2 + 1 + SCALAR_BYTES_MAX * (11 + 3 + 4 + rotors))
}

/// Most bytes of a frame from the board for a craft of this many rotors, end mark included.
pub const fn frame_from_board_max(rotors: usize) -> usize {
    // Estimate 11 numbers, rate 3, permission 1, wanted attitude 4, rate set-point 9, acceleration 3, demand and
    // achieved 8, ceiling 1; thrusts and commands twice, limits one byte; what is left are marks, counts, stopped rotors
    // and reasons.
    frame_max(101 + 6 + 2 * rotors + SCALAR_BYTES_MAX * (40 + 3 * rotors))
}
