//! What a person asks for.

use std::path::PathBuf;

use crate::{Error, ErrorKind};

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
    /// Chips change places.
    Swap {
        /// Position.
        part: String,
        /// Another machine, the mule, or the mark of a loose chip.
        with: String,
        /// Position there, if another.
        there: Option<String>,
        /// Mark put on the chip that comes out, if a loose one goes in.
        old_mark: Option<String>,
    },
    /// A fault that the profile does not know was mended: what it was.
    Mend(String),
    /// Pull and press in again; each name is a position or a block.
    Reseat(Vec<String>),
    /// Resolder the joints; each name is a position or a block.
    Resolder(Vec<String>),
    /// Clean the contacts; each name is a position or a block.
    Clean(Vec<String>),
}

/// How a machine is powered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Power {
    /// Switched on, on its own supply.
    On,
    /// Switched on, on a bench supply.
    OnBenchSupply,
    /// Switched off.
    Off,
}

/// Where a machine is put.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shelf {
    /// Put away.
    Away,
    /// Taken back to the bench.
    Back,
}

/// A chance as a person writes it: `0.8`, `0,8`, `80 %`; any number, none where there is none.
#[must_use]
pub fn parse_chance(text: &str) -> Option<f64> {
    let number = |text: &str| text.trim().replace(',', ".").parse::<f64>().ok();
    match text.trim().strip_suffix('%') {
        Some(percent) => number(percent).map(|percent| percent / 100.0),
        None => number(text),
    }
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

impl Fitted {
    /// What goes in, as it was typed: nothing or `new` is a new one, `0.9` or `90 %` one that is good with this chance,
    /// anything else the mark of a chip.
    ///
    /// # Errors
    /// If a chance is not from 0 to 1.
    pub fn read(what: &str) -> Result<Fitted, Error> {
        let what = what.trim();
        let chance = what.strip_prefix("new").map_or(what, str::trim);
        if chance.is_empty() {
            return Ok(Fitted::New { works: None });
        }
        let Some(works) = parse_chance(chance) else {
            return Ok(Fitted::Marked(what.to_owned()));
        };
        if (0.0..=1.0).contains(&works) {
            return Ok(Fitted::New { works: Some(works) });
        }
        Err(Error::new(
            ErrorKind::Usage,
            format!("expected a chance from 0 to 1, found `{what}`"),
        )
        .hint("write `0.9` or `90 %`, a mark such as `blue dot`, or nothing for a new one"))
    }

    /// The same as it is typed.
    #[must_use]
    pub fn word(&self) -> String {
        match self {
            Fitted::New { works: None } => String::new(),
            Fitted::New { works: Some(works) } => works.to_string(),
            Fitted::Marked(mark) => mark.clone(),
        }
    }
}

/// What may be spent, and what is settled before the plan is made.
#[derive(Debug, Clone, Default)]
pub struct PlanLimits {
    /// Money: `120.00`; `none` lifts the limit.
    pub money: Option<String>,
    /// Evenings; 0 lifts the limit.
    pub evenings: Option<f64>,
    /// Machines expected to work at least; 0 lifts the limit.
    pub working: Option<f64>,
    /// Decisions to settle: `T-06 donor`, `T-07 U9 used-original`.
    pub pins: Vec<String>,
    /// Settled decisions to let go, by machine; `all` lets go of all.
    pub free: Vec<String>,
    /// Vendors from whom nothing is to be ordered.
    pub without: Vec<String>,
    /// Vendors who may be asked again.
    pub with: Vec<String>,
}

/// The workshop folder when none is named: `$BOARDWRIGHT_WORKSHOP`, else the folder one is in if it is a workshop, else
/// `boardwright` in the home folder.
#[must_use]
pub fn default_dir() -> PathBuf {
    if let Some(dir) = std::env::var_os("BOARDWRIGHT_WORKSHOP").filter(|dir| !dir.is_empty()) {
        return PathBuf::from(dir);
    }
    if let Ok(here) = std::env::current_dir()
        && here.join("workshop.toml").is_file()
    {
        return here;
    }
    std::env::home_dir().unwrap_or_default().join("boardwright")
}
