//! What changes in flight.

use nalgebra::{UnitQuaternion, Vector3};

use super::runge_kutta::Motion;
use crate::attitude;
use crate::craft::MAX_ROTORS;
use crate::script::Initial;
use crate::wind::WindState;

/// Where the craft is and how it moves.
///
/// The default is at rest, level, on the ground, rotors still.
#[derive(Clone, Debug, PartialEq)]
pub struct PlantState {
    /// Centre of mass: north, east, down.
    pub position_m: Vector3<f64>,
    /// Of the centre of mass: north, east, down.
    pub velocity_m_s: Vector3<f64>,
    /// Body to world.
    pub attitude: UnitQuaternion<f64>,
    /// Body axes.
    pub rate_rad_s: Vector3<f64>,
    /// Speed of each rotor as a fraction of its full speed; 0 past the last rotor.
    pub rotor_speed: [f64; MAX_ROTORS],
    /// Rotors that no longer follow their command; set by [`Plant::stop_rotor`](super::Plant::stop_rotor).
    pub stopped: [bool; MAX_ROTORS],
    /// Share of thrust and torque left to each rotor; set by [`Plant::weaken_rotor`](super::Plant::weaken_rotor).
    pub thrust_left: [f64; MAX_ROTORS],
    /// Share of the battery's capacity used since the start.
    pub charge_used: f64,
    /// Share of the open-circuit voltage left; set by [`Plant::collapse_battery`](super::Plant::collapse_battery).
    pub voltage_left: f64,
    /// Time since the start; gusts and turbulence go by it.
    pub clock_ns: u64,
    /// Turbulence now.
    pub wind: WindState,
}

impl Default for PlantState {
    fn default() -> Self {
        PlantState::from_initial(&Initial::default())
    }
}

impl PlantState {
    /// The state at the start of a flight, rotors still.
    pub fn from_initial(initial: &Initial) -> PlantState {
        PlantState {
            position_m: Vector3::from(initial.position_m),
            velocity_m_s: Vector3::from(initial.velocity_m_s),
            attitude: attitude::from_euler_rad(initial.attitude_rad),
            rate_rad_s: Vector3::from(initial.rate_rad_s),
            rotor_speed: [0.0; MAX_ROTORS],
            stopped: [false; MAX_ROTORS],
            thrust_left: [1.0; MAX_ROTORS],
            charge_used: 0.0,
            voltage_left: 1.0,
            clock_ns: 0,
            wind: WindState::default(),
        }
    }

    pub(crate) fn is_finite(&self) -> bool {
        let vectors = [&self.position_m, &self.velocity_m_s, &self.rate_rad_s];
        vectors.into_iter().flat_map(|vector| vector.iter()).all(|value| value.is_finite())
            && self.attitude.coords.iter().all(|value| value.is_finite())
            && self.rotor_speed.iter().all(|value| value.is_finite())
            && self.charge_used.is_finite()
    }

    pub(super) fn motion(&self) -> Motion {
        Motion {
            position_m: self.position_m,
            velocity_m_s: self.velocity_m_s,
            attitude: self.attitude.into_inner(),
            rate_rad_s: self.rate_rad_s,
            rotor_speed: self.rotor_speed,
            charge_used: self.charge_used,
        }
    }

    pub(super) fn set_motion(&mut self, motion: &Motion) {
        self.position_m = motion.position_m;
        self.velocity_m_s = motion.velocity_m_s;
        self.attitude = UnitQuaternion::new_normalize(motion.attitude);
        self.rate_rad_s = motion.rate_rad_s;
        self.rotor_speed = motion.rotor_speed;
        self.charge_used = motion.charge_used;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    #[test]
    fn is_not_finite_when_any_one_number_is_not() {
        assert!(PlantState::default().is_finite());
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let spoil: [fn(&mut PlantState, f64); 6] = [
                |state, bad| state.position_m.y = bad,
                |state, bad| state.velocity_m_s.z = bad,
                |state, bad| state.rate_rad_s.x = bad,
                |state, bad| state.attitude.as_mut_unchecked().k = bad,
                |state, bad| state.rotor_speed[MAX_ROTORS - 1] = bad,
                |state, bad| state.charge_used = bad,
            ];
            for spoil in spoil {
                let mut state = PlantState::default();
                spoil(&mut state, bad);
                assert!(!state.is_finite(), "{state:?}");
            }
        }
    }

    #[test]
    fn starts_as_the_flight_says_when_it_says_so() {
        let initial = Initial {
            position_m: [1.0, 2.0, -3.0],
            velocity_m_s: [4.0, 5.0, 6.0],
            attitude_rad: [0.1, 0.2, 0.3],
            rate_rad_s: [7.0, 8.0, 9.0],
            power_up: false,
        };
        let state = PlantState::from_initial(&initial);
        assert_eq!(state.position_m, Vector3::new(1.0, 2.0, -3.0));
        assert_eq!(state.velocity_m_s, Vector3::new(4.0, 5.0, 6.0));
        assert_eq!(state.rate_rad_s, Vector3::new(7.0, 8.0, 9.0));
        let back = attitude::to_euler_rad(&state.attitude);
        assert!(back.iter().zip(initial.attitude_rad).all(|(ours, given)| (ours - given).abs() < EXACT_TOL));
        assert_eq!(state.rotor_speed, [0.0; MAX_ROTORS]);
    }
}
