//! A craft file as a tree of keys, built and changed before it is written out.

pub use toml::{Table, Value};

/// `value` to this many significant digits, as a builder writes it.
pub fn rounded(value: f64, digits: i32) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let place = digits - 1 - value.abs().log10().floor() as i32;
    // Through text: the nearest double to the decimal number, not a neighbour.
    let text = format!("{:.*}", place.max(0) as usize, value);
    if place >= 0 { text.parse().unwrap_or(value) } else { (value * 10f64.powi(place)).round() * 10f64.powi(-place) }
}

/// A number of four significant digits.
pub fn number(value: f64) -> Value {
    Value::Float(rounded(value, 4))
}

/// A length to a hundredth of a millimetre.
pub fn length(value_m: f64) -> Value {
    Value::Float((value_m * 1e5).round() / 1e5 + 0.0)
}

/// A list of numbers.
pub fn numbers(values: &[f64]) -> Value {
    Value::Array(values.iter().copied().map(number).collect())
}

/// A list of lengths.
pub fn lengths(values_m: &[f64]) -> Value {
    Value::Array(values_m.iter().copied().map(length).collect())
}

/// A table of these keys.
pub fn keys<const N: usize>(pairs: [(&str, Value); N]) -> Table {
    pairs.into_iter().map(|(key, value)| (key.to_owned(), value)).collect()
}

/// What stands at a dotted path such as `body.inertia_kg_m2.xx`.
pub fn at<'t>(file: &'t Table, path: &str) -> Option<&'t Value> {
    let mut steps = path.split('.');
    let first = file.get(steps.next()?)?;
    steps.try_fold(first, |value, step| value.as_table()?.get(step))
}

/// The number at a dotted path.
pub fn number_at(file: &Table, path: &str) -> Option<f64> {
    let value = at(file, path)?;
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64))
}

/// Puts `value` at a dotted path, with the tables on the way.
///
/// # Panics
/// When a key on the way holds something else than a table.
pub fn put(file: &mut Table, path: &str, value: Value) {
    match path.split_once('.') {
        None => {
            file.insert(path.to_owned(), value);
        }
        Some((table, rest)) => {
            let inner = file.entry(table).or_insert_with(|| Value::Table(Table::new()));
            put(inner.as_table_mut().unwrap_or_else(|| panic!("{table} is no table")), rest, value);
        }
    }
}

/// Takes a key out, if it stands.
pub fn take_out(file: &mut Table, path: &str) -> Option<Value> {
    match path.split_once('.') {
        None => file.remove(path),
        Some((table, rest)) => take_out(file.get_mut(table)?.as_table_mut()?, rest),
    }
}
