//! The ground: level, at down = 0 where the craft rests, and it only pushes.
//!
//! Four feet on the corners of a square carry the craft, each on a spring and damper with friction.
//! Idealised: the plane of the feet passes through the centre of mass, the feet are centred on it
//! whatever the frame looks like, and a craft upside down stands on them as well. The surface lies
//! the static deflection below the feet, so that down = 0 is the equilibrium.
//!
//! * Math, for a foot at depth d > 0: N = max(0, k·d + c·min(d/d₀, 1)·ḋ), k = m·g/(4·d₀),
//!   c = 2·ζ·√(g/d₀)·m/4 (damping fades in, so that a touch is no jolt);
//!   friction −c_t·u/√(1 + (c_t·|u|/(μ·N))²), u the sliding velocity: viscous at a creep, Coulomb above
//! * Steps: contact stays stable up to 2 ms because every stiffness is set by the weight, and the
//!   feet stand no further out than twice the smallest radius of gyration
//! * Source: spring, damper and smoothed Coulomb friction are common practice; the numbers are chosen
//!   here, no source

use nalgebra::{Matrix3, Vector3};

use super::runge_kutta::Motion;
use crate::craft::Craft;

/// How far the feet give under the craft's weight.
pub const STATIC_DEFLECTION_M: f64 = 0.005;
/// Of the heave on the feet.
pub const DAMPING_RATIO: f64 = 0.7;
/// Of the feet on the ground, sliding.
pub const FRICTION_COEFFICIENT: f64 = 0.6;
/// Rate at which creeping dies out; with gravity and friction coefficient it sets the slip speed at
/// which friction is fully there: 0.6·9.8/150 = 4 cm/s.
const CREEP_RATE_PER_S: f64 = 150.0;
/// Largest half-diagonal of the feet, in smallest radii of gyration.
const REACH_IN_RADII: f64 = 2.0;
const FEET: f64 = 4.0;

#[derive(Clone, Debug)]
pub(super) struct Ground {
    feet_m: [Vector3<f64>; 4],
    /// Above this (on the down axis) no foot can reach the ground, whatever the attitude.
    clear_down_m: f64,
    stiffness_n_m: f64,
    damping_n_s_m: f64,
    creep_n_s_m: f64,
}

/// What the ground does to the body.
pub(super) struct Contact {
    pub(super) force_world_n: Vector3<f64>,
    /// About the centre of mass.
    pub(super) torque_body_nm: Vector3<f64>,
}

impl Ground {
    /// `gravity_m_s2` is above 0.
    pub(super) fn new(craft: &Craft, gravity_m_s2: f64) -> Ground {
        let mass_kg = craft.body.mass_kg;
        let half_diagonal_m = half_diagonal_m(craft);
        let side_m = half_diagonal_m * std::f64::consts::FRAC_1_SQRT_2;
        let foot = |x: f64, y: f64| Vector3::new(x * side_m, y * side_m, 0.0);
        let heave_rad_s = (gravity_m_s2 / STATIC_DEFLECTION_M).sqrt();
        Ground {
            feet_m: [foot(1.0, 1.0), foot(-1.0, 1.0), foot(-1.0, -1.0), foot(1.0, -1.0)],
            clear_down_m: -(half_diagonal_m + STATIC_DEFLECTION_M),
            stiffness_n_m: mass_kg * gravity_m_s2 / (FEET * STATIC_DEFLECTION_M),
            damping_n_s_m: 2.0 * DAMPING_RATIO * heave_rad_s * mass_kg / FEET,
            creep_n_s_m: CREEP_RATE_PER_S * mass_kg / FEET,
        }
    }

    /// No foot reaches the ground from this far down, however the craft is turned.
    pub(super) fn is_out_of_reach(&self, down_m: f64) -> bool {
        down_m < self.clear_down_m
    }

    /// Some foot is below the surface.
    pub(super) fn touches(&self, motion: &Motion) -> bool {
        let world_from_body = motion.world_from_body();
        self.feet_m.iter().any(|foot_m| depth_m(motion, &(world_from_body * foot_m)) > 0.0)
    }

    /// Forces of all feet that touch; `None` clear of the ground.
    pub(super) fn contact(&self, motion: &Motion, world_from_body: &Matrix3<f64>) -> Option<Contact> {
        if self.is_out_of_reach(motion.position_m.z) {
            return None;
        }
        let mut contact = Contact { force_world_n: Vector3::zeros(), torque_body_nm: Vector3::zeros() };
        for foot_m in &self.feet_m {
            let depth_m = depth_m(motion, &(world_from_body * foot_m));
            if depth_m > 0.0 {
                let velocity_m_s = motion.velocity_m_s + world_from_body * motion.rate_rad_s.cross(foot_m);
                let force_n = self.foot_force_n(depth_m, &velocity_m_s);
                contact.force_world_n += force_n;
                contact.torque_body_nm += foot_m.cross(&world_from_body.tr_mul(&force_n));
            }
        }
        Some(contact)
    }

    /// World axes.
    fn foot_force_n(&self, depth_m: f64, velocity_m_s: &Vector3<f64>) -> Vector3<f64> {
        let engaged = (depth_m / STATIC_DEFLECTION_M).min(1.0);
        let normal_n = self.stiffness_n_m * depth_m + self.damping_n_s_m * engaged * velocity_m_s.z;
        if normal_n > 0.0 {
            let creep_n = Vector3::new(velocity_m_s.x, velocity_m_s.y, 0.0) * -self.creep_n_s_m;
            let slip = creep_n.norm() / (FRICTION_COEFFICIENT * normal_n);
            creep_n / (1.0 + slip * slip).sqrt() - Vector3::new(0.0, 0.0, normal_n)
        } else {
            Vector3::zeros()
        }
    }
}

fn depth_m(motion: &Motion, foot_world_m: &Vector3<f64>) -> f64 {
    motion.position_m.z + foot_world_m.z + STATIC_DEFLECTION_M
}

/// Mean horizontal arm of the rotors from the centre of mass, held to what the body's inertia allows.
///
/// A stand wider than the inertia allows would rock faster than the step resolves; without arms
/// (rotors on the centre line) the limit itself is the width.
fn half_diagonal_m(craft: &Craft) -> f64 {
    let [x, y, _] = craft.body.center_of_mass_m;
    let arms_m = craft.rotors.iter().map(|rotor| (rotor.position_m[0] - x).hypot(rotor.position_m[1] - y));
    let mean_m = arms_m.sum::<f64>() / craft.rotors.len().max(1) as f64;
    let inertia = Matrix3::from_fn(|row, column| craft.body.inertia_kg_m2[row][column]);
    let smallest_kg_m2 = inertia.symmetric_eigenvalues().min();
    let reach_m = REACH_IN_RADII * (smallest_kg_m2 / craft.body.mass_kg).sqrt();
    if mean_m > 0.0 { mean_m.min(reach_m) } else { reach_m }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::specimen::{craft, rotor};

    fn ground() -> Ground {
        Ground::new(&craft(Vec::new()), 10.0)
    }

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;
    /// Relative, at a hundred times the slip speed, and newtons at a depth of a nanometre.
    const SMOOTHING_TOL: f64 = 1e-3;

    #[test]
    fn carries_a_quarter_of_the_weight_on_each_foot_when_at_rest() {
        let force_n = ground().foot_force_n(STATIC_DEFLECTION_M, &Vector3::zeros());
        assert!((force_n - Vector3::new(0.0, 0.0, -5.0)).amax() < EXACT_TOL, "{force_n}");
    }

    #[test]
    fn never_pulls_when_a_foot_leaves_fast() {
        let force_n = ground().foot_force_n(STATIC_DEFLECTION_M, &Vector3::new(1.0, 0.0, -10.0));
        assert_eq!(force_n, Vector3::zeros());
    }

    #[test]
    fn touches_without_a_jolt_when_a_foot_comes_down_fast() {
        assert!(ground().foot_force_n(1e-9, &Vector3::new(0.0, 0.0, 10.0)).norm() < SMOOTHING_TOL);
    }

    #[test]
    fn rubs_against_the_slide_with_coulomb_friction_when_it_slides_fast() {
        let force_n = ground().foot_force_n(STATIC_DEFLECTION_M, &Vector3::new(3.0, 4.0, 0.0));
        let friction_n = Vector3::new(-3.0, -4.0, 0.0) * (FRICTION_COEFFICIENT * 5.0 / 5.0);
        assert!((force_n.xy() - friction_n.xy()).norm() < SMOOTHING_TOL * friction_n.norm(), "{force_n}");
    }

    #[test]
    fn stands_as_wide_as_the_rotors_when_the_inertia_allows() {
        let at = |x: f64, y: f64| crate::craft::Rotor { position_m: [x, y, 0.3], ..rotor() };
        assert!((half_diagonal_m(&craft(vec![at(0.03, 0.04), at(-0.15, 0.0)])) - 0.1).abs() < EXACT_TOL);
        // The radius of gyration is 0.1 m: no wider than twice that, and that wide without arms.
        assert!((half_diagonal_m(&craft(vec![at(5.0, 0.0)])) - 0.2).abs() < EXACT_TOL);
        assert!((half_diagonal_m(&craft(vec![at(0.0, 0.0)])) - 0.2).abs() < EXACT_TOL);
        assert!((half_diagonal_m(&craft(Vec::new())) - 0.2).abs() < EXACT_TOL);
    }
}
