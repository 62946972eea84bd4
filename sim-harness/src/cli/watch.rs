//! `evenkeel watch`: what a board on the bench senses and does, on its own clock and sensors.

use std::io::{self, ErrorKind, Write};
use std::path::PathBuf;

use clap::Args;
use evenkeel::board::{Address, Connection, OnBoard, Watch, craft_fingerprint};
use evenkeel::craft::Craft;
use evenkeel::file;
use evenkeel_controller::FlightStep;
use evenkeel_controller::link::{Arithmetic, Welcome};
use evenkeel_mixer::{Fixed, Scalar};

use super::outcome::{Outcome, Refusal};

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
    let out = &mut io::stdout();
    let head = format!("{}: roll, pitch deg; p, q, r deg/s; commands; state\n", welcome.name);
    if !shown(out, &head)? {
        return Ok(Outcome::Held);
    }
    let thrust_n = typed.thrust_share * craft.body.mass_kg * GRAVITY_M_S2;
    let mut next_line_s = 0.0;
    loop {
        let (t_s, record) = watch.record::<S>()?;
        if t_s >= typed.seconds {
            return Ok(Outcome::Held);
        }
        let (arm, thrust_n) = asked(typed.arm_with_propellers_off, thrust_n, t_s);
        watch.demand::<S>(arm, thrust_n)?;
        if t_s >= next_line_s {
            next_line_s += LINE_S;
            if !shown(out, &line(t_s, &record.step))? {
                return Ok(Outcome::Held);
            }
        }
    }
}

/// Whether to arm at this time, and the thrust to ask for then.
fn asked(arm: bool, thrust_n: f64, t_s: f64) -> (bool, f64) {
    let arm = arm && t_s >= ARM_AFTER_S;
    (arm, if arm && t_s >= THRUST_AFTER_S { thrust_n } else { 0.0 })
}

/// Prints a line; whether anybody reads on. Motors must not turn on unseen: when the reader has gone (`evenkeel watch
/// | head`), so has the watch.
fn shown(out: &mut impl Write, text: &str) -> Result<bool, Refusal> {
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(false),
        Err(error) => Err(Refusal::wrong_input(format!("the answer could not be written to standard output: {error}"))),
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

#[cfg(test)]
mod tests {
    use super::*;
    use evenkeel::craft::MAX_ROTORS;
    use evenkeel::demo;
    use evenkeel::onboard::Onboard;
    use evenkeel::preflight::flights;
    use evenkeel::script::World;
    use evenkeel::simulation::{HostComputer, fly_with, start_of};
    use evenkeel_controller::{BodyAxes, Quaternion};

    #[test]
    fn asks_for_arming_and_thrust_one_after_the_other_and_only_when_told_to() {
        for t_s in [0.0, 2.9, 3.0, 5.0, 100.0] {
            assert_eq!(asked(false, 5.0, t_s), (false, 0.0));
        }
        assert_eq!(asked(true, 5.0, 2.9), (false, 0.0), "the board must see it off first");
        assert_eq!(asked(true, 5.0, 3.0), (true, 0.0));
        assert_eq!(asked(true, 5.0, 4.9), (true, 0.0));
        assert_eq!(asked(true, 5.0, 5.0), (true, 5.0));
    }

    struct Out(ErrorKind);

    impl Write for Out {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(self.0.into())
        }

        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn ends_when_its_reader_has_gone_and_complains_when_the_disk_is_full() {
        assert!(matches!(shown(&mut Vec::new(), "x"), Ok(true)));
        assert!(matches!(shown(&mut Out(ErrorKind::BrokenPipe), "x"), Ok(false)));
        let refusal = shown(&mut Out(ErrorKind::StorageFull), "x").err().map(|refusal| refusal.outcome);
        assert_eq!(refusal, Some(Outcome::WrongInput));
    }

    /// The first step of a standard flight: a craft at rest, still to be told to arm.
    fn first_step() -> FlightStep<f32, MAX_ROTORS> {
        let craft = demo::quad().unwrap();
        let onboard = Onboard::<f32>::new(&craft, GRAVITY_M_S2).unwrap();
        let flight = flights::all(&craft, &onboard, &World::default()).swap_remove(0).flight;
        let mut host = HostComputer::new(&onboard, start_of(&craft, &onboard, &flight));
        let mut first = None;
        let answer = |sample: &_, pilot: &_| {
            first = Some(host.step(sample, pilot));
            Err(())
        };
        let _ = fly_with(&craft, &flight, &onboard, answer, &|_| (), &mut |_| ());
        first.unwrap()
    }

    #[test]
    fn line_shows_angles_rates_commands_state_and_every_reason() {
        let mut step = first_step();
        // Yaw first, then pitch, then roll: the angles of the report.
        let turn = |degrees: f32| degrees.to_radians();
        step.estimate.attitude =
            Quaternion::yaw(turn(70.0)) * Quaternion::pitch(turn(-20.0)) * Quaternion::roll(turn(35.0));
        step.estimate.rate_rad_s = BodyAxes { roll: 1.0, pitch: -2.0, yaw: 0.5 };
        for (command, value) in step.commands.iter_mut().zip([0.0, 0.25, 0.5, 1.0]) {
            *command = value;
        }
        let shown = line(1.5, &step);
        let words: Vec<&str> = shown.split_whitespace().take(10).collect();
        assert_eq!(words, ["1.50", "35.0", "-20.0", "57.3", "-114.6", "28.6", "0.000", "0.250", "0.500", "1.000"]);
        assert!(shown.contains(&format!("  {}, ", step.decision.state)), "{shown}");
        assert!(step.decision.reasons.iter().count() > 1, "there is more than one");
        for reason in step.decision.reasons.iter() {
            assert!(shown.contains(&format!(", {reason}")), "{shown}");
        }
        assert!(shown.ends_with('\n') && shown.lines().count() == 1);
    }

    #[test]
    fn line_shows_straight_up_and_what_is_no_number_without_a_panic() {
        let mut step = first_step();
        step.estimate.attitude = Quaternion::pitch(90.0_f32.to_radians());
        assert!(line(0.0, &step).contains(" 90.0"), "{}", line(0.0, &step));
        step.estimate.rate_rad_s.roll = f32::NAN;
        assert!(line(0.0, &step).contains("NaN"));
    }
}
