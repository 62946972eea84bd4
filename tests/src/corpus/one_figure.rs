//! One figure of a craft file changed at a time, gains and sensors included, so that every check is seen to decide.
//!
//! Unlike a slip, a change here need not be one that a builder makes, and the doubts are not asked: what counts is which
//! check refuses the craft.

use super::table::{Table, Value, at, number, put};

/// Figures that a file may leave out, each with the value that it is given before it is multiplied.
const LEFT_OUT: [(&str, f64); 24] = [
    ("gains.rate.p_per_s", 20.0),
    ("gains.rate.i_per_s2", 60.0),
    ("gains.angle.roll_per_s", 6.0),
    ("gains.angle.pitch_per_s", 6.0),
    ("gains.angle.yaw_per_s", 2.5),
    ("limits.tilt_deg", 25.0),
    ("limits.roll_rate_deg_s", 120.0),
    ("limits.pitch_rate_deg_s", 120.0),
    ("limits.yaw_rate_deg_s", 60.0),
    ("loops.rate_hz", 1000.0),
    ("loops.extra_delay_s", 0.01),
    ("battery.charge", 0.3),
    ("body.inertia_kg_m2.xy", 0.002),
    ("body.inertia_kg_m2.yz", 0.002),
    ("rotors.thrust_min_n", 0.6),
    ("rotors.drag_n_per_m_s", 0.05),
    ("sensors.gyro.noise_deg_s_rthz", 0.05),
    ("sensors.gyro.low_pass_hz", 60.0),
    ("sensors.gyro.latency_s", 0.002),
    ("sensors.gyro.range_deg_s", 500.0),
    ("sensors.accelerometer.noise_m_s2_rthz", 0.01),
    ("sensors.climb.noise_m_s", 0.1),
    ("sensors.voltage.noise_share", 0.01),
    ("ground_effect.datum_height_m", 0.1),
];
/// Twice and ten times, either way.
const FACTORS: [f64; 4] = [0.1, 0.5, 2.0, 10.0];

/// A file with one figure changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Changed {
    /// The figure: a key, and a place in its list.
    pub key: String,
    /// What it was multiplied by.
    pub factor: f64,
    /// The file.
    pub file: Table,
}

/// Every number of the file and those it leaves out, one at a time; of listed rotors, the first's.
pub fn every(file: &Table) -> Vec<Changed> {
    let mut figures = Vec::new();
    collect(&Value::Table(file.clone()), String::new(), &mut figures);
    figures.retain(|(key, _)| key != "format" && (!key.starts_with("rotor.") || key.starts_with("rotor.0.")));
    let missing = LEFT_OUT.iter().filter(|(key, _)| at(file, key).is_none());
    figures.extend(missing.map(|(key, value)| ((*key).to_owned(), *value)));
    let changed = |(key, value): &(String, f64)| {
        let (key, value) = (key.clone(), *value);
        FACTORS.map(|factor| Changed { file: with(file, &key, value * factor), key: key.clone(), factor })
    };
    figures.iter().flat_map(changed).collect()
}

fn collect(value: &Value, key: String, figures: &mut Vec<(String, f64)>) {
    let inside =
        |inner: &dyn std::fmt::Display| if key.is_empty() { inner.to_string() } else { format!("{key}.{inner}") };
    match value {
        Value::Float(figure) if *figure != 0.0 => figures.push((key, *figure)),
        Value::Integer(whole) if *whole != 0 => figures.push((key, *whole as f64)),
        Value::Table(table) => table.iter().for_each(|(name, inner)| collect(inner, inside(name), figures)),
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(index, inner)| collect(inner, inside(&index), figures))
        }
        _ => (),
    }
}

fn with(file: &Table, key: &str, value: f64) -> Table {
    let mut file = file.clone();
    match in_list(&mut file, key) {
        Some(place) => *place = number(value),
        None => put(&mut file, key, number(value)),
    }
    file
}

/// The place of a key with an index in it.
fn in_list<'t>(file: &'t mut Table, key: &str) -> Option<&'t mut Value> {
    let mut steps = key.split('.');
    let mut place = file.get_mut(steps.next()?)?;
    for step in steps {
        place = match place {
            Value::Array(list) => list.get_mut(step.parse::<usize>().ok()?)?,
            Value::Table(table) => table.get_mut(step)?,
            _ => return None,
        };
    }
    Some(place)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_one_figure_at_a_time_wherever_it_stands() {
        let file: Table = "format = 1\na = 2.0\nb = [0.0, 4.0]\nc = { d = 3 }\n".parse().unwrap();
        let changed = every(&file);
        let keys: Vec<_> = changed.iter().map(|changed| changed.key.as_str()).collect();
        for (key, value) in [("a", 2.0), ("b.1", 4.0), ("c.d", 3.0), ("loops.rate_hz", 1000.0)] {
            assert_eq!(keys.iter().filter(|other| **other == key).count(), FACTORS.len(), "{key}");
            let first = changed.iter().find(|changed| changed.key == key).unwrap();
            let mut read = first.file.clone();
            let got = in_list(&mut read, key).and_then(|value| value.as_float()).unwrap();
            assert!((got - 0.1 * value).abs() < 1e-12 * value, "{key}: {got}");
        }
    }
}
