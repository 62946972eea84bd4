//! A board on its own clock and sensors, watched from here: the bench, before anything flies.

use evenkeel_controller::link::{Begin, Fingerprint, FromBoard, Mode, Record, Refusal, Start, ToBoard, Welcome};
use evenkeel_controller::{Motion, PilotDemand};

use super::computer::{OnBoard, unexpected};
use super::connection::Connection;
use super::error::{BoardError, Waiting};
use crate::craft::MAX_ROTORS;

/// Records a second that are asked for.
const RECORDS_HZ: f64 = 50.0;

/// A board that runs free.
pub struct Watch {
    connection: Connection,
    period_s: f64,
    waiting: Waiting,
}

impl Watch {
    /// Begins at power-up, disarmed. `rate_hz`: steps a second of the craft.
    ///
    /// # Errors
    /// When the board has another craft, or the link fails.
    pub fn begin<S: OnBoard>(
        mut connection: Connection,
        welcome: &Welcome,
        fingerprint: Fingerprint,
        rate_hz: f64,
    ) -> Result<Self, BoardError> {
        let another = |connection: &Connection, board| BoardError::Craft {
            address: connection.address().clone(),
            name: welcome.name.to_string(),
            board,
            host: fingerprint,
        };
        let steps_per_record = (rate_hz / RECORDS_HZ).clamp(1.0, f64::from(u16::MAX)) as u16;
        let begin = Begin::<S> { fingerprint, mode: Mode::FreeRunning { steps_per_record }, start: Start::PowerUp };
        connection.say(&ToBoard::<S, MAX_ROTORS>::Begin(begin), Waiting::Begun)?;
        match connection.hear::<FromBoard<S, MAX_ROTORS>>(Waiting::Begun)? {
            FromBoard::Begun => Ok(Watch { connection, period_s: 1.0 / rate_hz, waiting: Waiting::Begun }),
            FromBoard::Refused(Refusal::Craft { board }) => Err(another(&connection, board)),
            other => Err(unexpected(&connection, Waiting::Begun, &other)),
        }
    }

    /// Waits for a record and its time since the begin, s.
    ///
    /// # Errors
    /// When the link fails.
    pub fn record<S: OnBoard>(&mut self) -> Result<(f64, Record<S, MAX_ROTORS>), BoardError> {
        match self.connection.hear(self.waiting)? {
            FromBoard::Record(record) => {
                let t_s = f64::from(record.number) * self.period_s;
                self.waiting = Waiting::Step { number: record.number, t_s };
                Ok((t_s, record))
            }
            other => Err(unexpected(&self.connection, self.waiting, &other)),
        }
    }

    /// Tells the board what the pilot asks: level, this thrust.
    ///
    /// # Errors
    /// When the link fails.
    pub fn demand<S: OnBoard>(&mut self, arm: bool, thrust_n: f64) -> Result<(), BoardError> {
        let pilot =
            PilotDemand { at_us: None, arm, disarm: false, thrust_n: S::from_f64(thrust_n), motion: Motion::LEVEL };
        self.connection.say(&ToBoard::<S, MAX_ROTORS>::Demand(pilot), self.waiting)
    }
}

impl Drop for Watch {
    /// Rotors off.
    fn drop(&mut self) {
        // A board that does not hear it takes the silence for a lost link.
        let _ = self.connection.say(&ToBoard::<f32, MAX_ROTORS>::End, self.waiting);
    }
}
