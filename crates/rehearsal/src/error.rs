//! What can stop a rehearsal.

use std::fmt;

/// Why a rehearsal cannot go on: what was found, what was expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// Lower case, no final dot.
    pub message: String,
}

impl Error {
    pub(crate) fn new(message: impl Into<String>) -> Self {
        Self {
            message: message.into(),
        }
    }
}

impl From<diagnosis::Error> for Error {
    fn from(error: diagnosis::Error) -> Self {
        Self::new(error.to_string())
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Error {}
