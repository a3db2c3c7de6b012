//! A round of 30 machines × 20 checks, timed by an example of the workshop crate, which this crate may not use.

use std::io::{self, Write};

use super::{
    Plan, Section, example,
    verdict::{Verdict, median},
};

/// Times the ranking and the whole answer and prints a line.
pub(super) fn run(plan: &Plan, out: &mut dyn Write) -> io::Result<Section> {
    let record = example("workshop", "rounds", &[&plan.repeats.to_string()])?;
    let figure = |key: &str| median(&record[key]).map(|seconds| seconds * 1e3);
    let parts = ["ranking", "cold", "warm"].map(|key| (key, figure(key)));
    let words = parts.map(|(key, ms)| match ms {
        Some(ms) => format!("{key} {ms:>8.2} ms"),
        None => format!("{key} -"),
    });
    writeln!(out, "rounds   {}", words.join(", "))?;
    let all = parts
        .into_iter()
        .filter_map(|(key, ms)| Some((ms?, key.to_owned())));
    let verdict = Verdict::worst("a round of 30 machines, ms", 300.0, all.collect());
    Ok(Section {
        verdicts: vec![verdict],
        record,
    })
}
