//! The figures of a craft file that can be doubted: where each stands, its value, and the craft with another one.

use super::body::largest;
use super::words::number;
use crate::craft::{Craft, Rotor};
use crate::file::THRUST_MIN_FRACTION;

/// How far a share that follows from another figure may lie from what it was made with.
const ROUNDING_TOL: f64 = 1e-9;

/// A figure of the craft file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Figure {
    Mass,
    CenterOfMass,
    Inertia,
    InertiaXx,
    InertiaYy,
    InertiaZz,
    DragArea,
    /// `layout.arm_m`, or every `position_m`.
    Arm,
    Thrust,
    ThrustMin,
    Torque,
    Lag,
    SpinInertia,
    Speed,
    Diameter,
    Capacity,
    /// Both ends, or the whole curve.
    Voltage,
    EmptyVoltage,
    Resistance,
    DatumHeight,
    Tilt,
    RollRate,
    PitchRate,
    YawRate,
    LoopRate,
    Delay,
    GyroRange,
    GyroLatency,
}

use Figure::*;

impl Figure {
    /// Each of them.
    pub const ALL: [Figure; 28] = [
        Mass,
        CenterOfMass,
        Inertia,
        InertiaXx,
        InertiaYy,
        InertiaZz,
        DragArea,
        Arm,
        Thrust,
        ThrustMin,
        Torque,
        Lag,
        SpinInertia,
        Speed,
        Diameter,
        Capacity,
        Voltage,
        EmptyVoltage,
        Resistance,
        DatumHeight,
        Tilt,
        RollRate,
        PitchRate,
        YawRate,
        LoopRate,
        Delay,
        GyroRange,
        GyroLatency,
    ];

    /// Its key in the file of this craft.
    pub fn key(self, craft: &Craft) -> &'static str {
        let in_file = &craft.figures;
        match self {
            Arm if in_file.from_layout => "layout.arm_m",
            Arm => "rotor.position_m",
            Voltage | EmptyVoltage if craft.battery.as_ref().is_some_and(|battery| battery.voltage_curve.is_some()) => {
                "battery.voltage_curve"
            }
            one => one.keys()[0],
        }
    }

    /// Every key that it may stand under.
    pub fn keys(self) -> &'static [&'static str] {
        match self {
            Mass => &["body.mass_kg"],
            CenterOfMass => &["body.center_of_mass_m"],
            Inertia => &["body.inertia_kg_m2"],
            InertiaXx => &["body.inertia_kg_m2.xx"],
            InertiaYy => &["body.inertia_kg_m2.yy"],
            InertiaZz => &["body.inertia_kg_m2.zz"],
            DragArea => &["body.drag_area_m2"],
            Arm => &["layout.arm_m", "rotor.position_m"],
            Thrust => &["rotors.thrust_max_n"],
            ThrustMin => &["rotors.thrust_min_n"],
            Torque => &["rotors.torque_per_thrust_m"],
            Lag => &["rotors.response_time_s"],
            SpinInertia => &["rotors.inertia_kg_m2"],
            Speed => &["rotors.speed_max_rad_s"],
            Diameter => &["rotors.diameter_m"],
            Capacity => &["battery.capacity_ah"],
            Voltage => &["battery.full_v", "battery.voltage_curve"],
            EmptyVoltage => &["battery.empty_v", "battery.voltage_curve"],
            Resistance => &["battery.resistance_ohm"],
            DatumHeight => &["ground_effect.datum_height_m"],
            Tilt => &["limits.tilt_deg"],
            RollRate => &["limits.roll_rate_deg_s"],
            PitchRate => &["limits.pitch_rate_deg_s"],
            YawRate => &["limits.yaw_rate_deg_s"],
            LoopRate => &["loops.rate_hz"],
            Delay => &["loops.extra_delay_s"],
            GyroRange => &["sensors.gyro.range_deg_s"],
            GyroLatency => &["sensors.gyro.latency_s"],
        }
    }

    /// The figure; of several numbers the largest. `None` where the file has none.
    pub fn value(self, craft: &Craft) -> Option<f64> {
        let battery = craft.battery.as_ref();
        let [[xx, ..], [_, yy, _], [.., zz]] = craft.body.inertia_kg_m2;
        let most = |figure: fn(&Rotor) -> f64| largest(craft, figure);
        let [roll, pitch, yaw] = craft.limits.rate_rad_s.map(|rate| rate.map(f64::to_degrees));
        let value = match self {
            Mass => craft.body.mass_kg,
            CenterOfMass => craft.body.center_of_mass_m.into_iter().max_by(|a, b| a.abs().total_cmp(&b.abs()))?,
            InertiaXx => xx,
            InertiaYy => yy,
            Inertia | InertiaZz => zz,
            DragArea => craft.body.drag_area_m2.into_iter().fold(0.0, f64::max),
            Arm => most(|rotor| rotor.position_m[0].hypot(rotor.position_m[1])),
            Thrust => most(|rotor| rotor.thrust_max_n),
            ThrustMin => most(|rotor| rotor.thrust_min_n),
            // A lower rotor has the torque of the upper one with less thrust: the file says the lesser.
            Torque => craft.rotors.iter().map(|rotor| rotor.torque_per_thrust_m).fold(f64::MAX, f64::min),
            Lag => most(|rotor| rotor.response_time_s),
            SpinInertia => most(|rotor| rotor.inertia_kg_m2),
            Speed => craft.rotors.iter().filter_map(|rotor| rotor.speed_max_rad_s).max_by(f64::total_cmp)?,
            Diameter => {
                craft.rotors.iter().filter_map(|rotor| rotor.in_moving_air.diameter_m).max_by(f64::total_cmp)?
            }
            Capacity => battery?.capacity_ah,
            Voltage => battery?.full_v,
            EmptyVoltage => battery?.empty_v,
            Resistance => battery?.resistance_ohm,
            DatumHeight => craft.ground_effect?.datum_height_m,
            Tilt => craft.limits.tilt_rad?.to_degrees(),
            RollRate => roll?,
            PitchRate => pitch?,
            YawRate => yaw?,
            LoopRate => craft.loops.rate_hz,
            Delay => craft.loops.extra_delay_s,
            GyroRange => craft.sensors.gyro.range.to_degrees(),
            GyroLatency => craft.sensors.gyro.latency_s,
        };
        (value != 0.0 && value.is_finite()).then_some(value)
    }

    /// The craft with the figure times `factor`; `only` limits it to one rotor.
    pub fn scaled(self, craft: &Craft, factor: f64, only: Option<usize>) -> Craft {
        let mut craft = craft.clone();
        let inertia = &mut craft.body.inertia_kg_m2;
        match self {
            Mass => craft.body.mass_kg *= factor,
            CenterOfMass => craft.body.center_of_mass_m = craft.body.center_of_mass_m.map(|part| part * factor),
            Inertia => *inertia = inertia.map(|row| row.map(|entry| entry * factor)),
            InertiaXx => inertia[0][0] *= factor,
            InertiaYy => inertia[1][1] *= factor,
            InertiaZz => inertia[2][2] *= factor,
            DragArea => craft.body.drag_area_m2 = craft.body.drag_area_m2.map(|area| area * factor),
            Tilt => craft.limits.tilt_rad = craft.limits.tilt_rad.map(|tilt| tilt * factor),
            RollRate => craft.limits.rate_rad_s[0] = craft.limits.rate_rad_s[0].map(|rate| rate * factor),
            PitchRate => craft.limits.rate_rad_s[1] = craft.limits.rate_rad_s[1].map(|rate| rate * factor),
            YawRate => craft.limits.rate_rad_s[2] = craft.limits.rate_rad_s[2].map(|rate| rate * factor),
            LoopRate => craft.loops.rate_hz *= factor,
            Delay => craft.loops.extra_delay_s *= factor,
            GyroRange => craft.sensors.gyro.range *= factor,
            GyroLatency => craft.sensors.gyro.latency_s *= factor,
            DatumHeight => craft.ground_effect.iter_mut().for_each(|ground| ground.datum_height_m *= factor),
            Capacity | Voltage | EmptyVoltage | Resistance => scale_battery(&mut craft, self, factor),
            _ => {
                let from_layout = craft.figures.from_layout;
                let chosen =
                    craft.rotors.iter_mut().enumerate().filter(|(index, _)| only.is_none_or(|one| one == *index));
                chosen.for_each(|(_, rotor)| scale_rotor(rotor, self, factor, from_layout));
            }
        }
        craft
    }

    /// What to type for it, as it stands in the file of this craft.
    pub fn typed(self, craft: &Craft) -> Option<String> {
        let list = |parts: [f64; 3]| format!("[{}]", parts.map(number).join(", "));
        let [[xx, ..], [_, yy, _], [.., zz]] = craft.body.inertia_kg_m2;
        Some(match self {
            CenterOfMass => list(craft.body.center_of_mass_m),
            DragArea => list(craft.body.drag_area_m2),
            Inertia => format!("{{ xx = {}, yy = {}, zz = {} }}", number(xx), number(yy), number(zz)),
            _ => number(self.value(craft)?),
        })
    }
}

fn scale_battery(craft: &mut Craft, figure: Figure, factor: f64) {
    let Some(battery) = &mut craft.battery else { return };
    match figure {
        Capacity => battery.capacity_ah *= factor,
        Resistance => battery.resistance_ohm *= factor,
        EmptyVoltage => battery.empty_v *= factor,
        _ => {
            battery.full_v *= factor;
            battery.empty_v *= factor;
        }
    }
}

fn scale_rotor(rotor: &mut Rotor, figure: Figure, factor: f64, from_layout: bool) {
    match figure {
        Thrust => {
            // A floor that nobody typed follows from the thrust.
            if (rotor.thrust_min_n / rotor.thrust_max_n - THRUST_MIN_FRACTION).abs() < ROUNDING_TOL {
                rotor.thrust_min_n *= factor;
            }
            rotor.thrust_max_n *= factor;
        }
        ThrustMin => rotor.thrust_min_n *= factor,
        Torque => rotor.torque_per_thrust_m *= factor,
        Lag => rotor.response_time_s *= factor,
        SpinInertia => rotor.inertia_kg_m2 *= factor,
        Speed => rotor.speed_max_rad_s = rotor.speed_max_rad_s.map(|speed| speed * factor),
        Diameter => rotor.in_moving_air.diameter_m = rotor.in_moving_air.diameter_m.map(|diameter| diameter * factor),
        _ => {
            let [x, y, z] = rotor.position_m;
            rotor.position_m = [x * factor, y * factor, if from_layout { z } else { z * factor }];
        }
    }
}
