//! Whatever bytes stand in a file, reading it ends with a value or a message, never a panic.

use evenkeel::craft::Craft;
use evenkeel::file::{parse_craft, parse_flight, read_craft};
use proptest::prelude::*;

const RING: &str = include_str!("files/ring.toml");
const LIST: &str = include_str!("files/list.toml");
const FLIGHT: &str = include_str!("files/flight.toml");

/// Values that TOML has and a craft has not.
const ODD: [&str; 20] = [
    "nan",
    "-inf",
    "+inf",
    "-0.0",
    "5e-324",
    "1.7e308",
    "1e999",
    "9223372036854775807",
    "99999999999999999999",
    "0x10",
    "\"\"",
    "\"é\\u0000\"",
    "[]",
    "[[]]",
    "[1, \"a\"]",
    "{}",
    "{ xx = 1 }",
    "true",
    "1979-05-27",
    "'''\n\n'''",
];

fn ring() -> Craft {
    parse_craft("ring.toml", RING).unwrap()
}

/// Reads `text` both ways and holds every message to its form.
fn read_both(text: &str) {
    let craft = parse_craft("any.toml", text).map(|craft| {
        let rotors = craft.rotors.iter();
        assert!(rotors.clone().all(|rotor| rotor.thrust_min_n < rotor.thrust_max_n && rotor.response_time_s > 0.0));
        assert!(rotors.flat_map(|rotor| rotor.position_m.iter().chain(&rotor.axis)).all(|value| value.is_finite()));
    });
    let flight = parse_flight("any.toml", text, &ring()).map(|flight| {
        assert!(flight.duration_s / flight.log_period_s <= evenkeel::file::MAX_LOG_ROWS);
        assert!(flight.legs.windows(2).all(|pair| pair[0].until_s < pair[1].until_s));
    });
    for error in [craft.err(), flight.err()].into_iter().flatten() {
        let message = error.to_string();
        assert!(message.starts_with("any.toml:"), "{message}");
        assert!(message.chars().all(|c| c == '\n' || !c.is_control()), "{message:?}");
        assert!(message.lines().count() <= 4, "{message}");
        if let (Some(line), Some(column)) = (error.line(), error.column()) {
            assert!(line >= 1 && line <= text.lines().count() + 1, "{message}");
            assert!(column >= 1 && column <= text.lines().nth(line - 1).unwrap_or("").chars().count() + 1, "{message}");
        }
    }
}

/// Where a text is not closed before the end of a line, the place is between CR and LF.
#[test]
fn points_into_the_line_when_it_ends_in_cr_lf() {
    read_both("[craft]\r\nname = \"ring\r\n");
}

proptest! {
    #[test]
    fn ends_with_a_message_when_a_file_holds_any_bytes(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("any.toml");
        std::fs::write(&path, &bytes).unwrap();
        prop_assert!(read_craft(&path).is_err());
        read_both(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn never_panics_when_bytes_of_a_good_file_change(
        which in 0..3usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0..4u8), 1..6),
    ) {
        let mut bytes = [RING, LIST, FLIGHT][which].as_bytes().to_vec();
        for (index, byte, kind) in changes {
            let at = index.index(bytes.len());
            match kind {
                0 => bytes[at] = byte,
                1 => bytes.insert(at, byte),
                2 => bytes.truncate(at.max(1)),
                _ => { bytes.remove(at); }
            }
            if bytes.is_empty() { bytes.push(b'#') }
        }
        read_both(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn never_panics_when_values_of_a_good_file_are_odd(
        which in 0..3usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0..ODD.len()), 1..4),
    ) {
        let mut lines: Vec<String> = [RING, LIST, FLIGHT][which].lines().map(String::from).collect();
        for (index, odd) in changes {
            let at = index.index(lines.len());
            if let Some((key, _)) = lines[at].clone().split_once('=') {
                lines[at] = format!("{key}= {}", ODD[odd]);
            }
        }
        read_both(&lines.join("\n"));
    }

    #[test]
    fn never_panics_when_lines_of_good_files_are_shuffled_together(
        picks in prop::collection::vec(any::<prop::sample::Index>(), 1..40),
    ) {
        let lines: Vec<&str> = [RING, LIST, FLIGHT].iter().flat_map(|text| text.lines()).collect();
        let mixed: Vec<&str> = picks.iter().map(|pick| lines[pick.index(lines.len())]).collect();
        read_both(&format!("format = 1\nname = \"mix\"\n{}", mixed.join("\n")));
    }
}

#[test]
fn does_not_run_out_of_stack_when_a_file_nests_without_end() {
    let many = 100_000;
    for text in [
        format!("a{} = 1", ".a".repeat(many)),
        format!("[a{}]", ".a".repeat(many)),
        format!("a = {}", "[".repeat(many)),
        format!("a = {}{}", "[".repeat(many), "]".repeat(many)),
        format!("a = {}", "{a=".repeat(many)),
    ] {
        assert!(parse_craft("deep.toml", &text).is_err());
    }
}
