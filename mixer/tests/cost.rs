//! The cost table of the documents: complete, and in the order of its columns. Its ratios are of the clock of one machine on
//! one day, and no test holds them to anything; what an allocation may cost is held by counted instructions
//! (`tests/tests/measured.rs`).

#[path = "../benches/table.rs"]
mod table;

use table::{COLUMNS, ROTORS};

const DOCUMENT: &str = include_str!("../../docs/allocation_cost.md");

fn rows(document: &str) -> Vec<[f64; COLUMNS.len()]> {
    let lines = document.lines().filter(|line| line.starts_with('|'));
    let cells =
        |line: &str| -> Vec<String> { line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect() };
    let mut lines = lines.map(cells);
    assert_eq!(lines.next().expect("a table"), COLUMNS, "written anew by BLESS=1 cargo bench -p evenkeel-mixer");
    let number = |cell: &String| cell.parse().unwrap_or_else(|_| panic!("{cell} is no number"));
    let row = |cells: Vec<String>| -> [f64; COLUMNS.len()] {
        cells.iter().map(number).collect::<Vec<f64>>().try_into().expect("as many cells as columns")
    };
    lines.skip(1).map(row).collect()
}

#[test]
fn has_a_positive_number_in_every_cell_when_the_table_was_written() {
    let rows = rows(DOCUMENT);
    assert_eq!(rows.iter().map(|row| row[0] as usize).collect::<Vec<_>>(), ROTORS);
    for row in rows {
        assert!(row.iter().all(|value| *value > 0.0 && value.is_finite()), "{row:?}");
    }
}
