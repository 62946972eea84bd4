//! When a flight is no longer computed: what ran away, and what usually mends it.

use std::fmt;

use crate::plant::PlantState;

/// Beyond this the flight counts as diverged.
const FARTHEST_M: f64 = 1.0e7;
const FASTEST_M_S: f64 = 1.0e7;
const FASTEST_RAD_S: f64 = 1.0e5;

/// The computation left what is finite or sensible.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diverged {
    /// When, on the flight's clock.
    pub at_s: f64,
    /// What did.
    pub ran_away: RanAway,
}

/// A quantity of the craft's state that ran away.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RanAway {
    /// In words.
    pub quantity: &'static str,
    /// Its value then.
    pub value: f64,
    /// Its unit; empty for a ratio.
    pub unit: &'static str,
    /// The largest size that still counts as computed.
    pub limit: f64,
    mend: &'static str,
}

/// Loops that do not settle turn a craft faster and faster.
const TURNS: &str = "loops that swing ever wider do this: leave [gains] out, or see `evenkeel margins`; so does an inertia, a lever arm or \
                     an initial rate that is a slip";
const TRAVELS: &str = "a thrust that is never balanced does this: see thrust_n and climb_m_s of the legs, the initial velocity, mass_kg, \
                       thrust_max_n and drag_area_m2, and how long the flight is";
const SPINS: &str = "see response_time_s, thrust_curve and speed_max_rad_s of the rotors";
const DRAINS: &str = "see capacity_ah and resistance_ohm of the battery";

impl fmt::Display for Diverged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let RanAway { quantity, value, unit, limit, mend } = self.ran_away;
        write!(f, "the computation diverged at {} s: the {quantity} ", self.at_s)?;
        match value.is_finite() {
            true => write!(f, "reached {value:.4e}{unit}, beyond {limit:e}{unit}")?,
            false => write!(f, "is {value}, which is no number to go on from")?,
        }
        write!(f, "; {mend}")
    }
}

impl std::error::Error for Diverged {}

/// Names what is no longer finite or sensible; what is finite still comes first, because one number that is none makes all of
/// them so within a step.
pub(super) fn check(state: &PlantState) -> Result<(), RanAway> {
    let vectors = [&state.rate_rad_s, &state.position_m, &state.velocity_m_s];
    let sizes = [FASTEST_RAD_S, FARTHEST_M, FASTEST_M_S];
    let sensible = vectors.iter().zip(sizes).all(|(vector, limit)| vector.amax() <= limit);
    // The usual case: no list is made.
    if sensible && state.is_finite() { Ok(()) } else { Err(worst(state)) }
}

fn worst(state: &PlantState) -> RanAway {
    let of = |[x, y, z]: [&'static str; 3], vector: &nalgebra::Vector3<f64>, unit, limit, mend| {
        [(x, vector.x), (y, vector.y), (z, vector.z)].map(|(quantity, value)| RanAway {
            quantity,
            value,
            unit,
            limit,
            mend,
        })
    };
    let ratio = |quantity, value, mend| RanAway { quantity, value, unit: "", limit: f64::MAX, mend };
    let turns = ["roll rate", "pitch rate", "yaw rate"];
    let places = ["distance north", "distance east", "distance down"];
    let speeds = ["velocity north", "velocity east", "velocity down"];
    let all = of(turns, &state.rate_rad_s, " rad/s", FASTEST_RAD_S, TURNS)
        .into_iter()
        .chain(of(speeds, &state.velocity_m_s, " m/s", FASTEST_M_S, TRAVELS))
        .chain(of(places, &state.position_m, " m", FARTHEST_M, TRAVELS))
        .chain(state.rotor_speed.map(|speed| ratio("speed of a rotor over its full speed", speed, SPINS)))
        .chain([ratio("charge used", state.charge_used, DRAINS)])
        .chain(state.attitude.coords.iter().map(|part| ratio("attitude", *part, TURNS)));
    let rank = |one: &RanAway| {
        let beyond = one.value.abs() / one.limit;
        // Finite and beyond its limit, then not finite, then all is well.
        (one.value.is_finite() && beyond > 1.0, !one.value.is_finite())
    };
    all.reduce(|most, one| if rank(&one) > rank(&most) { one } else { most }).unwrap_or(ratio("state", f64::NAN, TURNS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn passes_a_state_that_is_sensible() {
        assert_eq!(check(&PlantState::default()), Ok(()));
    }

    #[test]
    fn names_what_ran_away_when_one_quantity_did() {
        type Spoil = fn(&mut PlantState);
        let cases: [(Spoil, &str); 6] = [
            (|state| state.rate_rad_s.y = -2.0e5, "pitch rate"),
            (|state| state.position_m.z = -2.0e7, "distance down"),
            (|state| state.velocity_m_s.x = f64::INFINITY, "velocity north"),
            (|state| state.rotor_speed[3] = f64::NAN, "speed of a rotor over its full speed"),
            (|state| state.charge_used = f64::NAN, "charge used"),
            (|state| state.attitude.as_mut_unchecked().k = f64::NAN, "attitude"),
        ];
        for (spoil, quantity) in cases {
            let mut state = PlantState::default();
            spoil(&mut state);
            let ran_away = check(&state).unwrap_err();
            assert_eq!(ran_away.quantity, quantity);
            let text = Diverged { at_s: 1.5, ran_away }.to_string();
            assert!(text.contains(quantity) && text.contains("1.5 s") && text.contains("see "), "{text}");
        }
    }

    /// What has become NaN only says what was fed by the one that ran away.
    #[test]
    fn names_the_number_that_is_still_one_when_others_are_none() {
        let mut state = PlantState::default();
        state.position_m.x = f64::NAN;
        state.rate_rad_s.z = 3.0e5;
        let ran_away = check(&state).unwrap_err();
        assert_eq!((ran_away.quantity, ran_away.value), ("yaw rate", 3.0e5));
    }
}
