//! The one place where angular acceleration becomes torque.
//!
//! * Math: τ = J·α + ω × (J·ω); about principal axes J is its diagonal
//! * Source: Euler's equations of rigid-body rotation

use core::fmt;

use evenkeel_mixer::Scalar;

use crate::setpoint::BodyAxes;

/// A body's inertia tensor about its centre of mass, kg·m², body axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Inertia<S> {
    moments: [S; 3],
    /// xy, xz, yz. None where all are zero, as they are given for nearly every craft: the body axes are then the
    /// principal ones.
    products: Option<[S; 3]>,
}

/// Why a tensor is no inertia.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InertiaError {
    /// An entry is not finite.
    NotFinite,
    /// The tensor is not symmetric.
    NotSymmetric,
    /// Some axis would have no inertia: the tensor is not positive definite.
    NotPositive,
}

impl fmt::Display for InertiaError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            InertiaError::NotFinite => "the inertia tensor holds a value that is not finite",
            InertiaError::NotSymmetric => "the inertia tensor is not symmetric",
            InertiaError::NotPositive => "the inertia tensor is not positive definite",
        })
    }
}

impl core::error::Error for InertiaError {}

impl<S: Scalar> Inertia<S> {
    /// Checks and quantises.
    ///
    /// # Errors
    /// When the tensor is not finite, symmetric and positive definite.
    pub fn new(tensor_kg_m2: [[f64; 3]; 3]) -> Result<Self, InertiaError> {
        let [[xx, xy, xz], [yx, yy, yz], [zx, zy, zz]] = tensor_kg_m2;
        if !tensor_kg_m2.iter().flatten().all(|entry| entry.is_finite()) {
            return Err(InertiaError::NotFinite);
        }
        if xy != yx || xz != zx || yz != zy {
            return Err(InertiaError::NotSymmetric);
        }
        let minor = xx * yy - xy * xy;
        let determinant = xx * (yy * zz - yz * yz) - xy * (xy * zz - yz * xz) + xz * (xy * yz - yy * xz);
        if !(xx > 0.0 && minor > 0.0 && determinant > 0.0) {
            return Err(InertiaError::NotPositive);
        }
        let principal = xy == 0.0 && xz == 0.0 && yz == 0.0;
        Ok(Inertia {
            moments: [xx, yy, zz].map(S::from_f64),
            products: (!principal).then(|| [xy, xz, yz].map(S::from_f64)),
        })
    }

    /// Torque that gives this angular acceleration at this rate, N·m.
    #[inline]
    pub fn torque(&self, acceleration_rad_s2: BodyAxes<S>, rate_rad_s: BodyAxes<S>) -> BodyAxes<S> {
        let (rate, acceleration) = (rate_rad_s.to_array(), acceleration_rad_s2.to_array());
        match &self.products {
            None => euler(rate, self.about_principal_axes(rate), self.about_principal_axes(acceleration)),
            Some(products) => euler(rate, self.times(products, rate), self.times(products, acceleration)),
        }
    }

    fn about_principal_axes(&self, [x, y, z]: [S; 3]) -> [S; 3] {
        let [xx, yy, zz] = self.moments;
        [xx * x, yy * y, zz * z]
    }

    fn times(&self, [xy, xz, yz]: &[S; 3], [x, y, z]: [S; 3]) -> [S; 3] {
        let [xx, yy, zz] = self.moments;
        [xx * x + *xy * y + *xz * z, *xy * x + yy * y + *yz * z, *xz * x + *yz * y + zz * z]
    }
}

/// Euler's equations: rate, and what the tensor makes of rate and acceleration.
#[inline(always)]
fn euler<S: Scalar>([p, q, r]: [S; 3], [hx, hy, hz]: [S; 3], [ax, ay, az]: [S; 3]) -> BodyAxes<S> {
    BodyAxes { roll: ax + (q * hz - r * hy), pitch: ay + (r * hx - p * hz), yaw: az + (p * hy - q * hx) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BODY: [[f64; 3]; 3] = [[0.012, 0.001, 0.0], [0.001, 0.014, -0.002], [0.0, -0.002, 0.022]];

    #[test]
    fn at_rest_torque_is_inertia_times_acceleration() {
        let body = Inertia::<f64>::new(BODY).unwrap();
        let torque = body.torque(BodyAxes { roll: 1.0, pitch: 2.0, yaw: 3.0 }, BodyAxes::default());
        let close = |a: f64, b: f64| (a - b).abs() < 1e-15;
        assert!(close(torque.roll, 0.014) && close(torque.pitch, 0.023) && close(torque.yaw, 0.062), "{torque:?}");
    }

    #[test]
    fn gyroscopic_torque_does_no_work() {
        let body = Inertia::<f64>::new(BODY).unwrap();
        let rate = BodyAxes { roll: 3.0, pitch: -2.0, yaw: 4.0 };
        let torque = body.torque(BodyAxes::default(), rate);
        let power = torque.roll * rate.roll + torque.pitch * rate.pitch + torque.yaw * rate.yaw;
        assert!(power.abs() < 1e-15, "{power:e}");
        assert!(torque.roll.abs() > 1e-3, "and it is there: {torque:?}");
    }

    /// τx = Ixx·αx + (Izz − Iyy)·ωy·ωz, and so on in turn: Euler's equations as textbooks give them.
    #[test]
    fn about_principal_axes_torque_is_that_of_the_textbook() {
        let body = Inertia::<f64>::new([[0.012, 0.0, 0.0], [0.0, 0.014, 0.0], [0.0, 0.0, 0.022]]).unwrap();
        let rate = BodyAxes { roll: 3.0, pitch: -2.0, yaw: 4.0 };
        let torque = body.torque(BodyAxes { roll: 1.0, pitch: 2.0, yaw: 3.0 }, rate);
        let close = |a: f64, b: f64| (a - b).abs() < 1e-15;
        assert!(close(torque.roll, 0.012 * 1.0 + (0.022 - 0.014) * -2.0 * 4.0), "{torque:?}");
        assert!(close(torque.pitch, 0.014 * 2.0 + (0.012 - 0.022) * 4.0 * 3.0), "{torque:?}");
        assert!(close(torque.yaw, 0.022 * 3.0 + (0.014 - 0.012) * 3.0 * -2.0), "{torque:?}");
    }

    #[test]
    fn principal_axes_are_a_tensor_like_any_other() {
        /// What products far below rounding leave of a torque.
        const TOL_NM: f64 = 1e-15;
        let with = |product: f64| {
            let tensor = [[0.012, product, 0.0], [product, 0.014, 0.0], [0.0, 0.0, 0.022]];
            let rate = BodyAxes { roll: 3.0, pitch: -2.0, yaw: 4.0 };
            Inertia::<f64>::new(tensor).unwrap().torque(BodyAxes { roll: 1.0, pitch: 2.0, yaw: 3.0 }, rate).to_array()
        };
        for (one, other) in with(0.0).into_iter().zip(with(1e-30)) {
            assert!((one - other).abs() < TOL_NM, "{one} {other}");
        }
    }

    #[test]
    fn refuses_what_no_body_has() {
        let made = |tensor| Inertia::<f32>::new(tensor).map(|_| ());
        assert_eq!(made(BODY), Ok(()));
        assert_eq!(made([[f64::NAN; 3]; 3]), Err(InertiaError::NotFinite));
        assert_eq!(made([[1.0, 0.1, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), Err(InertiaError::NotSymmetric));
        assert_eq!(made([[1.0, 2.0, 0.0], [2.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), Err(InertiaError::NotPositive));
        assert_eq!(made([[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]]), Err(InertiaError::NotPositive));
    }
}
