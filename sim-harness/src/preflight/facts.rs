//! Facts for the head of the report.

use evenkeel_controller::ControllerConfig;

use super::bench::{accelerations, hovering, most_n};
use super::flights::rotor_out::{Outlook, outlook};
use crate::available_thrust::hover_endurance;
use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::script::World;
use crate::verdict::Fact;

pub(super) fn facts(craft: &Craft, onboard: Option<&Onboard<f32>>) -> Vec<Fact> {
    let world = World::default();
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    let ceiling_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    let mut facts = vec![
        fact("Take-off mass", format!("{} kg, weight {:.2} N", craft.body.mass_kg, weight_n)),
        fact("Rotors", format!("{}, {:.2} N at full command", craft.rotors.len(), ceiling_n)),
        fact("Order of priority", priority(craft)),
    ];
    let Some(onboard) = onboard else { return facts };
    facts.push(fact("Hover", hover(craft, &world, weight_n, ceiling_n)));
    let [roll, pitch, yaw] = accelerations(&hovering(craft, &world));
    facts.push(fact(
        "Turns from hover",
        format!("roll {roll:.0}, pitch {pitch:.0}, yaw {yaw:.1} rad/s\u{b2} either way"),
    ));
    facts.push(fact("Rate gains P", gains(&onboard.config)));
    facts.push(fact(
        "Loops",
        format!(
            "rate {} Hz, angle {} Hz",
            craft.loops.rate_hz,
            craft.loops.rate_hz / f64::from(craft.loops.angle_divider)
        ),
    ));
    facts.extend(rotor_stopped(craft, weight_n).map(|words| fact("With a rotor stopped", words)));
    facts
}

/// Share of the thrust there is, and what it takes from the battery.
fn hover(craft: &Craft, world: &World, weight_n: f64, ceiling_n: f64) -> String {
    if craft.battery.is_none() {
        return format!("{:.0} % of full thrust", 100.0 * weight_n / ceiling_n);
    }
    let most_n = most_n(craft, world);
    let share =
        format!("{:.0} % of the {most_n:.2} N that the battery feeds with torques balanced", 100.0 * weight_n / most_n);
    match hover_endurance(craft, world).ok().flatten() {
        Some(hover) => format!(
            "{share}; {:.1} A, {:.0} W, {:.1} minutes until {:.0} % of the charge is left",
            hover.current_a,
            hover.power_w,
            hover.minutes,
            100.0 * hover.ends_at_charge
        ),
        None => share,
    }
}

/// What remains of level hover, and whether the check flies it.
fn rotor_stopped(craft: &Craft, weight_n: f64) -> Option<String> {
    Some(match outlook(craft, weight_n).ok()? {
        Outlook::Flown { .. } => "can be held level without any one of them: flown below".into(),
        Outlook::NotFlown(words) => words,
    })
}

fn fact(title: &'static str, value: String) -> Fact {
    Fact { title, value }
}

fn priority(craft: &Craft) -> String {
    let tiers: Vec<String> = craft
        .saturation
        .priority
        .iter()
        .map(|tier| tier.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and "))
        .collect();
    let yaw = if craft.saturation.keep_yaw_sign { "; yaw never turns against its demand" } else { "" };
    format!("{}{yaw}", tiers.join(", then "))
}

fn gains(config: &ControllerConfig) -> String {
    let [roll, pitch, yaw] = config.rate.map(|axis| axis.p_per_s);
    let [angle, ..] = config.angle.gain_per_s;
    format!("roll {roll:.1}, pitch {pitch:.1}, yaw {yaw:.1} per second; angle {angle:.1} per second")
}
