//! `bench catalogue`: how long a program that has just started takes to read the catalogue and to compile a profile.
//!
//! Each figure comes from a process of its own, so nothing is warm but the system's file cache.

use std::{
    hint::black_box,
    io::{self, Write},
    process::{Command, ExitCode},
    time::Instant,
};

use catalogue::Library;
use serde_json::{Value, json};

use super::{memory, verdict::Verdict, verdict::median};

/// Processes of which the median is taken.
const REPEATS: usize = 21;

/// Seconds that both together may take.
const LIMIT: f64 = 0.05;

/// What is compiled: the demo's board and every starter.
const DEMO: &str = include_str!("../../../../examples/ostrel/boards/ostrel-8-r2.toml");

/// Measures, prints, keeps every number.
pub(crate) fn run(words: &[&str]) -> io::Result<ExitCode> {
    if !words.is_empty() {
        return Err(io::Error::other(format!(
            "expected `bench catalogue` alone, found `{}` after it",
            words.join(" ")
        )));
    }
    let mut boards: Vec<&str> = catalogue::starter_ids().collect();
    boards.push("ostrel-8-r2");
    let mut out = io::stdout();
    writeln!(
        out,
        "{:<14} {:>18} {:>16} {:>10}",
        "board", "whole catalogue ms", "this board ms", "both ms"
    )?;
    let mut rows = Vec::new();
    let mut worst = Vec::new();
    for board in boards {
        let row = measure(board)?;
        let middle = |key: &str| median(&row[key]).unwrap_or(f64::NAN);
        let (all, one) = (middle("catalogue_seconds"), middle("profile_seconds"));
        writeln!(
            out,
            "{board:<14} {:>18.1} {:>16.1} {:>10.1}",
            1e3 * all,
            1e3 * one,
            1e3 * (all + one)
        )?;
        worst.push((all + one, board.to_owned()));
        rows.push(row);
    }
    let verdict = Verdict::worst(
        "seconds to read the catalogue and compile a profile",
        LIMIT,
        worst,
    );
    writeln!(out, "\n{verdict}")?;
    let record = json!({
        "unit": "seconds by the clock, each from a process of its own, in the order they ran",
        "machine": memory::machine(),
        "boards": rows,
    });
    let file = super::folder()?.join("catalogue.json");
    std::fs::write(&file, format!("{record:#}\n"))?;
    writeln!(out, "\nevery number: {}", file.display())?;
    Ok(match verdict.met {
        true => ExitCode::SUCCESS,
        false => ExitCode::FAILURE,
    })
}

fn measure(board: &str) -> io::Result<Value> {
    let (mut all, mut one) = (Vec::new(), Vec::new());
    for _ in 0..REPEATS {
        let program = std::env::current_exe()?;
        let child = Command::new(program)
            .args(["measure-catalogue", board])
            .output()?;
        let line: Value = serde_json::from_slice(&child.stdout).map_err(io::Error::other)?;
        all.push(line["catalogue"].clone());
        one.push(line["profile"].clone());
    }
    Ok(json!({ "board": board, "catalogue_seconds": all, "profile_seconds": one }))
}

/// One reading, in the process that calls it.
pub(crate) fn once(board: &str) -> io::Result<Value> {
    let begun = Instant::now();
    let library = Library::built_in();
    black_box(library.devices().count() + library.remedies().len() + catalogue::questions().len());
    let catalogue = begun.elapsed().as_secs_f64();
    let text = catalogue::starter_text(board).unwrap_or_else(|| DEMO.to_owned());
    let begun = Instant::now();
    let profile = catalogue::parse_profile(&text, board, library);
    let seconds = begun.elapsed().as_secs_f64();
    if let Err(problems) = &profile {
        let first = problems.first().map(ToString::to_string);
        return Err(io::Error::other(first.unwrap_or_default()));
    }
    Ok(json!({ "catalogue": catalogue, "profile": seconds }))
}
