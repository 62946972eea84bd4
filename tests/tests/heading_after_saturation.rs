//! The heading after yaw torque was cut: the nose has no turn to make up for once the rotors answer again, and a heading that
//! was held comes back.

use evenkeel::craft::Craft;
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::onboard::Onboard;
use evenkeel::recording::{Recording, Row};
use evenkeel::simulation::fly;
use evenkeel_mixer::{Fixed, Scalar};

const CRAFTS: [(&str, &str); 3] = [
    ("quad", include_str!("../../sim-harness/crafts/quad.toml")),
    ("six", include_str!("../../sim-harness/crafts/six.toml")),
    ("eight", include_str!("../../sim-harness/crafts/eight.toml")),
];
const GRAVITY: f64 = 9.806_65;
const ASKS_S: f64 = 1.0;

fn flown<S: Scalar>(craft: &Craft, demand: &Demand) -> Recording {
    let Demand { thrust_share, lean_deg, turn_deg_s, lasts_s } = demand;
    let ceiling_n: f64 = craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum();
    let (thrust_n, lets_go_s) = (thrust_share * ceiling_n, ASKS_S + lasts_s);
    let text = format!(
        "format = 1\nname = \"cut\"\nduration_s = {}\nlog_period_s = 0.005\n[initial]\nposition_m = [0.0, 0.0, -100.0]\n\
         [[leg]]\nuntil_s = {ASKS_S}\nheight_m = 100.0\n[[leg]]\nuntil_s = {lets_go_s}\nthrust_n = {thrust_n}\n\
         roll_deg = {lean_deg}\npitch_deg = -{lean_deg}\nyaw_rate_deg_s = {turn_deg_s}\n[[leg]]\nclimb_m_s = 0.0\n",
        lets_go_s + 4.0
    );
    let flight = parse_flight("flight.toml", &text, craft).unwrap_or_else(|error| panic!("{error}"));
    let onboard = Onboard::<S>::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    fly(craft, &flight, Some(&onboard), &|_| ()).unwrap_or_else(|error| panic!("{error}"))
}

/// Hover, then this share of all the thrust, leant, with a turn; then level, with the heading held.
struct Demand {
    thrust_share: f64,
    lean_deg: f64,
    turn_deg_s: f64,
    lasts_s: f64,
}

/// What the nose does, degrees from where it was when the demand began.
#[derive(Debug)]
struct Nose {
    released_deg: f64,
    released_deg_s: f64,
    /// Farthest in the sense of the turn, and farthest back, while the demand lasts.
    asked_deg: [f64; 2],
    /// The same from then on.
    after_deg: [f64; 2],
    end_deg: f64,
    /// Share of the rows of the demand in which yaw torque was missing.
    short_share: f64,
}

impl Nose {
    fn of<S: Scalar>(craft: &Craft, demand: &Demand) -> Nose {
        let recording = flown::<S>(craft, demand);
        let lets_go_s = ASKS_S + demand.lasts_s;
        let sense = if demand.turn_deg_s < 0.0 { -1.0 } else { 1.0 };
        let turn_deg = |row: &Row| sense * row.euler_rad()[2].to_degrees();
        let farthest = |from_s, to_s| {
            let turns = recording.between(from_s, to_s).map(turn_deg);
            turns.fold([f64::NEG_INFINITY, f64::INFINITY], |[most, least], turn| [turn.max(most), turn.min(least)])
        };
        let short =
            |row: &Row| f64::from((row.demand.yaw_nm - row.achieved.yaw_nm).abs() > 0.01 * row.demand.yaw_nm.abs());
        let shorts: Vec<f64> = recording.between(ASKS_S + 0.01, lets_go_s - 0.01).map(short).collect();
        let released = recording.between(ASKS_S, lets_go_s).last().expect("a row");
        Nose {
            released_deg: turn_deg(released),
            released_deg_s: sense * released.rate_rad_s[2].to_degrees(),
            asked_deg: farthest(ASKS_S, lets_go_s),
            after_deg: farthest(lets_go_s, f64::INFINITY),
            end_deg: turn_deg(recording.rows.last().expect("a row")),
            short_share: shorts.iter().sum::<f64>() / shorts.len() as f64,
        }
    }
}

fn crafts() -> [(&'static str, Craft); 3] {
    CRAFTS.map(|(name, text)| (name, parse_craft("craft.toml", text).unwrap_or_else(|error| panic!("{error}"))))
}

/// The angle in which a turn is stopped: with half the yaw torque to spare from hover, which is what the shaped motion takes,
/// behind the rotors.
///
/// Source: kinematics of constant deceleration.
fn stop_deg(craft: &Craft, rate_deg_s: f64) -> f64 {
    let onboard = Onboard::<f64>::new(craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
    let [_, _, acceleration_rad_s2] = onboard.authority.acceleration_rad_s2;
    rate_deg_s.abs() * (rate_deg_s.abs().to_radians() / acceleration_rad_s2 + 2.0 * craft.slowest_lag_s())
}

const WAYS: [f64; 2] = [1.0, -1.0];
/// Of the turn that is left once the rotors answer again: reaction of rotors that slow down, noise of the gyro.
const LEFT_DEG: f64 = 3.0;

/// The nose ends within the stopping angle of where the sticks let go, or where it was before it was pushed back. The turn that
/// was asked for and not flown is many times that.
#[test]
fn nose_makes_no_turn_later_when_yaw_was_cut_for_thrust() {
    for (name, craft) in crafts() {
        for (way, lasts_s) in WAYS.into_iter().flat_map(|way| [(way, 1.0), (way, 4.0)]) {
            let demand = Demand { thrust_share: 1.0, lean_deg: 15.0, turn_deg_s: way * 0.5_f64.to_degrees(), lasts_s };
            for nose in [Nose::of::<f32>(&craft, &demand), Nose::of::<Fixed>(&craft, &demand)] {
                assert!(nose.short_share > 0.5, "{name}: yaw is cut: {nose:?}");
                let [farthest_deg, _] = nose.asked_deg;
                let stop_deg = stop_deg(&craft, nose.released_deg_s) + LEFT_DEG;
                let ([most_deg, _], limit_deg) = (nose.after_deg, farthest_deg + stop_deg);
                assert!(most_deg <= limit_deg && nose.end_deg <= limit_deg, "{name} {lasts_s}: {limit_deg} {nose:?}");
                assert!(
                    nose.end_deg >= nose.released_deg - LEFT_DEG,
                    "{name} {lasts_s}: it does not turn back: {nose:?}"
                );
            }
        }
    }
}

/// Some of the torque is there: the nose turns as it can, and comes to rest where it can when the sticks let go.
#[test]
fn nose_stops_where_it_can_when_a_long_turn_was_cut_in_part() {
    for (name, craft) in crafts() {
        let demand = Demand { thrust_share: 0.95, lean_deg: 0.0, turn_deg_s: 28.6, lasts_s: 3.0 };
        let nose = Nose::of::<f32>(&craft, &demand);
        assert!(nose.short_share > 0.05 && nose.short_share < 0.5, "{name}: cut in part: {nose:?}");
        let ([most_deg, _], stop_deg) = (nose.after_deg, stop_deg(&craft, nose.released_deg_s));
        assert!(most_deg <= nose.released_deg + stop_deg + LEFT_DEG, "{name}: {stop_deg} {nose:?}");
        assert!((nose.end_deg - most_deg).abs() < LEFT_DEG, "{name}: {nose:?}");
    }
}

/// With the stick centred nothing was asked: what turned the nose while yaw was cut is made good.
#[test]
fn heading_comes_back_when_the_nose_was_pushed_away_while_yaw_was_cut() {
    for (name, craft) in crafts() {
        let demand = Demand { thrust_share: 1.0, lean_deg: 15.0, turn_deg_s: 0.0, lasts_s: 1.0 };
        let nose = Nose::of::<f32>(&craft, &demand);
        assert!(nose.released_deg.abs() > 0.5, "{name}: it was pushed: {nose:?}");
        assert!(nose.end_deg.abs() < 0.1, "{name}: {nose:?}");
    }
}
