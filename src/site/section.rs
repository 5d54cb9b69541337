//! One table of a site file: its keys are taken one by one, and what is left or wrong is told.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeTable;
use toml::de::DeValue;

use super::problem::Problem;
use crate::nearest::nearest;

/// The text and what was found wrong with it.
pub(super) struct Text<'t> {
    text: &'t str,
    pub(super) problems: Vec<Problem>,
}

impl<'t> Text<'t> {
    pub(super) const fn new(text: &'t str) -> Self {
        Self { text, problems: Vec::new() }
    }

    /// The line, from 1, that holds the octet at `offset`.
    pub(super) fn line(&self, offset: usize) -> usize {
        let before = self.text.bytes().take(offset);
        before.filter(|octet| *octet == b'\n').count() + 1
    }

    pub(super) fn wrong(&mut self, at: &Range<usize>, key: Option<String>, text: String) {
        let line = self.line(at.start);
        self.problems.push(Problem { line, key, text });
    }
}

/// A table with its name.
pub(super) struct Section<'a, 't> {
    /// Such as `clock`; empty for the whole file.
    pub(super) name: String,
    pub(super) table: &'a DeTable<'t>,
    pub(super) span: Range<usize>,
}

/// What a value is read with; the error says what would be right.
pub(super) type Reader<T> = fn(&DeValue<'_>) -> Result<T, String>;

impl Section<'_, '_> {
    fn key(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    /// Tells keys that are not among `known`, each with the nearest that is.
    pub(super) fn only(&self, known: &[&str], text: &mut Text<'_>) {
        for (key, _) in self.table.iter() {
            let name = key.get_ref().as_ref();
            if !known.contains(&name) {
                let meant = nearest(name, known.iter().copied()).unwrap_or_default();
                let what = if self.name.is_empty() { "this section" } else { "this key" };
                let told = format!("{what} is not known; the nearest known one is {}", self.key(meant));
                text.wrong(&key.span(), Some(self.key(name)), told);
            }
        }
    }

    pub(super) fn value(&self, key: &str) -> Option<&Spanned<DeValue<'_>>> {
        self.table.get(key)
    }

    /// The value of a key, where it is there and right.
    pub(super) fn take<T>(&self, key: &str, read: Reader<T>, text: &mut Text<'_>) -> Option<T> {
        let value = self.value(key)?;
        match read(value.get_ref()) {
            Ok(read) => Some(read),
            Err(told) => {
                text.wrong(&value.span(), Some(self.key(key)), told);
                None
            }
        }
    }

    /// As [`Section::take`]; that it is not there is told too.
    pub(super) fn need<T>(&self, key: &str, read: Reader<T>, text: &mut Text<'_>) -> Option<T> {
        if self.value(key).is_none() {
            text.wrong(&self.span, Some(self.key(key)), "this key is missing".to_owned());
        }
        self.take(key, read, text)
    }

    /// The values of a list.
    pub(super) fn take_list<T>(&self, key: &str, read: Reader<T>, text: &mut Text<'_>) -> Vec<T> {
        let Some(value) = self.value(key) else { return Vec::new() };
        let Some(list) = value.get_ref().as_array() else {
            text.wrong(&value.span(), Some(self.key(key)), "give a list, such as [\"…\", \"…\"]".to_owned());
            return Vec::new();
        };
        let mut values = Vec::new();
        for item in list.iter() {
            match read(item.get_ref()) {
                Ok(value) => values.push(value),
                Err(told) => text.wrong(&item.span(), Some(self.key(key)), told),
            }
        }
        values
    }

    /// The table of that name; an empty one where it is not there.
    pub(super) fn section<'s>(&'s self, name: &str, text: &mut Text<'_>) -> Option<Section<'s, 's>> {
        let value = self.value(name)?;
        match value.get_ref() {
            DeValue::Table(table) => Some(Section { name: self.key(name), table, span: value.span() }),
            _ => {
                text.wrong(&value.span(), Some(self.key(name)), format!("write it as a section: [{name}]"));
                None
            }
        }
    }

    /// The tables of a list of tables of that name.
    pub(super) fn sections<'s>(&'s self, name: &str, text: &mut Text<'_>) -> Vec<Section<'s, 's>> {
        let Some(value) = self.value(name) else { return Vec::new() };
        let told = || format!("write each as [[{name}]]");
        let Some(list) = value.get_ref().as_array() else {
            text.wrong(&value.span(), Some(self.key(name)), told());
            return Vec::new();
        };
        let mut sections = Vec::new();
        for item in list.iter() {
            match item.get_ref() {
                DeValue::Table(table) => {
                    sections.push(Section { name: self.key(name), table, span: item.span() });
                }
                _ => text.wrong(&item.span(), Some(self.key(name)), told()),
            }
        }
        sections
    }
}
