//! Runs other programs, shows what they say while they say it, and counts the tests they report.

use std::io::{BufRead, BufReader, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use anyhow::{Context, Result};

use crate::workspace::cargo;

/// Checks passed and failed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Tally {
    /// Checks that passed.
    pub(crate) passed: u64,
    /// Checks that failed.
    pub(crate) failed: u64,
}

impl Tally {
    /// One check.
    pub(crate) fn one(passed: bool) -> Tally {
        Tally {
            passed: u64::from(passed),
            failed: u64::from(!passed),
        }
    }
}

impl std::ops::AddAssign for Tally {
    fn add_assign(&mut self, other: Tally) {
        self.passed += other.passed;
        self.failed += other.failed;
    }
}

/// A cargo command in the root of the workspace.
pub(crate) fn cargo_in(root: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(cargo());
    command.args(arguments).current_dir(root);
    if std::env::var_os("CARGO_TERM_COLOR").is_none() {
        let colour = std::io::stderr().is_terminal();
        command.env("CARGO_TERM_COLOR", if colour { "always" } else { "never" });
    }
    command
}

/// Runs a command as one check.
pub(crate) fn check(command: &mut Command) -> Result<Tally> {
    announce(command);
    let status = command
        .status()
        .with_context(|| format!("`{}` did not start", shown(command)))?;
    Ok(Tally::one(status.success()))
}

/// Runs `cargo test`, shows its output line by line, and sums its `test result:` lines.
pub(crate) fn count_tests(command: &mut Command) -> Result<Tally> {
    announce(command);
    let mut child = command
        .stdout(Stdio::piped())
        .spawn()
        .with_context(|| format!("`{}` did not start", shown(command)))?;
    let mut tally = Tally::default();
    if let Some(output) = child.stdout.take() {
        let mut output = BufReader::new(output);
        let mut line = Vec::new();
        while output.read_until(b'\n', &mut line)? > 0 {
            let mut terminal = std::io::stdout().lock();
            terminal.write_all(&line)?;
            terminal.flush()?;
            tally += test_result(&String::from_utf8_lossy(&line)).unwrap_or_default();
            line.clear();
        }
    }
    let status = child.wait()?;
    if !status.success() && tally.failed == 0 {
        // it did not build, or a test program died before its last line
        tally.failed = 1;
    }
    Ok(tally)
}

/// Where a program is, looked up on the PATH.
pub(crate) fn find_program(name: &str) -> Option<PathBuf> {
    let file = format!("{name}{}", std::env::consts::EXE_SUFFIX);
    std::env::split_paths(&std::env::var_os("PATH")?)
        .map(|folder| folder.join(&file))
        .find(|path| path.is_file())
}

/// Says what is about to run.
pub(crate) fn announce(command: &Command) {
    println!("$ {}", shown(command));
}

/// A command as one would type it.
pub(crate) fn shown(command: &Command) -> String {
    let program = Path::new(command.get_program())
        .file_stem()
        .unwrap_or(command.get_program());
    std::iter::once(program)
        .chain(command.get_args())
        .map(|word| word.to_string_lossy())
        .collect::<Vec<_>>()
        .join(" ")
}

/// Reads `test result: ok. 5 passed; 0 failed; 0 ignored; ...`.
fn test_result(line: &str) -> Option<Tally> {
    let line = without_colour(line);
    let rest = line.trim_end().strip_prefix("test result: ")?;
    let (_verdict, counts) = rest.split_once(". ")?;
    let count = |word: &str| {
        counts.split("; ").find_map(|part| {
            let (number, name) = part.split_once(' ')?;
            (name == word).then(|| number.parse().ok())?
        })
    };
    Some(Tally {
        passed: count("passed")?,
        failed: count("failed")?,
    })
}

/// The line without the escape sequences that colour it.
fn without_colour(line: &str) -> String {
    let mut pieces = line.split('\u{1b}');
    let mut plain = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        plain.push_str(piece.split_once('m').map_or("", |(_colour, text)| text));
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(line: &str, expect: Option<(u64, u64)>) {
        let found = test_result(line).map(|tally| (tally.passed, tally.failed));
        assert_eq!(found, expect, "{line:?}");
    }

    #[test]
    fn test_result_lines() {
        check(
            "test result: ok. 5 passed; 0 failed; 0 ignored; 0 measured; 2 filtered out; finished in 0.01s\n",
            Some((5, 0)),
        );
        check(
            "test result: FAILED. 12 passed; 3 failed; 0 ignored; 0 measured; 0 filtered out; finished in 1.50s\r\n",
            Some((12, 3)),
        );
        check(
            "test result: \u{1b}[32mok\u{1b}[0m. 7 passed; 0 failed; 0 ignored",
            Some((7, 0)),
        );
        check("running 5 tests", None);
        check("", None);
        check("test result: ok", None);
        check("test tests::test_result ... ok", None);
        check("test result: ok. many passed; 0 failed", None);
        check("and test result: ok. 5 passed; 0 failed", None);
    }
}
