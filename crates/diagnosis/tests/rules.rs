//! Every case that settles the rules of the fault model, every expected value.

use std::{fs, path::Path};

use cases::BoardCase;
use serde_json::Value;

/// All differences between what a case expects and what the program answers.
fn differences(case: &BoardCase) -> Vec<String> {
    let mut wrong = match cases::answer_case(&case.situation) {
        Ok(answer) => cases::case_differences(&answer, &case.expected),
        Err(error) => vec![error.to_string()],
    };
    let underived = case
        .by_hand
        .iter()
        .filter(|by_hand| !agrees(&case.expected, by_hand));
    wrong.extend(
        underived.map(|by_hand| format!("expected values disagree with the derivation {by_hand}")),
    );
    wrong.extend(case.unused.iter().cloned());
    wrong
}

/// A value derived on paper is the one expected; published ones are printed to ten digits.
fn agrees(expected: &Value, by_hand: &Value) -> bool {
    let path = format!("/{}", by_hand["what"].as_str().unwrap_or_default());
    let expected = expected.pointer(&path).and_then(Value::as_f64);
    match (expected, by_hand["value"].as_f64()) {
        (Some(expected), Some(by_hand)) => {
            (by_hand - expected).abs() <= 1e-9 + 1e-9 * expected.abs()
        }
        _ => false,
    }
}

#[test]
fn every_case_agrees() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules");
    let mut folders: Vec<_> = fs::read_dir(folder)
        .expect("cases")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    folders.sort();
    assert_eq!(folders.len(), 30);
    let mut failures = String::new();
    for folder in &folders {
        let case = cases::read_case(folder).unwrap_or_else(|error| panic!("{error}"));
        for difference in differences(&case) {
            failures.push_str(&format!("{}: {difference}\n", folder.display()));
        }
    }
    assert!(failures.is_empty(), "\n{failures}");
}
