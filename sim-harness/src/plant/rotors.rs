//! The rotors: speed lags behind the command, thrust and torques follow from speed.
//!
//! * Math, with s the speed as a fraction of full speed: ṡ = (s_command·u − s)/T, u the share of full voltage;
//!   f = f_max·s²·ρ/ρ₀ along the axis a at r from the centre of mass; torque r×f·a + σ·k·f·a; angular momentum
//!   h = −σ·J·Ω_max·s·a and its reaction −ḣ; σ = +1 for a rotor that turns clockwise, −1 otherwise
//! * Signs: with the axis up, (0, 0, −1), a rotor clockwise from above pushes the nose left (negative
//!   yaw). A tilted rotor's sense is seen from where its thrust points to, which is "from above" for
//!   any axis that points up
//! * A rotor's momentum counts relative to the body: the craft's inertia is that with the rotors still

use nalgebra::Vector3;

use super::rotor::{Flow, Rotor};
use crate::craft::{Craft, MAX_ROTORS};

/// Air density at which a craft file gives thrust, kg/m³ (ISO 2533 at sea level, from memory).
pub const RATED_AIR_DENSITY_KG_M3: f64 = 1.225;

#[derive(Clone, Debug)]
pub(super) struct RotorSet {
    rotors: Vec<Rotor>,
}

/// Where the rotor speeds are heading during one step.
pub(super) struct SpeedDemand {
    settled_speed: [f64; MAX_ROTORS],
    rate_per_s: [f64; MAX_ROTORS],
}

/// What all rotors together do to the body, body axes; torque about the centre of mass.
pub(super) struct RotorLoads {
    pub(super) force_n: Vector3<f64>,
    pub(super) torque_nm: Vector3<f64>,
    /// Torque times speed, summed.
    pub(super) shaft_power_w: f64,
}

impl SpeedDemand {
    /// * Math: ṡ = (s_command·u − s)/T
    pub(super) fn speed_change_per_s(&self, speed: &[f64; MAX_ROTORS], voltage_share: f64) -> [f64; MAX_ROTORS] {
        let mut change = [0.0; MAX_ROTORS];
        for (i, change) in change.iter_mut().enumerate() {
            *change = (self.settled_speed[i] * voltage_share - speed[i]) * self.rate_per_s[i];
        }
        change
    }
}

impl RotorSet {
    pub(super) fn new(craft: &Craft, air_density_kg_m3: f64) -> RotorSet {
        let center_of_mass_m = Vector3::from(craft.body.center_of_mass_m);
        let rotor = |rotor| Rotor::new(rotor, &center_of_mass_m, air_density_kg_m3, craft.ground_effect);
        RotorSet { rotors: craft.rotors.iter().take(MAX_ROTORS).map(rotor).collect() }
    }

    pub(super) fn count(&self) -> usize {
        self.rotors.len()
    }

    /// A missing command counts as 0; a stopped rotor stays where it is.
    pub(super) fn speed_demand(&self, commands: &[f64], stopped: &[bool; MAX_ROTORS], dt_s: f64) -> SpeedDemand {
        let mut demand = SpeedDemand { settled_speed: [0.0; MAX_ROTORS], rate_per_s: [0.0; MAX_ROTORS] };
        let commands = commands.iter().copied().chain(std::iter::repeat(0.0));
        for (i, (rotor, command)) in self.rotors.iter().zip(commands).enumerate() {
            if !stopped[i] {
                demand.settled_speed[i] = rotor.curve.settled_speed(command);
                // A lag that the step cannot resolve would blow up: it acts as one step.
                demand.rate_per_s[i] = 1.0 / rotor.response_time_s.max(dt_s);
            }
        }
        demand
    }

    pub(super) fn thrusts_n(
        &self,
        speed: &[f64; MAX_ROTORS],
        left: &[f64; MAX_ROTORS],
        flow: &Flow,
    ) -> [f64; MAX_ROTORS] {
        let mut thrusts_n = [0.0; MAX_ROTORS];
        for (i, (thrust_n, rotor)) in thrusts_n.iter_mut().zip(&self.rotors).enumerate() {
            *thrust_n = rotor.load(speed[i], left[i], flow).thrust_n;
        }
        thrusts_n
    }

    /// `left`: the share of each rotor's thrust and torque that its faults leave.
    pub(super) fn loads(&self, speed: &[f64; MAX_ROTORS], left: &[f64; MAX_ROTORS], flow: &Flow) -> RotorLoads {
        let mut loads = RotorLoads { force_n: Vector3::zeros(), torque_nm: Vector3::zeros(), shaft_power_w: 0.0 };
        for (rotor, (&speed, &left)) in self.rotors.iter().zip(speed.iter().zip(left)) {
            let load = rotor.load(speed, left, flow);
            loads.force_n += load.force_n;
            loads.torque_nm += load.torque_nm;
            loads.shaft_power_w += load.reaction_nm * (speed * rotor.full_speed_rad_s);
        }
        loads
    }

    /// Angular momentum of what spins, and the torque on the body from spinning it up; body axes.
    pub(super) fn spin_loads(
        &self,
        speed: &[f64; MAX_ROTORS],
        speed_change_per_s: &[f64; MAX_ROTORS],
    ) -> (Vector3<f64>, Vector3<f64>) {
        let mut momentum = Vector3::zeros();
        let mut torque_nm = Vector3::zeros();
        for (rotor, (&speed, &change)) in self.rotors.iter().zip(speed.iter().zip(speed_change_per_s)) {
            momentum += rotor.full_momentum * speed;
            torque_nm -= rotor.full_momentum * change;
        }
        (momentum, torque_nm)
    }

    /// Angular momentum of one rotor, body axes; nothing past the last rotor.
    pub(super) fn spin_momentum(&self, index: usize, speed: &[f64; MAX_ROTORS]) -> Vector3<f64> {
        let rotor = self.rotors.get(index).zip(speed.get(index));
        rotor.map_or_else(Vector3::zeros, |(rotor, &speed)| rotor.full_momentum * speed)
    }
}
