//! `bench planning`: plans and parcels by this program and by a general solver, on the same models in the same run.

use std::{
    fs,
    io::{self, Write},
    path::Path,
    process::{Command, ExitCode},
    time::Duration,
};

use cases::{Draw, Pile, made_order, made_pile, read_pile};
use planning::Filler;
use serde_json::{Value, json};

use super::{memory, verdict::Verdict, verdict::median};

/// Longest time for one model, here and for the general solver, by the clock: long enough for a busy machine.
const LONGEST: Duration = Duration::from_secs(180);

/// The general solver may stop at this relative gap.
const GAP: &str = "1e-9";

/// Runs of which the median is taken, and from how many seconds on one run is enough.
const REPEATS: usize = 5;
const LONG: f64 = 2.0;

/// What is measured.
enum Model {
    Plan(Pile),
    Order(purchasing::Request),
}

struct Job {
    name: String,
    model: Model,
    /// Seconds that must be kept, of processor time.
    limit: f64,
    /// The relative gap that must be reached within the limit; 0 is the proof.
    gap: f64,
}

/// Measures, prints the table, keeps every number.
pub(crate) fn run(words: &[&str]) -> io::Result<ExitCode> {
    if !words.is_empty() {
        return Err(io::Error::other(format!(
            "expected `bench planning` alone, found `{}` after it",
            words.join(" ")
        )));
    }
    let python = std::env::var_os("BOARDWRIGHT_PYTHON").ok_or_else(|| {
        io::Error::other(
            "expected BOARDWRIGHT_PYTHON to name a Python with the libraries of xtask/requirements.txt, found none; run `cargo xtask bench planning`",
        )
    })?;
    let folder = super::folder()?;
    let mut out = io::stdout();
    let version = library(&python, &["version"])?;
    writeln!(
        out,
        "{:<22} {:>7} {:>6} | {:>9} {:>9} {:>6} | proof\n{:<22} {:>7} {:>6} | {:>9} {:>9} {:>6} |",
        "model", "columns", "rows", "s", "library", "times", "", "", "", "CPU", "CPU", ""
    )?;
    let mut rows = Vec::new();
    for job in jobs()? {
        let row = measure(&job, &python, &folder)?;
        writeln!(out, "{}", line(&row))?;
        rows.push((job, row));
    }
    let verdicts = verdicts(&rows);
    writeln!(out)?;
    for verdict in &verdicts {
        writeln!(out, "{verdict}")?;
    }
    let record = json!({
        "unit": "seconds of processor time; each list holds the repeats in the order they ran",
        "machine": memory::machine(),
        "library": version[0],
        "models": rows.iter().map(|(_, row)| row.clone()).collect::<Value>(),
    });
    let file = folder.join("planning.json");
    fs::write(&file, format!("{record:#}\n"))?;
    writeln!(out, "\nevery number: {}", file.display())?;
    Ok(match verdicts.iter().all(|verdict| verdict.met) {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

/// Every model, small ones first.
fn jobs() -> io::Result<Vec<Job>> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("../planning/tests/data");
    let mut jobs = Vec::new();
    for (name, limit) in [
        ("veldra-6-111", 2.0),
        ("veldra-8-12", 2.0),
        ("veldra-12-113", 2.0),
        ("veldra-24-15", 2.0),
        ("veldra-16-14", 60.0),
        ("veldra-32-16", 60.0),
    ] {
        let file = here.join(format!("{name}.json"));
        let pile = read_pile(&file).map_err(io::Error::other)?;
        jobs.push(Job {
            name: name.to_owned(),
            model: Model::Plan(pile),
            limit,
            gap: 0.0,
        });
    }
    let made = [
        (64, 1, false),
        (64, 2, false),
        (120, 1, false),
        (120, 2, false),
        (120, 1, true),
    ];
    for (machines, seed, mixed) in made {
        let kind = if mixed { "mixed" } else { "known" };
        let name = format!("made-{machines}-{seed}-{kind}");
        jobs.push(Job {
            model: Model::Plan(Pile {
                name: name.clone(),
                instance: made_pile(Draw {
                    machines,
                    seed,
                    faults: if mixed { 3 } else { 5 },
                    mixed,
                }),
                proven: Value::Null,
            }),
            name,
            limit: 60.0,
            gap: if machines > 64 { 0.005 } else { 0.0 },
        });
    }
    for (lines, vendors, limit) in [(100, 8, 0.05), (300, 15, 2.0)] {
        for seed in 1..=4 {
            jobs.push(Job {
                name: format!("order-{lines}x{vendors}-{seed}"),
                model: Model::Order(made_order(lines, vendors, seed)),
                limit,
                gap: 0.0,
            });
        }
    }
    Ok(jobs)
}

fn measure(job: &Job, python: &std::ffi::OsString, folder: &Path) -> io::Result<Value> {
    let mut own = Vec::new();
    let mut answer = Value::Null;
    while own.len() < REPEATS {
        let before = memory::processor_seconds();
        let started = std::time::Instant::now();
        answer = solve(&job.model)?;
        let wall = started.elapsed().as_secs_f64();
        // where the system does not tell processor time, the clock has to do
        let used = before
            .zip(memory::processor_seconds())
            .map_or(wall, |(before, after)| after - before);
        own.push(used);
        if used > LONG {
            break;
        }
    }
    let models = folder.join("planning");
    fs::create_dir_all(&models)?;
    let file = models.join(format!("{}.mps", job.name));
    let (text, constant) = mps(&job.model)?;
    fs::write(&file, text)?;
    let theirs = by_library(python, &file)?;
    Ok(json!({
        "model": job.name,
        "columns": theirs["columns"],
        "rows": theirs["rows"],
        "seconds": own,
        "objective": answer["objective"],
        "bound": answer["bound"],
        "proven": answer["proven"],
        "library": theirs,
        "library_constant": constant,
    }))
}

fn solve(model: &Model) -> io::Result<Value> {
    match model {
        Model::Plan(pile) => {
            let answer = cases::answer_pile(pile, Some(LONGEST)).map_err(io::Error::other)?;
            Ok(
                json!({"objective": answer["value"], "bound": answer["bound"], "proven": answer["proven"]}),
            )
        }
        Model::Order(request) => {
            let settings = purchasing::Settings {
                time_limit: Some(LONGEST),
                ..purchasing::Settings::default()
            };
            let parcels = purchasing::cheapest(request, &settings).map_err(io::Error::other)?;
            let cost = parcels.landed.to_minor() + parcels.hassle.to_minor();
            Ok(
                json!({"objective": cost, "bound": parcels.bound.to_minor(), "proven": parcels.proven}),
            )
        }
    }
}

/// The model as the general solver reads it, and what belongs to its objective besides.
fn mps(model: &Model) -> io::Result<(String, f64)> {
    match model {
        Model::Plan(pile) => {
            let settings = planning::Settings::default();
            planning::to_mps(&pile.instance, &settings, Filler::Amount).map_err(io::Error::other)
        }
        Model::Order(request) => {
            let text = purchasing::to_mps(request).map_err(io::Error::other)?;
            Ok((text, 0.0))
        }
    }
}

fn by_library(python: &std::ffi::OsString, file: &Path) -> io::Result<Value> {
    let longest = LONGEST.as_secs().to_string();
    let name = file.display().to_string();
    let mut lines = library(python, &[&longest, GAP, &name])?;
    let mut answer = lines.swap_remove(0);
    let mut seconds = vec![answer["seconds"].as_f64().unwrap_or(0.0)];
    if seconds[0] < LONG {
        let words: Vec<&str> = [&longest[..], GAP]
            .into_iter()
            .chain(std::iter::repeat_n(&name[..], REPEATS - 1))
            .collect();
        let more = library(python, &words)?;
        seconds.extend(more.iter().filter_map(|line| line["seconds"].as_f64()));
    }
    answer["seconds"] = json!(seconds);
    Ok(answer)
}

/// One line of JSON for each file.
fn library(python: &std::ffi::OsString, words: &[&str]) -> io::Result<Vec<Value>> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/bench/planning.py");
    let output = Command::new(python).arg(script).args(words).output()?;
    if !output.status.success() {
        let message = String::from_utf8_lossy(&output.stderr);
        return Err(io::Error::other(format!(
            "the library's Python ended with {}: {}",
            output.status,
            message.trim()
        )));
    }
    let text = String::from_utf8_lossy(&output.stdout);
    // the library greets on the same stream
    text.lines()
        .filter(|line| line.starts_with('{'))
        .map(|line| serde_json::from_str(line).map_err(io::Error::other))
        .collect()
}

fn line(row: &Value) -> String {
    let own = median(&row["seconds"]).unwrap_or(0.0);
    let theirs = median(&row["library"]["seconds"]).unwrap_or(0.0);
    let proof = match (row["proven"].as_bool(), row["library"]["proven"].as_bool()) {
        (Some(true), Some(true)) => "both",
        (Some(true), _) => "own alone",
        (_, Some(true)) => "library alone",
        _ => "none",
    };
    format!(
        "{:<22} {:>7} {:>6} | {own:>9.3} {theirs:>9.3} {:>6.1} | {proof}",
        row["model"].as_str().unwrap_or_default(),
        row["columns"].to_string(),
        row["rows"].to_string(),
        theirs / own.max(1e-6),
    )
}

fn verdicts(rows: &[(Job, Value)]) -> Vec<Verdict> {
    let share = |kind: fn(&str) -> bool| {
        rows.iter()
            .filter(|(job, _)| kind(&job.name))
            .map(|(job, row)| {
                let used = median(&row["seconds"]).unwrap_or(f64::INFINITY);
                (used / job.limit, job.name.clone())
            })
            .collect()
    };
    let gaps = rows.iter().map(|(job, row)| {
        let (value, bound) = (row["objective"].as_f64(), row["bound"].as_f64());
        let gap = value.zip(bound).map_or(f64::INFINITY, |(value, bound)| {
            (bound - value).abs() / value.abs().max(1.0)
        });
        ((gap - job.gap).max(0.0), job.name.clone())
    });
    let apart = rows
        .iter()
        .filter(|(_, row)| row["proven"] == json!(true) && row["library"]["proven"] == json!(true));
    let apart = apart.map(|(job, row)| (apart_by(job, row), job.name.clone()));
    let files = rows
        .iter()
        .filter(|(job, _)| job.name.starts_with("veldra"));
    let against = files.map(|(_, row)| {
        median(&row["seconds"]).unwrap_or(f64::INFINITY)
            / median(&row["library"]["seconds"]).unwrap_or(1.0)
    });
    let middle = median(&against.collect::<Vec<f64>>().into()).unwrap_or(0.0);
    vec![
        Verdict::worst(
            "share of the time allowed, files",
            1.0,
            share(|name| name.starts_with("veldra")),
        ),
        Verdict::worst(
            "share of the time allowed, large piles",
            1.0,
            share(|name| name.starts_with("made")),
        ),
        Verdict::worst(
            "share of the time allowed, parcels",
            1.0,
            share(|name| name.starts_with("order")),
        ),
        Verdict::worst("gap beyond what is allowed", 1e-9, gaps.collect()),
        Verdict::worst("optima apart, relative", 1e-6, apart.collect()),
        Verdict::worst(
            "median of the files against the library's",
            1.0,
            vec![(middle, "all files".to_owned())],
        ),
    ]
}

/// The two optima, relative; the library's is in hundreds of coins where it is a plan.
fn apart_by(job: &Job, row: &Value) -> f64 {
    let own = row["objective"].as_f64().unwrap_or(f64::NAN);
    let theirs = row["library"]["objective"].as_f64().unwrap_or(f64::NAN);
    match job.model {
        Model::Plan(_) => {
            let theirs = theirs + row["library_constant"].as_f64().unwrap_or(0.0) / 100.0;
            (own - theirs).abs() / own.abs().max(1.0)
        }
        // less than half a coin of it decides between equals
        Model::Order(_) => (own - theirs.floor()).abs() / own.abs().max(1.0),
    }
}
