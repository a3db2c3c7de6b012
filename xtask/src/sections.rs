//! The sections of `cargo xtask test`: what each runs, in which order, and the summary.

use std::process::{Command, ExitCode};
use std::time::{Duration, Instant};

use anyhow::{Context, Result, bail};

use crate::lints;
use crate::shell::{Tally, cargo_in, check, count_tests};
use crate::tools::{self, MissingTool};
use crate::workspace::Workspace;

/// One part of the whole check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Section {
    /// The house style of `cargo fmt`.
    Format,
    /// Clippy, warnings denied.
    Clippy,
    /// Everything that the later sections run.
    Build,
    /// The rules of the repository itself.
    Lints,
    /// Unit, integration and doc tests.
    Unit,
    /// The built program in a private folder.
    EndToEnd,
    /// The pages in headless Chromium.
    Pages,
    /// Comparison with Python libraries and with a library of schematic symbols.
    External,
}

/// The crate whose integration tests run in sections of their own, and these tests.
const PROGRAM: &str = "boardwright";
const END_TO_END: &str = "cli";
const PAGES: &str = "pages";
const EXTERNAL: &str = "external";
const SYMBOLS: &str = "symbols";

/// A test of the cases that needs the Python libraries too.
const OPTIMA: (&str, &str) = ("cases", "optima");

impl Section {
    /// Every section, in the order of running.
    pub(crate) const ALL: [Section; 8] = [
        Section::Format,
        Section::Clippy,
        Section::Build,
        Section::Lints,
        Section::Unit,
        Section::EndToEnd,
        Section::Pages,
        Section::External,
    ];

    /// Reads `lints,unit`; the order of running stays that of [`Section::ALL`].
    pub(crate) fn parse_list(list: &str) -> Result<Vec<Section>> {
        let words: Vec<&str> = list.split(',').map(str::trim).collect();
        let names = Section::ALL.map(Section::name);
        if let Some(word) = words.iter().find(|word| !names.contains(word)) {
            bail!(
                "expected sections out of `{}`, found `{word}`",
                names.join(",")
            );
        }
        Ok(Section::ALL
            .into_iter()
            .filter(|section| words.contains(&section.name()))
            .collect())
    }

    fn name(self) -> &'static str {
        match self {
            Section::Format => "format",
            Section::Clippy => "clippy",
            Section::Build => "build",
            Section::Lints => "lints",
            Section::Unit => "unit",
            Section::EndToEnd => "end-to-end",
            Section::Pages => "pages",
            Section::External => "external",
        }
    }

    fn run(self, workspace: &Workspace) -> Result<Tally> {
        let cargo = |arguments: &[&str]| cargo_in(&workspace.root, arguments);
        match self {
            Section::Format => check(&mut cargo(&["fmt", "--all", "--", "--check"])),
            Section::Clippy => check(&mut cargo(&[
                "clippy",
                "--workspace",
                "--all-targets",
                "--",
                "-D",
                "warnings",
            ])),
            Section::Build => check(&mut cargo(&["test", "--workspace", "--no-run"])),
            Section::Lints => Ok(lints::run(workspace)),
            Section::Unit => unit_tests(workspace),
            Section::EndToEnd => count_tests(&mut integration_test(workspace, END_TO_END)?),
            Section::Pages => {
                let browser = tools::browser()?;
                count_tests(
                    integration_test(workspace, PAGES)?
                        .env("BOARDWRIGHT_CHROMIUM", browser.chromium)
                        .env("BOARDWRIGHT_CHROMEDRIVER", browser.chromedriver),
                )
            }
            Section::External => {
                let python = tools::python(workspace)?;
                let mut tally = Tally::default();
                for name in [EXTERNAL, OPTIMA.1] {
                    let mut test = integration_test(workspace, name)?;
                    tally += count_tests(test.env("BOARDWRIGHT_PYTHON", &python))?;
                }
                tally += count_tests(
                    integration_test(workspace, SYMBOLS)?
                        .env("BOARDWRIGHT_SYMBOLS", tools::symbols()?),
                )?;
                Ok(tally)
            }
        }
    }
}

/// Runs the sections and prints the summary.
pub(crate) fn run(sections: &[Section]) -> Result<ExitCode> {
    let workspace = Workspace::load()?;
    let mut total = Tally::default();
    let mut missing = None;
    let mut times = Vec::new();
    for &section in sections {
        println!("\n== {}", section.name());
        let start = Instant::now();
        let tally = section.run(&workspace).unwrap_or_else(|error| {
            println!("error: {error:#}");
            missing = error.downcast().ok().or(missing.take());
            Tally::one(false)
        });
        total += tally;
        times.push((section, start.elapsed(), tally));
        println!("-- {}", summary_line(section, start.elapsed(), tally));
        if section == Section::Build && tally.failed > 0 {
            println!("the later sections need the build and were not run");
            break;
        }
    }
    print_summary(&times, missing.as_ref());
    println!("{} passed, {} failed", total.passed, total.failed);
    Ok(match (missing, total.failed) {
        (Some(_), _) => ExitCode::from(2),
        (None, 0) => ExitCode::SUCCESS,
        (None, _) => ExitCode::FAILURE,
    })
}

/// All tests but those that have a section of their own.
///
/// Always the whole workspace, so that cargo picks the same features as in the build and builds nothing twice.
fn unit_tests(workspace: &Workspace) -> Result<Tally> {
    let mut command = cargo_in(
        &workspace.root,
        &["test", "--workspace", "--no-fail-fast", "--lib", "--bins"],
    );
    for (_folder, package) in workspace.members() {
        for test in &package.tests {
            let apart = package.name == PROGRAM
                && [END_TO_END, PAGES, EXTERNAL, SYMBOLS].contains(&&test[..])
                || OPTIMA == (&package.name[..], &test[..]);
            if !apart {
                command.args(["--test", test]);
            }
        }
    }
    let mut tally = count_tests(&mut command)?;
    tally += count_tests(&mut cargo_in(
        &workspace.root,
        &["test", "--workspace", "--no-fail-fast", "--doc"],
    ))?;
    Ok(tally)
}

/// One integration test of the program.
fn integration_test(workspace: &Workspace, name: &str) -> Result<Command> {
    let owners: Vec<&str> = workspace
        .members()
        .filter(|(_folder, package)| package.tests.iter().any(|test| test == name))
        .map(|(folder, _package)| folder)
        .collect();
    let (first, others) = owners.split_first().with_context(|| {
        format!("expected `crates/{PROGRAM}/tests/{name}.rs`, found no such test; add it")
    })?;
    if let Some(other) = others.first() {
        bail!("expected one test named `{name}`, found it in `{first}` and `{other}`; rename one");
    }
    Ok(cargo_in(
        &workspace.root,
        &["test", "--workspace", "--no-fail-fast", "--test", name],
    ))
}

fn print_summary(times: &[(Section, Duration, Tally)], missing: Option<&MissingTool>) {
    println!("\n== summary");
    for &(section, time, tally) in times {
        println!("   {}", summary_line(section, time, tally));
    }
    if let Some(tool) = missing {
        println!("{tool}");
    }
}

fn summary_line(section: Section, time: Duration, tally: Tally) -> String {
    format!(
        "{:<10} {:>7.1} s, {} of {} passed",
        section.name(),
        time.as_secs_f64(),
        tally.passed,
        tally.passed + tally.failed
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sections_by_name() {
        let check = |list: &str, expect: &[Section]| {
            assert_eq!(Section::parse_list(list).unwrap(), expect, "{list}");
        };
        check("lints", &[Section::Lints]);
        check("unit,lints", &[Section::Lints, Section::Unit]);
        check("end-to-end, pages", &[Section::EndToEnd, Section::Pages]);
        check(&Section::ALL.map(Section::name).join(","), &Section::ALL);
        for wrong in ["", "lint", "lints,", "unit external"] {
            let error = Section::parse_list(wrong).unwrap_err().to_string();
            assert!(error.contains("found `"), "{error}");
        }
    }
}
