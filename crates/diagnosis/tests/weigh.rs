//! Weights of evidence and conflict on a board small enough to reckon by hand.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::Library;
use diagnosis::{Action, BenchStep, Diagnosis, Machine, Measure, Shown, Situation, Supply};

const BOARD: &str = r#"
[board]
id = "two"
title = "two"
unmodelled = 0.0
[[block]]
id = "all"
[[part]]
ref = "U1"
block = "all"
mount = "socket"
[[part.mode]]
id = "dead"
chance = 0.1
[[function]]
id = "f"
needs = ["U1"]
leak = 0.0
[[check]]
id = "look"
title = "look"
minutes = 1
tells = "f"
false_pass = 0.01
false_fail = 0.02
blunder = 0.0
[[check]]
id = "listen"
title = "listen"
minutes = 1
tells = "f"
false_pass = 0.2
false_fail = 0.1
blunder = 0.0
"#;

fn diagnosis(findings: &[(&str, &str)]) -> Diagnosis {
    let profile =
        catalogue::parse_profile(BOARD, "two.toml", &Library::default()).expect("a board");
    let look = |(check, outcome): &(&str, &str)| BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: "T-01".to_owned(),
            check: (*check).to_owned(),
            shown: Shown::Outcome((*outcome).to_owned()),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    };
    let situation = Situation {
        machines: vec![Machine {
            tag: "T-01".to_owned(),
            profile: profile.id.clone(),
            ..Machine::default()
        }],
        steps: findings.iter().map(look).collect(),
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
        ..Situation::default()
    };
    Diagnosis::of(&situation).expect("a diagnosis")
}

#[test]
fn a_fail_speaks_by_its_likelihood_ratio() {
    let weights = diagnosis(&[("look", "fail"), ("listen", "pass")])
        .weights("T-01", "U1", "dead")
        .expect("weights");
    assert!((weights[0].decibans - 10.0 * (0.99_f64 / 0.02).log10()).abs() < 1e-9);
    assert!((weights[1].decibans - 10.0 * (0.2_f64 / 0.9).log10()).abs() < 1e-9);
}

#[test]
fn findings_of_one_check_speak_together() {
    let speaks = diagnosis(&[("look", "fail"), ("listen", "pass"), ("look", "fail")])
        .for_and_against("T-01")
        .expect("weights");
    let steps: Vec<&[usize]> = speaks.iter().map(|one| one.steps.as_slice()).collect();
    assert_eq!(steps, [&[0, 2][..], &[1]]);
    let of = |one: usize| {
        let (_, mode, decibans) = &speaks[one].decibans[0];
        assert_eq!(mode, "dead");
        *decibans
    };
    assert!((of(0) - 20.0 * (0.99_f64 / 0.02).log10()).abs() < 1e-9);
    assert!((of(1) - 10.0 * (0.2_f64 / 0.9).log10()).abs() < 1e-9);
    assert!(diagnosis(&[]).for_and_against("T-09").is_err());
}

#[test]
fn findings_that_disagree_conflict() {
    // P(look fail) = 0.1·0.99 + 0.9·0.02, P(listen pass) = 0.1·0.2 + 0.9·0.9, jointly 0.1·0.99·0.2 + 0.9·0.02·0.9
    let expected = (0.117_f64 * 0.83 / 0.036).ln();
    assert!(
        (diagnosis(&[("look", "fail"), ("listen", "pass")]).conflict() - expected).abs() < 1e-12
    );
    assert!(expected > 0.0);
    assert!(diagnosis(&[("look", "fail"), ("listen", "fail")]).conflict() < 0.0);
    assert!(diagnosis(&[]).conflict().abs() < 1e-12);
}

#[test]
fn an_unknown_mode_is_named() {
    let error = diagnosis(&[])
        .weights("T-01", "U1", "tired")
        .expect_err("no such mode");
    assert_eq!(
        error.to_string(),
        "found mode `U1.tired`, expected a mode that machine `T-01` can have"
    );
}
