//! A board file looked at before it is used: what it holds, or everything that is wrong with it.

use serde::Serialize;

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

/// Reads a board file against the built-in catalogue.
#[must_use]
pub fn check_board(file: &str, bytes: &[u8]) -> BoardChecked {
    let file_name = file.to_owned();
    match catalogue::parse_profile_bytes(bytes, file, catalogue::Library::built_in()) {
        Ok(profile) => BoardChecked {
            file: file_name,
            board: Some(profile.id),
            parts: profile.parts.len(),
            functions: profile.functions.len(),
            checks: profile.checks.len(),
            problems: Vec::new(),
        },
        Err(problems) => BoardChecked {
            file: file_name,
            board: None,
            parts: 0,
            functions: 0,
            checks: 0,
            problems: problems.into_iter().map(BoardProblem::from).collect(),
        },
    }
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
