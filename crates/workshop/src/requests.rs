//! What a person asks for.

use std::path::PathBuf;

/// How a workshop is opened.
#[derive(Debug, Clone, Default)]
pub struct OpenOptions {
    /// Who works; without it the first member of the club, else `me`.
    pub who: Option<String>,
    /// Where the time comes from.
    pub clock: Clock,
}

/// Where the time comes from.
#[derive(Debug, Clone, Default)]
pub enum Clock {
    /// The computer's clock.
    #[default]
    System,
    /// This moment; it moves on by one minute with each line that is written.
    Fixed(jiff::ZonedDateTime),
}

/// A lot that came in.
#[derive(Debug, Clone, Default)]
pub struct TakeIn {
    /// `9 from Harbour Street, 270.00`.
    pub line: String,
    /// Board profile or starter.
    pub board: Option<String>,
    /// `T-06 U9 absent`, `T-06 battery leaked`.
    pub exceptions: Vec<String>,
    /// First tag, if not the next free one.
    pub tags: Option<String>,
    /// Say what would be written, write nothing.
    pub dry_run: bool,
}

/// Something done that changes a machine.
#[derive(Debug, Clone, PartialEq)]
pub enum Act {
    /// The chip comes out.
    Pull {
        /// Position.
        part: String,
        /// Mark put on the chip.
        mark: Option<String>,
    },
    /// A chip goes in.
    Fit {
        /// Position.
        part: String,
        /// What goes in.
        what: Fitted,
        /// Mark put on the chip that comes out.
        old_mark: Option<String>,
    },
    /// Pull and press in again; each name is a position or a block.
    Reseat(Vec<String>),
    /// Resolder the joints; each name is a position or a block.
    Resolder(Vec<String>),
    /// Clean the contacts; each name is a position or a block.
    Clean(Vec<String>),
}

/// What goes into a position.
#[derive(Debug, Clone, PartialEq)]
pub enum Fitted {
    /// From outside, good with this chance; 0.97 if it is not said.
    New {
        /// Chance that it is good.
        works: Option<f64>,
    },
    /// A marked chip pulled before.
    Marked(String),
}

/// What may be spent.
#[derive(Debug, Clone, Default)]
pub struct PlanLimits {
    /// Money: `120.00`; `none` lifts the limit.
    pub money: Option<String>,
    /// Evenings; 0 lifts the limit.
    pub evenings: Option<f64>,
}

/// The workshop folder when none is named: `$BOARDWRIGHT_WORKSHOP`, else `boardwright` in the home folder.
#[must_use]
pub fn default_dir() -> PathBuf {
    if let Some(dir) = std::env::var_os("BOARDWRIGHT_WORKSHOP").filter(|dir| !dir.is_empty()) {
        return PathBuf::from(dir);
    }
    std::env::home_dir().unwrap_or_default().join("boardwright")
}
