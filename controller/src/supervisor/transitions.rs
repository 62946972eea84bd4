//! What each event does in each state: the state machine, one table.

use core::fmt;

use crate::supervisor::state::State;

/// What can happen. Several may happen in one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Event {
    /// The disarm action, or the arm request off while the link is alive.
    Disarm,
    /// Beyond recovery for the longer limit, or for the shorter one and on the ground.
    TiltHopeless,
    /// No good sample from the sensors for longer than the limit.
    SensorsLost,
    /// Flown without sensors for as long as may be.
    BlindTooLong,
    /// Descended for as long as may be.
    DescentTooLong,
    /// On the ground for the stated time; while the pilot flies, with the thrust demand low as well.
    TouchedDown,
    /// Tilted beyond recovery for the shorter limit.
    TiltBeyond,
    /// Too many samples came late, or one gap was too long.
    SamplesLate,
    /// A rotor counts as failed.
    RotorStopped,
    /// No demand from the pilot for longer than the limit.
    LinkLost,
    /// Good samples again for the stated time.
    SensorsBack,
    /// The link good for the stated time, and the thrust demand near what carries the craft.
    LinkBack,
    /// Armed on the ground for as long as may be.
    StandingTooLong,
    /// The thrust demand is no longer low.
    ThrustRaised,
    /// Asked to arm, with no reason against it.
    ArmAccepted,
    /// Asked to arm, with a reason against it.
    ArmRefused,
}

impl Event {
    /// Every event, highest priority first.
    pub const ALL: [Event; TABLE.len()] = {
        let mut all = [Event::Disarm; TABLE.len()];
        let mut k = 0;
        while k < all.len() {
            all[k] = TABLE[k].0;
            k += 1;
        }
        all
    };
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Event::Disarm => "disarm",
            Event::TiltHopeless => "tilt hopeless",
            Event::SensorsLost => "sensors lost",
            Event::BlindTooLong => "blind too long",
            Event::DescentTooLong => "descent too long",
            Event::TouchedDown => "touched down",
            Event::TiltBeyond => "tilt beyond recovery",
            Event::SamplesLate => "samples late",
            Event::RotorStopped => "rotor stopped",
            Event::LinkLost => "link lost",
            Event::SensorsBack => "sensors back",
            Event::LinkBack => "link back",
            Event::StandingTooLong => "standing too long",
            Event::ThrustRaised => "thrust raised",
            Event::ArmAccepted => "arming accepted",
            Event::ArmRefused => "arming refused",
        })
    }
}

type Row = (Event, [Option<State>; State::ALL.len()]);

const DISARM: Option<State> = Some(State::Disarmed);
const STAND_: Option<State> = Some(State::Standing);
const FLYING: Option<State> = Some(State::Flying);
const LINK__: Option<State> = Some(State::LinkLost);
const DOWN__: Option<State> = Some(State::FaultDescent);
const BLIND_: Option<State> = Some(State::FaultBlind);
const STOP__: Option<State> = Some(State::FaultStopped);
const ______: Option<State> = None;

/// A row an event, highest priority first; a column a state, in the order of [`State::ALL`].
#[rustfmt::skip]
const TABLE: [Row; 16] = [
    //                        disarmed standing  flying link lost  descent   blind  stopped
    (Event::Disarm,          [______,  DISARM,  DISARM,  DISARM,  DISARM,  DISARM,  DISARM]),
    (Event::TiltHopeless,    [______,  STOP__,  STOP__,  STOP__,  STOP__,  STOP__,  ______]),
    (Event::SensorsLost,     [______,  STOP__,  BLIND_,  BLIND_,  BLIND_,  ______,  ______]),
    (Event::BlindTooLong,    [______,  ______,  ______,  ______,  ______,  STOP__,  ______]),
    (Event::DescentTooLong,  [______,  ______,  ______,  DISARM,  STOP__,  STOP__,  ______]),
    (Event::TouchedDown,     [______,  ______,  STAND_,  DISARM,  STOP__,  STOP__,  ______]),
    (Event::TiltBeyond,      [______,  STOP__,  DOWN__,  DOWN__,  ______,  ______,  ______]),
    (Event::SamplesLate,     [______,  STOP__,  DOWN__,  DOWN__,  ______,  ______,  ______]),
    (Event::RotorStopped,    [______,  STOP__,  ______,  ______,  ______,  ______,  ______]),
    (Event::LinkLost,        [______,  DISARM,  LINK__,  ______,  ______,  ______,  ______]),
    (Event::SensorsBack,     [______,  ______,  ______,  ______,  ______,  DOWN__,  ______]),
    (Event::LinkBack,        [______,  ______,  ______,  FLYING,  ______,  ______,  ______]),
    (Event::StandingTooLong, [______,  DISARM,  ______,  ______,  ______,  ______,  ______]),
    (Event::ThrustRaised,    [______,  FLYING,  ______,  ______,  ______,  ______,  ______]),
    (Event::ArmAccepted,     [STAND_,  ______,  ______,  ______,  ______,  ______,  ______]),
    (Event::ArmRefused,      [DISARM,  ______,  ______,  ______,  ______,  ______,  ______]),
];

/// A set of events.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Happened(u32);

impl Happened {
    /// Adds this event when it `holds`.
    pub(super) fn mark(&mut self, event: Event, holds: bool) {
        if holds {
            self.0 |= 1 << event as u32;
        }
    }

    pub(super) fn contains(self, event: Event) -> bool {
        self.0 >> event as u32 & 1 != 0
    }
}

/// For each state, the events that mean something there: most steps bring none of them.
const HEARD: [u32; State::ALL.len()] = {
    let mut heard = [0; State::ALL.len()];
    let mut row = 0;
    while row < TABLE.len() {
        let mut column = 0;
        while column < heard.len() {
            if TABLE[row].1[column].is_some() {
                heard[column] |= 1 << TABLE[row].0 as u32;
            }
            column += 1;
        }
        row += 1;
    }
    heard
};

impl State {
    /// As [`State::first_move`].
    pub(super) fn moved_by(self, happened: Happened) -> Option<(Event, State)> {
        let heard = HEARD.get(self as usize).copied().unwrap_or(0);
        if happened.0 & heard == 0 { None } else { self.first_of(happened) }
    }

    #[cold]
    fn first_of(self, happened: Happened) -> Option<(Event, State)> {
        self.first_move(|event| happened.contains(event))
    }

    /// Where this event leads from here; none when it changes nothing.
    pub fn next(self, event: Event) -> Option<State> {
        self.first_move(|other| other == event).map(|(_, to)| to)
    }

    /// Of all that happened, the event of highest priority that means something here, and where it
    /// leads. One move a step: what else happened still holds in the next step, and is seen then.
    pub fn first_move(self, happened: impl Fn(Event) -> bool) -> Option<(Event, State)> {
        let column = self as usize;
        TABLE.iter().find_map(|(event, row)| {
            let to = row.get(column).copied().flatten()?;
            happened(*event).then_some((*event, to))
        })
    }
}
