//! Control allocation for multirotors: from where the rotors sit and how they turn to what each must
//! push for a demanded thrust, roll, pitch and yaw, and what gives way when that is more than they have.
//!
//! `no_std`, no heap, no panic, generic over the flying [`Scalar`].
//!
//! ```
//! use evenkeel_mixer::{Design, Mixer, Priority, Rotor, Spin, Wrench, facet_capacity};
//!
//! let arm = |x, y, spin| Rotor {
//!     position_m: [x, y, 0.0],
//!     spin,
//!     torque_per_thrust_m: 0.016,
//!     thrust_min_n: 0.3,
//!     thrust_max_n: 8.0,
//!     ..Rotor::UP
//! };
//! let rotors = [
//!     arm(0.18, 0.18, Spin::Ccw),
//!     arm(-0.18, 0.18, Spin::Cw),
//!     arm(-0.18, -0.18, Spin::Ccw),
//!     arm(0.18, -0.18, Spin::Cw),
//! ];
//! let design = Design::<4, { facet_capacity(4) }>::new(&rotors, [0.0; 3], Priority::DEFAULT)?;
//! let mixer: Mixer<f32, 4, _> = Mixer::new(&design);
//!
//! let allocation = mixer.allocate(Wrench { thrust_n: 16.0, roll_nm: 0.3, ..Wrench::default() });
//! assert!(!allocation.saturated());
//! assert!(allocation.thrusts_n[3] > allocation.thrusts_n[0], "the left side pushes harder to roll right");
//! # Ok::<(), evenkeel_mixer::GeometryError>(())
//! ```
#![no_std]

mod advance;
mod allocation;
mod box_least_squares;
mod box_residual;
mod clamp;
mod cut;
mod design;
mod direct;
#[cfg(test)]
mod edges;
mod face;
mod facets;
#[cfg(feature = "fixed")]
mod fixed_point;
mod geometry;
mod half_space;
mod in_flight;
mod line_of_thrusts;
mod line_search;
mod mixer;
mod nearest;
mod newton_step;
mod normal_equations;
mod offsets;
mod plane;
mod priority;
mod rotor_set;
mod rows;
mod scalar;
mod segment;
mod thrust_curve;
mod tiers;
mod walk;
mod wrench;

pub use allocation::{Allocation, RotorLimit};
pub use box_least_squares::MAX_PASSES;
pub use design::Design;
pub use facets::{NORMAL_TOL, facet_capacity};
#[cfg(feature = "fixed")]
pub use fixed_point::{ALLOCATION_TOL_FIXED, Fixed};
pub use geometry::{Effectiveness, GeometryError, INDEPENDENCE_TOL, Rotor, Spin};
pub use half_space::HalfSpace;
pub use mixer::{MET_TOL_F32, Mixer};
pub use priority::{Priority, PriorityError};
pub use rotor_set::{MAX_ROTORS, RotorSet};
pub use scalar::{RECIP_SQRT_TOL_F32, RECIP_SQRT_TOL_F64, Scalar};
pub use thrust_curve::{COMMAND_TOL_F32, CurveError, CurvePoint, ThrustCurve};
pub use wrench::{Axis, Wrench};

#[cfg(test)]
extern crate std;
