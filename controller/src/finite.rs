//! Whether numbers are finite, several at once.

use evenkeel_mixer::Scalar;

/// Whether all of these are finite.
///
/// * Math: a finite number times zero is zero; an infinity or NaN times zero is NaN, and so is every sum with it
/// * Cost: one multiplication and addition each, and one comparison for all
pub(crate) fn all_finite<S: Scalar, const K: usize>(values: [S; K]) -> bool {
    values.iter().fold(S::ZERO, |sum, value| sum + *value * S::ZERO) == S::ZERO
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenkeel_mixer::Fixed;

    #[test]
    fn one_that_is_not_finite_spoils_all() {
        let sound = [0.0, -0.0, f32::MAX, f32::MIN, f32::MIN_POSITIVE, -1.0e-45];
        assert!(all_finite(sound) && all_finite::<f32, 0>([]));
        for bad in [f32::NAN, -f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            for place in 0..sound.len() {
                let mut values = sound;
                values[place] = bad;
                assert!(!all_finite(values), "{values:?}");
            }
        }
    }

    #[test]
    fn fixed_point_always_is() {
        assert!(all_finite([Fixed::MAX, Fixed::MIN, Fixed::from_f64(1.0)]));
    }
}
