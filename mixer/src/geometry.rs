//! Where the rotors sit and how they turn: the effectiveness matrix.
//!
//! Body axes x forward, y right, z down (ISO 1151-1), positions from the frame's datum. Everything
//! here is `f64` and `const`: it runs once, at set-up or at compile time, and is quantised to the
//! flying scalar afterwards.

use core::fmt;

use crate::rotor_set::MAX_ROTORS;
use crate::scalar::recip_sqrt_f64;
use crate::wrench::Axis;

/// A row of the effectiveness matrix counts as dependent on the rows before it when less than this
/// share of its length is left after they are projected out.
pub const INDEPENDENCE_TOL: f64 = 1.0e-6;

/// Sense of rotation of a rotor, seen from above the craft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Spin {
    /// Clockwise; the body is pushed nose left.
    Cw,
    /// Counter-clockwise; the body is pushed nose right.
    Ccw,
}

/// One rotor, as measured on the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Rotor {
    /// Hub from the datum, body axes.
    pub position_m: [f64; 3],
    /// Direction of thrust, body axes, any length above zero.
    pub axis: [f64; 3],
    /// Sense of rotation seen from above.
    pub spin: Spin,
    /// Reaction torque per newton of thrust, not negative.
    pub torque_per_thrust_m: f64,
    /// Floor: thrust at the slowest safe spin.
    pub thrust_min_n: f64,
    /// Ceiling: thrust at full command.
    pub thrust_max_n: f64,
}

impl Rotor {
    /// A rotor at the datum, thrust straight up; a start for `Rotor { position_m: .., ..Rotor::UP }`.
    pub const UP: Rotor = Rotor {
        position_m: [0.0; 3],
        axis: [0.0, 0.0, -1.0],
        spin: Spin::Ccw,
        torque_per_thrust_m: 0.0,
        thrust_min_n: 0.0,
        thrust_max_n: 1.0,
    };
}

/// Why a set of rotors cannot be controlled. Rotors are counted from 1, as in the craft file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GeometryError {
    /// There is no rotor at all.
    NoRotors,
    /// More rotors than the storage was sized for, or than [`MAX_ROTORS`].
    TooManyRotors {
        /// What was given.
        given: usize,
        /// What fits.
        capacity: usize,
    },
    /// A value of this rotor, or the centre of mass (rotor 0), is NaN or infinite.
    NotFinite {
        /// Which rotor, 0 for the centre of mass.
        rotor: usize,
    },
    /// The thrust axis of this rotor has no direction.
    NoDirection {
        /// Which rotor.
        rotor: usize,
    },
    /// The floor is negative, or not below the ceiling.
    FloorNotBelowCeiling {
        /// Which rotor.
        rotor: usize,
    },
    /// The reaction torque ratio is negative.
    NegativeTorqueRatio {
        /// Which rotor.
        rotor: usize,
    },
    /// No combination of rotor thrusts moves this axis independently of the axes before it
    /// (thrust, roll, pitch, yaw).
    NotControllable {
        /// The axis that cannot be moved by itself.
        axis: Axis,
    },
    /// There is no thrust at which roll, pitch and yaw torque can all be zero.
    Unbalanced,
    /// The facets of the attainable set do not fit the storage; see [`crate::facet_capacity`].
    TooManyFacets {
        /// What fits.
        capacity: usize,
    },
}

impl fmt::Display for GeometryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GeometryError::NoRotors => f.write_str("there is no rotor"),
            GeometryError::TooManyRotors { given, capacity } => {
                write!(f, "{given} rotors, but this mixer holds at most {capacity}")
            }
            GeometryError::NotFinite { rotor: 0 } => f.write_str("the centre of mass is not a finite number"),
            GeometryError::NotFinite { rotor } => write!(f, "a value of rotor {rotor} is not a finite number"),
            GeometryError::NoDirection { rotor } => write!(f, "the thrust axis of rotor {rotor} has no direction"),
            GeometryError::FloorNotBelowCeiling { rotor } => {
                write!(f, "the thrust floor of rotor {rotor} must be at least 0 and below its ceiling")
            }
            GeometryError::NegativeTorqueRatio { rotor } => {
                write!(f, "the torque ratio of rotor {rotor} must be at least 0; its sign comes from the spin")
            }
            GeometryError::NotControllable { axis } => {
                let (axis, remedy) = match axis {
                    Axis::Thrust => ("thrust", "do the thrust axes point up?"),
                    Axis::Roll => ("roll", "are there rotors on both sides of the centre of mass?"),
                    Axis::Pitch => ("pitch", "are there rotors ahead of and behind the centre of mass?"),
                    Axis::Yaw => ("yaw", "do neighbouring rotors spin opposite ways?"),
                };
                write!(f, "the rotors cannot turn or lift the craft in {axis} by itself; {remedy}")
            }
            GeometryError::Unbalanced => f.write_str(
                "at no thrust can roll, pitch and yaw torque all be zero: the centre of mass lies outside the rotors, \
                 or their reaction torques do not cancel",
            ),
            GeometryError::TooManyFacets { capacity } => {
                write!(f, "the attainable set has more than {capacity} facets; size the mixer with facet_capacity")
            }
        }
    }
}

impl core::error::Error for GeometryError {}

/// The effectiveness matrix: what one newton of each rotor does to the craft.
///
/// Column `i` is `[thrust, roll, pitch, yaw]` per newton of rotor `i`: thrust `−a_z`, torque
/// `(p − c) × a ± k·a` with `+` for a clockwise rotor.
///
/// * Source: rigid-body statics; the reaction torque's sign is Newton's third law.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effectiveness<const N: usize> {
    columns: [[f64; 4]; N],
    floor_n: [f64; N],
    ceiling_n: [f64; N],
    len: usize,
}

impl<const N: usize> Effectiveness<N> {
    /// Checks the rotors and forms the matrix.
    ///
    /// # Errors
    /// The first cause found, rotor by rotor; then the first axis that cannot be moved by itself.
    pub const fn new(rotors: &[Rotor], center_of_mass_m: [f64; 3]) -> Result<Self, GeometryError> {
        if rotors.is_empty() {
            return Err(GeometryError::NoRotors);
        }
        let capacity = if N < MAX_ROTORS { N } else { MAX_ROTORS };
        if rotors.len() > capacity {
            return Err(GeometryError::TooManyRotors { given: rotors.len(), capacity });
        }
        if !finite(center_of_mass_m) {
            return Err(GeometryError::NotFinite { rotor: 0 });
        }
        let mut matrix =
            Effectiveness { columns: [[0.0; 4]; N], floor_n: [0.0; N], ceiling_n: [0.0; N], len: rotors.len() };
        let mut i = 0;
        while i < rotors.len() {
            matrix.columns[i] = match column(&rotors[i], i + 1, center_of_mass_m) {
                Ok(column) => column,
                Err(error) => return Err(error),
            };
            matrix.floor_n[i] = rotors[i].thrust_min_n;
            matrix.ceiling_n[i] = rotors[i].thrust_max_n;
            i += 1;
        }
        match matrix.dependent_axis() {
            Some(axis) => Err(GeometryError::NotControllable { axis }),
            None => Ok(matrix),
        }
    }

    /// Number of rotors.
    pub const fn len(&self) -> usize {
        self.len
    }

    /// Whether there is no rotor; never true of a matrix that was constructed.
    pub const fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// The columns: `[thrust, roll, pitch, yaw]` per newton, one for each rotor.
    pub const fn columns(&self) -> &[[f64; 4]] {
        used(&self.columns, self.len)
    }

    /// Thrust floors, newtons.
    pub const fn floors_n(&self) -> &[f64] {
        used(&self.floor_n, self.len)
    }

    /// Thrust ceilings, newtons.
    pub const fn ceilings_n(&self) -> &[f64] {
        used(&self.ceiling_n, self.len)
    }

    /// Largest magnitude in each row: the unit in which that axis is measured before rows of
    /// different dimension are compared.
    pub const fn row_scales(&self) -> [f64; 4] {
        let mut scales = [0.0; 4];
        let mut axis = 0;
        while axis < 4 {
            let mut i = 0;
            while i < self.len {
                let magnitude = self.columns[i][axis].abs();
                if magnitude > scales[axis] {
                    scales[axis] = magnitude;
                }
                i += 1;
            }
            axis += 1;
        }
        scales
    }

    /// The units in which the axes are compared: [`Self::row_scales`] rounded down to powers of two, so
    /// that changing to them and back is exact.
    pub(crate) const fn units(&self) -> [f64; 4] {
        const EXPONENT: u64 = 0x7ff << 52;
        let mut units = self.row_scales();
        let mut axis = 0;
        while axis < 4 {
            units[axis] = f64::from_bits(units[axis].to_bits() & EXPONENT);
            axis += 1;
        }
        units
    }

    /// Moore-Penrose inverse, one row for each rotor: least-squares thrusts for a wrench.
    ///
    /// * Math: Bᵀ(BBᵀ)⁻¹, rows scaled first, solved by Gauss-Jordan elimination with pivoting
    /// * Source: G. Golub, C. Van Loan, Matrix Computations, 4th ed., section 5.5 (from memory)
    pub const fn pseudo_inverse(&self) -> [[f64; 4]; N] {
        let scales = self.units();
        let inverse = self.scaled_gram_inverse();
        let mut rows = [[0.0; 4]; N];
        let mut i = 0;
        while i < self.len {
            let mut axis = 0;
            while axis < 4 {
                let mut sum = 0.0;
                let mut k = 0;
                while k < 4 {
                    sum += self.columns[i][k] / scales[k] * inverse[k][axis];
                    k += 1;
                }
                rows[i][axis] = sum / scales[axis];
                axis += 1;
            }
            i += 1;
        }
        rows
    }

    /// (BBᵀ)⁻¹ of the matrix in [`Self::units`].
    pub(crate) const fn scaled_gram_inverse(&self) -> [[f64; 4]; 4] {
        invert(self.scaled_gram(self.units()))
    }

    /// BBᵀ of the matrix with its rows divided by `scales`.
    const fn scaled_gram(&self, scales: [f64; 4]) -> [[f64; 4]; 4] {
        let mut gram = [[0.0; 4]; 4];
        let mut row = 0;
        while row < 4 {
            let mut column = 0;
            while column < 4 {
                let mut i = 0;
                while i < self.len {
                    gram[row][column] +=
                        self.columns[i][row] / scales[row] * (self.columns[i][column] / scales[column]);
                    i += 1;
                }
                column += 1;
            }
            row += 1;
        }
        gram
    }

    /// The first axis whose row depends on the rows before it: Gram-Schmidt on the rows.
    const fn dependent_axis(&self) -> Option<Axis> {
        let mut basis = [[0.0; N]; 4];
        let mut row = 0;
        while row < 4 {
            let mut rest = [0.0; N];
            let mut i = 0;
            while i < self.len {
                rest[i] = self.columns[i][row];
                i += 1;
            }
            let length = dot(&rest, &rest);
            let mut before = 0;
            while before < row {
                let share = dot(&rest, &basis[before]);
                let mut i = 0;
                while i < self.len {
                    rest[i] -= share * basis[before][i];
                    i += 1;
                }
                before += 1;
            }
            let left = dot(&rest, &rest);
            if !(left > INDEPENDENCE_TOL * INDEPENDENCE_TOL * length) {
                return Some(Axis::ALL[row]);
            }
            let scale = recip_sqrt_f64(left);
            let mut i = 0;
            while i < self.len {
                basis[row][i] = rest[i] * scale;
                i += 1;
            }
            row += 1;
        }
        None
    }
}

const fn column(rotor: &Rotor, number: usize, center_of_mass_m: [f64; 3]) -> Result<[f64; 4], GeometryError> {
    let numbers = [rotor.torque_per_thrust_m, rotor.thrust_min_n, rotor.thrust_max_n];
    if !(finite(rotor.position_m) && finite(rotor.axis) && finite(numbers)) {
        return Err(GeometryError::NotFinite { rotor: number });
    }
    if !(rotor.thrust_min_n >= 0.0 && rotor.thrust_min_n < rotor.thrust_max_n) {
        return Err(GeometryError::FloorNotBelowCeiling { rotor: number });
    }
    if !(rotor.torque_per_thrust_m >= 0.0) {
        return Err(GeometryError::NegativeTorqueRatio { rotor: number });
    }
    let [x, y, z] = rotor.axis;
    let scale = recip_sqrt_f64(x * x + y * y + z * z);
    if !(scale > 0.0 && scale.is_finite()) {
        return Err(GeometryError::NoDirection { rotor: number });
    }
    let [ax, ay, az] = [x * scale, y * scale, z * scale];
    let [px, py, pz] = [
        rotor.position_m[0] - center_of_mass_m[0],
        rotor.position_m[1] - center_of_mass_m[1],
        rotor.position_m[2] - center_of_mass_m[2],
    ];
    let k = match rotor.spin {
        Spin::Cw => rotor.torque_per_thrust_m,
        Spin::Ccw => -rotor.torque_per_thrust_m,
    };
    Ok([-az, py * az - pz * ay + k * ax, pz * ax - px * az + k * ay, px * ay - py * ax + k * az])
}

const fn finite(values: [f64; 3]) -> bool {
    values[0].is_finite() && values[1].is_finite() && values[2].is_finite()
}

const fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    let mut i = 0;
    while i < N {
        sum += a[i] * b[i];
        i += 1;
    }
    sum
}

/// The first `len` of the storage; unlike `split_at` with no panic, which would be linked into flight.
const fn used<T>(storage: &[T], len: usize) -> &[T] {
    match storage.split_at_checked(len) {
        Some((used, _)) => used,
        None => storage,
    }
}

/// Inverse of a symmetric positive definite matrix.
const fn invert(mut a: [[f64; 4]; 4]) -> [[f64; 4]; 4] {
    let mut inverse = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]];
    let mut pivot = 0;
    while pivot < 4 {
        let mut best = pivot;
        let mut row = pivot + 1;
        while row < 4 {
            if a[row][pivot].abs() > a[best][pivot].abs() {
                best = row;
            }
            row += 1;
        }
        let (kept_a, kept_inverse) = (a[pivot], inverse[pivot]);
        a[pivot] = a[best];
        inverse[pivot] = inverse[best];
        a[best] = kept_a;
        inverse[best] = kept_inverse;

        let scale = 1.0 / a[pivot][pivot];
        let mut column = 0;
        while column < 4 {
            a[pivot][column] *= scale;
            inverse[pivot][column] *= scale;
            column += 1;
        }
        let mut row = 0;
        while row < 4 {
            let factor = a[row][pivot];
            let mut column = 0;
            while row != pivot && column < 4 {
                a[row][column] -= factor * a[pivot][column];
                inverse[row][column] -= factor * inverse[pivot][column];
                column += 1;
            }
            row += 1;
        }
        pivot += 1;
    }
    inverse
}

#[cfg(test)]
mod tests;
