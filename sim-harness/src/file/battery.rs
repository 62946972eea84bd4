//! The battery: voltages from its ends or from its curve, never both.

use super::craft_keys::{BatteryKeys, VoltageKeys};
use super::error::FileError;
use crate::craft::{Battery, VoltageCurve};

pub(super) fn battery(keys: &BatteryKeys<'_>) -> Result<Battery, FileError> {
    let (empty_v, full_v) = match &keys.voltage_curve {
        Some(curve) => ends_of(curve, keys)?,
        None => ends(keys)?,
    };
    let curve = keys.voltage_curve.as_ref();
    Ok(Battery {
        capacity_ah: keys.capacity_ah,
        full_v,
        empty_v,
        resistance_ohm: keys.resistance_ohm,
        efficiency: keys.efficiency,
        charge: keys.charge,
        voltage_curve: curve
            .map(|curve| VoltageCurve { charge: curve.charge.clone(), voltage_v: curve.voltage_v.clone() }),
    })
}

fn ends(keys: &BatteryKeys<'_>) -> Result<(f64, f64), FileError> {
    let missing = |key: &str| {
        let mend = format!("add `{key} = ...`, or a voltage_curve measured on the battery");
        keys.at.refuse(key, "missing: must be given without a voltage_curve", &mend)
    };
    let full_v = keys.full_v.ok_or_else(|| missing("full_v"))?;
    let empty_v = keys.empty_v.ok_or_else(|| missing("empty_v"))?;
    if !(empty_v < full_v) {
        let must = format!("must be below full_v, {full_v} V");
        return Err(keys.at.refuse("empty_v", &must, "did you swap the two?"));
    }
    Ok((empty_v, full_v))
}

fn ends_of(curve: &VoltageKeys<'_>, keys: &BatteryKeys<'_>) -> Result<(f64, f64), FileError> {
    for (key, value) in [("full_v", keys.full_v), ("empty_v", keys.empty_v)] {
        if value.is_some() {
            let mend = "the curve says it: take one of the two out";
            return Err(keys.at.refuse(key, "must not stand beside voltage_curve", mend));
        }
    }
    let (rows, voltages) = (curve.charge.len(), curve.voltage_v.len());
    if rows != voltages {
        let must = format!("must have as many entries as charge: {rows}, not {voltages}");
        return Err(curve.at.refuse("voltage_v", &must, "give one voltage for each state of charge"));
    }
    match (curve.charge.as_slice(), curve.voltage_v.as_slice()) {
        ([0.0, .., 1.0], [empty_v, .., full_v]) => Ok((*empty_v, *full_v)),
        _ => {
            Err(curve.at.refuse("charge", "must start at 0 and end at 1", "measure the empty and the full battery too"))
        }
    }
}
