//! Random numbers for draws of crafts: SplitMix64, so that a seed gives the same corpus for ever.
//!
//! Source: G.L. Steele, D. Lea, C.H. Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014 (constants from memory).

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub struct Random(u64);

impl Random {
    /// The stream of craft `index` of corpus `seed`: a craft does not depend on how many were drawn before it.
    pub fn new(seed: u64, index: u64) -> Random {
        let mut stream = Random(seed);
        let start = stream.bits();
        Random(start ^ index.wrapping_mul(0x9e37_79b9_7f4a_7c15).rotate_left(17))
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to below 1, evenly.
    pub fn share(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// From `low` to `high`, evenly.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// From `low` to `high`, evenly by ratio.
    pub fn ratio(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.share())
    }

    /// From −`most` to `most`, evenly.
    pub fn either_way(&mut self, most: f64) -> f64 {
        self.between(-most, most)
    }

    /// True in this share of draws.
    pub fn chance(&mut self, share: f64) -> bool {
        self.share() < share
    }

    /// One of `items`.
    pub fn pick<T: Copy>(&mut self, items: &[T]) -> T {
        items[(self.share() * items.len() as f64) as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differs_when_seed_or_index_does() {
        let first = |seed, index| Random::new(seed, index).bits();
        let all: std::collections::BTreeSet<u64> =
            (0..50).flat_map(|seed| (0..50).map(move |index| first(seed, index))).collect();
        assert_eq!(all.len(), 2500);
    }

    #[test]
    fn is_even_when_drawn_often() {
        let mut random = Random::new(1, 2);
        let draws: Vec<f64> = (0..10_000).map(|_| random.between(2.0, 4.0)).collect();
        let mean = draws.iter().sum::<f64>() / 1e4;
        // Standard deviation of the mean: 2/√12/100.
        assert!((mean - 3.0).abs() < 5.0 * 0.00577, "{mean}");
        assert!(draws.iter().all(|draw| (2.0..4.0).contains(draw)));
    }
}
