//! Board files: read one and tell everything that is wrong with it.

use crate::Outcome;
use crate::printer::Printer;
use crate::problem::stop;
use crate::sheet::{Sheet, Voice, say};
use serde::Serialize;
use std::path::Path;
use workshop::ErrorKind;

/// What a board file holds, or what is wrong with it.
#[derive(Debug, Serialize)]
struct Checked {
    file: String,
    board: Option<String>,
    parts: usize,
    functions: usize,
    checks: usize,
    problems: Vec<Problem>,
}

#[derive(Debug, Serialize)]
struct Problem {
    line: usize,
    column: usize,
    expected: String,
    found: String,
    hint: Option<String>,
}

/// Reads a board file; problems are an answer, exit status 1.
pub(crate) fn check(file: &Path, printer: &Printer) -> anyhow::Result<Outcome> {
    let name = file.display().to_string();
    let bytes = std::fs::read(file).map_err(|error| {
        stop(
            ErrorKind::Io,
            format!("`{name}` cannot be read: {error}"),
            "name a board file, such as `boards/mine.toml`",
        )
    })?;
    let checked = look_at(name, &bytes);
    printer.answer("board-check", &checked, || sheet(&checked))?;
    Ok(if checked.problems.is_empty() {
        Outcome::Done
    } else {
        Outcome::No
    })
}

fn look_at(file: String, bytes: &[u8]) -> Checked {
    match catalogue::parse_profile_bytes(bytes, &file, catalogue::Library::built_in()) {
        Ok(profile) => Checked {
            board: Some(profile.id.clone()),
            parts: profile.parts.len(),
            functions: profile.functions.len(),
            checks: profile.checks.len(),
            problems: Vec::new(),
            file,
        },
        Err(problems) => {
            let problems = problems.into_iter().map(|p| Problem {
                line: p.line,
                column: p.column,
                expected: p.expected,
                found: p.found,
                hint: p.hint,
            });
            Checked {
                board: None,
                parts: 0,
                functions: 0,
                checks: 0,
                problems: problems.collect(),
                file,
            }
        }
    }
}

fn sheet(checked: &Checked) -> Sheet {
    let mut sheet = Sheet::default();
    if let Some(board) = &checked.board {
        sheet.heading(format!("Board {board} holds."));
        sheet.text(format!(
            "{} parts, {} functions, {} checks.",
            checked.parts, checked.functions, checked.checks
        ));
        return sheet;
    }
    sheet.heading(match checked.problems.len() {
        1 => format!("One problem in {}.", checked.file),
        many => format!("{many} problems in {}.", checked.file),
    });
    for problem in &checked.problems {
        sheet.gap();
        let place = format!("Line {}, column {}: ", problem.line, problem.column);
        sheet.text(say(Voice::Strong, place).say(
            Voice::Plain,
            format!("expected {}, found {}.", problem.expected, problem.found),
        ));
        sheet.text(say(
            Voice::Soft,
            problem.hint.as_deref().unwrap_or_default(),
        ));
    }
    sheet
}
