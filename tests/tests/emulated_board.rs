//! The firmware on an emulated board against the same code here: every bit of every step.
//!
//! `.ci/run board` builds the programs and installs the emulator. The board's clock stands still while this machine
//! works, so nothing depends on how busy it is.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use evenkeel::board::{Address, BoardError, FlownOnBoard, fly_on_board};
use evenkeel::demo;
use evenkeel::onboard::Onboard;
use evenkeel::preflight::flights::{self, Maiden};
use evenkeel::script::{Fault, FaultKind, World};
use evenkeel_tests::document::root;
use rustix::fs::{CWD, FileType, Mode, mknodat};

const GRAVITY: f64 = 9.806_65;
/// Seconds of the last flight that the serial port carries: it is a hundred times slower than the pipes.
const SERIAL_S: f64 = 0.5;
/// Seconds of each flight that the Cortex-M0 flies: 64-bit products in software on an emulator take their time.
const M0_S: f64 = 2.0;

/// An emulator starts and ends within this on any machine, however slow: a net for one that hangs, and no measure.
const PATIENCE: Duration = Duration::from_secs(600);
/// What the program paints below its stack, bytes, as in firmware/board/src/stack.rs.
const PAINTED: u32 = 40 * 1024;

/// The emulated Cortex-M4F.
const M4: &[&str] = &["-M", "mps2-an386", "-cpu", "cortex-m4"];
/// The emulated Cortex-M0: a board of another processor's, which takes this one too.
const M0: &[&str] = &["-M", "lm3s6965evb", "-cpu", "cortex-m0"];

/// A running emulator; ended with this value.
struct Emulator {
    process: Child,
    folder: tempfile::TempDir,
    address: Address,
}

impl Emulator {
    /// How deep the stack went in the set-up and in the flight, bytes, once the host has gone. See
    /// firmware/board/src/stack.rs.
    fn stack(mut self) -> [u32; 2] {
        let begun = Instant::now();
        while self.process.try_wait().expect("a process of ours").is_none() {
            assert!(begun.elapsed() < PATIENCE, "the program ends when the host has gone");
            std::thread::sleep(Duration::from_millis(5));
        }
        let said = fs::read(self.folder.path().join("board.stack")).expect("the program wrote it");
        let number = |at: usize| u32::from_le_bytes(said[at..at + 4].try_into().expect("two numbers"));
        [number(0), number(4)]
    }
}

impl Drop for Emulator {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

fn program(name: &str) -> PathBuf {
    let path = root().join("target/firmware/boards").join(name).canonicalize();
    path.unwrap_or_else(|error| panic!("{name}: {error}; `.ci/run board` builds it"))
}

fn emulator(machine: &[&str], name: &str, more: &[String], folder: &Path) -> Child {
    Command::new("qemu-system-arm")
        .args(machine)
        .args(["-display", "none", "-monitor", "none", "-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(program(name))
        .args(more)
        .current_dir(folder)
        .stdin(Stdio::null())
        .spawn()
        .expect("qemu-system-arm is installed")
}

fn with_pipes(machine: &[&str], name: &str) -> Emulator {
    let folder = tempfile::tempdir().expect("a folder");
    for pipe in ["board.in", "board.out"] {
        mknodat(CWD, folder.path().join(pipe), FileType::Fifo, Mode::RUSR | Mode::WUSR, 0).expect("a pipe");
    }
    let process = emulator(machine, name, &["-serial".into(), "none".into()], folder.path());
    let address = Address::Pipe(folder.path().to_owned());
    Emulator { process, folder, address }
}

fn with_serial_port(machine: &[&str], name: &str) -> Emulator {
    let folder = tempfile::tempdir().expect("a folder");
    let socket = folder.path().join("serial");
    let port = format!("unix:{},server=on,wait=on", socket.display());
    let process = emulator(machine, name, &["-serial".into(), port], folder.path());
    let begun = Instant::now();
    while !socket.exists() && begun.elapsed() < PATIENCE {
        std::thread::sleep(Duration::from_millis(20));
    }
    Emulator { process, folder, address: Address::Unix(socket) }
}

fn maidens() -> Vec<Maiden> {
    let craft = demo::quad().expect("the demo craft");
    let onboard = Onboard::<f32>::new(&craft, GRAVITY).expect("it flies");
    let mut maidens = flights::all(&craft, &onboard, &World::default());
    let mut flight = maidens.iter().find(|maiden| maiden.id == "upset").expect("a flight high up").flight.clone();
    flight.initial.attitude_rad = [0.0; 3];
    flight.faults = vec![Fault { at_s: 1.0, kind: FaultKind::RotorStopped(2) }];
    maidens.push(Maiden {
        id: "rotor-lost",
        title: "A rotor stops, and the craft cannot stand it",
        asked: String::new(),
        flight,
        real: None,
        judge: Box::new(|_| Vec::new()),
    });
    maidens
}

/// Flies this on the board and here; the number of steps. Panics at the first bit that differs.
fn compare(emulator: &Emulator, maiden: &Maiden) -> f64 {
    let craft = demo::quad().expect("the demo craft");
    assert!(emulator.folder.path().exists());
    let begun = Instant::now();
    // The craft that is flown may not be quite what its file says; the board has the file's.
    let real = maiden.real.as_ref().unwrap_or(&craft);
    let fly = || fly_on_board(&craft, real, &maiden.flight, &emulator.address, true, &|_| ());
    let mut flown = fly();
    // A slow machine has not started the emulator yet: nothing was said, so that nothing is lost by asking again.
    while matches!(flown, Err(FlownOnBoard::Board(BoardError::Open { .. }))) && begun.elapsed() < PATIENCE {
        flown = fly();
    }
    let recording = match flown {
        Ok(recording) => recording,
        Err(FlownOnBoard::Board(error)) => panic!("{}: {error}", maiden.id),
        Err(FlownOnBoard::Differs(difference)) => panic!("{}: {difference}", maiden.id),
        Err(other) => panic!("{}: {other:?}", maiden.id),
    };
    let steps = recording.rows.last().map_or(0.0, |row| row.t_s) * craft.loops.rate_hz;
    println!("{}: {steps:.0} steps equal, {:.0} a second", maiden.id, steps / begun.elapsed().as_secs_f64());
    steps
}

/// One emulator a flight: a pipe ends with its first host.
fn compare_each(machine: &[&str], name: &str, seconds: f64) {
    let mut steps = 0.0;
    for mut maiden in maidens() {
        maiden.flight.duration_s = maiden.flight.duration_s.min(seconds);
        steps += compare(&with_pipes(machine, name), &maiden);
    }
    println!("{name}: {steps:.0} steps, every bit of every record equal");
    assert!(steps > 10_000.0, "these are too few: {steps}");
}

#[test]
#[ignore = "`.ci/run board` builds the firmware first"]
fn every_standard_flight_has_the_same_bits_on_an_emulated_cortex_m4f() {
    compare_each(M4, "m4-f32-pipes", f64::INFINITY);
}

#[test]
#[ignore = "`.ci/run board` builds the firmware first"]
fn every_standard_flight_has_the_same_bits_in_fixed_point_on_an_emulated_cortex_m4() {
    compare_each(M4, "m4-fixed-pipes", f64::INFINITY);
}

#[test]
#[ignore = "`.ci/run board` builds the firmware first"]
fn every_standard_flight_begins_with_the_same_bits_in_fixed_point_on_an_emulated_cortex_m0() {
    compare_each(M0, "m0-fixed-pipes", M0_S);
}

#[test]
#[ignore = "`.ci/run board` builds the firmware first"]
fn serial_port_carries_the_same_bits() {
    let mut maiden = maidens().swap_remove(0);
    maiden.flight.duration_s = SERIAL_S;
    compare(&with_serial_port(M4, "m4-f32-serial"), &maiden);
}

/// Leaves what it measured for `board_cost.rs`, which holds it to the bound and to the budget.
#[test]
#[ignore = "`.ci/run board` builds the firmware first"]
fn stack_is_measured_over_every_standard_flight() {
    let (mut set_up, mut flight) = (0, 0);
    for maiden in maidens() {
        let emulator = with_pipes(M4, "m4-f32-stack");
        compare(&emulator, &maiden);
        let [this_set_up, this_flight] = emulator.stack();
        println!("{}: stack {this_set_up} bytes in the set-up, {this_flight} in flight", maiden.id);
        (set_up, flight) = (set_up.max(this_set_up), flight.max(this_flight));
    }
    assert!(set_up > 0 && set_up < PAINTED && flight > 0 && flight < PAINTED, "{set_up}, {flight}");
    let text = format!(
        "craft,part,figure\nquad,measured stack of the set-up (bytes),{set_up}\n\
         quad,measured stack in flight (bytes),{flight}\n"
    );
    fs::write(root().join("target/firmware/stack.csv"), text).expect("the folder of the firmware");
}
