//! Every move of the table, made to happen by inputs alone.

use evenkeel_controller::{Event, State, SupervisorConfig};

#[path = "supervisor/bench.rs"]
mod bench;

use bench::{Bench, HOVER_N, PERIOD_US, World};

/// Short limits, so that each clock can run out alone.
fn config() -> SupervisorConfig {
    SupervisorConfig {
        standing_max_s: 3.0,
        descent_max_s: 4.0,
        blind_max_s: 1.5,
        ..SupervisorConfig::usual(1.0e-6 * PERIOD_US as f64, HOVER_N)
    }
}

/// A bench whose supervisor has just entered this state.
fn brought_to(state: State) -> Bench {
    let mut bench = Bench::new(&config());
    for _ in 0..1000 {
        bench.step();
    }
    if state == State::Disarmed {
        return bench;
    }
    bench.world.arm_request = true;
    assert_eq!(bench.step().state, State::Standing);
    match state {
        State::Disarmed | State::Standing => return bench,
        State::FaultStopped => bench.world.sensors = false,
        State::Flying | State::LinkLost | State::FaultDescent | State::FaultBlind => {
            (bench.world.thrust_share, bench.world.on_ground) = (1.0, Some(false));
            assert_eq!(bench.step().state, State::Flying);
        }
    }
    match state {
        State::LinkLost => bench.world.link = false,
        State::FaultDescent => bench.world.period_us = 2 * PERIOD_US,
        State::FaultBlind => bench.world.sensors = false,
        _ => (),
    }
    bench.until(state);
    bench.world.period_us = PERIOD_US;
    bench
}

type Change = fn(&mut World);

/// What makes an event happen: changes, each after so many seconds, the last one waited for.
fn provocation(state: State, event: Event) -> Vec<(f64, Change)> {
    match event {
        Event::Disarm => vec![(0.0, |w| w.disarm = true)],
        // Samples that show the tilt, too few of them to count as sensors that are back.
        Event::TiltHopeless if state == State::FaultBlind => vec![
            (0.0, |w| (w.sensors, w.tilt_deg) = (true, 180.0)),
            (0.05, |w| w.sensors = false),
            (0.9, |w| w.on_ground = Some(true)),
        ],
        // Told of the ground too late to touch down first.
        Event::TiltHopeless => vec![(0.0, |w| w.tilt_deg = 180.0), (0.9, |w| w.on_ground = Some(true))],
        Event::SensorsLost => vec![(0.0, |w| w.sensors_finite = false)],
        Event::BlindTooLong | Event::DescentTooLong | Event::StandingTooLong => vec![(0.0, |_| ())],
        Event::TouchedDown => vec![(0.0, |w| (w.on_ground, w.thrust_share) = (Some(true), 0.0))],
        Event::TiltBeyond => vec![(0.0, |w| (w.tilt_deg, w.on_ground) = (180.0, None))],
        Event::RotorStopped => vec![(0.0, |w| w.rotor_stopped = true)],
        Event::SamplesLate => vec![(0.0, |w| w.period_us = 100 * PERIOD_US)],
        Event::LinkLost => vec![(0.0, |w| w.link = false)],
        Event::SensorsBack => vec![(0.0, |w| w.sensors = true)],
        Event::LinkBack => vec![(0.0, |w| w.link = true)],
        Event::ThrustRaised => vec![(0.0, |w| w.thrust_share = 0.3)],
        Event::ArmAccepted => vec![(0.0, |w| w.arm_request = true)],
        Event::ArmRefused => vec![(0.0, |w| (w.arm_request, w.tilt_deg) = (true, 30.0))],
    }
}

/// Provokes an event; what was acted on first, and the state after it. None when nothing was in 5 s.
fn provoked(state: State, event: Event) -> Option<(Event, State)> {
    let mut bench = brought_to(state);
    if (state, event) == (State::FaultBlind, Event::DescentTooLong) {
        // Through another descent, so that the descent's clock has run before the blind one starts.
        bench = brought_to(State::FaultDescent);
        (0..3000).for_each(|_| assert_eq!(bench.step().state, State::FaultDescent));
        bench.world.sensors = false;
        bench.until(State::FaultBlind);
    }
    for (after_s, change) in provocation(state, event) {
        for _ in 0..(after_s * 1000.0) as u32 {
            let decision = bench.step();
            assert_eq!((decision.state, decision.event), (state, None), "{event} comes too early");
        }
        change(&mut bench.world);
    }
    (0..5000).map(|_| bench.step()).find_map(|decision| decision.event.map(|event| (event, decision.state)))
}

#[test]
fn makes_every_move_of_the_table_when_inputs_call_for_it() {
    for state in State::ALL {
        for event in Event::ALL {
            if let Some(to) = state.next(event) {
                assert_eq!(provoked(state, event), Some((event, to)), "{state}: {event}");
            }
        }
    }
}

#[test]
fn stays_where_it_is_when_an_event_means_nothing_there() {
    for state in [State::Disarmed, State::FaultStopped] {
        for event in Event::ALL.into_iter().filter(|event| state.next(*event).is_none()) {
            assert_eq!(provoked(state, event), None, "{state}: {event}");
        }
    }
    // Elsewhere time goes on: the next event is the one that time brings, never the one provoked.
    for state in [State::Standing, State::Flying, State::LinkLost, State::FaultDescent, State::FaultBlind] {
        for event in Event::ALL.into_iter().filter(|event| state.next(*event).is_none()) {
            let found = provoked(state, event).map(|(event, _)| event);
            assert_ne!(found, Some(event), "{state}: {event}");
        }
    }
}

#[test]
fn tilt_without_ground_is_levelled_and_stopped_at_their_limits() {
    let mut bench = brought_to(State::Flying);
    bench.world.tilt_deg = 180.0;
    let start_us = bench.now_us + PERIOD_US;
    let mut moves = Vec::new();
    for _ in 0..3500 {
        let decision = bench.step();
        moves.extend(decision.event.map(|event| (bench.now_us - start_us, event, decision.state)));
    }
    let expected =
        [(1_000_000, Event::TiltBeyond, State::FaultDescent), (3_000_000, Event::TiltHopeless, State::FaultStopped)];
    assert_eq!(moves, expected);
}
