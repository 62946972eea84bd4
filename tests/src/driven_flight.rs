//! A hover in the simulation with one loop opened a little: something is added where the loop is cut, and what came back
//! there is read off. Sensors, filters, estimate, angle loop, mixer, delays and plant are those of any flight.
//!
//! The rate loops stand a second time in the closure, made from the same configuration, because the flight computer lets
//! nothing in between its loops; [`DrivenFlight::fly`] holds them to the computer's own, bit for bit, until something is
//! added.
//!
//! * Math: with d added behind the point where y comes back, u = y + d goes on, and the loop cut open there is −Y/U at each
//!   frequency. The closed loop holds the craft where it is.

use std::collections::VecDeque;
use std::convert::Infallible;
use std::f64::consts::TAU;

use evenkeel::craft::Craft;
use evenkeel::file::parse_flight;
use evenkeel::onboard::Onboard;
use evenkeel::simulation::{HostComputer, fly_with, start_of};
use evenkeel_controller::{AxisSetpoint, BodyAxes, Inertia, RateLoop, RateLoopState};
use evenkeel_mixer::Wrench;
use nalgebra::Complex;

use crate::similar_craft::onboard;

/// Where a loop is opened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Behind the rate loop: an angular acceleration is added.
    TorqueDemand,
    /// Between the angle loop and the rate loop: a rate is added.
    RateSetpoint,
}

/// What was seen at the cut, at each step.
#[derive(Clone, Debug, Default)]
pub struct Seen {
    /// What the loop gave back.
    pub back: Vec<f64>,
    /// What went on: that and what was added.
    pub on: Vec<f64>,
    /// Body rate about the axis, true.
    pub rate_rad_s: Vec<f64>,
    /// The steps at which a rotor met a limit.
    pub saturated: Vec<usize>,
}

/// One axis of a craft in hover, opened at one place.
pub struct DrivenFlight<'a> {
    /// The craft.
    pub craft: &'a Craft,
    /// Roll 0, pitch 1, yaw 2.
    pub axis: usize,
    /// Where.
    pub cut: Cut,
    /// Delay put in at the cut, in steps.
    pub late_steps: usize,
    /// `true`: the pilot asks for rates and a steady thrust, and no angle loop runs.
    pub rates: bool,
    /// Body rate at the start about the axis.
    pub start_rad_s: f64,
}

impl<'a> DrivenFlight<'a> {
    /// At rest, with nothing put in.
    pub fn of(craft: &'a Craft, axis: usize, cut: Cut) -> Self {
        DrivenFlight { craft, axis, cut, late_steps: 0, rates: false, start_rad_s: 0.0 }
    }

    /// Flies `steps` steps; `add` is told which step it is and says what is added. It must hold its value while the angle
    /// loop does.
    ///
    /// # Panics
    /// When the craft cannot be flown, the flight diverges, or the closure's loops are not the computer's.
    pub fn fly(&self, steps: usize, mut add: impl FnMut(usize) -> f64) -> Seen {
        let flying = onboard(self.craft);
        let duration_s = steps as f64 * flying.config.period_s;
        let thrust_n = self.rates.then_some(flying.authority.hover_n);
        let text = hover_flight(duration_s, duration_s, self.axis, self.start_rad_s, thrust_n);
        let flight = parse_flight("hover.toml", &text, self.craft).unwrap_or_else(|error| panic!("{error}\n{text}"));
        let mut host = HostComputer::new(&flying, start_of(self.craft, &flying, &flight));
        let mut loops = Loops::of(&flying);
        let mut seen = Seen::default();
        let mut late = VecDeque::from(vec![0.0; self.late_steps]);
        let mut untouched = self.late_steps == 0;
        let answer = |sample: &_, pilot: &_| {
            let mut step = host.step(sample, pilot);
            // Held: before the first sample, when the gyro is late.
            let Some(control) = &step.control else {
                for signal in [&mut seen.back, &mut seen.on, &mut seen.rate_rad_s] {
                    signal.push(0.0);
                }
                return Ok::<_, Infallible>(step);
            };
            let mut setpoint = control.rate_setpoint;
            let mut on_at = |back: f64, seen: &mut Seen| {
                late.push_back(back);
                let back = late.pop_front().unwrap_or_default();
                let added = add(seen.back.len());
                untouched &= added == 0.0;
                seen.back.push(back);
                seen.on.push(back + added);
                back + added
            };
            if self.cut == Cut::RateSetpoint {
                let mut rates = setpoint.rate_rad_s.to_array();
                rates[self.axis] = on_at(rates[self.axis], &mut seen);
                setpoint.rate_rad_s = BodyAxes::from_array(rates);
            }
            let mut asked = loops.step(setpoint, step.rate_rad_s);
            if self.cut == Cut::TorqueDemand {
                asked[self.axis] = on_at(asked[self.axis], &mut seen);
            }
            let torque = loops.inertia.torque(BodyAxes::from_array(asked), step.rate_rad_s);
            let thrust_n = control.allocation.demand.thrust_n;
            let demand = Wrench { thrust_n, roll_nm: torque.roll, pitch_nm: torque.pitch, yaw_nm: torque.yaw };
            let allocation = flying.mixer.allocate(demand);
            if allocation.saturated() {
                seen.saturated.push(seen.back.len() - 1);
            }
            seen.rate_rad_s.push(step.rate_rad_s.to_array()[self.axis]);
            let commands = flying.mixer.commands(&allocation);
            // What was never touched is the computer's own, or nothing here says anything about it.
            assert!(!untouched || commands == step.commands, "step {}", seen.back.len());
            step.commands = commands;
            Ok::<_, Infallible>(step)
        };
        fly_with(self.craft, &flight, &flying, answer, &|_| (), &mut |_| ()).unwrap_or_else(|error| panic!("{error}"));
        seen
    }

    /// The loop cut open at each of these frequencies, one after the other in one flight, driven with this amplitude; each
    /// with the frequency that was driven, near the one asked for: a period is a whole number of steps.
    ///
    /// # Panics
    /// As [`DrivenFlight::fly`], and when a rotor meets a limit.
    pub fn swept(&self, omegas_rad_s: &[f64], settle_s: f64, amplitude: f64) -> Vec<(f64, Complex<f64>)> {
        let (period_s, held) = (1.0 / self.craft.loops.rate_hz, self.craft.loops.angle_divider as usize);
        let mut sweep = Vec::new();
        let mut from = 0;
        for omega in omegas_rad_s {
            let angle_steps = TAU / (omega * period_s * held as f64);
            let cycle = match self.cut {
                Cut::TorqueDemand => (TAU / (omega * period_s)).round() as usize,
                Cut::RateSetpoint => angle_steps.round() as usize * held,
            };
            // Whole periods of the angle loop, too.
            let counted = cycle * held * (400 / (cycle * held)).max(1);
            let counted = if cycle.is_multiple_of(held) && cycle > 400 { 2 * cycle } else { counted };
            let settling = (settle_s / period_s) as usize / cycle * cycle + cycle;
            sweep.push(Tone { from, first: from + settling, end: from + settling + counted, cycle });
            from = (from + settling + counted).next_multiple_of(held);
        }
        let hold = if self.cut == Cut::RateSetpoint { held } else { 1 };
        let seen = self.fly(from, |step| {
            let step = step - step % hold;
            let tone = sweep.iter().rev().find(|tone| tone.from <= step);
            tone.map_or(0.0, |tone| amplitude * tone.turn(step).re)
        });
        assert!(seen.saturated.is_empty(), "small enough for no limit: {:?}", seen.saturated.first());
        sweep
            .iter()
            .map(|tone| (TAU / (tone.cycle as f64 * period_s), -tone.part(&seen.back) / tone.part(&seen.on)))
            .collect()
    }
}

/// One frequency of the sweep, in steps.
struct Tone {
    from: usize,
    /// Counted from here ...
    first: usize,
    /// ... to here.
    end: usize,
    cycle: usize,
}

impl Tone {
    fn turn(&self, step: usize) -> Complex<f64> {
        Complex::cis(TAU * ((step - self.from) % self.cycle) as f64 / self.cycle as f64)
    }

    /// The part of a signal at this frequency.
    fn part(&self, signal: &[f64]) -> Complex<f64> {
        (self.first..self.end).filter_map(|step| Some(self.turn(step).conj() * *signal.get(step)?)).sum()
    }
}

/// Rate loops and inertia, as in the computer.
struct Loops {
    rate: [RateLoop<f64>; 3],
    state: [RateLoopState<f64>; 3],
    inertia: Inertia<f64>,
}

impl Loops {
    fn of(flying: &Onboard<f64>) -> Self {
        let config = &flying.config;
        let made = |axis: usize| RateLoop::new(&config.rate[axis], config.period_s).unwrap_or_else(|e| panic!("{e}"));
        Loops {
            rate: [made(0), made(1), made(2)],
            state: Default::default(),
            inertia: Inertia::new(config.inertia_kg_m2).unwrap_or_else(|error| panic!("{error}")),
        }
    }

    fn step(&mut self, setpoint: evenkeel_controller::RateSetpoint<f64>, rate_rad_s: BodyAxes<f64>) -> [f64; 3] {
        let wanted =
            [setpoint.rate_rad_s, setpoint.acceleration_rad_s2, setpoint.expected_rad_s2].map(BodyAxes::to_array);
        let mut asked = [0.0; 3];
        for (axis, asked) in asked.iter_mut().enumerate() {
            let [wanted_rad_s, known_rad_s2, expected_rad_s2] = wanted.map(|axes| axes[axis]);
            let setpoint = AxisSetpoint { wanted_rad_s, known_rad_s2, expected_rad_s2 };
            *asked = self.rate[axis].step(&mut self.state[axis], setpoint, rate_rad_s.to_array()[axis]);
            self.rate[axis].integrate(&mut self.state[axis], 0.0);
        }
        asked
    }
}

/// A hover high up that begins turning about one axis; with a thrust, that and no turn are asked for instead of a height and
/// a level attitude.
pub fn hover_flight(
    duration_s: f64,
    log_period_s: f64,
    axis: usize,
    start_rad_s: f64,
    thrust_n: Option<f64>,
) -> String {
    let mut rate = [0.0; 3];
    rate[axis] = start_rad_s;
    let leg = match thrust_n {
        Some(thrust_n) => format!("thrust_n = {thrust_n}\nrate_deg_s = [0.0, 0.0, 0.0]"),
        None => "height_m = 100.0".to_string(),
    };
    format!(
        "format = 1\nname = \"hover\"\nduration_s = {duration_s}\nlog_period_s = {log_period_s}\n[initial]\n\
         position_m = [0.0, 0.0, -100.0]\nrate_rad_s = {rate:?}\n[[leg]]\nname = \"hover\"\nuntil_s = {duration_s}\n{leg}\n"
    )
}
