//! One sensor: when it measures, what it makes of the truth, and when that can be read.
//!
//! * Math: y = limit(round((x + b + σ·n)/r)·r), b ← b + D·√T·n′, with n, n′ normal, T the sample period
//! * Noise density is one-sided, so that a sample's deviation is σ = density·√(rate/2); see `reference/sensor_noise.csv`
//!   of the tests (IEEE Std 952 conventions, from memory)

use std::collections::VecDeque;

use super::config::{InertialSensor, ScalarSensor};
use super::random::{Random, Stream};
use crate::script::SensorFailure;
use crate::simulation::clock::{Beat, nanoseconds};

/// What was measured, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reading<const K: usize> {
    pub(crate) sensed_at_ns: u64,
    pub(crate) value: [f64; K],
}

/// One sensor of K values.
#[derive(Clone, Debug)]
pub(crate) struct Channel<const K: usize> {
    beat: Beat,
    latency_ns: u64,
    random: Random,
    deviation: f64,
    bias: [f64; K],
    drift: f64,
    resolution: f64,
    range: f64,
    /// Deviation of what a noisy failure adds.
    failure_noise: f64,
    failure: Option<SensorFailure>,
    under_way: VecDeque<(u64, Reading<K>)>,
    latest: Option<Reading<K>>,
}

impl Channel<3> {
    /// `loop_hz` is its rate when it has none of its own.
    pub(crate) fn inertial(
        config: &InertialSensor,
        loop_hz: f64,
        seed: u64,
        stream: Stream,
        failure_noise: f64,
    ) -> Self {
        let rate_hz = config.rate_hz.unwrap_or(loop_hz);
        Channel {
            beat: Beat::new(rate_hz),
            latency_ns: nanoseconds(config.latency_s),
            random: Random::new(seed, stream),
            deviation: config.noise_density * (0.5 * rate_hz).sqrt(),
            bias: config.bias,
            drift: config.bias_drift / rate_hz.sqrt(),
            resolution: config.resolution,
            range: config.range,
            failure_noise,
            failure: None,
            under_way: VecDeque::new(),
            latest: None,
        }
    }
}

impl Channel<1> {
    /// `loop_hz` is its rate when it has none of its own.
    pub(crate) fn scalar(config: &ScalarSensor, loop_hz: f64, seed: u64, stream: Stream, failure_noise: f64) -> Self {
        Channel {
            beat: Beat::new(config.rate_hz.unwrap_or(loop_hz)),
            latency_ns: nanoseconds(config.latency_s),
            random: Random::new(seed, stream),
            deviation: config.noise,
            bias: [config.bias],
            drift: 0.0,
            resolution: 0.0,
            range: f64::INFINITY,
            failure_noise,
            failure: None,
            under_way: VecDeque::new(),
            latest: None,
        }
    }
}

impl<const K: usize> Channel<K> {
    /// When it measures next.
    pub(crate) fn next_ns(&self) -> u64 {
        self.beat.next_ns()
    }

    /// Fails so from now on; `None` mends it.
    pub(crate) fn fail(&mut self, failure: Option<SensorFailure>) {
        self.failure = failure;
    }

    /// Measures if it is time to; `truth` is asked only then, and may have no answer.
    pub(crate) fn measure(&mut self, now_ns: u64, truth: impl FnOnce() -> Option<[f64; K]>) {
        if self.beat.next_ns() > now_ns {
            return;
        }
        let Some(truth) = truth() else { return self.beat.advance() };
        let mut value = self.distorted(truth);
        match self.failure {
            None => {}
            // It still draws, so that what comes after the failure is what would have come without.
            Some(SensorFailure::Dropped) => return self.beat.advance(),
            Some(SensorFailure::Frozen) => value = self.latest.map_or(value, |latest| latest.value),
            Some(SensorFailure::NotFinite) => value = [f64::NAN; K],
            Some(SensorFailure::Noisy) => value = value.map(|axis| axis + self.failure_noise * self.random.normal()),
        }
        let reading = Reading { sensed_at_ns: self.beat.next_ns(), value };
        // What was measured before the flight began can be read at once.
        let can_be_read_ns = if self.latest.is_none() { now_ns } else { reading.sensed_at_ns + self.latency_ns };
        if can_be_read_ns <= now_ns {
            self.latest = Some(reading);
        } else {
            self.under_way.push_back((can_be_read_ns, reading));
        }
        self.beat.advance();
    }

    /// The newest that can be read; `None` before there is any.
    pub(crate) fn read(&mut self, now_ns: u64) -> Option<Reading<K>> {
        while let Some((can_be_read_ns, reading)) = self.under_way.front()
            && *can_be_read_ns <= now_ns
        {
            self.latest = Some(*reading);
            self.under_way.pop_front();
        }
        self.latest
    }

    /// How old a reading may be while the sensor works.
    pub(crate) fn oldest_ns(&self) -> u64 {
        let period_ns = self.beat.period_ns();
        self.latency_ns + period_ns + period_ns / 2
    }

    fn distorted(&mut self, truth: [f64; K]) -> [f64; K] {
        let mut value = truth;
        for (axis, bias) in value.iter_mut().zip(&mut self.bias) {
            if self.drift > 0.0 {
                *bias += self.drift * self.random.normal();
            }
            *axis += *bias;
            if self.deviation > 0.0 {
                *axis += self.deviation * self.random.normal();
            }
            if self.resolution > 0.0 {
                *axis = nearest(*axis / self.resolution) * self.resolution;
            }
            *axis = axis.clamp(-self.range, self.range);
        }
        value
    }
}

/// The nearest whole number, halves away from zero. The same as [`f64::round`], which is a call on most processors, and each axis of
/// each sample asks for it.
fn nearest(value: f64) -> f64 {
    // Beyond this all numbers are whole.
    const WHOLE_FROM: f64 = 4_503_599_627_370_496.0;
    if !(value.abs() < WHOLE_FROM) {
        return value;
    }
    let whole = value as i64 as f64;
    let off = value - whole;
    let further = if off >= 0.5 {
        1.0
    } else if off <= -0.5 {
        -1.0
    } else {
        0.0
    };
    (whole + further).copysign(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_to_the_bit_as_the_library_does() {
        let edges =
            [0.0, 0.3, 0.5, 0.499_999_999_999_999_94, 1.5, 2.5, 1e15, 4_503_599_627_370_495.5, 1e300, f64::INFINITY];
        for value in edges.into_iter().chain((1..3000).map(|k| f64::from(k) * 0.37)) {
            assert_eq!(nearest(value).to_bits(), value.round().to_bits(), "{value}");
            assert_eq!(nearest(-value).to_bits(), (-value).round().to_bits(), "-{value}");
        }
        assert!(nearest(f64::NAN).is_nan());
    }
}
