//! The SQLite file.

use std::{
    path::{Path, PathBuf},
    time::{Duration, Instant},
};

use jiff::ZonedDateTime;
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};

use crate::{Entry, Error, Line};

/// `BwJo` in ASCII: marks the file as a journal of this program.
const APPLICATION_ID: i64 = 0x4277_4a6f;

/// Each script lifts the file from the version of its index to the next.
const MIGRATIONS: &[&str] = &["
    CREATE TABLE line (
        id      INTEGER PRIMARY KEY AUTOINCREMENT,
        batch   INTEGER NOT NULL,
        time    TEXT NOT NULL,
        who     TEXT NOT NULL,
        machine TEXT,
        epoch   INTEGER NOT NULL,
        kind    TEXT NOT NULL,
        content TEXT NOT NULL CHECK (json_valid(content))
    ) STRICT;
    CREATE TRIGGER line_is_never_changed BEFORE UPDATE ON line
        BEGIN SELECT RAISE(ABORT, 'a journal line is never changed'); END;
    CREATE TRIGGER line_is_never_removed BEFORE DELETE ON line
        BEGIN SELECT RAISE(ABORT, 'a journal line is never removed'); END;
    CREATE TRIGGER line_is_never_replaced BEFORE INSERT ON line
        WHEN EXISTS (SELECT 1 FROM line WHERE id = NEW.id)
        BEGIN SELECT RAISE(ABORT, 'a journal line is never replaced'); END;
"];

/// How long a write waits for its turn.
const PATIENCE: Duration = Duration::from_secs(20);

/// A line about to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// Which machine, if it concerns one.
    pub machine: Option<String>,
    /// Acts on that machine before it.
    pub epoch: u32,
    /// What it says.
    pub line: Line,
}

/// An open journal.
#[derive(Debug)]
pub struct Journal {
    db: Connection,
    path: PathBuf,
}

impl Journal {
    /// Opens the journal; makes the file if there is none.
    ///
    /// # Errors
    /// If the file is no journal, damaged, of a later release, held by another program, or cannot be reached.
    pub fn open(path: &Path) -> Result<Journal, Error> {
        Journal::open_patiently(path, PATIENCE)
    }

    /// The same, waiting at most this long for another program that holds the file.
    ///
    /// # Errors
    /// As [`Journal::open`].
    pub fn open_patiently(path: &Path, patience: Duration) -> Result<Journal, Error> {
        let mut db = Connection::open(path).map_err(|error| Error::from_sqlite(path, &error))?;
        let until = Instant::now() + patience;
        loop {
            match prepare(&mut db, path, patience) {
                // Turning the log on does not wait for its turn by itself.
                Err(Error::Locked(_)) if Instant::now() < until => {
                    std::thread::sleep(Duration::from_millis(5));
                }
                result => break result?,
            }
        }
        Ok(Journal {
            db,
            path: path.to_path_buf(),
        })
    }

    /// Writes these lines together, after the line `seen`: if others were added since, nothing is written.
    ///
    /// # Errors
    /// [`Error::Moved`] if lines were added after `seen`; [`Error::NoSuchLine`] if one takes back a line that is not there.
    pub fn append(
        &mut self,
        seen: i64,
        time: &ZonedDateTime,
        who: &str,
        drafts: &[Draft],
    ) -> Result<Vec<Entry>, Error> {
        let path = self.path.clone();
        let lost = |error: rusqlite::Error| Error::from_sqlite(&path, &error);
        let write = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(lost)?;
        let last = last_id(&write).map_err(lost)?;
        if last != seen {
            return Err(Error::Moved);
        }
        let mut entries = Vec::with_capacity(drafts.len());
        for (id, draft) in (last + 1..).zip(drafts) {
            if let Line::TakenBack { line } = draft.line
                && !(1..=last).contains(&line)
            {
                return Err(Error::NoSuchLine(line));
            }
            let entry = Entry {
                id,
                batch: last + 1,
                time: time.clone(),
                who: who.to_string(),
                machine: draft.machine.clone(),
                epoch: draft.epoch,
                line: draft.line.clone(),
            };
            insert(&write, &entry).map_err(lost)?;
            entries.push(entry);
        }
        write.commit().map_err(lost)?;
        Ok(entries)
    }

    /// Number of the last line, 0 if there is none.
    ///
    /// # Errors
    /// If the file cannot be read.
    pub fn last(&self) -> Result<i64, Error> {
        last_id(&self.db).map_err(|error| Error::from_sqlite(&self.path, &error))
    }

    /// The lines after this one, oldest first.
    ///
    /// # Errors
    /// If the file or one of its lines cannot be read.
    pub fn after(&self, id: i64) -> Result<Vec<Entry>, Error> {
        let lost = |error: rusqlite::Error| Error::from_sqlite(&self.path, &error);
        let mut statement = self
            .db
            .prepare_cached(
                "SELECT id, batch, time, who, machine, epoch, kind, content FROM line WHERE id > ?1 ORDER BY id",
            )
            .map_err(lost)?;
        let rows = statement.query_map([id], Row::read).map_err(lost)?;
        rows.map(|row| row.map_err(lost)?.entry()).collect()
    }

    /// All lines, oldest first.
    ///
    /// # Errors
    /// If the file or one of its lines cannot be read.
    pub fn all(&self) -> Result<Vec<Entry>, Error> {
        self.after(0)
    }
}

fn prepare(db: &mut Connection, path: &Path, patience: Duration) -> Result<(), Error> {
    let lost = |error: rusqlite::Error| Error::from_sqlite(path, &error);
    db.busy_timeout(patience).map_err(lost)?;
    // one look at the file: another program may be making it just now
    let look = db.transaction().map_err(lost)?;
    let version = check(&look, path)?;
    look.finish().map_err(lost)?;
    let mode: String = db
        .query_row("PRAGMA journal_mode", [], |row| row.get(0))
        .map_err(lost)?;
    if mode != "wal" {
        db.query_row("PRAGMA journal_mode = WAL", [], |_| Ok(()))
            .map_err(lost)?;
    }
    db.execute_batch("PRAGMA synchronous = FULL; PRAGMA recursive_triggers = ON;")
        .map_err(lost)?;
    if version < known_version() {
        migrate(db, path)
    } else {
        Ok(())
    }
}

/// The version of the file, after making sure that it is a journal or nothing yet; changes nothing.
fn check(db: &Connection, path: &Path) -> Result<i64, Error> {
    let lost = |error: rusqlite::Error| Error::from_sqlite(path, &error);
    let application = pragma(db, "application_id").map_err(lost)?;
    let found = pragma(db, "user_version").map_err(lost)?;
    let tables: i64 = db
        .query_row("SELECT count(*) FROM sqlite_schema", [], |row| row.get(0))
        .map_err(lost)?;
    let fresh = application == 0 && found == 0 && tables == 0;
    if !fresh && application != APPLICATION_ID {
        return Err(Error::NotAJournal(path.to_path_buf()));
    }
    if found > known_version() {
        return Err(Error::TooNew {
            path: path.to_path_buf(),
            found,
            known: known_version(),
        });
    }
    Ok(found)
}

fn migrate(db: &mut Connection, path: &Path) -> Result<(), Error> {
    let lost = |error: rusqlite::Error| Error::from_sqlite(path, &error);
    let write = db
        .transaction_with_behavior(TransactionBehavior::Immediate)
        .map_err(lost)?;
    let found = check(&write, path)?;
    for script in MIGRATIONS
        .iter()
        .skip(usize::try_from(found).unwrap_or_default())
    {
        write.execute_batch(script).map_err(lost)?;
    }
    write
        .pragma_update(None, "application_id", APPLICATION_ID)
        .map_err(lost)?;
    write
        .pragma_update(None, "user_version", known_version())
        .map_err(lost)?;
    write.commit().map_err(lost)
}

fn known_version() -> i64 {
    i64::try_from(MIGRATIONS.len()).unwrap_or(i64::MAX)
}

fn pragma(db: &Connection, name: &str) -> rusqlite::Result<i64> {
    db.pragma_query_value(None, name, |row| row.get(0))
}

fn last_id(db: &Connection) -> rusqlite::Result<i64> {
    let id = db.query_row("SELECT max(id) FROM line", [], |row| {
        row.get::<_, Option<i64>>(0)
    });
    Ok(id.optional()?.flatten().unwrap_or(0))
}

fn insert(write: &Transaction<'_>, entry: &Entry) -> rusqlite::Result<()> {
    let (kind, content) = split(&entry.line)
        .map_err(|error| rusqlite::Error::ToSqlConversionFailure(error.into()))?;
    let mut statement = write.prepare_cached(
        "INSERT INTO line (id, batch, time, who, machine, epoch, kind, content) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?;
    statement.execute(params![
        entry.id,
        entry.batch,
        entry.time.to_string(),
        entry.who,
        entry.machine,
        entry.epoch,
        kind,
        content
    ])?;
    Ok(())
}

/// The kind has a column of its own.
fn split(line: &Line) -> Result<(String, String), serde_json::Error> {
    let mut value = serde_json::to_value(line)?;
    let kind = value
        .as_object_mut()
        .and_then(|object| object.shift_remove("kind"));
    let kind = kind
        .and_then(|kind| kind.as_str().map(str::to_string))
        .unwrap_or_default();
    Ok((kind, value.to_string()))
}

struct Row {
    id: i64,
    batch: i64,
    time: String,
    who: String,
    machine: Option<String>,
    epoch: u32,
    kind: String,
    content: String,
}

impl Row {
    fn read(row: &rusqlite::Row<'_>) -> rusqlite::Result<Row> {
        Ok(Row {
            id: row.get(0)?,
            batch: row.get(1)?,
            time: row.get(2)?,
            who: row.get(3)?,
            machine: row.get(4)?,
            epoch: row.get(5)?,
            kind: row.get(6)?,
            content: row.get(7)?,
        })
    }

    fn entry(self) -> Result<Entry, Error> {
        let unreadable = |why: String| Error::Unreadable { line: self.id, why };
        let time = self
            .time
            .parse()
            .map_err(|error: jiff::Error| unreadable(error.to_string()))?;
        let mut value: serde_json::Value =
            serde_json::from_str(&self.content).map_err(|error| unreadable(error.to_string()))?;
        let object = value
            .as_object_mut()
            .ok_or_else(|| unreadable("expected an object".to_string()))?;
        object.insert("kind".to_string(), self.kind.into());
        let line = serde_json::from_value(value).map_err(|error| unreadable(error.to_string()))?;
        Ok(Entry {
            id: self.id,
            batch: self.batch,
            time,
            who: self.who,
            machine: self.machine,
            epoch: self.epoch,
            line,
        })
    }
}
