//! Gentle flights, the same every time, each step counted whole.

use core::hint::black_box;

use evenkeel_controller::{
    BodyAxes, FlightComputer, FlightComputerConfig, FlightState, FlightStep, PilotDemand, Quaternion, Sample,
};
use evenkeel_counts::counter::Counter;
use evenkeel_mixer::{Design, Mixer};

use crate::inputs::{GENTLE, Noise, PERIOD_US, input};

/// A flight is begun anew after so many steps, or after the first demand that is not met: what is sensed does not answer
/// the commands, and what the integrators take from that would saturate in the end.
const FLIGHT_STEPS: u64 = 64;

/// What flies.
pub struct Flying<'a, const N: usize, const F: usize> {
    /// The computer.
    pub computer: &'a FlightComputer<f32>,
    /// What it remembers.
    pub state: FlightState<f32, N>,
    /// The mixer, whose ceilings follow the battery.
    pub mixer: Mixer<f32, N, F>,
}

/// A step that was counted.
#[derive(Clone, Copy)]
pub struct Counted {
    /// Instructions.
    pub count: u32,
    /// Whether some demand was not met; none when the loops did not run.
    pub saturated: Option<bool>,
    /// Where the ceilings stand, share of a full battery's.
    pub ceiling_share: f32,
}

impl<const N: usize, const F: usize> Flying<'_, N, F> {
    /// Flies one step and counts it; leaves its record where one is asked for, and then the count has a copy too many.
    ///
    /// All steps are counted here: where the step is called from one place alone, as in a port, the compiler puts it
    /// there in line.
    #[inline(never)]
    pub fn step(
        &mut self,
        counter: &Counter,
        sample: &Sample<f32, N>,
        pilot: &PilotDemand<f32>,
        mut record: Option<&mut Option<FlightStep<f32, N>>>,
    ) -> Counted {
        let Flying { computer, state, mixer } = self;
        let (mut saturated, mut ceiling_share) = (None, 0.0);
        let count = counter.instructions(|| {
            let step = black_box(*computer).step(
                black_box(&mut *state),
                black_box(sample),
                black_box(pilot),
                black_box(&mut *mixer),
            );
            ceiling_share = black_box(&step).ceiling_share;
            saturated = step.control.as_ref().map(|control| control.allocation.saturated());
            if let Some(record) = record.as_deref_mut() {
                *record = Some(step);
            }
        });
        Counted { count, saturated, ceiling_share }
    }
}

/// Gentle flights, the same every time.
pub struct Flights<'a, const N: usize, const F: usize> {
    flying: Flying<'a, N, F>,
    noise: Noise,
    /// Of the next step in its flight.
    number: u64,
    begun_us: u64,
    hover_n: f32,
    angle_divider: u64,
}

/// A step of them.
pub struct Flown<const N: usize> {
    /// What was measured.
    pub sample: Sample<f32, N>,
    /// What was asked.
    pub pilot: PilotDemand<f32>,
    /// What it cost.
    pub counted: Counted,
    /// Its place in its flight.
    pub number: u64,
    /// Steps until the angle loop runs; none when it runs in this one.
    pub steps_to_angle_loop: u32,
}

impl<'a, const N: usize, const F: usize> Flights<'a, N, F> {
    /// From the first step.
    pub fn new(
        computer: &'a FlightComputer<f32>,
        design: &Design<N, F>,
        config: &FlightComputerConfig,
        begun_us: u64,
    ) -> Self {
        Flights {
            flying: Flying { computer, state: level(), mixer: Mixer::new(design) },
            noise: Noise::new(),
            number: 0,
            begun_us,
            hover_n: config.supervisor.hover_thrust_n as f32,
            angle_divider: u64::from(config.controller.angle_divider),
        }
    }

    /// The next step; as [`Flying::step`].
    pub fn step(&mut self, counter: &Counter, record: Option<&mut Option<FlightStep<f32, N>>>) -> Flown<N> {
        let number = self.number;
        if number == 0 {
            self.flying.state = level();
        }
        let now_us = self.begun_us + number * PERIOD_US;
        let (sample, pilot) = input::<N>(&mut self.noise, now_us, self.hover_n, GENTLE);
        let counted = self.flying.step(counter, &sample, &pilot, record);
        self.number = if counted.saturated == Some(false) { (number + 1) % FLIGHT_STEPS } else { 0 };
        let steps_to_angle_loop = (self.angle_divider - number % self.angle_divider) % self.angle_divider;
        Flown { sample, pilot, counted, number, steps_to_angle_loop: steps_to_angle_loop as u32 }
    }
}

fn level<const N: usize>() -> FlightState<f32, N> {
    FlightState::in_flight(Quaternion::IDENTITY, BodyAxes::default())
}
