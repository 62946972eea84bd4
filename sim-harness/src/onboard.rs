//! What runs on board, made from a craft: the real mixer and controller, quantised as they fly.

use std::fmt;

use evenkeel_controller::estimate::AttitudeEstimatorConfig;
use evenkeel_controller::filter::{GyroFilterConfig, SecondOrderLowPassConfig};
use evenkeel_controller::{
    BatteryConfig, Controller, ControllerConfig, ControllerError, DescentConfig, FlightComputer, FlightComputerConfig,
    Gains, RotorReportsConfig, SupervisorConfig, Tuning, TuningError,
};
use evenkeel_mixer::{
    Axis, CurveError, CurvePoint, Design, GeometryError, Mixer, Priority, PriorityError, Rotor, Scalar, ThrustCurve,
    Wrench, facet_capacity,
};

use crate::craft::{self, Craft, Limits, MAX_ROTORS};
use crate::margins;

/// Facets that are enough for any craft.
pub const MAX_FACETS: usize = facet_capacity(MAX_ROTORS);
/// Points of a bench table.
pub const MAX_CURVE_POINTS: usize = 16;

/// The mixer, sized for any craft the harness can read.
pub type CraftMixer<S> = Mixer<S, MAX_ROTORS, MAX_FACETS, MAX_CURVE_POINTS>;

/// The flying code of one craft.
#[derive(Clone, Debug)]
pub struct Onboard<S> {
    /// Allocation and thrust curves.
    pub mixer: CraftMixer<S>,
    /// Filters, estimate, supervisor, loops: what flies.
    pub computer: FlightComputer<S>,
    /// The configuration it was made from.
    pub computer_config: FlightComputerConfig,
    /// Angle loop, rate loop, inertia: the loops alone, for whoever knows the attitude.
    pub controller: Controller<S>,
    /// The configuration the controller was made from.
    pub config: ControllerConfig,
    /// What the rotors have to spare from hover.
    pub authority: Authority,
}

/// Torque and angular acceleration to spare from a level hover.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Authority {
    /// Weight, the hover thrust.
    pub hover_n: f64,
    /// Largest torque each way about roll, pitch and yaw with the others at zero: (negative, positive).
    pub torque_nm: [(f64, f64); 3],
    /// Angular acceleration at the smaller of the two.
    pub acceleration_rad_s2: [f64; 3],
}

/// Why a craft cannot be flown at all. No fault of its file: the craft is unfit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unflyable {
    /// The rotors cannot control it.
    Geometry(GeometryError),
    /// Its weight is outside what the rotors can push with torques balanced.
    CannotHover {
        /// Weight.
        weight_n: f64,
        /// Lowest and highest thrust with no torque.
        balanced_thrust_n: (f64, f64),
    },
    /// No gains can be derived.
    Tuning(TuningError),
    /// Gains or limits of the craft file do not make a controller.
    Controller(ControllerError),
    /// Filters, estimate, supervisor or battery compensation refused their configuration.
    Computer,
    /// A block of the loops has no frequency response.
    NoResponse(margins::NoResponse),
    /// The order of priority is none.
    Priority(PriorityError),
    /// A bench table of this rotor (from 1) is none.
    Curve {
        /// Which rotor.
        rotor: usize,
    },
}

impl fmt::Display for Unflyable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Unflyable::Geometry(cause) => cause.fmt(f),
            Unflyable::CannotHover { weight_n, balanced_thrust_n: (low, high) } => write!(
                f,
                "it cannot hover: it weighs {weight_n:.2} N, and with no torque left over the rotors push between \
                 {low:.2} N and {high:.2} N"
            ),
            Unflyable::Tuning(cause) => cause.fmt(f),
            Unflyable::Controller(cause) => cause.fmt(f),
            Unflyable::Computer => f.write_str("the flight computer refuses the loop rate or the weight"),
            Unflyable::NoResponse(cause) => cause.fmt(f),
            Unflyable::Priority(cause) => cause.fmt(f),
            Unflyable::Curve { rotor } => write!(f, "the thrust table of rotor {rotor} does not rise"),
        }
    }
}

impl std::error::Error for Unflyable {}

/// The craft's mixer alone; enough to allocate, whatever it weighs.
///
/// # Errors
/// When the rotors cannot control the craft.
pub fn mixer_for<S: Scalar>(craft: &Craft) -> Result<CraftMixer<S>, Unflyable> {
    let design =
        Design::new(&rotors(craft), craft.body.center_of_mass_m, priority(craft)?).map_err(Unflyable::Geometry)?;
    let mut mixer = Mixer::new(&design);
    for (index, rotor) in craft.rotors.iter().enumerate() {
        let curve = thrust_curve(rotor).map_err(|_| Unflyable::Curve { rotor: index + 1 })?;
        mixer = mixer.with_curve(index, curve);
    }
    Ok(mixer)
}

/// The rotors as the mixer is told of them.
pub fn rotors(craft: &Craft) -> Vec<Rotor> {
    let rotor = |rotor: &craft::Rotor| Rotor {
        position_m: rotor.position_m,
        axis: rotor.axis,
        spin: rotor.spin,
        torque_per_thrust_m: rotor.torque_per_thrust_m,
        thrust_min_n: rotor.thrust_min_n,
        thrust_max_n: rotor.thrust_max_n,
    };
    craft.rotors.iter().map(rotor).collect()
}

/// The order of priority as the mixer is told of it.
///
/// # Errors
/// When it is none.
pub fn priority(craft: &Craft) -> Result<Priority, Unflyable> {
    let tiers: Vec<&[Axis]> = craft.saturation.priority.iter().map(Vec::as_slice).collect();
    Priority::new(&tiers, craft.saturation.keep_yaw_sign).map_err(Unflyable::Priority)
}

/// A rotor's thrust over command as its file states it.
///
/// # Errors
/// When its bench table does not rise.
pub fn thrust_curve<S: Scalar>(rotor: &craft::Rotor) -> Result<ThrustCurve<S, MAX_CURVE_POINTS>, CurveError> {
    let Some(table) = &rotor.thrust_curve else { return Ok(ThrustCurve::square(S::from_f64(rotor.thrust_max_n))) };
    let point = |(command, thrust_n): (&f64, &f64)| CurvePoint {
        command: S::from_f64(*command),
        thrust_n: S::from_f64(*thrust_n),
    };
    let points: Vec<CurvePoint<S>> = table.command.iter().zip(&table.thrust_n).map(point).collect();
    ThrustCurve::table(&points)
}

impl<S: Scalar> Onboard<S> {
    /// Makes the flying code for a craft under this gravity.
    ///
    /// # Errors
    /// When the craft cannot be flown, and why.
    pub fn new(craft: &Craft, gravity_m_s2: f64) -> Result<Self, Unflyable> {
        let mixer = mixer_for::<S>(craft)?;
        let authority = Authority::at_hover(craft, gravity_m_s2)?;
        let config = controller_config(craft, &authority)?;
        let controller = Controller::new(&config).map_err(Unflyable::Controller)?;
        let computer_config = computer_config(craft, &config, gravity_m_s2);
        let computer = FlightComputer::new(&computer_config).map_err(|_| Unflyable::Computer)?;
        Ok(Onboard { mixer, computer, computer_config, controller, config, authority })
    }

    /// The same with other loops.
    ///
    /// # Errors
    /// When they are not possible.
    pub fn with_loops(self, config: ControllerConfig) -> Result<Self, Unflyable> {
        let controller = Controller::new(&config).map_err(Unflyable::Controller)?;
        let computer_config = FlightComputerConfig { controller: config, ..self.computer_config };
        let computer = FlightComputer::new(&computer_config).map_err(|_| Unflyable::Computer)?;
        Ok(Onboard { computer, computer_config, controller, config, ..self })
    }
}

/// Turn towards the accelerometer per radian of error. Slow: in flight it shows thrust and drag, not gravity, so that it
/// is wrong for as long as the craft gathers speed; the gyro, its bias taken out at alignment, is right for minutes.
pub const ESTIMATE_KP_PER_S: f64 = 0.003;
/// The accelerometer counts for nothing when its length is off gravity by this share.
pub const ACCELEROMETER_GATE_SHARE: f64 = 0.03;
/// ... or the craft turns as fast as this: in a turn it shows no bank.
pub const TURN_GATE_RAD_S: f64 = 0.3;
/// Weight of the heading beside the accelerometer.
const HEADING_WEIGHT: f64 = 1.0;
/// Largest gyro bias believed.
const BIAS_MAX_RAD_S: f64 = 0.1;
/// The estimate may turn so far in a sample; with the gyro's range, the largest rate believed.
const TURN_MAX_RAD: f64 = 0.45;
/// Share of the gyro's range that a derived limit on a rate may use: the rest is for overshoot and gusts.
const GYRO_RANGE_SHARE: f64 = 0.8;
/// The tilt check waits for this many half turns, as the craft can make them, and at least as long as is usual.
const RECOVERIES: f64 = 2.0;

/// All the blocks of the flight computer for one craft.
fn computer_config(craft: &Craft, controller: &ControllerConfig, gravity_m_s2: f64) -> FlightComputerConfig {
    let period_s = controller.period_s;
    let kp_per_s = ESTIMATE_KP_PER_S;
    let turn_limited_rad_s = TURN_MAX_RAD / (period_s * 3.0_f64.sqrt()) - BIAS_MAX_RAD_S - 2.0 * kp_per_s;
    let low_pass = craft
        .sensors
        .gyro_low_pass_hz
        .map(|corner_hz| SecondOrderLowPassConfig { corner_hz, quality: std::f64::consts::FRAC_1_SQRT_2 });
    let usual = SupervisorConfig::usual(period_s, craft.body.mass_kg * gravity_m_s2);
    let half_turn_s = controller.angle.rate_max_rad_s.iter().take(2).map(|rate| std::f64::consts::PI / rate);
    let tilt_level_s = usual.tilt_level_s.max(RECOVERIES * half_turn_s.fold(0.0, f64::max));
    FlightComputerConfig {
        gyro_filter: GyroFilterConfig { notches: None, low_pass },
        estimator: AttitudeEstimatorConfig {
            kp_per_s,
            // Damping one: bias is learned four times as slowly as tilt.
            ki_per_s2: 0.25 * kp_per_s * kp_per_s,
            heading_weight: HEADING_WEIGHT,
            bias_max_rad_s: BIAS_MAX_RAD_S,
            rate_max_rad_s: craft.sensors.gyro.range.min(turn_limited_rad_s),
            gravity_m_s2,
            gate_share: ACCELEROMETER_GATE_SHARE,
            rate_gate_rad_s: TURN_GATE_RAD_S,
            align_s: 1.0,
            still_rad_s: 0.1,
        },
        supervisor: SupervisorConfig { tilt_level_s, tilt_stop_s: usual.tilt_stop_s.max(2.0 * tilt_level_s), ..usual },
        controller: *controller,
        battery: BatteryConfig::default(),
        descent: DescentConfig::default(),
        rotor_reports: RotorReportsConfig::default(),
    }
}

impl Authority {
    /// Measures the attainable set from hover, in double precision.
    ///
    /// # Errors
    /// When the craft cannot hover.
    pub fn at_hover(craft: &Craft, gravity_m_s2: f64) -> Result<Self, Unflyable> {
        let mixer = mixer_for::<f64>(craft)?;
        let hover_n = craft.body.mass_kg * gravity_m_s2;
        let balanced_thrust_n = mixer.balanced_thrust_n();
        if !(hover_n > balanced_thrust_n.0 && hover_n < balanced_thrust_n.1) {
            return Err(Unflyable::CannotHover { weight_n: hover_n, balanced_thrust_n });
        }
        let hover = Wrench { thrust_n: hover_n, ..Wrench::default() };
        let along = |roll_nm, pitch_nm, yaw_nm| Wrench { thrust_n: 0.0, roll_nm, pitch_nm, yaw_nm };
        let axes = [along(1.0, 0.0, 0.0), along(0.0, 1.0, 0.0), along(0.0, 0.0, 1.0)];
        let torque_nm = axes.map(|axis| mixer.span(hover, axis));
        let mut acceleration_rad_s2 = [0.0; 3];
        for (axis, (value, (negative, positive))) in acceleration_rad_s2.iter_mut().zip(torque_nm).enumerate() {
            *value = craft.body.turn_per_torque(axis) * positive.min(-negative).max(0.0);
        }
        Ok(Authority { hover_n, torque_nm, acceleration_rad_s2 })
    }
}

/// Gains by the stated rule, then what the owner fixed.
fn controller_config(craft: &Craft, authority: &Authority) -> Result<ControllerConfig, Unflyable> {
    let period_s = 1.0 / craft.loops.rate_hz;
    let mixer = mixer_for::<f64>(craft)?;
    let tuning = Tuning {
        period_s,
        angle_divider: craft.loops.angle_divider,
        rotor_lag_s: craft.slowest_lag_s(),
        extra_delay_s: craft.loops.extra_delay_s + margins::gyro_dead_time_s(craft, period_s),
        authority_rad_s2: authority.acceleration_rad_s2,
        spin_up_s: [0, 1, 2].map(|axis| margins::spin_up_s(craft, &mixer, authority, axis)),
    };
    let mut derived = tuning.gains().map_err(Unflyable::Tuning)?;
    keep_within_gyro(craft.sensors.gyro.range, &mut derived);
    apply_gains(&craft.gains, &mut derived);
    apply_limits(&craft.limits, &mut derived);
    Ok(ControllerConfig {
        period_s,
        angle_divider: craft.loops.angle_divider,
        rate: derived.rate,
        angle: derived.angle,
        reference: derived.reference,
        inertia_kg_m2: craft.body.inertia_kg_m2,
        tilt_compensation_max: 1.0,
    })
}

fn apply_gains(fixed: &craft::Gains, derived: &mut Gains) {
    let replace = |value: &mut f64, by: Option<f64>| *value = by.unwrap_or(*value);
    for (axis, owner) in derived.rate.iter_mut().zip(&fixed.rate) {
        replace(&mut axis.p_per_s, owner.p_per_s);
        replace(&mut axis.i_per_s2, owner.i_per_s2);
        replace(&mut axis.d, owner.d);
        replace(&mut axis.d_filter_hz, owner.d_filter_hz);
    }
    for (gain, owner) in derived.angle.gain_per_s.iter_mut().zip(fixed.angle_per_s) {
        replace(gain, owner);
    }
}

/// No rate is asked for that the gyro could not follow.
fn keep_within_gyro(range_rad_s: f64, derived: &mut Gains) {
    let most_rad_s = GYRO_RANGE_SHARE * range_rad_s;
    let rates = derived.angle.rate_max_rad_s.iter_mut().chain(&mut derived.reference.rate_max_rad_s);
    let slews = derived.reference.tilt.iter_mut().map(|tilt| &mut tilt.slew_max);
    rates.chain(slews).for_each(|rate| *rate = rate.min(most_rad_s));
}

/// An owner's limit holds for what the pilot may ask and for what the angle loop may ask.
fn apply_limits(fixed: &Limits, derived: &mut Gains) {
    let reference = &mut derived.reference;
    reference.tilt_max_rad = fixed.tilt_rad.unwrap_or(reference.tilt_max_rad);
    for (axis, owner) in fixed.rate_rad_s.iter().enumerate() {
        let Some(owner) = *owner else { continue };
        derived.angle.rate_max_rad_s[axis] = owner;
        reference.rate_max_rad_s[axis] = owner;
        if let Some(tilt) = reference.tilt.get_mut(axis) {
            tilt.slew_max = tilt.slew_max.min(owner);
        }
    }
}
