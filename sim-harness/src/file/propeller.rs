//! What a rotor does in moving air, and in the wake of another.

use super::craft_keys::{PropellerKeys, RotorsKeys};
use super::error::FileError;
use crate::craft::{InMovingAir, Inflow, PropellerTable, Rotor, ThrustTable};
use crate::plant::{full_speed_rad_s, typical_diameter_m};

/// A rotor's own keys before those it shares.
pub(super) fn in_moving_air(own: &RotorsKeys<'_>, shared: &RotorsKeys<'_>) -> Result<InMovingAir, FileError> {
    let momentum = own.inflow.or(shared.inflow).unwrap_or(false);
    let inflow = match own.propeller.as_ref().or(shared.propeller.as_ref()) {
        Some(keys) => Inflow::Table(table(keys)?),
        None if momentum => Inflow::Momentum,
        None => Inflow::Ignored,
    };
    Ok(InMovingAir {
        diameter_m: own.diameter_m.or(shared.diameter_m),
        inflow,
        drag_n_per_m_s: own.drag_n_per_m_s.or(shared.drag_n_per_m_s).unwrap_or(0.0),
    })
}

fn table(keys: &PropellerKeys<'_>) -> Result<PropellerTable, FileError> {
    let rows = keys.advance_ratio.len();
    for (key, column) in
        [("thrust_coefficient", &keys.thrust_coefficient), ("power_coefficient", &keys.power_coefficient)]
    {
        if column.len() != rows {
            let must = format!("must have as many entries as advance_ratio: {rows}, not {}", column.len());
            return Err(keys.at.refuse(key, &must, "give one for each advance ratio"));
        }
        if !column.first().is_some_and(|first| *first > 0.0) {
            let mend = "start the table with the propeller at rest in still air, where it pushes and takes power";
            return Err(keys.at.refuse(key, "must start above 0", mend));
        }
    }
    if keys.advance_ratio.first() != Some(&0.0) {
        let mend = "put the static point first: thrust_max_n and torque_per_thrust_m are static values";
        return Err(keys.at.refuse("advance_ratio", "must start at 0", mend));
    }
    Ok(PropellerTable {
        advance_ratio: keys.advance_ratio.clone(),
        thrust_coefficient: keys.thrust_coefficient.clone(),
        power_coefficient: keys.power_coefficient.clone(),
    })
}

/// The same propeller at the same speed and torque, with `share` of its thrust.
///
/// Mixer and plant see the same rotor: the loss is the owner's knowledge, not a surprise in flight.
pub(super) fn in_wake(rotor: Rotor, share: f64) -> Rotor {
    if share == 1.0 {
        return rotor;
    }
    let positive = |value: f64| (value > 0.0).then_some(value);
    let air = &rotor.in_moving_air;
    let diameter_m = air.diameter_m.or_else(|| positive(typical_diameter_m(rotor.torque_per_thrust_m)));
    Rotor {
        thrust_max_n: rotor.thrust_max_n * share,
        thrust_min_n: rotor.thrust_min_n * share,
        torque_per_thrust_m: rotor.torque_per_thrust_m / share,
        thrust_curve: rotor.thrust_curve.as_ref().map(|curve| ThrustTable {
            command: curve.command.clone(),
            thrust_n: curve.thrust_n.iter().map(|thrust_n| thrust_n * share).collect(),
        }),
        // Speed and size would otherwise follow from the lesser thrust.
        speed_max_rad_s: positive(full_speed_rad_s(&rotor)),
        in_moving_air: InMovingAir { diameter_m, ..air.clone() },
        ..rotor
    }
}
