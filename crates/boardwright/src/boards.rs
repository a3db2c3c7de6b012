//! Board files: read one and tell everything that is wrong with it.

use crate::Outcome;
use crate::printer::Form;
use crate::printer::Printer;
use crate::problem::stop;
use crate::sheet::{Row, Sheet, Voice, say};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io::{self, BufRead as _, IsTerminal as _, Read as _};
use std::path::Path;
use workshop::{BoardChecked, BoardQuestion, BoardWritten, ErrorKind, Revision};

/// The name and the bytes of a list; `-` is standard input.
pub(crate) fn list(file: &Path) -> anyhow::Result<(String, Vec<u8>)> {
    let mut bytes = Vec::new();
    let (name, read) = if file == Path::new("-") {
        let stdin = std::io::stdin().lock().read_to_end(&mut bytes);
        ("standard input".to_owned(), stdin.map(|_| ()))
    } else {
        let read = std::fs::read(file).map(|read| bytes = read);
        (file.display().to_string(), read)
    };
    read.map_err(|error| {
        let message = format!("`{name}` cannot be read: {error}");
        stop(
            ErrorKind::Io,
            message,
            "nothing was written; name a file, or `-` for what is typed",
        )
    })?;
    Ok((name, bytes))
}

/// A board by its id, or a file that was read.
pub(crate) enum Named {
    Board(String),
    File(String, Vec<u8>),
}

impl Named {
    pub(crate) fn as_ref(&self) -> Revision<'_> {
        match self {
            Named::Board(id) => Revision::Board(id),
            Named::File(name, bytes) => Revision::File(name, bytes),
        }
    }
}

/// What was typed as a revision: a file if there is one, else a board's id.
pub(crate) fn revision(typed: &str) -> anyhow::Result<Named> {
    let path = Path::new(typed);
    if path.is_file() {
        let (name, bytes) = list(path)?;
        return Ok(Named::File(name, bytes));
    }
    Ok(Named::Board(typed.to_owned()))
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
    let checked = workshop::check_board(&name, &bytes);
    printer.answer("board-check", &checked, || sheet(&checked))?;
    Ok(if checked.problems.is_empty() {
        Outcome::Done
    } else {
        Outcome::No
    })
}

fn sheet(checked: &BoardChecked) -> Sheet {
    let mut sheet = Sheet::default();
    if let Some(board) = &checked.board {
        sheet.heading(format!("Board {board} holds."));
        sheet.text(format!(
            "{} parts, {} functions, {} checks.",
            checked.parts, checked.functions, checked.checks
        ));
        smells(checked, &mut sheet);
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

/// The questions, for the JSON answer an object.
#[derive(Debug, Serialize)]
pub(crate) struct Questions {
    pub(crate) questions: Vec<BoardQuestion>,
}

/// `cpu=z80` as question and answer.
pub(crate) fn answers(typed: &[String]) -> anyhow::Result<BTreeMap<String, String>> {
    let pair = |typed: &String| {
        let pair = typed.split_once('=');
        pair.map(|(question, answer)| (question.trim().to_owned(), answer.trim().to_lowercase()))
            .ok_or_else(|| {
                stop(
                    ErrorKind::Usage,
                    format!("expected an answer such as `cpu=z80`, found `{typed}`"),
                    "`board new --questions` prints what can be answered",
                )
            })
    };
    typed.iter().map(pair).collect()
}

/// Asks what is not answered yet, if somebody sits at the terminal.
pub(crate) fn ask(
    mut answers: BTreeMap<String, String>,
    usual: bool,
    printer: &Printer,
) -> anyhow::Result<BTreeMap<String, String>> {
    if usual || printer.quiet || printer.form == Form::Json || !io::stdin().is_terminal() {
        return Ok(answers);
    }
    for question in workshop::board_questions() {
        if answers.contains_key(&question.id) {
            continue;
        }
        printer.aside(say(Voice::Strong, question.ask.as_str()));
        printer.aside(say(Voice::Soft, question.look.as_str()));
        for choice in &question.choices {
            printer.aside(format!(
                "  {}: {} ({})",
                choice.id, choice.title, choice.example
            ));
        }
        loop {
            printer.aside("One of these words; nothing for the usual one.");
            let mut line = String::new();
            if io::stdin().lock().read_line(&mut line)? == 0 {
                return Ok(answers);
            }
            let word = line.trim().to_lowercase();
            if word.is_empty() {
                break;
            }
            if question.choices.iter().any(|choice| choice.id == word) {
                answers.insert(question.id.clone(), word);
                break;
            }
        }
    }
    Ok(answers)
}

/// The questions with what can be answered.
pub(crate) fn questions(view: &Questions) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading("What is asked before a board profile is begun.");
    for question in &view.questions {
        sheet.gap();
        sheet.label(format!("{}: {}", question.id, question.ask));
        sheet.text(say(Voice::Soft, question.look.as_str()));
        for choice in &question.choices {
            let row = Row::new(choice.id.as_str(), choice.title.as_str());
            sheet.row(row.under(say(Voice::Soft, choice.example.as_str())));
        }
    }
    sheet
}

/// A board file that was written, or would be.
pub(crate) fn written(view: &BoardWritten) -> Sheet {
    let mut sheet = Sheet::default();
    sheet.heading(&view.heading);
    for sentence in &view.said {
        sheet.text(sentence.as_str());
    }
    if view.written {
        sheet.text(say(Voice::Soft, format!("Written to {}.", view.file)));
    } else {
        sheet.text(say(Voice::Doubt, "Nothing was written."));
        for line in view.text.lines() {
            sheet.text(line);
        }
    }
    sheet
}

/// What smells, and what the file means to look alike.
fn smells(checked: &BoardChecked, sheet: &mut Sheet) {
    if checked.smells.is_empty() {
        sheet.text(
            "Nothing smells: every function is tested, and every check can change a decision.",
        );
    } else {
        sheet.label("Allowed, but hardly meant");
    }
    for smell in &checked.smells {
        let place = smell
            .line
            .map_or_else(String::new, |line| format!("line {line}"));
        let row = Row::new(say(Voice::Doubt, place), sentence(&smell.what));
        sheet.row(row.under(say(Voice::Soft, sentence(&smell.hint))));
    }
    if !checked.alike.is_empty() {
        sheet.label("Told apart by no check, only by a swap, a reseat or a new part");
    }
    for alike in &checked.alike {
        sheet.row(Row::new("", alike.as_str()));
    }
}

/// With a large letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    format!("{first}{}.", letters.as_str())
}
