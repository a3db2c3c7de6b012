//! Prints replays of documented repairs.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
    process::ExitCode,
};

use cases::replay::{
    Interval, Mapping, Ranking, Replay, Summary, fits, read_base_rates, read_repairs, replay,
    summary,
};

/// Replays the repairs of a file, else those of this repository.
pub(crate) fn run(file: Option<&Path>) -> io::Result<ExitCode> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/repairs");
    let own = folder.join("cases.json");
    let repairs = read_repairs(file.unwrap_or(&own)).map_err(io::Error::other)?;
    let mapping = Mapping::read(&folder.join("mapping.json")).map_err(io::Error::other)?;
    let base = read_base_rates(&folder.join("base_rates.csv")).map_err(io::Error::other)?;
    let mut out = io::stdout().lock();
    let mut replays = Vec::new();
    for repair in &repairs {
        if !fits(repair) {
            writeln!(
                out,
                "{}: not replayed, a new build is not what a starter stands for",
                repair.id
            )?;
            continue;
        }
        let replayed = replay(repair, &mapping, &base)
            .map_err(|error| io::Error::other(format!("{}: {error}", repair.id)))?;
        print(&mut out, &replayed)?;
        replays.push(replayed);
    }
    let all: Vec<&Replay> = replays.iter().collect();
    let seen: Vec<&Replay> = all
        .iter()
        .copied()
        .filter(|replay| observations_used(replay) >= 2)
        .collect();
    let mut code = ExitCode::from(2);
    for (title, some) in [
        ("All repairs", &all),
        (
            "Repairs of which two or more observations became findings",
            &seen,
        ),
    ] {
        let Some(summary) = summary(some) else {
            continue;
        };
        print_summary(&mut out, title, &summary)?;
        if title.starts_with("All") {
            let better = summary.after_score.mean > summary.base_score.mean;
            code = ExitCode::from(u8::from(!better));
        }
    }
    Ok(code)
}

/// Observations that gave at least one finding.
fn observations_used(replay: &Replay) -> usize {
    let mut used: Vec<u32> = replay.findings.iter().map(|finding| finding.n).collect();
    used.dedup();
    used.len()
}

fn print(out: &mut impl Write, replay: &Replay) -> io::Result<()> {
    let answers: Vec<String> = replay
        .answers
        .iter()
        .map(|(question, answer)| format!("{question} {answer}"))
        .collect();
    writeln!(
        out,
        "{}: {} of {} observations used; {}; confirmed: {}",
        replay.id,
        observations_used(replay),
        replay.observations,
        if answers.is_empty() {
            "usual answers".to_owned()
        } else {
            answers.join(", ")
        },
        replay.confirmed.join(", ")
    )?;
    let findings: Vec<String> = replay
        .findings
        .iter()
        .map(|finding| format!("{} {} ({})", finding.check, finding.outcome, finding.n))
        .collect();
    writeln!(
        out,
        "  told: {}",
        if findings.is_empty() {
            "nothing".to_owned()
        } else {
            findings.join("; ")
        }
    )?;
    for (title, ranking) in [
        ("base rates", &replay.base),
        ("before   ", &replay.before),
        ("after    ", &replay.after),
    ] {
        writeln!(out, "  {title}: {}", shown(ranking))?;
    }
    Ok(())
}

fn shown(ranking: &Ranking) -> String {
    let front: Vec<String> = ranking
        .blocks
        .iter()
        .take(5)
        .map(|(block, chance)| format!("{block} {chance:.2}"))
        .collect();
    format!(
        "confirmed block at rank {}, log score {:.2}; {}",
        ranking.best_rank,
        ranking.log_score,
        front.join(", ")
    )
}

fn print_summary(out: &mut impl Write, title: &str, summary: &Summary) -> io::Result<()> {
    writeln!(
        out,
        "\n{title}: {}, with 95 % intervals by drawing them anew",
        summary.repairs
    )?;
    writeln!(
        out,
        "  {:<12} {:>24} {:>34}",
        "", "log score a repair", "confirmed block in the first three"
    )?;
    for (name, score, front) in [
        ("base rates", summary.base_score, summary.base_front),
        ("before", summary.before_score, summary.before_front),
        ("after", summary.after_score, summary.after_front),
    ] {
        writeln!(
            out,
            "  {name:<12} {:>24} {:>34}",
            plain(score),
            percent(front)
        )?;
    }
    writeln!(
        out,
        "  after better than base rates by {} a repair",
        plain(summary.gain)
    )
}

fn plain(interval: Interval) -> String {
    format!(
        "{:.2} ({:.2} to {:.2})",
        interval.mean, interval.low, interval.high
    )
}

fn percent(interval: Interval) -> String {
    format!(
        "{:.0} % ({:.0} to {:.0} %)",
        100.0 * interval.mean,
        100.0 * interval.low,
        100.0 * interval.high
    )
}
