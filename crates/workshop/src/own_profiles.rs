//! Board profiles of one's own: begun from the answers to a few questions, and taken to pieces later.

use std::{collections::BTreeMap, fs, io::Write as _, path::PathBuf};

use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    pile::Pile,
    words::{counted, listed, percent, quoted},
    workshop::Result,
};

/// A board to begin.
#[derive(Debug, Clone, Default)]
pub struct NewBoard {
    /// What it is called: `Ostrel 8`.
    pub title: String,
    /// Answers, by question.
    pub answers: BTreeMap<String, String>,
}

/// A question with its possible answers.
#[derive(Debug, Clone, Serialize)]
pub struct BoardQuestion {
    /// The word for it: `cpu`.
    pub id: String,
    /// The question.
    pub ask: String,
    /// What to look at.
    pub look: String,
    /// Possible answers, the usual one first.
    pub choices: Vec<BoardAnswer>,
}

/// A possible answer.
#[derive(Debug, Clone, Serialize)]
pub struct BoardAnswer {
    /// The word for it: `z80`.
    pub id: String,
    /// In words.
    pub title: String,
    /// What is seen then.
    pub example: String,
}

/// A board file that was written, or would be.
#[derive(Debug, Clone, Serialize)]
pub struct BoardWritten {
    /// `Board ostrel-8: 13 blocks, 28 checks.`
    pub heading: String,
    /// The board's id.
    pub board: String,
    /// The file, under the workshop folder.
    pub file: String,
    /// What there is to say of it, sentence by sentence.
    pub said: Vec<String>,
    /// The whole text of the file.
    pub text: String,
    /// It was written.
    pub written: bool,
}

/// The questions asked before a profile is begun.
#[must_use]
pub fn board_questions() -> Vec<BoardQuestion> {
    let answer = |choice: &catalogue::Choice| BoardAnswer {
        id: choice.id.clone(),
        title: choice.title.clone(),
        example: choice.example.clone(),
    };
    let question = |question: &catalogue::Question| BoardQuestion {
        id: question.id.clone(),
        ask: question.ask.clone(),
        look: question.look.clone(),
        choices: question.choices.iter().map(answer).collect(),
    };
    catalogue::questions().iter().map(question).collect()
}

impl Workshop {
    /// Begins a board profile in the folder `boards`; with `dry_run` it only says what it would be.
    ///
    /// # Errors
    /// If a board of this name is there, or an answer is none.
    pub fn new_board(&self, new: &NewBoard, dry_run: bool) -> Result<BoardWritten> {
        let title = new.title.trim();
        let id = id_of(title);
        if id.is_empty() {
            return Err(Error::new(
                ErrorKind::Usage,
                format!(
                    "expected a name such as `Ostrel 8`, found {}",
                    quoted(title)
                ),
            ));
        }
        let inner = self.fresh()?;
        if inner
            .state()
            .folder
            .choices()
            .iter()
            .any(|board| board.id == id)
        {
            return Err(Error::new(
                ErrorKind::Refused,
                format!("there is a board {} already", quoted(&id)),
            )
            .hint("give this one another name"));
        }
        let text = catalogue::new_board(&id, title, &new.answers).map_err(|wrong| {
            Error::new(ErrorKind::Usage, wrong.join("\n")).hint("nothing was written")
        })?;
        let file = format!("boards/{id}.toml");
        let library = &inner.state().folder.library;
        let profile = catalogue::parse_profile(&text, &file, library).map_err(|problems| {
            let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
            Error::new(ErrorKind::Usage, lines.join("\n"))
        })?;
        if !dry_run {
            let path = self.dir.join(&file);
            let made = fs::OpenOptions::new()
                .write(true)
                .create_new(true)
                .open(&path);
            made.and_then(|mut file| file.write_all(text.as_bytes()))
                .map_err(|error| {
                    Error::new(ErrorKind::Io, format!("cannot write `{file}`: {error}"))
                })?;
        }
        let first: Vec<&str> = profile
            .checks
            .iter()
            .take(4)
            .map(|check| check.title.as_str())
            .collect();
        Ok(BoardWritten {
            heading: format!(
                "Board {id}: {} blocks, {} functions, {} checks, ready to use.",
                profile.parts.len(),
                profile.functions.len(),
                profile.checks.len()
            ),
            said: vec![
                format!("First to look at: {}.", first.join(", ")),
                format!("Take machines in with it: take-in \"3 from the attic, 30\" --board {id}"),
                format!(
                    "When you know a block's chips: board split {id} video \"U21 6845; U22-U25 74ls166\""
                ),
            ],
            board: id,
            file,
            text,
            written: !dry_run,
        })
    }

    /// Takes a part or the only part of a block to pieces; with `dry_run` it only says what would change.
    ///
    /// # Errors
    /// If the board is not one's own, the block not there, or the list cannot be understood.
    pub fn split_board(
        &self,
        board: &str,
        whole: &str,
        list: &str,
        dry_run: bool,
    ) -> Result<BoardWritten> {
        let inner = self.fresh()?;
        let state = inner.state();
        if state.folder.is_starter(board) {
            return Err(Error::new(
                ErrorKind::Refused,
                format!("{} is a starter that comes with the program", quoted(board)),
            )
            .hint(
                "begin a board of your own with `board new`, and take the machines in with that",
            ));
        }
        let (path, file) = self.board_path(board, &state.folder)?;
        let text = fs::read_to_string(&path)
            .map_err(|error| Error::new(ErrorKind::Io, format!("cannot read `{file}`: {error}")))?;
        let library = &state.folder.library;
        let split =
            catalogue::split_board(&text, &file, whole, list, library).map_err(|wrong| {
                Error::new(ErrorKind::Usage, wrong.join("\n")).hint("nothing was written")
            })?;
        let said = said(&split, &state.pile, board);
        if !dry_run {
            let new = path.with_extension("toml.new");
            fs::write(&new, split.text.as_bytes())
                .and_then(|()| fs::rename(&new, &path))
                .map_err(|error| {
                    Error::new(ErrorKind::Io, format!("cannot write `{file}`: {error}"))
                })?;
        }
        Ok(BoardWritten {
            heading: format!("{} is {} now.", split.whole, listed(&split.pieces, "and")),
            board: split.after.id.clone(),
            file,
            said,
            text: split.text,
            written: !dry_run,
        })
    }

    /// The file of a board of one's own, and how it is called.
    fn board_path(&self, board: &str, folder: &crate::folder::Folder) -> Result<(PathBuf, String)> {
        let known = folder.board(board)?;
        let usual = format!("boards/{}.toml", known.id);
        let entries = fs::read_dir(self.dir.join("boards"))
            .map_err(|error| Error::new(ErrorKind::Io, format!("cannot read `boards`: {error}")))?;
        for entry in entries.flatten() {
            let name = format!("boards/{}", entry.file_name().to_string_lossy());
            let is_toml = entry
                .path()
                .extension()
                .is_some_and(|ending| ending == "toml");
            if !is_toml {
                continue;
            }
            let bytes = fs::read(entry.path()).unwrap_or_default();
            let read = catalogue::parse_profile_bytes(&bytes, &name, &folder.library);
            if read.is_ok_and(|profile| profile.id == known.id) {
                return Ok((entry.path(), name));
            }
        }
        Err(Error::new(
            ErrorKind::NotFound,
            format!(
                "expected the file of board {}, found none such as `{usual}`",
                quoted(board)
            ),
        ))
    }
}

/// A name as an id: `Ostrel 8` is `ostrel-8`.
fn id_of(title: &str) -> String {
    let mut id = String::new();
    for c in title.chars().flat_map(char::to_lowercase) {
        if c.is_alphanumeric() {
            id.push(c);
        } else if !id.is_empty() && !id.ends_with('-') {
            id.push('-');
        }
    }
    id.trim_end_matches('-').to_owned()
}

/// What stays and what changes.
fn said(split: &catalogue::Split, pile: &Pile, board: &str) -> Vec<String> {
    let sum = |profile: &catalogue::Profile, parts: &[String]| -> f64 {
        let parts = parts.iter().filter_map(|part| profile.part(part));
        let good: f64 = parts.map(good).product();
        1.0 - good
    };
    let before = sum(&split.before, &split.before.now(&split.whole));
    let after = sum(&split.after, &split.pieces);
    let (before, after) = (percent(before), percent(after));
    let mut said = vec![if before == after {
        format!("The chance that something of it is bad stays at {after} before any finding.")
    } else {
        format!(
            "The chance that something of it is bad is {after} before any finding; it was {before}."
        )
    }];
    let most = split.pieces.iter().filter_map(|piece| {
        let part = split.after.part(piece)?;
        Some((1.0 - good(part), piece))
    });
    let mut most: Vec<_> = most.collect();
    most.sort_by(|one, other| other.0.total_cmp(&one.0));
    let shares: Vec<String> = most
        .iter()
        .take(5)
        .map(|(chance, piece)| format!("{piece} {}", percent(*chance)))
        .collect();
    said.push(format!("By piece: {}.", shares.join(", ")));
    let machines: Vec<&str> = pile
        .machines
        .iter()
        .filter(|machine| machine.board == board)
        .map(|machine| machine.tag.as_str())
        .collect();
    if machines.is_empty() {
        return said;
    }
    let mine = |entry: &&journal::Entry| {
        entry
            .machine
            .as_deref()
            .is_some_and(|tag| machines.contains(&tag))
    };
    let findings = pile
        .holding()
        .filter(mine)
        .filter(|entry| matches!(entry.line, journal::Line::Finding { .. }))
        .count();
    said.push(format!(
        "{} on {} {} their meaning; acts on {} count as acts on all of its pieces.",
        counted(findings, "finding", "findings"),
        counted(machines.len(), "machine", "machines"),
        if findings == 1 { "keeps" } else { "keep" },
        split.whole
    ));
    for entry in pile.holding().filter(mine) {
        if let journal::Line::Settled {
            truth: journal::Truth::Mode { part, mode },
        } = &entry.line
            && *part == split.whole
        {
            let tag = entry.machine.as_deref().unwrap_or_default();
            said.push(format!(
                "Line {} settled {part}.{mode} on {tag}: which piece it was is not in it; write `settle {tag} PIECE.{mode}`.",
                entry.id
            ));
        }
    }
    said
}

/// The chance that neither chip nor place is bad, before events.
fn good(part: &catalogue::Part) -> f64 {
    let side = |site| -> f64 {
        let modes = part.modes.iter().filter(|mode| mode.site == site);
        1.0 - modes.map(|mode| mode.chance).sum::<f64>()
    };
    side(catalogue::Site::Chip) * side(catalogue::Site::Place)
}
