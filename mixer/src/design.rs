//! A craft's allocation, worked out once: from rotors and priorities to everything the mixer needs.
//!
//! All of it is `f64` and `const`, so a craft known in advance costs nothing at start-up, and one that
//! cannot be controlled does not compile:
//!
//! ```
//! use evenkeel_mixer::{Design, Priority, Rotor, Spin, facet_capacity};
//!
//! const FRONT_RIGHT: Rotor = Rotor {
//!     position_m: [0.18, 0.18, 0.0],
//!     spin: Spin::Ccw,
//!     torque_per_thrust_m: 0.016,
//!     thrust_min_n: 0.3,
//!     thrust_max_n: 8.0,
//!     ..Rotor::UP
//! };
//! const ROTORS: [Rotor; 4] = [
//!     FRONT_RIGHT,
//!     Rotor { position_m: [-0.18, 0.18, 0.0], spin: Spin::Cw, ..FRONT_RIGHT },
//!     Rotor { position_m: [-0.18, -0.18, 0.0], ..FRONT_RIGHT },
//!     Rotor { position_m: [0.18, -0.18, 0.0], spin: Spin::Cw, ..FRONT_RIGHT },
//! ];
//! const CRAFT: Design<4, { facet_capacity(4) }> = match Design::new(&ROTORS, [0.0; 3], Priority::DEFAULT) {
//!     Ok(design) => design,
//!     Err(_) => panic!("this craft cannot be controlled"),
//! };
//! assert_eq!(CRAFT.rotors(), 4);
//! ```
//!
//! The same four with all rotors turning one way has no yaw, and is refused by the compiler
//! ([`Design::expect`] puts the reason into its message):
//!
//! ```compile_fail,E0080
//! use evenkeel_mixer::{Design, Priority, Rotor, Spin, facet_capacity};
//!
//! const FRONT_RIGHT: Rotor =
//!     Rotor { position_m: [0.18, 0.18, 0.0], spin: Spin::Ccw, torque_per_thrust_m: 0.016, ..Rotor::UP };
//! const ROTORS: [Rotor; 4] = [
//!     FRONT_RIGHT,
//!     Rotor { position_m: [-0.18, 0.18, 0.0], ..FRONT_RIGHT },
//!     Rotor { position_m: [-0.18, -0.18, 0.0], ..FRONT_RIGHT },
//!     Rotor { position_m: [0.18, -0.18, 0.0], ..FRONT_RIGHT },
//! ];
//! const CRAFT: Design<4, { facet_capacity(4) }> = Design::expect(&ROTORS, [0.0; 3], Priority::DEFAULT);
//! assert_eq!(CRAFT.rotors(), 4);
//! ```
//!
//! So is storage that is too small for the rotors, or for the facets:
//!
//! ```compile_fail,E0080
//! # use evenkeel_mixer::{Design, Priority, Rotor, facet_capacity};
//! const CRAFT: Design<4, { facet_capacity(4) }> = Design::expect(&[Rotor::UP; 6], [0.0; 3], Priority::DEFAULT);
//! assert_eq!(CRAFT.rotors(), 6);
//! ```
//!
//! Thrusts in one scalar are no demand in another:
//!
//! ```compile_fail,E0308
//! # use evenkeel_mixer::{Mixer, Wrench};
//! fn mix(mixer: &Mixer<f32, 4, 20>, demand: Wrench<f64>) {
//!     mixer.allocate(demand);
//! }
//! ```

use crate::facets::{Facet, FacetTable};
use crate::geometry::{Effectiveness, GeometryError, Rotor};
use crate::priority::Priority;
use crate::tiers::TierPlan;
use crate::wrench::Axis;

/// Everything about a craft's allocation that does not change in flight.
///
/// `N` is the most rotors, `F` the most facets; see [`crate::facet_capacity`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Design<const N: usize, const F: usize> {
    matrix: Effectiveness<N>,
    facets: [Facet<f64>; F],
    facet_count: usize,
    plan: TierPlan,
    balanced_thrust_n: (f64, f64),
}

impl<const N: usize, const F: usize> Design<N, F> {
    /// Checks the rotors and works out the attainable set.
    ///
    /// # Errors
    /// When a value is not finite or makes no sense, when an axis cannot be moved by itself, when the
    /// torques cannot be balanced at any thrust, or when the storage is too small.
    pub const fn new(rotors: &[Rotor], center_of_mass_m: [f64; 3], priority: Priority) -> Result<Self, GeometryError> {
        let matrix = match Effectiveness::new(rotors, center_of_mass_m) {
            Ok(matrix) => matrix,
            Err(error) => return Err(error),
        };
        let mut table = FacetTable::new();
        let plan = match TierPlan::new(&matrix, priority, &mut table) {
            Ok(plan) => plan,
            Err(error) => return Err(error),
        };
        let balanced_thrust_n = thrust_without_torque(table.facets(), plan.full_bounds(), matrix.units());
        if !(balanced_thrust_n.0 < balanced_thrust_n.1) {
            return Err(GeometryError::Unbalanced);
        }
        let (facets, facet_count) = table.into_parts();
        Ok(Design { matrix, facets, facet_count, plan, balanced_thrust_n })
    }

    /// The same for a craft that is a constant: what cannot be controlled does not compile.
    ///
    /// # Panics
    /// With the reason, where [`Design::new`] returns it as an error. Meant for constants only, where
    /// the panic is a compiler error.
    pub const fn expect(rotors: &[Rotor], center_of_mass_m: [f64; 3], priority: Priority) -> Self {
        match Self::new(rotors, center_of_mass_m, priority) {
            Ok(design) => design,
            Err(error) => panic!("{}", reason(error)),
        }
    }

    /// Number of rotors.
    pub const fn rotors(&self) -> usize {
        self.matrix.len()
    }

    /// The effectiveness matrix and the rotor limits.
    pub const fn effectiveness(&self) -> &Effectiveness<N> {
        &self.matrix
    }

    /// Lowest and highest thrust at which roll, pitch and yaw torque can all be zero, newtons.
    pub const fn balanced_thrust_n(&self) -> (f64, f64) {
        self.balanced_thrust_n
    }

    pub(crate) fn facets(&self) -> &[Facet<f64>] {
        self.facets.get(..self.facet_count).unwrap_or(&self.facets)
    }

    pub(crate) fn plan(&self) -> &TierPlan {
        &self.plan
    }
}

/// Where the thrust axis leaves the attainable set.
const fn thrust_without_torque(facets: &[Facet<f64>], (start, end): (usize, usize), units: [f64; 4]) -> (f64, f64) {
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut i = start;
    while i < end {
        let facet = &facets[i];
        let slope = facet.normal[0] / units[0];
        let (lower, upper) = (facet.middle - facet.half_width, facet.middle + facet.half_width);
        if slope == 0.0 {
            // The axis runs along this slab: either inside it or past it.
            if !(lower < 0.0 && upper > 0.0) {
                return (0.0, 0.0);
            }
        } else {
            let (a, b) = (lower / slope, upper / slope);
            low = low.max(a.min(b));
            high = high.min(a.max(b));
        }
        i += 1;
    }
    (low, high)
}

/// The cause in words that a constant's panic can carry: it cannot format numbers.
const fn reason(error: GeometryError) -> &'static str {
    match error {
        GeometryError::NoRotors => "this craft has no rotor",
        GeometryError::TooManyRotors { .. } => "this craft has more rotors than its Design has room for",
        GeometryError::NotFinite { .. } => "a value of this craft is not a finite number",
        GeometryError::NoDirection { .. } => "the thrust axis of a rotor has no direction",
        GeometryError::FloorNotBelowCeiling { .. } => "a rotor's thrust floor is negative or not below its ceiling",
        GeometryError::NegativeTorqueRatio { .. } => "a rotor's torque ratio is negative",
        GeometryError::NotControllable { axis: Axis::Thrust } => "the rotors of this craft cannot lift it",
        GeometryError::NotControllable { axis: Axis::Roll } => "the rotors of this craft cannot roll it by themselves",
        GeometryError::NotControllable { axis: Axis::Pitch } => {
            "the rotors of this craft cannot pitch it by themselves"
        }
        GeometryError::NotControllable { axis: Axis::Yaw } => {
            "the rotors of this craft cannot yaw it by themselves: do neighbouring rotors spin opposite ways?"
        }
        GeometryError::Unbalanced => "at no thrust can the torques on this craft all be zero",
        GeometryError::TooManyFacets { .. } => "this craft has more facets than its Design has room for",
    }
}
