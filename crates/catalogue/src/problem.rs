//! What is wrong with a file, as data: where, what is there, what would be right.

use std::fmt;

use crate::source::{Source, Span};

/// One thing that is wrong with a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// The file, as the caller named it.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is there.
    pub found: String,
    /// What would be right.
    pub expected: String,
    /// What to do, where something can be said.
    pub hint: Option<String>,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            file,
            line,
            column,
            found,
            expected,
            hint,
        } = self;
        write!(
            f,
            "{file}:{line}:{column}: expected {expected}, found {found}"
        )?;
        match hint {
            Some(hint) => write!(f, "; hint: {hint}"),
            None => Ok(()),
        }
    }
}

impl std::error::Error for Problem {}

/// Problems told of one file; the rest is only counted.
pub(crate) const MOST_PROBLEMS: usize = 100;

/// Collects the problems of one file.
#[derive(Debug)]
pub(crate) struct Problems<'s> {
    source: &'s Source<'s>,
    list: Vec<Problem>,
    untold: usize,
    /// The text has syntax errors, so that what is missing says nothing.
    pub(crate) broken: bool,
}

impl<'s> Problems<'s> {
    pub(crate) fn new(source: &'s Source<'s>) -> Self {
        Self {
            source,
            list: Vec::new(),
            untold: 0,
            broken: false,
        }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The source the problems are found in.
    pub(crate) fn source(&self) -> &'s Source<'s> {
        self.source
    }

    /// Takes a problem down.
    pub(crate) fn add(
        &mut self,
        span: &Span,
        expected: impl Into<String>,
        found: impl Into<String>,
    ) {
        self.add_with(span, expected, found, None);
    }

    /// Takes a problem down, with what to do.
    pub(crate) fn add_with(
        &mut self,
        span: &Span,
        expected: impl Into<String>,
        found: impl Into<String>,
        hint: Option<String>,
    ) {
        if self.list.len() >= MOST_PROBLEMS {
            self.untold += 1;
            return;
        }
        let (line, column) = self.source.place(span.start);
        self.list.push(Problem {
            file: self.source.file.to_owned(),
            line,
            column,
            found: found.into(),
            expected: expected.into(),
            hint,
        });
    }

    /// A name that nothing has, with the nearest one that exists.
    pub(crate) fn unknown<'n>(
        &mut self,
        span: &Span,
        what: &str,
        name: &str,
        known: impl IntoIterator<Item = &'n str>,
    ) {
        let hint = if self.list.len() < MOST_PROBLEMS {
            nearest(name, known)
        } else {
            None
        };
        self.add_with(span, what, shown(name), hint);
    }

    /// All of them, in the order of the file; empty if there is none.
    pub(crate) fn finish(mut self) -> Vec<Problem> {
        self.list
            .sort_by_key(|problem| (problem.line, problem.column));
        self.list.dedup();
        if self.untold > 0 {
            let (line, column) = self
                .list
                .last()
                .map_or((1, 1), |last| (last.line, last.column));
            self.list.push(Problem {
                file: self.source.file.to_owned(),
                line,
                column,
                found: format!("{} more", self.untold),
                expected: format!("at most {MOST_PROBLEMS} problems"),
                hint: Some("mend the first ones and read the file again".to_owned()),
            });
        }
        self.list
    }
}

/// A text in backticks, cut to a length that fits a line.
pub(crate) fn shown(text: &str) -> String {
    const MOST: usize = 60;
    let mut short: String = text
        .chars()
        .take(MOST)
        .flat_map(char::escape_debug)
        .collect();
    if text.chars().nth(MOST).is_some() {
        short.push('…');
    }
    format!("`{short}`")
}

/// "did you mean", with the nearest of the known names if one is near; else the known names if they are few.
pub(crate) fn nearest<'n>(name: &str, known: impl IntoIterator<Item = &'n str>) -> Option<String> {
    let short: String = name.chars().take(64).collect();
    let known: Vec<&str> = known.into_iter().collect();
    let near = known
        .iter()
        .map(|&candidate| {
            (
                strsim::damerau_levenshtein(&short.to_lowercase(), &candidate.to_lowercase()),
                candidate,
            )
        })
        .filter(|&(distance, candidate)| distance <= candidate.chars().count().max(3) / 3)
        .min();
    match near {
        Some((_, candidate)) => Some(format!("did you mean {}?", shown(candidate))),
        None if known.is_empty() || known.len() > 12 => None,
        None => Some(format!("known are {}", list(known))),
    }
}

/// Names in backticks, with commas.
pub(crate) fn list<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    names.into_iter().map(shown).collect::<Vec<_>>().join(", ")
}
