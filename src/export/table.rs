//! Tables as they are described: the one place that names a column, its unit and where it comes from. Files, the folder's
//! README and docs/exports.md are written from it.

use std::borrow::Cow;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A whole number of 64 bits, exact.
    Integer,
    /// A floating-point number, rounded.
    Number,
    /// Text.
    Text,
}

impl Kind {
    /// The name in README and manifest.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Integer => "integer",
            Self::Number => "number",
            Self::Text => "text",
        }
    }
}

/// A column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Column {
    /// Its name, with its unit at the end.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Its unit; `-` for none.
    pub unit: &'static str,
    /// What it says, and when a cell is empty.
    pub about: &'static str,
    /// Where it comes from: a field of the capture or of a message, or what it is worked out by.
    pub source: &'static str,
}

/// A table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Table {
    /// Its name, and its files' without ending.
    pub name: &'static str,
    /// What a row is.
    pub about: &'static str,
    /// What has to be kept in mind.
    pub caution: &'static str,
    /// From left to right.
    pub columns: &'static [Column],
}

/// A whole number.
pub(super) const fn integer(
    name: &'static str,
    unit: &'static str,
    about: &'static str,
    source: &'static str,
) -> Column {
    Column { name, kind: Kind::Integer, unit, about, source }
}

/// A floating-point number.
pub(super) const fn number(
    name: &'static str,
    unit: &'static str,
    about: &'static str,
    source: &'static str,
) -> Column {
    Column { name, kind: Kind::Number, unit, about, source }
}

/// Text.
pub(super) const fn text(name: &'static str, about: &'static str, source: &'static str) -> Column {
    Column { name, kind: Kind::Text, unit: "-", about, source }
}

/// What stands in one place of a row.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Cell<'a> {
    /// Nothing is known.
    Nothing,
    /// A whole number.
    Integer(i64),
    /// A floating-point number.
    Number(f64),
    /// Text, as it is: whoever writes it escapes it.
    Text(Cow<'a, str>),
}

impl<'a> Cell<'a> {
    pub(super) fn text(&mut self) -> Option<&mut Cow<'a, str>> {
        match self {
            Self::Text(text) => Some(text),
            Self::Nothing | Self::Integer(_) | Self::Number(_) => None,
        }
    }
}

impl From<i64> for Cell<'_> {
    fn from(value: i64) -> Self {
        Self::Integer(value)
    }
}

impl From<u64> for Cell<'_> {
    /// Nothing beyond 2⁶³ − 1: no count of a capture comes near.
    fn from(value: u64) -> Self {
        i64::try_from(value).map_or(Self::Nothing, Self::Integer)
    }
}

impl From<u32> for Cell<'_> {
    fn from(value: u32) -> Self {
        Self::Integer(i64::from(value))
    }
}

impl From<u16> for Cell<'_> {
    fn from(value: u16) -> Self {
        Self::Integer(i64::from(value))
    }
}

impl From<u8> for Cell<'_> {
    fn from(value: u8) -> Self {
        Self::Integer(i64::from(value))
    }
}

impl From<f64> for Cell<'_> {
    fn from(value: f64) -> Self {
        Self::Number(value)
    }
}

impl<'a> From<&'a str> for Cell<'a> {
    fn from(value: &'a str) -> Self {
        Self::Text(Cow::Borrowed(value))
    }
}

impl<'a> From<&'a String> for Cell<'a> {
    fn from(value: &'a String) -> Self {
        Self::Text(Cow::Borrowed(value))
    }
}

impl From<String> for Cell<'_> {
    fn from(value: String) -> Self {
        Self::Text(Cow::Owned(value))
    }
}

impl<'a, T: Into<Self>> From<Option<T>> for Cell<'a> {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Nothing, Into::into)
    }
}
