//! What is wrong with a file of vendors, as data.

use std::fmt;
use std::ops::Range;

/// Problems told of one file; the rest is only counted.
const MOST_PROBLEMS: usize = 100;

/// Longest piece of a file shown back.
const SHOWN: usize = 40;

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

/// Collects the problems of one text.
pub(crate) struct Problems<'t> {
    pub(crate) file: &'t str,
    pub(crate) text: &'t str,
    pub(crate) list: Vec<Problem>,
}

impl Problems<'_> {
    pub(crate) fn add(&mut self, span: Range<usize>, expected: &str, hint: Option<String>) {
        let found = shown(self.text.get(span.clone()).unwrap_or(""));
        self.add_found(span, found, expected, hint);
    }

    pub(crate) fn add_found(
        &mut self,
        span: Range<usize>,
        found: String,
        expected: &str,
        hint: Option<String>,
    ) {
        if self.list.len() >= MOST_PROBLEMS {
            return;
        }
        let (line, column) = place(self.text, span.start);
        self.list.push(Problem {
            file: self.file.to_string(),
            line,
            column,
            found,
            expected: expected.to_string(),
            hint,
        });
    }

    /// In the order of the text.
    pub(crate) fn sorted(mut self) -> Vec<Problem> {
        self.list
            .sort_by_key(|problem| (problem.line, problem.column));
        self.list
    }
}

fn place(text: &str, offset: usize) -> (usize, usize) {
    let mut offset = offset.min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    let before = &text[..offset];
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    let line = before.matches('\n').count() + 1;
    (line, before[start..].chars().count() + 1)
}

fn shown(text: &str) -> String {
    let first = text.lines().next().unwrap_or("").trim();
    if first.is_empty() {
        return "nothing".to_string();
    }
    let mut short: String = first.chars().take(SHOWN).collect();
    if short.len() < first.len() {
        short.push('…');
    }
    format!("`{short}`")
}
