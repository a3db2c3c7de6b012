//! Answers cases and networks as JSON and measures how fast; run by `cargo xtask solve` and `cargo xtask bench`.

mod bench;
mod replays;

use std::{
    io::{self, Write},
    path::Path,
    process::ExitCode,
    time::Duration,
};

use serde_json::json;

/// Seconds for the proof of a plan, unless told otherwise.
const LONGEST: u64 = 60;

const HELP: &str = "\
Answers cases with known answers, and measures how fast.

usage: cargo xtask solve case FOLDER...
       cargo xtask solve network FILE...
       cargo xtask solve plan [--seconds N] FILE...
       cargo xtask solve mps FILE...
       cargo xtask solve pile MACHINES SEED known|mixed
       cargo xtask bench diagnosis [--only SECTION] [--repeats N] [FILE...]
       cargo xtask bench planning
       cargo xtask bench catalogue
       cargo xtask replay [FILE]

solve case: each FOLDER has `board.toml` and `case.json`. Prints one JSON object a line, in the order of the folders, with the
fields of the case's `expected`.

solve network: each FILE has the schema `perf-bn-1`. Prints one JSON array a line, in the order of the files, with one object
for each set of findings: `index`, `evidence_prob`, `posteriors`, `entropy_bits`, `eig` (for each observation not yet made
`p_fail` and `gain_bits`; empty when all are made) and `seconds`: from the findings to all posteriors, one thread, nothing
compiled before; reading the file and `eig` are not in it.

solve plan: each FILE is a pile to plan. Prints one JSON object a line, in the order of the files: `value`, `money` (coins),
`minutes`, `working`, `plan`, `bound` (no plan is worth more), `proven` and `seconds`, all sums valued again from the rules of
worth by code that shares nothing with the search. `--seconds` says when to give up proving (60 if not given).

solve mps: prints the model of each FILE in free MPS format, for other solvers. What is added to its objective for the worth in
coins, and by what it is multiplied, is in its first line.

solve pile: prints a made-up pile of so many machines in the format that `solve plan` reads; the same SEED gives the same pile
everywhere. `known`: every fault is certain; `mixed`: every second machine has two or three possible states.

For what cannot be read or answered the line is {\"error\": \"...\"}, the message is also on standard error, and the exit code is 2.

bench diagnosis: measures the networks of this repository (SECTION `networks`; or the FILEs alone), made-up boards over six epochs
(`epochs`), the demo's job cards (`job_cards`) and a round of thirty machines (`rounds`), medians of 9 unless `--repeats` says
otherwise. The baseline is the lazy propagation of pyAgrum on one thread in the same run, the better of two
encodings (full tables, ORs split into chains); what would take it more than a minute or 4 GiB is skipped and said so, and
`~` marks a time reckoned from one inference. Prints tables and whether each figure keeps its limit; every single number is
kept in `bench/diagnosis.json` in the target folder. Peak memory, each in a process of its own: ours on a network is that of
its allocations; that of the library and of `epochs` is read from /proc, on Linux only.

bench planning: measures the piles with a known optimum, made-up piles of 64 and 120 machines and made-up orders of 100 lines at
8 vendors and 300 at 15, in processor time. The baseline is HiGHS on one thread on the same models in the same run, which are
left in `bench/planning` of the target folder, with every number in `bench/planning.json`.

bench catalogue: how long a program that has just started takes to read the whole catalogue and to compile each starter and the
demo's board, medians of 21 processes, with every number in `bench/catalogue.json` of the target folder.

replay: tells starter profiles what was seen in documented repairs (FILE, else those of this repository) and prints for each
repair the findings, the rank of the confirmed blocks and the log score: by base rates alone, by the starter before any
finding, and after all of them; then all together, with intervals by drawing the repairs anew. Observations become findings
by the rules in `crates/cases/data/repairs/mapping.json`, which see nothing of the causes. Exit code 1 if the log score is
not better than that of base rates alone.

Exit code: 0 done, 1 a figure misses its limit, 2 something could not be done.";

/// The product's.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match run(&arguments) {
        Ok(code) => code,
        // whoever reads has seen enough
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            let _ = writeln!(io::stderr(), "error: {error}");
            ExitCode::from(2)
        }
    }
}

fn run(arguments: &[String]) -> io::Result<ExitCode> {
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match words[..] {
        ["solve", "case", ref folders @ ..] if !folders.is_empty() => solve(folders, solve_case),
        ["solve", "network", ref files @ ..] if !files.is_empty() => solve(files, solve_network),
        ["solve", "plan", "--seconds", seconds, ref files @ ..] if !files.is_empty() => {
            let seconds = seconds.parse().map_err(|_| {
                io::Error::other(format!(
                    "expected a whole number of seconds, found `{seconds}`"
                ))
            })?;
            solve(files, |file| solve_plan(file, seconds))
        }
        ["solve", "plan", ref files @ ..] if !files.is_empty() => {
            solve(files, |file| solve_plan(file, LONGEST))
        }
        ["solve", "mps", ref files @ ..] if !files.is_empty() => {
            for file in files {
                let text = mps(Path::new(file)).map_err(io::Error::other)?;
                write!(io::stdout(), "{text}")?;
            }
            Ok(ExitCode::SUCCESS)
        }
        ["solve", "pile", machines, seed, kind @ ("known" | "mixed")] => {
            let number = |word: &str| {
                word.parse::<u32>().map_err(|_| {
                    io::Error::other(format!("expected a whole number, found `{word}`"))
                })
            };
            let pile = cases::made_pile(cases::Draw {
                machines: number(machines)? as usize,
                seed: u64::from(number(seed)?),
                faults: if kind == "mixed" { 3 } else { 5 },
                mixed: kind == "mixed",
            });
            writeln!(io::stdout(), "{}", cases::pile_to_json(&pile))?;
            Ok(ExitCode::SUCCESS)
        }
        ["bench", "planning", ref rest @ ..] => bench::planning::run(rest),
        ["bench", "catalogue", ref rest @ ..] => bench::knowledge::run(rest),
        ["measure-catalogue", board] => {
            let line = bench::knowledge::once(board)?;
            writeln!(io::stdout(), "{line}")?;
            Ok(ExitCode::SUCCESS)
        }
        ["bench", "diagnosis", ref rest @ ..] => bench::run(rest),
        ["replay"] => replays::run(None),
        ["replay", file] => replays::run(Some(Path::new(file))),
        ["measure", ref rest @ ..] => {
            let line = bench::measure(rest)?;
            writeln!(io::stdout(), "{line}")?;
            Ok(ExitCode::SUCCESS)
        }
        [] | ["help" | "-h" | "--help"] | [.., "--help"] => {
            writeln!(io::stdout(), "{HELP}")?;
            Ok(ExitCode::SUCCESS)
        }
        _ => Err(io::Error::other(format!(
            "expected `solve case FOLDER...`, `solve network FILE...`, `solve plan FILE...`, `solve mps FILE...`, `solve pile MACHINES SEED known|mixed`, `bench diagnosis`, `bench planning`, `bench catalogue` or `replay [FILE]`, found `{}`; see `cargo xtask solve --help`",
            words.join(" ")
        ))),
    }
}

/// One line for each path; one that fails does not hide the others.
fn solve(
    paths: &[&str],
    answer: impl Fn(&Path) -> Result<serde_json::Value, String>,
) -> io::Result<ExitCode> {
    let mut code = ExitCode::SUCCESS;
    for path in paths {
        let line = match answer(Path::new(path)) {
            Ok(line) => line,
            Err(error) => {
                writeln!(io::stderr(), "error: {error}")?;
                code = ExitCode::from(2);
                json!({"error": error})
            }
        };
        writeln!(io::stdout(), "{line}")?;
    }
    Ok(code)
}

fn solve_plan(file: &Path, seconds: u64) -> Result<serde_json::Value, String> {
    let pile = cases::read_pile(file).map_err(|error| error.to_string())?;
    cases::answer_pile(&pile, Some(Duration::from_secs(seconds)))
        .map_err(|error| format!("`{}`: {error}", file.display()))
}

fn mps(file: &Path) -> Result<String, String> {
    let pile = cases::read_pile(file).map_err(|error| error.to_string())?;
    let settings = planning::Settings::default();
    let (text, constant) = planning::to_mps(&pile.instance, &settings, planning::Filler::Amount)
        .map_err(|error| error.to_string())?;
    Ok(format!(
        "* add {constant} to 100 times the objective\n{text}"
    ))
}

fn solve_case(folder: &Path) -> Result<serde_json::Value, String> {
    let case = cases::read_case(folder).map_err(|error| error.to_string())?;
    for key in &case.unused {
        let folder = folder.display();
        let _ = writeln!(
            io::stderr(),
            "warning: `{folder}`: {key} is no key of this format and was not used"
        );
    }
    cases::answer_case(&case.situation).map_err(|error| format!("`{}`: {error}", folder.display()))
}

fn solve_network(file: &Path) -> Result<serde_json::Value, String> {
    let network = cases::read_network(file).map_err(|error| error.to_string())?;
    let answers = network.sets.iter().enumerate().map(|(index, set)| {
        cases::answer_network(&network, index, &set.steps)
            .map_err(|error| format!("`{}`, set {index}: {error}", file.display()))
    });
    answers.collect()
}
