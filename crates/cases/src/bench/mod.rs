//! `bench diagnosis`: the program and a general library on the same networks in the same run, and the demo; every number kept.

mod epochs;
mod job_cards;
pub(crate) mod knowledge;
mod library;
mod measure;
mod memory;
mod networks;
pub(crate) mod planning;
mod report;
mod rounds;
mod verdict;

use std::{
    fs, io,
    io::Write,
    path::{Path, PathBuf},
    process::{Command, ExitCode},
};

use serde_json::{Map, Value, json};

use self::verdict::Verdict;

pub(crate) use self::measure::measure;

/// Runs of which the median is taken.
const REPEATS: usize = 9;

/// Everything that is measured, in the order of running: add what else has a limit here.
const SECTIONS: [(&str, Measure); 4] = [
    ("networks", networks::run),
    ("epochs", epochs::run),
    ("job_cards", job_cards::run),
    ("rounds", rounds::run),
];

/// Measures one section and prints its table.
type Measure = fn(&Plan, &mut dyn Write) -> io::Result<Section>;

/// What one section has measured.
struct Section {
    /// Every number.
    record: Value,
    /// Its limits.
    verdicts: Vec<Verdict>,
}

/// What the command line asks for.
struct Plan {
    repeats: usize,
    /// Networks.
    files: Vec<PathBuf>,
    /// One section alone; the networks where files are named.
    only: Option<&'static str>,
}

impl Plan {
    fn read(words: &[&str]) -> io::Result<Plan> {
        let (only, words) = match words {
            ["--only", name, rest @ ..] => (Some(section(name)?), rest),
            words => (None, words),
        };
        let (repeats, files) = match words {
            ["--repeats", number, files @ ..] => {
                let number = number.parse().ok().filter(|&number| number > 0);
                let wrong = || io::Error::other("expected `--repeats` with a number of 1 or more");
                (number.ok_or_else(wrong)?, files)
            }
            files => (REPEATS, files),
        };
        Ok(Plan {
            repeats,
            only: only.or((!files.is_empty()).then_some("networks")),
            files: match files {
                [] => own_networks()?,
                files => files.iter().map(PathBuf::from).collect(),
            },
        })
    }
}

/// A section by its name.
fn section(name: &str) -> io::Result<&'static str> {
    let known = SECTIONS.map(|(known, _)| known);
    known
        .into_iter()
        .find(|known| *known == name)
        .ok_or_else(|| {
            let known = known.join("`, `");
            io::Error::other(format!(
                "expected one of `{known}` after `--only`, found `{name}`"
            ))
        })
}

/// The networks of this repository, by name, smaller ones first.
fn own_networks() -> io::Result<Vec<PathBuf>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut all = Vec::new();
    for folder in ["../diagnosis/tests/data/networks", "data/large"] {
        let mut files = Vec::new();
        for entry in fs::read_dir(here.join(folder))? {
            let path = entry?.path();
            if path.extension().is_some_and(|ending| ending == "json") {
                files.push(path);
            }
        }
        files.sort();
        all.extend(files);
    }
    Ok(all)
}

/// Measures, prints the tables, keeps the raw numbers.
pub(crate) fn run(words: &[&str]) -> io::Result<ExitCode> {
    let plan = Plan::read(words)?;
    let mut out = io::stdout();
    let mut records = Map::new();
    let mut verdicts = Vec::new();
    let wanted = |name: &str| plan.only.is_none_or(|only| only == name);
    for (name, measure) in SECTIONS.into_iter().filter(|(name, _)| wanted(name)) {
        let section = measure(&plan, &mut out)?;
        writeln!(out)?;
        records.insert(name.to_owned(), section.record);
        verdicts.extend(section.verdicts);
    }
    for verdict in &verdicts {
        writeln!(out, "{verdict}")?;
    }
    let kept = keep(&plan, records)?;
    writeln!(out, "\nevery number: {}", kept.display())?;
    Ok(match verdicts.iter().all(|verdict| verdict.met) {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// Where raw numbers are kept: below the target folder that this program was built into.
fn folder() -> io::Result<PathBuf> {
    let program = std::env::current_exe()?;
    let target = program.ancestors().nth(2).unwrap_or(Path::new("."));
    let folder = target.join("bench");
    fs::create_dir_all(&folder)?;
    Ok(folder)
}

/// What an example of one of the crates prints, built for speed.
fn example(package: &str, name: &str, words: &[&str]) -> io::Result<Value> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let manifest = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../Cargo.toml");
    let output = Command::new(cargo)
        .args(["run", "--quiet", "--release", "--package", package])
        .args(["--example", name, "--manifest-path"])
        .arg(manifest)
        .arg("--")
        .args(words)
        .output()?;
    if !output.status.success() {
        let message = String::from_utf8_lossy(&output.stderr);
        return Err(io::Error::other(format!(
            "the example `{name}` was not measured: {}",
            message.trim()
        )));
    }
    serde_json::from_slice(&output.stdout).map_err(io::Error::other)
}

/// Writes the raw numbers below the target folder that this program was built into.
fn keep(plan: &Plan, records: Map<String, Value>) -> io::Result<PathBuf> {
    let file = folder()?.join("diagnosis.json");
    let record = json!({
        "unit": "seconds and bytes; each list holds the repeats in the order they ran",
        "repeats": plan.repeats,
        "machine": memory::machine(),
        "sections": records,
    });
    fs::write(&file, format!("{record:#}\n"))?;
    Ok(file)
}
