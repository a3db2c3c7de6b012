//! What can be wrong with a situation.

use std::fmt;

/// A situation that cannot be diagnosed, with the step that makes it so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    /// Index of the step, if one is to blame.
    pub step: Option<usize>,
    /// What was found and what was expected.
    pub message: String,
    /// The network would be too large.
    pub(crate) too_large: bool,
}

impl Error {
    pub(crate) fn new(message: impl Into<String>) -> Self {
        Self {
            step: None,
            message: message.into(),
            too_large: false,
        }
    }

    pub(crate) fn at(mut self, step: usize) -> Self {
        self.step.get_or_insert(step);
        self
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.step {
            Some(step) => write!(f, "step {}: {}", step + 1, self.message),
            None => f.write_str(&self.message),
        }
    }
}

impl std::error::Error for Error {}
