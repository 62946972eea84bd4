//! The host and the firmware's loop on a serial device: a pseudo-terminal in place of the cable.

use std::io::Write;

use evenkeel::board::{
    Address, BoardError, Connection, Difference, FlownOnBoard, Watch, craft_fingerprint, fly_on_board,
};
use evenkeel::demo;
use evenkeel::onboard::Onboard;
use evenkeel::preflight::flights;
use evenkeel::script::World;
use evenkeel_controller::State;
use evenkeel_controller::link::{FromBoard, PROTOCOL, Refusal, encode, frame_from_board_max};
use evenkeel_tests::loop_board::{self, Running, Trouble};
use evenkeel_tests::terminal::Terminal;
use heapless::Vec as Frame;

const GRAVITY: f64 = 9.806_65;

fn serial(path: &str) -> Address {
    let address = path.parse().expect("an address");
    assert!(matches!(address, Address::Serial { .. }), "{path}");
    address
}

/// A flight over the device, compared with the same code here; the rows of its log.
fn flown(trouble: Trouble, seconds: f64) -> (Result<usize, FlownOnBoard>, Running) {
    let board = loop_board::start_on_a_terminal(trouble);
    let craft = demo::quad().expect("the demo craft");
    let onboard = Onboard::<f32>::new(&craft, GRAVITY).expect("it flies");
    let mut maiden = flights::all(&craft, &onboard, &World::default()).swap_remove(0);
    maiden.flight.duration_s = seconds;
    let result = fly_on_board(&craft, &craft, &maiden.flight, &serial(&board.address), true, &|_| ());
    (result.map(|recording| recording.rows.len()), board)
}

/// What the rotors were told, in order, until the board ended: whether any was to turn.
fn turning(board: Running) -> Vec<bool> {
    let told = board.rotors.iter().map(|commands| commands.iter().any(|command| *command != 0.0)).collect();
    board.join();
    told
}

/// The link fails during the flight; the rotors were told to stand still, the last time after the failure.
fn lost(trouble: Trouble) -> String {
    let (result, board) = flown(trouble, 1.0);
    let told = turning(board);
    // Once at the welcome, once at the begin, and once when the flight ended on the board.
    assert!(told.len() >= 3 && !told.contains(&true), "{told:?}");
    let Err(FlownOnBoard::Board(error)) = result else { panic!("the link fails: {result:?}") };
    assert!(!error.before_flight());
    error.to_string()
}

#[test]
fn every_step_is_the_same_when_flown_over_a_serial_device() {
    let (result, board) = flown(Trouble::default(), 1.0);
    assert_eq!(result, Ok(51), "one row in 20 ms");
    assert!(!turning(board).contains(&true), "in lock-step the rotors stay off");
}

#[test]
fn flight_stops_at_the_bit_that_differs_on_a_serial_device() {
    let (result, board) = flown(Trouble { differ_at: Some(300), ..Trouble::default() }, 1.0);
    assert!(!turning(board).contains(&true));
    assert!(
        matches!(&result, Err(FlownOnBoard::Differs(Difference { number: 300, field, .. })) if field == "estimate.attitude.x"),
        "{result:?}"
    );
}

#[test]
fn says_that_the_link_broke_when_the_device_goes_away_in_flight() {
    let text = lost(Trouble { pull: Some(12), ..Trouble::default() });
    assert!(text.contains("the link broke at step 10, 0.01 s into the flight"), "{text}");
    assert!(text.ends_with("check the cable and the board's power"), "{text}");
}

#[test]
fn says_that_a_frame_is_damaged_when_one_is_on_a_serial_device() {
    let text = lost(Trouble { spoil: Some(12), ..Trouble::default() });
    assert!(text.contains("at step 10, 0.01 s") && text.contains("no whole frame; check the baud rate"), "{text}");
}

#[test]
fn says_that_the_board_is_silent_when_it_stops_answering_on_a_serial_device() {
    let text = lost(Trouble { mute: Some(12), ..Trouble::default() });
    assert!(text.contains("silent for 2 s at step 10, 0.01 s into the flight"), "{text}");
}

/// What is said to one that answers the first word with these bytes, and is no board or none of ours. A host that waits for
/// ever does not come back from here.
fn refused(bytes: Vec<u8>) -> String {
    let (mut terminal, path) = Terminal::open();
    let stranger = std::thread::spawn(move || {
        terminal.wait_for_a_word();
        terminal.write_all(&bytes).expect("the host listens");
        terminal
    });
    let Err(error) = Connection::open(&serial(&path)) else { panic!("that was no board") };
    assert!(error.before_flight(), "{error}");
    drop(stranger.join().expect("the stranger does not panic"));
    error.to_string()
}

#[test]
fn says_both_versions_when_a_board_on_a_serial_device_speaks_another() {
    let mut frame = Frame::<u8, { frame_from_board_max(4) }>::new();
    let other = FromBoard::<f32, 4>::Refused(Refusal::Protocol { board: PROTOCOL + 1 });
    let text = refused(encode(&other, &mut frame).expect("it fits").to_vec());
    let both = format!("speaks version {} of the link and this program version {PROTOCOL}", PROTOCOL + 1);
    assert!(text.contains(&both), "{text}");
}

#[test]
fn says_that_it_is_garbage_when_another_device_answers() {
    // Every byte, so that none of them means anything to the line itself.
    let text = refused((0..=255).chain(0..=255).collect());
    assert!(text.contains("are no whole frame; check the baud rate"), "{text}");
}

#[test]
fn says_that_the_device_is_silent_when_nothing_answers() {
    let text = refused(Vec::new());
    assert!(text.contains("silent for 2 s at the first word; check power, cable and baud rate"), "{text}");
}

#[test]
fn says_that_it_cannot_be_opened_when_another_program_has_the_device() {
    let board = loop_board::start_on_a_terminal(Trouble::default());
    let address = serial(&board.address);
    let first = Connection::open(&address).expect("a board");
    let Err(error) = Connection::open(&address) else { panic!("somebody has it") };
    assert!(matches!(error, BoardError::Open { .. }), "{error}");
    assert!(error.to_string().contains("does nothing else use it"), "{error}");
    drop(first);
    board.join();
}

/// The board on the bench with its motors turning.
#[test]
fn motors_stop_when_the_cable_is_pulled_while_they_turn() {
    // Records come 50 times a second: armed after one second of asking, pulled a second later.
    const ARM_AT_S: f64 = 2.0;
    const PULL_AT_S: usize = 4;
    let frames_before = 2;
    let pull = Some(frames_before + PULL_AT_S * 50);
    let board = loop_board::start_on_a_terminal(Trouble { pull, ..Trouble::default() });
    let craft = demo::quad().expect("the demo craft");
    let fingerprint = craft_fingerprint(&craft, GRAVITY).expect("it flies");
    let (connection, welcome) = Connection::open(&serial(&board.address)).expect("a board");
    let mut watch =
        Watch::begin::<f32>(connection, &welcome, fingerprint, craft.loops.rate_hz).expect("the board begins");
    let mut last = State::Disarmed;
    let error = loop {
        match watch.record::<f32>() {
            Ok((t_s, record)) => {
                last = record.step.decision.state;
                // A cable may also break while the host speaks.
                if let Err(error) = watch.demand::<f32>(t_s > ARM_AT_S, 0.0) {
                    break error;
                }
            }
            Err(error) => break error,
        }
    };
    drop(watch);
    assert_eq!(last, State::Standing, "armed, the motors turn");
    let text = error.to_string();
    assert!(matches!(error, BoardError::Gone { .. }), "{text}");
    assert!(text.contains("the link broke at step ") && !error.before_flight(), "{text}");
    let told = turning(board);
    assert!(told.contains(&true), "armed, the motors turn");
    assert_eq!(told.last(), Some(&false), "and stand still in the end");
}
