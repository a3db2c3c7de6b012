//! Why a journal cannot be read or written.

use std::{fmt, path::PathBuf};

/// Why a journal cannot be read or written. Nothing was changed whenever one of these is returned.
#[derive(Debug)]
pub enum Error {
    /// The file is there and is no journal.
    NotAJournal(PathBuf),
    /// The file was damaged or cut short.
    Damaged(PathBuf),
    /// The file was written by a later release.
    TooNew {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The version this release writes.
        known: i64,
    },
    /// Somebody else was writing all the time.
    Locked(PathBuf),
    /// Lines were added since those that this write builds on.
    Moved,
    /// The line referred to does not exist.
    NoSuchLine(i64),
    /// A line that cannot be read.
    Unreadable {
        /// Its number.
        line: i64,
        /// Why.
        why: String,
    },
    /// The disk or the folder.
    Io {
        /// The file.
        path: PathBuf,
        /// What happened.
        why: String,
    },
}

impl Error {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Error::NotAJournal(_) => Some("name another workshop folder, or move that file away"),
            Error::Damaged(_) => {
                Some("put back the last copy of it; the damaged file was left as it is")
            }
            Error::TooNew { .. } => Some("use the release that wrote it, or a later one"),
            Error::Locked(_) => Some("close the other program that holds it, then try again"),
            Error::Moved => Some("try again"),
            Error::NoSuchLine(_) => {
                Some("the numbers stand at the start of each line of the journal")
            }
            Error::Unreadable { .. } | Error::Io { .. } => None,
        }
    }

    pub(crate) fn from_sqlite(path: &std::path::Path, error: &rusqlite::Error) -> Error {
        use rusqlite::ErrorCode;
        let path = path.to_path_buf();
        match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => Error::NotAJournal(path),
            Some(ErrorCode::DatabaseCorrupt) => Error::Damaged(path),
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Error::Locked(path),
            _ => Error::Io {
                path,
                why: error.to_string(),
            },
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::NotAJournal(path) => {
                write!(
                    f,
                    "expected a journal, found something else in `{}`",
                    path.display()
                )
            }
            Error::Damaged(path) => write!(
                f,
                "the journal `{}` is damaged or cut short",
                path.display()
            ),
            Error::TooNew { path, found, known } => write!(
                f,
                "the journal `{}` was written by a later release: expected version {known} or earlier, found {found}",
                path.display()
            ),
            Error::Locked(path) => {
                write!(
                    f,
                    "the journal `{}` is held by another program",
                    path.display()
                )
            }
            Error::Moved => f.write_str("somebody else wrote at the same moment"),
            Error::NoSuchLine(line) => write!(f, "there is no line {line}"),
            Error::Unreadable { line, why } => {
                write!(f, "line {line} of the journal cannot be read: {why}")
            }
            Error::Io { path, why } => write!(f, "cannot use `{}`: {why}", path.display()),
        }
    }
}

impl std::error::Error for Error {}
