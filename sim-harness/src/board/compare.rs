//! Two records, bit for bit.

use std::fmt;

use evenkeel_controller::link::frame_from_board_max;
use serde::Serialize;

use super::fields::fields;
use crate::craft::MAX_ROTORS;

/// Room for a record.
const RECORD_MAX: usize = frame_from_board_max(MAX_ROTORS);

/// The first field in which a board's record differs from the host's.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// Which step of the flight, from 0.
    pub number: u32,
    /// When, on the flight's clock.
    pub t_s: f64,
    /// The field.
    pub field: String,
    /// What the board has there.
    pub board: String,
    /// What the host has there.
    pub host: String,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Difference { number, t_s, field, board, host } = self;
        write!(
            f,
            "the board differs from the host at step {number}, {t_s} s: {field} is {board} on the board and {host} here"
        )
    }
}

impl std::error::Error for Difference {}

/// The first difference of a step's two records, if any. Zeros of different sign differ, and so do two NaN with
/// different bits.
pub fn difference<R: Serialize>(number: u32, t_s: f64, board: &R, host: &R) -> Option<Difference> {
    let (mut ours, mut theirs) = ([0; RECORD_MAX], [0; RECORD_MAX]);
    let same = matches!(
        (postcard::to_slice(host, &mut ours), postcard::to_slice(board, &mut theirs)),
        (Ok(ours), Ok(theirs)) if ours == theirs
    );
    if same {
        return None;
    }
    let (board, host) = (fields(board), fields(host));
    let differs = |(board, host): &(_, _)| board != host;
    let (field, board, host) = match board.iter().zip(&host).find(differs) {
        Some((board, host)) => (host.path.clone(), board.value.clone(), host.value.clone()),
        None => ("the number of values".to_owned(), board.len().to_string(), host.len().to_string()),
    };
    Some(Difference { number, t_s, field, board, host })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Clone, Serialize)]
    struct Inner {
        thrusts_n: Vec<f32>,
        motion: Motion,
    }

    #[derive(Clone, Serialize)]
    enum Motion {
        Level,
        Rates { roll: f32 },
    }

    #[derive(Clone, Serialize)]
    struct Outer {
        flag: bool,
        inner: Option<Inner>,
    }

    fn record() -> Outer {
        Outer { flag: true, inner: Some(Inner { thrusts_n: vec![1.0, 0.0], motion: Motion::Level }) }
    }

    fn found(change: impl Fn(&mut Inner)) -> Difference {
        let mut other = record();
        change(other.inner.as_mut().unwrap());
        difference(7, 0.007, &other, &record()).expect("they differ")
    }

    #[test]
    fn finds_nothing_when_every_bit_is_the_same() {
        assert_eq!(difference(0, 0.0, &record(), &record()), None);
    }

    #[test]
    fn names_step_time_field_and_both_values_when_one_bit_differs() {
        let sign = found(|inner| inner.thrusts_n[1] = -0.0);
        assert_eq!(
            sign.to_string(),
            "the board differs from the host at step 7, 0.007 s: inner.thrusts_n[1] is -0.0 (bits 80000000) on the \
             board and 0.0 (bits 00000000) here"
        );
        let last = found(|inner| inner.thrusts_n[0] = f32::from_bits(1.0_f32.to_bits() + 1));
        assert_eq!((last.field.as_str(), last.board.as_str()), ("inner.thrusts_n[0]", "1.0000001 (bits 3f800001)"));
    }

    #[test]
    fn names_the_field_when_kinds_or_counts_differ() {
        assert_eq!(found(|inner| inner.motion = Motion::Rates { roll: 0.0 }).field, "inner.motion");
        assert_eq!(found(|inner| inner.thrusts_n.truncate(1)).field, "inner.thrusts_n[1]");
        let none = difference(0, 0.0, &Outer { flag: true, inner: None }, &record()).unwrap();
        assert_eq!((none.board.as_str(), none.host.as_str()), ("none", "1.0 (bits 3f800000)"));
    }
}
