//! The thrusts of least effort within the limits, by a general quadratic programming solver.

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
    let settings = DefaultSettings {
        verbose: false,
        tol_gap_abs: 1e-12,
        tol_gap_rel: 1e-12,
        tol_feas: 1e-11,
        ..DefaultSettings::default()
    };
    let effort = CscMatrix::identity(count);
    let mut solver = DefaultSolver::new(&effort, &vec![0.0; count], &constraints, &bounds, &cones, settings).ok()?;
    solver.solve();
    let solved = matches!(solver.solution.status, SolverStatus::Solved | SolverStatus::AlmostSolved);
    solved.then(|| solver.solution.x.clone())
}
