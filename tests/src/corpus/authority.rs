//! What rotors can do at least: thrust over weight with the torques balanced, and angular accelerations at a load.
//!
//! * Math: rotors' thrusts u·f_max with least Σu² that give a thrust and torques (the pseudo-inverse); what these leave to
//!   floors and ceilings is a lower bound of what any thrusts leave. Independent of the program's mixer
//! * Source: least-norm solution of an underdetermined linear system, any text on linear algebra (from memory)

use nalgebra::{DMatrix, DVector, Matrix3, Vector3, Vector4};

use super::GRAVITY_M_S2;

/// A rotor as far as its thrust matters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Push {
    /// Hub from the datum.
    pub place_m: Vector3<f64>,
    /// Thrust direction.
    pub axis: Vector3<f64>,
    /// Reaction on the body along the axis, per newton.
    pub reaction_m: f64,
    /// Ceiling at full voltage.
    pub most_n: f64,
    /// Floor.
    pub least_n: f64,
}

/// A craft that is to be lifted and turned.
#[derive(Clone, Debug)]
pub struct Lifted {
    /// Mass.
    pub mass_kg: f64,
    /// Inertia about the centre of mass.
    pub inertia_kg_m2: Matrix3<f64>,
    most_n: DVector<f64>,
    least_n: DVector<f64>,
    /// Thrusts per unit of thrust, roll, pitch, yaw.
    inverse: DMatrix<f64>,
}

/// Lower bounds of what is left at a load.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Authority {
    /// Largest angular accelerations about roll, pitch, yaw, the weaker way, rad/s².
    pub turn_rad_s2: [f64; 3],
}

impl Lifted {
    /// `None` when the rotors cannot give each of thrust, roll, pitch and yaw by itself.
    pub fn new(mass_kg: f64, center_m: &Vector3<f64>, inertia_kg_m2: Matrix3<f64>, rotors: &[Push]) -> Option<Lifted> {
        let columns = rotors.iter().map(|rotor| {
            let torque = (rotor.place_m - center_m).cross(&rotor.axis) + rotor.axis * rotor.reaction_m;
            Vector4::new(-rotor.axis.z, torque.x, torque.y, torque.z) * rotor.most_n
        });
        let columns: Vec<Vector4<f64>> = columns.collect();
        let effect = DMatrix::from_fn(4, rotors.len(), |axis, rotor| columns[rotor][axis]);
        let gram = (&effect * effect.transpose()).try_inverse()?;
        let most_n = DVector::from_iterator(rotors.len(), rotors.iter().map(|rotor| rotor.most_n));
        let shares = effect.transpose() * gram;
        let inverse = DMatrix::from_fn(rotors.len(), 4, |rotor, axis| shares[(rotor, axis)] * most_n[rotor]);
        let least_n = DVector::from_iterator(rotors.len(), rotors.iter().map(|rotor| rotor.least_n));
        Some(Lifted { mass_kg, inertia_kg_m2, most_n, least_n, inverse })
    }

    /// Balanced thrust over weight with every ceiling times `ceiling_share`, at least.
    pub fn thrust_to_weight(&self, ceiling_share: f64) -> f64 {
        let hover = self.inverse.column(0) * (self.mass_kg * GRAVITY_M_S2);
        hover.iter().zip(&self.most_n).map(|(hover, most)| ceiling_share * most / hover).fold(f64::INFINITY, f64::min)
    }

    /// What is left while the craft is lifted with `load` weights.
    pub fn authority(&self, load: f64, ceiling_share: f64) -> Authority {
        let lifting = self.inverse.column(0) * (load * self.mass_kg * GRAVITY_M_S2);
        let turn = self.inertia_kg_m2.try_inverse().unwrap_or_else(Matrix3::zeros);
        let room = |rotor: usize, per_nm: f64| {
            let up = (ceiling_share * self.most_n[rotor] - lifting[rotor]) / per_nm.abs();
            let down = (lifting[rotor] - self.least_n[rotor]) / per_nm.abs();
            up.min(down)
        };
        let about = |axis: usize| {
            let each = self.inverse.column(axis + 1);
            let torque =
                each.iter().enumerate().map(|(rotor, per_nm)| room(rotor, *per_nm)).fold(f64::INFINITY, f64::min);
            torque * turn[(axis, axis)]
        };
        Authority { turn_rad_s2: std::array::from_fn(about) }
    }
}

impl Authority {
    /// Whether each is at least so much: roll and pitch, yaw.
    pub fn reaches(&self, tilt_rad_s2: f64, yaw_rad_s2: f64) -> bool {
        let [roll, pitch, yaw] = self.turn_rad_s2;
        roll >= tilt_rad_s2 && pitch >= tilt_rad_s2 && yaw >= yaw_rad_s2
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quad() -> Lifted {
        let place = |x: f64, y: f64, reaction_m: f64| Push {
            place_m: Vector3::new(x, y, 0.0),
            axis: -Vector3::z(),
            reaction_m,
            most_n: 8.0,
            least_n: 0.3,
        };
        // Counter-clockwise first: the reaction turns the nose right, along −axis.
        let rotors =
            [place(0.2, 0.2, -0.016), place(-0.2, 0.2, 0.016), place(-0.2, -0.2, -0.016), place(0.2, -0.2, 0.016)];
        let inertia = Matrix3::from_diagonal(&Vector3::new(0.02, 0.02, 0.04));
        Lifted::new(1.6, &Vector3::zeros(), inertia, &rotors).expect("four axes")
    }

    /// By hand: 32 N over 1.6 kg; 4 rotors, arms of 0.2 m, hover at 3.923 N each, so 3.623 N down and 4.077 N up.
    #[test]
    fn is_what_the_hand_finds_when_the_craft_is_a_cross() {
        assert!((quad().thrust_to_weight(1.0) - 32.0 / (1.6 * GRAVITY_M_S2)).abs() < 1e-12);
        let down_n = 0.4 * GRAVITY_M_S2 - 0.3;
        let [roll, pitch, yaw] = quad().authority(1.0, 1.0).turn_rad_s2;
        assert!((roll - 4.0 * 0.2 * down_n / 0.02).abs() < 1e-9, "{roll}");
        assert!((pitch - roll).abs() < 1e-9);
        assert!((yaw - 4.0 * 0.016 * down_n / 0.04).abs() < 1e-9, "{yaw}");
    }

    #[test]
    fn is_less_when_the_pack_sags_or_the_craft_climbs() {
        let [hover, ..] = quad().authority(1.0, 0.6).turn_rad_s2;
        assert!(hover < quad().authority(1.0, 1.0).turn_rad_s2[0]);
        assert!(quad().authority(1.6, 1.0).turn_rad_s2[0] < quad().authority(1.2, 1.0).turn_rad_s2[0]);
        assert!(quad().authority(2.5, 1.0).turn_rad_s2[0] < 0.0, "beyond the ceiling");
    }
}
