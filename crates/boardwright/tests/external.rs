//! The program's posteriors against a general-purpose Bayesian-network library from PyPI.

#[expect(dead_code, reason = "the pages are served in other tests")]
mod support;

use std::{collections::BTreeMap, env, path::Path, process::Command};

use serde_json::Value;
use support::Bench;

/// What the library answers for each network of a folder, by the network's name.
fn by_the_library(folder: &Path) -> BTreeMap<String, Value> {
    let python = env::var_os("BOARDWRIGHT_PYTHON").expect(
        "found no BOARDWRIGHT_PYTHON, expected a Python with the libraries: run `cargo xtask test`",
    );
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/external/compare.py");
    let output = Command::new(python)
        .arg(script)
        .arg(folder)
        .output()
        .expect("Python starts");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    text.lines()
        .map(|line| serde_json::from_str(line).expect("a line of JSON"))
        .map(|answer: Value| (answer["name"].as_str().expect("a name").to_owned(), answer))
        .collect()
}

/// Every mode of every machine of the demo, exported by `board export-network` and shown by `show --json`.
#[test]
fn each_machine_of_the_demo_agrees() {
    let bench = Bench::new();
    bench.ok(&["demo", "--once", "--quiet", "--dir", "pile"]);
    let tags: Vec<String> = (1..=9).map(|number| format!("T-0{number}")).collect();
    for tag in &tags {
        bench.ok(&[
            "--workshop",
            "pile",
            "board",
            "export-network",
            tag,
            "--to",
            "networks",
        ]);
    }
    let answers = by_the_library(&bench.folder().join("networks"));
    assert_eq!(answers.len(), tags.len());
    for tag in &tags {
        let shown: Value =
            serde_json::from_str(&bench.ok(&["--workshop", "pile", "show", tag, "--json"]))
                .expect("JSON");
        let expected = answers[tag]["modes"].as_object().expect("modes");
        let mut compared = 0;
        for mode in shown["modes"].as_array().expect("modes") {
            let name = mode["mode"].as_str().expect("a mode");
            let found = mode["chance"].as_f64().expect("a chance");
            // what cannot be bad is no variable of the network
            let expected = expected
                .get(name)
                .map_or(0.0, |chance| chance.as_f64().expect("a chance"));
            assert!(
                (found - expected).abs() <= 1e-9,
                "{tag} {name}: found {found}, expected {expected}"
            );
            compared += 1;
        }
        assert!(
            compared >= expected.len() && compared > 60,
            "{tag}: {compared} modes shown"
        );
    }
}
