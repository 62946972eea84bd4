//! Random deviations, a stream of its own for each flight.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal, StandardUniform};

use super::spread::Shape;

/// A normal deviate is cut at this many standard deviations: there the bound lies.
const BOUND_SIGMAS: f64 = 3.0;

/// The stream of one flight.
///
/// The generator is a block cipher that counts: the seed is its key, the flight's index its stream number.
/// So streams do not overlap, and none depends on another having been drawn.
///
/// * Source: D. J. Bernstein, ChaCha, a variant of Salsa20, 2008 (citation from memory), as `rand_chacha` has it
pub(super) struct Draws {
    generator: ChaCha8Rng,
    shape: Shape,
    /// What was drawn since [`Draws::taken`].
    drawn: Vec<f64>,
}

impl Draws {
    pub(super) fn new(seed: u64, index: u64, shape: Shape) -> Self {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(index);
        Draws { generator, shape, drawn: Vec::new() }
    }

    /// A deviation of at most `bound` either way.
    pub(super) fn within(&mut self, bound: f64) -> f64 {
        let share = match self.shape {
            Shape::Uniform => 2.0 * self.uniform() - 1.0,
            Shape::Normal => self.cut_normal(),
        };
        self.note(bound * share)
    }

    /// A deviation of at most `bound`, one way only.
    pub(super) fn up_to(&mut self, bound: f64) -> f64 {
        let deviation = self.within(bound).abs();
        self.drawn.pop();
        self.note(deviation)
    }

    /// 1 and a deviation of at most `bound` either way.
    pub(super) fn factor(&mut self, bound: f64) -> f64 {
        1.0 + self.within(bound)
    }

    /// An angle, evenly from a full circle.
    pub(super) fn direction_rad(&mut self) -> f64 {
        let angle = std::f64::consts::TAU * self.uniform();
        self.note(angle)
    }

    /// A seed for what varies within the flight.
    pub(super) fn seed(&mut self) -> u64 {
        // A seed stands in files as a whole number that is not negative.
        self.generator.next_u64() >> 1
    }

    /// What was drawn since this was last called.
    pub(super) fn taken(&mut self) -> Vec<f64> {
        std::mem::take(&mut self.drawn)
    }

    fn note(&mut self, value: f64) -> f64 {
        self.drawn.push(value);
        value
    }

    /// From 0 up to, not including, 1.
    fn uniform(&mut self) -> f64 {
        StandardUniform.sample(&mut self.generator)
    }

    /// From −1 to 1.
    fn cut_normal(&mut self) -> f64 {
        loop {
            let sigmas: f64 = StandardNormal.sample(&mut self.generator);
            if sigmas.abs() <= BOUND_SIGMAS {
                return sigmas / BOUND_SIGMAS;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COUNT: usize = 100_000;
    /// Four standard errors of a mean of `COUNT` deviates with spread below 0.6.
    const MEAN_TOL: f64 = 0.008;
    /// Four standard errors of a spread, likewise.
    const SPREAD_TOL: f64 = 0.008;
    const BOUND: f64 = 2.0;

    /// Mean and standard deviation of deviations from a bound of 1, and the furthest.
    fn statistics(shape: Shape) -> (f64, f64, f64) {
        let mut draws = Draws::new(7, 3, shape);
        let values: Vec<f64> = (0..COUNT).map(|_| draws.within(BOUND) / BOUND).collect();
        let mean = values.iter().sum::<f64>() / COUNT as f64;
        let square = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / COUNT as f64;
        (mean, square.sqrt(), values.iter().fold(0.0, |most: f64, value| most.max(value.abs())))
    }

    /// Source: standard deviation of a uniform distribution, its width over √12.
    #[test]
    fn has_mean_and_spread_of_the_uniform_distribution_when_uniform() {
        let (mean, spread, furthest) = statistics(Shape::Uniform);
        assert!(mean.abs() < MEAN_TOL && (spread - 2.0 / 12.0_f64.sqrt()).abs() < SPREAD_TOL, "{mean} {spread}");
        assert!(furthest <= 1.0 && furthest > 0.999, "{furthest}");
    }

    /// Source: variance of a normal distribution cut at ±c: 1 − 2c·φ(c)/(2Φ(c) − 1) (any handbook of statistics, from
    /// memory); with c = 3, φ(3) = 0.004432, Φ(3) = 0.998650 that is 0.973337.
    #[test]
    fn has_mean_and_spread_of_the_cut_normal_distribution_when_normal() {
        let (mean, spread, furthest) = statistics(Shape::Normal);
        let expected = 0.973_337_f64.sqrt() / 3.0;
        assert!(mean.abs() < MEAN_TOL && (spread - expected).abs() < SPREAD_TOL / 2.0, "{mean} {spread}");
        assert!(furthest <= 1.0 && furthest > 0.95, "{furthest}");
    }

    #[test]
    fn does_not_depend_on_other_streams_when_drawn_in_any_order() {
        let first = |index| Draws::new(1, index, Shape::Uniform).within(1.0);
        let forward: Vec<f64> = (1..50).map(first).collect();
        let mut backward: Vec<f64> = (1..50).rev().map(first).collect();
        backward.reverse();
        assert_eq!(forward, backward);
        let mut sorted = forward;
        sorted.sort_by(f64::total_cmp);
        assert!(sorted.windows(2).all(|pair| pair[0] < pair[1]), "no two streams begin alike: {sorted:?}");
    }

    #[test]
    fn is_one_sided_when_asked_to_be() {
        let mut draws = Draws::new(2, 1, Shape::Normal);
        assert!((0..1000).all(|_| (0.0..=0.5).contains(&draws.up_to(0.5))));
        assert_eq!(draws.taken().len(), 1000);
    }
}
