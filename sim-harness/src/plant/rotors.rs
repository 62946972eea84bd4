//! The rotors: speed lags behind the command, thrust and torques follow from speed.
//!
//! * Math, with s the speed as a fraction of full speed: ṡ = (s_command − s)/T; f = f_max·s²·ρ/ρ₀ along
//!   the axis a at r from the centre of mass; torque r×f·a + σ·k·f·a; angular momentum h = −σ·J·Ω_max·s·a
//!   and its reaction −ḣ; σ = +1 for a rotor that turns clockwise, −1 otherwise
//! * Signs: with the axis up, (0, 0, −1), a rotor clockwise from above pushes the nose left (negative
//!   yaw). A tilted rotor's sense is seen from where its thrust points to, which is "from above" for
//!   any axis that points up
//! * A rotor's momentum counts relative to the body: the craft's inertia is that with the rotors still

use nalgebra::Vector3;

use super::propeller::typical_speed_rad_s;
use super::thrust_curve::ThrustCurve;
use crate::craft::{Craft, MAX_ROTORS, Rotor, Spin};

/// Air density at which a craft file gives thrust, kg/m³ (ISO 2533 at sea level, from memory).
pub const RATED_AIR_DENSITY_KG_M3: f64 = 1.225;

#[derive(Clone, Debug)]
pub(super) struct RotorSet {
    rotors: Vec<RotorColumn>,
}

/// What one rotor adds, prepared so that a step only multiplies.
#[derive(Clone, Debug)]
struct RotorColumn {
    curve: ThrustCurve,
    response_time_s: f64,
    /// Thrust at full speed in this air.
    full_thrust_n: f64,
    /// Thrust direction.
    axis: Vector3<f64>,
    /// Torque about the centre of mass per newton of thrust.
    torque_per_newton_m: Vector3<f64>,
    /// Angular momentum at full speed, kg·m²/s.
    full_momentum: Vector3<f64>,
}

impl RotorColumn {
    fn new(rotor: &Rotor, center_of_mass_m: &Vector3<f64>, air_density_kg_m3: f64) -> RotorColumn {
        let axis = Vector3::from(rotor.axis);
        let arm_m = Vector3::from(rotor.position_m) - center_of_mass_m;
        let reaction_sign = match rotor.spin {
            Spin::Cw => 1.0,
            Spin::Ccw => -1.0,
        };
        let full_speed_rad_s =
            rotor.speed_max_rad_s.unwrap_or_else(|| typical_speed_rad_s(rotor.thrust_max_n, rotor.torque_per_thrust_m));
        RotorColumn {
            curve: ThrustCurve::new(rotor),
            response_time_s: rotor.response_time_s,
            full_thrust_n: rotor.thrust_max_n * air_density_kg_m3 / RATED_AIR_DENSITY_KG_M3,
            axis,
            torque_per_newton_m: arm_m.cross(&axis) + axis * (reaction_sign * rotor.torque_per_thrust_m),
            full_momentum: axis * (-reaction_sign * rotor.inertia_kg_m2 * full_speed_rad_s),
        }
    }

    fn thrust_n(&self, speed: f64) -> f64 {
        self.full_thrust_n * speed * speed
    }
}

/// Where the rotor speeds are heading during one step.
pub(super) struct SpeedDemand {
    settled_speed: [f64; MAX_ROTORS],
    rate_per_s: [f64; MAX_ROTORS],
}

impl SpeedDemand {
    /// * Math: ṡ = (s_command − s)/T
    pub(super) fn speed_change_per_s(&self, speed: &[f64; MAX_ROTORS]) -> [f64; MAX_ROTORS] {
        let mut change = [0.0; MAX_ROTORS];
        for (i, change) in change.iter_mut().enumerate() {
            *change = (self.settled_speed[i] - speed[i]) * self.rate_per_s[i];
        }
        change
    }
}

impl RotorSet {
    pub(super) fn new(craft: &Craft, air_density_kg_m3: f64) -> RotorSet {
        let center_of_mass_m = Vector3::from(craft.body.center_of_mass_m);
        let column = |rotor| RotorColumn::new(rotor, &center_of_mass_m, air_density_kg_m3);
        RotorSet { rotors: craft.rotors.iter().take(MAX_ROTORS).map(column).collect() }
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

    pub(super) fn thrusts_n(&self, speed: &[f64; MAX_ROTORS]) -> [f64; MAX_ROTORS] {
        let mut thrusts_n = [0.0; MAX_ROTORS];
        for (thrust_n, (rotor, &speed)) in thrusts_n.iter_mut().zip(self.rotors.iter().zip(speed)) {
            *thrust_n = rotor.thrust_n(speed);
        }
        thrusts_n
    }

    /// Thrusts and their torque about the centre of mass, reaction torque included; body axes.
    pub(super) fn force_and_torque(&self, speed: &[f64; MAX_ROTORS]) -> (Vector3<f64>, Vector3<f64>) {
        let mut force_n = Vector3::zeros();
        let mut torque_nm = Vector3::zeros();
        for (rotor, &speed) in self.rotors.iter().zip(speed) {
            let thrust_n = rotor.thrust_n(speed);
            force_n += rotor.axis * thrust_n;
            torque_nm += rotor.torque_per_newton_m * thrust_n;
        }
        (force_n, torque_nm)
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
