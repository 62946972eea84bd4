//! How a command can end.

use std::fmt::Display;

use evenkeel::board::{BoardError, FlownOnBoard};
use evenkeel::file::FileError;
use evenkeel::onboard::Unflyable;
use evenkeel::simulation::Diverged;
use evenkeel::whole_file::WriteError;

/// The exit status; part of the contract.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Outcome {
    /// Done, and every check held.
    Held = 0,
    /// Done, and the craft or the flight fell short.
    FellShort = 1,
    /// The input was wrong.
    WrongInput = 2,
    /// The computation diverged or an internal check failed.
    Internal = 3,
}

/// Why a command gave no answer.
#[derive(Debug)]
pub struct Refusal {
    pub outcome: Outcome,
    pub message: String,
}

impl Refusal {
    pub fn wrong_input(message: impl Display) -> Self {
        Refusal { outcome: Outcome::WrongInput, message: message.to_string() }
    }
}

impl From<FileError> for Refusal {
    fn from(error: FileError) -> Self {
        Refusal::wrong_input(error)
    }
}

impl From<WriteError> for Refusal {
    fn from(error: WriteError) -> Self {
        Refusal::wrong_input(error)
    }
}

impl From<Unflyable> for Refusal {
    fn from(reason: Unflyable) -> Self {
        Refusal { outcome: Outcome::FellShort, message: format!("this craft cannot be flown: {reason}") }
    }
}

impl From<Diverged> for Refusal {
    fn from(error: Diverged) -> Self {
        Refusal { outcome: Outcome::Internal, message: error.to_string() }
    }
}

impl From<BoardError> for Refusal {
    fn from(error: BoardError) -> Self {
        // A board that was never there, or is another one, is wrong input; one that is lost on the way is not.
        let outcome = if error.before_flight() { Outcome::WrongInput } else { Outcome::Internal };
        Refusal { outcome, message: error.to_string() }
    }
}

impl From<FlownOnBoard> for Refusal {
    fn from(error: FlownOnBoard) -> Self {
        match error {
            FlownOnBoard::Unflyable(cause) => cause.into(),
            FlownOnBoard::Board(cause) => cause.into(),
            FlownOnBoard::Diverged(cause) => cause.into(),
            FlownOnBoard::Differs(difference) => {
                Refusal { outcome: Outcome::FellShort, message: difference.to_string() }
            }
        }
    }
}
