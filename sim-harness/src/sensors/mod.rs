//! The sensors: from the truth of the plant to what the flight computer is told.
//!
//! Each sensor has its own rate, latency, errors and random stream. The accelerometer sits at the centre of mass and is
//! told what one there would feel: it shows thrust and drag, not gravity.

mod channel;
mod config;
pub(crate) mod random;
mod rotor_report;
mod truth;

use evenkeel_controller::estimate::{HeadingReference, InertialSample};
use evenkeel_controller::{BodyAxes, Sample};
use evenkeel_mixer::Scalar;
use nalgebra::{UnitQuaternion, Vector3};

pub use config::{InertialSensor, ScalarSensor, SensorsConfig};
pub use truth::{InFlight, Standing, Truth};

use crate::attitude;
use crate::craft::MAX_ROTORS;
use crate::script::{Sensor, SensorFailure};
use crate::simulation::clock::microseconds;
use channel::{Channel, Reading};
use random::Stream;
use rotor_report::RotorReport;

/// Deviation that a noisy failure adds: gyro rad/s, accelerometer m/s², heading rad, climb m/s, voltage share.
pub const FAILURE_NOISE: [f64; 5] = [0.5, 10.0, 0.5, 2.0, 0.1];

/// All the sensors of one craft in one flight.
#[derive(Clone, Debug)]
pub struct Sensors<S> {
    gyro: Channel<3>,
    accelerometer: Channel<3>,
    /// From body axes to the sensors' own.
    turned: Option<UnitQuaternion<f64>>,
    heading: Option<Channel<1>>,
    climb: Option<Channel<1>>,
    voltage: Option<Channel<1>>,
    rotors: RotorReport,
    /// The last heading in the flying scalar: it changes rarely.
    heading_reference: Option<(u64, HeadingReference<S>)>,
}

impl<S: Scalar> Sensors<S> {
    /// Sensors as configured; those without a rate of their own measure with the rate loop.
    pub fn new(config: &SensorsConfig, loop_hz: f64, seed: u64) -> Self {
        let [gyro, accelerometer, heading, climb, voltage] = FAILURE_NOISE;
        let scalar = |sensor: &Option<ScalarSensor>, stream, noise| {
            sensor.as_ref().map(|sensor| Channel::scalar(sensor, loop_hz, seed, stream, noise))
        };
        Sensors {
            gyro: Channel::inertial(&config.gyro, loop_hz, seed, Stream::Gyro, gyro),
            accelerometer: Channel::inertial(
                &config.accelerometer,
                loop_hz,
                seed,
                Stream::Accelerometer,
                accelerometer,
            ),
            turned: (config.misalignment_rad != [0.0; 3])
                .then(|| attitude::from_euler_rad(config.misalignment_rad).inverse()),
            heading: scalar(&config.heading, Stream::Heading, heading),
            climb: scalar(&config.climb, Stream::Climb, climb),
            voltage: scalar(&config.voltage, Stream::Voltage, voltage),
            rotors: RotorReport::after(config.rotor_report_s),
            heading_reference: None,
        }
    }

    /// When one of them measures next.
    pub fn next_ns(&self) -> u64 {
        let slow = [&self.heading, &self.climb, &self.voltage].into_iter().flatten().map(Channel::next_ns);
        slow.fold(self.gyro.next_ns().min(self.accelerometer.next_ns()), u64::min)
    }

    /// This sensor fails so from now on; `None` mends it. A sensor that is not fitted cannot fail.
    pub fn fail(&mut self, sensor: Sensor, failure: Option<SensorFailure>) {
        let scalar = match sensor {
            Sensor::Gyro => return self.gyro.fail(failure),
            Sensor::Accelerometer => return self.accelerometer.fail(failure),
            Sensor::Heading => &mut self.heading,
            Sensor::Climb => &mut self.climb,
            Sensor::Voltage => &mut self.voltage,
        };
        if let Some(channel) = scalar {
            channel.fail(failure);
        }
    }

    /// This rotor (from 0) stops now; what is told of it is told when its time comes.
    pub fn rotor_stops(&mut self, rotor: usize, now_ns: u64) {
        self.rotors.stopped(rotor, now_ns);
    }

    /// Those whose time it is measure the truth.
    pub fn measure(&mut self, now_ns: u64, truth: &impl Truth) {
        let turned = self.turned;
        let seen = |truth: Vector3<f64>| Some(turned.map_or(truth, |turn| turn * truth).into());
        self.gyro.measure(now_ns, || seen(truth.rate_rad_s()));
        self.accelerometer.measure(now_ns, || seen(truth.specific_force_m_s2()));
        if let Some(heading) = &mut self.heading {
            heading.measure(now_ns, || truth.heading_rad().map(|heading| [heading]));
        }
        if let Some(climb) = &mut self.climb {
            climb.measure(now_ns, || Some([truth.climb_m_s()]));
        }
        if let Some(voltage) = &mut self.voltage {
            voltage.measure(now_ns, || Some([truth.voltage_share()]));
        }
    }

    /// What the flight computer is told now. Ground contact, charge and rotor speed are the truth.
    pub fn sample(&mut self, now_ns: u64, truth: &impl Truth) -> Sample<S, MAX_ROTORS> {
        let (gyro, accelerometer) = (self.gyro.read(now_ns), self.accelerometer.read(now_ns));
        let axes = |reading: Option<Reading<3>>| reading.map_or([0.0; 3], |reading| reading.value).map(S::from_f64);
        let oldest_ns = self.accelerometer.oldest_ns();
        let sensed_at_ns = gyro.zip(accelerometer).map(|(gyro, accelerometer)| {
            // An accelerometer slower than the gyro is no fault; one that has gone silent is.
            let silent = now_ns.saturating_sub(accelerometer.sensed_at_ns) > oldest_ns;
            if silent { gyro.sensed_at_ns.min(accelerometer.sensed_at_ns) } else { gyro.sensed_at_ns }
        });
        Sample {
            now_us: microseconds(now_ns),
            sensed_at_us: sensed_at_ns.map(microseconds),
            inertial: InertialSample {
                gyro_rad_s: BodyAxes::from_array(axes(gyro)),
                acceleration_m_s2: axes(accelerometer),
                heading: self.heading_reference(now_ns),
            },
            rotor_speeds_rad_s: [S::ZERO; MAX_ROTORS],
            stopped_rotors: self.rotors.read(now_ns),
            on_ground: Some(truth.on_ground()),
            battery_share: Some(S::from_f64(truth.state_of_charge())),
            voltage_share: scalar(&mut self.voltage, now_ns),
            climb_m_s: scalar(&mut self.climb, now_ns),
        }
    }

    /// The newest heading; none when it is too old, as when the sensor has gone silent or the nose points up.
    fn heading_reference(&mut self, now_ns: u64) -> Option<HeadingReference<S>> {
        let reading = fresh(&mut self.heading, now_ns)?;
        match self.heading_reference {
            Some((at_ns, reference)) if at_ns == reading.sensed_at_ns => Some(reference),
            _ => {
                let [heading_rad] = reading.value;
                let reference = HeadingReference::nose(S::from_f64(heading_rad));
                self.heading_reference = Some((reading.sensed_at_ns, reference));
                Some(reference)
            }
        }
    }
}

fn fresh(channel: &mut Option<Channel<1>>, now_ns: u64) -> Option<Reading<1>> {
    let channel = channel.as_mut()?;
    let oldest_ns = channel.oldest_ns();
    channel.read(now_ns).filter(|reading| now_ns.saturating_sub(reading.sensed_at_ns) <= oldest_ns)
}

fn scalar<S: Scalar>(channel: &mut Option<Channel<1>>, now_ns: u64) -> Option<S> {
    fresh(channel, now_ns).map(|reading| S::from_f64(reading.value[0]))
}
