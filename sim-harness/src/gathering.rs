//! The speed that a steady pull gathers against drag that goes in part with the speed, in part with its square.
//!
//! * Math: v̇ = a − β·v − γ·v² from rest, a Riccati equation with constant coefficients; with Δ = √(β² + 4·a·γ)
//!   v(t) = 2·a·tanh(Δ·t/2)/(Δ + β·tanh(Δ·t/2)) and v∞ = 2·a/(Δ + β). Without β that is √(a/γ)·tanh(t·√(a·γ)), without γ
//!   (a/β)·(1 − e^(−β·t)), without both a·t
//! * Source: any textbook of differential equations (from memory); the test puts it back into the equation

use crate::plant::{RATED_AIR_DENSITY_KG_M3, speed_share};
use crate::recording::Row;
use crate::site::Site;

/// Rounds in which steady speed and rotor speed are brought together; each takes most of the error away.
const ROUNDS: u32 = 30;

/// A pull and what holds against it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Gathering {
    /// Acceleration from rest.
    pub(crate) pull_m_s2: f64,
    /// Drag that goes with the speed, over mass.
    pub(crate) linear_per_s: f64,
    /// Drag that goes with its square, over mass.
    pub(crate) square_per_m: f64,
}

impl Gathering {
    /// Along a body axis (x 0, y 1) of the craft tilted by `tilt_rad` that way, at a steady height: weight pulls along the axis, drag
    /// of the body and of the rotors in their plane holds against it. Speeds are those along the axis.
    ///
    /// The rotors turn as fast as the steady speed asks: they carry the rest of the weight, and drag of the body along z.
    pub(crate) fn at_a_height(site: &Site<'_>, tilt_rad: f64, axis: usize) -> Self {
        let (sin, cos) = tilt_rad.sin_cos();
        let along_z = 0.5 * site.world.air_density_kg_m3 * site.craft.body.drag_area_m2[2];
        let mut gathering = Self::held(site, tilt_rad, axis, 0.0);
        for _ in 0..ROUNDS {
            if !(gathering.linear_per_s > 0.0) {
                break;
            }
            let through_m_s = gathering.steady_m_s() / cos * sin;
            let thrust_n = site.weight_n() * cos + along_z * through_m_s * through_m_s;
            gathering.linear_per_s = rotor_drag_n_per_m_s(site, thrust_n, through_m_s, axis) / site.craft.body.mass_kg;
        }
        gathering
    }

    /// The same with the thrust held at the weight, and `through_m_s` of air through the rotors.
    pub(crate) fn held(site: &Site<'_>, tilt_rad: f64, axis: usize, through_m_s: f64) -> Self {
        let mass_kg = site.craft.body.mass_kg;
        Gathering {
            pull_m_s2: site.world.gravity_m_s2 * tilt_rad.sin(),
            linear_per_s: rotor_drag_n_per_m_s(site, site.weight_n(), through_m_s, axis) / mass_kg,
            square_per_m: 0.5 * site.world.air_density_kg_m3 * site.craft.body.drag_area_m2[axis] / mass_kg,
        }
    }

    /// Infinite without drag.
    pub(crate) fn steady_m_s(&self) -> f64 {
        2.0 * self.pull_m_s2 / (self.discriminant_per_s() + self.linear_per_s)
    }

    /// The argument of tanh grows by one in this time; infinite without drag.
    pub(crate) fn time_constant_s(&self) -> f64 {
        2.0 / self.discriminant_per_s()
    }

    pub(crate) fn speed_m_s(&self, t_s: f64) -> f64 {
        let half = 0.5 * self.discriminant_per_s();
        if !(half > 0.0) {
            return self.pull_m_s2 * t_s;
        }
        let grown = (half * t_s).tanh();
        2.0 * self.pull_m_s2 * grown / (2.0 * half + self.linear_per_s * grown)
    }

    /// Speed at the end of these rows, at rest at their first: `pull_m_s2` is the acceleration that each row's tilt gives, `air_m_s`
    /// the air's own speed along the axis. Midpoint rule from row to row.
    pub(crate) fn speed_over<'a>(
        &self,
        rows: impl Iterator<Item = &'a Row>,
        pull_m_s2: impl Fn(&Row) -> f64,
        air_m_s: impl Fn(f64) -> f64,
    ) -> f64 {
        let slope = |pull_m_s2: f64, air_m_s: f64, v: f64| {
            let through_m_s = air_m_s - v;
            pull_m_s2 + (self.linear_per_s + self.square_per_m * through_m_s.abs()) * through_m_s
        };
        let mut before: Option<&Row> = None;
        rows.fold(0.0, |v, row| {
            let Some(last) = before.replace(row) else { return v };
            let dt_s = row.t_s - last.t_s;
            let pull = 0.5 * (pull_m_s2(last) + pull_m_s2(row));
            let middle = v + 0.5 * dt_s * slope(pull, air_m_s(last.t_s), v);
            v + dt_s * slope(pull, air_m_s(last.t_s + 0.5 * dt_s), middle)
        })
    }

    fn discriminant_per_s(&self) -> f64 {
        (self.linear_per_s * self.linear_per_s + 4.0 * self.pull_m_s2 * self.square_per_m).sqrt()
    }
}

/// Drag of all rotors along a body axis per m/s along it, at the speeds at which they give `thrust_n` with torques balanced while
/// air comes through them at `through_m_s`.
///
/// * Math: Σ dᵢ·sᵢ·(ρ/ρ₀)·(1 − aᵢ²), a the axis' part of the rotor's own
pub(crate) fn rotor_drag_n_per_m_s(site: &Site<'_>, thrust_n: f64, through_m_s: f64, axis: usize) -> f64 {
    if site.craft.rotors.iter().all(|rotor| rotor.in_moving_air.drag_n_per_m_s == 0.0) {
        return 0.0;
    }
    let density_kg_m3 = site.world.air_density_kg_m3;
    let balanced = evenkeel_mixer::Wrench { thrust_n: thrust_n as f32, ..Default::default() };
    let thrusts_n = site.onboard.mixer.allocate(balanced).thrusts_n;
    let drag = |(rotor, thrust_n): (&crate::craft::Rotor, &f32)| {
        let across = 1.0 - rotor.axis[axis] * rotor.axis[axis];
        let share = speed_share(rotor, f64::from(*thrust_n), through_m_s, density_kg_m3);
        rotor.in_moving_air.drag_n_per_m_s * share * across
    };
    let all: f64 = site.craft.rotors.iter().zip(&thrusts_n).map(drag).sum();
    all * density_kg_m3 / RATED_AIR_DENSITY_KG_M3
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding, relative.
    const EXACT_TOL: f64 = 1e-12;
    /// Of a difference quotient at [`STEP_S`].
    const SLOPE_TOL: f64 = 1e-6;
    const STEP_S: f64 = 1e-4;
    const PULLS: [f64; 3] = [0.3, 2.0, 9.0];

    /// v̇ = a − β·v − γ·v², from rest.
    #[test]
    fn satisfies_its_equation_when_put_back_into_it() {
        for pull_m_s2 in PULLS {
            for linear_per_s in [0.0, 0.01, 0.5, 5.0] {
                for square_per_m in [0.0, 0.001, 0.2] {
                    let one = Gathering { pull_m_s2, linear_per_s, square_per_m };
                    assert_eq!(one.speed_m_s(0.0), 0.0);
                    for t_s in [0.1, 1.0, 7.0] {
                        let v = one.speed_m_s(t_s);
                        let slope = (one.speed_m_s(t_s + STEP_S) - one.speed_m_s(t_s - STEP_S)) / (2.0 * STEP_S);
                        let expected = pull_m_s2 - linear_per_s * v - square_per_m * v * v;
                        assert!((slope - expected).abs() < SLOPE_TOL * pull_m_s2, "{one:?} at {t_s} s: {slope}");
                    }
                }
            }
        }
    }

    /// Where nothing pulls any more, and what is left of it with one kind of drag alone.
    #[test]
    fn ends_where_drag_balances_and_reduces_to_the_known_forms() {
        for pull_m_s2 in PULLS {
            let both = Gathering { pull_m_s2, linear_per_s: 0.3, square_per_m: 0.02 };
            let v = both.steady_m_s();
            assert!((0.3 * v + 0.02 * v * v - pull_m_s2).abs() < EXACT_TOL * pull_m_s2, "{v}");
            assert!((both.speed_m_s(1e3) / v - 1.0).abs() < EXACT_TOL);
            let square = Gathering { linear_per_s: 0.0, ..both };
            let steady = (pull_m_s2 / 0.02).sqrt();
            let tanh = steady * (1.5 * pull_m_s2 / steady).tanh();
            assert!((square.speed_m_s(1.5) / tanh - 1.0).abs() < EXACT_TOL);
            assert!((square.time_constant_s() / (steady / pull_m_s2) - 1.0).abs() < EXACT_TOL);
            let linear = Gathering { square_per_m: 0.0, ..both };
            let decay = pull_m_s2 / 0.3 * (1.0 - (-0.3_f64 * 1.5).exp());
            assert!((linear.speed_m_s(1.5) / decay - 1.0).abs() < EXACT_TOL);
            let free = Gathering { linear_per_s: 0.0, square_per_m: 0.0, ..both };
            assert_eq!((free.speed_m_s(1.5), free.steady_m_s()), (1.5 * pull_m_s2, f64::INFINITY));
        }
    }
}
