//! A demand that cannot be met: what gives way, in which direction, and what is left of it once the sticks let go.

use evenkeel_mixer::Axis;

use super::{LEVEL, Maiden, Site, angles, largest, leg};
use crate::recording::{Recording, Row};
use crate::script::Vertical;
use crate::verdict::{Check, Limit};

const HIGH_M: f64 = 100.0;
const ASKS_AT_S: f64 = 1.0;
const LETS_GO_S: f64 = 2.0;
const OVER_S: f64 = 6.0;
/// Torques below this share of the largest asked for have no direction worth the name.
const TORQUE_SHARE_MIN: f64 = 0.02;
/// Roll and pitch that miss their demand by no more than this share of it are met.
const MET_SHARE: f64 = 1.0e-4;
/// Of the turn that is left when the rotors answer again: rotors that slow down turn the craft by the momentum they lose.
const HEADING_LEFT_RAD: f64 = 8.0 * std::f64::consts::PI / 180.0;

/// All the thrust there is, with roll, pitch and yaw on top.
pub(super) fn out_of_reach(site: &Site<'_>) -> Maiden {
    let ceiling_n: f64 = site.craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum();
    let tilt_rad = site.tilt_rad(15.0_f64.to_radians());
    let everything = leg("all at once", LETS_GO_S, Vertical::Thrust(ceiling_n), angles(tilt_rad, -tilt_rad, 0.5));
    let legs = vec![
        leg("hover", ASKS_AT_S, Vertical::Height(HIGH_M), LEVEL),
        everything,
        leg("level", OVER_S, Vertical::Climb(0.0), LEVEL),
    ];
    let first = site.craft.saturation.priority.first();
    let together =
        first.is_some_and(|tier| tier.len() == 2 && tier.contains(&Axis::Roll) && tier.contains(&Axis::Pitch));
    let keeps_yaw_sign = site.craft.saturation.keep_yaw_sign;
    let level = site.level_within(2.0, OVER_S);
    let stopping = YawStop::of(site);
    Maiden {
        id: "out-of-reach",
        title: "A demand that cannot be met",
        asked: "All the thrust there is, with roll, pitch and yaw on top for a second; then level.".into(),
        flight: crate::script::Flight { log_period_s: 0.005, ..site.flight("out of reach", HIGH_M, legs) },
        real: None,
        judge: Box::new(move |flown| {
            let mut checks = vec![
                Check::new(
                    "out-of-reach.short",
                    "Share of thrust or torque given up",
                    largest(flown, ASKS_AT_S, LETS_GO_S, |row| short_share(row, ceiling_n)),
                    "",
                    Limit::at_least(1.0e-3),
                    "no rotor can push more and less than its ceiling at once",
                ),
                Check::new(
                    "out-of-reach.level",
                    "Tilt once it is over",
                    largest(flown, OVER_S - 0.5, OVER_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "the attitude asked for, and the lean that alignment leaves; two degrees more are our choice",
                ),
                stopping.check(flown),
            ];
            if together {
                checks.push(Check::new(
                    "out-of-reach.direction",
                    "Roll and pitch torque, most off the direction asked for",
                    bent_rad(flown).to_degrees(),
                    "deg",
                    Limit::at_most(0.5),
                    "the mixer's first tier keeps the direction",
                ));
            }
            if keeps_yaw_sign {
                let largest_nm = largest(flown, ASKS_AT_S, LETS_GO_S, |row| row.demand.yaw_nm.abs());
                checks.push(Check::new(
                    "out-of-reach.yaw",
                    "Yaw torque against its demand / largest asked for",
                    largest(flown, ASKS_AT_S, LETS_GO_S, reversed_nm).max(0.0) / largest_nm,
                    "",
                    Limit::at_most(1.0e-3),
                    "saturation.keep_yaw_sign, while roll and pitch are met",
                ));
            }
            checks
        }),
    }
}

/// How a turn of the nose is stopped.
struct YawStop {
    acceleration_rad_s2: f64,
    inertia_kg_m2: f64,
    lag_s: f64,
}

impl YawStop {
    fn of(site: &Site<'_>) -> Self {
        let [_, _, acceleration_rad_s2] = site.onboard.authority.acceleration_rad_s2;
        YawStop {
            acceleration_rad_s2,
            inertia_kg_m2: site.craft.body.inertia_kg_m2[2][2],
            lag_s: site.craft.slowest_lag_s(),
        }
    }

    /// The check that no turn is left over from a demand that was cut.
    fn check(&self, flown: &Recording) -> Check {
        let turns = turns_rad(flown);
        let at_release = |(at_s, _): &&(f64, f64)| *at_s <= LETS_GO_S;
        let farthest_rad = turns.iter().filter(at_release).map(|(_, turn)| *turn).fold(0.0, f64::max);
        let rate_rad_s = flown.between(ASKS_AT_S, LETS_GO_S).last().map_or(f64::NAN, |row| row.rate_rad_s[2].abs());
        // Back towards where it was asked to be is no fault: what turned it while yaw was cut is made up for.
        let beyond_rad = turns.iter().filter(|row| !at_release(row)).map(|(_, turn)| turn - farthest_rad);
        let most_rad = beyond_rad.fold(0.0, |most: f64, turn| if turn > most || turn.is_nan() { turn } else { most });
        let stop_rad = self.stop_rad(flown, rate_rad_s) + 2.0 * self.lag_s * rate_rad_s;
        Check::new(
            "out-of-reach.heading",
            "Turn on after the sticks let go",
            most_rad.to_degrees(),
            "deg",
            Limit::at_most((stop_rad + HEADING_LEFT_RAD).to_degrees()),
            "stopping the turn with half the yaw torque, or with all that is left where yaw is cut; 8 degrees more are our choice",
        )
        .or_else(|| self.mend())
    }

    /// How far the nose turns on from `rate_rad_s` when it is stopped with half the yaw torque. Where the craft asks against the
    /// turn and is not given all of it, because roll, pitch or thrust come first, with what it is given.
    fn stop_rad(&self, flown: &Recording, rate_rad_s: f64) -> f64 {
        let mut left_rad_s = rate_rad_s;
        let mut stop_rad = 0.0;
        let mut last_s = LETS_GO_S;
        for row in flown.between(LETS_GO_S, OVER_S) {
            let (asked_nm, given_nm) = (row.demand.yaw_nm, row.achieved.yaw_nm);
            let against = asked_nm * row.rate_rad_s[2] < 0.0;
            let cut = against && given_nm.abs() < 0.98 * asked_nm.abs();
            let half_rad_s2 = 0.5 * self.acceleration_rad_s2;
            let brake_rad_s2 = if cut { half_rad_s2.min(given_nm.abs() / self.inertia_kg_m2) } else { half_rad_s2 };
            let step_s = row.t_s - last_s;
            last_s = row.t_s;
            stop_rad += left_rad_s * step_s;
            left_rad_s = (left_rad_s - brake_rad_s2 * step_s).max(0.0);
        }
        stop_rad
    }

    fn mend(&self) -> String {
        format!(
            "The nose is stopped with {:.1} rad/s² of yaw: compare rotors.torque_per_thrust_m and body.inertia_kg_m2 about z with the \
             craft, and leave [gains] out for yaw.",
            self.acceleration_rad_s2
        )
    }
}

/// Time and heading of each row from the demand on, the turns added up; from where the nose was then.
fn turns_rad(flown: &Recording) -> Vec<(f64, f64)> {
    let mut last: Option<(f64, f64)> = None;
    let turn = |row: &Row| {
        let [_, _, yaw_rad] = row.euler_rad();
        let turned_rad = last.map_or(0.0, |(before_rad, sum_rad)| {
            sum_rad + (yaw_rad - before_rad).sin().atan2((yaw_rad - before_rad).cos())
        });
        last = Some((yaw_rad, turned_rad));
        (row.t_s, turned_rad)
    };
    flown.between(ASKS_AT_S, OVER_S).map(turn).collect()
}

/// Yaw torque given against its demand while roll and pitch have all they asked for. Where they have not, the rotors stand where
/// roll and pitch need them, and yaw is what goes with that.
fn reversed_nm(row: &Row) -> f64 {
    let (asked, given) = (&row.demand, &row.achieved);
    let short_nm = (asked.roll_nm - given.roll_nm).hypot(asked.pitch_nm - given.pitch_nm);
    let met = short_nm <= MET_SHARE * asked.roll_nm.hypot(asked.pitch_nm);
    if met { (-asked.yaw_nm.signum() * given.yaw_nm).max(0.0) } else { 0.0 }
}

/// Of all the thrust there is, or of the torque asked for, whichever is more.
fn short_share(row: &Row, ceiling_n: f64) -> f64 {
    let (asked, given) = (row.demand.to_array(), row.achieved.to_array());
    let short = |axis: usize| (asked[axis] - given[axis]).abs();
    let torque_nm: f64 = (1..4).map(|axis| asked[axis].abs()).sum();
    let torque_share = if torque_nm > 0.0 { (1..4).map(short).sum::<f64>() / torque_nm } else { 0.0 };
    torque_share.max(short(0) / ceiling_n)
}

/// Largest angle between the roll and pitch torque asked for and that given.
fn bent_rad(flown: &Recording) -> f64 {
    let size = |row: &Row| row.demand.roll_nm.hypot(row.demand.pitch_nm);
    let least_nm = TORQUE_SHARE_MIN * largest(flown, ASKS_AT_S, LETS_GO_S, size);
    largest(flown, ASKS_AT_S, LETS_GO_S, |row| {
        let ([a, b], [c, d]) =
            ([row.demand.roll_nm, row.demand.pitch_nm], [row.achieved.roll_nm, row.achieved.pitch_nm]);
        if size(row) < least_nm || c.hypot(d) < least_nm { 0.0 } else { (a * d - b * c).atan2(a * c + b * d).abs() }
    })
}

#[cfg(test)]
mod tests {
    use evenkeel_mixer::Wrench;

    use super::*;
    use crate::recording::OnBoard;

    const STOP: YawStop = YawStop { acceleration_rad_s2: 2.0, inertia_kg_m2: 0.1, lag_s: 0.0 };

    /// From the release on, a nose that turns at 1 rad/s, asked and given this yaw torque.
    fn turning(asked_nm: f64, given_nm: f64) -> Recording {
        let yaw = |yaw_nm| Wrench { yaw_nm, ..Wrench::default() };
        let row = |step: u32| Row {
            t_s: LETS_GO_S + 0.001 * f64::from(step),
            position_m: [0.0; 3],
            velocity_m_s: [0.0; 3],
            attitude: [1.0, 0.0, 0.0, 0.0],
            rate_rad_s: [0.0, 0.0, 1.0],
            demand: yaw(asked_nm),
            achieved: yaw(given_nm),
            rotor_n: vec![],
            command: vec![],
            on_board: OnBoard::default(),
        };
        Recording { rows: (0..4000).map(row).collect() }
    }

    /// v²/(2 a) by hand, with half of 2 rad/s².
    #[test]
    fn stops_a_turn_with_half_the_torque_when_nothing_is_cut() {
        assert!((STOP.stop_rad(&turning(-0.05, -0.05), 1.0) - 0.5).abs() < 2e-3);
    }

    /// v²/(2 a) by hand: 0.04 N·m on 0.1 kg m² are 0.4 rad/s².
    #[test]
    fn stops_a_turn_with_what_is_given_when_more_was_asked() {
        assert!((STOP.stop_rad(&turning(-0.2, -0.04), 1.0) - 1.25).abs() < 2e-3);
    }

    /// A controller that asks along the turn has no excuse in a torque that is cut.
    #[test]
    fn allows_no_more_when_the_turn_is_what_was_asked_for() {
        assert!((STOP.stop_rad(&turning(0.2, 0.04), 1.0) - 0.5).abs() < 2e-3);
    }

    #[test]
    fn counts_reversed_yaw_only_while_roll_and_pitch_are_met() {
        let mut row = turning(0.2, -0.1).rows.swap_remove(0);
        assert!((reversed_nm(&row) - 0.1).abs() < 1e-12);
        (row.demand.roll_nm, row.achieved.roll_nm) = (1.0, 0.9);
        assert_eq!(reversed_nm(&row), 0.0);
    }
}
