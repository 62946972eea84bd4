//! From command to the speed at which the rotor settles, as a fraction of its full speed.
//!
//! Thrust goes with speed squared, so a thrust f needs the fraction √(f/f_max).
//!
//! * With a bench table: thrust linear between the points, and linear from nothing at command 0 up to
//!   the first of them. Command 0 is a motor switched off, whatever the table says
//! * Without: thrust goes with the command squared, so the fraction is the command

use crate::craft::Rotor;

#[derive(Clone, Debug)]
pub(super) struct ThrustCurve {
    /// (command, thrust as a fraction of full thrust), from (0, 0) on; empty without a bench table.
    points: Vec<(f64, f64)>,
}

impl ThrustCurve {
    pub(super) fn new(rotor: &Rotor) -> ThrustCurve {
        let points = rotor.thrust_curve.as_ref().map_or_else(Vec::new, |table| {
            let measured = table.command.iter().zip(&table.thrust_n);
            let fractions = measured.map(|(&command, &thrust_n)| (command, thrust_n / rotor.thrust_max_n));
            std::iter::once((0.0, 0.0)).chain(fractions).collect()
        });
        ThrustCurve { points }
    }

    /// Speed fraction, 0 to 1, at which `command` (limited to 0..1) settles; NaN stays NaN.
    pub(super) fn settled_speed(&self, command: f64) -> f64 {
        let command = command.clamp(0.0, 1.0);
        if self.points.is_empty() || command == 0.0 {
            return command;
        }
        self.thrust_fraction(command).clamp(0.0, 1.0).sqrt()
    }

    fn thrust_fraction(&self, command: f64) -> f64 {
        for pair in self.points.windows(2) {
            if let [(from, low), (to, high)] = *pair
                && command <= to
            {
                return low + (high - low) * (command - from) / (to - from);
            }
        }
        // Past the last point only if the table ends before 1, or with NaN, which must not become a thrust.
        if command.is_nan() { command } else { self.points.last().map_or(command, |&(_, thrust)| thrust) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::craft::ThrustTable;
    use crate::plant::specimen::rotor;

    fn tabled(command: &[f64], thrust_n: &[f64]) -> ThrustCurve {
        let table = ThrustTable { command: command.to_vec(), thrust_n: thrust_n.to_vec() };
        ThrustCurve::new(&Rotor { thrust_curve: Some(table), ..rotor() })
    }

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    #[test]
    fn settles_at_the_command_when_there_is_no_table() {
        let curve = ThrustCurve::new(&rotor());
        for (command, speed) in [(0.0, 0.0), (0.3, 0.3), (1.0, 1.0), (-1.0, 0.0), (2.0, 1.0), (f64::INFINITY, 1.0)] {
            assert_eq!(curve.settled_speed(command), speed);
        }
        assert!(curve.settled_speed(f64::NAN).is_nan());
    }

    #[test]
    fn meets_every_point_and_the_middle_between_them_when_there_is_a_table() {
        let curve = tabled(&[0.2, 0.6, 1.0], &[1.0, 5.0, 8.0]);
        for (command, thrust_n) in [(0.0, 0.0), (0.1, 0.5), (0.2, 1.0), (0.4, 3.0), (0.6, 5.0), (0.8, 6.5), (1.0, 8.0)]
        {
            let speed = curve.settled_speed(command);
            assert!((8.0 * speed * speed - thrust_n).abs() < EXACT_TOL, "command {command}: speed {speed}");
        }
        assert!(curve.settled_speed(f64::NAN).is_nan());
    }

    #[test]
    fn is_off_at_command_zero_when_the_table_starts_there_with_thrust() {
        let curve = tabled(&[0.0, 1.0], &[2.0, 8.0]);
        assert_eq!(curve.settled_speed(0.0), 0.0);
        assert!((curve.settled_speed(1e-9) - 0.5).abs() < 1e-6);
    }

    #[test]
    fn never_exceeds_full_speed_when_the_table_does() {
        assert_eq!(tabled(&[0.5, 1.0], &[9.0, 10.0]).settled_speed(0.7), 1.0);
    }
}
