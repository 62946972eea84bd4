//! Frames to and from a board: one question, one answer.

use std::io::{self, ErrorKind};
use std::time::Instant;

use evenkeel_controller::link::{
    FrameReader, FromBoard, Hello, PROTOCOL, Received, Refusal, ToBoard, Welcome, encode, frame_from_board_max,
    frame_to_board_max,
};
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::address::Address;
use super::error::{BoardError, Waiting};
use super::port::{Port, SILENCE, open};
use crate::craft::MAX_ROTORS;

const OUT_MAX: usize = frame_to_board_max(MAX_ROTORS);
const IN_MAX: usize = frame_from_board_max(MAX_ROTORS);

/// An open link.
pub struct Connection {
    address: Address,
    port: Box<dyn Port>,
    reader: FrameReader<IN_MAX>,
    frame: Vec<u8, OUT_MAX>,
    /// Bytes that have come and were not looked at.
    bytes: [u8; 2048],
    from: usize,
    to: usize,
    /// Bytes since the last good frame.
    unread: usize,
}

impl Connection {
    /// Opens the link and asks who is there.
    ///
    /// # Errors
    /// When nothing can be opened, nobody answers, or it speaks another version.
    pub fn open(address: &Address) -> Result<(Self, Welcome), BoardError> {
        let port = open(address)?;
        Self::over(address, port)
    }

    /// The same over a port that is open.
    ///
    /// # Errors
    /// When nobody answers, or it speaks another version.
    pub fn over(address: &Address, port: Box<dyn Port>) -> Result<(Self, Welcome), BoardError> {
        let mut connection = Connection {
            address: address.clone(),
            port,
            reader: FrameReader::new(),
            frame: Vec::new(),
            bytes: [0; 2048],
            from: 0,
            to: 0,
            unread: 0,
        };
        let welcome = connection.hello()?;
        Ok((connection, welcome))
    }

    /// Where it leads.
    pub fn address(&self) -> &Address {
        &self.address
    }

    fn hello(&mut self) -> Result<Welcome, BoardError> {
        // Ends whatever half a frame the board may hold.
        self.port.write_all(&[0]).map_err(|cause| self.broken(Waiting::Welcome, &cause))?;
        self.say(&ToBoard::<f32, 0>::Hello(Hello { protocol: PROTOCOL }), Waiting::Welcome)?;
        let begun = Instant::now();
        let mut passed_over = None;
        loop {
            // What was said before the hello is passed over: frames of a flight that ran, and half of one.
            match self.hear::<FromBoard<f32, MAX_ROTORS>>(Waiting::Welcome) {
                Ok(FromBoard::Welcome(welcome)) if welcome.protocol == PROTOCOL => return Ok(welcome),
                Ok(FromBoard::Welcome(Welcome { protocol: board, .. }))
                | Ok(FromBoard::Refused(Refusal::Protocol { board })) => {
                    return Err(BoardError::Protocol { address: self.address.clone(), board });
                }
                Ok(_) => {}
                Err(garbage @ BoardError::Garbage { .. }) => passed_over = Some(garbage),
                Err(silent @ BoardError::Silent { .. }) => return Err(passed_over.unwrap_or(silent)),
                Err(error) => return Err(error),
            }
            if begun.elapsed() > SILENCE {
                let silent = BoardError::Silent { address: self.address.clone(), waiting: Waiting::Welcome };
                return Err(passed_over.unwrap_or(silent));
            }
        }
    }

    /// Sends a message.
    ///
    /// # Errors
    /// When the link is broken.
    pub fn say<M: Serialize>(&mut self, message: &M, waiting: Waiting) -> Result<(), BoardError> {
        let frame = encode(message, &mut self.frame).map_err(|_| BoardError::OutOfStep {
            address: self.address.clone(),
            waiting,
            got: "a message that is too long for a frame".to_owned(),
        })?;
        let sent = self.port.write_all(frame).and_then(|()| self.port.flush());
        sent.map_err(|cause| self.broken(waiting, &cause))
    }

    /// Waits for a message.
    ///
    /// # Errors
    /// When none comes in time, the link is broken, or what comes is none.
    pub fn hear<M: DeserializeOwned>(&mut self, waiting: Waiting) -> Result<M, BoardError> {
        let begun = Instant::now();
        loop {
            while let Some(byte) = self.bytes[..self.to].get(self.from) {
                self.from += 1;
                self.unread += 1;
                match self.reader.push(*byte) {
                    Received::Nothing => {}
                    Received::Message(message) => {
                        self.unread = 0;
                        return Ok(message);
                    }
                    Received::Bad(_) => return Err(self.garbage(waiting)),
                }
            }
            (self.from, self.to) = (0, 0);
            if begun.elapsed() > SILENCE {
                // Something comes, and never a whole frame.
                return Err(self.garbage(waiting));
            }
            match self.port.read(&mut self.bytes) {
                Ok(0) => return Err(self.broken(waiting, &io::Error::from(ErrorKind::UnexpectedEof))),
                Ok(count) => self.to = count,
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock) => {
                    return Err(if self.unread > 0 {
                        self.garbage(waiting)
                    } else {
                        BoardError::Silent { address: self.address.clone(), waiting }
                    });
                }
                Err(error) => return Err(self.broken(waiting, &error)),
            }
        }
    }

    fn garbage(&mut self, waiting: Waiting) -> BoardError {
        let bytes = std::mem::take(&mut self.unread);
        BoardError::Garbage { address: self.address.clone(), waiting, bytes }
    }

    fn broken(&self, waiting: Waiting, cause: &io::Error) -> BoardError {
        BoardError::Gone { address: self.address.clone(), waiting, cause: cause.to_string() }
    }
}
