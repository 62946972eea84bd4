//! The mixer: a demanded wrench in, rotor thrusts and commands out.
//!
//! * A demand that can be met is met by the least-squares thrusts: one matrix product.
//! * A demand that cannot goes tier by tier to the best attainable wrench ([`crate::Priority`]), then
//!   to the least-squares thrusts within the limits that produce it.
//!
//! Source: docs/allocation.md

use core::array;

use heapless::Vec;

use crate::allocation::{Allocation, RotorLimit};
use crate::box_least_squares::Bounded;
use crate::cut::{Cut, Slabs};
use crate::design::Design;
use crate::direct::{Direct, first};
use crate::facets::{Facet, dot};
use crate::normal_equations::NormalEquations;
use crate::offsets::Offsets;
use crate::plane::Plane;
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;
use crate::segment::sum;
use crate::thrust_curve::ThrustCurve;
use crate::tiers::TierPlan;
use crate::walk::{Craft, Made, Walk, rounding, wrench_of};
use crate::wrench::{Axis, Wrench};

/// A shortfall below this share of what the rotors can do in an axis counts as rounding, in `f32`.
pub const MET_TOL_F32: f64 = 2.0e-6;

/// The same in units of the machine epsilon, for any scalar.
const MET_ULPS: f64 = 16.0;

/// Torque demands beyond this many times what the rotors can do are shortened to it, direction kept,
/// so that no product overflows.
const FARTHEST: f64 = 1.0e6;

/// A validated craft, quantised to the scalar that flies.
///
/// `N`: most rotors. `F`: most facets, [`crate::facet_capacity`]. `P`: most points of a bench table,
/// 0 where thrust goes with the command squared.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixer<S, const N: usize, const F: usize, const P: usize = 0> {
    pub(crate) plan: TierPlan,
    pub(crate) direct: Direct<S, N>,
    /// Where four rotors allow it.
    pub(crate) plane: Option<Plane<S>>,
    pub(crate) rotors: Vec<Bounded<S>, N>,
    /// Of all rotors, failed or not; none where columns are nearly dependent.
    pub(crate) equations: Option<NormalEquations<S>>,
    /// Floor and ceiling of each rotor as designed.
    pub(crate) rated: [(S, S); N],
    pub(crate) units: [S; 4],
    pub(crate) inverse_units: [S; 4],
    pub(crate) facets: Vec<Facet<S>, F>,
    /// Where each facet stands as the ceilings sag.
    pub(crate) offsets: Vec<Offsets<S>, F>,
    pub(crate) failed: RotorSet,
    /// Rotors whose ceiling is no share of the rated one: failed, or with limits of their own.
    pub(crate) apart: RotorSet,
    /// Rotors whose floor is not the designed one.
    pub(crate) floors_apart: RotorSet,
    /// Whether the rotors that work still move four axes independently.
    pub(crate) four_axes_left: bool,
    pub(crate) ceiling_share: S,
    pub(crate) inverse_share: S,
    /// All rotors at their ceilings.
    pub(crate) strength: S,
    /// Demands beyond this are shortened to it.
    farthest: [S; 4],
    /// Shortfalls that count as rounding.
    met_tol: [S; 4],
    /// Of the rotors that exist; the others are never asked for thrust.
    curves: [ThrustCurve<S, P>; N],
    /// Whether the rule of yaw's sign holds, of a design that has it.
    pub(crate) keep_yaw_sign: bool,
}

impl<S: Scalar, const N: usize, const F: usize, const P: usize> Mixer<S, N, F, P> {
    /// Quantises a design. Thrust goes with the command squared until [`Mixer::with_curve`] says
    /// otherwise.
    pub fn new(design: &Design<N, F>) -> Self {
        let matrix = design.effectiveness();
        let units = matrix.units();
        let bounded = |((column, floor), ceiling): ((&[f64; 4], &f64), &f64)| Bounded {
            column: product(column, &units.map(|unit| 1.0 / unit)).map(S::from_f64),
            floor: S::from_f64(*floor),
            ceiling: S::from_f64(*ceiling),
        };
        let (floors, ceilings) = (matrix.floors_n(), matrix.ceilings_n());
        let rotors: Vec<_, N> = gathered(matrix.columns().iter().zip(floors).zip(ceilings).map(bounded));
        let mut rated = [(S::ZERO, S::ZERO); N];
        for (slot, rotor) in rated.iter_mut().zip(&rotors) {
            *slot = (rotor.floor, rotor.ceiling);
        }
        let facets: Vec<_, F> = gathered(design.facets().iter().map(Facet::quantised));
        let reach = reach(matrix.columns(), ceilings);
        let inverse = matrix.pseudo_inverse();
        let plane = |order| Plane::new(order, inverse.get(..rotors.len())?);
        let mut mixer = Mixer {
            plan: *design.plan(),
            direct: Direct::new(&inverse, &rotors),
            plane: design.plan().as_plane().and_then(plane),
            units: units.map(S::from_f64),
            inverse_units: units.map(|unit| S::from_f64(1.0 / unit)),
            offsets: gathered(facets.iter().map(|facet| Offsets::new(facet, &rotors, &rated, RotorSet::EMPTY))),
            facets,
            equations: NormalEquations::new(&rotors, RotorSet::first(rotors.len()), 4),
            rotors,
            rated,
            failed: RotorSet::EMPTY,
            apart: RotorSet::EMPTY,
            floors_apart: RotorSet::EMPTY,
            four_axes_left: true,
            ceiling_share: S::ONE,
            inverse_share: S::ONE,
            strength: S::from_f64(ceilings.iter().sum()),
            farthest: reach.map(|reach| S::from_f64(FARTHEST * reach)),
            met_tol: reach.map(|reach| S::from_f64(MET_ULPS * S::EPSILON.to_f64() * reach)),
            keep_yaw_sign: true,
            curves: array::from_fn(|i| ThrustCurve::square(ceilings.get(i).map_or(S::ONE, |n| S::from_f64(*n)))),
        };
        mixer.place_strips();
        mixer
    }

    /// The strips of four rotors follow limits and facets.
    pub(crate) fn place_strips(&mut self) {
        if let Some(plane) = &mut self.plane {
            plane.set_limits(&self.rotors, &self.facets, self.strength, &self.units);
        }
    }

    /// Gives rotor `rotor` (from 0) a bench table. A rotor that does not exist is ignored.
    #[must_use]
    pub fn with_curve(mut self, rotor: usize, curve: ThrustCurve<S, P>) -> Self {
        let exists = rotor < self.rotors.len();
        if let Some(slot) = self.curves.get_mut(rotor).filter(|_| exists) {
            *slot = curve;
        }
        self
    }

    /// Number of rotors.
    pub fn rotors(&self) -> usize {
        self.rotors.len()
    }

    /// Floor and ceiling of each rotor, newtons, as they are now.
    pub fn limits_n(&self) -> impl Iterator<Item = (S, S)> + '_ {
        self.rotors.iter().map(|rotor| (rotor.floor, rotor.ceiling))
    }

    /// Thrust, roll, pitch and yaw torque of one newton of each rotor.
    pub fn columns(&self) -> impl Iterator<Item = [S; 4]> + '_ {
        self.rotors.iter().map(|rotor| product(&rotor.column, &self.units))
    }

    /// Lowest and highest thrust, newtons, at which roll, pitch and yaw torque can all be zero within the
    /// limits as they are now. Empty (first above second) where that is so at no thrust.
    ///
    /// * Cost: one pass over the facets of all four axes
    pub fn balanced_thrust_n(&self) -> (S, S) {
        let up = Wrench { thrust_n: S::ONE, ..Wrench::default() };
        self.span(Wrench::default(), up)
    }

    /// The wrench that these rotor thrusts make; thrusts left out count as zero.
    pub fn wrench(&self, thrusts_n: &[S]) -> Wrench<S> {
        Wrench::from_array(product(&wrench_of(&self.rotors, thrusts_n), &self.units))
    }

    /// Rotor thrusts for a demand.
    ///
    /// * Input: any wrench; a component that is not finite counts as zero, and so does a thrust below
    ///   zero, both with [`Allocation::invalid_demand`] raised
    /// * Output: every thrust within its limits; the demand is met in full if it can be, otherwise the
    ///   best attainable wrench in the order of priority
    pub fn allocate(&self, demand: Wrench<S>) -> Allocation<S, N> {
        self.answer(demand, None)
    }

    /// The same, with thrust not allowed to rise more than `rise_n` above its demand to make room for
    /// torque: zero on the ground, where more thrust would lift the craft. Roll and pitch then give
    /// way instead. Where not even zero torque can be had that low, the cap is the lowest thrust at
    /// which it can. A rise that is not above zero, or NaN, counts as zero.
    pub fn allocate_with_rise(&self, demand: Wrench<S>, rise_n: S) -> Allocation<S, N> {
        self.answer(demand, Some(rise_n.larger(S::ZERO)))
    }

    /// Rotor thrusts for a demand that can be met with every rotor off its limits, as nearly all are: one product. None
    /// for every other demand, and also where a rotor has failed.
    ///
    /// With [`Mixer::met`] this is [`Mixer::allocate`], for who writes the answer into a larger record and would rather
    /// not copy it. Thrusts of rotors that do not exist are zero.
    #[inline]
    pub fn thrusts_off_the_limits(&self, demand: &Wrench<S>) -> Option<[S; N]> {
        let (thrusts, met) = self.tried(demand);
        met.then_some(thrusts)
    }

    /// The least-squares thrusts, and whether they are the answer and off all limits.
    #[inline(always)]
    fn tried(&self, demand: &Wrench<S>) -> ([S; N], bool) {
        // A NaN fails every comparison, an infinity leaves every limit: no other check is needed here.
        let thrusts = self.direct.thrusts(&demand.to_array());
        let met = self.direct.leaves_room(&thrusts) && demand.thrust_n >= S::ZERO && self.four_axes_left;
        (thrusts, met)
    }

    /// What [`Mixer::allocate`] answers to a demand that has [`Mixer::thrusts_off_the_limits`].
    #[inline]
    pub fn met(&self, demand: Wrench<S>, thrusts_n: [S; N]) -> Allocation<S, N> {
        self.met_with(demand, thrusts_n, [RotorLimit::None; N])
    }

    #[inline]
    fn met_with(&self, demand: Wrench<S>, thrusts_n: [S; N], limits: [RotorLimit; N]) -> Allocation<S, N> {
        Allocation {
            demand,
            achieved: demand,
            limits: first(limits, self.rotors.len()),
            thrusts_n: first(thrusts_n, self.rotors.len()),
            gave_way: None,
            invalid_demand: false,
            passes: 0,
        }
    }

    fn answer(&self, demand: Wrench<S>, rise_n: Option<S>) -> Allocation<S, N> {
        let (thrusts, met) = self.tried(&demand);
        if met { self.met(demand, thrusts) } else { self.answer_at_the_limits(demand, rise_n, &thrusts) }
    }

    #[cold]
    fn answer_at_the_limits(&self, demand: Wrench<S>, rise_n: Option<S>, tried: &[S; N]) -> Allocation<S, N> {
        if self.direct.allows(tried) && demand.thrust_n >= S::ZERO && self.four_axes_left {
            return self.met_with(demand, *tried, self.direct.limits(tried));
        }
        let (demand, invalid_demand) = self.understood(demand);
        let cap = rise_n.map(|rise_n| self.cap(&demand, rise_n));
        let made = self.on_the_plane(&demand, cap).unwrap_or_else(|| self.walked(&demand, cap));
        let achieved = product(&made.wrench, &self.units);
        Allocation {
            demand: Wrench::from_array(demand),
            achieved: Wrench::from_array(achieved),
            limits: first(self.direct.limits(&made.thrusts), self.rotors.len()),
            thrusts_n: first(made.thrusts, self.rotors.len()),
            gave_way: self.plan.first_short(&demand, &achieved, &self.met_tol),
            invalid_demand,
            passes: made.passes,
        }
    }

    /// The best in the plane of four rotors' strips, where thrusts within their limits make what was chosen there.
    pub(crate) fn on_the_plane(&self, demand: &[S; 4], cap: Option<S>) -> Option<Made<S, N>> {
        let plane = self.plane.as_ref().filter(|_| cap.is_none() && self.failed == RotorSet::EMPTY)?;
        let choice = plane.choose(&self.facets, &self.inverse_units, demand, self.keep_yaw_sign)?;
        let mut thrusts = [S::ZERO; N];
        for (thrust, chosen) in thrusts.iter_mut().zip(choice.thrusts) {
            *thrust = chosen;
        }
        self.direct.limit(&mut thrusts);
        let wrench = wrench_of(&self.rotors, &thrusts);
        let off = sum(&product(&choice.wrench, &self.inverse_units), -S::ONE, &wrench);
        off.iter().all(|value| value.abs() <= rounding(self.strength)).then_some(Made::read_off(thrusts, wrench))
    }

    /// Tier by tier along the facets.
    pub(crate) fn walked(&self, demand: &[S; 4], cap: Option<S>) -> Made<S, N> {
        let scaled = product(demand, &self.inverse_units);
        let craft = Craft {
            rotors: &self.rotors,
            equations: &self.equations,
            direct: &self.direct,
            units: &self.units,
            strength: self.strength,
            failed: self.failed,
            as_designed: self.apart.and(self.floors_apart) == RotorSet::EMPTY,
        };
        self.plan.attain(Walk::new(&craft, &self.facets, &scaled, cap), self.keep_yaw_sign)
    }

    /// What thrust may rise to, in units.
    fn cap(&self, [wanted_n, ..]: &[S; 4], rise_n: S) -> S {
        let (lowest_n, highest_n) = self.balanced_thrust_n();
        let lowest_n = if lowest_n <= highest_n { lowest_n } else { S::ZERO };
        let [inverse_unit, ..] = self.inverse_units;
        (*wanted_n + rise_n).larger(lowest_n) * inverse_unit
    }

    /// Commands, 0 to 1, for an allocation's thrusts.
    pub fn commands(&self, allocation: &Allocation<S, N>) -> Vec<S, N> {
        let mut thrusts_n = [S::ZERO; N];
        for (slot, thrust) in thrusts_n.iter_mut().zip(&allocation.thrusts_n) {
            *slot = *thrust;
        }
        first(self.commands_for(&thrusts_n), self.rotors.len())
    }

    /// Commands, 0 to 1, for the thrusts of all rotors; zero where there is no rotor and no thrust.
    #[inline(always)]
    pub fn commands_for(&self, thrusts_n: &[S; N]) -> [S; N] {
        let mut commands = [S::ZERO; N];
        for ((command, curve), thrust) in commands.iter_mut().zip(&self.curves).zip(thrusts_n) {
            *command = curve.command(*thrust * self.inverse_share);
        }
        commands
    }

    /// How far a demand can move from `from` along `direction` and still be met: the interval of `s`
    /// for which `from + s·direction` is attainable. Empty (first above second) when it never is.
    pub fn span(&self, from: Wrench<S>, direction: Wrench<S>) -> (S, S) {
        let full = self.plan.full_run().of(&self.facets);
        let in_units = |wrench: Wrench<S>| product(&wrench.to_array(), &self.inverse_units);
        let (from, direction) = (in_units(from), in_units(direction));
        let beside = |facet: &Facet<S>| {
            dot(&facet.normal, &direction) == S::ZERO && !(facet.off_middle(&from).abs() <= facet.half_width)
        };
        if full.iter().any(beside) {
            return (S::ONE, -S::ONE);
        }
        let mut cut = Cut::unbounded();
        cut.by(Slabs::plain(full), &from, &direction);
        (cut.low, cut.high)
    }

    fn understood(&self, demand: Wrench<S>) -> ([S; 4], bool) {
        let values = demand.to_array();
        // A NaN fails every comparison.
        let mut near = true;
        for (value, farthest) in values.iter().zip(self.farthest) {
            near &= value.abs() <= farthest;
        }
        let [thrust, roll, pitch, yaw] = values;
        match (near, thrust >= S::ZERO) {
            (true, true) => (values, false),
            (true, false) => ([S::ZERO, roll, pitch, yaw], true),
            (false, _) => self.brought_near(values),
        }
    }

    #[cold]
    fn brought_near(&self, values: [S; 4]) -> ([S; 4], bool) {
        let mut invalid = false;
        let mut values = values.map(|value| {
            invalid |= !value.is_finite();
            if value.is_finite() { value } else { S::ZERO }
        });
        let mut times_too_far = S::ONE;
        for ((axis, value), farthest) in Axis::ALL.iter().zip(&mut values).zip(self.farthest) {
            if *axis == Axis::Thrust {
                invalid |= *value < S::ZERO;
                *value = value.limit(S::ZERO, farthest);
            } else if value.abs() > farthest {
                times_too_far = times_too_far.larger(value.abs() / farthest);
            }
        }
        if times_too_far > S::ONE {
            for (axis, value) in Axis::ALL.iter().zip(&mut values) {
                if *axis != Axis::Thrust {
                    *value = *value / times_too_far;
                }
            }
        }
        (values, invalid)
    }
}

/// As many as there is room for, which here is for all: collecting would bring its panic along.
fn gathered<T, const N: usize>(all: impl Iterator<Item = T>) -> Vec<T, N> {
    let mut kept = Vec::new();
    all.take(N).for_each(|one| {
        let _ = kept.push(one);
    });
    kept
}

/// Component by component.
pub(crate) fn product<S: Scalar>(a: &[S; 4], b: &[S; 4]) -> [S; 4] {
    let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (*a, *b);
    [a0 * b0, a1 * b1, a2 * b2, a3 * b3]
}

/// What the rotors could add up to in each axis if they all pushed the same way.
fn reach(columns: &[[f64; 4]], ceilings_n: &[f64]) -> [f64; 4] {
    let mut sum = [0.0; 4];
    for (column, ceiling) in columns.iter().zip(ceilings_n) {
        for (value, share) in sum.iter_mut().zip(column) {
            *value += share.abs() * ceiling;
        }
    }
    sum
}
