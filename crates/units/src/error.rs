//! What went wrong while reading a value, as data.

use std::error::Error;
use std::fmt;

/// Longest piece of the offending text that is shown back.
const SHOWN: usize = 40;

/// A text that is not the value it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ParseError {
    /// The text that was found, shortened if very long.
    pub found: String,
    /// What would be right, as the end of "expected ...".
    pub expected: String,
    /// What to do about it; may be empty.
    pub hint: String,
}

/// The error of [`parse_reading`](crate::parse_reading).
pub type ReadingError = ParseError;

impl ParseError {
    pub(crate) fn new(
        found: &str,
        expected: impl Into<String>,
        hint: impl Into<String>,
    ) -> ParseError {
        let mut shown: String = found.trim().chars().take(SHOWN).collect();
        if shown.len() < found.trim().len() {
            shown.push('…');
        }
        ParseError {
            found: shown,
            expected: expected.into(),
            hint: hint.into(),
        }
    }
}

impl fmt::Display for ParseError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "expected {}, found ", self.expected)?;
        if self.found.is_empty() {
            f.write_str("nothing")?;
        } else {
            write!(f, "`{}`", self.found)?;
        }
        if !self.hint.is_empty() {
            write!(f, "; {}", self.hint)?;
        }
        Ok(())
    }
}

impl Error for ParseError {}
