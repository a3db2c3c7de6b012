//! Synthetic fault networks with exact reference values, each turned into a board profile.

use std::{collections::BTreeMap, fs, path::Path, sync::Arc};

use catalogue::{
    Block, Check, CuredBy, Function, Mode, Mount, Need, Outcome, Part, Profile, RailFault, Site,
    Target, Tells,
};
use diagnosis::{Action, BenchStep, Diagnosis, Holder, Machine, Measure, Shown, Situation, Supply};
use serde_json::Value;

fn text(value: &Value) -> String {
    value.as_str().expect("text").to_owned()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().expect("a list")
}

fn part(fault: &Value) -> Part {
    let mode = Mode {
        id: "bad".to_owned(),
        title: String::new(),
        chance: number(&fault["prior"]),
        site: Site::Chip,
        spoils: Vec::new(),
        spares: Vec::new(),
        shows: 1.0,
        after_minutes: 0.0,
        cured_by: CuredBy::default(),
        rail: RailFault::Low,
    };
    Part {
        reference: text(&fault["id"]),
        title: String::new(),
        block: "all".to_owned(),
        device: None,
        mount: Mount::Socket,
        optional: false,
        modes: vec![mode],
        area: None,
    }
}

fn function(function: &Value, faults: &[Value]) -> Function {
    let need = |parent: &Value| {
        let chance = number(&parent["strength"]);
        if faults.iter().any(|fault| fault["id"] == parent["id"]) {
            Need::Mode {
                part: text(&parent["id"]),
                mode: "bad".to_owned(),
                chance,
            }
        } else {
            Need::Target {
                target: Target::Function(text(&parent["id"])),
                chance,
            }
        }
    };
    Function {
        id: text(&function["id"]),
        title: String::new(),
        needs: list(&function["parents"]).iter().map(need).collect(),
        leak: number(&function["leak"]),
    }
}

fn check(observation: &Value) -> Check {
    let outcome = |id: &str| Outcome {
        id: id.to_owned(),
        title: String::new(),
    };
    Check {
        id: text(&observation["id"]),
        aliases: Vec::new(),
        title: String::new(),
        how: String::new(),
        caution: None,
        minutes: 1.0,
        set_up: Vec::new(),
        requires: Vec::new(),
        harms: Vec::new(),
        at: Vec::new(),
        outcomes: vec![outcome("pass"), outcome("fail")],
        tells: Tells::Target {
            target: Target::Function(text(&observation["function"])),
            false_pass: number(&observation["false_pass"]),
            false_fail: number(&observation["false_fail"]),
        },
        blunder: 0.0,
        limits: None,
        repeats_same: false,
    }
}

fn situation(network: &Value, evidence: &Value) -> Situation {
    let faults = list(&network["faults"]);
    let profile = Profile {
        id: "network".to_owned(),
        blocks: vec![Block {
            id: "all".to_owned(),
            title: String::new(),
        }],
        parts: faults.iter().map(part).collect(),
        functions: list(&network["functions"])
            .iter()
            .map(|one| function(one, faults))
            .collect(),
        checks: list(&network["observations"]).iter().map(check).collect(),
        ..Profile::default()
    };
    let look = |(check, outcome): (&String, &Value)| BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: "T-01".to_owned(),
            check: check.clone(),
            shown: Shown::Outcome(text(outcome)),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    };
    Situation {
        machines: vec![Machine {
            tag: "T-01".to_owned(),
            profile: "network".to_owned(),
            ..Machine::default()
        }],
        steps: evidence["evidence"]
            .as_object()
            .expect("observations")
            .iter()
            .map(look)
            .collect(),
        profiles: BTreeMap::from([("network".to_owned(), Arc::new(profile))]),
        ..Situation::default()
    }
}

fn check_network(name: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/networks")
        .join(name);
    let network: Value =
        serde_json::from_str(&fs::read_to_string(path).expect("a network")).expect("JSON");
    for (index, (evidence, expected)) in list(&network["evidence_sets"])
        .iter()
        .zip(list(&network["expected"]))
        .enumerate()
    {
        let diagnosis = Diagnosis::of(&situation(&network, evidence)).expect("a diagnosis");
        let p = number(&expected["evidence_prob"]);
        assert!(
            (diagnosis.p_findings() - p).abs() <= 1e-9 * p,
            "{name} {index}: found {}, expected {p}",
            diagnosis.p_findings()
        );
        let modes: BTreeMap<String, f64> = diagnosis
            .modes()
            .into_iter()
            .filter_map(|mode| match mode.holder {
                Holder::Position { part, .. } => Some((part, mode.chance)),
                _ => None,
            })
            .collect();
        for (fault, chance) in expected["posteriors"].as_object().expect("posteriors") {
            assert!(
                (modes[fault] - number(chance)).abs() <= 1e-10,
                "{name} {index} {fault}: found {}, expected {chance}",
                modes[fault]
            );
        }
        // absent where nothing is left to observe
        let Some(gains) = expected["eig"].as_object() else {
            continue;
        };
        assert!(
            (diagnosis.entropy_bits() - number(&expected["entropy_bits"])).abs() <= 1e-9,
            "{name} {index}"
        );
        let predictions = diagnosis.predictions("T-01").expect("predictions");
        assert_eq!(predictions.len(), gains.len(), "{name} {index}");
        for prediction in predictions {
            let gain = &gains[&prediction.check];
            assert!(
                (prediction.outcomes[1].1 - number(&gain["p_fail"])).abs() <= 1e-10,
                "{name} {index} {}",
                prediction.check
            );
            assert!(
                (prediction.entropy_fall_bits - number(&gain["gain_bits"])).abs() <= 1e-9,
                "{name} {index} {}",
                prediction.check
            );
        }
    }
}

#[test]
fn small_networks() {
    for name in [
        "small_two_8.json",
        "small_three_12.json",
        "small_deep_16.json",
        "small_three_24.json",
    ] {
        check_network(name);
    }
}

#[test]
fn larger_networks() {
    for name in [
        "three_rand_32.json",
        "deep_local_32.json",
        "two_rand_64.json",
    ] {
        check_network(name);
    }
}
