//! The fault networks: all posteriors, one finding more, the whole list of what could be learned next, memory.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::{Plan, Section, library::Library, measure, report, verdict::median};

/// Seconds of one inference of the library from which the other encoding is run once.
const SLOW: f64 = 1.0;

/// Measures each set of findings and prints a line for each.
pub(super) fn run(plan: &Plan, out: &mut dyn Write) -> io::Result<Section> {
    let library = Library::find()?;
    writeln!(out, "{}", report::heading())?;
    let mut rows = Vec::new();
    for file in &plan.files {
        let network = cases::read_network(file).map_err(io::Error::other)?;
        for (index, set) in network.sets.iter().enumerate() {
            let job = measure::Job {
                file,
                set: index,
                repeats: plan.repeats,
            };
            let tables = library.measure(job, "tables")?;
            // where an inference takes so long, one of the other encoding shows which is the better
            let slow = median(&tables["cold"]).is_some_and(|seconds| seconds > SLOW);
            let once = measure::Job { repeats: 1, ..job };
            let split = library.measure(if slow { once } else { job }, "split")?;
            let row = json!({
                "network": file.file_stem().and_then(|name| name.to_str()),
                "set": index,
                "findings": set.steps.len(),
                "repeats": plan.repeats,
                "ours": measure::in_child(job)?,
                "library": {"tables": tables, "split": split},
            });
            writeln!(out, "{}", report::line(&row))?;
            out.flush()?;
            rows.push(row);
        }
    }
    Ok(Section {
        verdicts: report::verdicts(&rows),
        record: json!({"library": library.version, "rows": Value::Array(rows)}),
    })
}
