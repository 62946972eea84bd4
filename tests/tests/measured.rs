//! What was counted on the emulated board: held to what docs/measured.md says, and an allocation to its targets.

use evenkeel_tests::document::{Document, read};

/// Instructions of a demand that is met, over those of the bare product and clamp, at most. A choice of this project, as are
/// the others.
const MET_AT_MOST: f64 = 2.0;
/// The same for the worst demand at the limits.
const WORST_AT_MOST: [(&str, f64); 3] = [("quad", 20.0), ("flat eight", 100.0), ("coaxial eight", 100.0)];
/// Crafts that are counted.
const CRAFTS: usize = 5;

/// Instructions of one craft's allocations.
struct Counted<'a> {
    craft: &'a str,
    product: f64,
    met: f64,
    worst: f64,
}

/// The rows of the table of allocations.
fn allocations(text: &str) -> Vec<Counted<'_>> {
    let table = text.lines().skip_while(|line| !line.starts_with("| craft | product and clamp | demand met |")).skip(2);
    let row = |line| {
        let cells: Vec<&str> = str::trim_matches(line, '|').split('|').map(str::trim).collect();
        let [craft, product, met, _, _, _, worst, ..] = cells[..] else { panic!("too few cells: {line}") };
        let count = |cell: &str| cell.parse().unwrap_or_else(|_| panic!("{cell} is no count: {line}"));
        Counted { craft, product: count(product), met: count(met), worst: count(worst) }
    };
    table.take_while(|line| line.starts_with('|')).map(row).collect()
}

/// What misses its target, said.
fn missed(rows: &[Counted<'_>]) -> Vec<String> {
    let mut missed = Vec::new();
    for Counted { craft, product, met, worst } in rows {
        let worst_at_most =
            WORST_AT_MOST.iter().find(|(name, _)| name == craft).map_or(f64::INFINITY, |(_, most)| *most);
        for (what, count, most) in [("a demand met", met, MET_AT_MOST), ("the worst demand", worst, worst_at_most)] {
            // Written so that what is no number misses.
            if !(*product > 0.0 && *count > 0.0 && count / product <= most) {
                missed.push(format!("{craft}: {what} costs {count} instructions, a product {product}; at most {most}"));
            }
        }
    }
    missed
}

fn hold_to_targets(text: &str) {
    let rows = allocations(text);
    assert_eq!(rows.len(), CRAFTS, "a row for each craft");
    for (craft, _) in WORST_AT_MOST {
        assert!(rows.iter().any(|row| row.craft == craft), "{craft} is counted");
    }
    assert_eq!(missed(&rows), Vec::<String>::new());
}

#[test]
#[ignore = "`.ci/run counts` counts on the emulated board first"]
fn says_what_the_emulator_counted_when_costs_are_read() {
    let counted = read("target/firmware/counts.md");
    // A ratio of counts under one compiler: held under any.
    hold_to_targets(&counted);
    let compiler = counted.lines().find(|line| line.starts_with("Compiler:")).expect("the counter names its compiler");
    if std::env::var_os("BLESS").is_none() && !read("docs/measured.md").contains(compiler) {
        // Other instructions, and no fault of the code: the table waits for somebody to bless it.
        println!("docs/measured.md was counted with another compiler than this, nothing is compared. {compiler}");
        return;
    }
    let mut docs = Document::open("docs/measured.md");
    docs.set_block("counts", &counted);
    docs.set_block("flash", &read("target/firmware/flash.md"));
    docs.settle();
}

#[test]
fn allocation_keeps_its_targets_when_instructions_are_counted() {
    hold_to_targets(&read("docs/measured.md"));
}

#[test]
fn finds_what_misses_when_a_count_is_beyond_its_target() {
    let counted = |craft, met, worst| Counted { craft, product: 100.0, met, worst };
    for (row, faults) in [
        (counted("quad", 200.0, 2000.0), 0),
        (counted("quad", 201.0, 2000.0), 1),
        (counted("quad", 200.0, 2001.0), 1),
        (counted("flat six", 201.0, 9.0e9), 1),
        (counted("coaxial eight", f64::NAN, 10_001.0), 2),
        (counted("flat eight", 0.0, 10_000.0), 1),
    ] {
        let said = missed(&[row]);
        assert_eq!(said.len(), faults, "{said:?}");
    }
}
