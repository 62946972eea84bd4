//! The saturation envelope: the largest torque about each axis over the range of thrust, the other
//! torques zero.
//!
//! Read from the facets of the attainable set, so it is exact and holds for every order of priority.

use evenkeel_mixer::Wrench;
use serde::Serialize;

use crate::craft::Craft;
use crate::onboard::{Unflyable, mixer_for};

/// Thrusts looked at, from none to full.
const STEPS: u32 = 20;

/// Largest torques at one thrust, newton metres; `None` where this thrust is out of reach without
/// torque.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Reach {
    /// Left side, nose or nose-left way; not above zero.
    pub negative_nm: f64,
    /// Right side down, nose up or nose right; not below zero.
    pub positive_nm: f64,
}

/// The envelope of one craft. Every list has one entry for each thrust.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Envelope {
    /// Share of the thrust of all rotors at their ceilings.
    pub thrust_fraction: Vec<f64>,
    /// The same in newtons.
    pub thrust_n: Vec<f64>,
    /// About body x.
    pub roll: Vec<Option<Reach>>,
    /// About body y.
    pub pitch: Vec<Option<Reach>>,
    /// About body z.
    pub yaw: Vec<Option<Reach>>,
}

impl Envelope {
    /// Works the envelope out.
    ///
    /// # Errors
    /// When the rotors cannot control the craft.
    pub fn of(craft: &Craft) -> Result<Self, Unflyable> {
        let mixer = mixer_for::<f64>(craft)?;
        let ceilings = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).collect::<Vec<_>>();
        let full_n = mixer.wrench(&ceilings).thrust_n;
        let thrust_fraction: Vec<f64> = (0..=STEPS).map(|step| f64::from(step) / f64::from(STEPS)).collect();
        let thrust_n: Vec<f64> = thrust_fraction.iter().map(|share| share * full_n).collect();
        let reach = |thrust_n: &f64, direction: Wrench<f64>| {
            let (negative_nm, positive_nm) = mixer.span(Wrench { thrust_n: *thrust_n, ..Wrench::default() }, direction);
            (negative_nm <= 0.0 && positive_nm >= 0.0).then_some(Reach { negative_nm, positive_nm })
        };
        let along = |direction: Wrench<f64>| thrust_n.iter().map(|thrust| reach(thrust, direction)).collect();
        Ok(Envelope {
            roll: along(Wrench { roll_nm: 1.0, ..Wrench::default() }),
            pitch: along(Wrench { pitch_nm: 1.0, ..Wrench::default() }),
            yaw: along(Wrench { yaw_nm: 1.0, ..Wrench::default() }),
            thrust_fraction,
            thrust_n,
        })
    }

    /// A table for the terminal.
    pub fn text(&self) -> String {
        let head = format!(
            "{:>8} {:>9} {:>17} {:>17} {:>17}\n",
            "thrust", "N", "roll N\u{b7}m", "pitch N\u{b7}m", "yaw N\u{b7}m"
        );
        let cell = |reach: &Option<Reach>| match reach {
            Some(reach) => format!("{} {}", signed(reach.negative_nm), signed(reach.positive_nm)),
            None => format!("{:>17}", "out of reach"),
        };
        let rows = self.thrust_fraction.iter().zip(&self.thrust_n).zip(&self.roll).zip(&self.pitch).zip(&self.yaw);
        rows.fold(head, |table, ((((share, thrust), roll), pitch), yaw)| {
            let percent = 100.0 * share;
            table + &format!("{percent:>6.0} % {thrust:>9.3} {} {} {}\n", cell(roll), cell(pitch), cell(yaw))
        })
    }
}

/// With its sign, and none where nothing is left of it.
fn signed(torque_nm: f64) -> String {
    let text = format!("{torque_nm:+.3}");
    let nothing = text.trim_start_matches(['+', '-']).chars().all(|digit| matches!(digit, '0' | '.'));
    format!("{:>8}", if nothing { "0.000" } else { &text })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    /// Rounding of a few operations.
    const ROUNDING: f64 = 1.0e-9;

    #[test]
    fn torque_vanishes_at_full_thrust_and_peaks_in_the_middle() {
        let envelope = Envelope::of(&demo::quad().unwrap()).unwrap();
        let last = envelope.roll.last().unwrap().unwrap();
        assert!(last.positive_nm.abs() < ROUNDING && last.negative_nm.abs() < ROUNDING, "{last:?}");
        let middle = envelope.roll[10].unwrap();
        assert!(envelope.roll.iter().flatten().all(|reach| reach.positive_nm <= middle.positive_nm + ROUNDING));
    }

    #[test]
    fn quad_at_mid_thrust_rolls_with_one_side_at_a_limit() {
        // Statics: two rotors at the ceiling, two sharing the rest, or two at the floor: whichever comes
        // first, times the lever of each side.
        let craft = demo::quad().unwrap();
        let rotor = &craft.rotors[0];
        let envelope = Envelope::of(&craft).unwrap();
        let each_n = envelope.thrust_n[10] / 4.0;
        let change_n = (rotor.thrust_max_n - each_n).min(each_n - rotor.thrust_min_n);
        let lever_m = rotor.position_m[1].abs();
        let reach = envelope.roll[10].unwrap();
        assert!((reach.positive_nm - 4.0 * change_n * lever_m).abs() < 1.0e-6, "{reach:?}");
        let yaw = envelope.yaw[10].unwrap();
        assert!((yaw.positive_nm - 4.0 * change_n * rotor.torque_per_thrust_m).abs() < 1.0e-6, "{yaw:?}");
    }

    #[test]
    fn nothing_has_no_sign() {
        assert_eq!([-0.0, 0.0, -4.9e-4, 4.9e-4].map(signed), [(); 4].map(|()| "   0.000"));
        assert_eq!([-5.1e-4, 0.25, -1234.5].map(signed), ["  -0.001", "  +0.250", "-1234.500"]);
        let text = Envelope::of(&demo::quad().unwrap()).unwrap().text();
        assert!(text.contains(" 0.000 ") && !text.contains("-0.000") && !text.contains("+0.000"), "{text}");
    }

    #[test]
    fn thrust_below_the_floors_is_out_of_reach() {
        let envelope = Envelope::of(&demo::quad().unwrap()).unwrap();
        assert_eq!(envelope.roll[0], None);
        assert_eq!(envelope.yaw[0], None);
    }
}
