//! The program's posteriors against a general-purpose Bayesian-network library from PyPI.

#[path = "../../diagnosis/tests/support/boards.rs"]
mod boards;
#[expect(dead_code, reason = "the pages are served in other tests")]
mod support;

use std::{collections::BTreeMap, env, path::Path, process::Command};

use boards::{Dice, Size};
use catalogue::Library;
use diagnosis::{Diagnosis, Holder, Situation};
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

/// A board and a story drawn at random: most of them small with acts and swaps, some with many parts.
fn drawn(seed: u64) -> Situation {
    let mut dice = Dice::new(seed);
    let size = if seed.is_multiple_of(4) {
        Size {
            functions: 4 + dice.below(4),
            machines: 1 + usize::from(seed.is_multiple_of(8)),
            epochs: 3,
            findings: 6,
            ..Size::wide(12 + dice.below(14))
        }
    } else {
        Size::small(&mut dice)
    };
    let text = boards::board(&mut dice, size);
    let profile = catalogue::parse_profile(&text, "board.toml", &Library::default());
    boards::story(&mut dice, profile.expect("a profile"), size)
}

/// The posteriors of one machine's modes, by the names of an exported network.
fn posteriors(diagnosis: &Diagnosis, tag: &str) -> BTreeMap<String, f64> {
    let own = diagnosis.modes().into_iter().filter_map(|mode| {
        let place = match mode.holder {
            Holder::Position { machine, part } if machine == tag => part,
            Holder::Outside(id) => id,
            _ => return None,
        };
        Some((format!("{place}.{}", mode.mode), mode.chance))
    });
    own.collect()
}

/// Two hundred situations drawn at random, up to 25 parts and three epochs, each machine exported by the library function.
#[test]
fn random_situations_agree() {
    let bench = Bench::new();
    let mut expected = BTreeMap::new();
    let (mut situations, mut swaps) = (0, 0);
    for seed in 0.. {
        let situation = drawn(seed);
        let diagnosis = Diagnosis::of(&situation).expect("a diagnosis");
        // the library divides by the chance of the findings
        if diagnosis.p_findings() < 1e-12 {
            continue;
        }
        let swap =
            |step: &diagnosis::BenchStep| matches!(step.action, diagnosis::Action::Swap { .. });
        swaps += usize::from(situation.steps.iter().any(swap));
        for machine in &situation.machines {
            let name = format!("{seed}-{}", machine.tag);
            let network = diagnosis.export_network(&machine.tag).expect("a network");
            bench.write(&format!("networks/{name}.uai"), network.uai);
            bench.write(&format!("networks/{name}.uai.evid"), network.evidence);
            bench.write(&format!("networks/{name}.names"), network.names);
            expected.insert(name, posteriors(&diagnosis, &machine.tag));
        }
        situations += 1;
        if situations == 200 {
            break;
        }
    }
    assert!(swaps >= 20, "{swaps} situations with swaps");
    let answers = by_the_library(&bench.folder().join("networks"));
    let mut compared = 0;
    for (name, modes) in &expected {
        let answer = answers[name]["modes"].as_object().expect("modes");
        for (mode, chance) in answer {
            let chance = chance.as_f64().expect("a chance");
            let found = modes[mode];
            assert!(
                (found - chance).abs() <= 1e-9,
                "{name} {mode}: found {found}, expected {chance}"
            );
            compared += 1;
        }
        // what is no variable of the network cannot be bad
        for (mode, found) in modes.iter().filter(|(mode, _)| !answer.contains_key(*mode)) {
            let own = !mode.ends_with(".bad");
            assert!(!own || *found == 0.0, "{name} {mode}: {found}");
        }
    }
    assert!(compared > 1500, "{compared} modes compared");
}

/// The demo's board and every starter against the generated schema, by the library `jsonschema` from PyPI; a file with a slip
/// does not fit.
#[test]
fn every_shipped_profile_fits_the_schema() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let bench = Bench::new();
    let mut files = vec![root.join("examples/ostrel/boards/ostrel-8-r2.toml")];
    for id in catalogue::starter_ids() {
        let text = catalogue::starter_text(id).expect("it is there");
        bench.write(&format!("{id}.toml"), text);
        files.push(bench.folder().join(format!("{id}.toml")));
    }
    let demo = std::fs::read_to_string(&files[0]).expect("the demo's board");
    bench.write("slip.toml", demo.replacen("fed_by", "fed_bi", 1));
    files.push(bench.folder().join("slip.toml"));
    let python = env::var_os("BOARDWRIGHT_PYTHON").expect(
        "found no BOARDWRIGHT_PYTHON, expected a Python with the libraries: run `cargo xtask test`",
    );
    let output = Command::new(python)
        .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/external/schema.py"))
        .arg(root.join("catalogue/profile.schema.json"))
        .args(&files)
        .output()
        .expect("Python starts");
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let answers: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect();
    assert_eq!(answers.len(), files.len());
    let (slip, good) = answers.split_last().expect("answers");
    for answer in good {
        assert_eq!(
            answer["problems"],
            serde_json::json!([]),
            "{}",
            answer["name"]
        );
    }
    assert!(slip["problems"].to_string().contains("fed_bi"), "{slip}");
}
