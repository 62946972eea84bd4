//! Least effort and nearest attainable points, by a general quadratic programming solver.
#![allow(dead_code, reason = "each test file uses some of this")]

use clarabel::algebra::CscMatrix;
use clarabel::solver::{DefaultSettings, DefaultSolver, IPSolver, SolverStatus, SupportedConeT};

/// Minimises the sum of squares over thrusts within the limits that make `wrench`, rows scaled to one.
pub fn least_effort(columns: &[[f64; 4]], floors: &[f64], ceilings: &[f64], wrench: [f64; 4]) -> Option<Vec<f64>> {
    let count = columns.len();
    let scale = |k: usize| columns.iter().map(|column| column[k].abs()).fold(0.0, f64::max);
    let scales: [f64; 4] = std::array::from_fn(scale);
    // Row by row: 4 of the wrench, then thrust ≤ ceiling, then −thrust ≤ −floor.
    let (mut rows, mut places, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for (i, column) in columns.iter().enumerate() {
        let entries = (0..4).map(|k| (k, column[k] / scales[k])).chain([(4 + i, 1.0), (4 + count + i, -1.0)]);
        for (row, value) in entries {
            rows.push(row);
            places.push(i);
            values.push(value);
        }
    }
    let constraints = CscMatrix::new_from_triplets(4 + 2 * count, count, rows, places, values);
    let bounds: Vec<f64> = (0..4)
        .map(|k| wrench[k] / scales[k])
        .chain(ceilings.iter().copied())
        .chain(floors.iter().map(|floor| -floor))
        .collect();
    let cones = [SupportedConeT::ZeroConeT(4), SupportedConeT::NonnegativeConeT(2 * count)];
    let effort = CscMatrix::identity(count);
    let mut solver = DefaultSolver::new(&effort, &vec![0.0; count], &constraints, &bounds, &cones, sharp()).ok()?;
    solver.solve();
    let solved = matches!(solver.solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved);
    solved.then(|| solver.solution.x.clone())
}

/// What an answer is held to besides the limits of thrusts.
#[derive(Clone, Default)]
pub struct Held {
    /// Axes that stay at theirs.
    pub axes: Vec<usize>,
    /// Axes that stay between two values.
    pub strips: Vec<(usize, f64, f64)>,
}

/// Of what thrusts within the limits make in the axes `near`, the point nearest to `wanted`, while the
/// axes held stay at theirs. Distances in `units`.
pub fn nearest(
    columns: &[[f64; 4]],
    limits: (&[f64], &[f64]),
    units: [f64; 4],
    (near, held): (&[usize], &Held),
    wanted: [f64; 4],
) -> Option<[f64; 4]> {
    let count = columns.len();
    let entry = |i: usize, axis: usize| columns[i][axis] / units[axis];
    // ½·u·P·u + q·u with P = AᵀA, q = −Aᵀw over the rows that shall come near.
    let square = |i: usize, j: usize| near.iter().map(|axis| entry(i, *axis) * entry(j, *axis)).sum::<f64>();
    let pull = |i: usize| -near.iter().map(|axis| entry(i, *axis) * wanted[*axis] / units[*axis]).sum::<f64>();
    let linear: Vec<f64> = (0..count).map(pull).collect();
    let thrusts = solved(columns, limits, units, (&square, &linear), (held, wanted))?;
    Some(std::array::from_fn(|axis| columns.iter().zip(&thrusts).map(|(column, u)| column[axis] * u).sum()))
}

/// What the thrusts nearest to half way make that keep the limits and what is held.
pub fn middle(
    columns: &[[f64; 4]],
    (floors, ceilings): (&[f64], &[f64]),
    units: [f64; 4],
    held: &Held,
    wanted: [f64; 4],
) -> Option<[f64; 4]> {
    let square = |i: usize, j: usize| f64::from(u8::from(i == j));
    let linear: Vec<f64> = floors.iter().zip(ceilings).map(|(low, high)| -0.5 * (low + high)).collect();
    let thrusts = solved(columns, (floors, ceilings), units, (&square, &linear), (held, wanted))?;
    Some(std::array::from_fn(|axis| columns.iter().zip(&thrusts).map(|(column, u)| column[axis] * u).sum()))
}

/// Thrusts that minimise ½·u·P·u + q·u within the limits and what is held.
fn solved(
    columns: &[[f64; 4]],
    (floors, ceilings): (&[f64], &[f64]),
    units: [f64; 4],
    (square, linear): (&dyn Fn(usize, usize) -> f64, &[f64]),
    (held, wanted): (&Held, [f64; 4]),
) -> Option<Vec<f64>> {
    let count = columns.len();
    let entry = |i: usize, axis: usize| columns[i][axis] / units[axis];
    // Upper triangle.
    let (mut rows, mut places, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for j in 0..count {
        for i in 0..=j {
            rows.push(i);
            places.push(j);
            values.push(square(i, j));
        }
    }
    let square = CscMatrix::new_from_triplets(count, count, rows, places, values);
    let (equal, within) = (held.axes.len(), held.strips.len());
    let (mut rows, mut places, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for i in 0..count {
        let fixed = held.axes.iter().enumerate().map(|(row, axis)| (row, entry(i, *axis)));
        let limits = [(equal + i, 1.0), (equal + count + i, -1.0)];
        let strips = held.strips.iter().enumerate().flat_map(|(row, (axis, _, _))| {
            let first = equal + 2 * count + 2 * row;
            [(first, entry(i, *axis)), (first + 1, -entry(i, *axis))]
        });
        for (row, value) in fixed.chain(limits).chain(strips) {
            rows.push(row);
            places.push(i);
            values.push(value);
        }
    }
    let height = equal + 2 * count + 2 * within;
    let constraints = CscMatrix::new_from_triplets(height, count, rows, places, values);
    let fixed = held.axes.iter().map(|axis| wanted[*axis] / units[*axis]);
    let strips = held.strips.iter().flat_map(|(axis, low, high)| [high / units[*axis], -low / units[*axis]]);
    let limits = ceilings.iter().copied().chain(floors.iter().map(|floor| -floor));
    let bounds: Vec<f64> = fixed.chain(limits).chain(strips).collect();
    let cones = [SupportedConeT::ZeroConeT(equal), SupportedConeT::NonnegativeConeT(2 * count + 2 * within)];
    let mut solver = DefaultSolver::new(&square, linear, &constraints, &bounds, &cones, sharp()).ok()?;
    solver.solve();
    // Almost solved is not sharp enough here.
    (solver.solution.status == SolverStatus::Solved).then(|| solver.solution.x.clone())
}

fn sharp() -> DefaultSettings<f64> {
    DefaultSettings {
        verbose: false,
        tol_gap_abs: 1e-12,
        tol_gap_rel: 1e-12,
        tol_feas: 1e-11,
        ..DefaultSettings::default()
    }
}
