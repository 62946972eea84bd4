//! From thrust to command, rotor by rotor.
//!
//! Command 0 to 1 is what the rotor's electronics take; without a bench table, steady speed goes with
//! the command and thrust with speed squared.

use core::fmt;

use heapless::Vec;

use crate::scalar::Scalar;

/// Largest round-trip error of command to thrust and back, relative to full thrust, in `f32`.
pub const COMMAND_TOL_F32: f64 = 4.0e-7;

/// Below this share of full thrust no rounding takes the root above one: its own root is 5·10⁻⁴ below.
const SHARE_WELL_BELOW_FULL: f64 = 0.999;

/// One point of a bench table.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct CurvePoint<S> {
    /// Command, 0 to 1.
    pub command: S,
    /// Steady thrust at that command.
    pub thrust_n: S,
}

/// Why a bench table is refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurveError {
    /// Fewer than two points, or more than the storage holds.
    Points,
    /// A command or thrust does not rise, is negative or not finite, or the motor pushes while switched
    /// off (command 0). Points count from 1.
    NotRising {
        /// The point that does not stand above the one before it.
        point: usize,
    },
}

impl fmt::Display for CurveError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            CurveError::Points => f.write_str("a thrust table needs at least two points and no more than its storage"),
            CurveError::NotRising { point } => {
                write!(f, "point {point} of the thrust table must be finite and above the point before it")
            }
        }
    }
}

impl core::error::Error for CurveError {}

/// The steady thrust of one rotor over its command. `P` is the most points a table may have.
#[derive(Clone, Debug, PartialEq)]
pub struct ThrustCurve<S, const P: usize> {
    thrust_max_n: S,
    inverse_max: S,
    points: Vec<CurvePoint<S>, P>,
}

impl<S: Scalar, const P: usize> ThrustCurve<S, P> {
    /// Thrust goes with the command squared and reaches `thrust_max_n` at command 1.
    pub fn square(thrust_max_n: S) -> Self {
        ThrustCurve { thrust_max_n, inverse_max: S::ONE / thrust_max_n, points: Vec::new() }
    }

    /// A bench table, straight between its points and from the origin to the first.
    ///
    /// # Errors
    /// When there are too few or too many points, or either column does not rise strictly.
    pub fn table(points: &[CurvePoint<S>]) -> Result<Self, CurveError> {
        let (Some(last), Ok(points)) = (points.last(), Vec::from_slice(points)) else {
            return Err(CurveError::Points);
        };
        if points.len() < 2 {
            return Err(CurveError::Points);
        }
        let mut before = CurvePoint { command: -S::EPSILON, thrust_n: -S::EPSILON };
        for (number, point) in (1..).zip(&points) {
            let rises = point.command > before.command && point.thrust_n > before.thrust_n;
            let rises = rises && !(point.command == S::ZERO && point.thrust_n > S::ZERO);
            if !(rises && point.command.is_finite() && point.thrust_n.is_finite()) {
                return Err(CurveError::NotRising { point: number });
            }
            before = *point;
        }
        Ok(ThrustCurve { thrust_max_n: last.thrust_n, inverse_max: S::ONE / last.thrust_n, points })
    }

    /// Command that makes this rotor produce `thrust_n`.
    ///
    /// * Math: c = √(f/f_max), or the table read backwards
    /// * Input: newtons, any value; below 0 and NaN → 0, above the curve → its last command
    /// * Output: 0 to 1; round trip within [`COMMAND_TOL_F32`]·f_max in `f32`
    /// * Cost: one square root, or one pass over the table and one division
    #[inline]
    pub fn command(&self, thrust_n: S) -> S {
        // The first half is known when compiled, and then the rotors' roots follow each other without a branch between.
        if P > 0 && !self.points.is_empty() {
            return self.command_of_the_table(thrust_n.limit(S::ZERO, self.thrust_max_n));
        }
        let share = thrust_n * self.inverse_max;
        // Nearly always: far enough below full thrust for the root to stay below one, whatever it is rounded to.
        if share < S::from_f64(SHARE_WELL_BELOW_FULL) {
            return share.sqrt();
        }
        // Full thrust is full command.
        if thrust_n >= self.thrust_max_n {
            return S::ONE;
        }
        share.sqrt().smaller(S::ONE)
    }

    fn command_of_the_table(&self, thrust_n: S) -> S {
        let mut before = CurvePoint::default();
        for point in &self.points {
            if thrust_n <= point.thrust_n {
                let rise = point.thrust_n - before.thrust_n;
                if !(rise > S::ZERO) {
                    return point.command;
                }
                let share = (thrust_n - before.thrust_n) / rise;
                return (before.command + share * (point.command - before.command)).limit(S::ZERO, S::ONE);
            }
            before = *point;
        }
        before.command
    }

    /// Steady thrust at a command.
    ///
    /// * Input: any value; below 0 and NaN → 0, above 1 → the thrust at 1
    pub fn thrust_n(&self, command: S) -> S {
        let command = command.limit(S::ZERO, S::ONE);
        if self.points.is_empty() {
            return self.thrust_max_n * command * command;
        }
        let mut before = CurvePoint::default();
        for point in &self.points {
            if command <= point.command {
                let rise = point.command - before.command;
                if !(rise > S::ZERO) {
                    return point.thrust_n;
                }
                let share = (command - before.command) / rise;
                return before.thrust_n + share * (point.thrust_n - before.thrust_n);
            }
            before = *point;
        }
        before.thrust_n
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> ThrustCurve<f32, 8> {
        let point = |command, thrust_n| CurvePoint { command, thrust_n };
        ThrustCurve::table(&[point(0.1, 0.2), point(0.4, 2.0), point(0.7, 5.0), point(1.0, 8.0)]).unwrap()
    }

    #[test]
    fn command_is_at_most_full_and_the_root_of_the_share_up_to_full_thrust() {
        /// Of full thrust: from below where the root alone is asked for to above full.
        const SHARES: core::ops::Range<u32> = 997_000..1_003_000;
        let full_n = 7.3_f32;
        let curve = ThrustCurve::<f32, 0>::square(full_n);
        for millionths in SHARES {
            let thrust_n = full_n * (millionths as f32 * 1e-6);
            let command = curve.command(thrust_n);
            assert!(command <= 1.0, "{thrust_n} N: {command}");
            let off = f64::from(command).powi(2) - f64::from(thrust_n.min(full_n)) / f64::from(full_n);
            assert!(off.abs() <= COMMAND_TOL_F32, "{thrust_n} N: {command} is off by {off}");
        }
        assert_eq!(curve.command(full_n), 1.0);
        assert_eq!(curve.command(f32::MAX), 1.0);
    }

    #[test]
    fn square_law_gives_half_command_for_a_quarter_of_the_thrust() {
        let curve = ThrustCurve::<f32, 0>::square(8.0);
        assert!((curve.command(2.0) - 0.5).abs() < 1e-6);
        assert_eq!(curve.thrust_n(0.5), 2.0);
    }

    #[test]
    fn round_trip_stays_within_its_tolerance() {
        let square = ThrustCurve::<f32, 0>::square(8.0);
        let mut worst = 0.0_f64;
        for i in 0..=10_000 {
            let thrust = 8.0 * i as f32 / 10_000.0;
            worst = worst.max(f64::from((square.thrust_n(square.command(thrust)) - thrust).abs()) / 8.0);
            let back = table().thrust_n(table().command(thrust));
            assert!((back - thrust).abs() <= 8.0 * COMMAND_TOL_F32 as f32, "{thrust} {back}");
        }
        assert!((0.25 * COMMAND_TOL_F32..=COMMAND_TOL_F32).contains(&worst), "{worst:e}");
    }

    #[test]
    fn table_is_met_at_its_points_and_straight_between() {
        assert!((table().command(2.0) - 0.4).abs() < 1e-6);
        assert!((table().command(3.5) - 0.55).abs() < 1e-6);
        assert!((table().command(0.1) - 0.05).abs() < 1e-6);
    }

    #[test]
    fn stays_between_zero_and_one_for_any_thrust() {
        for curve in [table(), ThrustCurve::square(8.0)] {
            for thrust in [f32::NAN, f32::NEG_INFINITY, -1.0, -0.0] {
                assert_eq!(curve.command(thrust).abs(), 0.0, "{thrust}");
            }
            for thrust in [8.0, 8.1, f32::MAX, f32::INFINITY] {
                assert!((curve.command(thrust) - 1.0).abs() < 1e-6 && curve.command(thrust) <= 1.0, "{thrust}");
            }
            assert!(curve.command(f32::MIN_POSITIVE) >= 0.0);
        }
    }

    #[test]
    fn refuses_a_table_that_does_not_rise() {
        let point = |command, thrust_n| CurvePoint { command, thrust_n };
        let made = |points: &[CurvePoint<f32>]| ThrustCurve::<f32, 3>::table(points).map(|_| ());
        assert_eq!(made(&[point(0.0, 0.0)]), Err(CurveError::Points));
        assert_eq!(made(&[point(0.0, 0.0); 4]), Err(CurveError::Points));
        assert_eq!(made(&[point(0.1, 1.0), point(0.5, 1.0)]), Err(CurveError::NotRising { point: 2 }));
        assert_eq!(made(&[point(0.1, 1.0), point(f32::NAN, 2.0)]), Err(CurveError::NotRising { point: 2 }));
        assert_eq!(made(&[point(0.0, 0.5), point(1.0, 2.0)]), Err(CurveError::NotRising { point: 1 }));
        assert_eq!(made(&[point(-0.5, 1.0), point(1.0, 2.0)]), Err(CurveError::NotRising { point: 1 }));
    }
}
