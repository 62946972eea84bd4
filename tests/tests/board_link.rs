//! The host's end against the firmware's own loop, and against boards that are none.

use std::io::{Read, Write};
use std::net::TcpListener;

use evenkeel::board::{
    Address, BoardComputer, BoardError, Connection, Difference, FlownOnBoard, craft_fingerprint, fly_on_board,
};
use evenkeel::craft::Craft;
use evenkeel::demo;
use evenkeel::onboard::Onboard;
use evenkeel::preflight::flights;
use evenkeel::script::{Fault, FaultKind, World};
use evenkeel_controller::link::{
    Begin, Fingerprint, FromBoard, Mode, PROTOCOL, Refusal, Start, ToBoard, encode, frame_from_board_max,
};
use evenkeel_controller::{Motion, PilotDemand, State};
use evenkeel_tests::document;
use evenkeel_tests::loop_board::{self, Trouble};
use heapless::Vec as Frame;

const GRAVITY: f64 = 9.806_65;

fn address(text: &str) -> Address {
    text.parse().expect("an address")
}

/// A flight with the firmware's loop at the other end of a socket, compared with the same code here; the rows of its log.
fn flown(craft: &Craft, trouble: Trouble, seconds: f64) -> (Result<usize, FlownOnBoard>, loop_board::Running) {
    let board = loop_board::start(trouble);
    let demo = demo::quad().expect("the demo craft");
    let onboard = Onboard::<f32>::new(&demo, GRAVITY).expect("it flies");
    let mut maiden = flights::all(&demo, &onboard, &World::default()).swap_remove(0);
    maiden.flight.duration_s = seconds;
    let result = fly_on_board(craft, craft, &maiden.flight, &address(&board.address), true, &|_| ());
    (result.map(|recording| recording.rows.len()), board)
}

fn lost(result: Result<usize, FlownOnBoard>) -> String {
    let Err(FlownOnBoard::Board(error)) = result else { panic!("the link fails: {result:?}") };
    assert!(!error.before_flight());
    error.to_string()
}

#[test]
fn constants_of_the_firmware_are_the_demo_craft_when_written_anew() {
    let craft = demo::quad().expect("the demo craft");
    written_anew(&craft, "firmware/board/src/craft/constants.rs");
    // The numbers that the compiler made of it are the same, bit for bit.
    assert_eq!(evenkeel_board::craft::fingerprint(), craft_fingerprint(&craft, GRAVITY).expect("it flies"));
    assert_eq!(
        evenkeel_board::craft::CONFIG,
        evenkeel::board::flight_computer_config(&craft, GRAVITY).expect("it flies")
    );
}

fn written_anew(craft: &Craft, path: &str) {
    let written = evenkeel::board::constants(craft, GRAVITY).expect("it flies");
    if std::env::var_os("BLESS").is_some() {
        std::fs::write(document::root().join(path), &written).expect("the file can be written");
    }
    assert!(document::read(path) == written, "{path} is old: write it anew with BLESS=1");
}

/// See `board_constants.rs`, which compiles them.
#[test]
fn constants_of_another_craft_are_its_file_when_written_anew() {
    let file = "tests/tests/board_constants/craft.toml";
    let craft = evenkeel::file::parse_craft(file, &document::read(file)).expect("a craft");
    written_anew(&craft, "tests/tests/board_constants/written.rs");
}

#[test]
fn every_number_of_a_craft_counts_in_its_fingerprint() {
    let demo = demo::quad().expect("the demo craft");
    let print = |craft| craft_fingerprint(craft, GRAVITY).expect("it flies");
    let mut craft = demo.clone();
    craft.rotors[2].thrust_max_n = 8.0 + 1e-12;
    assert_ne!(print(&craft), print(&demo));
    let mut craft = demo.clone();
    craft.body.center_of_mass_m[2] = -0.015;
    assert_ne!(print(&craft), print(&demo));
    let mut craft = demo.clone();
    craft.gains.angle_per_s[0] = Some(5.0);
    assert_ne!(print(&craft), print(&demo));
    assert_ne!(craft_fingerprint(&demo, 9.81).expect("it flies"), print(&demo));
}

#[test]
fn every_step_is_the_same_when_flown_over_the_link() {
    let craft = demo::quad().expect("the demo craft");
    let (result, board) = flown(&craft, Trouble::default(), 3.0);
    assert_eq!(result, Ok(151), "one row in 20 ms");
    let driven = board.rotors.try_iter().flatten().any(|command| command != 0.0);
    board.join();
    assert!(!driven, "in lock-step the rotors stay off");
}

/// The report crosses the wire, the board gives the rotor up, and both ends fall alike.
#[test]
fn every_step_is_the_same_when_a_rotor_stops() {
    let craft = demo::quad().expect("the demo craft");
    let board = loop_board::start(Trouble::default());
    let onboard = Onboard::<f32>::new(&craft, GRAVITY).expect("it flies");
    let mut maidens = flights::all(&craft, &onboard, &World::default());
    let mut flight = maidens.iter_mut().find(|maiden| maiden.id == "upset").expect("a flight high up").flight.clone();
    flight.initial.attitude_rad = [0.0; 3];
    flight.duration_s = 2.0;
    flight.faults = vec![Fault { at_s: 0.5, kind: FaultKind::RotorStopped(2) }];
    let flown = fly_on_board(&craft, &craft, &flight, &address(&board.address), true, &|_| ());
    let recording = flown.expect("every bit is the same");
    board.join();
    let last = recording.rows.last().expect("rows");
    assert!(last.command[2] == 0.0 && last.on_board.flags as u32 & 256 != 0, "{last:?}");
}

#[test]
fn flight_stops_and_names_the_field_when_one_bit_of_the_board_differs() {
    let craft = demo::quad().expect("the demo craft");
    let (result, board) = flown(&craft, Trouble { differ_at: Some(700), ..Trouble::default() }, 1.0);
    board.join();
    let Err(FlownOnBoard::Differs(Difference { number, t_s, field, .. })) = result else { panic!("{result:?}") };
    assert_eq!((number, t_s), (700, 0.7));
    assert_eq!(field, "estimate.attitude.x");
}

#[test]
fn flight_stops_and_says_so_when_a_frame_is_damaged() {
    let craft = demo::quad().expect("the demo craft");
    let (result, board) = flown(&craft, Trouble { spoil: Some(12), ..Trouble::default() }, 1.0);
    board.join();
    let text = lost(result);
    assert!(text.contains("at step 10, 0.01 s") && text.contains("no whole frame; check the baud rate"), "{text}");
}

#[test]
fn flight_stops_and_says_so_when_the_cable_is_pulled() {
    let craft = demo::quad().expect("the demo craft");
    let (result, board) = flown(&craft, Trouble { pull: Some(12), ..Trouble::default() }, 1.0);
    board.join();
    let text = lost(result);
    assert!(text.contains("the link broke at step 10, 0.01 s into the flight"), "{text}");
}

#[test]
fn flight_stops_and_says_so_when_the_board_falls_silent() {
    let craft = demo::quad().expect("the demo craft");
    let (result, board) = flown(&craft, Trouble { mute: Some(12), ..Trouble::default() }, 1.0);
    board.join();
    let text = lost(result);
    assert!(text.contains("silent for 2 s at step 10, 0.01 s into the flight"), "{text}");
}

#[test]
fn another_craft_is_refused_before_the_flight() {
    let mut craft = demo::quad().expect("the demo craft");
    craft.body.mass_kg += 0.1;
    let (result, board) = flown(&craft, Trouble::default(), 1.0);
    board.join();
    assert!(matches!(result, Err(FlownOnBoard::Board(BoardError::Craft { .. }))), "{result:?}");
}

/// A listener that answers each connection with these bytes, and keeps the line open.
fn stranger(bytes: Vec<u8>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a socket");
    let address = format!("tcp:{}", listener.local_addr().expect("an address"));
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().expect("a host");
        let mut word = [0; 64];
        let _ = stream.read(&mut word);
        let _ = stream.write_all(&bytes);
        // Until the host goes away.
        let _ = stream.read_to_end(&mut Vec::new());
    });
    address
}

/// What is said to a stranger. A host that waits for ever does not come back from here.
fn refused(bytes: Vec<u8>) -> String {
    let Err(error) = Connection::open(&address(&stranger(bytes))) else { panic!("that was no board") };
    assert!(error.before_flight(), "{error}");
    error.to_string()
}

fn frame(message: &FromBoard<f32, 4>) -> Vec<u8> {
    let mut frame = Frame::<u8, { frame_from_board_max(4) }>::new();
    encode(message, &mut frame).expect("it fits").to_vec()
}

#[test]
fn says_that_the_board_is_silent_when_it_says_nothing() {
    let text = refused(Vec::new());
    assert!(text.contains("silent for 2 s at the first word; check power, cable and baud rate"), "{text}");
}

#[test]
fn says_that_it_is_garbage_when_another_program_answers() {
    let text = refused(b"boot: ready\r\n\0\x01\x02\0".to_vec());
    assert!(text.contains("are no whole frame; check the baud rate"), "{text}");
}

#[test]
fn says_both_versions_when_the_board_speaks_another() {
    let text = refused(frame(&FromBoard::Refused(Refusal::Protocol { board: PROTOCOL + 1 })));
    let both = format!("speaks version {} of the link and this program version {PROTOCOL}", PROTOCOL + 1);
    assert!(text.contains(&both), "{text}");
}

#[test]
fn board_refuses_another_craft_in_clear_words() {
    let board = loop_board::start(Trouble::default());
    let (connection, welcome) = Connection::open(&address(&board.address)).expect("a board");
    let wrong = Fingerprint(welcome.fingerprint.0 ^ 1);
    let Err(error) = BoardComputer::begin::<f32>(connection, &welcome, wrong, Start::PowerUp) else {
        panic!("another craft")
    };
    board.join();
    let text = error.to_string();
    assert!(error.before_flight());
    assert!(text.contains("flies another craft: \"four-arm survey craft\""), "{text}");
    assert!(text.contains("evenkeel constants CRAFT"), "{text}");
}

#[test]
fn board_itself_refuses_another_craft_when_the_host_does_not_look() {
    let board = loop_board::start(Trouble::default());
    let (connection, welcome) = Connection::open(&address(&board.address)).expect("a board");
    let mut careless = welcome.clone();
    careless.fingerprint = Fingerprint(welcome.fingerprint.0 ^ 1);
    let begun = BoardComputer::begin::<f32>(connection, &careless, careless.fingerprint, Start::PowerUp);
    board.join();
    assert!(matches!(begun, Err(BoardError::Craft { board, .. }) if board == welcome.fingerprint));
}

#[test]
fn says_that_it_cannot_be_opened_when_nothing_is_there() {
    let closed = TcpListener::bind("127.0.0.1:0").expect("a socket").local_addr().expect("an address");
    for text in [&format!("tcp:{closed}"), "unix:/no/such/socket", "pipe:/no/such/folder", "/dev/no-such-device"] {
        let Err(error) = Connection::open(&address(text)) else { panic!("{text}: nothing is there") };
        assert!(matches!(error, BoardError::Open { .. }), "{error}");
        assert!(error.to_string().starts_with(&format!("--board {text}: cannot be opened: ")), "{error}");
    }
}

/// Whether a board on its own sensors passes over its rotors' speeds and its climb.
fn passed_over(trouble: Trouble) -> [bool; 2] {
    let board = loop_board::start(trouble);
    let waiting = evenkeel::board::Waiting::Begun;
    let (mut connection, welcome) = Connection::open(&address(&board.address)).expect("a board");
    let mode = Mode::FreeRunning { steps_per_record: 1 };
    let begin = Begin { fingerprint: welcome.fingerprint, mode, start: Start::PowerUp };
    connection.say(&ToBoard::<f32, 4>::Begin(begin), waiting).expect("a link");
    assert_eq!(connection.hear::<FromBoard<f32, 4>>(waiting).expect("an answer"), FromBoard::Begun);
    let record = connection.hear::<FromBoard<f32, 4>>(waiting).expect("a record");
    drop(connection);
    board.join();
    let FromBoard::Record(record) = record else { panic!("{record:?}") };
    [record.step.passed_over.rotor_speed, record.step.passed_over.climb]
}

#[test]
fn rotor_speeds_and_climb_that_a_board_measures_reach_the_flight_computer() {
    assert_eq!(passed_over(Trouble::default()), [false; 2]);
    assert_eq!(passed_over(Trouble { no_number: true, ..Trouble::default() }), [true; 2]);
}

/// The board on its own clock and sensors: it aligns, arms when asked, and gives up when the link falls silent.
#[test]
fn arms_and_stops_again_when_it_runs_free_and_the_link_falls_silent() {
    // Steps of a millisecond: aligned and still for long enough; armed for a second; silent for longer than allowed.
    const ARM_AT: u32 = 1800;
    const SILENT_AT: u32 = 2800;
    const END_AT: u32 = 3800;
    let board = loop_board::start(Trouble::default());
    let waiting = evenkeel::board::Waiting::Begun;
    let (mut connection, welcome) = Connection::open(&address(&board.address)).expect("a board");
    let begin = |start| {
        let mode = Mode::FreeRunning { steps_per_record: 20 };
        ToBoard::<f32, 4>::Begin(Begin { fingerprint: welcome.fingerprint, mode, start })
    };
    let attitude = evenkeel_controller::Quaternion::IDENTITY;
    connection
        .say(&begin(Start::OnTheGroundArmed { attitude, gyro_bias_rad_s: Default::default() }), waiting)
        .expect("a link");
    let answer: FromBoard<f32, 4> = connection.hear(waiting).expect("an answer");
    assert_eq!(answer, FromBoard::Refused(Refusal::Start), "nothing arms by itself");

    connection.say(&begin(Start::PowerUp), waiting).expect("a link");
    assert_eq!(connection.hear::<FromBoard<f32, 4>>(waiting).expect("an answer"), FromBoard::Begun);
    let (mut states, mut number) = (Vec::new(), 0);
    while number < END_AT {
        let FromBoard::Record(record) = connection.hear::<FromBoard<f32, 4>>(waiting).expect("records") else {
            panic!("records alone")
        };
        if states.last() != Some(&record.step.decision.state) {
            states.push(record.step.decision.state);
        }
        number = record.number;
        if number < SILENT_AT {
            let pilot =
                PilotDemand { at_us: None, arm: number > ARM_AT, disarm: false, thrust_n: 0.0, motion: Motion::LEVEL };
            connection.say(&ToBoard::<f32, 4>::Demand(pilot), waiting).expect("a link");
        }
    }
    drop(connection);
    let driven: Vec<bool> = board.rotors.iter().map(|commands| commands.iter().any(|command| *command > 0.0)).collect();
    board.join();
    assert_eq!(states, [State::Disarmed, State::Standing, State::Disarmed]);
    assert!(driven.iter().any(|on| *on), "armed, the rotors turn");
    assert_eq!(driven.last(), Some(&false), "and stop at the end");
}
