//! What can go wrong between here and a board: which, after how long, and what to check.

use std::fmt;

use evenkeel_controller::link::{Arithmetic, Fingerprint, PROTOCOL, Refusal};

use super::address::Address;
use super::port::SILENCE;

/// What the host was waiting for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Waiting {
    /// The board's first word.
    Welcome,
    /// That the flight begins.
    Begun,
    /// The answer to a step of the flight.
    Step {
        /// Counted from 0.
        number: u32,
        /// On the flight's clock.
        t_s: f64,
    },
}

impl fmt::Display for Waiting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Waiting::Welcome => f.write_str("at the first word"),
            Waiting::Begun => f.write_str("at the begin of the flight"),
            Waiting::Step { number, t_s } => write!(f, "at step {number}, {t_s} s into the flight"),
        }
    }
}

/// Why there is no flight with this board, or no more of it.
#[derive(Clone, Debug, PartialEq)]
pub enum BoardError {
    /// This is no address.
    Address {
        /// As typed.
        text: String,
        /// What is wrong with it.
        found: &'static str,
    },
    /// Nothing there can be opened.
    Open {
        /// Where.
        address: Address,
        /// The system's words.
        cause: String,
    },
    /// The board said nothing.
    Silent {
        /// Where.
        address: Address,
        /// When.
        waiting: Waiting,
    },
    /// The link broke: the cable, the socket, or the board's power.
    Gone {
        /// Where.
        address: Address,
        /// When.
        waiting: Waiting,
        /// The system's words.
        cause: String,
    },
    /// What came was no frame, or a damaged one.
    Garbage {
        /// Where.
        address: Address,
        /// When.
        waiting: Waiting,
        /// How many bytes had come since the last good frame.
        bytes: usize,
    },
    /// A good frame, and not the answer.
    OutOfStep {
        /// Where.
        address: Address,
        /// When.
        waiting: Waiting,
        /// What came instead.
        got: String,
    },
    /// The board speaks another version of the link.
    Protocol {
        /// Where.
        address: Address,
        /// The board's.
        board: u16,
    },
    /// The board has another craft.
    Craft {
        /// Where.
        address: Address,
        /// Its craft's name.
        name: String,
        /// Its craft's fingerprint.
        board: Fingerprint,
        /// Ours.
        host: Fingerprint,
    },
    /// The board flies with another arithmetic than asked.
    Arithmetic {
        /// Where.
        address: Address,
        /// The board's.
        board: Arithmetic,
    },
    /// The board would not.
    Refused {
        /// Where.
        address: Address,
        /// When.
        waiting: Waiting,
        /// Why.
        refusal: Refusal,
    },
}

impl BoardError {
    /// Whether it was found before the flight began: the address or the board was the wrong one.
    pub fn before_flight(&self) -> bool {
        match self {
            BoardError::Silent { waiting, .. }
            | BoardError::Gone { waiting, .. }
            | BoardError::Garbage { waiting, .. }
            | BoardError::OutOfStep { waiting, .. }
            | BoardError::Refused { waiting, .. } => !matches!(waiting, Waiting::Step { .. }),
            _ => true,
        }
    }
}

impl fmt::Display for BoardError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let silence_s = SILENCE.as_secs();
        match self {
            BoardError::Address { text, found } => write!(
                f,
                "--board {text}: {found}; an address is a serial device, tcp:HOST:PORT, unix:PATH or pipe:FOLDER"
            ),
            BoardError::Open { address, cause } => write!(
                f,
                "--board {address}: cannot be opened: {cause}; is the board plugged in, does nothing else use it, and \
                 may you use it?"
            ),
            BoardError::Silent { address, waiting } => write!(
                f,
                "--board {address}: silent for {silence_s} s {waiting}; check power, cable and baud rate, and that the \
                 firmware runs"
            ),
            BoardError::Gone { address, waiting, cause } => {
                write!(
                    f,
                    "--board {address}: the link broke {waiting} ({cause}); check the cable and the board's power"
                )
            }
            BoardError::Garbage { address, waiting, bytes } => write!(
                f,
                "--board {address}: {bytes} bytes came {waiting} and are no whole frame; check the baud rate, the \
                 cable, and that nothing else sends on this line"
            ),
            BoardError::OutOfStep { address, waiting, got } => write!(
                f,
                "--board {address}: {got} came {waiting}; is another program connected to the board, or did it restart?"
            ),
            BoardError::Protocol { address, board } => write!(
                f,
                "--board {address}: the board speaks version {board} of the link and this program version {PROTOCOL}; \
                 build both from the same source"
            ),
            BoardError::Craft { address, name, board, host } => write!(
                f,
                "--board {address}: the board flies another craft: \"{name}\", fingerprint {board}, where these files \
                 make {host}; write its constants anew with `evenkeel constants CRAFT`, build and load the firmware, \
                 and keep the flight's gravity at 9.80665"
            ),
            BoardError::Arithmetic { address, board } => {
                write!(f, "--board {address}: the board flies with {board:?} arithmetic, which was not asked for")
            }
            BoardError::Refused { address, waiting, refusal } => {
                write!(f, "--board {address}: refused {waiting}: {}", why(*refusal))
            }
        }
    }
}

fn why(refusal: Refusal) -> String {
    match refusal {
        Refusal::Protocol { board } => format!("the board speaks version {board} of the link"),
        Refusal::Craft { board } => format!("the board's craft has the fingerprint {board}"),
        Refusal::NotBegun => "no flight has begun there; did the board restart?".to_owned(),
        Refusal::Start => "with its own sensors it begins at power-up only".to_owned(),
        Refusal::Unreadable => "a frame came damaged to the board; check the cable and the baud rate".to_owned(),
    }
}

impl std::error::Error for BoardError {}
