//! Tables of values from outside the project, in `reference/`. The header of each says where it is from.

use std::path::Path;

/// A table, read whole.
pub struct Table {
    name: String,
    columns: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// One row of a [`Table`].
#[derive(Clone, Copy)]
pub struct Row<'a> {
    table: &'a Table,
    values: &'a [String],
}

/// Reads `reference/NAME.csv`.
///
/// # Panics
/// If it cannot be read or has no rows: a check without values is no check.
pub fn table(name: &str) -> Table {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference").join(name).with_extension("csv");
    let reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&path);
    let mut reader = reader.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let owned = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect::<Vec<_>>();
    let columns = reader.headers().map(owned).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let rows: Result<Vec<_>, _> = reader.records().map(|record| record.map(|record| owned(&record))).collect();
    let rows = rows.unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    assert!(!rows.is_empty(), "{}: no rows", path.display());
    Table { name: name.to_owned(), columns, rows }
}

impl Table {
    /// Every row, in order.
    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|values| Row { table: self, values })
    }
}

impl<'a> Row<'a> {
    /// The text of a column.
    ///
    /// # Panics
    /// If there is no such column.
    pub fn text(self, column: &str) -> &'a str {
        let place = self.table.columns.iter().position(|name| name == column);
        &self.values[place.unwrap_or_else(|| panic!("{}: no column {column}", self.table.name))]
    }

    /// The number in a column.
    ///
    /// # Panics
    /// If there is no such column or it holds no number.
    pub fn number(self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|error| panic!("{}: {column}: {text}: {error}", self.table.name))
    }

    /// The numbers in some columns.
    ///
    /// # Panics
    /// As [`Row::number`].
    pub fn numbers<const N: usize>(self, columns: [&str; N]) -> [f64; N] {
        columns.map(|column| self.number(column))
    }
}
