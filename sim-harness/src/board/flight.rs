//! A whole flight with the controller on a board, alone or beside the same code here.

use evenkeel_controller::link::{Arithmetic, Welcome};
use evenkeel_mixer::Fixed;

use super::address::Address;
use super::compare::{Difference, difference};
use super::computer::{BoardComputer, OnBoard};
use super::connection::Connection;
use super::constants::craft_fingerprint;
use super::error::BoardError;
use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};
use crate::recording::{Recording, Row};
use crate::script::Flight;
use crate::simulation::{Diverged, FlightError, HostComputer, fly_with, start_of};

/// Why a flight on a board has no end.
#[derive(Clone, Debug, PartialEq)]
pub enum FlownOnBoard {
    /// The craft cannot be flown at all.
    Unflyable(Unflyable),
    /// The board or the link.
    Board(BoardError),
    /// The board's bits differ from the host's.
    Differs(Difference),
    /// The computation diverged.
    Diverged(Diverged),
}

impl From<Unflyable> for FlownOnBoard {
    fn from(cause: Unflyable) -> Self {
        FlownOnBoard::Unflyable(cause)
    }
}

impl From<BoardError> for FlownOnBoard {
    fn from(cause: BoardError) -> Self {
        FlownOnBoard::Board(cause)
    }
}

/// Flies a script in lock-step with the board at this address, in the board's arithmetic; with `compare`, stops at the
/// first step in which any bit of its record differs from that of the same code here. `real` is the craft that moves:
/// the same, or one that is not quite what its file says.
///
/// # Errors
/// The first thing that goes wrong. The board ends the flight by itself then, rotors off.
pub fn fly_on_board(
    craft: &Craft,
    real: &Craft,
    flight: &Flight,
    address: &Address,
    compare: bool,
    watch: &dyn Fn(f64),
) -> Result<Recording, FlownOnBoard> {
    let mut recording = Recording::default();
    fly_on_board_into(craft, real, flight, (address, compare), watch, &mut |row| recording.rows.push(row))?;
    Ok(recording)
}

/// The same, but each row goes to `keep` as it is made.
///
/// # Errors
/// The first thing that goes wrong; the rows up to then have been kept.
pub fn fly_on_board_into(
    craft: &Craft,
    real: &Craft,
    flight: &Flight,
    (address, compare): (&Address, bool),
    watch: &dyn Fn(f64),
    keep: &mut dyn FnMut(Row),
) -> Result<(), FlownOnBoard> {
    let (connection, welcome) = Connection::open(address)?;
    match welcome.arithmetic {
        Arithmetic::F32 => flown::<f32>((craft, real), flight, (connection, &welcome), compare, watch, keep),
        Arithmetic::Fixed => flown::<Fixed>((craft, real), flight, (connection, &welcome), compare, watch, keep),
    }
}

fn flown<S: OnBoard>(
    (craft, real): (&Craft, &Craft),
    flight: &Flight,
    (connection, welcome): (Connection, &Welcome),
    compare: bool,
    watch: &dyn Fn(f64),
    keep: &mut dyn FnMut(Row),
) -> Result<(), FlownOnBoard> {
    let gravity_m_s2 = flight.world.gravity_m_s2;
    let onboard = Onboard::<S>::new(craft, gravity_m_s2)?;
    let start = start_of::<S>(real, &onboard, flight);
    let mut host = compare.then(|| HostComputer::new(&onboard, start));
    let mut board = BoardComputer::begin(connection, welcome, craft_fingerprint(craft, gravity_m_s2)?, start)?;
    let mut number = 0;
    let answer = |sample: &_, pilot: &_| {
        let there = board.step::<S>(sample, pilot)?;
        if let Some(host) = &mut host {
            let here = host.step(sample, pilot);
            if let Some(differs) = difference(number, sample.now_us as f64 / 1.0e6, &there, &here) {
                return Err(FlownOnBoard::Differs(differs));
            }
        }
        number += 1;
        Ok(there)
    };
    fly_with(real, flight, &onboard, answer, watch, keep).map_err(|error| match error {
        FlightError::Diverged(diverged) => FlownOnBoard::Diverged(diverged),
        FlightError::Computer { cause, .. } => cause,
    })
}
