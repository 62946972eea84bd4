//! Runs the built command in a folder of its own.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::Value;
use tempfile::TempDir;

/// The demo quad.
pub const QUAD: &str = include_str!("../../crafts/quad.toml");
/// The log of a craft with four rotors, as the file formats promise it.
pub const HEADER_FLIGHT: &str = "t_s,north_m,east_m,down_m,v_north_m_s,v_east_m_s,v_down_m_s,q_w,q_x,q_y,q_z,\
p_rad_s,q_rad_s,r_rad_s,demand_thrust_n,demand_roll_nm,demand_pitch_nm,demand_yaw_nm,achieved_thrust_n,\
achieved_roll_nm,achieved_pitch_nm,achieved_yaw_nm,rotor_1_n,rotor_2_n,rotor_3_n,rotor_4_n,\
command_1,command_2,command_3,command_4,\
est_q_w,est_q_x,est_q_y,est_q_z,est_p_rad_s,est_q_rad_s,est_r_rad_s,est_bias_p_rad_s,est_bias_q_rad_s,est_bias_r_rad_s,\
state,flags,control_margin_nm,voltage_share,rotors_out";
/// Allocations of a craft with four rotors.
pub const HEADER_MIX: &str = "thrust_n,roll_nm,pitch_nm,yaw_nm,achieved_thrust_n,achieved_roll_nm,\
achieved_pitch_nm,achieved_yaw_nm,rotor_1_n,rotor_2_n,rotor_3_n,rotor_4_n,command_1,command_2,command_3,command_4";
/// Easy, awkward and impossible demands.
pub const DEMANDS: &str = "thrust_n,roll_nm,pitch_nm,yaw_nm
15.69,0,0,0
0.1,0.3,-0.7,0.0123456789
31.9,1e-3,-2e-9,0.1
12,5,-7,3
0,0,0,-0
1e30,0,0,0
";

const HEAD: &str = "format = 1\nname = \"bench craft\"\n[body]\nmass_kg = 1.6\n\
inertia_kg_m2 = { xx = 0.0165, yy = 0.0170, zz = 0.0310 }\n[rotors]\nthrust_max_n = 8.0\nthrust_min_n = 0.3\n\
torque_per_thrust_m = 0.016\nresponse_time_s = 0.035\n";
const RING: &str = "[layout]\nrotors = 4\narm_m = 0.25\nfirst_azimuth_deg = 45.0\n";
const FLIGHT: &str = "format = 1\nname = \"up\"\nduration_s = 2.0\nlog_period_s = 0.02\n\
[world]\nwind_m_s = [1.0, 0.5, 0.0]\n[[leg]]\nname = \"up\"\nuntil_s = 2.0\nheight_m = 3.0\n";

/// A run that takes longer says meanwhile how far it is.
const SILENT_AT_MOST: Duration = Duration::from_secs(8);

/// What a run left.
#[derive(Debug)]
pub struct Answer {
    pub status: i32,
    pub out: String,
    pub err: String,
}

impl Answer {
    /// Standard error without the lines that say how far a long run is: a busy machine makes any run long.
    pub fn complaints(&self) -> String {
        let sign_of_life = |line: &&str| line.ends_with(" flown") && line.contains(" of ");
        self.err.lines().filter(|line| !sign_of_life(line)).map(|line| format!("{line}\n")).collect()
    }

    /// Standard output as the one JSON object it must be.
    pub fn object(&self) -> Value {
        let value: Value = serde_json::from_str(&self.out).unwrap_or_else(|error| panic!("{error}: {self:?}"));
        assert!(value.is_object(), "{value}");
        value
    }
}

/// A folder with crafts and flights.
pub struct Bench(TempDir);

impl Bench {
    pub fn new() -> Self {
        let bench = Bench(TempDir::new().expect("a folder"));
        let placed = |places: &[(&str, &str)]| {
            let one =
                |(place, spin): &(&str, &str)| format!("[[rotor]]\nposition_m = [{place}, 0.0]\nspin = \"{spin}\"\n");
            HEAD.to_owned() + &places.iter().map(one).collect::<String>()
        };
        let same = [("0.2, 0.2", "cw"), ("-0.2, 0.2", "cw"), ("-0.2, -0.2", "cw"), ("0.2, -0.2", "cw")];
        let off = HEAD.replace("mass_kg = 1.6", "mass_kg = 1.6\ncenter_of_mass_m = [0.4, 0.0, 0.0]");
        let files = [
            ("quad.toml", QUAD.to_owned()),
            ("six.toml", include_str!("../../crafts/six.toml").to_owned()),
            ("unfit.toml", include_str!("../../crafts/unfit.toml").to_owned()),
            ("same_spin.toml", placed(&same)),
            ("two.toml", placed(&[("0.0, 0.2", "cw"), ("0.0, -0.2", "ccw")])),
            ("off.toml", off + RING),
            ("heavy.toml", HEAD.replace("mass_kg = 1.6", "mass_kg = 16.0") + RING),
            ("wrong.toml", HEAD.replace("mass_kg = 1.6", "mass_kg = -1.6") + RING),
            ("flight.toml", FLIGHT.to_owned()),
            ("demands.csv", DEMANDS.to_owned()),
            ("wrong.csv", "thrust_n,roll_nm,pitch_nm,yaw_nm\n1,0,0,0\n1,0,zero,0\n".to_owned()),
        ];
        for (name, text) in files {
            fs::write(bench.path(name), text).expect("a file");
        }
        fs::create_dir(bench.path("folder")).expect("a folder");
        bench
    }

    pub fn folder(&self) -> &Path {
        self.0.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder().join(name)
    }

    /// Names in the folder.
    pub fn files(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder()).expect("a folder");
        let mut names: Vec<String> =
            entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }

    pub fn run(&self, typed: &[&str]) -> Answer {
        run_in(self.folder(), typed, &[])
    }

    /// Exit status 2, one message that names what is wrong, and nothing else: not on standard output, not on disk.
    pub fn refuses(&self, typed: &[&str], names: &str) {
        let before = self.files();
        let answer = self.run(typed);
        assert_eq!(answer.status, 2, "{typed:?}: {answer:?}");
        assert_eq!(answer.out, "", "{typed:?}: nothing on standard output");
        assert!(answer.err.contains(names), "{typed:?} must name {names}: {}", answer.err);
        let messages = answer.err.lines().filter(|line| line.starts_with("evenkeel: ") || line.starts_with("error: "));
        assert_eq!(messages.count(), 1, "{typed:?}: one message: {}", answer.err);
        assert_eq!(self.files(), before, "{typed:?}: nothing is left behind");
    }

    /// Standard output is a pipe that nobody reads any more.
    pub fn run_with_closed_output(&self, typed: &[&str]) -> Answer {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        finish(command(self.folder(), typed, &[]).stdout(writer))
    }
}

/// Runs the command, with variables set.
pub fn run_in(folder: &Path, typed: &[&str], set: &[(&str, &str)]) -> Answer {
    finish(command(folder, typed, set).stdout(Stdio::piped()))
}

fn command(folder: &Path, typed: &[&str], set: &[(&str, &str)]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_evenkeel"));
    command.args(typed).current_dir(folder).env("RUST_BACKTRACE", "1").stdin(Stdio::null()).stderr(Stdio::piped());
    command.env_remove("NO_COLOR").envs(set.iter().copied());
    command
}

/// No run of any test may panic.
fn finish(command: &mut Command) -> Answer {
    let begun = Instant::now();
    let output = command.output().expect("the command runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    // A process that a signal ended has no status.
    let status = output.status.code().unwrap_or(-1);
    let mut answer = Answer { status, out: text(output.stdout), err: text(output.stderr) };
    if begun.elapsed() >= SILENT_AT_MOST {
        // A machine with much else to do: the lines that say that a long run goes on are right there.
        answer.err = answer.err.split_inclusive('\n').filter(|line| !is_sign_of_life(line)).collect();
    }
    for word in ["panicked", "RUST_BACKTRACE", "stack backtrace", "/src/"] {
        assert!(!answer.out.contains(word) && !answer.err.contains(word), "{answer:?}");
    }
    answer
}

/// `evenkeel: 3 of 16 flights flown` and the like.
fn is_sign_of_life(line: &str) -> bool {
    let mut words = line.split_whitespace();
    let [command, done, of, all] = [(); 4].map(|()| words.next().unwrap_or_default());
    let is_number = |word: &str| word.parse::<u64>().is_ok();
    command == "evenkeel:" && is_number(done) && of == "of" && is_number(all)
}
