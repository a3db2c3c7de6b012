//! What can be wrong with a case or a network.

use std::{fmt, io, path::Path};

/// A file that cannot be used: which one, what was found there, what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// The file or the folder.
    pub file: String,
    /// What was found and what was expected.
    pub message: String,
}

impl Error {
    pub(crate) fn new(file: &Path, message: impl fmt::Display) -> Self {
        Self {
            file: file.display().to_string(),
            message: message.to_string(),
        }
    }

    pub(crate) fn unreadable(file: &Path, error: &io::Error) -> Self {
        Self::new(
            file,
            format!("expected a file that can be read, found none: {error}"),
        )
    }

    pub(crate) fn json(file: &Path, error: &serde_json::Error) -> Self {
        Self::new(file, format!("expected JSON of this format: {error}"))
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "`{}`: {}", self.file, self.message)
    }
}

impl std::error::Error for Error {}
