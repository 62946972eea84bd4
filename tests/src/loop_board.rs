//! The example port on this machine: the firmware's own loop behind a TCP socket or a serial device, in a thread.

use std::io::{ErrorKind, Read, Write};
use std::net::TcpListener;
use std::sync::mpsc::{Receiver, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use evenkeel_board::board::Board;
use evenkeel_board::craft::{CONFIG, ROTORS};
use evenkeel_board::flight::{Flight, OUT_MAX};
use evenkeel_controller::BodyAxes;
use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::link::{FrameReader, FromBoard, Received, encode};

use crate::terminal::Terminal;

/// The board's clock runs by the turns of its loop, so that a busy machine makes no sample late.
const TURN: Duration = Duration::from_micros(50);
/// Of every rotor.
const SPEED_RAD_S: f32 = 400.0;
/// Microseconds of its clock that the board runs on when its line is lost: longer than lock-step bears silence, and
/// than the supervisor bears it.
const RUNS_ON_US: u64 = 4_000_000;

/// The board's end of a line to the host. Reading does not wait.
trait Line: Read + Write + Send {}

impl<L: Read + Write + Send> Line for L {}

/// A board that stands still and level, and what it wrote to its rotors.
pub struct LoopBoard {
    /// None once the cable is pulled.
    line: Option<Box<dyn Line>>,
    now_us: u64,
    next_sample_us: u64,
    rotors: std::sync::mpsc::Sender<Vec<f32>>,
    trouble: Trouble,
    sent: usize,
}

impl Board for LoopBoard {
    fn now_us(&mut self) -> u64 {
        self.now_us
    }

    fn inertial(&mut self) -> Option<(u64, InertialSample<f32>)> {
        let now_us = self.now_us();
        if now_us < self.next_sample_us {
            return None;
        }
        self.next_sample_us += (CONFIG.controller.period_s * 1.0e6) as u64;
        let gravity = CONFIG.estimator.gravity_m_s2 as f32;
        Some((
            now_us,
            InertialSample { gyro_rad_s: BodyAxes::default(), acceleration_m_s2: [0.0, 0.0, -gravity], heading: None },
        ))
    }

    fn rotor_speeds(&mut self, speeds_rad_s: &mut [f32]) {
        speeds_rad_s.fill(self.measured(SPEED_RAD_S));
    }

    fn climb_m_s(&mut self) -> Option<f32> {
        Some(self.measured(0.0))
    }

    fn on_ground(&mut self) -> Option<bool> {
        Some(true)
    }

    fn rotors(&mut self, commands: &[f32]) {
        // Nobody may be looking.
        let _ = self.rotors.send(commands.to_vec());
    }

    fn receive(&mut self, into: &mut [u8]) -> usize {
        self.now_us += TURN.as_micros() as u64;
        let Some(line) = &mut self.line else { return 0 };
        match line.read(into) {
            Err(error) if error.kind() == ErrorKind::WouldBlock => {
                std::thread::sleep(TURN);
                0
            }
            Ok(0) | Err(_) => {
                self.line = None;
                0
            }
            Ok(count) => count,
        }
    }

    fn send(&mut self, bytes: &[u8]) {
        if self.trouble.pull == Some(self.sent) {
            self.line = None;
        }
        let mut bytes = bytes.to_vec();
        if self.trouble.spoil == Some(self.sent) {
            let middle = bytes.len() / 2;
            // 0 would end the frame, which is another kind of damage.
            bytes[middle] = if bytes[middle] ^ 1 == 0 { 2 } else { bytes[middle] ^ 1 };
        }
        if let Some(number) = self.trouble.differ_at {
            bytes = with_another_bit(&bytes, number).unwrap_or(bytes);
        }
        self.sent += 1;
        if self.trouble.mute.is_none_or(|mute| self.sent <= mute) {
            self.write(&bytes);
        }
    }
}

impl LoopBoard {
    /// What its sensors say.
    fn measured(&self, value: f32) -> f32 {
        if self.trouble.no_number { f32::NAN } else { value }
    }

    /// A line that is full takes the rest later.
    fn write(&mut self, mut bytes: &[u8]) {
        while let Some(line) = &mut self.line
            && !bytes.is_empty()
        {
            match line.write(bytes) {
                Ok(count) if count > 0 => bytes = bytes.get(count..).unwrap_or_default(),
                Err(error) if error.kind() == ErrorKind::WouldBlock => std::thread::sleep(TURN),
                _ => self.line = None,
            }
        }
    }
}

/// The frame again with the lowest bit of a number flipped, when it answers this step.
fn with_another_bit(frame: &[u8], number: u32) -> Option<Vec<u8>> {
    let mut reader = FrameReader::<OUT_MAX>::new();
    let Received::Message(FromBoard::<f32, ROTORS>::Record(mut record)) =
        frame.iter().map(|byte| reader.push(*byte)).last()?
    else {
        return None;
    };
    if record.number != number {
        return None;
    }
    let x = &mut record.step.estimate.attitude.x;
    *x = f32::from_bits(x.to_bits() ^ 1);
    let mut buffer = heapless::Vec::<u8, OUT_MAX>::new();
    encode(&FromBoard::<f32, ROTORS>::Record(record), &mut buffer).ok().map(<[u8]>::to_vec)
}

/// What is to go wrong.
#[derive(Clone, Copy, Debug, Default)]
pub struct Trouble {
    /// Damages this frame from the board, counted from 0 (the welcome).
    pub spoil: Option<usize>,
    /// Closes the link before this frame.
    pub pull: Option<usize>,
    /// Says nothing from this frame on.
    pub mute: Option<usize>,
    /// Flips the lowest bit of one number in the answer to this step.
    pub differ_at: Option<u32>,
    /// The board measures the rotors' speeds and its climb, and reads what is no number.
    pub no_number: bool,
}

/// A board that runs until the host goes away, and then on without a line.
pub struct Running {
    /// `tcp:127.0.0.1:PORT`, or the path of a serial device.
    pub address: String,
    /// Everything written to the rotors.
    pub rotors: Receiver<Vec<f32>>,
    thread: JoinHandle<()>,
}

impl Running {
    /// Waits for its end, some seconds of its clock after the host has closed the link.
    ///
    /// # Panics
    /// If it panicked.
    pub fn join(self) {
        self.thread.join().expect("the board does not panic");
    }
}

/// Starts a board behind a socket.
///
/// # Panics
/// When this machine gives no socket.
pub fn start(trouble: Trouble) -> Running {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a socket");
    let address = format!("tcp:{}", listener.local_addr().expect("an address"));
    run(address, trouble, move || {
        let (stream, _) = listener.accept().expect("a host");
        stream.set_nodelay(true).expect("a socket");
        stream.set_nonblocking(true).expect("a socket");
        Box::new(stream)
    })
}

/// Starts a board behind a serial device.
///
/// # Panics
/// When this machine gives no pseudo-terminal.
pub fn start_on_a_terminal(trouble: Trouble) -> Running {
    let (terminal, path) = Terminal::open();
    run(path, trouble, move || Box::new(terminal))
}

fn run(address: String, trouble: Trouble, line: impl FnOnce() -> Box<dyn Line> + Send + 'static) -> Running {
    let (to, rotors) = channel();
    let thread = std::thread::spawn(move || {
        let mut board = LoopBoard { line: Some(line()), now_us: 0, next_sample_us: 0, rotors: to, trouble, sent: 0 };
        let mut flight = Flight::new().expect("the demo craft flies");
        while board.line.is_some() {
            flight.turn(&mut board);
        }
        let end_us = board.now_us + RUNS_ON_US;
        while board.now_us < end_us {
            flight.turn(&mut board);
        }
    });
    Running { address, rotors, thread }
}
