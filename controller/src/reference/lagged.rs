//! A motion ahead of the rotors, and the same motion behind them.

use evenkeel_mixer::Scalar;

use crate::shaping::{Shaped, Shaper};

/// A shaped value, and the same behind the rotors' lag.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Lagged<S> {
    pub(super) shaped: Shaped<S>,
    pub(super) value: S,
    pub(super) rate: S,
    pub(super) acceleration: S,
}

impl<S: Scalar> Lagged<S> {
    pub(super) fn at(value: S) -> Self {
        Lagged::moving(value, S::ZERO)
    }

    pub(super) fn moving(value: S, rate: S) -> Self {
        Lagged { shaped: Shaped { rate, ..Shaped::at(value) }, value, rate, acceleration: S::ZERO }
    }

    /// * Input: a target that is finite
    pub(super) fn step(&mut self, shaper: &Shaper<S>, keep: S, target: S) {
        shaper.advance(&mut self.shaped, target);
        let shaped = self.shaped;
        self.value = shaped.value + keep * (self.value - shaped.value);
        self.rate = shaped.rate + keep * (self.rate - shaped.rate);
        self.acceleration = shaped.acceleration + keep * (self.acceleration - shaped.acceleration);
    }
}
