//! What went wrong, and what to do about it.

use std::fmt;

/// An error a person can act on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// What is wrong: lower case, no final dot. May span several lines when several things are wrong at once.
    pub message: String,
    /// What to do next, shown apart.
    pub hint: Option<String>,
    /// Which sort of error.
    pub kind: ErrorKind,
}

/// Which sort of error, for exit codes and HTTP statuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ErrorKind {
    /// The line or an argument cannot be read.
    Usage,
    /// Something named does not exist.
    NotFound,
    /// Understood, but not allowed as things stand.
    Refused,
    /// Somebody else was writing at the same time.
    Conflict,
    /// A file could not be read or written.
    Io,
    /// A fault of this program.
    Internal,
}

impl Error {
    /// An error of this kind.
    #[must_use]
    pub fn new(kind: ErrorKind, message: impl Into<String>) -> Error {
        Error {
            message: message.into(),
            hint: None,
            kind,
        }
    }

    /// The same with a hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Error {
        self.hint = Some(hint.into());
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Error {}

/// A line that cannot be understood, with all that is wrong in it.
pub(crate) fn wrong(problems: Vec<String>) -> Error {
    Error::new(ErrorKind::Usage, problems.join("\n"))
        .hint("nothing was written; mend the line and send it again")
}
