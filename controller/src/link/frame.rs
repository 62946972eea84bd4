//! Frames: where a message begins and ends, and whether it came whole.
//!
//! * Source: S. Cheshire and M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
//!   Networking 7 (1999) (from memory); CRC-32 as in ISO 3309 and ITU-T V.42 (parameters from the `crc` crate's
//!   catalogue, `CRC_32_ISO_HDLC`)

use crc::Crc;
use heapless::Vec;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// The check value's algorithm.
pub static CRC: Crc<u32> = Crc::<u32>::new(&crc::CRC_32_ISO_HDLC);
/// Bytes of the check value, lowest first.
const CRC_BYTES: usize = 4;
/// Ends a frame and occurs nowhere in it.
const END: u8 = 0;

/// Bytes of a frame for a message of this many bytes: check value, one code byte in 254 and the end mark.
pub const fn frame_max(message: usize) -> usize {
    let checked = message + CRC_BYTES;
    checked + checked / 254 + 1 + 1
}

/// Why there is no message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FrameError {
    /// It does not fit in the buffer.
    TooLong,
    /// The check value is another one, or the bytes are no frame: damaged on the way.
    Damaged,
    /// It came whole and is none of the messages: another version, or another program.
    NotAMessage,
}

/// What one byte brought.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Received<M> {
    /// Nothing yet.
    Nothing,
    /// A message.
    Message(M),
    /// A frame ended that cannot be used.
    Bad(FrameError),
}

/// Writes a message as a frame into `buffer` and gives the frame.
///
/// # Errors
/// When the buffer is too small; [`frame_max`] tells.
pub fn encode<'b, M: Serialize, const B: usize>(
    message: &M,
    buffer: &'b mut Vec<u8, B>,
) -> Result<&'b [u8], FrameError> {
    let mut plain = Vec::<u8, B>::new();
    plain.resize_default(B).map_err(|_| FrameError::TooLong)?;
    let body = postcard::to_slice(message, &mut plain).map_err(|_| FrameError::TooLong)?;
    let check = CRC.checksum(body).to_le_bytes();
    buffer.resize_default(B).map_err(|_| FrameError::TooLong)?;
    let mut stuffing = cobs::CobsEncoder::new(buffer);
    stuffing.push(body).map_err(|_| FrameError::TooLong)?;
    stuffing.push(&check).map_err(|_| FrameError::TooLong)?;
    let length = stuffing.finalize();
    *buffer.get_mut(length).ok_or(FrameError::TooLong)? = END;
    buffer.truncate(length + 1);
    Ok(buffer)
}

/// Gathers bytes until a frame ends. `B`: longest frame.
#[derive(Clone, Debug, Default)]
pub struct FrameReader<const B: usize> {
    frame: Vec<u8, B>,
    overflowed: bool,
}

impl<const B: usize> FrameReader<B> {
    /// Empty.
    pub const fn new() -> Self {
        FrameReader { frame: Vec::new(), overflowed: false }
    }

    /// Forgets a frame that has begun.
    pub fn reset(&mut self) {
        self.frame.clear();
        self.overflowed = false;
    }

    /// Takes one byte in. Empty frames are passed over, so an end mark may be sent ahead to end what came before.
    pub fn push<M: DeserializeOwned>(&mut self, byte: u8) -> Received<M> {
        if byte != END {
            self.overflowed |= self.frame.push(byte).is_err();
            return Received::Nothing;
        }
        let received = if self.overflowed {
            Received::Bad(FrameError::TooLong)
        } else if self.frame.is_empty() {
            Received::Nothing
        } else {
            match self.message() {
                Ok(message) => Received::Message(message),
                Err(error) => Received::Bad(error),
            }
        };
        self.reset();
        received
    }

    fn message<M: DeserializeOwned>(&mut self) -> Result<M, FrameError> {
        let mut plain = [0; B];
        let mut stuffing = cobs::CobsDecoder::new(&mut plain);
        let mut length = None;
        for byte in self.frame.iter().chain(&[END]) {
            length = stuffing.feed(*byte).map_err(|_| FrameError::Damaged)?;
        }
        let checked = length.and_then(|length| plain.get(..length)).ok_or(FrameError::Damaged)?;
        let (body, check) = checked.split_last_chunk::<CRC_BYTES>().ok_or(FrameError::Damaged)?;
        if CRC.checksum(body) != u32::from_le_bytes(*check) {
            return Err(FrameError::Damaged);
        }
        match postcard::take_from_bytes(body) {
            Ok((message, [])) => Ok(message),
            _ => Err(FrameError::NotAMessage),
        }
    }
}
