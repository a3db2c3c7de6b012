//! `solve`, `bench` and `replay`: the program of `crates/cases`, built for speed and given the same words.
//!
//! It is run, not linked, so that the chores stay quick to build.

use std::ffi::OsString;
use std::process::{Command, ExitCode};

use anyhow::{Context, Result};

use crate::shell::shown;
use crate::tools;
use crate::workspace::{Workspace, cargo};

/// Replays documented repairs on starter profiles.
pub(crate) fn replay(arguments: &[String]) -> Result<ExitCode> {
    run(&mut command(&Workspace::load()?, arguments))
}

/// Answers on standard output, nothing else there.
pub(crate) fn solve(arguments: &[String]) -> Result<ExitCode> {
    run(&mut command(&Workspace::load()?, arguments))
}

/// Measures against the library, which is installed first.
pub(crate) fn bench(arguments: &[String]) -> Result<ExitCode> {
    let workspace = Workspace::load()?;
    let mut command = command(&workspace, arguments);
    let asked_for_help = arguments.iter().any(|word| word == "--help");
    let needs_library = arguments.get(1).is_none_or(|what| what != "catalogue");
    if needs_library && !asked_for_help {
        command.env("BOARDWRIGHT_PYTHON", tools::python(&workspace)?);
    }
    run(&mut command)
}

/// In the folder where the user stands: the paths are his.
fn command(workspace: &Workspace, arguments: &[String]) -> Command {
    let mut command = Command::new(cargo());
    let manifest: OsString = workspace.root.join("Cargo.toml").into();
    command
        .args(["run", "--quiet", "--release", "--package", "cases"])
        .args(["--manifest-path".into(), manifest, "--".into()])
        .args(arguments);
    command
}

fn run(command: &mut Command) -> Result<ExitCode> {
    let status = command
        .status()
        .with_context(|| format!("`{}` did not start", shown(command)))?;
    let code = status.code().and_then(|code| u8::try_from(code).ok());
    Ok(ExitCode::from(code.unwrap_or(2)))
}
