//! The plant: what the craft does when its rotors are commanded.
//!
//! A rigid body in air over flat ground, pushed by rotors that lag behind their commands.
//! World axes north, east, down; body axes x forward, y right, z down (ISO 1151-1); SI units.
//! [`Plant`] holds what does not change in flight, [`PlantState`] what does.
//!
//! * Math: m·v̇ = m·g + F; J·ω̇ = τ − ω×(J·ω + h); q̇ = ½·q·ω, with h the rotors' angular momentum
//! * Method: classical Runge-Kutta of order four over body and rotors together, the quaternion
//!   normalised after each step
//! * Source: the equations are those of any flight-mechanics textbook (from memory); they are checked
//!   against NASA/TM-2015-218675, check-case 2, and against exact solutions
//!
//! A model leaves things out: blade flapping, translational lift, vortex ring state, downwash on the body, and a
//! pendulum of the battery among them. A flight that succeeds here is no clearance to fly.

mod atmosphere;
mod battery;
mod body;
mod drag;
mod ground;
mod ground_effect;
mod inflow;
mod propeller;
mod rotor;
mod rotors;
mod runge_kutta;
#[cfg(test)]
pub(crate) mod specimen;
mod speed;
mod state;
mod thrust_curve;

use nalgebra::{Matrix3, Vector3};

pub use atmosphere::{StandardAir, air_density_kg_m3, geopotential_m, standard_air};
pub use battery::PAST_EMPTY;
pub use ground::{DAMPING_RATIO, FRICTION_COEFFICIENT, STATIC_DEFLECTION_M};
pub use ground_effect::NEAREST_IN_RADII;
pub use inflow::{MOMENTUM_TOL, hover_induced_velocity_m_s};
pub use propeller::{
    TYPICAL_POWER_COEFFICIENT, TYPICAL_SPEED_TOL, TYPICAL_THRUST_COEFFICIENT, full_speed_rad_s, typical_diameter_m,
    typical_speed_rad_s,
};
pub use rotors::RATED_AIR_DENSITY_KG_M3;
pub use speed::speed_share;
pub use state::PlantState;

use crate::craft::{Craft, MAX_ROTORS};
use crate::script::World;
use crate::wind::Wind;
use atmosphere::{DensityProfile, LocalDensity};
use battery::{Battery, Supply};
use body::RigidBody;
use drag::Drag;
use ground::Ground;
use rotor::Flow;
use rotors::{RotorSet, SpeedDemand};
use runge_kutta::{Motion, runge_kutta_4};

const NANOSECONDS: f64 = 1.0e9;

/// The parameters of one craft in one world.
#[derive(Clone, Debug)]
pub struct Plant {
    body: RigidBody,
    rotors: RotorSet,
    drag: Drag,
    /// `None` without gravity: nothing would hold the craft down, so it is a free body in space.
    ground: Option<Ground>,
    gravity_m_s2: Vector3<f64>,
    density: DensityProfile,
    wind: Wind,
    /// `None`: full voltage always.
    battery: Option<Battery>,
    /// Height of the centre of mass while the craft stands; only ground effect asks for it.
    standing_height_m: f64,
}

/// What stays the same during one step.
struct Surroundings {
    wind_m_s: Vector3<f64>,
    /// Of the air, world axes.
    rotation_rad_s: Option<Vector3<f64>>,
    density: LocalDensity,
    thrust_left: [f64; MAX_ROTORS],
    voltage_left: f64,
}

/// Forces and torques on the body at one instant, and where they come from in the equations.
struct Loads {
    world_from_body: Matrix3<f64>,
    /// Body axes.
    force_body_n: Vector3<f64>,
    /// World axes, without weight.
    force_world_n: Vector3<f64>,
    /// Body axes, about the centre of mass.
    torque_body_nm: Vector3<f64>,
    shaft_power_w: f64,
}

impl Plant {
    /// Takes the physical values of `craft` and `world`, which their readers have checked.
    ///
    /// A singular inertia tensor, which a checked craft does not have, makes the first
    /// [`Plant::advance`] diverge, and [`Plant::is_finite`] tells.
    pub fn new(craft: &Craft, world: &World) -> Plant {
        let density = DensityProfile::new(world.air_density_kg_m3, world.ground_altitude_m);
        let [_, _, mass_below_datum_m] = craft.body.center_of_mass_m;
        Plant {
            body: RigidBody::new(&craft.body),
            rotors: RotorSet::new(craft, density.ground_kg_m3()),
            drag: Drag::new(&craft.body, density.ground_kg_m3()),
            ground: (world.gravity_m_s2 > 0.0).then(|| Ground::new(craft, world.gravity_m_s2)),
            gravity_m_s2: Vector3::new(0.0, 0.0, world.gravity_m_s2),
            density,
            wind: Wind::new(world, 0).over(felt_span_m(craft)),
            battery: craft.battery.as_ref().map(Battery::new),
            standing_height_m: craft.ground_effect.map_or(0.0, |ground| ground.datum_height_m - mass_below_datum_m),
        }
    }

    /// The same plant with turbulence drawn from `seed`, in a stream of its own: whatever else is random leaves it alone.
    #[must_use]
    pub fn seeded(self, seed: u64) -> Plant {
        Plant { wind: self.wind.seeded(seed), ..self }
    }

    /// Moves `state` on by `dt_s` seconds while the commands stay the same.
    ///
    /// * Input: `commands` in the order of the craft's rotors, limited to 0..1; one that is missing
    ///   counts as 0, one that is NaN spreads and shows in [`Plant::is_finite`]
    /// * The wind is sampled once, in the middle of the step, and held
    /// * Cost: no allocation; four evaluations of the forces
    /// * `dt_s` up to 2 ms resolves the ground contact; a rotor lag shorter than `dt_s` acts as `dt_s`
    pub fn advance(&self, state: &mut PlantState, commands: &[f64], dt_s: f64) {
        let height_m = -state.position_m.z;
        self.wind.advance(&mut state.wind, state.clock_ns, height_m, &state.velocity_m_s);
        let demand = self.rotors.speed_demand(commands, &state.stopped, dt_s);
        let around = self.surroundings(state, 0.5 * dt_s);
        let end = runge_kutta_4(&state.motion(), dt_s, |motion| self.slope(motion, &demand, &around));
        state.set_motion(&end);
        state.clock_ns += (dt_s * NANOSECONDS).round() as u64;
    }

    /// Thrust of each rotor now, newtons; 0 past the last rotor.
    pub fn thrusts_n(&self, state: &PlantState) -> [f64; MAX_ROTORS] {
        let motion = state.motion();
        let around = self.surroundings(state, 0.0);
        let flow = self.flow(&motion, &motion.world_from_body(), &around);
        self.rotors.thrusts_n(&state.rotor_speed, &state.thrust_left, &flow)
    }

    /// Velocity of the air around the craft now: north, east, down.
    pub fn wind_m_s(&self, state: &PlantState) -> Vector3<f64> {
        self.wind.velocity_m_s(&state.wind, state.clock_ns as f64 / NANOSECONDS)
    }

    /// Terminal voltage of the battery now as a share of full voltage; without a battery what faults leave of 1.
    pub fn voltage_share(&self, state: &PlantState) -> f64 {
        let around = self.surroundings(state, 0.0);
        self.supply(&state.motion(), self.loads(&state.motion(), &around).shaft_power_w, &around).voltage_share
    }

    /// Share of the battery's capacity that is used up a second now; 0 without a battery.
    pub fn charge_used_per_s(&self, state: &PlantState) -> f64 {
        let around = self.surroundings(state, 0.0);
        self.supply(&state.motion(), self.loads(&state.motion(), &around).shaft_power_w, &around).used_per_s
    }

    /// State of charge now, 0 to 1; always 1 without a battery.
    pub fn state_of_charge(&self, state: &PlantState) -> f64 {
        self.battery.as_ref().map_or(1.0, |battery| battery.state_of_charge(state.charge_used))
    }

    /// How many rotors the craft has.
    pub fn rotor_count(&self) -> usize {
        self.rotors.count()
    }

    /// What an accelerometer at the centre of mass feels: acceleration less gravity, body axes.
    ///
    /// Level at rest on the ground or in a steady hover: (0, 0, −g). In free fall: 0.
    pub fn specific_force_m_s2(&self, state: &PlantState) -> Vector3<f64> {
        let loads = self.loads(&state.motion(), &self.surroundings(state, 0.0));
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

    /// Leaves a rotor (counted from 0) `share` (0 to 1) of what thrust and torque it has at a speed, from now on: a damaged
    /// propeller. An index past the last rotor changes nothing.
    pub fn weaken_rotor(&self, state: &mut PlantState, index: usize, share: f64) {
        if index < self.rotor_count() {
            state.thrust_left[index] *= share;
        }
    }

    /// Leaves the battery `share` (0 to 1) of its open-circuit voltage from now on. A craft without a battery is fed at that share
    /// of full voltage.
    pub fn collapse_battery(&self, state: &mut PlantState, share: f64) {
        state.voltage_left *= share;
    }

    /// Some foot touches the ground.
    pub fn on_ground(&self, state: &PlantState) -> bool {
        self.ground
            .as_ref()
            .is_some_and(|ground| !ground.is_out_of_reach(state.position_m.z) && ground.touches(&state.motion()))
    }

    /// Every number of the state is finite; `false` says that the computation diverged.
    pub fn is_finite(&self, state: &PlantState) -> bool {
        state.is_finite()
    }

    /// `ahead_s`: how far ahead of the state's own time the wind is looked at.
    fn surroundings(&self, state: &PlantState, ahead_s: f64) -> Surroundings {
        Surroundings {
            wind_m_s: self.wind.velocity_m_s(&state.wind, state.clock_ns as f64 / NANOSECONDS + ahead_s),
            rotation_rad_s: self.wind.rotation_rad_s(&state.wind),
            density: self.density.around(-state.position_m.z),
            thrust_left: state.thrust_left,
            voltage_left: state.voltage_left,
        }
    }

    fn flow(&self, motion: &Motion, world_from_body: &Matrix3<f64>, around: &Surroundings) -> Flow {
        Flow {
            airspeed_m_s: world_from_body.tr_mul(&(motion.velocity_m_s - around.wind_m_s)),
            rate_rad_s: around
                .rotation_rad_s
                .map_or(motion.rate_rad_s, |air_rad_s| motion.rate_rad_s - world_from_body.tr_mul(&air_rad_s)),
            height_m: self.standing_height_m - motion.position_m.z,
            down: world_from_body.row(2).transpose(),
            density_share: around.density.share(-motion.position_m.z),
        }
    }

    fn loads(&self, motion: &Motion, around: &Surroundings) -> Loads {
        let world_from_body = motion.world_from_body();
        let flow = self.flow(motion, &world_from_body, around);
        let rotors = self.rotors.loads(&motion.rotor_speed, &around.thrust_left, &flow);
        let force_body_n = rotors.force_n + self.drag.force_n(&flow.airspeed_m_s, flow.density_share);
        let mut torque_body_nm = rotors.torque_nm;
        let mut force_world_n = Vector3::zeros();
        if let Some(ground) = &self.ground
            && let Some(contact) = ground.contact(motion, &world_from_body)
        {
            force_world_n += contact.force_world_n;
            torque_body_nm += contact.torque_body_nm;
        }
        Loads { world_from_body, force_body_n, force_world_n, torque_body_nm, shaft_power_w: rotors.shaft_power_w }
    }

    fn supply(&self, motion: &Motion, shaft_power_w: f64, around: &Surroundings) -> Supply {
        match &self.battery {
            Some(battery) => battery.supply(motion.charge_used, around.voltage_left, shaft_power_w),
            None => Supply { voltage_share: around.voltage_left, used_per_s: 0.0 },
        }
    }

    /// The equations of motion: how fast everything changes at `motion`.
    fn slope(&self, motion: &Motion, demand: &SpeedDemand, around: &Surroundings) -> Motion {
        let loads = self.loads(motion, around);
        let force_world_n = loads.world_from_body * loads.force_body_n + loads.force_world_n;
        let supply = self.supply(motion, loads.shaft_power_w, around);
        let speed_change_per_s = demand.speed_change_per_s(&motion.rotor_speed, supply.voltage_share);
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
            charge_used: supply.used_per_s,
        }
    }
}

/// Twice the longest arm, seen from above, where some rotor feels the air that meets it; else 0: the air may turn, but nothing on the
/// craft tells.
fn felt_span_m(craft: &Craft) -> f64 {
    let feels = |rotor: &&crate::craft::Rotor| {
        rotor.in_moving_air.inflow != crate::craft::Inflow::Ignored || rotor.in_moving_air.drag_n_per_m_s > 0.0
    };
    let [x, y, _] = craft.body.center_of_mass_m;
    let arm_m = |rotor: &crate::craft::Rotor| (rotor.position_m[0] - x).hypot(rotor.position_m[1] - y);
    let felt = craft.rotors.iter().find(feels).is_some();
    if felt { 2.0 * craft.rotors.iter().map(arm_m).fold(0.0, f64::max) } else { 0.0 }
}
