//! Whether numbers are finite, several at once.

use evenkeel_mixer::Scalar;

/// Whether all of these are finite.
///
/// * Math: zero times a finite number is zero, of either sign; zero times an infinity or NaN is NaN, and so is every
///   product with it
/// * Cost: one multiplication each, and one comparison for all
#[inline]
pub(crate) fn all_finite<S: Scalar, const K: usize>(values: [S; K]) -> bool {
    zero_of(values) == S::ZERO
}

/// Zero where all of these are finite, and not equal to it otherwise: such products say the same of several lists.
#[inline]
pub(crate) fn zero_of<S: Scalar, const K: usize>(values: [S; K]) -> S {
    values.iter().fold(S::ZERO, |zero, value| zero * *value)
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
