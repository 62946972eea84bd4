//! A craft that leans keeps its height: thrust over the cosine of the tilt, up to a bound.
//!
//! * Math: with c the cosine of the tilt and m the bound, the factor is 1/c down to c = 1/m, falls from m there to 1 on
//!   the side (c = 0) in a straight line, and stays 1 beyond: continuous, and never more than m
//! * Why it falls again: near the side more thrust hardly carries, and upside down it drives the craft down
//! * Source: common practice for the quotient and its bound; the way past the bound is ours

use evenkeel_mixer::Scalar;

use crate::quaternion::Quaternion;

/// A validated compensation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct TiltCompensation<S> {
    /// Most by which thrust is raised; one: never.
    most: S,
    /// Cosine of the tilt at which that is reached.
    cos_tilt_at_most: S,
}

impl<S: Scalar> TiltCompensation<S> {
    /// None when the factor is below one or not finite.
    pub(crate) fn new(factor_max: f64) -> Option<Self> {
        let whole = factor_max >= 1.0 && factor_max.is_finite();
        whole.then(|| TiltCompensation {
            most: S::from_f64(factor_max),
            cos_tilt_at_most: S::from_f64(1.0 / factor_max),
        })
    }

    /// Thrust that carries as much at this attitude as the demand does upright; the demand itself without an attitude.
    ///
    /// * Input: attitude of unit length
    pub(crate) fn raised(&self, thrust_n: S, attitude: Option<Quaternion<S>>) -> S {
        if !(self.most > S::ONE) {
            return thrust_n;
        }
        attitude.map_or(thrust_n, |attitude| thrust_n * self.factor(attitude.down_in_body()[2]))
    }

    fn factor(&self, cos_tilt: S) -> S {
        if cos_tilt >= S::ONE || cos_tilt <= S::ZERO {
            S::ONE
        } else if cos_tilt >= self.cos_tilt_at_most {
            S::ONE / cos_tilt
        } else {
            S::ONE + (self.most - S::ONE) * cos_tilt * self.most
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(most: f64) -> TiltCompensation<f64> {
        TiltCompensation::new(most).unwrap()
    }

    #[test]
    fn carries_the_same_weight_up_to_its_bound() {
        for degree in 0..=60 {
            let tilt = f64::from(degree).to_radians();
            let raised = made(2.0).raised(10.0, Some(Quaternion::roll(tilt)));
            assert!((raised * tilt.cos() - 10.0).abs() < 1e-5, "{degree} degrees: {raised} N");
        }
    }

    #[test]
    fn never_exceeds_its_bound_and_never_jumps_from_upright_to_upside_down() {
        let most = 1.5;
        let mut before = 10.0;
        for tenth in 0..=1800 {
            let attitude = Quaternion::pitch(f64::from(tenth).to_radians() / 10.0);
            let raised = made(most).raised(10.0, Some(attitude));
            assert!((10.0..=10.0 * most * (1.0 + 1e-12)).contains(&raised), "{tenth}: {raised}");
            // Steepest at the bound: m² for each unit of cosine, coming from upright.
            assert!((raised - before).abs() < 10.0 * most * most * 0.0018, "{tenth}: {before} to {raised}");
            before = raised;
        }
        assert_eq!(before, 10.0, "upside down: as asked");
    }

    #[test]
    fn leaves_the_demand_alone_when_switched_off_or_without_an_attitude() {
        assert_eq!(made(1.0).raised(7.0, Some(Quaternion::roll(1.0))), 7.0);
        assert_eq!(made(2.0).raised(7.0, None), 7.0);
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        for bad in [0.99, 0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert_eq!(TiltCompensation::<f32>::new(bad), None, "{bad}");
        }
    }
}
