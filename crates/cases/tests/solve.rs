//! The program as a chore runs it: lines in order, values, exit codes.

use std::{
    path::PathBuf,
    process::{Command, Output},
};

use serde_json::Value;

fn data(path: &str) -> String {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    folder.join(path).display().to_string()
}

fn case(name: &str) -> String {
    data(&format!("../diagnosis/tests/data/rules/{name}"))
}

fn run(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_cases"))
        .args(words)
        .output()
        .expect("the program starts")
}

fn lines(output: &Output) -> Vec<Value> {
    let text = std::str::from_utf8(&output.stdout).expect("UTF-8");
    let read = |line| serde_json::from_str(line).expect("a line of JSON");
    text.lines().map(read).collect()
}

fn check_case(folder: &str, found: &Value) {
    let case = cases::read_case(folder.as_ref()).expect("a case");
    let wrong = cases::case_differences(found, &case.expected);
    assert!(wrong.is_empty(), "{folder}:\n{}", wrong.join("\n"));
}

#[test]
fn cases_come_line_by_line() {
    let folders = ["r06-warm", "p1-polybox", "m06-twins"].map(case);
    let words: Vec<&str> = ["solve", "case"]
        .into_iter()
        .chain(folders.iter().map(String::as_str))
        .collect();
    let output = run(&words);
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stderr.is_empty(), "{output:?}");
    let found = lines(&output);
    assert_eq!(found.len(), folders.len());
    for (folder, found) in folders.iter().zip(&found) {
        check_case(folder, found);
    }
}

#[test]
fn networks_come_file_by_file() {
    let small = data("../diagnosis/tests/data/networks/small_three_24.json");
    let large = data("data/large/two_rand_96.json");
    let output = run(&["solve", "network", &large, &small]);
    assert_eq!(output.status.code(), Some(0));
    let found = lines(&output);
    assert_eq!(found.len(), 2);
    for (file, found) in [large, small].iter().zip(&found) {
        let network = cases::read_network(file.as_ref()).expect("a network");
        let answers = found.as_array().expect("a list of sets");
        assert_eq!(answers.len(), network.sets.len(), "{file}");
        for (set, answer) in network.sets.iter().zip(answers) {
            let wrong = cases::network_differences(answer, &set.expected);
            assert!(wrong.is_empty(), "{file}:\n{}", wrong.join("\n"));
            assert!(answer["seconds"].as_f64().is_some_and(|time| time > 0.0));
            assert_eq!(
                answer["eig"].as_object().map(serde_json::Map::len),
                Some(network.profile.checks.len() - set.steps.len()),
                "{file}"
            );
        }
    }
}

#[test]
fn one_that_fails_does_not_hide_the_others() {
    let (none, good) = (case("no-such-case"), case("r01-position"));
    let output = run(&["solve", "case", &none, &good]);
    assert_eq!(output.status.code(), Some(2));
    let found = lines(&output);
    assert!(
        found[0]["error"]
            .as_str()
            .is_some_and(|error| error.contains("no-such-case"))
    );
    check_case(&good, &found[1]);
    assert!(String::from_utf8_lossy(&output.stderr).starts_with("error: `"));
}

#[test]
fn words_that_are_not_understood() {
    let check = |words: &[&str], code: i32, expect: &str| {
        let output = run(words);
        assert_eq!(output.status.code(), Some(code), "{words:?}");
        let said = [output.stdout, output.stderr].concat();
        let said = String::from_utf8_lossy(&said);
        assert!(said.contains(expect), "{words:?}: {said}");
    };
    check(&["solve", "case"], 2, "found `solve case`");
    check(&["solve", "board", "x"], 2, "found `solve board x`");
    check(
        &["bench", "diagnosis", "--repeats", "0"],
        2,
        "a number of 1 or more",
    );
    check(&["solve", "--help"], 0, "usage:");
    check(&[], 0, "usage:");
    check(
        &["solve", "network", &data("Cargo.toml")],
        2,
        "expected JSON of this format",
    );
}
