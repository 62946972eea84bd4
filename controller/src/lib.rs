//! Attitude control for multirotors: attitude error, angle loop, rate loop, inertia, one [`Controller::step`].
//!
//! `no_std`, no heap, no panic, generic over the flying scalar. Time is the step itself: the caller
//! promises one call a sample period, the period the controller was made for.
//!
//! ```text
//! Setpoint ─► shaping ─┐
//! Sensed ─► attitude error ─► angle loop ─► RateSetpoint ─► rate loop ─► angular acceleration
//!        ─► inertia ─► Wrench demand ─► mixer ─► Allocation ─► commands
//!                                              └─ achieved ─► rate loop's integrators, same step
//! ```
#![no_std]

mod angle_loop;
mod attitude_error;
mod battery;
mod brief;
mod controller;
mod descent;
mod elementary;
pub mod estimate;
pub mod filter;
mod finite;
mod flight_computer;
mod inertia;
#[cfg(feature = "link")]
pub mod link;
mod missed_periods;
mod passed_over;
mod quaternion;
mod rate_loop;
mod reference;
mod rotor_reports;
#[cfg(feature = "serde")]
mod sequence;
mod setpoint;
mod shaping;
mod supervisor;
mod telemetry;
mod tilt_compensation;
mod trigonometry;
mod tuning;

pub use angle_loop::{AngleLoop, AngleLoopConfig, AngleLoopError};
pub use attitude_error::{AttitudeError, INVERTED_TOL};
pub use battery::{Battery, BatteryConfig, BatteryError, BatteryState, CEILING_STEP_SHARE};
pub use controller::{
    Controller, ControllerConfig, ControllerError, ControllerState, RATE_BELIEVED_MAX, SHORT_SHARE, Sensed, Step,
};
pub use descent::{Descent, DescentConfig, DescentError, DescentState};
pub use flight_computer::{
    FlightComputer, FlightComputerConfig, FlightComputerError, FlightState, FlightStep, PilotDemand, Sample,
};
pub use inertia::{Inertia, InertiaError};
pub use passed_over::PassedOver;
pub use quaternion::Quaternion;
pub use rate_loop::{AxisSetpoint, RateLoop, RateLoopConfig, RateLoopError, RateLoopState};
pub use reference::{Followed, HEADING_LEAD_MAX, Reference, ReferenceConfig, ReferenceError, ReferenceState};
pub use rotor_reports::{BELIEVE_MAX_S, RotorReportsConfig, RotorReportsError};
pub use setpoint::{BodyAxes, Motion, Motors, RateSetpoint, Setpoint};
pub use shaping::{SETTLED_TOL, Shaped, Shaper, ShaperConfig, ShaperError};
pub use supervisor::{
    Decision, Event, OVERRUN_WINDOW_MAX, Permission, Reason, Reasons, SampleClock, SampleClockConfig, SampleClockError,
    SampleClockState, State, Supervisor, SupervisorConfig, SupervisorError, SupervisorInput, SupervisorState, Tick,
    Timing,
};
pub use telemetry::{Telemetered, TelemetryQueue, TelemetryReader, TelemetryWriter};
pub use trigonometry::{ATAN2_TOL, SIN_COS_TOL, atan2, sin_cos};
pub use tuning::{Gains, Tuning, TuningError};

#[cfg(test)]
extern crate std;
