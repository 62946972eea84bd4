//! The unit a key carries in its name.

/// Suffix of a key and the unit it stands for, longest suffix first.
const UNITS: [(&str, &str); 26] = [
    ("_deg_s_rthz", "deg/s/√Hz"),
    ("_deg_s_rts", "deg/s/√s"),
    ("_m_s2_rthz", "m/s²/√Hz"),
    ("_m_s2_rts", "m/s²/√s"),
    ("_n_per_m_s", "N per m/s"),
    ("_kg_m2", "kg m²"),
    ("_kg_m3", "kg/m³"),
    ("_per_s2", "per s²"),
    ("_deg_s", "deg/s"),
    ("_rad_s", "rad/s"),
    ("_per_s", "per s"),
    ("_m_s2", "m/s²"),
    ("_m_s", "m/s"),
    ("_deg", "deg"),
    ("_ohm", "Ω"),
    ("_ah", "Ah"),
    ("_kg", "kg"),
    ("_hz", "Hz"),
    ("_nm", "N m"),
    ("_m2", "m²"),
    ("_n", "N"),
    ("_v", "V"),
    ("_m", "m"),
    ("_s", "s"),
    // Parts of a table whose own name carries the unit are found by their path; these two carry none.
    ("command", ""),
    ("seed", ""),
];

/// Unit of the innermost part of a dotted path that carries one; empty when none does.
pub(crate) fn of(path: &str) -> &'static str {
    path.rsplit('.')
        .filter_map(|part| {
            let name = part.split('[').next().unwrap_or(part);
            UNITS.iter().find(|(suffix, _)| name.ends_with(suffix)).map(|(_, unit)| *unit)
        })
        .next()
        .unwrap_or("")
}

/// A number with its unit, ready to print.
pub(super) fn with(value: f64, unit: &str) -> String {
    let number = if value != 0.0 && value.abs() < 1e-4 { format!("{value:e}") } else { format!("{value}") };
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_the_longest_suffix_when_several_fit() {
        assert_eq!(of("world.gravity_m_s2"), "m/s²");
        assert_eq!(of("limits.roll_rate_deg_s"), "deg/s");
        assert_eq!(of("gains.rate.roll.i_per_s2"), "per s²");
        assert_eq!(of("rotor[2].thrust_max_n"), "N");
    }

    #[test]
    fn takes_the_unit_of_the_table_when_the_key_has_none() {
        assert_eq!(of("body.inertia_kg_m2.xx"), "kg m²");
        assert_eq!(of("body.center_of_mass_m[2]"), "m");
        assert_eq!(of("rotors.thrust_curve.command[1]"), "");
        assert_eq!(of("gains.rate.roll.d"), "");
    }
}
