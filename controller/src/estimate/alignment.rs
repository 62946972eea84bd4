//! Start-up: the craft stands still for a while; the mean of the accelerometer gives its tilt, the
//! mean of the gyro its bias.
//!
//! What is judged is means over windows of [`ALIGN_WINDOW_S`], so that the noise of single samples, which
//! grows with the loop rate, decides nothing.
//!
//! * Math: over each window |1 − |mean force|/g| < [`ALIGN_LENGTH_SHARE`] or the gate, on each axis mean of ω² ≤ still²; down is
//!   −mean force, its length made one, over all windows; each window's within the gate of those before
//! * Source: white noise of one-sided density n has the deviation n·√(1/(2T)) in a mean over T, whatever
//!   the rate (any text on random signals, from memory)

use evenkeel_mixer::Scalar;

use crate::estimate::direction::{dot, scaled, sum};

/// Means are judged over windows about as long as this. Noise of 200 µg/√Hz is half a milligravity in
/// such a mean, and a hand that carries a craft moves it more slowly than that.
pub const ALIGN_WINDOW_S: f64 = 0.1;

/// The length of a window's mean force may be off gravity by this share, or by the gate where that is wider: the offset of a
/// common accelerometer is up to 80 milligravities an axis (typical data-sheet figure). It is the same in every window, so that it
/// says nothing of the craft's standing still; that down stays where it was does.
pub const ALIGN_LENGTH_SHARE: f64 = 0.1;

/// A single accelerometer sample off gravity by this share is a knock or a fall and no noise, whatever
/// the gate.
pub const ALIGN_KNOCK_SHARE: f64 = 0.5;

/// Whether the estimate stands on a start, or what keeps it from one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Alignment {
    /// Still so far; the time is not over.
    #[default]
    Collecting,
    /// The gyro shows more than counts as still: the time started again.
    GyroMoving,
    /// The accelerometer's length is not that of gravity: the time started again.
    AccelerationOffGravity,
    /// A sample was not finite or out of range: the time started again.
    BadSample,
    /// Aligned: the attitude means something.
    Aligned,
    /// Down, as the accelerometer shows it, has moved: the time started again.
    DownMoving,
}

/// Limits of the alignment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Aligner<S> {
    samples_in_window: u32,
    windows: S,
    /// The number of samples in one, again.
    per_window: S,
    /// Of the squares of a window's rates.
    square_sum_max: S,
    bias_max_rad_s: S,
    gate_share: S,
    length_share: S,
    knock_share: S,
}

/// Running sums. As sums, not as means, they are exact in fixed point; of the squares, but for the rounding of each.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Means<S> {
    window: Window<S>,
    windows: S,
    gyro_rad_s: [S; 3],
    force_g: [S; 3],
}

/// Sums over the window that is open.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Window<S> {
    taken: u32,
    gyro_rad_s: [S; 3],
    square_rad2_s2: [S; 3],
    force_g: [S; 3],
}

/// One sample, finite and within range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stood<S> {
    pub(crate) gyro_rad_s: [S; 3],
    /// What the accelerometer shows over gravity.
    pub(crate) force_g: [S; 3],
    /// Its length, less one, without its sign.
    pub(crate) off_share: S,
}

/// What the means come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Start<S> {
    pub(crate) down_body: [S; 3],
    pub(crate) bias_rad_s: [S; 3],
}

/// Limits in human units, checked.
pub(crate) struct AlignerConfig {
    pub(crate) align_s: f64,
    pub(crate) still_rad_s: f64,
    pub(crate) bias_max_rad_s: f64,
    pub(crate) gate_share: f64,
}

impl<S: Scalar> Aligner<S> {
    /// As many windows as come nearest to the time, of as many samples as come nearest to their share of it. None
    /// when the rate that counts as still vanishes in the flying scalar.
    pub(crate) fn new(config: &AlignerConfig, period_s: f64) -> Option<Self> {
        let AlignerConfig { align_s, still_rad_s, bias_max_rad_s, gate_share } = *config;
        // Above zero and at most a minute: the counts fit, the fractions are rounded.
        let samples = ((align_s / period_s + 0.5) as u32).max(1);
        let windows = ((align_s / ALIGN_WINDOW_S + 0.5) as u32).max(1).min(samples);
        let samples_in_window = (samples + windows / 2) / windows;
        let in_window = f64::from(samples_in_window);
        let aligner = Aligner {
            samples_in_window,
            windows: S::from_f64(f64::from(windows)),
            per_window: S::from_f64(in_window),
            square_sum_max: S::from_f64(still_rad_s * still_rad_s * in_window),
            bias_max_rad_s: S::from_f64(bias_max_rad_s),
            gate_share: S::from_f64(gate_share),
            length_share: S::from_f64(if gate_share > ALIGN_LENGTH_SHARE { gate_share } else { ALIGN_LENGTH_SHARE }),
            knock_share: S::from_f64(if gate_share > ALIGN_KNOCK_SHARE { gate_share } else { ALIGN_KNOCK_SHARE }),
        };
        (aligner.square_sum_max > S::ZERO).then_some(aligner)
    }

    /// Takes one sample; a start once there are enough. What keeps it from one stands until a whole window was good.
    #[cold]
    #[inline(never)]
    pub(crate) fn step(
        &self,
        means: &mut Means<S>,
        before: Alignment,
        sample: Option<Stood<S>>,
    ) -> (Alignment, Option<Start<S>>) {
        let taken = match sample {
            Some(sample) => self.take(means, &sample),
            None => Err(Alignment::BadSample),
        };
        match taken {
            Ok(false) => (before, None),
            Ok(true) if means.windows < self.windows => (Alignment::Collecting, None),
            Ok(true) => {
                let (answer, start) = self.finish(means);
                *means = Means::default();
                (answer, start)
            }
            Err(why) => {
                *means = Means::default();
                (why, None)
            }
        }
    }

    /// Whether a window ended with this sample.
    fn take(&self, means: &mut Means<S>, sample: &Stood<S>) -> Result<bool, Alignment> {
        if !(sample.off_share < self.knock_share) {
            return Err(Alignment::AccelerationOffGravity);
        }
        let window = &mut means.window;
        window.taken += 1;
        window.gyro_rad_s = sum(window.gyro_rad_s, sample.gyro_rad_s);
        window.square_rad2_s2 = sum(window.square_rad2_s2, sample.gyro_rad_s.map(|rate| rate * rate));
        window.force_g = sum(window.force_g, sample.force_g);
        if window.taken < self.samples_in_window {
            return Ok(false);
        }
        self.close(means).map(|()| true)
    }

    fn close(&self, means: &mut Means<S>) -> Result<(), Alignment> {
        let window = means.window;
        if !window.square_rad2_s2.iter().all(|square| *square <= self.square_sum_max) {
            return Err(Alignment::GyroMoving);
        }
        let force_g = window.force_g.map(|axis| axis / self.per_window);
        if !((dot(force_g, force_g).sqrt() - S::ONE).abs() < self.length_share) {
            return Err(Alignment::AccelerationOffGravity);
        }
        if means.windows > S::ZERO {
            let off = sum(force_g, means.force_g.map(|axis| -(axis / means.windows)));
            if !off.iter().all(|axis| axis.abs() < self.gate_share) {
                return Err(Alignment::DownMoving);
            }
        }
        means.windows = means.windows + S::ONE;
        means.force_g = sum(means.force_g, force_g);
        means.gyro_rad_s = sum(means.gyro_rad_s, window.gyro_rad_s.map(|axis| axis / self.per_window));
        means.window = Window::default();
        Ok(())
    }

    /// A mean rate above the bias limit is no bias.
    fn finish(&self, means: &Means<S>) -> (Alignment, Option<Start<S>>) {
        let bias_rad_s = means.gyro_rad_s.map(|axis| axis / self.windows);
        if !bias_rad_s.iter().all(|rate| rate.abs() <= self.bias_max_rad_s) {
            return (Alignment::GyroMoving, None);
        }
        let force_g = means.force_g.map(|axis| axis / self.windows);
        let square = dot(force_g, force_g);
        if !(square > S::ZERO) {
            return (Alignment::AccelerationOffGravity, None);
        }
        let down_body = scaled(force_g, -square.recip_sqrt());
        (Alignment::Aligned, Some(Start { down_body, bias_rad_s }))
    }
}
