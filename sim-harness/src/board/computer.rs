//! The flight computer on the board, in lock-step: a sample out, every signal of the step back.

use evenkeel_controller::link::{
    Arithmetic, Begin, Fingerprint, FromBoard, Mode, Record, Refusal, Start, StepRequest, ToBoard, Welcome,
};
use evenkeel_controller::{FlightStep, PilotDemand, Sample};
use evenkeel_mixer::Scalar;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::connection::Connection;
use super::error::{BoardError, Waiting};
use crate::craft::MAX_ROTORS;

/// A board that flies.
pub struct BoardComputer {
    connection: Connection,
    rotors: usize,
    number: u32,
}

impl BoardComputer {
    /// Begins a flight in lock-step. The board must have this craft.
    ///
    /// # Errors
    /// When it has another one, or the link fails.
    pub fn begin<S: Scalar + Serialize + DeserializeOwned>(
        mut connection: Connection,
        welcome: &Welcome,
        fingerprint: Fingerprint,
        start: Start<S>,
    ) -> Result<Self, BoardError> {
        let address = connection.address().clone();
        let another = |board| BoardError::Craft {
            address: address.clone(),
            name: welcome.name.to_string(),
            board,
            host: fingerprint,
        };
        if welcome.fingerprint != fingerprint {
            return Err(another(welcome.fingerprint));
        }
        let begin = Begin { fingerprint, mode: Mode::LockStep, start };
        connection.say(&ToBoard::<S, MAX_ROTORS>::Begin(begin), Waiting::Begun)?;
        match connection.hear::<FromBoard<S, MAX_ROTORS>>(Waiting::Begun)? {
            FromBoard::Begun => Ok(BoardComputer { connection, rotors: usize::from(welcome.rotors), number: 0 }),
            FromBoard::Refused(Refusal::Craft { board }) => Err(another(board)),
            other => Err(unexpected(&connection, Waiting::Begun, &other)),
        }
    }

    /// One sample.
    ///
    /// # Errors
    /// When the link fails. The flight is over then: the board ends it by itself, rotors off.
    pub fn step<S: Scalar + Serialize + DeserializeOwned>(
        &mut self,
        sample: &Sample<S, MAX_ROTORS>,
        pilot: &PilotDemand<S>,
    ) -> Result<FlightStep<S, MAX_ROTORS>, BoardError> {
        let waiting = Waiting::Step { number: self.number, t_s: sample.now_us as f64 / 1.0e6 };
        let request = StepRequest::new(self.number, self.rotors, sample, pilot);
        self.connection.say(&ToBoard::Step(request), waiting)?;
        match self.connection.hear(waiting)? {
            FromBoard::Record(Record { number, step }) if number == self.number => {
                self.number += 1;
                Ok(step)
            }
            other => Err(unexpected(&self.connection, waiting, &other)),
        }
    }
}

impl Drop for BoardComputer {
    /// The board forgets the flight, rotors off.
    fn drop(&mut self) {
        let waiting = Waiting::Step { number: self.number, t_s: 0.0 };
        // A board that does not hear it ends the flight by itself.
        let _ = self.connection.say(&ToBoard::<f32, MAX_ROTORS>::End, waiting);
    }
}

pub(super) fn unexpected<S: Scalar>(
    connection: &Connection,
    waiting: Waiting,
    other: &FromBoard<S, MAX_ROTORS>,
) -> BoardError {
    let address = connection.address().clone();
    let got = match other {
        FromBoard::Refused(refusal) => return BoardError::Refused { address, waiting, refusal: *refusal },
        FromBoard::Welcome(_) => "a welcome".to_owned(),
        FromBoard::Begun => "the begin of a flight".to_owned(),
        FromBoard::Record(record) => format!("the answer to step {}", record.number),
        FromBoard::Ended => "the end of a flight".to_owned(),
    };
    BoardError::OutOfStep { address, waiting, got }
}

/// Whether a board flies with this scalar.
pub trait OnBoard: Scalar + Serialize + DeserializeOwned {
    /// Its name on the link.
    const ARITHMETIC: Arithmetic;
}

impl OnBoard for f32 {
    const ARITHMETIC: Arithmetic = Arithmetic::F32;
}

impl OnBoard for evenkeel_mixer::Fixed {
    const ARITHMETIC: Arithmetic = Arithmetic::Fixed;
}
