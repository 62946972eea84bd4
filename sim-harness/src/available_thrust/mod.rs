//! Available thrust under load: the thrust that the rotors of a craft have while their own current sinks the voltage of its
//! battery, and while air comes through them.
//!
//! * Math: a rotor at full command turns at u of full speed, u the terminal voltage over the full one, and gives
//!   f_max·u²·(ρ/ρ₀)·t, t the share that air along its axis leaves. Thrusts f take the shaft power Σ Q·Ω at the speeds at
//!   which the rotors give them, and that power sets u. A load is consistent when no rotor has to turn faster than u
//! * All there is with torques balanced: the one u at which the thrusts that its ceilings allow draw just what sinks the
//!   voltage to u. More u allows more thrust, which leaves less u: the difference falls, and has one root
//! * Voltage, power and thrust are asked of the [`Plant`] that flies. What is left out there is left out here
//! * Floors are those of the craft file
//! * Source: docs/plant.md; fixed point: this project

mod endurance;
mod feed;
mod root;

pub use endurance::{HoverEndurance, LANDING_CHARGE, hover_endurance};
pub use feed::{EMPTY_VOLTAGE_SHARE, Feed, SUDDEN_VOLTAGE_SHARE};
use root::falling_root;
pub(crate) use root::{first_bound, least_factor, only_bound};

use evenkeel_mixer::Wrench;

use crate::craft::{Craft, MAX_ROTORS};
use crate::onboard::{CraftMixer, Unflyable, mixer_for};
use crate::plant::{Plant, PlantState, speed_share};
use crate::script::World;

/// Out of reach of the ground.
const HIGH_M: f64 = 100.0;
/// Ceilings that differ by no more than this share of each other are one share of the rated ones: rounding.
const ONE_SHARE_TOL: f64 = 1.0e-12;
/// A thrust beyond its ceiling by no more than this share is at it.
const AT_CEILING_TOL: f64 = 1.0e-10;
/// Rounds in which the allocation and the ceilings that it leaves are brought together.
const ROUNDS: u32 = 60;
const SECONDS_PER_HOUR: f64 = 3600.0;

/// Asks what thrust one craft has.
pub struct AvailableThrust<'a> {
    craft: &'a Craft,
    plant: Plant,
    // Not in a caller's stack frame: it has room for the facets of sixteen rotors.
    mixer: Box<CraftMixer<f64>>,
    air_density_kg_m3: f64,
}

/// Rotors that push with torques balanced, and the battery that feeds them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// Of all rotors together, along the body's z axis.
    pub thrust_n: f64,
    /// Of each rotor along its own axis; 0 past the last.
    pub thrusts_n: [f64; MAX_ROTORS],
    /// Terminal voltage over the full one.
    pub voltage_share: f64,
    /// From the battery; 0 without one.
    pub current_a: f64,
    /// From the battery; 0 without one.
    pub power_w: f64,
}

impl<'a> AvailableThrust<'a> {
    /// Of this craft in still air of this world's density.
    ///
    /// # Errors
    /// When the rotors cannot control the craft.
    pub fn of(craft: &'a Craft, world: &World) -> Result<Self, Unflyable> {
        let still = World::uniform(world.gravity_m_s2, world.air_density_kg_m3, [0.0; 3]);
        let aloft = Craft { ground_effect: None, ..craft.clone() };
        Ok(AvailableThrust {
            craft,
            plant: Plant::new(&aloft, &still),
            mixer: Box::new(mixer_for(craft)?),
            air_density_kg_m3: world.air_density_kg_m3,
        })
    }

    /// The same with a rotor (from 0) that stands still.
    #[must_use]
    pub fn without_rotor(mut self, rotor: usize) -> Self {
        self.mixer.fail_rotor(rotor);
        self
    }

    /// The mixer with the ceilings that the rotors have at this voltage while the craft goes through the air at `axial_m_s`
    /// along body −z; `None` where a ceiling would meet its floor.
    pub fn mixer_at(&self, voltage_share: f64, axial_m_s: f64) -> Option<Box<CraftMixer<f64>>> {
        let mut mixer = self.mixer.clone();
        let ceilings_n = self.ceilings_n(voltage_share, axial_m_s);
        let shares = || self.craft.rotors.iter().zip(&ceilings_n).map(|(rotor, n)| n / rotor.thrust_max_n);
        let (least, most) =
            shares().fold((f64::INFINITY, 0.0), |(a, b): (f64, f64), share| (a.min(share), b.max(share)));
        if most - least <= ONE_SHARE_TOL * most && most <= 1.0 + ONE_SHARE_TOL {
            return mixer.scale_ceilings(most.min(1.0)).then_some(mixer);
        }
        for (index, (rotor, ceiling_n)) in self.craft.rotors.iter().zip(ceilings_n).enumerate() {
            if !mixer.has_failed(index) && !mixer.set_limits(index, rotor.thrust_min_n, ceiling_n) {
                return None;
            }
        }
        Some(mixer)
    }

    /// Rotors that push `thrust_n` with torques balanced; `None` where that is more than the battery can feed, or less than the
    /// floors allow.
    pub fn at_thrust(&self, feed: Feed, axial_m_s: f64, thrust_n: f64) -> Option<Load> {
        let open_share = self.voltage_share(&self.state(feed, axial_m_s, &[0.0; MAX_ROTORS]));
        let mut load = self.pushing(feed, axial_m_s, open_share, thrust_n)?;
        if self.is_within(&load, axial_m_s) {
            return Some(load);
        }
        // Near the most: up from there, where the ceilings are lowest.
        let most = self.most(feed, axial_m_s)?;
        if !(thrust_n <= most.thrust_n * (1.0 + AT_CEILING_TOL)) {
            return None;
        }
        load = most;
        for _ in 0..ROUNDS {
            let next = self.pushing(feed, axial_m_s, load.voltage_share, thrust_n)?;
            let settled = (next.voltage_share - load.voltage_share).abs() <= ONE_SHARE_TOL;
            load = next;
            if settled {
                break;
            }
        }
        Some(load)
    }

    /// All that the rotors can push with torques balanced; `None` where the voltage sinks until a ceiling meets its floor, or
    /// no thrust at all goes without torque.
    pub fn most(&self, feed: Feed, axial_m_s: f64) -> Option<Load> {
        let open_share = self.voltage_share(&self.state(feed, axial_m_s, &[0.0; MAX_ROTORS]));
        let left = |share: f64| match self.all_at(feed, axial_m_s, share) {
            Some(load) => load.voltage_share - share,
            // Rotors that cannot push draw nothing.
            None => open_share - share,
        };
        let share = falling_root(0.0, open_share, left);
        self.all_at(feed, axial_m_s, share)
    }

    /// The least of what [`AvailableThrust::most`] finds in these states of the battery, in still air; 0 where one carries
    /// nothing.
    pub fn least_of_most_n(&self, feeds: &[Feed]) -> f64 {
        let most_n = |feed: &Feed| self.most(*feed, 0.0).map_or(0.0, |load| load.thrust_n);
        feeds.iter().map(most_n).fold(f64::INFINITY, f64::min)
    }

    /// Terminal voltage over the full one while the rotors push `thrust_n`, or all they have where that is less. Where no
    /// thrust goes without torque, as with a rotor stopped, the torque that the order of priority gives up is let go.
    pub fn voltage_share_at(&self, feed: Feed, axial_m_s: f64, thrust_n: f64) -> f64 {
        let open_share = self.voltage_share(&self.state(feed, axial_m_s, &[0.0; MAX_ROTORS]));
        let load = self.at_thrust(feed, axial_m_s, thrust_n).or_else(|| self.most(feed, axial_m_s));
        let load = load.or_else(|| self.pushing(feed, axial_m_s, open_share, thrust_n));
        load.map_or(open_share, |load| load.voltage_share)
    }

    /// The craft asked about.
    pub(crate) fn craft(&self) -> &'a Craft {
        self.craft
    }

    /// Thrust of each rotor at full command at this voltage.
    fn ceilings_n(&self, voltage_share: f64, axial_m_s: f64) -> [f64; MAX_ROTORS] {
        let full = Feed { charge: 1.0, voltage_left: 1.0 };
        self.plant.thrusts_n(&self.state(full, axial_m_s, &[voltage_share; MAX_ROTORS]))
    }

    /// The largest balanced thrust that the ceilings at this voltage allow, and what it draws.
    fn all_at(&self, feed: Feed, axial_m_s: f64, voltage_share: f64) -> Option<Load> {
        let mixer = self.mixer_at(voltage_share, axial_m_s)?;
        let (least_n, most_n) = mixer.balanced_thrust_n();
        (least_n <= most_n && most_n > 0.0).then(|| self.load(feed, axial_m_s, &mixer, most_n))
    }

    /// This thrust under the ceilings at this voltage, and what it draws; what is beyond the ceilings is cut.
    fn pushing(&self, feed: Feed, axial_m_s: f64, voltage_share: f64, thrust_n: f64) -> Option<Load> {
        let mixer = self.mixer_at(voltage_share, axial_m_s)?;
        Some(self.load(feed, axial_m_s, &mixer, thrust_n))
    }

    fn load(&self, feed: Feed, axial_m_s: f64, mixer: &CraftMixer<f64>, thrust_n: f64) -> Load {
        let allocated = mixer.allocate(Wrench { thrust_n, ..Wrench::default() });
        let (mut thrusts_n, mut speeds) = ([0.0; MAX_ROTORS], [0.0; MAX_ROTORS]);
        let slots = thrusts_n.iter_mut().zip(&mut speeds);
        for (((slot, speed), rotor), thrust_n) in slots.zip(&self.craft.rotors).zip(&allocated.thrusts_n) {
            *slot = *thrust_n;
            *speed = speed_share(rotor, *thrust_n, -rotor.axis[2] * axial_m_s, self.air_density_kg_m3);
        }
        let state = self.state(feed, axial_m_s, &speeds);
        let voltage_share = self.voltage_share(&state);
        let battery = self.craft.battery.as_ref();
        let current_a = battery
            .map_or(0.0, |battery| self.plant.charge_used_per_s(&state) * battery.capacity_ah * SECONDS_PER_HOUR);
        let power_w = battery.map_or(0.0, |battery| current_a * voltage_share * battery.full_v);
        Load { thrust_n, thrusts_n, voltage_share, current_a, power_w }
    }

    /// Whether the thrusts of a load lie within the limits that its own voltage leaves.
    fn is_within(&self, load: &Load, axial_m_s: f64) -> bool {
        let Some(mixer) = self.mixer_at(load.voltage_share, axial_m_s) else { return false };
        let (least_n, most_n) = mixer.balanced_thrust_n();
        let within =
            mixer.limits_n().zip(load.thrusts_n).all(|((_, ceiling_n), n)| n <= ceiling_n * (1.0 + AT_CEILING_TOL));
        within && least_n <= load.thrust_n && load.thrust_n <= most_n
    }

    fn state(&self, feed: Feed, axial_m_s: f64, speeds: &[f64; MAX_ROTORS]) -> PlantState {
        let mut state = PlantState {
            charge_used: self.craft.battery.as_ref().map_or(0.0, |battery| battery.charge - feed.charge),
            voltage_left: feed.voltage_left,
            rotor_speed: *speeds,
            ..PlantState::default()
        };
        state.position_m.z = -HIGH_M;
        state.velocity_m_s.z = -axial_m_s;
        state
    }

    fn voltage_share(&self, state: &PlantState) -> f64 {
        self.plant.voltage_share(state)
    }
}

/// The same craft with rotors whose thrust at full command and full voltage is `times` as much.
pub(crate) fn with_stronger_rotors(craft: &Craft, times: f64) -> Craft {
    let mut stronger = craft.clone();
    for rotor in &mut stronger.rotors {
        rotor.thrust_max_n *= times;
        let table = rotor.thrust_curve.iter_mut().flat_map(|curve| &mut curve.thrust_n);
        table.for_each(|thrust_n| *thrust_n *= times);
    }
    stronger
}

/// The same craft on a battery of `times` less resistance.
pub(crate) fn with_less_resistance(craft: &Craft, times: f64) -> Craft {
    let mut eased = craft.clone();
    if let Some(battery) = &mut eased.battery {
        battery.resistance_ohm /= times;
    }
    eased
}
