//! Boardwright on the command line: parses the line, calls the workshop, prints the answer.

mod args;
mod boards;
mod demo;
mod drawer;
mod pages;
mod printer;
mod problem;
mod rehearse;
mod schema;
mod sheet;
mod text;
mod verbs;

use printer::{Form, Printer};
use std::process::ExitCode;

/// The system's allocator gives large tables back at once and fetches them anew; reckoning takes and gives them all the time.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// How a verb ended, when nothing went wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// Done.
    Done,
    /// Understood and answered; the answer is a plain no.
    No,
}

fn main() -> ExitCode {
    let line = match args::read(std::env::args_os()) {
        Ok(line) => line,
        Err(error) => return unreadable(&error),
    };
    let form = if line.global.json {
        Form::Json
    } else {
        Form::Text
    };
    let printer = Printer::new(form, line.global.quiet, line.global.no_colour);
    match verbs::run(line, &printer) {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::No) => ExitCode::from(1),
        Err(error) => {
            printer.problem(&problem::from_error(&error));
            ExitCode::from(2)
        }
    }
}

/// Help and version are answers; all else that stops the parser is an error in the line.
fn unreadable(error: &clap::Error) -> ExitCode {
    use clap::error::ErrorKind::{DisplayHelp, DisplayVersion};
    let asked = std::env::args_os().any(|word| word == "--json");
    let printer = Printer::new(if asked { Form::Json } else { Form::Text }, false, false);
    if matches!(error.kind(), DisplayHelp | DisplayVersion) {
        return match printer.raw(&error.render().to_string()) {
            Ok(()) => ExitCode::SUCCESS,
            Err(_) => ExitCode::from(2),
        };
    }
    printer.problem(&problem::from_line(error));
    ExitCode::from(2)
}
