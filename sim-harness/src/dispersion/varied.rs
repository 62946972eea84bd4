//! What varies, one line for each quantity, and how one varied craft is drawn.

use std::fmt;

use super::draws::Draws;
use super::spread::Dispersion;
use crate::craft::{Battery, Craft};
use crate::file;
use crate::script::Flight;
use crate::sensors::SensorsConfig;

/// A craft that cannot exist is drawn anew; so often, and no more.
pub const MAX_DRAWS: u32 = 1000;

/// One quantity that varies.
pub struct Varied {
    /// Its key in `[dispersion]`.
    pub key: &'static str,
    /// Its bound.
    pub bound: fn(&Dispersion) -> f64,
    vary: fn(&mut Sample, &mut Draws, f64),
}

/// Everything that varies, in the order in which it is drawn. A new line belongs at the end: then what is
/// drawn for the others stays as it was.
pub const VARIED: &[Varied] = &[
    Varied { key: "mass_share", bound: |by| by.mass_share, vary: mass },
    Varied { key: "inertia_share", bound: |by| by.inertia_share, vary: inertia },
    Varied { key: "center_of_mass_share", bound: |by| by.center_of_mass_share, vary: center_of_mass },
    Varied { key: "thrust_share", bound: |by| by.thrust_share, vary: thrust },
    Varied { key: "lag_share", bound: |by| by.lag_share, vary: lag },
    Varied { key: "torque_share", bound: |by| by.torque_share, vary: torque },
    Varied { key: "drag_share", bound: |by| by.drag_share, vary: drag },
    Varied { key: "delay_s", bound: |by| by.delay_s, vary: delay },
    Varied { key: "wind_m_s", bound: |by| by.wind_m_s, vary: wind },
    Varied { key: "battery_capacity_share", bound: |by| by.battery_capacity_share, vary: battery_capacity },
    Varied { key: "battery_resistance_share", bound: |by| by.battery_resistance_share, vary: battery_resistance },
    Varied { key: "battery_charge_share", bound: |by| by.battery_charge_share, vary: battery_charge },
    Varied { key: "gyro_bias_deg_s", bound: |by| by.gyro_bias_deg_s, vary: gyro_bias },
    Varied { key: "accelerometer_bias_m_s2", bound: |by| by.accelerometer_bias_m_s2, vary: accelerometer_bias },
    Varied { key: "misalignment_deg", bound: |by| by.misalignment_deg, vary: misalignment },
    Varied { key: "sensor_noise_share", bound: |by| by.sensor_noise_share, vary: sensor_noise },
    Varied { key: "sensor_latency_s", bound: |by| by.sensor_latency_s, vary: sensor_latency },
];

/// One varied craft, and the air it flies in.
#[derive(Clone, Debug, PartialEq)]
pub struct Sample {
    /// The craft as it is; its controller believes the file.
    pub craft: Craft,
    /// Wind on top of the flight's: north, east.
    pub wind_m_s: [f64; 2],
    /// Seed of what is random within the flight.
    pub seed: u64,
    perfect_sensors: bool,
    /// Crafts drawn before this one that cannot exist.
    pub redrawn: u32,
    /// What was drawn, in the order of [`VARIED`]; nothing for what the craft has not.
    pub drawn: Vec<Drawn>,
}

/// The deviations of one quantity: of the whole, along each axis, or of each rotor.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// Its key in `[dispersion]`.
    pub key: &'static str,
    /// In the unit of the key; for the wind its speed and the direction it blows to, in radians from north.
    pub deviations: Vec<f64>,
}

/// So many draws gave no craft that can exist.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CannotVary {
    /// The flight.
    pub index: u64,
}

impl fmt::Display for CannotVary {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "flight {}: {MAX_DRAWS} draws gave no craft that can exist: lower inertia_share in [dispersion]",
            self.index
        )
    }
}

impl std::error::Error for CannotVary {}

/// The craft of flight `index`.
///
/// A craft that cannot exist (an inertia tensor that no body has, see docs/dispersion.md) is drawn anew as
/// a whole, from the same stream.
///
/// # Errors
/// When [`MAX_DRAWS`] draws were not enough.
pub fn vary(nominal: &Craft, seed: u64, index: u64) -> Result<Sample, CannotVary> {
    let mut draws = Draws::new(seed, index, nominal.dispersion.shape);
    for redrawn in 0..MAX_DRAWS {
        let sample = draw(nominal, &mut draws, redrawn);
        if can_exist(&sample.craft) {
            return Ok(sample);
        }
    }
    Err(CannotVary { index })
}

fn draw(nominal: &Craft, draws: &mut Draws, redrawn: u32) -> Sample {
    let seed = draws.seed();
    let mut sample = Sample {
        craft: nominal.clone(),
        wind_m_s: [0.0; 2],
        seed,
        perfect_sensors: nominal.sensors == SensorsConfig::PERFECT,
        redrawn,
        drawn: Vec::new(),
    };
    for varied in VARIED {
        (varied.vary)(&mut sample, draws, (varied.bound)(&nominal.dispersion));
        let deviations = draws.taken();
        if !deviations.is_empty() {
            sample.drawn.push(Drawn { key: varied.key, deviations });
        }
    }
    sample
}

impl Sample {
    /// The flight in this sample's air.
    pub fn flight(&self, flight: &Flight) -> Flight {
        let mut flight = flight.clone();
        for (wind, change) in flight.world.wind_m_s.iter_mut().zip(self.wind_m_s) {
            *wind += change;
        }
        flight.seed = self.seed;
        flight
    }
}

fn can_exist(craft: &Craft) -> bool {
    let positive = |value: f64| value > 0.0 && value.is_finite();
    let rotors = craft.rotors.iter().all(|rotor| positive(rotor.thrust_max_n) && positive(rotor.response_time_s));
    positive(craft.body.mass_kg) && rotors && file::inertia_can_exist(craft.body.inertia_kg_m2)
}

fn mass(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    sample.craft.body.mass_kg *= draws.factor(bound);
}

/// Each moment by a factor of its own, each product by the root of its two: the tensor stays symmetric
/// and positive.
fn inertia(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    let factors = [(); 3].map(|()| draws.factor(bound));
    for (row, of_row) in sample.craft.body.inertia_kg_m2.iter_mut().zip(factors) {
        for (entry, of_column) in row.iter_mut().zip(factors) {
            *entry *= (of_row * of_column).sqrt();
        }
    }
}

fn center_of_mass(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    let arm_m = sample.craft.mean_arm_m();
    for coordinate in &mut sample.craft.body.center_of_mass_m {
        *coordinate += arm_m * draws.within(bound);
    }
}

fn thrust(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    for rotor in &mut sample.craft.rotors {
        let factor = draws.factor(bound);
        rotor.thrust_max_n *= factor;
        rotor.thrust_min_n *= factor;
        let bench = rotor.thrust_curve.iter_mut().flat_map(|curve| &mut curve.thrust_n);
        bench.for_each(|thrust_n| *thrust_n *= factor);
    }
}

fn lag(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    for rotor in &mut sample.craft.rotors {
        rotor.response_time_s *= draws.factor(bound);
    }
}

fn torque(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    for rotor in &mut sample.craft.rotors {
        rotor.torque_per_thrust_m *= draws.factor(bound);
    }
}

fn drag(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    for area_m2 in &mut sample.craft.body.drag_area_m2 {
        *area_m2 *= draws.factor(bound);
    }
}

fn delay(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    sample.craft.loops.extra_delay_s += draws.up_to(bound);
}

fn wind(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    let speed_m_s = draws.up_to(bound);
    let (east, north) = draws.direction_rad().sin_cos();
    sample.wind_m_s = [speed_m_s * north, speed_m_s * east];
}

fn battery_capacity(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_battery(sample, draws.factor(bound), draws, |battery, factor| battery.capacity_ah *= factor);
}

fn battery_resistance(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_battery(sample, draws.factor(bound), draws, |battery, factor| battery.resistance_ohm *= factor);
}

fn battery_charge(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_battery(sample, draws.up_to(bound), draws, |battery, missing| {
        battery.charge = (battery.charge - missing).max(0.0)
    });
}

fn gyro_bias(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_sensors(sample, [(); 3].map(|()| draws.within(bound)), draws, |sensors, by| {
        add(&mut sensors.gyro.bias, by.map(f64::to_radians));
    });
}

fn accelerometer_bias(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_sensors(sample, [(); 3].map(|()| draws.within(bound)), draws, |sensors, by| {
        add(&mut sensors.accelerometer.bias, by);
    });
}

fn misalignment(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_sensors(sample, [(); 3].map(|()| draws.within(bound)), draws, |sensors, by| {
        add(&mut sensors.misalignment_rad, by.map(f64::to_radians));
    });
}

/// Drawn for a sensor that is not fitted too: what is drawn for the others stays as it is.
fn sensor_noise(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_sensors(sample, [(); 5].map(|()| draws.factor(bound)), draws, |sensors, [gyro, accelerometer, slow @ ..]| {
        sensors.gyro.noise_density *= gyro;
        sensors.accelerometer.noise_density *= accelerometer;
        let fitted = [&mut sensors.heading, &mut sensors.climb, &mut sensors.voltage];
        for (sensor, factor) in fitted.into_iter().zip(slow) {
            if let Some(sensor) = sensor {
                sensor.noise *= factor;
            }
        }
    });
}

fn sensor_latency(sample: &mut Sample, draws: &mut Draws, bound: f64) {
    of_sensors(sample, [(); 2].map(|()| draws.up_to(bound)), draws, |sensors, [gyro, accelerometer]| {
        sensors.gyro.latency_s += gyro;
        sensors.accelerometer.latency_s += accelerometer;
    });
}

fn add(to: &mut [f64; 3], by: [f64; 3]) {
    to.iter_mut().zip(by).for_each(|(value, by)| *value += by);
}

/// A craft whose sensors are perfect has drawn for nothing: its file asks for none of these errors.
fn of_sensors<const K: usize>(
    sample: &mut Sample,
    values: [f64; K],
    draws: &mut Draws,
    change: fn(&mut SensorsConfig, [f64; K]),
) {
    if sample.perfect_sensors {
        drop(draws.taken());
    } else {
        change(&mut sample.craft.sensors, values);
    }
}

/// A craft without a battery has drawn for nothing.
fn of_battery(sample: &mut Sample, value: f64, draws: &mut Draws, change: fn(&mut Battery, f64)) {
    match &mut sample.craft.battery {
        Some(battery) => change(battery, value),
        None => drop(draws.taken()),
    }
}
