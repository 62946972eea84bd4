//! The craft file: every key with its range, default and meaning.

use evenkeel_mixer::Axis;

use super::error::FileError;
use super::key::{KeyRule, Keys, Row, keys};
use super::rule::{Range, Rule, above, column, from, number, rising, vector, whole, within};
use super::section::{list, section};
use super::table::Table;
use super::vouched::doubtable;
use super::word::{flag, text, tiers, word};
use crate::craft::{MAX_ROTORS, Spin};
use crate::dispersion::{Dispersion, SHAPES, Shape};
use crate::sensors::SensorsConfig;

const SPIN: &[(&str, Spin)] = &[("cw", Spin::Cw), ("ccw", Spin::Ccw)];
const AXES: &[(&str, Axis)] =
    &[("thrust", Axis::Thrust), ("roll", Axis::Roll), ("pitch", Axis::Pitch), ("yaw", Axis::Yaw)];
const MOST: i64 = MAX_ROTORS as i64;
const WITH_LOOP: &str = "with the rate loop";
const FROM_CRAFT: &str = "follows from the craft";
const OF_ROTORS: &str = "as in [rotors]";
const SPREAD: Dispersion = Dispersion::DEFAULT;
/// A share that leaves something of what it varies.
const SHARE: Range = from(0.0).to(0.9);
const INFLOW: &[(&str, bool)] = &[("ignored", false), ("momentum", true)];
const MOST_ROWS: usize = 32;
const UP: [f64; 3] = [0.0, 0.0, -1.0];

fn default_priority() -> Vec<Vec<Axis>> {
    vec![vec![Axis::Roll, Axis::Pitch], vec![Axis::Thrust], vec![Axis::Yaw]]
}

keys! {
    /// A craft file.
    CraftKeys {
        format: u64 = whole(1, 1).required(), "the version of the file format";
        name: String = text().required(), "what you call the craft";
        body: BodyKeys<'a> = section::<BodyKeys>().required(), "the rigid body: mass, inertia and drag";
        rotors: RotorsKeys<'a> = section::<RotorsKeys>().or_empty(), "what holds for every rotor that does not say otherwise";
        layout: Option<LayoutKeys<'a>> = section::<LayoutKeys>().optional("then [[rotor]] must stand"), "a regular ring of arms";
        rotor: Vec<RotorKeys<'a>> = list::<RotorKeys>(), "one rotor after another, instead of [layout]";
        saturation: SaturationKeys<'a> = section::<SaturationKeys>().or_empty(), "what gives way first when the rotors cannot meet a demand";
        loops: LoopsKeys<'a> = section::<LoopsKeys>().or_empty(), "the timing of the control loops";
        gains: GainsKeys<'a> = section::<GainsKeys>().or_empty(), "the place for gains you fix yourself";
        limits: LimitsKeys<'a> = section::<LimitsKeys>().or_empty(), "the place for limits you fix yourself";
        dispersion: DispersionKeys<'a> = section::<DispersionKeys>().or_empty(), "by how much the craft may differ from this file";
        battery: Option<BatteryKeys<'a>> = section::<BatteryKeys>().optional("full voltage always"), "a battery that sags as current flows and as it empties";
        ground_effect: Option<GroundEffectKeys<'a>> = section::<GroundEffectKeys>().optional("the ground adds no thrust"), "the thrust that the ground adds to a rotor near it";
        sensors: SensorsKeys<'a> = section::<SensorsKeys>().or_empty(), "what the craft senses with, and how well";
        figures: FiguresKeys<'a> = section::<FiguresKeys>().or_empty(), "what you know about the figures of this file";
    }

    /// `[body]`
    BodyKeys {
        mass_kg: f64 = number(from(1e-3).to(1e3)).required(), "the take-off mass";
        center_of_mass_m: [f64; 3] = vector::<3>(within(50.0)).or([0.0; 3]), "the centre of mass from the datum, body axes x forward, y right, z down";
        inertia_kg_m2: InertiaKeys<'a> = section::<InertiaKeys>().required(), "the inertia tensor about the centre of mass, body axes";
        drag_area_m2: [f64; 3] = vector::<3>(from(0.0).to(100.0)).or([0.0; 3]), "the drag area Cd·A along body x, y, z";
    }

    /// `body.inertia_kg_m2`
    InertiaKeys {
        xx: f64 = number(above(0.0).to(1e4)).required(), "the moment of inertia about body x";
        yy: f64 = number(above(0.0).to(1e4)).required(), "the moment of inertia about body y";
        zz: f64 = number(above(0.0).to(1e4)).required(), "the moment of inertia about body z";
        xy: f64 = number(within(1e4)).or(0.0), "the off-diagonal entry of the tensor, −∫ x y dm";
        xz: f64 = number(within(1e4)).or(0.0), "the off-diagonal entry of the tensor, −∫ x z dm";
        yz: f64 = number(within(1e4)).or(0.0), "the off-diagonal entry of the tensor, −∫ y z dm";
    }

    /// `[rotors]`
    RotorsKeys {
        thrust_max_n: Option<f64> = number(above(0.0).to(1e4)).optional("required, here, in each [[rotor]], or as the end of a thrust_curve"), "the thrust of one rotor at full command: full voltage at its terminals, or thrust_max_at_v; 1.225 kg/m³, static";
        thrust_max_at_v: Option<f64> = number(above(0.0).to(1e3)).optional("`battery.full_v`"), "the voltage at the battery's terminals, under load, at which thrust_max_n was measured, and thrust_curve, speed_max_rad_s and drag_n_per_m_s with it; from 0.5 to 1.2 of the full voltage of [battery]";
        thrust_min_n: Option<f64> = number(from(0.0).to(1e4)).optional("4 % of thrust_max_n"), "the thrust at the slowest safe spin while armed, below thrust_max_n";
        torque_per_thrust_m: Option<f64> = number(from(0.0).to(1.0)).optional("required, here or in each [[rotor]]"), "the reaction torque per newton of thrust, never negative: spin says which way";
        response_time_s: Option<f64> = number(from(1e-3).to(2.0)).optional("required, here or in each [[rotor]]"), "the first-order lag of the rotor's speed (63 % of a step)";
        thrust_curve: Option<CurveKeys<'a>> = section::<CurveKeys>().optional("thrust goes with the command squared"), "a bench table, command against thrust";
        inertia_kg_m2: Option<f64> = number(from(0.0).to(1.0)).optional("`0.0`"), "the moment of inertia of what spins, about the spin axis";
        speed_max_rad_s: Option<f64> = number(from(10.0).to(1e5)).optional("that of its propeller table and diameter, else of a typical propeller"), "the speed at full thrust";
        diameter_m: Option<f64> = number(from(0.01).to(20.0)).optional("that of a typical propeller of this torque_per_thrust_m"), "the diameter of the propeller; inflow and ground effect ask for it";
        inflow: Option<bool> = word(INFLOW).optional("`\"ignored\"`"), "what air along the axis does to the thrust where no propeller table stands: nothing, or momentum theory at constant power";
        propeller: Option<PropellerKeys<'a>> = section::<PropellerKeys>().optional("as `inflow` says"), "what was measured on the propeller in air along its axis";
        drag_n_per_m_s: Option<f64> = number(from(0.0).to(100.0)).optional("`0.0`"), "the rotor's own drag at full speed, per m/s of air across its axis; it goes with the speed";
    }

    /// `rotors.propeller`
    PropellerKeys {
        advance_ratio: Vec<f64> = rising(2, MOST_ROWS, from(0.0).to(5.0)).required(), "the advance ratios J = V/(n·D), n in turns a second; the first is 0";
        thrust_coefficient: Vec<f64> = column(2, MOST_ROWS, within(2.0)).required(), "the thrust coefficient at each, T/(ρ·n²·D⁴); the first is above 0. Its shape counts: static thrust is thrust_max_n";
        power_coefficient: Vec<f64> = column(2, MOST_ROWS, within(2.0)).required(), "the power coefficient at each, P/(ρ·n³·D⁵); the first is above 0. Its shape counts: static torque is torque_per_thrust_m";
    }

    /// `rotors.thrust_curve`
    CurveKeys {
        command: Vec<f64> = rising(2, 16, from(0.0).to(1.0)).required(), "the commands of the bench run; the last is 1";
        thrust_n: Vec<f64> = rising(2, 16, from(0.0).to(1e4)).required(), "the thrust at each; the last is thrust_max_n";
    }

    /// `[layout]`
    LayoutKeys {
        rotors: u64 = whole(1, MOST).required(), "the number of arms, equally spaced; with coaxial each carries two rotors";
        arm_m: f64 = number(from(0.005).to(50.0)).required(), "the distance from the datum to each rotor's hub";
        first_azimuth_deg: f64 = number(within(360.0)).or(0.0), "where the first arm points, from the nose, clockwise seen from above";
        first_spin: Spin = word(SPIN).or(Spin::Ccw), "the spin of the first rotor seen from above; it alternates around the ring";
        coaxial: bool = flag().or(false), "whether a second rotor sits under each, of opposite spin, listed after the first ring";
        lower_thrust_share: f64 = number(above(0.0).to(1.0)).or(1.0), "the share of its thrust that a rotor of the second ring keeps in the wake of the one above it, at the same torque";
        ring_gap_m: f64 = number(from(0.0).to(5.0)).or(0.0), "how far the second ring lies below the first";
    }

    /// `[[rotor]]`
    PlacedKeys {
        name: Option<String> = text().optional("\"rotor 1\", \"rotor 2\" and so on"), "what reports call it";
        position_m: [f64; 3] = vector::<3>(within(50.0)).required(), "the hub from the datum, body axes x forward, y right, z down";
        spin: Spin = word(SPIN).required(), "the sense of rotation seen from above";
        axis: [f64; 3] = vector::<3>(within(1e3)).or(UP), "the direction of its thrust, body axes; any length but zero";
        thrust_share: f64 = number(above(0.0).to(1.0)).or(1.0), "the share of its thrust that it keeps in the wake of a rotor above it, at the same torque";
    }

    /// `[battery]`
    BatteryKeys {
        capacity_ah: f64 = number(from(0.01).to(1e4)).required(), "the charge it holds when full";
        full_v: Option<f64> = number(above(0.0).to(1e3)).optional("the end of voltage_curve"), "the open-circuit voltage when full; thrust_max_n holds at this voltage";
        empty_v: Option<f64> = number(above(0.0).to(1e3)).optional("the start of voltage_curve"), "the open-circuit voltage when empty; below full_v";
        resistance_ohm: f64 = number(from(0.0).to(10.0)).required(), "the resistance of pack, leads and motor controllers together";
        efficiency: f64 = number(from(0.05).to(1.0)).or(0.8), "the share of the electrical power that reaches the propellers";
        charge: f64 = number(from(0.0).to(1.0)).or(1.0), "the state of charge at the start of a flight";
        voltage_curve: Option<VoltageKeys<'a>> = section::<VoltageKeys>().optional("a straight line from empty_v to full_v"), "the open-circuit voltage over the state of charge, instead of full_v and empty_v";
    }

    /// `battery.voltage_curve`
    VoltageKeys {
        charge: Vec<f64> = rising(2, MOST_ROWS, from(0.0).to(1.0)).required(), "the states of charge, from 0 to 1";
        voltage_v: Vec<f64> = rising(2, MOST_ROWS, above(0.0).to(1e3)).required(), "the open-circuit voltage at each";
    }

    /// `[ground_effect]`
    GroundEffectKeys {
        datum_height_m: f64 = number(from(0.0).to(20.0)).required(), "how high the datum is above the ground while the craft stands";
    }

    /// `[figures]`
    FiguresKeys {
        measured: Vec<String> = doubtable().or(Vec::new()), "the keys that were measured and are right although unusual: a doubt about them is printed and does not decide";
    }

    /// `[saturation]`
    SaturationKeys {
        priority: Vec<Vec<Axis>> = tiers(AXES).or(default_priority()), "what is met first: a list of tiers, each a list of axes";
        keep_yaw_sign: bool = flag().or(true), "whether yaw is kept from turning against its demand to please thrust";
    }

    /// `[loops]`
    LoopsKeys {
        rate_hz: f64 = number(from(50.0).to(8000.0)).or(1000.0), "how often rate loop and mixer run";
        angle_divider: u64 = whole(1, 100).or(4), "how many steps of the rate loop there are to one of the angle loop";
        extra_delay_s: f64 = number(from(0.0).to(0.5)).or(0.0), "the transport delay added between command and rotor, for margin tests";
    }

    /// `[gains]`
    GainsKeys {
        rate: RateKeys<'a> = section::<RateKeys>().or_empty(), "the rate loop";
        angle: AngleKeys<'a> = section::<AngleKeys>().or_empty(), "the angle loop";
    }

    /// `[gains.rate]`
    RateKeys {
        roll: RateAxisKeys<'a> = section::<RateAxisKeys>().or_empty(), "the gains of the roll rate loop";
        pitch: RateAxisKeys<'a> = section::<RateAxisKeys>().or_empty(), "the gains of the pitch rate loop";
        yaw: RateAxisKeys<'a> = section::<RateAxisKeys>().or_empty(), "the gains of the yaw rate loop";
    }

    /// `[gains.rate.roll]`, `.pitch`, `.yaw`
    RateAxisKeys {
        p_per_s: Option<f64> = number(from(0.0).to(1e3)).optional(FROM_CRAFT), "the proportional gain: rad/s² per rad/s of rate error";
        i_per_s2: Option<f64> = number(from(0.0).to(1e5)).optional(FROM_CRAFT), "the integral gain: rad/s² per rad";
        d: Option<f64> = number(from(0.0).to(10.0)).optional(FROM_CRAFT), "the derivative gain: rad/s² per rad/s²";
        d_filter_hz: Option<f64> = number(from(1.0).to(4000.0)).optional(FROM_CRAFT), "the corner of the derivative's low-pass, below half of loops.rate_hz";
    }

    /// `[gains.angle]`
    AngleKeys {
        roll_per_s: Option<f64> = number(above(0.0).to(100.0)).optional(FROM_CRAFT), "the roll rate asked for per radian of roll error";
        pitch_per_s: Option<f64> = number(above(0.0).to(100.0)).optional(FROM_CRAFT), "the pitch rate asked for per radian of pitch error";
        yaw_per_s: Option<f64> = number(above(0.0).to(100.0)).optional(FROM_CRAFT), "the yaw rate asked for per radian of yaw error";
    }

    /// `[limits]`
    LimitsKeys {
        tilt_deg: Option<f64> = number(from(1.0).to(85.0)).optional(FROM_CRAFT), "the largest tilt the angle loop is asked for";
        roll_rate_deg_s: Option<f64> = number(from(1.0).to(2000.0)).optional(FROM_CRAFT), "the largest roll rate the angle loop may ask for";
        pitch_rate_deg_s: Option<f64> = number(from(1.0).to(2000.0)).optional(FROM_CRAFT), "the largest pitch rate the angle loop may ask for";
        yaw_rate_deg_s: Option<f64> = number(from(1.0).to(2000.0)).optional(FROM_CRAFT), "the largest yaw rate the angle loop may ask for";
    }
    /// `[sensors]`
    SensorsKeys {
        perfect: bool = flag().or(false), "whether every sensor measures without error at every step; no other key stands beside it";
        misalignment_deg: [f64; 3] = vector::<3>(within(30.0)).or([0.0; 3]), "the roll, pitch, yaw by which gyro and accelerometer are turned against the body";
        gyro: GyroKeys<'a> = section::<GyroKeys>().or_empty(), "the rates of turn";
        accelerometer: AccelerometerKeys<'a> = section::<AccelerometerKeys>().or_empty(), "the acceleration less gravity";
        heading: HeadingKeys<'a> = section::<HeadingKeys>().or_empty(), "where the nose points";
        climb: ClimbKeys<'a> = section::<ClimbKeys>().or_empty(), "the vertical speed";
        voltage: VoltageSensorKeys<'a> = section::<VoltageSensorKeys>().or_empty(), "the supply voltage";
        rotors: RotorReportKeys<'a> = section::<RotorReportKeys>().or_empty(), "what the motor electronics say of a rotor that has stopped";
    }

    /// `[sensors.gyro]`
    GyroKeys {
        noise_deg_s_rthz: f64 = number(from(0.0).to(10.0)).or(0.005), "the one-sided noise density of a data sheet";
        bias_deg_s: [f64; 3] = vector::<3>(within(100.0)).or([0.0; 3]), "the bias at the start, each axis";
        drift_deg_s_rts: f64 = number(from(0.0).to(10.0)).or(0.0), "the random walk of the bias in a second";
        resolution_deg_s: Option<f64> = number(from(0.0).to(10.0)).optional("range_deg_s / 32768, 16 bits"), "the smallest step";
        range_deg_s: f64 = number(from(10.0).to(1e5)).or(2000.0), "the largest rate it shows";
        rate_hz: Option<f64> = number(from(1.0).to(32000.0)).optional(WITH_LOOP), "how often it measures";
        latency_s: f64 = number(from(0.0).to(0.1)).or(0.0), "the time from the moment measured until it can be read";
        low_pass_hz: Option<f64> = number(from(1.0).to(4000.0)).optional("0.3 of loops.rate_hz"), "the corner of the low-pass between gyro and rate loop, below 0.45 of loops.rate_hz";
    }

    /// `[sensors.accelerometer]`
    AccelerometerKeys {
        noise_m_s2_rthz: f64 = number(from(0.0).to(1.0)).or(0.000_980_665), "the one-sided noise density of a data sheet; the default is 100 µg/√Hz";
        bias_m_s2: [f64; 3] = vector::<3>(within(10.0)).or([0.0; 3]), "the bias at the start, each axis";
        drift_m_s2_rts: f64 = number(from(0.0).to(1.0)).or(0.0), "the random walk of the bias in a second";
        resolution_m_s2: Option<f64> = number(from(0.0).to(1.0)).optional("range_m_s2 / 32768, 16 bits"), "the smallest step";
        range_m_s2: f64 = number(from(10.0).to(1e4)).or(156.9064), "the largest acceleration it shows; the default is 16 g";
        rate_hz: Option<f64> = number(from(1.0).to(32000.0)).optional(WITH_LOOP), "how often it measures";
        latency_s: f64 = number(from(0.0).to(0.1)).or(0.0), "the time from the moment measured until it can be read";
    }

    /// `[sensors.heading]`
    HeadingKeys {
        fitted: bool = flag().or(true), "whether there is one; without it yaw drifts with the bias of the gyro";
        noise_deg: f64 = number(from(0.0).to(90.0)).or(1.0), "the standard deviation of a sample";
        bias_deg: f64 = number(within(180.0)).or(0.0), "the constant error";
        rate_hz: f64 = number(from(0.1).to(1000.0)).or(20.0), "how often it measures";
        latency_s: f64 = number(from(0.0).to(10.0)).or(0.0), "the time from the moment measured until it can be read";
    }

    /// `[sensors.climb]`
    ClimbKeys {
        fitted: bool = flag().or(true), "whether there is one; without it a descent without a pilot has a thrust and no speed";
        noise_m_s: f64 = number(from(0.0).to(10.0)).or(0.1), "the standard deviation of a sample";
        bias_m_s: f64 = number(within(10.0)).or(0.0), "the constant error";
        rate_hz: f64 = number(from(0.1).to(1000.0)).or(50.0), "how often it measures";
        latency_s: f64 = number(from(0.0).to(10.0)).or(0.0), "the time from the moment measured until it can be read";
    }

    /// `[sensors.voltage]`
    VoltageSensorKeys {
        fitted: bool = flag().or(true), "whether there is one; without it commands do not follow the battery";
        noise_share: f64 = number(from(0.0).to(1.0)).or(0.0005), "the standard deviation of a sample, as a share of full voltage";
        bias_share: f64 = number(within(1.0)).or(0.0), "the constant error, as a share of full voltage";
        rate_hz: f64 = number(from(0.1).to(1000.0)).or(50.0), "how often it measures";
        latency_s: f64 = number(from(0.0).to(10.0)).or(0.0), "the time from the moment measured until it can be read";
    }

    /// `[sensors.rotors]`
    RotorReportKeys {
        fitted: bool = flag().or(true), "whether they report it; without it the computer flies on as if the rotor turned";
        report_s: f64 = number(from(0.0).to(10.0)).or(SensorsConfig::ROTOR_REPORT_S), "the time from the moment a rotor stops until it is reported";
    }

    /// `[dispersion]`
    DispersionKeys {
        shape: Shape = word(SHAPES).or(SPREAD.shape), "how deviations lie within their bounds: evenly, or normal with a standard deviation of a third of the bound and cut there";
        mass_share: f64 = number(SHARE).or(SPREAD.mass_share), "how far off the mass may be, either way";
        inertia_share: f64 = number(SHARE).or(SPREAD.inertia_share), "how far off each moment of inertia may be";
        center_of_mass_share: f64 = number(SHARE).or(SPREAD.center_of_mass_share), "how far off the centre of mass may be along each body axis, as a share of the mean arm";
        thrust_share: f64 = number(SHARE).or(SPREAD.thrust_share), "how far off the thrust of each rotor may be";
        lag_share: f64 = number(SHARE).or(SPREAD.lag_share), "how far off the lag of each rotor may be";
        torque_share: f64 = number(SHARE).or(SPREAD.torque_share), "how far off the torque per thrust of each rotor may be";
        drag_share: f64 = number(SHARE).or(SPREAD.drag_share), "how far off the drag area along each body axis may be";
        delay_s: f64 = number(from(0.0).to(0.5)).or(SPREAD.delay_s), "how much may be added to the transport delay";
        wind_m_s: f64 = number(from(0.0).to(50.0)).or(SPREAD.wind_m_s), "how fast a level wind from any direction may blow, on top of the flight's";
        battery_capacity_share: f64 = number(SHARE).or(SPREAD.battery_capacity_share), "how far off the capacity of the battery may be";
        battery_resistance_share: f64 = number(SHARE).or(SPREAD.battery_resistance_share), "how far off the resistance of the battery may be";
        battery_charge_share: f64 = number(SHARE).or(SPREAD.battery_charge_share), "how much of a full charge may be missing at the start";
        gyro_bias_deg_s: f64 = number(from(0.0).to(100.0)).or(SPREAD.gyro_bias_deg_s), "how much bias the gyro may have about each axis, on top of that of [sensors.gyro]";
        accelerometer_bias_m_s2: f64 = number(from(0.0).to(10.0)).or(SPREAD.accelerometer_bias_m_s2), "how much bias the accelerometer may have along each axis, on top of that of [sensors.accelerometer]";
        misalignment_deg: f64 = number(from(0.0).to(30.0)).or(SPREAD.misalignment_deg), "how far gyro and accelerometer may be turned against the body about each axis, on top of sensors.misalignment_deg";
        sensor_noise_share: f64 = number(SHARE).or(SPREAD.sensor_noise_share), "how far off the noise of each sensor may be";
        sensor_latency_s: f64 = number(from(0.0).to(0.1)).or(SPREAD.sensor_latency_s), "how much may be added to the latency of gyro and accelerometer";
    }
}

/// `[[rotor]]`: its own keys and any key of `[rotors]`.
#[derive(Clone, Debug)]
pub(super) struct RotorKeys<'a> {
    pub placed: PlacedKeys<'a>,
    pub own: RotorsKeys<'a>,
}

impl<'a> Keys<'a> for RotorKeys<'a> {
    fn known() -> Vec<&'static str> {
        [PlacedKeys::known(), RotorsKeys::known()].concat()
    }

    fn take(table: &Table<'a>) -> Result<Self, FileError> {
        Ok(RotorKeys { placed: PlacedKeys::take(table)?, own: RotorsKeys::take(table)? })
    }

    fn rows() -> Vec<Row> {
        let (allowed, about) = ("as in [rotors]".to_string(), "overrides the default of that name for this rotor");
        let any = Row { key: "any key of [rotors]", allowed, default: OF_ROTORS.to_string(), about };
        [PlacedKeys::rows(), vec![any]].concat()
    }
}
