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

/// Of what thrusts within the limits make in the axes `near`, the point nearest to `wanted`, while the
/// axes `held` stay at theirs. Distances in `units`.
pub fn nearest(
    columns: &[[f64; 4]],
    limits: (&[f64], &[f64]),
    units: [f64; 4],
    (near, held): (&[usize], &[usize]),
    wanted: [f64; 4],
) -> Option<[f64; 4]> {
    let (floors, ceilings) = limits;
    let count = columns.len();
    let entry = |i: usize, axis: usize| columns[i][axis] / units[axis];
    // ½·u·P·u + q·u with P = AᵀA, q = −Aᵀw over the rows that shall come near; upper triangle.
    let (mut rows, mut places, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for j in 0..count {
        for i in 0..=j {
            rows.push(i);
            places.push(j);
            values.push(near.iter().map(|axis| entry(i, *axis) * entry(j, *axis)).sum());
        }
    }
    let square = CscMatrix::new_from_triplets(count, count, rows, places, values);
    let pull = |i: usize| -near.iter().map(|axis| entry(i, *axis) * wanted[*axis] / units[*axis]).sum::<f64>();
    let linear: Vec<f64> = (0..count).map(pull).collect();
    let (mut rows, mut places, mut values) = (Vec::new(), Vec::new(), Vec::new());
    for i in 0..count {
        let equal = held.iter().enumerate().map(|(row, axis)| (row, entry(i, *axis)));
        for (row, value) in equal.chain([(held.len() + i, 1.0), (held.len() + count + i, -1.0)]) {
            rows.push(row);
            places.push(i);
            values.push(value);
        }
    }
    let constraints = CscMatrix::new_from_triplets(held.len() + 2 * count, count, rows, places, values);
    let equal = held.iter().map(|axis| wanted[*axis] / units[*axis]);
    let bounds: Vec<f64> = equal.chain(ceilings.iter().copied()).chain(floors.iter().map(|floor| -floor)).collect();
    let cones = [SupportedConeT::ZeroConeT(held.len()), SupportedConeT::NonnegativeConeT(2 * count)];
    let mut solver = DefaultSolver::new(&square, &linear, &constraints, &bounds, &cones, sharp()).ok()?;
    solver.solve();
    if !matches!(solver.solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved) {
        return None;
    }
    let thrusts = &solver.solution.x;
    Some(std::array::from_fn(|axis| columns.iter().zip(thrusts).map(|(column, u)| column[axis] * u).sum()))
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
