//! The plant: what the craft does when its rotors are commanded.
//!
//! A rigid body in uniform air over flat ground, pushed by rotors that lag behind their commands.
//! World axes north, east, down; body axes x forward, y right, z down (ISO 1151-1); SI units.
//! [`Plant`] holds what does not change in flight, [`PlantState`] what does.
//!
//! * Math: m·v̇ = m·g + F; J·ω̇ = τ − ω×(J·ω + h); q̇ = ½·q·ω, with h the rotors' angular momentum
//! * Method: classical Runge-Kutta of order four over body and rotors together, the quaternion
//!   normalised after each step
//! * Source: the equations are those of any flight-mechanics textbook (from memory); they are checked
//!   against NASA/TM-2015-218675, check-case 2, and against exact solutions
//!
//! A model leaves things out: blade flapping, ground effect, downwash on the body, a gradient of air
//! density, and a pendulum of the battery among them. A flight that succeeds here is no clearance to fly.

mod body;
mod drag;
mod ground;
mod propeller;
mod rotors;
mod runge_kutta;
#[cfg(test)]
pub(crate) mod specimen;
mod state;
mod thrust_curve;

use nalgebra::Vector3;

pub use ground::{DAMPING_RATIO, FRICTION_COEFFICIENT, STATIC_DEFLECTION_M};
pub use propeller::{TYPICAL_POWER_COEFFICIENT, TYPICAL_SPEED_TOL, TYPICAL_THRUST_COEFFICIENT, typical_speed_rad_s};
pub use rotors::RATED_AIR_DENSITY_KG_M3;
pub use state::PlantState;

use crate::craft::{Craft, MAX_ROTORS};
use crate::script::World;
use body::RigidBody;
use drag::Drag;
use ground::Ground;
use rotors::{RotorSet, SpeedDemand};
use runge_kutta::{Motion, runge_kutta_4};

/// The parameters of one craft in one world.
#[derive(Clone, Debug)]
pub struct Plant {
    body: RigidBody,
    rotors: RotorSet,
    drag: Drag,
    /// `None` without gravity: nothing would hold the craft down, so it is a free body in space.
    ground: Option<Ground>,
    gravity_m_s2: Vector3<f64>,
}

/// Forces and torques on the body at one instant, and where they come from in the equations.
struct Loads {
    /// Body axes.
    force_body_n: Vector3<f64>,
    /// World axes, without weight.
    force_world_n: Vector3<f64>,
    /// Body axes, about the centre of mass.
    torque_body_nm: Vector3<f64>,
}

impl Plant {
    /// Takes the physical values of `craft` and `world`, which their readers have checked.
    ///
    /// A singular inertia tensor, which a checked craft does not have, makes the first
    /// [`Plant::advance`] diverge, and [`Plant::is_finite`] tells.
    pub fn new(craft: &Craft, world: &World) -> Plant {
        let density = world.air_density_kg_m3;
        Plant {
            body: RigidBody::new(&craft.body),
            rotors: RotorSet::new(craft, density),
            drag: Drag::new(&craft.body, density, world.wind_m_s),
            ground: (world.gravity_m_s2 > 0.0).then(|| Ground::new(craft, world.gravity_m_s2)),
            gravity_m_s2: Vector3::new(0.0, 0.0, world.gravity_m_s2),
        }
    }

    /// Moves `state` on by `dt_s` seconds while the commands stay the same.
    ///
    /// * Input: `commands` in the order of the craft's rotors, limited to 0..1; one that is missing
    ///   counts as 0, one that is NaN spreads and shows in [`Plant::is_finite`]
    /// * Cost: no allocation; four evaluations of the forces, a square root a rotor
    /// * `dt_s` up to 2 ms resolves the ground contact; a rotor lag shorter than `dt_s` acts as `dt_s`
    pub fn advance(&self, state: &mut PlantState, commands: &[f64], dt_s: f64) {
        let demand = self.rotors.speed_demand(commands, &state.stopped, dt_s);
        let end = runge_kutta_4(&state.motion(), dt_s, |motion| self.slope(motion, &demand));
        state.set_motion(&end);
    }

    /// Thrust of each rotor now, newtons; 0 past the last rotor.
    pub fn thrusts_n(&self, state: &PlantState) -> [f64; MAX_ROTORS] {
        self.rotors.thrusts_n(&state.rotor_speed)
    }

    /// How many rotors the craft has.
    pub fn rotor_count(&self) -> usize {
        self.rotors.count()
    }

    /// What an accelerometer at the centre of mass feels: acceleration less gravity, body axes.
    ///
    /// Level at rest on the ground or in a steady hover: (0, 0, −g). In free fall: 0.
    pub fn specific_force_m_s2(&self, state: &PlantState) -> Vector3<f64> {
        let loads = self.loads(&state.motion());
        (loads.force_body_n + state.attitude.inverse_transform_vector(&loads.force_world_n)) / self.body.mass_kg()
    }

    /// Seizes a rotor (counted from 0): it stands still from now on, and the momentum of what spun
    /// goes into the body at once. An index past the last rotor changes nothing.
    pub fn stop_rotor(&self, state: &mut PlantState, index: usize) {
        if index < self.rotor_count() {
            state.rate_rad_s += self.body.inverse_inertia() * self.rotors.spin_momentum(index, &state.rotor_speed);
            state.rotor_speed[index] = 0.0;
            state.stopped[index] = true;
        }
    }

    /// Some foot touches the ground.
    pub fn on_ground(&self, state: &PlantState) -> bool {
        self.ground.as_ref().is_some_and(|ground| ground.touches(&state.motion()))
    }

    /// Every number of the state is finite; `false` says that the computation diverged.
    pub fn is_finite(&self, state: &PlantState) -> bool {
        state.is_finite()
    }

    fn loads(&self, motion: &Motion) -> Loads {
        let world_from_body = motion.world_from_body();
        let (thrust_n, mut torque_body_nm) = self.rotors.force_and_torque(&motion.rotor_speed);
        let force_body_n = thrust_n + self.drag.force_n(&world_from_body, &motion.velocity_m_s);
        let mut force_world_n = Vector3::zeros();
        if let Some(ground) = &self.ground
            && let Some(contact) = ground.contact(motion, &world_from_body)
        {
            force_world_n += contact.force_world_n;
            torque_body_nm += contact.torque_body_nm;
        }
        Loads { force_body_n, force_world_n, torque_body_nm }
    }

    /// The equations of motion: how fast everything changes at `motion`.
    fn slope(&self, motion: &Motion, demand: &SpeedDemand) -> Motion {
        let loads = self.loads(motion);
        let force_world_n = motion.world_from_body() * loads.force_body_n + loads.force_world_n;
        let speed_change_per_s = demand.speed_change_per_s(&motion.rotor_speed);
        let (spin_momentum, spin_up_torque_nm) = self.rotors.spin_loads(&motion.rotor_speed, &speed_change_per_s);
        Motion {
            position_m: motion.velocity_m_s,
            velocity_m_s: self.gravity_m_s2 + force_world_n / self.body.mass_kg(),
            attitude: motion.attitude_slope(),
            rate_rad_s: self.body.angular_acceleration(
                &(loads.torque_body_nm + spin_up_torque_nm),
                &motion.rate_rad_s,
                &spin_momentum,
            ),
            rotor_speed: speed_change_per_s,
        }
    }
}
