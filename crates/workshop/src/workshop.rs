//! The open workshop.

use std::path::Path;

use crate::{
    Act, Error, ErrorKind, OpenOptions, PlanLimits, TakeIn,
    views::{
        Bench, BoardChoice, ExportedNetwork, Frame, JobCard, JournalRow, Ledger, PlanView, TakenIn, Understood,
        Undone, Written,
    },
};

/// A workshop folder, open.
#[derive(Debug)]
pub struct Workshop {}

type Result<T> = std::result::Result<T, Error>;

fn not_built<T>() -> Result<T> {
    Err(Error::new(ErrorKind::Internal, "not built yet"))
}

impl Workshop {
    /// Opens the folder; makes it at first use.
    pub fn open(_dir: &Path, _options: OpenOptions) -> Result<Workshop> {
        not_built()
    }

    /// What stands at the top right of each page.
    pub fn frame(&self) -> Frame {
        Frame {
            workshop: String::new(),
            date: String::new(),
            time: String::new(),
            who: String::new(),
            currency: String::new(),
        }
    }

    /// Nothing is taken in yet.
    pub fn is_empty(&self) -> Result<bool> {
        not_built()
    }

    /// Takes a lot in.
    pub fn take_in(&self, _request: &TakeIn) -> Result<TakenIn> {
        not_built()
    }

    /// Boards that machines can be taken in as.
    pub fn boards(&self) -> Vec<BoardChoice> {
        Vec::new()
    }

    /// The bench plan.
    pub fn bench(&self) -> Result<Bench> {
        not_built()
    }

    /// The bench plan with this check open.
    pub fn bench_on(&self, _check: &str) -> Result<Bench> {
        not_built()
    }

    /// The job card of a machine.
    pub fn card(&self, _tag: &str) -> Result<JobCard> {
        not_built()
    }

    /// How a line would be understood; writes nothing.
    pub fn understand(&self, _tag: &str, _line: &str) -> Result<Vec<Understood>> {
        not_built()
    }

    /// Writes the findings of one line.
    pub fn measure(&self, _tag: &str, _line: &str) -> Result<Written> {
        not_built()
    }

    /// Writes one check over many machines: tag and value.
    pub fn round(&self, _check: &str, _entries: &[(String, String)]) -> Result<Written> {
        not_built()
    }

    /// The same from one line.
    pub fn round_line(&self, _check: &str, _line: &str) -> Result<Written> {
        not_built()
    }

    /// Writes an act.
    pub fn act(&self, _tag: &str, _act: &Act) -> Result<Written> {
        not_built()
    }

    /// Writes the truth found out.
    pub fn settle(&self, _tag: &str, _truth: &str) -> Result<Written> {
        not_built()
    }

    /// Takes a line back.
    pub fn undo(&self, _line: Option<i64>) -> Result<Undone> {
        not_built()
    }

    /// The decision over the pile.
    pub fn plan(&self, _limits: &PlanLimits) -> Result<PlanView> {
        not_built()
    }

    /// The parcels of the plan.
    pub fn order(&self, _limits: &PlanLimits) -> Result<Ledger> {
        not_built()
    }

    /// Writes that a parcel was ordered.
    pub fn ordered(&self, _letter: &str) -> Result<Written> {
        not_built()
    }

    /// A machine's fault network as text.
    pub fn export_network(&self, _tag: &str) -> Result<ExportedNetwork> {
        not_built()
    }

    /// The journal, oldest first.
    pub fn journal(&self, _tag: Option<&str>) -> Result<Vec<JournalRow>> {
        not_built()
    }

    /// Plays a pile script: takes in, measures and acts as it says.
    pub fn play(&self, _script: &str) -> Result<Vec<String>> {
        not_built()
    }
}
