//! The demo's job cards, timed by an example of the workshop crate, which this crate may not use.

use std::io::{self, Write};

use super::{
    Plan, Section, example,
    verdict::{Verdict, median},
};

/// Times each machine's card and prints a line for each.
pub(super) fn run(plan: &Plan, out: &mut dyn Write) -> io::Result<Section> {
    let record = example("workshop", "job_cards", &[&plan.repeats.to_string()])?;
    let figures = |key: &str| -> Vec<(f64, String)> {
        let machines = record.as_array().into_iter().flatten();
        machines
            .filter_map(|one| {
                let tag = one["machine"].as_str().unwrap_or_default().to_owned();
                Some((median(&one[key])? * 1e3, tag))
            })
            .collect()
    };
    let [cold, warm, unready] = ["cold", "warm", "unready"].map(figures);
    for (((cold, tag), (warm, _)), (unready, _)) in cold.iter().zip(&warm).zip(&unready) {
        writeln!(
            out,
            "{tag:<8} cold {cold:>8.2} ms, warm {warm:>8.2} ms ({unready:.2} ms with nothing reckoned ahead)"
        )?;
    }
    Ok(Section {
        verdicts: vec![
            Verdict::worst("job card, cold, ms", 20.0, cold),
            Verdict::worst(
                "job card after one finding more, reckoned ahead, ms",
                5.0,
                warm,
            ),
        ],
        record,
    })
}
