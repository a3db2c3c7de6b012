//! Board files: read one and tell everything that is wrong with it.

use crate::Outcome;
use crate::printer::Form;
use crate::printer::Printer;
use crate::problem::stop;
use crate::sheet::Row;
use crate::sheet::{Sheet, Voice, say};
use serde::Serialize;
use std::collections::BTreeMap;
use std::io::{self, BufRead as _, IsTerminal as _};
use std::path::Path;
use workshop::{BoardChecked, BoardQuestion, BoardWritten, ErrorKind};

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
