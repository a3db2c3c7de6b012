//! The table of the networks' figures, and whether each keeps its limit.

use serde_json::Value;

use super::verdict::{Verdict, median};

/// Below this the library is too quick for a ratio to say much.
const LEAST_SECONDS: f64 = 0.002;

pub(super) fn heading() -> String {
    format!(
        "{:<16} {:>3} | {:>9} {:>9} {:>6} | {:>8} {:>6} | {:>9} {:>10} {:>6} | {:>7} | {:>7} {:>7}\n{:<16} {:>3} | {:>9} {:>9} {:>6} | {:>8} {:>6} | {:>9} {:>10} {:>6} | {:>7} | {:>7} {:>7}",
        "network",
        "n",
        "cold",
        "library",
        "times",
        "warm",
        "times",
        "gains",
        "library",
        "times",
        "error",
        "memory",
        "library",
        "",
        "",
        "ms",
        "ms",
        "",
        "ms",
        "",
        "ms",
        "ms",
        "",
        "",
        "MB",
        "MB",
    )
}

pub(super) fn line(row: &Value) -> String {
    let figures = Figures::of(row);
    let ms = |seconds: Option<f64>| cell(seconds.map(|seconds| seconds * 1e3), 2);
    let mb = |bytes: Option<f64>| cell(bytes.map(|bytes| bytes / 1e6), 2);
    let ratio = |a: Option<f64>, b: Option<f64>| cell(a.zip(b).map(|(a, b)| a / b), 1);
    let reckoned = if figures.reckoned { "~" } else { "" };
    let mut line = format!(
        "{:<16} {:>3} | {:>9} {:>9} {:>6} | {:>8} {:>6} | {:>9} {:>10} {:>6} | {:>7} | {:>7} {:>7}",
        row["network"].as_str().unwrap_or_default(),
        row["findings"],
        ms(figures.cold),
        ms(figures.library_cold),
        ratio(figures.library_cold, figures.cold),
        ms(figures.warm),
        ratio(figures.cold, figures.warm),
        ms(figures.gains),
        format!("{reckoned}{}", ms(figures.library_gains)),
        ratio(figures.library_gains, figures.gains),
        figures
            .error
            .map_or_else(|| "-".to_owned(), |error| format!("{error:.0e}")),
        mb(figures.memory),
        mb(figures.library_memory),
    );
    for (who, at) in [
        ("", "/ours"),
        ("library, tables: ", "/library/tables"),
        ("library, split: ", "/library/split"),
    ] {
        if let Some(reason) = row
            .pointer(&format!("{at}/skipped"))
            .and_then(Value::as_str)
        {
            line.push_str(&format!("\n    skipped, {who}{reason}"));
        }
    }
    for (who, list) in [
        ("gains", "/ours/gains"),
        ("library, tables", "/library/tables/cold"),
        ("library, split", "/library/split/cold"),
    ] {
        let count = row.pointer(list).and_then(Value::as_array).map(Vec::len);
        if let Some(count) = count.filter(|&count| Some(count as u64) < row["repeats"].as_u64()) {
            line.push_str(&format!(
                "\n    {who}: median of {count}, more would take too long"
            ));
        }
    }
    line
}

fn cell(number: Option<f64>, digits: usize) -> String {
    number.map_or_else(|| "-".to_owned(), |number| format!("{number:.digits$}"))
}

/// Medians of one row; the library's are those of its better encoding.
struct Figures {
    cold: Option<f64>,
    warm: Option<f64>,
    gains: Option<f64>,
    error: Option<f64>,
    memory: Option<f64>,
    library_cold: Option<f64>,
    library_gains: Option<f64>,
    library_memory: Option<f64>,
    /// The library's gains are one inference's time for each function, not measured.
    reckoned: bool,
}

impl Figures {
    fn of(row: &Value) -> Figures {
        let ours = &row["ours"];
        let encodings = || ["tables", "split"].map(|name| &row["library"][name]);
        let best = |figure: &dyn Fn(&Value) -> Option<f64>| {
            encodings()
                .into_iter()
                .filter_map(figure)
                .min_by(f64::total_cmp)
        };
        let reckon = |of: &Value| {
            let functions = of["functions"].as_f64().filter(|&count| count > 0.0)?;
            Some(median(&of["cold"])? * functions)
        };
        let measured = best(&|of| median(&of["gains"]));
        // nothing left to look at: nothing to rank
        let ranked = ours["open"] != 0;
        let errors = [
            "posterior_error",
            "p_relative_error",
            "gains_error",
            "warm_error",
        ];
        Figures {
            cold: median(&ours["cold"]),
            warm: median(&ours["warm"]),
            gains: median(&ours["gains"]).filter(|_| ranked),
            error: errors
                .iter()
                .filter_map(|error| number_or_infinite(ours.get(error)?))
                .max_by(f64::total_cmp),
            memory: ours["memory"].as_f64(),
            library_cold: best(&|of| median(&of["cold"])),
            library_gains: measured.or_else(|| best(&reckon)),
            library_memory: best(&|of| of["memory"].as_f64()),
            reckoned: measured.is_none() && best(&reckon).is_some(),
        }
    }
}

/// JSON has no infinity: an error that is none of its numbers stands as null.
fn number_or_infinite(value: &Value) -> Option<f64> {
    Some(value.as_f64().unwrap_or(f64::INFINITY))
}

/// All limits.
pub(super) fn verdicts(rows: &[Value]) -> Vec<Verdict> {
    let over = |what, limit, figure: &dyn Fn(&Figures) -> Option<f64>| {
        let found: Vec<(f64, String)> = rows
            .iter()
            .filter_map(|row| {
                let name = row["network"].as_str().unwrap_or_default();
                let at = format!("{name} with {}", row["findings"]);
                Some((figure(&Figures::of(row))?, at))
            })
            .collect();
        Verdict::worst(what, limit, found)
    };
    let share = |a: Option<f64>, b: Option<f64>| a.zip(b).map(|(a, b)| a / b);
    let mut list = vec![
        over(
            "cold, share of the library's time where that is 2 ms or more",
            0.1,
            &|of| {
                share(
                    of.cold,
                    of.library_cold.filter(|&seconds| seconds >= LEAST_SECONDS),
                )
            },
        ),
        over("warm, share of cold", 0.2, &|of| share(of.warm, of.cold)),
        over(
            "all gains, share of one library inference for each function",
            0.1,
            &|of| share(of.gains, of.library_gains),
        ),
        over("largest error", 1e-10, &|of| of.error),
        over("peak memory, share of the library's", 0.1, &|of| {
            share(of.memory, of.library_memory)
        }),
    ];
    list.push(unanswered(rows));
    list.extend(without_library(rows));
    list
}

/// A set that has no answer keeps no limit by being left out.
fn unanswered(rows: &[Value]) -> Verdict {
    let figures = rows.iter().map(|row| {
        let name = row["network"].as_str().unwrap_or_default();
        let skipped = row["ours"].get("skipped").is_some();
        (
            f64::from(u8::from(skipped)),
            format!("{name} with {}", row["findings"]),
        )
    });
    Verdict::worst("set without an answer of ours", 0.0, figures.collect())
}

/// What the library cannot do, against our own time with half the findings.
fn without_library(rows: &[Value]) -> Option<Verdict> {
    let cold = |findings: u64| {
        let row = rows
            .iter()
            .find(|row| row["network"] == "deep_rand_96" && row["findings"] == findings)?;
        median(&row["ours"]["cold"])
    };
    let (half, whole) = (cold(24)?, cold(48)?);
    let at = format!("deep_rand_96 ({:.1} ms)", whole * 1e3);
    Some(Verdict::worst(
        "cold with 48 findings where the library runs out of memory, times that with 24",
        10.0,
        vec![(whole / half, at)],
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn row(cold: f64, library: f64) -> Value {
        json!({
            "network": "n", "findings": 12, "repeats": 3,
            "ours": {"cold": [cold, 9.0, 0.0], "warm": [0.1], "gains": [0.2], "posterior_error": 1e-13, "memory": 10},
            "library": {
                "tables": {"cold": [library], "functions": 3, "memory": 1000},
                "split": {"skipped": "more than a minute"},
            },
        })
    }

    #[test]
    fn limits() {
        let check = |rows: &[Value], expect: &[bool]| {
            let met: Vec<bool> = verdicts(rows).iter().map(|verdict| verdict.met).collect();
            assert_eq!(met, expect);
        };
        check(&[row(1.0, 10.0)], &[true; 6]);
        check(
            &[row(1.0, 10.0), row(1.1, 10.0)],
            &[false, true, true, true, true, true],
        );
        check(&[row(0.2, 10.0)], &[true, false, true, true, true, true]);
        // the library is quicker than any ratio can tell
        check(&[row(0.5, 0.001)], &[true, true, false, true, true, true]);
        let silent = json!({"network": "n", "findings": 12, "ours": {"skipped": "too large"}});
        check(&[silent], &[true, true, true, true, true, false]);
        let mut wrong = row(1.0, 10.0);
        wrong["ours"]["posterior_error"] = Value::Null;
        check(&[wrong], &[true, true, true, false, true, true]);
    }

    #[test]
    fn lines_say_what_was_skipped() {
        let line = line(&row(1.0, 10.0));
        assert!(
            line.contains("library, split: more than a minute"),
            "{line}"
        );
        assert!(line.contains("~30000.00"), "{line}");
        assert!(line.contains("gains: median of 1"), "{line}");
    }
}
