//! What the ratios of the cost table are held to, by the bench that measures them and the test that reads them.

/// A demand that can be met, against the bare product and clamp: at most.
pub const MET_AT_MOST: f64 = 2.0;
/// A general quadratic programming solver, against a demand that saturates: at least.
pub const SOLVER_AT_LEAST: f64 = 200.0;
/// What another program on the machine may add to a ratio: a quick run, which is a gate, fails past the target by more
/// than this share. What is written down keeps the target itself.
pub const NOISE: f64 = 0.1;
/// Of the table, in this order, one row for each number of rotors.
pub const COLUMNS: [&str; 7] = [
    "rotors",
    "met / product",
    "saturated / product",
    "worst / product",
    "solver / saturated",
    "solver / worst",
    "`Mixer`, bytes",
];
/// Numbers of rotors measured.
pub const ROTORS: [usize; 3] = [4, 6, 8];

/// What is wrong with a row, if anything, where a ratio may miss its target by a share of it.
pub fn fault(row: &[f64; COLUMNS.len()], noise: f64) -> Option<String> {
    let [rotors, met, saturated, worst, by_saturated, by_worst, _] = *row;
    // Written so that what is no number is at fault.
    if !(met > 0.0 && met <= (1.0 + noise) * MET_AT_MOST) {
        return Some(format!("{rotors} rotors: a demand that is met costs {met} products, more than {MET_AT_MOST}"));
    }
    let least = (1.0 - noise) * SOLVER_AT_LEAST;
    if !(by_saturated >= least && by_worst >= least) {
        return Some(format!("{rotors} rotors: a solver takes {by_worst} times as long, not {SOLVER_AT_LEAST}"));
    }
    if !(worst >= saturated && saturated > met) {
        return Some(format!("{rotors} rotors: the worst, {worst}, below the usual, {saturated}, or that below {met}"));
    }
    None
}
