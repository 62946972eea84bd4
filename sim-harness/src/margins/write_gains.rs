//! Gains into the text of a craft file, its comments kept.

use std::fmt;

use toml_edit::{DocumentMut, Item, Table, value};

use super::gains::CraftGains;

/// Why the gains could not be put in.
#[derive(Clone, Debug, PartialEq)]
pub enum UnwritableGains {
    /// The text is no TOML.
    Syntax(String),
    /// Something that is no table stands where this one should.
    NoTable(&'static str),
}

impl fmt::Display for UnwritableGains {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            UnwritableGains::Syntax(says) => write!(f, "the craft file is no TOML: {says}"),
            UnwritableGains::NoTable(name) => write!(f, "{name} must be a table"),
        }
    }
}

impl std::error::Error for UnwritableGains {}

/// `text` with these gains in `[gains]`, everything else as it stood.
///
/// # Errors
/// When the text is no TOML or `gains` is no table.
pub fn with_gains(text: &str, gains: &CraftGains) -> Result<String, UnwritableGains> {
    let mut document: DocumentMut =
        text.parse().map_err(|error: toml_edit::TomlError| UnwritableGains::Syntax(error.message().to_string()))?;
    let root = inner(document.as_table_mut(), "gains")?;
    for axis in &gains.axes {
        let of_rate = inner(inner(root, "rate")?, axis.axis)?;
        for (key, figure) in
            [("p_per_s", axis.p_per_s), ("i_per_s2", axis.i_per_s2), ("d", axis.d), ("d_filter_hz", axis.d_filter_hz)]
        {
            put(of_rate, key, figure);
        }
        let key = match axis.axis {
            "roll" => "roll_per_s",
            "pitch" => "pitch_per_s",
            _ => "yaw_per_s",
        };
        put(inner(root, "angle")?, key, axis.angle_per_s);
    }
    Ok(document.to_string())
}

/// The table of that name, made when there is none; a table between braces is one too.
fn inner<'a>(
    table: &'a mut dyn toml_edit::TableLike,
    name: &'static str,
) -> Result<&'a mut dyn toml_edit::TableLike, UnwritableGains> {
    let item = table.entry(name).or_insert_with(|| {
        let mut made = Table::new();
        made.set_implicit(true);
        Item::Table(made)
    });
    item.as_table_like_mut().ok_or(UnwritableGains::NoTable(name))
}

/// In place, so that a comment behind the old figure stays.
fn put(table: &mut dyn toml_edit::TableLike, key: &str, figure: f64) {
    let mut new = value(figure);
    if let (Some(new), Some(old)) = (new.as_value_mut(), table.get(key).and_then(Item::as_value)) {
        *new.decor_mut() = old.decor().clone();
    }
    match table.get_mut(key) {
        Some(place) => *place = new,
        None => {
            table.insert(key, new);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::file::parse_craft;

    const QUAD: &str = include_str!("../../crafts/quad.toml");

    fn derived() -> CraftGains {
        CraftGains::of(&parse_craft("quad.toml", QUAD).unwrap(), 9.806_65).unwrap()
    }

    #[test]
    fn gains_come_back_and_the_rest_stays_as_typed_when_the_file_has_none() {
        let gains = derived();
        let written = with_gains(QUAD, &gains).unwrap();
        assert!(written.starts_with(QUAD.trim_end()), "{written}");
        let craft = parse_craft("quad.toml", &written).unwrap();
        for (axis, (rate, angle)) in gains.axes.iter().zip(craft.gains.rate.iter().zip(craft.gains.angle_per_s)) {
            assert_eq!(
                [rate.p_per_s, rate.i_per_s2, rate.d, rate.d_filter_hz, angle],
                [axis.p_per_s, axis.i_per_s2, axis.d, axis.d_filter_hz, axis.angle_per_s].map(Some),
                "{}",
                axis.axis
            );
        }
    }

    #[test]
    fn comment_beside_a_gain_stays_when_the_gain_is_replaced() {
        let typed = format!("{QUAD}\n[gains.rate.roll]\np_per_s = 1.5  # by hand\n");
        let written = with_gains(&typed, &derived()).unwrap();
        assert!(written.contains("  # by hand") && !written.contains("= 1.5 "), "{written}");
        assert!(parse_craft("quad.toml", &written).is_ok(), "{written}");
    }

    #[test]
    fn file_is_refused_when_something_else_stands_where_the_gains_belong() {
        assert_eq!(with_gains("gains = 3", &derived()), Err(UnwritableGains::NoTable("gains")));
        assert!(matches!(with_gains("[", &derived()), Err(UnwritableGains::Syntax(_))));
    }
}
