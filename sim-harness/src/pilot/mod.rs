//! The script pilot: turns a leg's height, velocity or circle into thrust and attitude demands.
//!
//! It sees the truth and sits outside the flying code: the crates on the target know only the
//! set-points it hands them. Its own loops are slow and plain; they are there to fly the script, not
//! to be judged.

mod lateral;
mod vertical;

use evenkeel_controller::{BodyAxes, Motion, Motors, Setpoint};
use nalgebra::{UnitQuaternion, Vector3};

use crate::craft::Craft;
use crate::script::{Flight, Lateral, Leg};
use lateral::{CircleGuidance, VelocityHold};
use vertical::ThrustPilot;
pub(crate) use vertical::density_share;

/// What the pilot sees.
#[derive(Clone, Copy, Debug)]
pub struct View {
    /// Centre of mass: north, east, down.
    pub position_m: Vector3<f64>,
    /// North, east, down.
    pub velocity_m_s: Vector3<f64>,
    /// Body to world.
    pub attitude: UnitQuaternion<f64>,
    /// A foot touches the ground.
    pub on_ground: bool,
}

impl View {
    fn heading_rad(&self) -> f64 {
        self.attitude.euler_angles().2
    }
}

/// Flies the legs of one script.
#[derive(Clone, Debug)]
pub struct Pilot<'a> {
    legs: &'a [Leg],
    current: usize,
    gravity_m_s2: f64,
    tilt_max_rad: f64,
    thrust: ThrustPilot,
    velocity: VelocityHold,
    circle: Option<CircleGuidance>,
}

impl<'a> Pilot<'a> {
    /// A pilot for this craft and these legs, under this gravity, in air of the density at which a craft file gives thrust.
    pub fn new(craft: &Craft, gravity_m_s2: f64, tilt_max_rad: f64, legs: &'a [Leg]) -> Self {
        Pilot {
            legs,
            current: 0,
            gravity_m_s2,
            tilt_max_rad,
            thrust: ThrustPilot::new(craft, gravity_m_s2),
            velocity: VelocityHold::default(),
            circle: None,
        }
    }

    /// The same pilot, who knows the air where this flight starts.
    #[must_use]
    pub fn in_the_air_of(mut self, flight: &Flight) -> Self {
        self.thrust.density_share = density_share(flight);
        self
    }

    /// The demand at time `t_s`; call it once a control period, in order of time.
    pub fn setpoint(&mut self, t_s: f64, period_s: f64, view: &View) -> Setpoint<f64> {
        while self.current + 1 < self.legs.len() && self.legs.get(self.current).is_some_and(|leg| t_s >= leg.until_s) {
            self.current += 1;
            self.velocity = VelocityHold::default();
            self.circle = None;
        }
        let Some(leg) = self.legs.get(self.current) else { return Setpoint::DISARMED };
        let thrust_n = self.thrust.demand_n(leg.vertical, period_s, view);
        let motion = self.motion(leg.lateral, period_s, view);
        let motors = match (view.on_ground, self.thrust.is_low(thrust_n)) {
            (true, true) => Motors::Idle,
            (true, false) => Motors::Grounded,
            (false, _) => Motors::Flying,
        };
        Setpoint { motors, thrust_n, motion }
    }

    /// What a pilot asks for whose craft comes down by itself: level, with the thrust that carries it, so that it can be
    /// handed back. Nothing is learned meanwhile.
    pub fn waiting(&mut self) -> Setpoint<f64> {
        self.velocity = VelocityHold::default();
        self.circle = None;
        Setpoint { motors: Motors::Flying, thrust_n: self.thrust.let_go(), motion: Motion::LEVEL }
    }

    fn motion(&mut self, lateral: Lateral, period_s: f64, view: &View) -> Motion<f64> {
        match lateral {
            Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => {
                Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
            }
            Lateral::Rates(rates) => Motion::Rates(BodyAxes::from_array(rates)),
            Lateral::Velocity([north, east]) => {
                let acceleration = self.velocity.acceleration_m_s2([north, east], period_s, view);
                self.towards(acceleration, 0.0, view)
            }
            Lateral::Circle { radius_m, speed_m_s } => {
                let circle = self.circle.get_or_insert_with(|| CircleGuidance::starting(view, radius_m, speed_m_s));
                let (acceleration, yaw_rate_rad_s) = circle.steer(period_s, view);
                self.towards(acceleration, yaw_rate_rad_s, view)
            }
        }
    }

    /// Tilt that turns the thrust towards a horizontal acceleration (north, east).
    fn towards(&self, [north, east]: [f64; 2], yaw_rate_rad_s: f64, view: &View) -> Motion<f64> {
        let (sin, cos) = view.heading_rad().sin_cos();
        let size = north.hypot(east);
        let largest = self.gravity_m_s2 * self.tilt_max_rad.tan();
        let share = if size > largest { largest / size } else { 1.0 };
        let forward = share * (north * cos + east * sin);
        let right = share * (east * cos - north * sin);
        let pitch_rad = -(forward / self.gravity_m_s2).atan();
        let roll_rad = (right * pitch_rad.cos() / self.gravity_m_s2).atan();
        Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
    }
}
