//! A board file looked at before it is used: what it holds, what smells, or everything that is wrong with it.

use catalogue::{Library, Profile, SameLook, Smell, check_profile, same_looks, unknown_devices};
use serde::Serialize;

use crate::words::listed;

/// What a board file holds, or what is wrong with it.
#[derive(Debug, Clone, Serialize)]
pub struct BoardChecked {
    /// Name of the file.
    pub file: String,
    /// Id of the board, if nothing is wrong.
    pub board: Option<String>,
    /// Number of parts.
    pub parts: usize,
    /// Number of functions.
    pub functions: usize,
    /// Number of checks.
    pub checks: usize,
    /// What is wrong, in the order of the file.
    pub problems: Vec<BoardProblem>,
    /// What is allowed but hardly meant.
    pub smells: Vec<BoardSmell>,
    /// Parts that look the same to every check, in sentences; the file means it so.
    pub alike: Vec<String>,
}

/// One thing that is wrong.
#[derive(Debug, Clone, Serialize)]
pub struct BoardProblem {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// What would be right.
    pub expected: String,
    /// What is there.
    pub found: String,
    /// What to do.
    pub hint: Option<String>,
}

/// Something that is allowed but hardly meant.
#[derive(Debug, Clone, Serialize)]
pub struct BoardSmell {
    /// The line that names what it is about, if the file names it.
    pub line: Option<usize>,
    /// What smells.
    pub what: String,
    /// What to do.
    pub hint: String,
}

/// Reads a board file against the built-in catalogue.
#[must_use]
pub fn check_board(file: &str, bytes: &[u8]) -> BoardChecked {
    check_against(file, bytes, Library::built_in())
}

/// Reads a board file against a catalogue.
pub(crate) fn check_against(file: &str, bytes: &[u8], library: &Library) -> BoardChecked {
    match catalogue::parse_profile_bytes(bytes, file, library) {
        Ok(profile) => {
            let text = String::from_utf8_lossy(bytes);
            checked(file, &profile, Some(&text), library)
        }
        Err(problems) => BoardChecked {
            file: file.to_owned(),
            board: None,
            parts: 0,
            functions: 0,
            checks: 0,
            problems: problems.into_iter().map(BoardProblem::from).collect(),
            smells: Vec::new(),
            alike: Vec::new(),
        },
    }
}

/// What is to be said of a board that holds, with its text where there is one.
pub(crate) fn checked(
    file: &str,
    profile: &Profile,
    text: Option<&str>,
    library: &Library,
) -> BoardChecked {
    let smells = check_profile(profile).into_iter();
    // A device of the person's own is none of the catalogue's business, a slip of the pen is.
    let slip = |smell: &Smell| !matches!(smell, Smell::UnknownDevice { near: None, .. });
    let smells = smells.chain(unknown_devices(profile, library).into_iter().filter(slip));
    let smell = |smell: Smell| BoardSmell {
        line: text.and_then(|text| line_of(text, smell.subject())),
        what: smell.to_string(),
        hint: smell.to_do().to_owned(),
    };
    let mut smells: Vec<BoardSmell> = smells.map(smell).collect();
    smells.sort_by_key(|smell| smell.line.unwrap_or(usize::MAX));
    BoardChecked {
        file: file.to_owned(),
        board: Some(profile.id.clone()),
        parts: profile.parts.len(),
        functions: profile.functions.len(),
        checks: profile.checks.len(),
        problems: Vec::new(),
        smells,
        alike: same_looks(profile).iter().map(alike_words).collect(),
    }
}

/// The line that gives a thing its name.
fn line_of(text: &str, name: &str) -> Option<usize> {
    let names = |line: &str| {
        let (key, value) = line.split_once('=')?;
        let value = value.split('#').next()?.trim().trim_matches(['"', '\'']);
        (matches!(key.trim(), "ref" | "id") && value == name).then_some(())
    };
    let line = text.lines().position(|line| names(line).is_some());
    line.map(|line| line + 1)
}

fn alike_words(same: &SameLook) -> String {
    let breaks: Vec<String> = same.breaks.iter().map(|name| format!("`{name}`")).collect();
    let (parts, breaks) = (listed(&same.parts, "and"), listed(&breaks, "and"));
    format!("{parts} break {breaks} alike.")
}

impl From<catalogue::Problem> for BoardProblem {
    fn from(problem: catalogue::Problem) -> Self {
        Self {
            line: problem.line,
            column: problem.column,
            expected: problem.expected,
            found: problem.found,
            hint: problem.hint,
        }
    }
}
