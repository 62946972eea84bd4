//! The picture for the terminal, 80 columns.

use std::fmt::Write;

use super::operating_point::AxisReach;
use super::picture::Picture;
use super::questions::HARD_CLIMB_WEIGHTS;
use super::stopped::SPINNING_NOT_TRIED;
use crate::available_thrust::HoverEndurance;
use crate::enough::{ENOUGH_THRUST_LEFT_TO_WEIGHT, ENOUGH_THRUST_TO_WEIGHT, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::report::figure;

const WIDTH: usize = 80;

/// Tables and sentences.
pub fn text(picture: &Picture, rotors: usize) -> String {
    let mut out = String::new();
    operating_points(&mut out, picture);
    first(&mut out, picture, rotors);
    stopped(&mut out, picture);
    out += "\nA builder's questions\n";
    for sentence in sentences(picture) {
        let lines =
            textwrap::wrap(&sentence, textwrap::Options::new(WIDTH).initial_indent("  - ").subsequent_indent("    "));
        lines.iter().for_each(|line| {
            out += line;
            out.push('\n');
        });
    }
    out
}

fn operating_points(out: &mut String, picture: &Picture) {
    out.push_str("\nLargest torque each way, N\u{b7}m, and angular acceleration, rad/s\u{b2}\n");
    for point in &picture.operating_points {
        let _ = writeln!(
            out,
            "  {}: {:.2} N, {:.2} weights, ceilings {:.0} %",
            point.name,
            point.thrust_n,
            point.weights,
            100.0 * point.ceiling_share
        );
        match &point.axes {
            None => out.push_str("    out of reach: not even without torque\n"),
            Some(axes) => axes.iter().for_each(|axis| {
                let AxisReach { axis, negative_nm, positive_nm, negative_rad_s2, positive_rad_s2 } = axis;
                let _ = writeln!(
                    out,
                    "    {axis:<6} {negative_nm:>+11.4} {positive_nm:>+11.4} N\u{b7}m {negative_rad_s2:>+11.2} {positive_rad_s2:>+11.2} rad/s\u{b2}"
                );
            }),
        }
    }
}

fn first(out: &mut String, picture: &Picture, rotors: usize) {
    out.push_str("\nWhat gives way first, one demand alone from hover\n");
    for limit in &picture.gives_way {
        for line in wrapped(&limit.words(picture.weight_n, rotors)) {
            let _ = writeln!(out, "{line}");
        }
    }
}

fn stopped(out: &mut String, picture: &Picture) {
    out.push_str("\nWith one rotor stopped, level hover\n");
    for one in &picture.rotor_stopped {
        for line in wrapped(&one.sentence()) {
            let _ = writeln!(out, "{line}");
        }
    }
    if picture.rotor_stopped.iter().any(|one| !one.holds_level_without_yaw) {
        for line in wrapped(&format!("Not level: {SPINNING_NOT_TRIED}.")) {
            let _ = writeln!(out, "{line}");
        }
    }
}

fn wrapped(words: &str) -> Vec<String> {
    let options = textwrap::Options::new(WIDTH).initial_indent("  ").subsequent_indent("    ");
    textwrap::wrap(words, options).into_iter().map(std::borrow::Cow::into_owned).collect()
}

impl super::GivesWay {
    /// Which demand, how far it goes, what stops it, and what is cut beyond.
    pub fn words(&self, weight_n: f64, rotors: usize) -> String {
        let change = figure(self.change, 3);
        let far = match (self.demand, self.acceleration_rad_s2) {
            ("thrust", _) => {
                format!("thrust up: {} N in all, {change} N above hover", figure(weight_n + self.change, 3))
            }
            ("less thrust", _) => {
                format!("thrust down: {} N in all, {change} N below hover", figure(weight_n - self.change, 3))
            }
            (demand, Some(turn)) => format!("{demand}: {change} {}, {} rad/s\u{b2}", self.unit, figure(turn, 3)),
            (demand, None) => format!("{demand}: {change} {}", self.unit),
        };
        let cut = match self.gives_way.as_slice() {
            [] => "beyond it nothing of a named tier is cut".to_owned(),
            axes => format!("beyond it {} gives way", axes.join(" with ")),
        };
        let stopped = self.stopped_by(rotors).join("; ");
        format!(
            "{far}, {:.0} % of all that the rotors could add up to; {stopped}; {cut}",
            100.0 * self.share_of_largest_sum
        )
    }
}

impl super::Stopped {
    /// The rotor, what is left, and the words.
    pub fn sentence(&self) -> String {
        let torque = |nm: Option<f64>| match nm {
            Some(nm) => format!("{nm:.4} N\u{b7}m"),
            None => "none, its weight is out of reach".to_owned(),
        };
        format!(
            "{}: {}. Torque to spare: {}; with yaw let go: {}.",
            self.rotor,
            self.words(),
            torque(self.margin_nm),
            torque(self.margin_without_yaw_nm)
        )
    }
}

/// The answers in plain words.
pub fn sentences(picture: &Picture) -> Vec<String> {
    let answers = &picture.answers;
    let percent = |share: f64| format!("{:.1} %", 100.0 * share);
    let mut said = vec![format!(
        "Aged battery: it hovers down to {} of full voltage under load, with nothing to spare there; near empty, while it \
         feeds hover, is taken as {}. {}",
        percent(answers.hover_voltage_share),
        percent(answers.empty_voltage_share),
        match answers.controlled_voltage_share {
            Some(share) => format!("The stated authority holds down to {}.", percent(share)),
            None => "The stated authority is not there on a full battery either.".to_owned(),
        }
    )];
    for (weights, yaw) in HARD_CLIMB_WEIGHTS.iter().zip(&answers.yaw_in_climb) {
        said.push(match yaw {
            Some(yaw) => format!(
                "Yaw while climbing at {weights} weights: {:.4} N\u{b7}m, {:.2} rad/s\u{b2} the weaker way.",
                yaw.weaker_nm(),
                yaw.weaker_rad_s2()
            ),
            None => format!("Yaw while climbing at {weights} weights: that thrust is out of reach."),
        });
    }
    for offset in &answers.offsets {
        said.push(format!(
            "Load towards the {}: half the torque is left with the centre of mass {:.1} mm off, or {:.3} kg at the arm's end; \
             hover is lost at {:.1} mm, or {:.3} kg.",
            offset.towards,
            1000.0 * offset.halves_at_m,
            offset.halves_with_kg,
            1000.0 * offset.lost_at_m,
            offset.lost_with_kg
        ));
    }
    for wind in &answers.wind {
        said.push(format!(
            "Steady wind from {}: it holds its place up to {:.1} m/s, tilted {:.1} degrees at {:.1} N; {} is the limit. With the \
             battery near empty: {:.1} m/s.",
            wind.from,
            wind.speed_m_s,
            wind.tilt_rad.to_degrees(),
            wind.thrust_n,
            wind.limited_by,
            wind.near_empty_m_s
        ));
    }
    if answers.wind.is_empty() {
        said.push("Wind: without drag in the craft file there is no answer.".to_owned());
    }
    for gust in &answers.gusts {
        said.push(format!(
            "Gust of one minus cosine from {}, out of still air, risen in {} s, and staying: it holds its place up to the same \
             {:.1} m/s, once it has leaned; level until then it is carried off at no more than {:.1} m/s.",
            gust.from, gust.rise_s, gust.peak_m_s, gust.carried_m_s
        ));
    }
    said.push(
        "Drag acts at the centre of mass in this model, so that the torque of a gust is not in these figures."
            .to_owned(),
    );
    said.push(match answers.heaviest {
        Some(heaviest) => format!(
            "Heaviest take-off: {:.3} kg keeps thrust at {ENOUGH_THRUST_TO_WEIGHT} weights, {ENOUGH_TILT_RAD_S2} rad/s\u{b2} in \
             roll and pitch and {ENOUGH_YAW_RAD_S2} in yaw, inertia as in the file; {} forbids more.",
            heaviest.mass_kg, heaviest.limited_by
        ),
        None => format!(
            "Heaviest take-off: thrust of {ENOUGH_THRUST_TO_WEIGHT} weights with {ENOUGH_TILT_RAD_S2} rad/s\u{b2} in roll and \
             pitch and {ENOUGH_YAW_RAD_S2} in yaw is not there as the craft is."
        ),
    });
    said.extend(answers.hover.map(|hover| hover.sentence()));
    said
}

impl HoverEndurance {
    /// Current, power and minutes, and what ends them.
    pub fn sentence(&self) -> String {
        let ends = match self.ends_by {
            "thrust left" => format!(
                "the rotors have {ENOUGH_THRUST_LEFT_TO_WEIGHT} weights left, at {:.0} % of the charge",
                100.0 * self.ends_at_charge
            ),
            _ => format!("{:.0} % of the charge is left", 100.0 * self.ends_at_charge),
        };
        format!(
            "Hover on the battery as charged: {:.1} A at {:.1} V, {:.0} W, for {:.1} minutes in still air until {ends}.",
            self.current_a, self.voltage_v, self.power_w, self.minutes
        )
    }
}

#[cfg(test)]
mod tests {
    use textwrap::core::display_width;

    use super::*;
    use crate::demo;
    use crate::onboard::Onboard;
    use crate::script::World;

    /// What a terminal has.
    const COLUMNS: usize = 80;

    #[test]
    fn fits_eighty_columns_when_names_and_figures_are_long() {
        let (mut craft, world) = (demo::quad().unwrap(), World::default());
        for rotor in &mut craft.rotors {
            rotor.name = "the rotor at the very end of the longest of the arms of this craft".to_owned();
        }
        let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
        let text = text(&Picture::of(&craft, &onboard, &world).unwrap(), craft.rotors.len());
        assert!(text.lines().count() > 40);
        for line in text.lines() {
            assert!(display_width(line) <= COLUMNS, "{} columns: {line}", display_width(line));
        }
    }
}
