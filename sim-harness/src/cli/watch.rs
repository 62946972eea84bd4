//! `evenkeel watch`: what a board on the bench senses and does, on its own clock and sensors.

use std::path::PathBuf;

use clap::Args;
use evenkeel::board::{Address, Connection, OnBoard, Watch, craft_fingerprint};
use evenkeel::craft::Craft;
use evenkeel::file;
use evenkeel_controller::FlightStep;
use evenkeel_controller::link::{Arithmetic, Welcome};
use evenkeel_mixer::{Fixed, Scalar};

use super::outcome::{Outcome, Refusal};
use super::terminal;

/// The gravity that a board reckons with.
const GRAVITY_M_S2: f64 = 9.806_65;
/// The arm request is off for this long at first: the board must see it off, align, and be still.
const ARM_AFTER_S: f64 = 3.0;
/// From then on the thrust is asked for.
const THRUST_AFTER_S: f64 = 5.0;
/// A line so often.
const LINE_S: f64 = 0.2;

/// Watch a board on the bench.
#[derive(Debug, Args)]
pub struct WatchArgs {
    /// Craft file of the board's craft.
    craft: PathBuf,
    /// Serial device, tcp:HOST:PORT, unix:PATH or pipe:FOLDER.
    #[arg(long, value_name = "ADDRESS")]
    board: String,
    /// End after this many seconds.
    #[arg(long, value_name = "S", default_value_t = 3600.0)]
    seconds: f64,
    /// Arm after 3 s. This turns the motors: take the propellers off first.
    #[arg(long)]
    arm_with_propellers_off: bool,
    /// Thrust to ask for once armed, as a share of the weight.
    #[arg(long, value_name = "SHARE", default_value_t = 0.0, requires = "arm_with_propellers_off")]
    thrust_share: f64,
}

pub fn run(typed: &WatchArgs) -> Result<Outcome, Refusal> {
    if !(typed.seconds > 0.0) {
        return Err(Refusal::wrong_input(format!("--seconds {}: must be above 0", typed.seconds)));
    }
    if !(typed.thrust_share >= 0.0 && typed.thrust_share <= 0.5) {
        return Err(Refusal::wrong_input(format!(
            "--thrust-share {}: must be from 0 to 0.5; a bench needs no more",
            typed.thrust_share
        )));
    }
    let craft = file::read_craft(&typed.craft)?;
    let (connection, welcome) = Connection::open(&typed.board.parse::<Address>()?)?;
    match welcome.arithmetic {
        Arithmetic::F32 => watch::<f32>(typed, &craft, connection, &welcome),
        Arithmetic::Fixed => watch::<Fixed>(typed, &craft, connection, &welcome),
    }
}

fn watch<S: OnBoard>(
    typed: &WatchArgs,
    craft: &Craft,
    connection: Connection,
    welcome: &Welcome,
) -> Result<Outcome, Refusal> {
    let fingerprint = craft_fingerprint(craft, GRAVITY_M_S2)?;
    let mut watch = Watch::begin::<S>(connection, welcome, fingerprint, craft.loops.rate_hz)?;
    terminal::answer(&format!("{}: roll, pitch deg; p, q, r deg/s; commands; state\n", welcome.name))?;
    let thrust_n = typed.thrust_share * craft.body.mass_kg * GRAVITY_M_S2;
    let mut next_line_s = 0.0;
    loop {
        let (t_s, record) = watch.record::<S>()?;
        if t_s >= typed.seconds {
            return Ok(Outcome::Held);
        }
        let arm = typed.arm_with_propellers_off && t_s >= ARM_AFTER_S;
        watch.demand::<S>(arm, if arm && t_s >= THRUST_AFTER_S { thrust_n } else { 0.0 })?;
        if t_s >= next_line_s {
            next_line_s += LINE_S;
            terminal::answer(&line(t_s, &record.step))?;
        }
    }
}

fn line<S: Scalar, const N: usize>(t_s: f64, step: &FlightStep<S, N>) -> String {
    let [w, x, y, z] = step.estimate.attitude.to_array().map(S::to_f64);
    let roll = (2.0 * (w * x + y * z)).atan2(1.0 - 2.0 * (x * x + y * y)).to_degrees();
    let pitch = (2.0 * (w * y - z * x)).clamp(-1.0, 1.0).asin().to_degrees();
    let [p, q, r] = step.estimate.rate_rad_s.to_array().map(|rate| rate.to_f64().to_degrees());
    let commands: String = step.commands.iter().map(|command| format!(" {:.3}", command.to_f64())).collect();
    let reasons: String = step.decision.reasons.iter().map(|reason| format!(", {reason}")).collect();
    format!("{t_s:8.2}  {roll:7.1} {pitch:7.1}  {p:7.1} {q:7.1} {r:7.1} {commands}  {}{reasons}\n", step.decision.state)
}
