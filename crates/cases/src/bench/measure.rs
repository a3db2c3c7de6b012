//! The program's own times and memory on one set of findings, each kind in a process of its own.

use std::{io, path::Path, process::Command, time::Instant};

use cases::{EvidenceSet, Network};
use catalogue::{Check, Target, Tells};
use diagnosis::{Action, BenchStep, Diagnosis, Holder};
use serde_json::{Value, json};

use super::example;

/// One set of findings to be measured.
#[derive(Clone, Copy)]
pub(super) struct Job<'a> {
    pub(super) file: &'a Path,
    pub(super) set: usize,
    pub(super) repeats: usize,
}

/// Longest time for the repeats of one list of all observations.
const LONGEST: f64 = 60.0;

/// Times and memory, each from a child process.
pub(super) fn in_child(job: Job) -> io::Result<Value> {
    let set = job.set.to_string();
    let output = Command::new(std::env::current_exe()?)
        .arg("measure")
        .arg(job.file)
        .args([&set, &job.repeats.to_string()])
        .output()?;
    if !output.status.success() {
        let message = String::from_utf8_lossy(&output.stderr);
        return Ok(json!({"skipped": message.trim()}));
    }
    let mut all: Value = serde_json::from_slice(&output.stdout).map_err(io::Error::other)?;
    let file = job.file.display().to_string();
    all["memory"] = example("cases", "peak_memory", &[&file, &set])?;
    Ok(all)
}

/// Does one measurement in this process: file, set, repeats.
pub(crate) fn measure(words: &[&str]) -> io::Result<Value> {
    let [file, set, repeats] = words[..] else {
        return Err(io::Error::other(format!(
            "expected `measure FILE SET REPEATS`, found `{}`",
            words.join(" ")
        )));
    };
    let number = |word: &str| word.parse::<usize>().map_err(io::Error::other);
    let network = cases::read_network(Path::new(file)).map_err(io::Error::other)?;
    let set = network
        .sets
        .get(number(set)?)
        .ok_or_else(|| io::Error::other(format!("expected a set of `{file}`, found {set}")))?;
    times(&network, set, number(repeats)?).map_err(io::Error::other)
}

/// All posteriors and P(findings).
fn answer(diagnosis: &Diagnosis) -> (Vec<(String, f64)>, f64) {
    let modes = diagnosis.modes().into_iter();
    let named = modes.filter_map(|mode| match mode.holder {
        Holder::Position { part, .. } => Some((part, mode.chance)),
        _ => None,
    });
    (named.collect(), diagnosis.p_findings())
}

fn times(network: &Network, set: &EvidenceSet, repeats: usize) -> Result<Value, diagnosis::Error> {
    let situation = network.situation(&set.steps);
    let cold = timed(repeats, f64::INFINITY, || {
        Diagnosis::of(&situation).map(|diagnosis| answer(&diagnosis))
    })?;
    let known = Diagnosis::of(&situation)?;
    // once asked, as on a bench: the first answer is there before the next finding comes
    let _ = answer(&known);
    let open = network.profile.checks.len() - set.steps.len();
    let mut measured = json!({"cold": cold, "open": open});
    if let Some(step) = one_on_what_is_in(network, set) {
        measured["warm"] = json!(timed(repeats, f64::INFINITY, || {
            known.then(step.clone()).map(|diagnosis| answer(&diagnosis))
        })?);
        let mut whole = situation.clone();
        whole.steps.push(step.clone());
        let (warm, _) = answer(&known.then(step.clone())?);
        let (fresh, _) = answer(&Diagnosis::of(&whole)?);
        let apart = warm.iter().zip(&fresh).map(|(a, b)| a.1 - b.1);
        measured["warm_error"] = largest(apart).into();
    }
    measured["gains"] = json!(timed(repeats, LONGEST, || cases::gains(&known))?);
    errors(&known, &set.expected, &mut measured)?;
    Ok(measured)
}

/// A finding more on a function that has one: a check not yet made, else the last one again.
fn one_on_what_is_in(network: &Network, set: &EvidenceSet) -> Option<BenchStep> {
    let id = |step: &BenchStep| match &step.action {
        Action::Measure(measure) => Some(measure.check.clone()),
        _ => None,
    };
    let made: Vec<String> = set.steps.iter().filter_map(id).collect();
    let checks = &network.profile.checks;
    let (in_already, open): (Vec<&Check>, Vec<&Check>) =
        checks.iter().partition(|check| made.contains(&check.id));
    let next = open.into_iter().find(|open| {
        in_already
            .iter()
            .any(|made| tells_of(made) == tells_of(open))
    });
    let mut step = set.steps.last()?.clone();
    if let (Action::Measure(measure), Some(next)) = (&mut step.action, next) {
        measure.check.clone_from(&next.id);
    }
    Some(step)
}

fn tells_of(check: &Check) -> Option<&Target> {
    match &check.tells {
        Tells::Target { target, .. } => Some(target),
        _ => None,
    }
}

/// Seconds of each repeat; fewer repeats where all of them would take longer than `longest`.
fn timed<T>(
    repeats: usize,
    longest: f64,
    mut run: impl FnMut() -> Result<T, diagnosis::Error>,
) -> Result<Vec<f64>, diagnosis::Error> {
    let mut seconds = Vec::new();
    while seconds.len() < repeats && seconds.iter().sum::<f64>() <= longest {
        let start = Instant::now();
        let result = run()?;
        seconds.push(start.elapsed().as_secs_f64());
        drop(result);
    }
    Ok(seconds)
}

/// The largest difference; one that is no number counts as infinite.
fn largest(differences: impl Iterator<Item = f64>) -> f64 {
    let size = |difference: f64| match difference.is_nan() {
        true => f64::INFINITY,
        false => difference.abs(),
    };
    differences.map(size).fold(0.0, f64::max)
}

/// Largest differences to the expected values, as far as the file has them.
fn errors(
    known: &Diagnosis,
    expected: &Value,
    measured: &mut Value,
) -> Result<(), diagnosis::Error> {
    let (modes, p) = answer(known);
    let number = |value: &Value| value.as_f64().unwrap_or(f64::NAN);
    if !expected["evidence_prob"].is_null() {
        let expected = number(&expected["evidence_prob"]);
        measured["p_relative_error"] = ((p - expected) / expected).abs().into();
    }
    if let Some(expected) = expected["posteriors"].as_object() {
        let apart = modes
            .iter()
            .map(|(fault, chance)| chance - expected.get(fault).map_or(f64::NAN, number));
        measured["posterior_error"] = largest(apart).into();
    }
    if let Some(expected) = expected["eig"].as_object() {
        let gains = cases::gains(known)?;
        let apart = expected.iter().flat_map(|(check, expected)| {
            ["p_fail", "gain_bits"].map(|key| number(&gains[check][key]) - number(&expected[key]))
        });
        measured["gains_error"] = largest(apart).into();
    }
    Ok(())
}
