//! The firmware on an emulated board against the same code here: every bit of every step.
//!
//! `.ci/run board` builds the programs and installs the emulator. The board's clock stands still while this machine
//! works, so nothing depends on how busy it is.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use evenkeel::board::{Address, FlownOnBoard, fly_on_board};
use evenkeel::demo;
use evenkeel::onboard::Onboard;
use evenkeel::preflight::flights::{self, Maiden};
use evenkeel::script::World;
use evenkeel_tests::document::root;
use rustix::fs::{CWD, FileType, Mode, mknodat};

const GRAVITY: f64 = 9.806_65;
/// Seconds of the last flight that the serial port carries: it is a hundred times slower than the pipes.
const SERIAL_S: f64 = 0.5;
/// Seconds of each flight that the Cortex-M0 flies: 64-bit products in software on an emulator take their time.
const M0_S: f64 = 2.0;

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
    while !socket.exists() && begun.elapsed() < Duration::from_secs(5) {
        std::thread::sleep(Duration::from_millis(20));
    }
    Emulator { process, folder, address: Address::Unix(socket) }
}

fn maidens() -> Vec<Maiden> {
    let craft = demo::quad().expect("the demo craft");
    let onboard = Onboard::<f32>::new(&craft, GRAVITY).expect("it flies");
    flights::all(&craft, &onboard, &World::default())
}

/// Flies this on the board and here; the number of steps. Panics at the first bit that differs.
fn compare(emulator: &Emulator, maiden: &Maiden) -> f64 {
    let craft = demo::quad().expect("the demo craft");
    assert!(emulator.folder.path().exists());
    let begun = Instant::now();
    // The craft that is flown may not be quite what its file says; the board has the file's.
    let real = maiden.real.as_ref().unwrap_or(&craft);
    let flown = fly_on_board(&craft, real, &maiden.flight, &emulator.address, true, &|_| ());
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
