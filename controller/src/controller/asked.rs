//! What is sensed and asked, and what of it can be believed.

use evenkeel_mixer::Scalar;

use crate::quaternion::Quaternion;
use crate::setpoint::{BodyAxes, Motion, Motors};

/// No craft turns faster than this and lives, rad/s about all axes together: a larger rate is a fault of the sensor.
pub const RATE_BELIEVED_MAX: f64 = 1.0e3;

/// A [`Setpoint`] that is lent: a motion that is copied from hand to hand costs as much as a loop.
#[derive(Clone, Copy)]
pub(crate) struct Asked<'a, S> {
    pub(crate) motors: Motors,
    pub(crate) thrust_n: S,
    /// None: level, heading held.
    pub(crate) motion: Option<&'a Motion<S>>,
    /// Whether all of it is finite.
    pub(crate) finite: bool,
}

/// What of a step's input can be believed.
pub(super) struct Known<'a, S> {
    pub(super) attitude: Option<Quaternion<S>>,
    pub(super) rate_rad_s: Option<BodyAxes<S>>,
    /// None: level.
    pub(super) motion: Option<&'a Motion<S>>,
    pub(super) thrust_n: S,
    pub(super) invalid: bool,
}

impl<'a, S: Scalar> Known<'a, S> {
    #[inline(always)]
    pub(super) fn of(
        attitude: Option<Quaternion<S>>,
        rate_rad_s: BodyAxes<S>,
        asked: Asked<'a, S>,
        last_thrust_n: S,
    ) -> Self {
        let believed = rate_rad_s.square() <= S::from_f64(RATE_BELIEVED_MAX * RATE_BELIEVED_MAX);
        let rate_rad_s = believed.then_some(rate_rad_s);
        let invalid = attitude.is_none() || !believed;
        let Asked { motion, thrust_n, finite, .. } = asked;
        if finite {
            return Known { attitude, rate_rad_s, motion, thrust_n, invalid };
        }
        let motion = motion.filter(|motion| motion.is_finite());
        let thrust_n = if thrust_n.is_finite() { thrust_n } else { last_thrust_n };
        Known { attitude, rate_rad_s, motion, thrust_n, invalid: true }
    }
}
