//! Rules for values: what is allowed, what to say when it is not. Here the trait and the numbers.

use toml::de::DeValue;

use super::error::FileError;
use super::key::{Optional, Or, Required};
use super::table::Place;
use super::unit;

/// What a value must be.
pub(super) trait Rule<'a>: Sized {
    type Out;
    /// Checks and converts the value at `at`.
    fn read(&self, at: &Place<'a>) -> Result<Self::Out, FileError>;
    /// What is allowed, to follow "must be".
    fn allowed(&self, unit: &str) -> String;
    /// A value as it would stand in the file.
    fn show(&self, value: &Self::Out) -> String;
    /// How to write the key, for whoever left it out.
    fn example(&self, key: &str) -> String {
        format!("`{key} = ...`")
    }

    fn required(self) -> Required<Self> {
        Required(self)
    }
    fn or(self, default: Self::Out) -> Or<Self, Self::Out> {
        Or(self, default)
    }
    fn optional(self, when_left_out: &'static str) -> Optional<Self> {
        Optional(self, when_left_out)
    }
}

/// A range of numbers; NaN and infinity are never inside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Range {
    min: f64,
    above: bool,
    max: f64,
}

/// From `min`, itself included.
pub(super) const fn from(min: f64) -> Range {
    Range { min, above: false, max: f64::MAX }
}

/// Above `min`, itself not included.
pub(super) const fn above(min: f64) -> Range {
    Range { min, above: true, max: f64::MAX }
}

/// `max` either way.
pub(super) const fn within(max: f64) -> Range {
    from(-max).to(max)
}

impl Range {
    /// Up to `max`, itself included.
    pub const fn to(self, max: f64) -> Range {
        Range { max, ..self }
    }

    fn holds(&self, value: f64) -> bool {
        let above_min = if self.above { value > self.min } else { value >= self.min };
        above_min && value <= self.max
    }

    fn allowed(&self, unit: &str) -> String {
        if self.above {
            format!("above {} and at most {}", unit::with(self.min, unit), unit::with(self.max, unit))
        } else {
            format!("from {} to {}", unit::with(self.min, ""), unit::with(self.max, unit))
        }
    }
}

/// A number in a range.
pub(super) fn number(range: Range) -> Number {
    Number(range)
}
pub(super) struct Number(Range);

impl<'a> Rule<'a> for Number {
    type Out = f64;

    fn read(&self, at: &Place<'a>) -> Result<f64, FileError> {
        let must = format!("must be {}", self.allowed(unit::of(&at.path)));
        let value = match at.value {
            DeValue::Float(float) => float.as_str().parse().ok(),
            DeValue::Integer(digits) => i64::from_str_radix(digits.as_str(), digits.radix()).ok().map(|n| n as f64),
            DeValue::String(text) => return Err(at.refuse(&must, &unquote_number(at, text))),
            _ => return Err(at.refuse(&must, &format!("write one number: {}", at.meaning()))),
        };
        match value {
            Some(value) if self.0.holds(value) => Ok(value),
            Some(value) if !value.is_finite() => {
                Err(at.refuse(&must, &format!("write a finite number: {}", at.meaning())))
            }
            Some(value) if self.0.holds(-value) => {
                Err(at.refuse(&must, &format!("is the minus sign meant? {}", at.meaning())))
            }
            _ => Err(at.refuse(&must, &format!("check the number and its unit: {}", at.meaning()))),
        }
    }

    fn allowed(&self, unit: &str) -> String {
        self.0.allowed(unit)
    }

    fn show(&self, value: &f64) -> String {
        format!("{value:?}")
    }
}

/// What to say to a number in quotes, with or without a unit.
fn unquote_number(at: &Place<'_>, text: &str) -> String {
    let bare: String = text.trim().chars().take_while(|c| c.is_ascii_digit() || "+-.eE".contains(*c)).collect();
    match (bare.parse::<f64>(), unit::of(&at.path)) {
        (Ok(_), "") => format!("write the number without quotes: {bare}"),
        (Ok(_), unit) => format!("write the bare number, without quotes: {bare} (the key says the unit, {unit})"),
        _ => format!("write one number: {}", at.meaning()),
    }
}

/// `N` numbers, all in one range.
pub(super) fn vector<const N: usize>(range: Range) -> Vector<N> {
    Vector(range)
}
pub(super) struct Vector<const N: usize>(Range);

impl<'a, const N: usize> Rule<'a> for Vector<N> {
    type Out = [f64; N];

    fn read(&self, at: &Place<'a>) -> Result<[f64; N], FileError> {
        let refused = || {
            let must = format!("must be {}", self.allowed(unit::of(&at.path)));
            at.refuse(&must, &format!("write {N} numbers in square brackets, with commas between: {}", at.meaning()))
        };
        let items = at.items().filter(|items| items.len() == N).ok_or_else(refused)?;
        let numbers: Vec<f64> = items.iter().map(|item| number(self.0).read(item)).collect::<Result<_, _>>()?;
        numbers.try_into().map_err(|_| refused())
    }

    fn allowed(&self, unit: &str) -> String {
        format!("{N} numbers, each {}", self.0.allowed(unit))
    }

    fn show(&self, value: &[f64; N]) -> String {
        format!("{value:?}")
    }
}

/// A column of a bench table: numbers that rise strictly, all in one range.
pub(super) fn rising(min_len: usize, max_len: usize, range: Range) -> Column {
    Column { rises: true, min_len, max_len, range }
}
/// A column of a table: numbers in any order, all in one range.
pub(super) fn column(min_len: usize, max_len: usize, range: Range) -> Column {
    Column { rises: false, min_len, max_len, range }
}
pub(super) struct Column {
    rises: bool,
    min_len: usize,
    max_len: usize,
    range: Range,
}

impl<'a> Rule<'a> for Column {
    type Out = Vec<f64>;

    fn read(&self, at: &Place<'a>) -> Result<Vec<f64>, FileError> {
        let allowed = self.allowed(unit::of(&at.path));
        let items =
            at.items().filter(|items| (self.min_len..=self.max_len).contains(&items.len())).ok_or_else(|| {
                at.refuse(
                    &format!("must be {allowed}"),
                    "write them in square brackets, with commas between: [0.2, 0.6, 1.0]",
                )
            })?;
        let mut numbers: Vec<f64> = Vec::with_capacity(items.len());
        for item in &items {
            let value = number(self.range).read(item)?;
            if let Some(last) = numbers.last().filter(|last| self.rises && value <= **last) {
                let must = format!("must be above the entry before it, {}", unit::with(*last, unit::of(&item.path)));
                return Err(item.refuse(&must, "sort the rows and drop doubles and readings that fall"));
            }
            numbers.push(value);
        }
        Ok(numbers)
    }

    fn allowed(&self, unit: &str) -> String {
        let order = if self.rises { "rising, " } else { "" };
        format!("{} to {} numbers, {order}each {}", self.min_len, self.max_len, self.range.allowed(unit))
    }

    fn show(&self, value: &Vec<f64>) -> String {
        format!("{value:?}")
    }
}

/// A whole number.
pub(super) fn whole(min: i64, max: i64) -> Whole {
    Whole { min, max }
}
pub(super) struct Whole {
    min: i64,
    max: i64,
}

impl<'a> Rule<'a> for Whole {
    type Out = u64;

    fn read(&self, at: &Place<'a>) -> Result<u64, FileError> {
        let must = format!("must be {}", self.allowed(""));
        let mend = match at.value {
            DeValue::Integer(digits) => {
                let value = i64::from_str_radix(digits.as_str(), digits.radix()).ok();
                match value.filter(|value| (self.min..=self.max).contains(value)).map(u64::try_from) {
                    Some(Ok(value)) => return Ok(value),
                    _ => at.meaning(),
                }
            }
            DeValue::Float(_) => "write it without a decimal point".to_string(),
            DeValue::String(_) => "write it without quotes".to_string(),
            _ => at.meaning(),
        };
        Err(at.refuse(&must, &mend))
    }

    fn allowed(&self, _unit: &str) -> String {
        match (self.min, self.max) {
            (min, max) if min == max => format!("{min}"),
            (min, max) => format!("a whole number from {min} to {max}"),
        }
    }

    fn show(&self, value: &u64) -> String {
        value.to_string()
    }

    fn example(&self, key: &str) -> String {
        if self.min == self.max { format!("`{key} = {}`", self.min) } else { format!("`{key} = ...`") }
    }
}
