//! The state machine as a table: every state with every event.

use std::collections::BTreeSet;
use std::fmt::Write;

use evenkeel_controller::{Event, Permission, Reason, State, SupervisorConfig};
use evenkeel_tests::document::Document;

fn moves() -> impl Iterator<Item = (State, Event, State)> {
    State::ALL
        .into_iter()
        .flat_map(|from| Event::ALL.into_iter().filter_map(move |event| from.next(event).map(|to| (from, event, to))))
}

/// All that can be reached from a state by these events.
fn reached(from: State, by: &[Event]) -> BTreeSet<String> {
    let mut known = vec![from];
    let mut k = 0;
    while let Some(state) = known.get(k).copied() {
        let next = by.iter().filter_map(|event| state.next(*event));
        let fresh: Vec<State> = next.filter(|to| !known.contains(to)).collect();
        for to in fresh {
            if !known.contains(&to) {
                known.push(to);
            }
        }
        k += 1;
    }
    known.iter().map(ToString::to_string).collect()
}

#[test]
fn agrees_with_the_tables_when_docs_are_read() {
    let mut docs = Document::open("docs/supervisor.md");
    let mut table = String::from("| what happens |");
    State::ALL.iter().for_each(|state| write!(table, " {state} |").unwrap());
    table += "\n| --- |";
    State::ALL.iter().for_each(|_| table += " --- |");
    for event in Event::ALL {
        write!(table, "\n| {event} |").unwrap();
        for state in State::ALL {
            let to = state.next(event).map_or("·".to_string(), |to| to.to_string());
            write!(table, " {to} |").unwrap();
        }
    }
    docs.set_block("transitions", &table);

    let mut permissions = String::from("| state | the loops may |\n| --- | --- |\n");
    for state in State::ALL {
        writeln!(permissions, "| {state} | {} |", state.permission(0.0)).unwrap();
    }
    docs.set_block("permissions", &permissions);

    let mut reasons = String::new();
    Reason::ALL.iter().for_each(|reason| writeln!(reasons, "- {reason}").unwrap());
    docs.set_block("reasons", &reasons);

    let limits = format!("```text\n{:#?}\n```\n", SupervisorConfig::usual(1.0e-3, 16.0));
    docs.set_block("limits", &limits);
    docs.settle();
}

#[test]
fn each_event_stands_once_when_all_are_listed() {
    for (k, event) in Event::ALL.iter().enumerate() {
        assert_eq!(Event::ALL.iter().position(|other| other == event), Some(k), "{event}");
        assert!(State::ALL.iter().any(|state| state.next(*event).is_some()), "{event} means something somewhere");
    }
}

#[test]
fn disarms_from_every_state_when_asked_whatever_else_happens() {
    for state in State::ALL {
        let (_, to) = state.first_move(|_| true).unwrap_or((Event::Disarm, state));
        if state != State::Disarmed {
            assert_eq!(state.next(Event::Disarm), Some(State::Disarmed), "{state}");
            assert_eq!(to, State::Disarmed, "{state}: it has the highest priority");
        }
    }
}

#[test]
fn motors_start_by_arming_alone() {
    for (from, event, to) in moves() {
        let (before, after) = (from.permission(1.0).motors_on(), to.permission(1.0).motors_on());
        if !before && after {
            assert_eq!((from, event, to), (State::Disarmed, Event::ArmAccepted, State::Standing));
        }
    }
}

#[test]
fn fault_latches_until_disarmed() {
    for (from, event, to) in moves().filter(|(from, _, _)| from.is_fault()) {
        assert!(to.is_fault() || (event == Event::Disarm && to == State::Disarmed), "{from} {event} {to}");
    }
}

#[test]
fn pilot_flies_after_arming_or_after_the_link_came_back_alone() {
    for (from, event, _) in moves().filter(|(_, _, to)| *to == State::Flying) {
        let expected = [(State::Standing, Event::ThrustRaised), (State::LinkLost, Event::LinkBack)];
        assert!(expected.contains(&(from, event)), "{from} {event}");
    }
}

#[test]
fn every_state_can_be_reached_and_none_is_a_trap() {
    assert_eq!(reached(State::Disarmed, &Event::ALL).len(), State::ALL.len());
    let timed = [Event::BlindTooLong, Event::DescentTooLong, Event::StandingTooLong];
    for state in State::ALL.into_iter().filter(|state| state.is_descent() || *state == State::Standing) {
        // Without pilot, sensors, or ground: time alone turns the motors off.
        let ends = reached(state, &timed);
        let off = [State::Disarmed, State::FaultStopped].map(|end| ends.contains(&end.to_string()));
        assert!(off.contains(&true), "{state}: {ends:?}");
    }
}

#[test]
fn motors_stop_in_the_air_as_the_last_resort_alone() {
    // The first of each kind of trouble in flight keeps the motors on.
    let stops: Vec<Event> = moves()
        .filter(|(from, event, to)| {
            *from == State::Flying && *event != Event::Disarm && to.permission(1.0) == Permission::MotorsOff
        })
        .map(|(_, event, _)| event)
        .collect();
    assert_eq!(stops, [Event::TiltHopeless]);
}

#[test]
fn one_move_a_step_by_the_event_listed_first_that_means_something() {
    for state in State::ALL {
        for (k, first) in Event::ALL.into_iter().enumerate() {
            for second in Event::ALL.into_iter().skip(k + 1) {
                let expected = state.next(first).map(|to| (first, to)).or(state.next(second).map(|to| (second, to)));
                let found = state.first_move(|event| event == first || event == second);
                assert_eq!(found, expected, "{state}: {first}, {second}");
            }
        }
        assert_eq!(state.first_move(|_| false), None);
    }
}
