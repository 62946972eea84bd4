//! `constants`, and `fly` and `watch` with a board, as a user meets them: a serial device, which is a pseudo-terminal, and
//! behind it a board that answers as told.
#![cfg(target_os = "linux")]

#[allow(dead_code, reason = "shared with other tests")]
mod command_line;

use std::fs::{self, File};
use std::io::{ErrorKind, Read, Write};
use std::thread::JoinHandle;
use std::time::Duration;

use command_line::{Answer, Bench};
use evenkeel::board::craft_fingerprint;
use evenkeel::demo;
use evenkeel_controller::link::{
    Arithmetic, Fingerprint, FrameReader, FromBoard, PROTOCOL, Received, ToBoard, Welcome, encode,
    frame_from_board_max, frame_to_board_max,
};
use heapless::Vec as Frame;
use rustix::fs::{OFlags, fcntl_setfl};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

const GRAVITY: f64 = 9.806_65;

/// What the board does instead of flying.
#[derive(Clone, Copy, PartialEq)]
enum Then {
    /// It never says a word.
    Silent,
    /// It says something else.
    Garbage,
    /// It speaks another version of the link.
    Version,
    /// It flies another craft.
    Craft,
    /// It begins; at the first step its cable is pulled.
    Pulled,
    /// It begins, and never answers a step.
    Stuck,
}

struct Board {
    device: String,
    /// Whether the host said that the flight is over, and the cable was still there to say it.
    ended: JoinHandle<bool>,
}

fn board(then: Then) -> Board {
    // Closed in the commands that tests start, or pulling it here would not be the end of it.
    let end = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).expect("a pseudo-terminal");
    grantpt(&end).and_then(|()| unlockpt(&end)).expect("the host may open it");
    fcntl_setfl(&end, OFlags::RDWR | OFlags::NONBLOCK).expect("reading does not wait");
    let device = ptsname(&end, Vec::new()).expect("its name").into_string().expect("a plain name");
    Board { device, ended: std::thread::spawn(move || answer(File::from(end), then)) }
}

/// Answers until the host has gone, or the cable is pulled.
fn answer(mut end: File, then: Then) -> bool {
    let mut reader = FrameReader::<{ frame_to_board_max(4) }>::new();
    let (mut heard, mut ended) = (false, false);
    loop {
        let mut bytes = [0; 256];
        let count = match end.read(&mut bytes) {
            Ok(count) => count,
            Err(error) if error.kind() == ErrorKind::WouldBlock || !heard => {
                std::thread::sleep(Duration::from_millis(1));
                continue;
            }
            Err(_) => return ended,
        };
        heard = true;
        for byte in &bytes[..count] {
            let Received::Message(message) = reader.push::<ToBoard<f32, 4>>(*byte) else { continue };
            ended |= message == ToBoard::End;
            match reply(&message, then) {
                Some(bytes) => end.write_all(&bytes).expect("the host listens"),
                None if then == Then::Pulled && !matches!(message, ToBoard::End) => return ended,
                None => {}
            }
        }
    }
}

fn reply(message: &ToBoard<f32, 4>, then: Then) -> Option<Vec<u8>> {
    let craft = demo::quad().expect("the demo craft");
    let Fingerprint(ours) = craft_fingerprint(&craft, GRAVITY).expect("it flies");
    let welcome = |protocol, fingerprint| {
        let name = craft.name.as_str().try_into().expect("a short name");
        FromBoard::Welcome(Welcome { protocol, arithmetic: Arithmetic::F32, rotors: 4, fingerprint, name })
    };
    let answer: FromBoard<f32, 4> = match (message, then) {
        (_, Then::Silent) => return None,
        (_, Then::Garbage) => return Some(b"ok\0\x07never heard of it\0".to_vec()),
        (ToBoard::Hello(_), Then::Version) => welcome(PROTOCOL + 1, Fingerprint(ours)),
        (ToBoard::Hello(_), Then::Craft) => welcome(PROTOCOL, Fingerprint(ours ^ 1)),
        (ToBoard::Hello(_), _) => welcome(PROTOCOL, Fingerprint(ours)),
        (ToBoard::Begin(_), _) => FromBoard::Begun,
        _ => return None,
    };
    let mut frame = Frame::<u8, { frame_from_board_max(4) }>::new();
    Some(encode(&answer, &mut frame).expect("it fits").to_vec())
}

/// Runs a command with a board; the answer, and whether the board was told of the end.
fn with_board(then: Then, typed: &[&str]) -> (Bench, Answer, bool) {
    let bench = Bench::new();
    let board = board(then);
    let mut typed = typed.to_vec();
    typed.extend(["--board", &board.device]);
    let answer = bench.run(&typed);
    assert_eq!(answer.out, "", "nothing but a message: {answer:?}");
    assert!(answer.err.starts_with(&format!("evenkeel: --board {}: ", board.device)), "{answer:?}");
    (bench, answer, board.ended.join().expect("the board does not panic"))
}

const BEFORE: [(Then, &str); 4] = [
    (Then::Silent, "silent for 2 s at the first word; check power, cable and baud rate"),
    (Then::Garbage, "are no whole frame; check the baud rate"),
    (Then::Version, "build both from the same source"),
    (Then::Craft, "the board flies another craft: \"four-arm survey craft\""),
];

#[test]
fn fly_exits_2_when_what_is_on_the_serial_device_is_not_the_board_asked_for() {
    for (then, words) in BEFORE {
        let (bench, answer, _) = with_board(then, &["fly", "quad.toml", "flight.toml", "--log", "log.csv"]);
        assert!(answer.status == 2 && answer.err.contains(words), "{words}: {answer:?}");
        assert!(!bench.path("log.csv").exists(), "{words}: no log of a flight that was none");
    }
}

#[test]
fn watch_exits_2_when_what_is_on_the_serial_device_is_not_the_board_asked_for() {
    for (then, words) in BEFORE.into_iter().filter(|(then, _)| *then != Then::Craft) {
        let (_, answer, _) = with_board(then, &["watch", "quad.toml"]);
        assert!(answer.status == 2 && answer.err.contains(words), "{words}: {answer:?}");
    }
}

#[test]
fn fly_exits_3_without_a_log_when_the_serial_device_goes_away_in_flight() {
    let (bench, answer, _) = with_board(Then::Pulled, &["fly", "quad.toml", "flight.toml", "--log", "log.csv"]);
    assert_eq!(answer.status, 3, "{answer:?}");
    assert!(answer.err.contains("the link broke at step 0, 0 s into the flight"), "{answer:?}");
    assert!(!bench.path("log.csv").exists());
}

#[test]
fn fly_exits_3_and_tells_the_board_of_the_end_when_it_stops_answering() {
    let (bench, answer, ended) = with_board(Then::Stuck, &["fly", "quad.toml", "flight.toml", "--log", "log.csv"]);
    assert_eq!(answer.status, 3, "{answer:?}");
    assert!(answer.err.contains("silent for 2 s at step 0, 0 s into the flight"), "{answer:?}");
    assert!(ended, "the board is told that it is over");
    assert!(!bench.path("log.csv").exists());
}

#[test]
fn watch_tells_the_board_of_the_end_when_no_record_comes() {
    let bench = Bench::new();
    let board = board(Then::Stuck);
    let answer = bench.run(&["watch", "quad.toml", "--board", &board.device]);
    assert_eq!(answer.status, 2, "nothing was seen yet: {answer:?}");
    assert!(answer.err.contains("silent for 2 s at the begin of the flight"), "{answer:?}");
    assert!(board.ended.join().expect("the board does not panic"), "the board is told that it is over");
}

#[test]
fn watch_says_what_is_wrong_when_it_is_asked_for_too_much() {
    let bench = Bench::new();
    for (typed, words) in [
        (&["--seconds", "0"][..], "--seconds 0: must be above 0"),
        (&["--seconds", "NaN"], "--seconds NaN: must be above 0"),
        (&["--arm-with-propellers-off", "--thrust-share", "0.6"], "--thrust-share 0.6: must be from 0 to 0.5"),
        (&["--arm-with-propellers-off", "--thrust-share", "NaN"], "--thrust-share NaN: must be from 0 to 0.5"),
        (&["--thrust-share", "0.3"], "--arm-with-propellers-off"),
    ] {
        let answer = bench.run(&[&["watch", "quad.toml", "--board", "/dev/no-such-device"], typed].concat());
        assert!(answer.status == 2 && answer.err.contains(words), "{typed:?}: {answer:?}");
    }
}

#[test]
fn constants_are_printed_written_and_answered_alike() {
    let bench = Bench::new();
    let printed = bench.run(&["constants", "quad.toml"]);
    assert_eq!((printed.status, printed.err.as_str()), (0, ""));
    assert!(printed.out.starts_with("//! Written by `evenkeel constants`"), "{printed:?}");
    let written = bench.run(&["constants", "quad.toml", "--out", "constants.rs"]);
    assert_eq!(written.status, 0, "{written:?}");
    assert_eq!(fs::read_to_string(bench.path("constants.rs")).expect("the file"), printed.out);
    let object = bench.run(&["constants", "quad.toml", "--json"]).object();
    assert_eq!(object["constants"].as_str(), Some(printed.out.as_str()));
    let fingerprint = object["fingerprint"].as_str().expect("a fingerprint");
    assert_eq!(written.out, format!("four-arm survey craft: fingerprint {fingerprint}\n"));
    let object = bench.run(&["constants", "quad.toml", "--out", "constants.rs", "--json"]).object();
    assert!(object["constants"].is_null() && object["fingerprint"] == fingerprint, "{object}");
}

#[test]
fn constants_take_any_order_of_priority() {
    let bench = Bench::new();
    let quad = fs::read_to_string(bench.path("quad.toml")).expect("the demo craft");
    let before = bench.run(&["constants", "quad.toml", "--json"]).object();
    fs::write(bench.path("thrust.toml"), with_priority(&quad, "[[\"thrust\"], [\"roll\", \"pitch\"], [\"yaw\"]]"))
        .expect("a file");
    let answer = bench.run(&["constants", "thrust.toml", "--json"]).object();
    let text = answer["constants"].as_str().expect("constants");
    let order = "Priority::expect(&[&[Axis::Thrust], &[Axis::Roll, Axis::Pitch], &[Axis::Yaw]], true)";
    assert!(text.contains(order), "{text}");
    assert_ne!(answer["fingerprint"], before["fingerprint"], "another order is another craft");
}

/// The craft with this order in place of the one in its file, if any.
fn with_priority(craft: &str, order: &str) -> String {
    let kept: String =
        craft.lines().filter(|line| !line.starts_with("priority = ")).map(|line| format!("{line}\n")).collect();
    let line = format!("[saturation]\npriority = {order}\n");
    if kept.contains("[saturation]\n") { kept.replace("[saturation]\n", &line) } else { kept + &line }
}

#[test]
fn constants_refuse_what_cannot_be_flown_or_written() {
    let bench = Bench::new();
    let unfit = bench.run(&["constants", "same_spin.toml"]);
    assert!(unfit.status == 1 && unfit.err.contains("yaw") && unfit.out.is_empty(), "{unfit:?}");
    for (out, words) in [
        ("quad.toml", "--out quad.toml: must not be the craft file"),
        ("folder", "there is something other than a plain file"),
        ("none/constants.rs", "cannot write"),
    ] {
        let answer = bench.run(&["constants", "quad.toml", "--out", out]);
        assert!(answer.status == 2 && answer.err.contains(words) && answer.out.is_empty(), "{answer:?}");
    }
}
