//! Crafts of our own invention for the mixer's tests, and one generator of lopsided ones.
#![allow(dead_code, reason = "each test file uses some of these")]

use evenkeel_mixer::{Design, GeometryError, Mixer, Priority, Rotor, Scalar, Spin, facet_capacity};
use proptest::prelude::*;

pub const CAPACITY: usize = 8;
pub const FACETS: usize = facet_capacity(CAPACITY);
pub type TestDesign = Design<CAPACITY, FACETS>;
pub type TestMixer<S> = Mixer<S, CAPACITY, FACETS>;

/// `count` arms from `first_deg`, clockwise from the nose, spins alternating from counter-clockwise.
pub fn ring(count: usize, arm_m: f64, first_deg: f64) -> Vec<Rotor> {
    (0..count)
        .map(|i| {
            let azimuth = (first_deg + 360.0 * i as f64 / count as f64).to_radians();
            Rotor {
                position_m: [arm_m * azimuth.cos(), arm_m * azimuth.sin(), 0.0],
                spin: if i % 2 == 0 { Spin::Ccw } else { Spin::Cw },
                torque_per_thrust_m: 0.016,
                thrust_min_n: 0.3,
                thrust_max_n: 8.0,
                ..Rotor::UP
            }
        })
        .collect()
}

pub fn coaxial(arms: usize, arm_m: f64, first_deg: f64) -> Vec<Rotor> {
    let upper = ring(arms, arm_m, first_deg);
    let lower =
        upper.iter().map(|rotor| Rotor { spin: if rotor.spin == Spin::Cw { Spin::Ccw } else { Spin::Cw }, ..*rotor });
    upper.iter().copied().chain(lower).collect()
}

pub fn shapes() -> Vec<(&'static str, Vec<Rotor>)> {
    vec![
        ("quad, arms at 45 degrees", ring(4, 0.25, 45.0)),
        ("quad, arm at the nose", ring(4, 0.25, 0.0)),
        ("flat six", ring(6, 0.35, 0.0)),
        ("flat eight", ring(8, 0.45, 22.5)),
        ("coaxial eight", coaxial(4, 0.40, 45.0)),
        ("coaxial six on three arms", coaxial(3, 0.30, 0.0)),
    ]
}

pub fn design(rotors: &[Rotor], priority: Priority) -> Result<TestDesign, GeometryError> {
    Design::new(rotors, [0.0; 3], priority)
}

pub fn mixer<S: Scalar>(rotors: &[Rotor]) -> TestMixer<S> {
    Mixer::new(&design(rotors, Priority::DEFAULT).expect("a controllable craft"))
}

/// Crafts of 4 to 8 rotors: the shapes above, and rings pulled out of shape.
pub fn any_craft() -> impl Strategy<Value = Vec<Rotor>> {
    let regular = prop::sample::select(shapes()).prop_map(|(_, rotors)| rotors);
    let bent = (4_usize..=8).prop_flat_map(|count| {
        let rotor = (0.7_f64..1.3, -12.0_f64..12.0, -0.1_f64..0.1, -0.1_f64..0.1, 0.6_f64..1.4, 0.0_f64..0.1);
        prop::collection::vec(rotor, count)
    });
    let lopsided = bent.prop_map(|changes| {
        let mut rotors = ring(changes.len() & !1, 0.3, 20.0);
        for (rotor, (stretch, turn_deg, lean_x, lean_y, power, floor)) in rotors.iter_mut().zip(changes) {
            let (sin, cos) = turn_deg.to_radians().sin_cos();
            let [x, y, _] = rotor.position_m;
            rotor.position_m = [stretch * (cos * x - sin * y), stretch * (sin * x + cos * y), 0.0];
            rotor.axis = [lean_x, lean_y, -1.0];
            rotor.thrust_max_n *= power;
            rotor.thrust_min_n = floor * rotor.thrust_max_n;
        }
        rotors
    });
    prop_oneof![regular, lopsided]
        .prop_filter("a craft that can be controlled", |rotors| design(rotors, Priority::DEFAULT).is_ok())
}

/// A demand in shares of what the rotors can add up to: thrust, roll, pitch, yaw.
pub fn any_demand(reach: f64) -> impl Strategy<Value = [f64; 4]> {
    [-0.1..reach, -reach..reach, -reach..reach, -reach..reach]
}

/// The largest sum each axis could reach if all rotors pushed the same way.
pub fn reach<const N: usize, const F: usize>(design: &Design<N, F>) -> [f64; 4] {
    let mut sum = [0.0; 4];
    let matrix = design.effectiveness();
    for (column, ceiling) in matrix.columns().iter().zip(matrix.ceilings_n()) {
        for (value, share) in sum.iter_mut().zip(column) {
            *value += share.abs() * ceiling;
        }
    }
    sum
}

/// The units in which axes are compared where a nearest point is asked for: the largest entry of each row,
/// rounded down to a power of two.
pub fn units<const N: usize, const F: usize>(design: &Design<N, F>) -> [f64; 4] {
    design.effectiveness().row_scales().map(|scale| scale.log2().floor().exp2())
}

/// Distance between two wrenches, as a share of the axis range: the worst axis counts.
pub fn apart<S: Scalar>(a: [S; 4], b: [f64; 4], reach: [f64; 4]) -> f64 {
    let apart = |((a, b), reach): ((S, f64), f64)| ((a.to_f64() - b) / reach).abs();
    a.into_iter().zip(b).zip(reach).map(apart).fold(0.0, f64::max)
}

/// A craft of `count` rotors pulled out of shape: arms, angles, tilts, floors and ceilings all differ.
pub fn lopsided(random: &mut impl rand::Rng, count: usize) -> Vec<Rotor> {
    let mut rotors = ring(count, 0.3, 20.0);
    for rotor in &mut rotors {
        let (sin, cos) = random.random_range(-12.0_f64..12.0).to_radians().sin_cos();
        let [x, y, _] = rotor.position_m;
        let stretch = random.random_range(0.7..1.3);
        rotor.position_m = [stretch * (cos * x - sin * y), stretch * (sin * x + cos * y), 0.0];
        rotor.axis = [random.random_range(-0.1..0.1), random.random_range(-0.1..0.1), -1.0];
        rotor.thrust_max_n *= random.random_range(0.6..1.4);
        rotor.thrust_min_n = random.random_range(0.0..0.1) * rotor.thrust_max_n;
    }
    rotors
}
