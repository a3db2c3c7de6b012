//! The open workshop: reads the journal, writes to it, and hands the state to those who make the views.

use std::{
    path::{Path, PathBuf},
    sync::{Arc, Mutex, MutexGuard, PoisonError},
};

use jiff::{ToSpan, ZonedDateTime};
use journal::{Draft, Entry, Journal};

use crate::{
    Clock, Error, ErrorKind, OpenOptions,
    folder::Folder,
    pile::{Machine, Pile},
    reckon::{Boards, Cache, Reckoned, boards, both},
    views::{BoardChoice, Frame},
};

pub(crate) type Result<T> = std::result::Result<T, Error>;

/// How often a write is tried again when others write at the same moment.
const TRIES: usize = 1000;

/// A workshop folder, open. All methods may be called from several threads.
#[derive(Debug)]
pub struct Workshop {
    pub(crate) dir: PathBuf,
    inner: Mutex<Inner>,
}

/// What changes while the workshop is open.
#[derive(Debug)]
pub(crate) struct Inner {
    journal: Journal,
    who: String,
    clock: Clock,
    state: Arc<State>,
    cache: Cache,
    pub(crate) plans: crate::plan::Plans,
}

/// Folder and pile as they are now.
#[derive(Debug)]
pub(crate) struct State {
    pub(crate) folder: Arc<Folder>,
    /// Counts the changes of the folder's files and of the offers that hold.
    pub(crate) version: u64,
    pub(crate) pile: Pile,
}

impl State {
    /// Folder and pile, with the offers that both together make.
    fn of(folder: Arc<Folder>, version: u64, pile: Pile) -> State {
        let offers = crate::offers::holding(&folder, &pile);
        let (folder, version) = if offers == folder.offers {
            (folder, version)
        } else {
            (Arc::new(folder.with_offers(offers)), version + 1)
        };
        State {
            folder,
            version,
            pile,
        }
    }

    /// The machine that was typed, and no other.
    pub(crate) fn machine(&self, typed: &str) -> Result<&Machine> {
        let tags = self.tags();
        let tag = crate::entry::find_tag(typed, &tags).map_err(|problem| {
            let hint = if tags.is_empty() {
                "take a lot in first"
            } else {
                "see the bench plan for all tags"
            };
            Error::new(ErrorKind::NotFound, problem).hint(hint)
        })?;
        let found = self.pile.machine(&tag);
        found.ok_or_else(|| Error::new(ErrorKind::Internal, format!("{tag} is gone")))
    }

    /// All tags in order.
    pub(crate) fn tags(&self) -> Vec<String> {
        self.pile
            .machines
            .iter()
            .map(|machine| machine.tag.clone())
            .collect()
    }

    /// Tags of the machines on the bench, in order.
    pub(crate) fn bench_tags(&self) -> Vec<String> {
        self.pile
            .on_bench()
            .map(|machine| machine.tag.clone())
            .collect()
    }

    /// Last line and folder state.
    pub(crate) fn key(&self) -> (i64, u64) {
        (self.pile.last(), self.version)
    }

    /// The boards of the pile.
    pub(crate) fn boards(&self) -> Result<Boards> {
        boards(&self.pile, &self.folder)
    }
}

/// The journal's file.
const JOURNAL: &str = "journal.db";

impl Workshop {
    /// Opens the folder; makes it at first use.
    ///
    /// # Errors
    /// If the folder, its `workshop.toml` or its journal cannot be read or made.
    pub fn open(dir: &Path, options: OpenOptions) -> Result<Workshop> {
        Folder::make(dir)?;
        let (folder, (journal, lines)) = if dir.join(JOURNAL).exists() {
            let (lines, folder) = both(|| read_journal(dir), || Folder::read(dir));
            (folder?, lines?)
        } else {
            // no journal is begun in a folder that cannot be read
            (Folder::read(dir)?, read_journal(dir)?)
        };
        let pile = Pile::of(lines);
        let who = options.who.filter(|who| !who.trim().is_empty());
        let who = who
            .or_else(|| folder.settings.members.first().cloned())
            .unwrap_or_else(|| "me".to_string());
        let state = Arc::new(State::of(Arc::new(folder), 0, pile));
        let inner = Inner {
            journal,
            who,
            clock: options.clock,
            state,
            cache: Cache::default(),
            plans: crate::plan::Plans::default(),
        };
        Ok(Workshop {
            dir: dir.to_path_buf(),
            inner: Mutex::new(inner),
        })
    }

    /// What stands at the top right of each page.
    #[must_use]
    pub fn frame(&self) -> Frame {
        let inner = self.lock();
        let now = inner.now();
        let settings = &inner.state.folder.settings;
        Frame {
            workshop: settings.name.clone(),
            date: date(&now),
            time: time(&now),
            who: inner.who.clone(),
            currency: settings.currency.code().to_string(),
        }
    }

    /// Nothing is taken in yet.
    ///
    /// # Errors
    /// If the journal cannot be read.
    pub fn is_empty(&self) -> Result<bool> {
        Ok(self.fresh()?.state.pile.machines.is_empty())
    }

    /// Boards that machines can be taken in as.
    #[must_use]
    pub fn boards(&self) -> Vec<BoardChoice> {
        match self.fresh() {
            Ok(inner) => inner.state.folder.choices(),
            Err(_) => self.lock().state.folder.choices(),
        }
    }

    /// The workshop folder.
    pub(crate) fn dir(&self) -> &Path {
        &self.dir
    }

    /// Who works from here on, and when it is; for scripts with a fixed clock.
    pub(crate) fn turn(&self, who: Option<&str>, at: Option<ZonedDateTime>) {
        let mut inner = self.lock();
        if let Some(who) = who {
            inner.who = who.to_string();
        }
        if let Some(at) = at {
            inner.clock = Clock::Fixed(at);
        }
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The workshop with all that was written or changed since.
    pub(crate) fn fresh(&self) -> Result<MutexGuard<'_, Inner>> {
        let mut inner = self.lock();
        inner.refresh(&self.dir)?;
        Ok(inner)
    }
}

impl Inner {
    /// Folder and pile as they are now.
    pub(crate) fn state(&self) -> Arc<State> {
        Arc::clone(&self.state)
    }

    /// Who works.
    pub(crate) fn who(&self) -> &str {
        &self.who
    }

    /// The time.
    pub(crate) fn now(&self) -> ZonedDateTime {
        match &self.clock {
            Clock::System => ZonedDateTime::now(),
            // what another process wrote since is not later than now
            Clock::Fixed(at) => match self.state.pile.entries.last() {
                Some(last) if last.time > *at => last.time.clone(),
                _ => at.clone(),
            },
        }
    }

    fn refresh(&mut self, dir: &Path) -> Result<()> {
        if let Some(folder) = self.state.folder.fresh(dir)? {
            let (version, pile) = (self.state.version + 1, self.state.pile.clone());
            self.state = Arc::new(State::of(Arc::new(folder), version, pile));
        }
        self.reread()
    }

    /// Reads the lines that other processes wrote.
    fn reread(&mut self) -> Result<()> {
        let more = self.journal.after(self.state.pile.last()).map_err(lost)?;
        if !more.is_empty() {
            self.advance(more);
        }
        Ok(())
    }

    fn advance(&mut self, more: Vec<Entry>) {
        let State {
            folder,
            version,
            pile,
        } = &*self.state;
        self.state = Arc::new(State::of(Arc::clone(folder), *version, pile.with(more)));
    }

    /// Writes the lines that `build` makes of the state; builds them again when others were faster.
    pub(crate) fn write(
        &mut self,
        build: impl Fn(&State) -> Result<Vec<Draft>>,
    ) -> Result<Vec<Entry>> {
        for _ in 0..TRIES {
            let state = self.state();
            let drafts = build(&state)?;
            consistent(&state.pile, &drafts, &self.who, &self.now())?;
            match self
                .journal
                .append(state.pile.last(), &self.now(), &self.who, &drafts)
            {
                Ok(entries) => {
                    if let Clock::Fixed(at) = &mut self.clock {
                        *at = at.saturating_add(1.minute());
                    }
                    self.advance(entries.clone());
                    return Ok(entries);
                }
                Err(journal::Error::Moved) => self.reread()?,
                Err(error) => return Err(lost(error)),
            }
        }
        Err(lost(journal::Error::Moved))
    }

    /// What was reckoned for the present state.
    pub(crate) fn cache(&mut self) -> &mut Cache {
        self.cache.keep(self.state.key());
        &mut self.cache
    }

    /// Diagnoses the pile as it is and, for each of these, without the lines.
    pub(crate) fn reckon(&mut self, without: &[&[i64]]) -> Result<Vec<&Reckoned>> {
        let state = self.state();
        let boards = state.boards()?;
        self.cache.keep(state.key());
        for lines in without {
            self.cache.fill(&state.pile, &boards, lines)?;
        }
        let cache = &self.cache;
        let all = without.iter().filter_map(|lines| cache.at(lines));
        Ok(all.map(Arc::as_ref).collect())
    }

    /// The pile as it is, diagnosed.
    pub(crate) fn reckoned(&mut self) -> Result<Arc<Reckoned>> {
        self.reckon(&[&[]])?;
        let known = self.cache.at(&[]).cloned();
        known.ok_or_else(|| Error::new(ErrorKind::Internal, "nothing was reckoned"))
    }
}

/// The journal of a folder with all its lines.
fn read_journal(dir: &Path) -> Result<(Journal, Vec<Entry>)> {
    let journal = Journal::open(&dir.join(JOURNAL)).map_err(lost)?;
    let lines = journal.all().map_err(lost)?;
    Ok((journal, lines))
}

/// Refuses lines that contradict those before them.
fn consistent(pile: &Pile, drafts: &[Draft], who: &str, time: &ZonedDateTime) -> Result<()> {
    let entry = |(id, draft): (i64, &Draft)| Entry {
        id,
        batch: pile.last() + 1,
        time: time.clone(),
        who: who.to_string(),
        machine: draft.machine.clone(),
        epoch: draft.epoch,
        line: draft.line.clone(),
    };
    let then = pile.with((pile.last() + 1..).zip(drafts).map(entry));
    let new: Vec<_> = then
        .problems
        .iter()
        .filter(|problem| !pile.problems.contains(problem))
        .collect();
    let [first, ..] = new.as_slice() else {
        return Ok(());
    };
    let mut texts: Vec<&str> = Vec::new();
    for problem in &new {
        if !texts.contains(&problem.what.as_str()) {
            texts.push(&problem.what);
        }
    }
    let error = Error::new(ErrorKind::Refused, texts.join("\n"));
    if first.line <= pile.last() {
        return Err(error.hint(format!(
            "line {} builds on it; take that back first",
            first.line
        )));
    }
    Err(error.hint("nothing was written"))
}

/// What went wrong with the journal.
pub(crate) fn lost(error: journal::Error) -> Error {
    use journal::Error as J;
    let kind = match &error {
        J::Locked(_) | J::Moved => ErrorKind::Conflict,
        J::NoSuchLine(_) => ErrorKind::NotFound,
        J::NotAJournal(_)
        | J::Damaged(_)
        | J::TooNew { .. }
        | J::Unreadable { .. }
        | J::Io { .. } => ErrorKind::Io,
    };
    let hint = error.hint().map(str::to_string);
    Error {
        message: error.to_string(),
        hint,
        kind,
    }
}

/// `Thu 12 Nov 2026`.
pub(crate) fn date(at: &ZonedDateTime) -> String {
    at.strftime("%a %-d %b %Y").to_string()
}

/// `19:36`.
pub(crate) fn time(at: &ZonedDateTime) -> String {
    at.strftime("%H:%M").to_string()
}
