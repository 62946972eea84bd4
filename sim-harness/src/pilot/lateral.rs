//! Horizontal acceleration for a ground velocity or a level circle.

use nalgebra::Vector2;

use super::View;

/// Acceleration per m/s of velocity error.
const VELOCITY_GAIN_PER_S: f64 = 0.8;
/// Acceleration gathered per metre of velocity error over time: holds against drag and wind.
const VELOCITY_INTEGRAL_PER_S2: f64 = 0.2;
/// Acceleration towards the circle per metre off it.
const RADIUS_GAIN_PER_S2: f64 = 0.4;
/// Acceleration towards the circle gathered per metre and second off it.
const RADIUS_INTEGRAL_PER_S3: f64 = 0.1;
/// Turn towards the tangent per radian off it.
const HEADING_GAIN_PER_S: f64 = 0.5;
/// A larger error counts as this for the trim: on the way to a new velocity it says little of drag.
const TRIM_ERROR_MAX_M_S: f64 = 0.5;
/// No trim grows beyond this.
const TRIM_MAX_M_S2: f64 = 6.0;
/// Below this ground speed the nose tells the direction of travel.
const SLOW_M_S: f64 = 0.5;

#[derive(Clone, Copy, Debug, Default)]
pub(super) struct VelocityHold {
    trim_m_s2: Vector2<f64>,
}

impl VelocityHold {
    /// North, east.
    pub(super) fn acceleration_m_s2(&mut self, wanted_m_s: [f64; 2], period_s: f64, view: &View) -> [f64; 2] {
        let error = Vector2::from(wanted_m_s) - view.velocity_m_s.xy();
        let learnt = VELOCITY_INTEGRAL_PER_S2 * period_s * error.cap_magnitude(TRIM_ERROR_MAX_M_S);
        self.trim_m_s2 = (self.trim_m_s2 + learnt).cap_magnitude(TRIM_MAX_M_S2);
        (VELOCITY_GAIN_PER_S * error + self.trim_m_s2).into()
    }
}

/// A level circle, clockwise seen from above, through where it started.
#[derive(Clone, Copy, Debug)]
pub(super) struct CircleGuidance {
    center_m: Vector2<f64>,
    radius_m: f64,
    speed_m_s: f64,
    along_trim_m_s2: f64,
    inward_trim_m_s2: f64,
}

impl CircleGuidance {
    /// The centre lies to the right of the direction of travel.
    pub(super) fn starting(view: &View, radius_m: f64, speed_m_s: f64) -> Self {
        let velocity = view.velocity_m_s.xy();
        let heading = view.heading_rad();
        let travel =
            if velocity.norm() > SLOW_M_S { velocity.normalize() } else { Vector2::new(heading.cos(), heading.sin()) };
        let right = Vector2::new(-travel.y, travel.x);
        CircleGuidance {
            center_m: view.position_m.xy() + radius_m * right,
            radius_m,
            speed_m_s,
            along_trim_m_s2: 0.0,
            inward_trim_m_s2: 0.0,
        }
    }

    /// Acceleration (north, east) and yaw rate: centripetal v²/r known in advance, the rest feedback.
    pub(super) fn steer(&mut self, period_s: f64, view: &View) -> ([f64; 2], f64) {
        let out = view.position_m.xy() - self.center_m;
        let distance = out.norm();
        let outward = if distance > 0.0 { out / distance } else { Vector2::x() };
        let tangent = Vector2::new(-outward.y, outward.x);
        let velocity = view.velocity_m_s.xy();
        let (along, away) = (velocity.dot(&tangent), velocity.dot(&outward));

        let slow = self.speed_m_s - along;
        let off = distance - self.radius_m;
        let trimmed = |trim: f64, change: f64| (trim + period_s * change).clamp(-TRIM_MAX_M_S2, TRIM_MAX_M_S2);
        self.along_trim_m_s2 = trimmed(self.along_trim_m_s2, VELOCITY_INTEGRAL_PER_S2 * slow);
        self.inward_trim_m_s2 = trimmed(self.inward_trim_m_s2, RADIUS_INTEGRAL_PER_S3 * off);
        let inward = along * along / self.radius_m
            + RADIUS_GAIN_PER_S2 * off
            + VELOCITY_GAIN_PER_S * away
            + self.inward_trim_m_s2;
        let forward = VELOCITY_GAIN_PER_S * slow + self.along_trim_m_s2;
        let acceleration = forward * tangent - inward * outward;

        let off_tangent = tangent.y.atan2(tangent.x) - view.heading_rad();
        let off_tangent = off_tangent.sin().atan2(off_tangent.cos());
        (acceleration.into(), along / self.radius_m + HEADING_GAIN_PER_S * off_tangent)
    }
}
