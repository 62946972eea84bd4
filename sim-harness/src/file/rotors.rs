//! The rotors of a craft: each place with its own values or those of `[rotors]`.

use super::craft_keys::{CraftKeys, CurveKeys, RotorKeys, RotorsKeys};
use super::error::FileError;
use super::layout::{Site, all_apart, sites};
use super::propeller::{in_moving_air, in_wake};
use super::table::Table;
use crate::craft::{MAX_ROTORS, Rotor, ThrustTable};

/// `thrust_min_n` when left out, as a part of `thrust_max_n`: a fifth of full speed, squared. Common
/// practice for the slowest spin while armed; no source.
pub const THRUST_MIN_FRACTION: f64 = 0.04;
/// How far the end of a bench table may lie from full command and `thrust_max_n`, as a part of either.
pub const CURVE_END_TOLERANCE: f64 = 1e-9;
/// Shortest axis that has a direction.
const AXIS_MIN: f64 = 1e-6;

/// `thrust_max_at_v` over the full voltage; beyond it the number is that of another battery.
const AT_V_SHARE: std::ops::RangeInclusive<f64> = 0.5..=1.2;

/// Every rotor, in the order of the file, as it is at `full_v`, the full voltage of the craft's battery if it has one.
pub(super) fn rotors(file: &CraftKeys<'_>, full_v: Option<f64>) -> Result<Vec<Rotor>, FileError> {
    let rotors = match (&file.layout, file.rotor.as_slice()) {
        (Some(_), [first, ..]) => {
            let mend = "keep [layout] for a regular ring, or the [[rotor]] tables for any other, and take the rest out";
            return Err(first.placed.at.refuse_table("must not stand beside [layout]", mend));
        }
        (None, []) => {
            let mend = "add [layout] with rotors and arm_m, or one [[rotor]] with position_m and spin for each rotor";
            return Err(file.at.refuse_table("no rotors: must have [layout] or [[rotor]]", mend));
        }
        (Some(layout), []) => {
            let shared = Values { own: &file.rotors, shared: &file.rotors, item: None, root: &file.at, full_v };
            let sites = sites(layout)?;
            let each = sites.iter().zip(1..).map(|(site, number)| {
                rotor(numbered(number), *site, None, &shared).map(|rotor| in_wake(rotor, site.thrust_share))
            });
            each.collect::<Result<Vec<_>, _>>()?
        }
        (None, items) => {
            items.iter().zip(1..).map(|(item, number)| listed(file, full_v, item, number)).collect::<Result<_, _>>()?
        }
    };
    all_apart(file, &rotors)?;
    Ok(rotors)
}

fn numbered(number: usize) -> String {
    format!("rotor {number}")
}

/// A rotor with a table of its own.
fn listed(file: &CraftKeys<'_>, full_v: Option<f64>, item: &RotorKeys<'_>, number: usize) -> Result<Rotor, FileError> {
    let placed = &item.placed;
    if number > MAX_ROTORS {
        let must = format!("must be one of at most {MAX_ROTORS} rotors");
        return Err(placed.at.refuse_table(&must, "take rotors out: larger craft are beyond this tool"));
    }
    let length = placed.axis.iter().map(|part| part * part).sum::<f64>().sqrt();
    if !(length >= AXIS_MIN) {
        let mend = "give the direction of thrust: [0.0, 0.0, -1.0] is straight up";
        return Err(placed.at.refuse("axis", &format!("must be at least {AXIS_MIN:e} long"), mend));
    }
    let values = Values { own: &item.own, shared: &file.rotors, item: Some(&placed.at), root: &file.at, full_v };
    let site = Site { position_m: placed.position_m, spin: placed.spin, thrust_share: placed.thrust_share };
    let name = placed.name.clone().unwrap_or_else(|| numbered(number));
    let rotor = rotor(name, site, Some(placed.axis.map(|part| part / length)), &values)?;
    Ok(in_wake(rotor, site.thrust_share))
}

/// A rotor's own keys before those it shares.
struct Values<'k, 'a> {
    own: &'k RotorsKeys<'a>,
    shared: &'k RotorsKeys<'a>,
    /// Its `[[rotor]]`, if it has one.
    item: Option<&'k Table<'a>>,
    root: &'k Table<'a>,
    /// Of the battery.
    full_v: Option<f64>,
}

type Field<T> = fn(&RotorsKeys<'_>) -> Option<T>;

impl<'k, 'a> Values<'k, 'a> {
    fn get<T>(&self, field: Field<T>) -> Option<T> {
        field(self.own).or_else(|| field(self.shared))
    }

    fn required(&self, key: &str, field: Field<f64>) -> Result<f64, FileError> {
        self.get(field).ok_or_else(|| {
            let must = "missing: must be given for every rotor";
            let mend = format!("add `{key} = ...` under [rotors], or in each [[rotor]]");
            match (self.shared.at.stands(), self.item) {
                (true, _) => self.shared.at.refuse(key, must, &mend),
                (false, Some(item)) => item.refuse(key, must, &mend),
                (false, None) => {
                    let mend = "add a table [rotors] with thrust_max_n, torque_per_thrust_m and response_time_s";
                    self.root.refuse("rotors", "missing: must be a table of what all rotors share", mend)
                }
            }
        })
    }

    /// The table in which `field` stands.
    fn table_of<T>(&self, field: Field<T>) -> &'k Table<'a> {
        if field(self.own).is_some() { &self.own.at } else { &self.shared.at }
    }

    /// Full voltage over the one at which the rotor was measured.
    fn voltage_ratio(&self) -> Result<f64, FileError> {
        let field: Field<f64> = |keys| keys.thrust_max_at_v;
        let Some(at_v) = self.get(field) else { return Ok(1.0) };
        let table = self.table_of(field);
        let Some(full_v) = self.full_v else {
            let mend = "add [battery], or take thrust_max_at_v out: without a battery thrust_max_n holds always";
            return Err(table.refuse("thrust_max_at_v", "must not stand without [battery]", mend));
        };
        if !AT_V_SHARE.contains(&(at_v / full_v)) {
            let (least, most) = (AT_V_SHARE.start(), AT_V_SHARE.end());
            let must = format!("must be from {least} to {most} of the battery's full voltage, {full_v} V");
            let mend = "give volts as measured at the motor controllers while the rotor pushed, of the whole battery, not of one cell";
            return Err(table.refuse("thrust_max_at_v", &must, mend));
        }
        Ok(full_v / at_v)
    }

    /// The curve that holds for this rotor, with the thrust at its end.
    fn curve(&self) -> Option<&'k CurveKeys<'a>> {
        self.own.thrust_curve.as_ref().or(self.shared.thrust_curve.as_ref())
    }

    /// Full thrust: the rotor's own, else the end of its own curve, else that of `[rotors]`.
    fn thrust_max_n(&self) -> Result<f64, FileError> {
        let end = |keys: &RotorsKeys<'_>| keys.thrust_curve.as_ref().and_then(|curve| curve.thrust_n.last().copied());
        let own = self.own.thrust_max_n.or_else(|| end(self.own));
        match own.or(self.shared.thrust_max_n).or_else(|| end(self.shared)) {
            Some(thrust) => Ok(thrust),
            None => self.required("thrust_max_n", |keys| keys.thrust_max_n),
        }
    }
}

fn rotor(name: String, site: Site, axis: Option<[f64; 3]>, values: &Values<'_, '_>) -> Result<Rotor, FileError> {
    let ratio = values.voltage_ratio()?;
    // Speed goes with voltage, thrust with its square.
    let square = ratio * ratio;
    let measured_n = values.thrust_max_n()?;
    let mut thrust_curve = values.curve().map(|curve| thrust_table(curve, &name, measured_n)).transpose()?;
    let thrusts_n = thrust_curve.iter_mut().flat_map(|table| &mut table.thrust_n);
    thrusts_n.for_each(|thrust_n| *thrust_n *= square);
    let mut in_moving_air = in_moving_air(values.own, values.shared)?;
    in_moving_air.drag_n_per_m_s *= ratio;
    let thrust_max_n = measured_n * square;
    let thrust_min_n = thrust_min_n(values, &name, thrust_max_n)?;
    Ok(Rotor {
        name,
        position_m: site.position_m,
        axis: axis.unwrap_or([0.0, 0.0, -1.0]),
        spin: site.spin,
        thrust_max_n,
        thrust_min_n,
        torque_per_thrust_m: values.required("torque_per_thrust_m", |keys| keys.torque_per_thrust_m)?,
        response_time_s: values.required("response_time_s", |keys| keys.response_time_s)?,
        thrust_curve,
        inertia_kg_m2: values.get(|keys| keys.inertia_kg_m2).unwrap_or(0.0),
        speed_max_rad_s: values.get(|keys| keys.speed_max_rad_s).map(|speed| speed * ratio),
        in_moving_air,
    })
}

fn thrust_table(curve: &CurveKeys<'_>, rotor: &str, thrust_max_n: f64) -> Result<ThrustTable, FileError> {
    let (commands, thrusts) = (curve.command.len(), curve.thrust_n.len());
    if commands != thrusts {
        let must = format!("must have as many entries as command: {commands}, not {thrusts}");
        return Err(curve.at.refuse("thrust_n", &must, "give one thrust for each command of the bench run"));
    }
    if !curve.command.last().is_some_and(|last| (last - 1.0).abs() <= CURVE_END_TOLERANCE) {
        let mend = "measure full command too, and put it last";
        return Err(curve.at.refuse("command", "must end at full command, 1.0", mend));
    }
    if !curve.thrust_n.last().is_some_and(|last| (last / thrust_max_n - 1.0).abs() <= CURVE_END_TOLERANCE) {
        let must = format!("must end at the thrust_max_n of {rotor:?}, {thrust_max_n} N");
        let mend = "make the two equal, or leave thrust_max_n out where the curve holds";
        return Err(curve.at.refuse("thrust_n", &must, mend));
    }
    if let ([0.0, ..], [thrust, ..]) = (curve.command.as_slice(), curve.thrust_n.as_slice())
        && *thrust > 0.0
    {
        // A floor there would be commanded by switching the motor off.
        let mend = "command 0 is a motor switched off: start the table at the command that gives this thrust";
        return Err(curve.at.refuse("thrust_n", "must be 0 N at command 0", mend));
    }
    Ok(ThrustTable { command: curve.command.clone(), thrust_n: curve.thrust_n.clone() })
}

fn thrust_min_n(values: &Values<'_, '_>, rotor: &str, thrust_max_n: f64) -> Result<f64, FileError> {
    let field: Field<f64> = |keys| keys.thrust_min_n;
    let Some(thrust_min_n) = values.get(field) else { return Ok(THRUST_MIN_FRACTION * thrust_max_n) };
    let table = values.table_of(field);
    if !(thrust_min_n < thrust_max_n) {
        let must = format!("must be below the thrust_max_n of {rotor:?}, {thrust_max_n} N");
        return Err(table.refuse("thrust_min_n", &must, "did you swap the two? A [[rotor]] may have both of its own"));
    }
    Ok(thrust_min_n)
}
