//! The checks that run on the board, run here; and what they said there, when `.ci/run board` has run them.

use std::fmt::Write as _;

use evenkeel_checks::{CHECKS, Check};
use evenkeel_tests::document::read;

fn checks() -> impl Iterator<Item = &'static Check> {
    CHECKS.iter().copied().flatten()
}

#[test]
fn every_check_of_the_board_holds_here() {
    for check in checks() {
        assert!(check.run().0, "{}", check.name);
    }
    assert!(checks().count() >= 20);
}

#[test]
#[ignore = "`.ci/run board` runs them on the emulated board first"]
fn every_check_holds_on_the_board_and_sees_the_same_bits() {
    let mut here = String::from("check,holds,seen\n");
    for check in checks() {
        let _ = writeln!(here, "{},true,{:08x}", check.name, check.run().1);
    }
    let there = read("target/firmware/checks.csv");
    for (here, there) in here.lines().zip(there.lines()) {
        assert_eq!(there, here, "on the board, and here");
    }
    assert_eq!(there, here);
}
