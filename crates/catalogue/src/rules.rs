//! Trade rules as data: how far instruments can be trusted, how places go bad, what roles bring.

use crate::fields::Fields;
use crate::problem::{Problem, Problems};
use crate::source::{Source, read_toml};

/// How far a check by one kind of instrument can be trusted.
#[derive(Debug, Clone, PartialEq)]
pub struct InstrumentRule {
    /// The set-up by which a check is known to use it; `eye` for the rest.
    pub set_up: String,
    /// Chance to pass although it fails.
    pub false_pass: f64,
    /// Chance to fail although it works.
    pub false_fail: f64,
    /// Chance of a wrong point or range in a session.
    pub blunder: f64,
    /// Minutes a check takes.
    pub minutes: f64,
}

/// Reads a text as TOML and hands its fields on; all its problems at once.
pub(crate) fn read_file<T>(
    text: &str,
    file: &str,
    what: &'static str,
    read: impl FnOnce(&mut Fields<'_>, &mut Problems<'_>) -> T,
) -> Result<T, Vec<Problem>> {
    let source = Source::new(file, text);
    let mut problems = Problems::new(&source);
    if text
        .trim_matches(['\u{feff}', ' ', '\t', '\r', '\n'])
        .is_empty()
    {
        problems.add(&(0..0), what, "an empty file");
        return Err(problems.finish());
    }
    let Some(table) = read_toml(&mut problems) else {
        return Err(problems.finish());
    };
    let mut fields = Fields::new(&table, 0..0, what);
    let value = read(&mut fields, &mut problems);
    fields.finish(&mut problems);
    if problems.is_empty() {
        Ok(value)
    } else {
        Err(problems.finish())
    }
}

/// Reads `rules/instruments.toml`.
pub(crate) fn read_instruments(
    text: &str,
    file: &str,
) -> Result<Vec<InstrumentRule>, Vec<Problem>> {
    read_file(text, file, "a table of instruments", |fields, problems| {
        let mut rules = Vec::new();
        for mut row in fields.tables("instrument", "an instrument", problems) {
            let set_up = row.id("set_up", problems);
            let mut chance = |key| row.chance(key, problems).unwrap_or(0.0);
            let (false_pass, false_fail, blunder) = (
                chance("false_pass"),
                chance("false_fail"),
                chance("blunder"),
            );
            let minutes = row.minutes("minutes", problems).unwrap_or(1.0);
            rules.extend(set_up.map(|set_up| InstrumentRule {
                set_up: set_up.value,
                false_pass,
                false_fail,
                blunder,
                minutes,
            }));
            row.finish(problems);
        }
        rules
    })
}
