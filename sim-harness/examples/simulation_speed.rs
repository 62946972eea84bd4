//! How many seconds of flight the whole simulation flies in a second of one core: controller and mixer at 1 kHz, the plant by
//! Runge-Kutta steps of a millisecond, and the log, with wind that never rests.
//!
//! Run by hand; it prints and judges nothing, because a slow machine is no fault of the code. Counted is the time that this
//! thread had a core, where the system tells, and the best of a few runs: what else the machine does takes little of that.
//!
//! `cargo run --release -p evenkeel --example simulation_speed`
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use evenkeel::craft::Craft;
use evenkeel::file::{parse_flight, read_craft};
use evenkeel::onboard::Onboard;
use evenkeel::simulation::{SUBSTEP_MAX_NS, fly};

/// Flight-seconds a second to compare with; a choice of this project.
const COMPARED_WITH: f64 = 500.0;
const RATE_HZ: f64 = 1000.0;
const REPEATS: u32 = 5;

const FLIGHT: &str = "format = 1\nname = \"speed\"\nduration_s = 60.0\nlog_period_s = 0.02\n\
[world]\nwind_m_s = [4.0, 1.0, 0.0]\n[world.turbulence]\nwind_20ft_m_s = 7.7\n\
[[leg]]\nuntil_s = 10.0\nheight_m = 20.0\n[[leg]]\nuntil_s = 30.0\nheight_m = 20.0\npitch_deg = -10.0\n\
[[leg]]\nheight_m = 20.0\ncircle = { radius_m = 20.0, speed_m_s = 5.0 }\n";

/// Time that this thread had a core; where the system does not tell, time on the wall.
struct Clock {
    wall: Instant,
    core_ns: Option<f64>,
}

impl Clock {
    fn start() -> Self {
        Clock { wall: Instant::now(), core_ns: on_a_core_ns() }
    }

    fn elapsed_s(&self) -> f64 {
        match self.core_ns.zip(on_a_core_ns()) {
            Some((from, to)) if to > from => 1.0e-9 * (to - from),
            _ => self.wall.elapsed().as_secs_f64(),
        }
    }
}

/// What Linux keeps of this thread: time on a core, time waiting for one, turns.
fn on_a_core_ns() -> Option<f64> {
    let kept = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    kept.split_whitespace().next()?.parse().ok()
}

/// Best of a few runs: what else the machine does only slows a run down.
fn flight_seconds_per_second(craft: &Craft) -> Result<f64, Box<dyn Error>> {
    let flight = parse_flight("speed", FLIGHT, craft)?;
    let onboard = Onboard::<f32>::new(craft, flight.world.gravity_m_s2)?;
    let mut best = 0.0_f64;
    for _ in 0..REPEATS {
        let started = Clock::start();
        let recording = fly(craft, black_box(&flight), Some(&onboard), &|_| ())?;
        let core_s = started.elapsed_s();
        let flown_s = black_box(&recording).rows.last().map_or(0.0, |row| row.t_s);
        best = best.max(flown_s / core_s);
    }
    Ok(best)
}

fn main() -> Result<(), Box<dyn Error>> {
    assert_eq!(SUBSTEP_MAX_NS, 1_000_000, "the figure is for steps of a millisecond");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts");
    for name in ["quad", "six", "eight"] {
        let mut craft = read_craft(&folder.join(name).with_extension("toml"))?;
        craft.loops.rate_hz = RATE_HZ;
        let speed = flight_seconds_per_second(&craft)?;
        println!("{name}: {speed:.0} flight-seconds a second, {:.1} times {COMPARED_WITH}", speed / COMPARED_WITH);
    }
    Ok(())
}
