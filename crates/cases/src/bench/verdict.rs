//! Medians, and whether a figure keeps its limit.

use std::fmt;

use serde_json::Value;

/// One limit, over everything it was measured on.
pub(super) struct Verdict {
    what: &'static str,
    limit: f64,
    /// The worst figure and where it was.
    worst: Option<(f64, String)>,
    count: usize,
    /// The limit is kept everywhere.
    pub(super) met: bool,
}

impl Verdict {
    /// The largest of the figures against the limit.
    pub(super) fn worst(what: &'static str, limit: f64, found: Vec<(f64, String)>) -> Verdict {
        let count = found.len();
        let worst = found.into_iter().max_by(|a, b| a.0.total_cmp(&b.0));
        Verdict {
            what,
            limit,
            count,
            met: worst.as_ref().is_none_or(|(worst, _)| *worst <= limit),
            worst,
        }
    }
}

impl fmt::Display for Verdict {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = self.what;
        let Some((worst, at)) = &self.worst else {
            return write!(f, "{what}: nothing to measure here");
        };
        let word = if self.met { "kept" } else { "MISSED" };
        let (worst, limit) = (short(*worst), short(self.limit));
        write!(
            f,
            "{what}: {word}, worst of {} is {worst} ({at}), limit {limit}",
            self.count
        )
    }
}

fn short(number: f64) -> String {
    match number {
        0.0 => "0".to_owned(),
        0.001..1e6 => format!("{number:.3}"),
        _ => format!("{number:.1e}"),
    }
}

/// The median of a list of JSON.
pub(super) fn median(list: &Value) -> Option<f64> {
    let mut numbers: Vec<f64> = list.as_array()?.iter().filter_map(Value::as_f64).collect();
    numbers.sort_by(f64::total_cmp);
    let lower = numbers.get(numbers.len().checked_sub(1)? / 2)?;
    let upper = numbers.get(numbers.len() / 2)?;
    Some((lower + upper) / 2.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn medians() {
        let check = |list: Value, expect: Option<f64>| assert_eq!(median(&list), expect);
        check(json!([3.0, 1.0, 2.0]), Some(2.0));
        check(json!([1.0, 2.0]), Some(1.5));
        check(json!([]), None);
        check(Value::Null, None);
    }

    #[test]
    fn sentences() {
        let check = |found: &[f64], expect: &str| {
            let found = found.iter().map(|&figure| (figure, "here".to_owned()));
            let verdict = Verdict::worst("warm", 0.2, found.collect());
            assert_eq!(verdict.to_string(), expect);
        };
        check(
            &[0.1, 0.2],
            "warm: kept, worst of 2 is 0.200 (here), limit 0.200",
        );
        check(
            &[0.1, 1e-9, 3.0],
            "warm: MISSED, worst of 3 is 3.000 (here), limit 0.200",
        );
        check(&[], "warm: nothing to measure here");
    }
}
