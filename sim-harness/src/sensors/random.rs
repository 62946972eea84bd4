//! Random streams: one for each thing that is random, all from the flight's seed.
//!
//! What one stream draws leaves the others alone, so that a flight is the same to the byte on any number of threads, and
//! a sensor that is switched off changes no other.
//!
//! * Source: D. J. Bernstein, ChaCha, 2008 (the generator, from the `rand_chacha` crate; the seed is the key); the
//!   normal distribution is the ziggurat of the `rand_distr` crate

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

/// Who draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stream {
    Gyro = 1,
    Accelerometer = 2,
    Heading = 3,
    Climb = 4,
    Voltage = 5,
    LateSamples = 6,
}

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub(crate) struct Random(ChaCha8Rng);

impl Random {
    pub(crate) fn new(seed: u64, stream: Stream) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream as u64);
        Random(generator)
    }

    /// Normal, mean 0, deviation 1.
    pub(crate) fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.0)
    }

    /// Even between 0 and 1.
    pub(crate) fn even(&mut self) -> f64 {
        rand_distr::StandardUniform.sample(&mut self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_the_same_from_the_same_seed_and_stream_alone() {
        let draws = |seed, stream| {
            let mut random = Random::new(seed, stream);
            std::array::from_fn::<f64, 4, _>(|_| random.normal())
        };
        assert_eq!(draws(3, Stream::Gyro), draws(3, Stream::Gyro));
        assert_ne!(draws(3, Stream::Gyro), draws(4, Stream::Gyro));
        assert_ne!(draws(3, Stream::Gyro), draws(3, Stream::Heading));
    }
}
