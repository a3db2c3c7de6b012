//! A board's own file in the workshop folder: found, read, and written whole or not at all.

use std::{
    fs,
    io::Write as _,
    path::{Path, PathBuf},
};

use catalogue::Problem;

use crate::{Error, ErrorKind, folder::Folder, words::quoted};

/// A board's file and its text.
pub(crate) struct OwnBoard {
    /// Where it lies.
    path: PathBuf,
    /// As a person says it: `boards/mine.toml`.
    pub(crate) name: String,
    pub(crate) text: String,
}

impl OwnBoard {
    /// The file of a board of the workshop, by the board's id or the file's name.
    pub(crate) fn find(dir: &Path, folder: &Folder, typed: &str) -> Result<OwnBoard, Error> {
        let typed = typed.trim();
        let id = typed
            .strip_prefix("boards/")
            .unwrap_or(typed)
            .trim_end_matches(".toml");
        let Some(path) = folder.file_of(dir, id) else {
            if folder.is_starter(id) {
                let message = format!(
                    "the board {} is a starter, which stays as it is",
                    quoted(id)
                );
                let hint = "begin a board of your own in the folder `boards`, and name that";
                return Err(Error::new(ErrorKind::Refused, message).hint(hint));
            }
            folder.board(id)?;
            let message = format!(
                "the board {} has no file in the folder `boards`",
                quoted(id)
            );
            return Err(Error::new(ErrorKind::NotFound, message));
        };
        let (name, bytes) = folder.read_board(dir, &path)?;
        let text = String::from_utf8(bytes).map_err(|_| {
            let message = format!("{name} cannot be read\nexpected UTF-8 text");
            Error::new(ErrorKind::Usage, message).hint("save it as UTF-8")
        })?;
        Ok(OwnBoard { path, name, text })
    }

    /// Keeps a copy beside the file; gives the copy's name.
    pub(crate) fn keep(&self, stamp: &str) -> Result<String, Error> {
        let ending = format!("before-{stamp}");
        let name = self.name.replace(".toml", &format!(".{ending}"));
        replace(&self.path.with_extension(ending), &name, &self.text)?;
        Ok(name)
    }

    /// Where it lies.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// Puts another text in place of the old one; a reader sees one or the other.
    pub(crate) fn write(&self, text: &str) -> Result<(), Error> {
        replace(&self.path, &self.name, text)
    }
}

/// Puts a text in place of a file; a reader sees the old one or the new one.
pub(crate) fn replace(path: &Path, name: &str, text: &str) -> Result<(), Error> {
    let new = path.with_extension("new");
    let written = fs::File::create(&new).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()
    });
    written
        .and_then(|()| fs::rename(&new, path))
        .map_err(|error| {
            // What was begun is of no use; that it may stay behind is no further harm.
            _ = fs::remove_file(&new);
            Error::new(ErrorKind::Io, format!("cannot write `{name}`: {error}"))
        })
}

/// A file that cannot be understood, with all its problems.
pub(crate) fn refused(problems: &[Problem], hint: &str) -> Error {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    Error::new(ErrorKind::Usage, lines.join("\n")).hint(format!("nothing was written; {hint}"))
}
