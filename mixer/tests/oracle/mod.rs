//! The same tiers by linear programming: what the mixer's closed form is held against.
//!
//! It shares nothing with the mixer but the effectiveness matrix. Each tier is one or two linear
//! programs, solved in their dual so that complementary slackness tells which rotors every optimum
//! holds at a limit; those are fixed before the next tier. That keeps a chain of programs as sharp as
//! one, where an equality carried over to rounding would not.
//!
//! * Source: D. Bertsimas, J. Tsitsiklis, Introduction to Linear Optimization, 1997, chapter 4 (duality
//!   and complementary slackness; from memory)
#![allow(dead_code, reason = "each test file uses some of this")]

use evenkeel_mixer::Axis;
use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome};

/// A reduced cost above this, with rows scaled to one, holds its rotor at a limit.
const REDUCED_COST_TOL: f64 = 1e-7;
/// The solver's tolerance is absolute, 1e-7: objectives enlarged by this make it 1e-15.
const MAGNIFY: f64 = 1e8;
/// Rows of the free rotors that stand out of the rows before by less than this are dependent.
const ROW_TOL: f64 = 1e-9;
/// Dependent rows agree when they ask for the same to this much.
const CONSISTENT_TOL: f64 = 1e-6;
/// Zero counts as in reach of an interval to this much of the axis.
const ZERO_TOL: f64 = 1e-12;

/// What adds to the wrench: a rotor, the scale of a demand, or the band of yaw.
#[derive(Clone, Copy, Debug)]
struct Generator {
    column: [f64; 4],
    low: f64,
    high: f64,
    pinned: Option<f64>,
}

/// A craft as the linear programs see it, rows scaled to one.
pub struct Oracle {
    rotors: Vec<Generator>,
    scales: [f64; 4],
}

/// The largest objective, and the reduced cost of each generator there.
struct Extreme {
    value: f64,
    reduced_costs: Vec<f64>,
}

impl Oracle {
    pub fn new(columns: &[[f64; 4]], floors: &[f64], ceilings: &[f64]) -> Self {
        let mut scales = [0.0_f64; 4];
        for column in columns {
            for (scale, value) in scales.iter_mut().zip(column) {
                *scale = scale.max(value.abs());
            }
        }
        let rotors = columns
            .iter()
            .zip(floors.iter().zip(ceilings))
            .map(|(column, (low, high))| Generator {
                column: std::array::from_fn(|k| column[k] / scales[k]),
                low: *low,
                high: *high,
                pinned: None,
            })
            .collect();
        Oracle { rotors, scales }
    }

    /// The best attainable wrench, or none where the tiers do not say: a tier of several axes whose
    /// zero is out of reach, or a program that the solver gave up.
    pub fn best(&self, tiers: &[&[Axis]], keep_yaw_sign: bool, demand: [f64; 4]) -> Option<[f64; 4]> {
        self.best_below(tiers, keep_yaw_sign, demand, None)
    }

    /// The same with thrust at most `cap_n`.
    pub fn best_below(
        &self,
        tiers: &[&[Axis]],
        keep_yaw_sign: bool,
        demand: [f64; 4],
        cap_n: Option<f64>,
    ) -> Option<[f64; 4]> {
        let demand: [f64; 4] = std::array::from_fn(|k| demand[k] / self.scales[k]);
        let cap = cap_n.map(|cap_n| Generator {
            column: [-1.0, 0.0, 0.0, 0.0],
            low: 0.0,
            high: cap_n / self.scales[0],
            pinned: None,
        });
        let mut state = State { rotors: self.rotors.clone(), band: None, cap, decided: Vec::new(), wrench: [0.0; 4] };
        for axes in tiers {
            let yaw_to_come = !axes.contains(&Axis::Yaw) && !state.decided.contains(&Axis::Yaw);
            if keep_yaw_sign && axes.contains(&Axis::Thrust) && yaw_to_come {
                state.draw_the_band(demand[3])?;
            }
            match axes {
                [axis] => state.one_axis(*axis, demand[axis.index()])?,
                several => state.along(several, demand)?,
            }
        }
        Some(std::array::from_fn(|k| state.wrench[k] * self.scales[k]))
    }
}

struct State {
    rotors: Vec<Generator>,
    band: Option<Generator>,
    /// Takes up all thrust until thrust is decided.
    cap: Option<Generator>,
    decided: Vec<Axis>,
    wrench: [f64; 4],
}

impl State {
    fn generators(&self) -> Vec<Generator> {
        self.rotors.iter().copied().chain(self.band).chain(self.cap).collect()
    }

    /// Rows that are already fixed; with a band, yaw balances against it.
    fn rows(&self) -> Vec<Axis> {
        let mut rows = self.decided.clone();
        if self.band.is_some() && !rows.contains(&Axis::Yaw) {
            rows.push(Axis::Yaw);
        }
        if self.cap.is_some() {
            rows.push(Axis::Thrust);
        }
        rows
    }

    fn hold(&mut self, reduced_costs: &[f64], sign: f64) {
        for (generator, cost) in
            self.rotors.iter_mut().chain(self.band.as_mut()).chain(self.cap.as_mut()).zip(reduced_costs)
        {
            if generator.pinned.is_none() && cost.abs() > REDUCED_COST_TOL {
                generator.pinned = Some(if cost * sign > 0.0 { generator.high } else { generator.low });
            }
        }
    }

    /// The interval of one axis, and the reduced costs at either end of it.
    fn interval(&self, axis: Axis) -> Option<(Extreme, Extreme)> {
        let generators = self.generators();
        let objective = |sign: f64| -> Vec<f64> {
            let reach =
                |(i, g): (usize, &Generator)| if i < self.rotors.len() { sign * g.column[axis.index()] } else { 0.0 };
            generators.iter().enumerate().map(reach).collect()
        };
        let rows = self.rows();
        let low = largest(&generators, &objective(-1.0), &rows, &self.wrench)?;
        let high = largest(&generators, &objective(1.0), &rows, &self.wrench)?;
        Some((Extreme { value: -low.value, reduced_costs: low.reduced_costs }, high))
    }

    fn draw_the_band(&mut self, wanted: f64) -> Option<()> {
        let (low, high) = self.interval(Axis::Yaw)?;
        let near = |value: f64| value.max(low.value).min(high.value);
        if wanted.min(0.0) > high.value {
            self.hold(&high.reduced_costs, 1.0);
        } else if wanted.max(0.0) < low.value {
            self.hold(&low.reduced_costs, 1.0);
        }
        let (from, to) = (near(wanted.min(0.0)), near(wanted.max(0.0)));
        self.band = Some(Generator { column: [0.0, 0.0, 0.0, -1.0], low: from, high: to.max(from), pinned: None });
        self.wrench[3] = 0.0;
        Some(())
    }

    fn one_axis(&mut self, axis: Axis, wanted: f64) -> Option<()> {
        if axis == Axis::Yaw
            && let Some(band) = self.band.take()
            && let Some(value) = band.pinned
        {
            self.wrench[3] = value;
            self.decided.push(Axis::Yaw);
            return Some(());
        }
        let (low, high) = self.interval(axis)?;
        let value = if wanted > high.value {
            self.hold(&high.reduced_costs, 1.0);
            high.value
        } else if wanted < low.value {
            self.hold(&low.reduced_costs, 1.0);
            low.value
        } else {
            wanted
        };
        if axis == Axis::Thrust {
            self.cap = None;
        }
        self.wrench[axis.index()] = value;
        self.decided.push(axis);
        Some(())
    }

    fn along(&mut self, axes: &[Axis], demand: [f64; 4]) -> Option<()> {
        if axes.contains(&Axis::Yaw) {
            self.band = None;
        }
        let mut column = [0.0; 4];
        for axis in axes {
            column[axis.index()] = -demand[axis.index()];
        }
        let mut generators = self.generators();
        generators.push(Generator { column, low: -1.0, high: 1.0, pinned: None });
        let mut objective = vec![0.0; generators.len()];
        *objective.last_mut()? = 1.0;
        let mut rows = self.rows();
        rows.extend(axes);
        let best = largest(&generators, &objective, &rows, &self.wrench)?;
        // Zero itself must be attainable for a scale to mean anything.
        let zero = [Generator { pinned: Some(0.0), ..*generators.last()? }];
        let at_zero: Vec<Generator> = self.generators().into_iter().chain(zero).collect();
        largest(&at_zero, &vec![0.0; at_zero.len()], &rows, &self.wrench)?;
        if best.value < -ZERO_TOL {
            return None;
        }
        let scale = best.value.clamp(0.0, 1.0);
        if best.value < 1.0 {
            self.hold(&best.reduced_costs, 1.0);
        }
        for axis in axes {
            self.wrench[axis.index()] = scale * demand[axis.index()];
        }
        self.decided.extend(axes);
        Some(())
    }
}

/// Largest `objective` over the generators within their limits that reach `wrench` in these rows.
///
/// * Math: min over y of v·y + Σ max(lowᵢ rᵢ, highᵢ rᵢ), rᵢ = gᵢ − y·bᵢ: the dual, always feasible
fn largest(generators: &[Generator], objective: &[f64], rows: &[Axis], wrench: &[f64; 4]) -> Option<Extreme> {
    let mut rest = *wrench;
    let mut fixed = 0.0;
    for (generator, gain) in generators.iter().zip(objective) {
        if let Some(value) = generator.pinned {
            fixed += gain * value;
            for (left, share) in rest.iter_mut().zip(generator.column) {
                *left -= share * value;
            }
        }
    }
    let rows = independent(generators, rows, &rest)?;
    let mut dual = Problem::new(OptimizationDirection::Minimize);
    let y: Vec<_> =
        rows.iter().map(|axis| dual.add_var(rest[axis.index()], (f64::NEG_INFINITY, f64::INFINITY))).collect();
    let mut sides = Vec::new();
    for (generator, gain) in generators.iter().zip(objective) {
        if generator.pinned.is_some() {
            sides.push(None);
            continue;
        }
        let up = dual.add_var(generator.high, (0.0, f64::INFINITY));
        let down = dual.add_var(-generator.low, (0.0, f64::INFINITY));
        let mut terms = vec![(up, 1.0), (down, -1.0)];
        terms.extend(rows.iter().zip(&y).map(|(axis, y)| (*y, generator.column[axis.index()])));
        dual.add_constraint(&terms, ComparisonOp::Eq, MAGNIFY * *gain);
        sides.push(Some((up, down)));
    }
    let SolveOutcome::Solution(solution) = dual.solve().ok()? else { return None };
    let reduced_costs = sides
        .iter()
        .map(|side| side.map_or(0.0, |(up, down)| (solution.var_value(up) - solution.var_value(down)) / MAGNIFY))
        .collect();
    Some(Extreme { value: fixed + solution.objective() / MAGNIFY, reduced_costs })
}

/// Rows that do not depend on each other over the generators still free: Gram-Schmidt. None where a
/// row that depends on others asks for something else than they give.
fn independent(generators: &[Generator], rows: &[Axis], rest: &[f64; 4]) -> Option<Vec<Axis>> {
    let mut basis: Vec<(Vec<f64>, f64)> = Vec::new();
    let mut kept = Vec::new();
    for axis in rows {
        let free = |g: &Generator| if g.pinned.is_none() { g.column[axis.index()] } else { 0.0 };
        let mut row: Vec<f64> = generators.iter().map(free).collect();
        let mut wanted = rest[axis.index()];
        for (direction, given) in basis.iter().chain(&basis) {
            let share: f64 = row.iter().zip(direction).map(|(a, b)| a * b).sum();
            row.iter_mut().zip(direction).for_each(|(a, b)| *a -= share * b);
            wanted -= share * given;
        }
        let length = row.iter().map(|a| a * a).sum::<f64>().sqrt();
        if length > ROW_TOL {
            basis.push((row.iter().map(|a| a / length).collect(), wanted / length));
            kept.push(*axis);
        } else if wanted.abs() > CONSISTENT_TOL {
            return None;
        }
    }
    Some(kept)
}
