//! The cost table's shape, for the bench that writes it and the test that reads it.

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
