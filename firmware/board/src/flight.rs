//! The loop: sample, step, commands, record.
//!
//! A flight begins when the host says so and names the craft it means. Two modes:
//! * free-running: the board's own clock and sensors drive the steps, the host is pilot and observer
//! * lock-step: the host sends every sample and gets every answer; the rotors stay off

use evenkeel_controller::link::{
    Begin, FrameError, FrameReader, FromBoard, Mode, PROTOCOL, Received, Record, Refusal, Start, StepRequest, ToBoard,
    Welcome, encode, frame_from_board_max, frame_to_board_max,
};
use evenkeel_controller::{
    FlightComputer, FlightComputerError, FlightState, FlightStep, Motion, PilotDemand, Sample, State,
};
use evenkeel_mixer::{CurveError, Scalar};
use heapless::Vec;

use crate::board::Board;
use crate::craft::{self, CraftMixer, ROTORS};
use crate::{ARITHMETIC, Flying, log};

/// Longest frame to this board.
pub const IN_MAX: usize = frame_to_board_max(ROTORS);
/// Longest frame from this board.
pub const OUT_MAX: usize = frame_from_board_max(ROTORS);
/// Bytes taken from the link at a time.
const CHUNK: usize = 256;
/// Lock-step without a word from the host for this long is over.
pub const LOCK_STEP_SILENCE_US: u64 = 2_000_000;

/// Why the craft cannot be flown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CraftError {
    /// A block refused its configuration.
    Config(FlightComputerError),
    /// A bench table does not rise.
    Curve(CurveError),
}

/// Everything the board remembers.
pub struct Flight {
    computer: FlightComputer<Flying>,
    mixer: CraftMixer,
    state: FlightState<Flying, ROTORS>,
    mode: Option<Mode>,
    pilot: PilotDemand<Flying>,
    number: u32,
    heard_at_us: u64,
    told: State,
    reader: FrameReader<IN_MAX>,
    out: Vec<u8, OUT_MAX>,
}

/// No demand: the supervisor takes it for a silent link.
const NO_PILOT: PilotDemand<Flying> =
    PilotDemand { at_us: None, arm: false, disarm: false, thrust_n: Flying::ZERO, motion: Motion::LEVEL };

impl Flight {
    /// For the craft of [`craft`]; nothing runs yet.
    ///
    /// # Errors
    /// When the craft's configuration makes no sense. `evenkeel constants` writes none of those.
    // Not inlined, and neither is `turn`: what the one takes of the stack is free again when the other runs.
    #[inline(never)]
    pub fn new() -> Result<Self, CraftError> {
        Ok(Flight {
            computer: FlightComputer::new(&craft::CONFIG).map_err(CraftError::Config)?,
            mixer: craft::mixer().map_err(CraftError::Curve)?,
            state: FlightState::default(),
            mode: None,
            pilot: NO_PILOT,
            number: 0,
            heard_at_us: 0,
            told: State::Disarmed,
            reader: FrameReader::new(),
            out: Vec::new(),
        })
    }

    /// One turn of the main loop: what came over the link, then a sample if there is one. Call it without end.
    #[inline(never)]
    pub fn turn(&mut self, board: &mut impl Board) {
        let mut bytes = [0; CHUNK];
        let count = board.receive(&mut bytes);
        for byte in bytes.iter().take(count) {
            match self.reader.push(*byte) {
                Received::Nothing => {}
                Received::Message(message) => self.hear(board, message),
                Received::Bad(error) => {
                    log::refused(cause(error));
                    self.say(board, &FromBoard::Refused(Refusal::Unreadable));
                }
            }
        }
        match self.mode {
            Some(Mode::FreeRunning { steps_per_record }) => self.run_free(board, steps_per_record),
            Some(Mode::LockStep) if board.now_us().saturating_sub(self.heard_at_us) > LOCK_STEP_SILENCE_US => {
                self.end(board);
            }
            _ => {}
        }
    }

    fn hear(&mut self, board: &mut impl Board, message: ToBoard<Flying, ROTORS>) {
        self.heard_at_us = board.now_us();
        match message {
            ToBoard::Hello(hello) => {
                self.end(board);
                let answer = if hello.protocol == PROTOCOL {
                    FromBoard::Welcome(Welcome {
                        protocol: PROTOCOL,
                        arithmetic: ARITHMETIC,
                        rotors: ROTORS as u8,
                        fingerprint: craft::fingerprint(),
                        name: craft::name(),
                    })
                } else {
                    log::refused("another version");
                    FromBoard::Refused(Refusal::Protocol { board: PROTOCOL })
                };
                self.say(board, &answer);
            }
            ToBoard::Begin(begin) => self.begin(board, &begin),
            ToBoard::Step(request) => self.step(board, &request),
            ToBoard::Demand(pilot) => match self.mode {
                Some(Mode::FreeRunning { .. }) => {
                    self.pilot = PilotDemand { at_us: Some(self.heard_at_us), ..pilot };
                }
                _ => self.say(board, &FromBoard::Refused(Refusal::NotBegun)),
            },
            ToBoard::End => {
                self.end(board);
                self.say(board, &FromBoard::Ended);
            }
        }
    }

    /// A function of its own in the program, so that its new mixer is not on the stack while the craft flies.
    #[inline(never)]
    fn begin(&mut self, board: &mut impl Board, begin: &Begin<Flying>) {
        self.end(board);
        let ours = craft::fingerprint();
        let refusal = if begin.fingerprint != ours {
            log::refused("another craft");
            Refusal::Craft { board: ours }
        } else if begin.mode != Mode::LockStep && begin.start != Start::PowerUp {
            log::refused("free-running begins at power-up");
            Refusal::Start
        } else {
            self.state = begin.start.state();
            // Ceilings that followed the last flight's battery are full again.
            // It was made once, and can be made again.
            if let Ok(mixer) = craft::mixer() {
                self.mixer = mixer;
            }
            self.mode = Some(begin.mode);
            log::begun(ours.0);
            self.say(board, &FromBoard::Begun);
            return;
        };
        self.say(board, &FromBoard::Refused(refusal));
    }

    /// One step of the host's clock.
    fn step(&mut self, board: &mut impl Board, request: &StepRequest<Flying, ROTORS>) {
        if self.mode != Some(Mode::LockStep) {
            self.say(board, &FromBoard::Refused(Refusal::NotBegun));
            return;
        }
        let step = self.compute(&request.sample(), &request.pilot);
        self.tell(step.decision.state);
        self.say(board, &FromBoard::Record(Record { number: request.number, step }));
    }

    /// One step of the board's own, when there is a sample.
    fn run_free(&mut self, board: &mut impl Board, steps_per_record: u16) {
        let Some((sensed_at_us, inertial)) = board.inertial() else { return };
        let mut sample = Sample {
            now_us: board.now_us(),
            sensed_at_us: Some(sensed_at_us),
            inertial,
            // Filled in below.
            rotor_speeds_rad_s: [Flying::ZERO; ROTORS],
            stopped_rotors: board.stopped_rotors(),
            on_ground: board.on_ground(),
            battery_share: board.battery_share(),
            voltage_share: board.voltage_share(),
            climb_m_s: board.climb_m_s(),
        };
        board.rotor_speeds(&mut sample.rotor_speeds_rad_s);
        let pilot = self.pilot;
        let step = self.compute(&sample, &pilot);
        board.rotors(&step.commands);
        self.tell(step.decision.state);
        if steps_per_record > 0 && self.number.is_multiple_of(u32::from(steps_per_record)) {
            self.say(board, &FromBoard::Record(Record { number: self.number, step }));
        }
        self.number = self.number.wrapping_add(1);
    }

    /// One step of the flying code. A function of its own in the program, so that its stack and all it calls can be
    /// told from the rest.
    #[inline(never)]
    fn compute(&mut self, sample: &Sample<Flying, ROTORS>, pilot: &PilotDemand<Flying>) -> FlightStep<Flying, ROTORS> {
        self.computer.step(&mut self.state, sample, pilot, &mut self.mixer)
    }

    /// Rotors off, everything forgotten.
    fn end(&mut self, board: &mut impl Board) {
        board.rotors(&[Flying::ZERO; ROTORS]);
        if self.mode.take().is_some() {
            log::ended();
        }
        self.state.reset();
        self.pilot = NO_PILOT;
        self.number = 0;
        self.told = State::Disarmed;
    }

    fn tell(&mut self, state: State) {
        if state != self.told {
            self.told = state;
            log::state(state);
        }
    }

    fn say(&mut self, board: &mut impl Board, message: &FromBoard<Flying, ROTORS>) {
        match encode(message, &mut self.out) {
            Ok(frame) => board.send(frame),
            Err(error) => log::refused(cause(error)),
        }
    }
}

fn cause(error: FrameError) -> &'static str {
    match error {
        FrameError::TooLong => "a frame is too long",
        FrameError::Damaged => "a frame is damaged",
        FrameError::NotAMessage => "a frame is no message of this version",
    }
}
