//! Start-up: the craft stands still for a while; the mean of the accelerometer gives its tilt, the
//! mean of the gyro its bias.

use evenkeel_mixer::Scalar;

use crate::estimate::direction::{dot, scaled, sum};
use crate::estimate::gate::SeenDown;

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
}

/// Limits of the alignment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Aligner<S> {
    pub(crate) samples: u32,
    pub(crate) still_rad_s: S,
    pub(crate) bias_max_rad_s: S,
    pub(crate) gate_share: S,
}

/// Running means.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Means<S> {
    taken: u32,
    count: S,
    gyro_rad_s: [S; 3],
    down_body: [S; 3],
}

/// What the means come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Start<S> {
    pub(crate) down_body: [S; 3],
    pub(crate) bias_rad_s: [S; 3],
}

impl<S: Scalar> Aligner<S> {
    /// Takes one sample; a start once there are enough.
    pub(crate) fn step(
        &self,
        means: &mut Means<S>,
        gyro_rad_s: Option<[S; 3]>,
        seen: Option<SeenDown<S>>,
    ) -> (Alignment, Option<Start<S>>) {
        let verdict = match (gyro_rad_s, seen) {
            (Some(gyro), Some(seen)) => self.judge(gyro, seen).map(|()| (gyro, seen)),
            _ => Err(Alignment::BadSample),
        };
        let (gyro, seen) = match verdict {
            Ok(sample) => sample,
            Err(why) => {
                *means = Means::default();
                return (why, None);
            }
        };
        means.taken += 1;
        means.count = means.count + S::ONE;
        let towards = |mean: [S; 3], value: [S; 3]| {
            let off = sum(value, mean.map(|v| -v));
            sum(mean, off.map(|v| v / means.count))
        };
        means.gyro_rad_s = towards(means.gyro_rad_s, gyro);
        means.down_body = towards(means.down_body, seen.down_body);
        if means.taken < self.samples {
            return (Alignment::Collecting, None);
        }
        let (answer, start) = self.finish(means);
        *means = Means::default();
        (answer, start)
    }

    fn judge(&self, gyro_rad_s: [S; 3], seen: SeenDown<S>) -> Result<(), Alignment> {
        if !gyro_rad_s.iter().all(|rate| rate.abs() <= self.still_rad_s) {
            return Err(Alignment::GyroMoving);
        }
        if !(seen.off_share < self.gate_share) {
            return Err(Alignment::AccelerationOffGravity);
        }
        Ok(())
    }

    /// A mean rate above the bias limit is no bias; a mean direction much shorter than its samples was
    /// never one direction.
    fn finish(&self, means: &Means<S>) -> (Alignment, Option<Start<S>>) {
        if !means.gyro_rad_s.iter().all(|rate| rate.abs() <= self.bias_max_rad_s) {
            return (Alignment::GyroMoving, None);
        }
        let square = dot(means.down_body, means.down_body);
        if !(square > S::HALF) {
            return (Alignment::AccelerationOffGravity, None);
        }
        let down_body = scaled(means.down_body, square.recip_sqrt());
        (Alignment::Aligned, Some(Start { down_body, bias_rad_s: means.gyro_rad_s }))
    }
}
