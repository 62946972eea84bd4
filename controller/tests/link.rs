//! The wire format: frames survive, damage is found, and docs/link.md shows the bytes that are sent.
#![cfg(feature = "link")]

use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::link::{
    Arithmetic, Begin, CRC, CraftName, Fingerprint, FrameError, FrameReader, FromBoard, Hello, Mode, PROTOCOL,
    Received, Refusal, Start, StepRequest, ToBoard, Welcome, encode, frame_to_board_max,
};
use evenkeel_controller::{BodyAxes, Motion, PilotDemand};
use evenkeel_mixer::{MAX_ROTORS, RotorSet};
use heapless::Vec as Frame;
use proptest::prelude::*;
use serde::Serialize;

const ROTORS: usize = 4;
const MAX: usize = frame_to_board_max(ROTORS);

fn frame(message: &impl Serialize) -> Vec<u8> {
    let mut buffer = Frame::<u8, MAX>::new();
    encode(message, &mut buffer).expect("it fits").to_vec()
}

fn read(bytes: &[u8]) -> Vec<Received<ToBoard<f32, ROTORS>>> {
    let mut reader = FrameReader::<MAX>::new();
    bytes.iter().map(|byte| reader.push(*byte)).filter(|received| *received != Received::Nothing).collect()
}

fn request(number: u32, gyro: [f32; 3], thrust_n: f32) -> StepRequest<f32, ROTORS> {
    StepRequest {
        number,
        now_us: 1000,
        sensed_at_us: Some(1000),
        inertial: InertialSample {
            gyro_rad_s: BodyAxes::from_array(gyro),
            acceleration_m_s2: [0.0, 0.0, -9.80665],
            heading: None,
        },
        rotor_speeds_rad_s: Frame::from_slice(&[0.0; ROTORS]).expect("four"),
        stopped_rotors: RotorSet::EMPTY.with(2),
        on_ground: Some(false),
        battery_share: None,
        voltage_share: None,
        climb_m_s: None,
        pilot: PilotDemand { at_us: Some(1000), arm: true, disarm: false, thrust_n, motion: Motion::LEVEL },
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect::<Vec<_>>().join(" ")
}

/// The examples of docs/link.md, by the line that stands above each.
fn examples() -> Vec<(&'static str, Vec<u8>)> {
    let mut name = CraftName::new();
    name.push_str("demo").expect("it fits");
    let fingerprint = Fingerprint(0x1234_5678);
    let welcome = Welcome { protocol: PROTOCOL, arithmetic: Arithmetic::F32, rotors: 4, fingerprint, name };
    let begin = Begin { fingerprint, mode: Mode::LockStep, start: Start::PowerUp };
    type To = ToBoard<f32, ROTORS>;
    type From = FromBoard<f32, ROTORS>;
    vec![
        ("Hello, version 3", frame(&To::Hello(Hello { protocol: PROTOCOL }))),
        ("Welcome from the craft \"demo\", four rotors, f32, fingerprint 12345678", frame(&From::Welcome(welcome))),
        ("Refused: the board speaks version 1", frame(&From::Refused(Refusal::Protocol { board: 1 }))),
        ("Begin in lock-step at power-up", frame(&To::Begin(begin))),
        (
            "Step 300, level hover at 16 N, the third rotor reported stopped",
            frame(&To::Step(request(300, [0.0; 3], 16.0))),
        ),
        ("End", frame(&To::End)),
    ]
}

#[test]
fn bytes_on_the_wire_are_those_of_the_specification() {
    let text = include_str!("../../docs/link.md");
    let shown: String = examples().iter().map(|(what, bytes)| format!("{what}:\n{}\n\n", hex(bytes))).collect();
    let block = text.split("```hex\n").nth(1).and_then(|rest| rest.split("```").next()).expect("a block of examples");
    assert!(block.trim() == shown.trim(), "docs/link.md should show\n{shown}");
}

/// Source: the check value of CRC-32/ISO-HDLC over "123456789", 0xcbf43926, from memory.
#[test]
fn check_value_is_the_published_one() {
    assert_eq!(CRC.checksum(b"123456789"), 0xcbf4_3926);
}

#[test]
fn frame_of_the_largest_request_fits_and_is_not_far_below_its_limit() {
    let mut most = request(u32::MAX, [f32::MAX; 3], f32::MAX);
    most.now_us = u64::MAX;
    most.stopped_rotors = RotorSet::first(MAX_ROTORS);
    most.sensed_at_us = Some(u64::MAX);
    most.pilot.at_us = Some(u64::MAX);
    for share in [&mut most.battery_share, &mut most.voltage_share, &mut most.climb_m_s] {
        *share = Some(f32::MAX);
    }
    let length = frame(&ToBoard::Step(most)).len();
    assert!(length <= MAX && length > MAX / 3, "{length} of {MAX}");
}

#[test]
fn passes_over_empty_frames_and_finds_the_next_message() {
    let hello = frame(&ToBoard::<f32, ROTORS>::Hello(Hello { protocol: PROTOCOL }));
    let bytes = [&[0, 0][..], &hello, &[0], &hello].concat();
    assert_eq!(read(&bytes).len(), 2);
}

#[test]
fn says_what_is_wrong_with_a_frame_and_reads_the_next() {
    let hello = frame(&ToBoard::<f32, ROTORS>::Hello(Hello { protocol: PROTOCOL }));
    let good = Received::Message(ToBoard::Hello(Hello { protocol: PROTOCOL }));
    let cases = [
        (vec![1; MAX + 1], FrameError::TooLong),
        (vec![5, 1], FrameError::Damaged),
        (b"hello".to_vec(), FrameError::Damaged),
        (frame(&200_u8), FrameError::NotAMessage),
        (frame(&(ToBoard::<f32, ROTORS>::End, 0_u8)), FrameError::NotAMessage),
    ];
    for (bytes, error) in cases {
        let whole = [&bytes[..], &[0], &hello].concat();
        assert_eq!(read(&whole), [Received::Bad(error), good.clone()], "{bytes:?}");
    }
}

proptest! {
    #[test]
    fn every_bit_comes_back_whatever_the_numbers(
        number: u32,
        gyro in prop::array::uniform3(any::<u32>().prop_map(f32::from_bits)),
        thrust in any::<u32>().prop_map(f32::from_bits),
    ) {
        let sent = frame(&ToBoard::Step(request(number, gyro, thrust)));
        prop_assert!(sent[..sent.len() - 1].iter().all(|byte| *byte != 0), "0 ends a frame and nothing else");
        let [Received::Message(message)] = &read(&sent)[..] else { panic!("one message") };
        // NaN is not equal to itself, its bytes are.
        prop_assert_eq!(frame(message), sent);
    }

    #[test]
    fn one_flipped_bit_is_always_found(at in 0_usize..60, bit in 0_u8..8) {
        let mut sent = frame(&ToBoard::Step(request(300, [0.1, 0.2, 0.3], 16.0)));
        let sound = read(&sent);
        let at = at % sent.len();
        sent[at] ^= 1 << bit;
        sent.push(0);
        prop_assert!(!read(&sent).iter().any(|received| *received == sound[0]));
        prop_assert!(!read(&sent).iter().any(|received| matches!(received, Received::Message(_))));
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
        let _ = read(&bytes);
    }
}
