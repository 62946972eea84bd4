//! A supervisor and the world around it, stepped sample by sample.

use evenkeel_controller::{BodyAxes, Decision, State, Supervisor, SupervisorConfig, SupervisorInput, SupervisorState};

/// Weight of the craft on the bench, newtons.
pub const HOVER_N: f64 = 16.0;
/// Sample period of the bench.
pub const PERIOD_US: u64 = 1000;

/// What a test may turn: a sound craft standing on level ground, with a pilot who waits.
#[derive(Clone, Copy, Debug)]
pub struct World {
    /// Demands keep coming.
    pub link: bool,
    /// Samples keep coming.
    pub sensors: bool,
    pub sensors_finite: bool,
    pub arm_request: bool,
    pub disarm: bool,
    /// Share of the weight.
    pub thrust_share: f64,
    pub tilt_deg: f64,
    pub rate_rad_s: f64,
    pub on_ground: Option<bool>,
    pub battery_share: Option<f64>,
    pub configuration_valid: bool,
    pub attitude_known: bool,
    pub rotor_stopped: bool,
    /// From one sample to the next.
    pub period_us: u64,
}

pub const SOUND: World = World {
    link: true,
    sensors: true,
    sensors_finite: true,
    arm_request: false,
    disarm: false,
    thrust_share: 0.0,
    tilt_deg: 0.0,
    rate_rad_s: 0.0,
    on_ground: Some(true),
    battery_share: Some(1.0),
    configuration_valid: true,
    attitude_known: true,
    rotor_stopped: false,
    period_us: PERIOD_US,
};

pub struct Bench {
    pub world: World,
    pub now_us: u64,
    supervisor: Supervisor<f32>,
    memory: SupervisorState,
    demand_at_us: Option<u64>,
    sensed_at_us: Option<u64>,
}

impl Bench {
    pub fn new(config: &SupervisorConfig) -> Self {
        Bench {
            world: SOUND,
            now_us: 0,
            supervisor: Supervisor::new(config).unwrap(),
            memory: SupervisorState::default(),
            demand_at_us: None,
            sensed_at_us: None,
        }
    }

    /// What the supervisor would be told now.
    pub fn input(&self) -> SupervisorInput<f32> {
        let world = &self.world;
        SupervisorInput {
            now_us: self.now_us,
            arm_request: world.arm_request,
            disarm: world.disarm,
            demand_at_us: self.demand_at_us,
            thrust_n: (world.thrust_share * HOVER_N) as f32,
            sensed_at_us: self.sensed_at_us,
            sensors_finite: world.sensors_finite,
            cos_tilt: world.tilt_deg.to_radians().cos() as f32,
            rate_rad_s: BodyAxes { roll: 0.0, pitch: world.rate_rad_s as f32, yaw: 0.0 },
            on_ground: world.on_ground,
            battery_share: world.battery_share.map(|share| share as f32),
            configuration_valid: world.configuration_valid,
            attitude_known: world.attitude_known,
            rotor_stopped: world.rotor_stopped,
        }
    }

    /// One sample.
    pub fn step(&mut self) -> Decision<f32> {
        self.now_us = self.now_us.saturating_add(self.world.period_us);
        if self.world.link {
            self.demand_at_us = Some(self.now_us);
        }
        if self.world.sensors {
            self.sensed_at_us = Some(self.now_us);
        }
        let input = self.input();
        self.supervisor.step(&mut self.memory, &input)
    }

    /// Samples until this state; the step that entered it.
    #[allow(dead_code, reason = "each test file includes this one and uses what it needs")]
    pub fn until(&mut self, state: State) -> Decision<f32> {
        let found = (0..5000).map(|_| self.step()).find(|step| step.state == state);
        found.unwrap_or_else(|| panic!("never came to {state}"))
    }
}
