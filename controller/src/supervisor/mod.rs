//! What the craft may do: arming, link loss, faults, and when to stop.
//!
//! * [`Supervisor`]: one step a sample, [`SupervisorInput`] in, [`Decision`] out
//! * [`State`] and [`Event`]: the state machine, one table that says what each event does in each state
//! * [`Reasons`]: why arming was refused, or what went wrong
//! * the quiet step: the machine's answer while the pilot flies and nothing happens, without a look at every timer
//! * [`SampleClock`]: whether the samples come when they should
//!
//! docs/supervisor.md shows the table and says why each reaction is what it is.

mod config;
mod facts;
mod freshness;
mod quiet;
mod reasons;
mod sample_clock;
mod since;
mod state;
mod supervise;
mod times;
mod transitions;

pub use config::{SupervisorConfig, SupervisorError};
pub use reasons::{Reason, Reasons};
pub use sample_clock::{
    OVERRUN_WINDOW_MAX, SampleClock, SampleClockConfig, SampleClockError, SampleClockState, Tick, Timing,
};
pub use state::{Permission, State};
pub use supervise::{Decision, Supervisor, SupervisorInput, SupervisorState};
pub(crate) use times::InTime;
pub use transitions::Event;
