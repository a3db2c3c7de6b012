//! The only file that prints: answers go to standard output, everything else to standard error.
//!
//! A reader that has gone away is no failure: what is left unsaid then is dropped in silence.

use crate::sheet::{Paper, Phrase, Sheet, Voice, say};
use serde::Serialize;
use std::io::{self, IsTerminal as _, Write};

/// How answers are given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Form {
    /// Sentences.
    Text,
    /// One JSON value.
    Json,
}

/// What is wrong, and what to do about it.
#[derive(Debug, Clone)]
pub(crate) struct Problem {
    /// What is wrong: lower case, no final dot.
    pub(crate) message: String,
    /// What to do.
    pub(crate) hint: Option<String>,
    /// Which kind of error, as a word.
    pub(crate) kind: &'static str,
}

/// Prints answers and errors as the person asked for them.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Printer {
    /// Sentences or JSON.
    pub(crate) form: Form,
    /// No more than the answer.
    pub(crate) quiet: bool,
    paper: Paper,
    loud_paper: Paper,
}

/// The envelope of each JSON answer: its schema first, then the answer's own keys.
#[derive(Serialize)]
struct Envelope<'a, T> {
    schema: String,
    #[serde(flatten)]
    answer: &'a T,
}

impl Printer {
    /// Looks at the terminal, once.
    pub(crate) fn new(form: Form, quiet: bool, no_colour: bool) -> Printer {
        let plain =
            no_colour || std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let width = terminal_size::terminal_size().map_or(80, |(width, _)| usize::from(width.0));
        let paper = |terminal: bool| Paper {
            width: if terminal { width.clamp(20, 80) } else { 80 },
            colour: terminal && !plain,
        };
        let (paper, loud_paper) = (
            paper(io::stdout().is_terminal()),
            paper(io::stderr().is_terminal()),
        );
        Printer {
            form,
            quiet,
            paper,
            loud_paper,
        }
    }

    /// Answers are for people to read.
    pub(crate) fn is_text(&self) -> bool {
        self.form == Form::Text
    }

    /// Gives an answer: the sheet, or its view under the name of its schema.
    pub(crate) fn answer<T: Serialize>(
        &self,
        schema: &str,
        view: &T,
        sheet: impl FnOnce() -> Sheet,
    ) -> anyhow::Result<()> {
        match self.form {
            Form::Text => self.raw(&sheet().render(self.paper)),
            Form::Json => {
                let schema = format!("boardwright-{schema}-1");
                let text = serde_json::to_string_pretty(&Envelope {
                    schema,
                    answer: view,
                })?;
                self.raw(&format!("{text}\n"))
            }
        }
    }

    /// Writes text to standard output as it stands.
    pub(crate) fn raw(&self, text: &str) -> anyhow::Result<()> {
        let mut out = io::stdout().lock();
        forgive(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
    }

    /// Says something beside the answer, unless asked to be quiet.
    pub(crate) fn aside(&self, phrase: impl Into<Phrase>) {
        if self.quiet {
            return;
        }
        let mut sheet = Sheet::default();
        sheet.text(phrase);
        self.complain(&sheet.render(self.loud_paper));
    }

    /// Says what is wrong: `error: ...`, an empty line, `hint: ...`.
    pub(crate) fn problem(&self, problem: &Problem) {
        if self.form == Form::Json {
            let value = serde_json::json!({
                "schema": "boardwright-error-1", "kind": problem.kind,
                "message": problem.message, "hint": problem.hint,
            });
            return self.complain(&format!("{value:#}\n"));
        }
        let mut text = String::new();
        for (nth, line) in problem.message.lines().enumerate() {
            let mut sheet = Sheet::default();
            let lead = if nth == 0 {
                say(Voice::Bad, "error: ")
            } else {
                Phrase::default()
            };
            sheet.text(lead.say(Voice::Plain, line));
            text.push_str(&sheet.render(self.loud_paper));
        }
        if let Some(hint) = &problem.hint {
            let mut sheet = Sheet::default();
            sheet.text(say(Voice::Soft, "hint: ").say(Voice::Plain, hint.as_str()));
            text.push('\n');
            text.push_str(&sheet.render(self.loud_paper));
        }
        self.complain(&text);
    }

    /// Writes to standard error; nothing can be done when that fails.
    fn complain(&self, text: &str) {
        let mut err = io::stderr().lock();
        _ = err.write_all(text.as_bytes()).and_then(|()| err.flush());
    }
}

fn forgive(result: io::Result<()>) -> anyhow::Result<()> {
    match result {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}
