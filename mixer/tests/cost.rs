//! The cost table of the documents: complete, and no ratio beyond its target.

#[path = "../benches/targets.rs"]
mod targets;

use targets::{COLUMNS, NOISE, ROTORS, fault};

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
fn keeps_every_target_when_the_table_was_measured() {
    let rows = rows(DOCUMENT);
    assert_eq!(rows.iter().map(|row| row[0] as usize).collect::<Vec<_>>(), ROTORS);
    for row in rows {
        assert_eq!(fault(&row, 0.0), None);
    }
}

#[test]
fn finds_fault_with_a_row_when_a_ratio_breaks_its_target() {
    let sound = [4.0, 1.9, 30.0, 35.0, 1900.0, 1600.0, 1272.0];
    assert_eq!(fault(&sound, 0.0), None);
    for (column, broken) in [(1, 2.01), (1, f64::NAN), (2, 1.5), (3, 29.0), (4, 199.0), (5, 199.0), (5, f64::NAN)] {
        let mut row = sound;
        row[column] = broken;
        assert!(fault(&row, 0.0).is_some(), "{} of {broken}", COLUMNS[column]);
    }
    for (column, noisy, broken) in [(1, 2.19, 2.21), (4, 181.0, 179.0), (5, 181.0, 179.0)] {
        let found = [noisy, broken].map(|value| {
            let mut row = sound;
            row[column] = value;
            fault(&row, NOISE).is_some()
        });
        assert_eq!(found, [false, true], "{}", COLUMNS[column]);
    }
}
