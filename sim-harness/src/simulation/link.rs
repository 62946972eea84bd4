//! The link from the pilot: while it is lost, the craft keeps the last demand it received, and its time.

use evenkeel_controller::{BodyAxes, Motion, Motors, PilotDemand, Setpoint};
use evenkeel_mixer::Scalar;

use super::clock::microseconds;

/// The receiver on board.
#[derive(Clone, Debug, Default)]
pub(super) struct Link {
    lost: bool,
    received: Option<(u64, Setpoint<f64>)>,
}

impl Link {
    pub(super) fn set_lost(&mut self, lost: bool) {
        self.lost = lost;
    }

    /// What the flight computer is told when the pilot asks for this.
    pub(super) fn carry<S: Scalar>(&mut self, now_ns: u64, asked: Setpoint<f64>) -> PilotDemand<S> {
        if !self.lost {
            self.received = Some((microseconds(now_ns), asked));
        }
        let (at_us, asked) = self.received.unzip();
        let Setpoint { motors, thrust_n, motion } = asked.unwrap_or(Setpoint::DISARMED);
        let lifts = matches!(motors, Motors::Grounded | Motors::Flying);
        PilotDemand {
            at_us,
            arm: motors != Motors::Off,
            disarm: false,
            thrust_n: if lifts { S::from_f64(thrust_n) } else { S::ZERO },
            motion: quantised(motion),
        }
    }
}

/// In the flying scalar.
fn quantised<S: Scalar>(motion: Motion<f64>) -> Motion<S> {
    match motion {
        Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => Motion::Angles {
            roll_rad: S::from_f64(roll_rad),
            pitch_rad: S::from_f64(pitch_rad),
            yaw_rate_rad_s: S::from_f64(yaw_rate_rad_s),
        },
        Motion::Rates(rates) => Motion::Rates(BodyAxes::from_array(rates.to_array().map(S::from_f64))),
    }
}
