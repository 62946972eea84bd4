//! Directions: how far apart two are, and the attitude that brings one to the other.

use evenkeel_mixer::Scalar;

use crate::quaternion::Quaternion;

pub(crate) fn dot<S: Scalar>(a: [S; 3], b: [S; 3]) -> S {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

pub(crate) fn cross<S: Scalar>(a: [S; 3], b: [S; 3]) -> [S; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

pub(crate) fn scaled<S: Scalar>(a: [S; 3], scale: S) -> [S; 3] {
    a.map(|value| value * scale)
}

pub(crate) fn sum<S: Scalar>(a: [S; 3], b: [S; 3]) -> [S; 3] {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}

/// [`direction_error`] of the down that this force shows, times a weight.
///
/// * Input: a finite force, one over its length (zero for none), a unit vector
/// * Why: up to a right angle, nearly always, the force need not be brought to unit length first
pub(crate) fn tilt_error<S: Scalar>(force: [S; 3], inverse: S, estimated: [S; 3], weight: S) -> [S; 3] {
    if dot(force, estimated) <= S::ZERO {
        return scaled(cross(estimated, force), inverse * weight);
    }
    let [x, y, z] = estimated;
    tilt_error_beyond_a_right_angle(scaled(force, -inverse), [x, y, z], weight)
}

#[cold]
fn tilt_error_beyond_a_right_angle<S: Scalar>(seen: [S; 3], estimated: [S; 3], weight: S) -> [S; 3] {
    scaled(direction_error(seen, estimated), weight)
}

/// Axis and size of the turn of the body that brings `estimated` to `seen`, unit vectors in body axes.
///
/// * Math: seen × estimated, so the sine of the angle; beyond a right angle its direction with length
///   one; exactly opposite, any axis square to them
/// * Why: the sine falls again beyond a right angle, to nothing when upside down, where the estimate
///   would stay for ever
pub(crate) fn direction_error<S: Scalar>(seen: [S; 3], estimated: [S; 3]) -> [S; 3] {
    let sine = cross(seen, estimated);
    if dot(seen, estimated) >= S::ZERO {
        return sine;
    }
    let square = dot(sine, sine);
    if square > S::EPSILON {
        return scaled(sine, square.recip_sqrt());
    }
    let x_or_y = |axis: [S; 3]| {
        let square_to_it = cross(estimated, axis);
        (square_to_it, dot(square_to_it, square_to_it))
    };
    let about_x = x_or_y([S::ONE, S::ZERO, S::ZERO]);
    let long_enough = about_x.1 > S::HALF;
    let (axis, square) = if long_enough { about_x } else { x_or_y([S::ZERO, S::ONE, S::ZERO]) };
    scaled(axis, square.recip_sqrt())
}

/// An attitude in which this unit vector, body axes, points down: the shortest turn, from a half roll
/// when the body is on its back.
pub(crate) fn attitude_with_down<S: Scalar>([x, y, z]: [S; 3]) -> Quaternion<S> {
    let half_roll = Quaternion { w: S::ZERO, x: S::ONE, y: S::ZERO, z: S::ZERO };
    let upright = |x: S, y: S, z: S| Quaternion { w: S::ONE + z, x: y, y: -x, z: S::ZERO };
    let attitude = if z >= S::ZERO { upright(x, y, z) } else { upright(x, -y, -z) * half_roll };
    attitude.normalized().unwrap_or(Quaternion::IDENTITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn length(a: [f64; 3]) -> f64 {
        dot(a, a).sqrt()
    }

    #[test]
    fn error_is_the_sine_up_to_a_right_angle_and_one_beyond() {
        for degree in 0..=180 {
            let angle = f64::from(degree).to_radians();
            let error = direction_error([0.0, 0.0, 1.0], [0.0, angle.sin(), angle.cos()]);
            let expected = if degree <= 90 { angle.sin() } else { 1.0 };
            assert!((length(error) - expected).abs() < 1e-9, "{degree}: {error:?}");
            // The estimate has the right side too low, so the body must roll left.
            assert!(error[0] <= 0.0 || degree == 180, "{degree}: {error:?}");
        }
    }

    #[test]
    fn tilt_error_is_that_of_the_down_the_force_shows() {
        for degree in -180..180 {
            let angle = f64::from(degree).to_radians();
            let (seen, estimated) = ([0.6 * angle.sin(), -0.8 * angle.sin(), angle.cos()], [0.0, 0.0, 1.0]);
            let ours = tilt_error(scaled(seen, -1.25), 0.8, estimated, 0.5);
            let expected = scaled(direction_error(seen, estimated), 0.5);
            assert!((0..3).all(|k| (ours[k] - expected[k]).abs() < 1e-15), "{degree}: {ours:?} {expected:?}");
        }
        assert_eq!(tilt_error([0.0; 3], 0.0, [0.0, 0.6, 0.8], 1.0), [0.0; 3], "free fall shows nothing");
    }

    #[test]
    fn exactly_opposite_directions_still_have_an_error() {
        for axis in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.6, 0.0, 0.8], [0.6, -0.8, 0.0_f64]] {
            let error = direction_error(axis.map(|v| -v), axis);
            assert!((length(error) - 1.0).abs() < 1e-12 && dot(error, axis).abs() < 1e-12, "{axis:?}: {error:?}");
        }
    }

    #[test]
    fn attitude_puts_the_given_direction_down() {
        for i in -8..=8 {
            for j in 0..24 {
                let (up, around) = ((f64::from(i) * 0.125).asin(), f64::from(j) * 0.2618);
                let down = [up.cos() * around.cos(), up.cos() * around.sin(), up.sin()];
                let back = attitude_with_down(down).down_in_body();
                let off = (0..3).map(|k| (back[k] - down[k]).abs()).fold(0.0, f64::max);
                assert!(off < 1e-14, "{down:?}: {back:?}");
            }
        }
        assert!((attitude_with_down([0.0, 0.0, 1.0_f32]).w - 1.0).abs() < 1e-6);
        let [x, y, z] = attitude_with_down([0.0, 0.0, -1.0_f32]).down_in_body();
        assert!(x == 0.0 && y == 0.0 && (z + 1.0).abs() < 1e-6, "{z}");
        assert_eq!(attitude_with_down([f32::NAN; 3]), Quaternion::IDENTITY);
    }
}
