//! The craft file: every key with its range, default and meaning.

use evenkeel_mixer::Axis;

use super::error::FileError;
use super::key::{KeyRule, Keys, NotYet, Row, keys};
use super::rule::{Rule, above, from, number, rising, vector, whole, within};
use super::section::{list, section};
use super::table::Table;
use super::word::{flag, text, tiers, word};
use crate::craft::{MAX_ROTORS, Spin};

const SPIN: &[(&str, Spin)] = &[("cw", Spin::Cw), ("ccw", Spin::Ccw)];
const AXES: &[(&str, Axis)] =
    &[("thrust", Axis::Thrust), ("roll", Axis::Roll), ("pitch", Axis::Pitch), ("yaw", Axis::Yaw)];
const MOST: i64 = MAX_ROTORS as i64;
const FROM_CRAFT: &str = "follows from the craft";
const OF_ROTORS: &str = "as in [rotors]";
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
        battery: () = NotYet, "a battery that sags";
        sensors: () = NotYet, "sensor noise and bias";
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
        thrust_max_n: Option<f64> = number(above(0.0).to(1e4)).optional("required, here, in each [[rotor]], or as the end of a thrust_curve"), "the thrust of one rotor at full command: full battery, 1.225 kg/m³, static";
        thrust_min_n: Option<f64> = number(from(0.0).to(1e4)).optional("4 % of thrust_max_n"), "the thrust at the slowest safe spin while armed, below thrust_max_n";
        torque_per_thrust_m: Option<f64> = number(from(0.0).to(1.0)).optional("required, here or in each [[rotor]]"), "the reaction torque per newton of thrust, never negative: spin says which way";
        response_time_s: Option<f64> = number(from(1e-3).to(2.0)).optional("required, here or in each [[rotor]]"), "the first-order lag of the rotor's speed (63 % of a step)";
        thrust_curve: Option<CurveKeys<'a>> = section::<CurveKeys>().optional("thrust goes with the command squared"), "a bench table, command against thrust";
        inertia_kg_m2: Option<f64> = number(from(0.0).to(1.0)).optional("`0.0`"), "the moment of inertia of what spins, about the spin axis";
        speed_max_rad_s: Option<f64> = number(from(10.0).to(1e5)).optional("that of a typical propeller"), "the speed at full thrust";
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
        ring_gap_m: f64 = number(from(0.0).to(5.0)).or(0.0), "how far the second ring lies below the first";
    }

    /// `[[rotor]]`
    PlacedKeys {
        name: Option<String> = text().optional("\"rotor 1\", \"rotor 2\" and so on"), "what reports call it";
        position_m: [f64; 3] = vector::<3>(within(50.0)).required(), "the hub from the datum, body axes x forward, y right, z down";
        spin: Spin = word(SPIN).required(), "the sense of rotation seen from above";
        axis: [f64; 3] = vector::<3>(within(1e3)).or(UP), "the direction of its thrust, body axes; any length but zero";
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
