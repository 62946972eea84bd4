//! Where the rotors sit and how they turn: the effectiveness matrix.
//!
//! Body axes x forward, y right, z down (ISO 1151-1), positions from the frame's datum. Everything
//! here is `f64` and `const`: it runs once, at set-up or at compile time, and is quantised to the
//! flying scalar afterwards.

mod error;
mod independence;
mod pseudo_inverse;
mod rotor;

pub use error::GeometryError;
pub use independence::INDEPENDENCE_TOL;
pub use rotor::{Rotor, Spin};

use crate::rotor_set::MAX_ROTORS;
use rotor::{column, finite};

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
}

/// The first `len` of the storage; unlike `split_at` with no panic, which would be linked into flight.
const fn used<T>(storage: &[T], len: usize) -> &[T] {
    match storage.split_at_checked(len) {
        Some((used, _)) => used,
        None => storage,
    }
}

#[cfg(test)]
mod tests;
