//! The chores of this repository: `cargo xtask test`, `lints`, `solve`, `bench`, `replay`, `help`.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "this program talks to the developer's terminal and to nothing else"
)]

mod cases;
mod lints;
mod sections;
mod shell;
mod tools;
mod workspace;

use std::process::ExitCode;

use anyhow::{Result, bail};

use crate::sections::Section;

const HELP: &str = "\
The whole check of this repository, from any folder in it.

usage: cargo xtask test [--only SECTION,SECTION...]
       cargo xtask lints
       cargo xtask solve case FOLDER...
       cargo xtask solve network FILE...
       cargo xtask solve plan [--seconds N] FILE...
       cargo xtask solve mps FILE...
       cargo xtask solve pile MACHINES SEED known|mixed
       cargo xtask bench diagnosis [--repeats N] [FILE...]
       cargo xtask bench planning
       cargo xtask bench catalogue
       cargo xtask replay [FILE]
       cargo xtask help

sections, in this order:
  format      cargo fmt --check
  clippy      cargo clippy, warnings denied
  build       everything the later sections run
  lints       the rules of the repository itself
  unit        unit, integration and doc tests
  end-to-end  the built program in a private folder
  pages       the pages in headless Chromium (installed by apt when missing)
  external    comparison with Python libraries (installed into target/venv)

solve prints the answers to cases, fault networks and piles as JSON, bench measures how fast,
replay compares starter profiles with documented repairs; more by `cargo xtask solve --help`.

examples: cargo xtask test
          cargo xtask test --only lints,unit
          cargo xtask solve case crates/diagnosis/tests/data/rules/r01-position

BOARDWRIGHT_CHROMIUM, BOARDWRIGHT_CHROMEDRIVER and BOARDWRIGHT_PYTHON, where set, say which programs to use.
Exit code: 0 all passed, 1 something failed or a figure misses its limit, 2 a tool is missing or the command was not understood.";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match run(&arguments) {
        Ok(code) => code,
        Err(error) => {
            eprintln!("error: {error:#}");
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &[String]) -> Result<ExitCode> {
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        ["test"] => sections::run(&Section::ALL),
        ["test", "--only", list] => sections::run(&Section::parse_list(list)?),
        ["lints"] => sections::run(&[Section::Lints]),
        ["solve", ..] => cases::solve(arguments),
        ["bench", ..] => cases::bench(arguments),
        ["replay", ..] => cases::replay(arguments),
        [] | ["help" | "-h" | "--help"] => {
            println!("{HELP}");
            Ok(ExitCode::SUCCESS)
        }
        _ => bail!(
            "expected `test`, `lints`, `solve`, `bench`, `replay` or `help`, found `{}`; see `cargo xtask help`",
            words.join(" ")
        ),
    }
}
