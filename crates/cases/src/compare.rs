//! Compares an answer with the expected one, as trees of JSON.

use serde_json::Value;

/// How far two numbers may be apart: the sum of both.
#[derive(Debug, Clone, Copy)]
pub struct Tolerance {
    /// At any size.
    pub absolute: f64,
    /// Times the expected number.
    pub relative: f64,
}

impl Tolerance {
    fn holds(self, found: f64, expected: f64) -> bool {
        (found - expected).abs() <= self.absolute + self.relative * expected.abs()
    }
}

/// Tolerance of the board cases.
const CASES: Tolerance = Tolerance {
    absolute: 1e-9,
    relative: 1e-9,
};

/// Every place where two trees differ, with what is there.
#[must_use]
pub fn differences(found: &Value, expected: &Value, tolerance: Tolerance) -> Vec<String> {
    let mut list = Vec::new();
    walk("", found, expected, tolerance, &mut list);
    list
}

fn walk(at: &str, found: &Value, expected: &Value, tolerance: Tolerance, list: &mut Vec<String>) {
    match (found, expected) {
        (Value::Object(have), Value::Object(want)) => {
            for (key, expected) in want {
                let found = have.get(key).unwrap_or(&Value::Null);
                walk(&format!("{at}/{key}"), found, expected, tolerance, list);
            }
            let more = have.keys().filter(|key| !want.contains_key(*key));
            list.extend(more.map(|key| format!("{at}/{key}: found, not expected")));
        }
        (Value::Array(have), Value::Array(want)) if have.len() == want.len() => {
            for (index, (found, expected)) in have.iter().zip(want).enumerate() {
                walk(&format!("{at}/{index}"), found, expected, tolerance, list);
            }
        }
        (Value::Number(have), Value::Number(want)) => {
            let near = have
                .as_f64()
                .zip(want.as_f64())
                .is_some_and(|(have, want)| tolerance.holds(have, want));
            if !near {
                list.push(format!("{at}: found {have}, expected {want}"));
            }
        }
        _ if found == expected => {}
        _ => list.push(format!("{at}: found {found}, expected {expected}")),
    }
}

/// How the answer to a board case differs from what is expected; explanations with equal shares may change places.
#[must_use]
pub fn case_differences(found: &Value, expected: &Value) -> Vec<String> {
    let (found, expected) = (with_sorted_sets(found), with_sorted_sets(expected));
    differences(&found, &expected, CASES)
}

/// The modes of each explanation by name, and explanations whose shares tie by their modes.
///
/// A tie may go on beyond the last one listed; then the sets say nothing and are left out.
fn with_sorted_sets(answer: &Value) -> Value {
    let mut answer = answer.clone();
    let machines = answer
        .get_mut("explanations")
        .and_then(Value::as_object_mut);
    for list in machines
        .into_iter()
        .flat_map(|machines| machines.values_mut())
    {
        let Some(list) = list.as_array_mut() else {
            continue;
        };
        for one in list.iter_mut() {
            if let Some(modes) = one.get_mut("modes").and_then(Value::as_array_mut) {
                modes.sort_by_key(Value::to_string);
            }
        }
        let share = |one: &Value| one["share"].as_f64().unwrap_or(f64::NAN);
        let ties = |a: &Value, b: &Value| CASES.holds(share(a), share(b));
        let last = list.len().saturating_sub(1);
        for tied in list.chunk_by_mut(ties) {
            tied.sort_by_key(|one| one["modes"].to_string());
        }
        let cut = list[..last]
            .iter()
            .rev()
            .take_while(|one| ties(one, &list[last]))
            .count();
        if cut > 0 {
            for one in &mut list[last - cut..] {
                one["modes"] = Value::Null;
            }
        }
    }
    answer
}

/// How the answer to a network's set differs from what is expected: P(evidence) relatively, the others absolutely.
#[must_use]
pub fn network_differences(found: &Value, expected: &Value) -> Vec<String> {
    let absolute = |absolute| Tolerance {
        absolute,
        relative: 0.0,
    };
    let relative = Tolerance {
        absolute: 0.0,
        relative: 1e-10,
    };
    let mut list = Vec::new();
    for (key, tolerance) in [
        ("index", absolute(0.0)),
        ("evidence_prob", relative),
        ("posteriors", absolute(1e-10)),
        ("entropy_bits", absolute(1e-10)),
        ("eig", absolute(1e-10)),
    ] {
        // not every file says what would be learned next
        if let Some(expected) = expected.get(key) {
            walk(key, &found[key], expected, tolerance, &mut list);
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn trees() {
        let check = |found: Value, expected: Value, expect: &[&str]| {
            assert_eq!(differences(&found, &expected, CASES), expect);
        };
        check(json!({"a": [1, 2.0]}), json!({"a": [1.0, 2]}), &[]);
        check(json!({"a": 1.0 + 1e-10}), json!({"a": 1.0}), &[]);
        check(
            json!({"a": 1.1}),
            json!({"a": 1.0}),
            &["/a: found 1.1, expected 1.0"],
        );
        check(json!({}), json!({"a": 1}), &["/a: found null, expected 1"]);
        check(json!({"a": 1}), json!({}), &["/a: found, not expected"]);
        check(json!([1]), json!([1, 2]), &[": found [1], expected [1,2]"]);
        check(
            json!({"a": null}),
            json!({"a": 0.0}),
            &["/a: found null, expected 0.0"],
        );
    }

    #[test]
    fn equal_shares_change_places() {
        let answer = |sets: &[(&[&str], f64)]| {
            let list: Vec<Value> = sets
                .iter()
                .map(|(modes, share)| json!({"modes": modes, "share": share}))
                .collect();
            json!({"explanations": {"T-01": list}})
        };
        let check = |found: &[(&[&str], f64)], expected: &[(&[&str], f64)], expect: usize| {
            let list = case_differences(&answer(found), &answer(expected));
            assert_eq!(list.len(), expect, "{list:?}");
        };
        check(&[(&["b", "a"], 0.5)], &[(&["a", "b"], 0.5)], 0);
        check(&[(&["b"], 0.5)], &[(&["a"], 0.5)], 1);
        let more: (&[&str], f64) = (&[], 0.1);
        check(
            &[(&["a"], 0.4), (&["b"], 0.4), more],
            &[(&["b"], 0.4), (&["a"], 0.4), more],
            0,
        );
        check(
            &[(&["a"], 0.4), (&["b"], 0.4), more],
            &[(&["b"], 0.4), (&["c"], 0.4), more],
            2,
        );
        // the tie may go on below the list
        check(
            &[more, (&["a"], 0.04), (&["b"], 0.04)],
            &[more, (&["b"], 0.04), (&["c"], 0.04)],
            0,
        );
    }

    #[test]
    fn networks_by_what_the_file_says() {
        let found = json!({"index": 0, "evidence_prob": 1e-8, "posteriors": {"F0": 0.5}, "eig": {}, "seconds": 1.0});
        let check = |expected: Value, expect: &[&str]| {
            assert_eq!(network_differences(&found, &expected), expect);
        };
        check(json!({"index": 0, "evidence_prob": 1e-8}), &[]);
        check(
            json!({"evidence_prob": 1.1e-8}),
            &["evidence_prob: found 1e-8, expected 1.1e-8"],
        );
        check(
            json!({"posteriors": {"F0": 0.5000001}}),
            &["posteriors/F0: found 0.5, expected 0.5000001"],
        );
    }
}
