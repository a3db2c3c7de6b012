//! Every case that settles the rules of the fault model, every expected value.

mod support;

use std::{collections::BTreeMap, fs, path::Path};

use diagnosis::{Diagnosis, Holder, ModeChance};
use serde_json::Value;
use support::{Case, read_case};

fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= 1e-9 + 1e-9 * expected.abs()
}

fn name(mode: &ModeChance) -> String {
    match &mode.holder {
        Holder::Position { machine, part } => format!("{machine} {part}.{}", mode.mode),
        Holder::Marked(mark) => format!("{mark}.{}", mode.mode),
        Holder::Outside(id) => format!("{id}.{}", mode.mode),
    }
}

/// All differences between what a case expects and what the program answers.
fn differences(case: &Case) -> Vec<String> {
    let diagnosis = match Diagnosis::of(&case.situation) {
        Ok(diagnosis) => diagnosis,
        Err(error) => return vec![error.to_string()],
    };
    let mut wrong = Vec::new();
    let expected = &case.expected;
    let mut compare = |what: String, found: f64, expected: &Value| {
        if !expected
            .as_f64()
            .is_some_and(|expected| close(found, expected))
        {
            wrong.push(format!("{what}: found {found}, expected {expected}"));
        }
    };
    compare(
        "p_findings".to_owned(),
        diagnosis.p_findings(),
        &expected["p_findings"],
    );
    let modes: BTreeMap<String, f64> = diagnosis
        .modes()
        .iter()
        .map(|mode| (name(mode), mode.chance))
        .collect();
    let expected_modes = expected["modes"].as_object().expect("modes");
    compare(
        "number of modes".to_owned(),
        modes.len() as f64,
        &expected_modes.len().into(),
    );
    for (mode, chance) in expected_modes {
        compare(
            mode.clone(),
            modes.get(mode).copied().unwrap_or(f64::NAN),
            chance,
        );
    }
    let events: BTreeMap<String, f64> = diagnosis
        .events()
        .into_iter()
        .map(|(whose, event, chance)| (format!("{whose} {event}"), chance))
        .collect();
    for (event, chance) in expected["events"].as_object().expect("events") {
        compare(
            event.clone(),
            events.get(event).copied().unwrap_or(f64::NAN),
            chance,
        );
    }
    for (tag, chance) in expected["unmodelled"].as_object().expect("unmodelled") {
        compare(
            format!("unmodelled {tag}"),
            diagnosis.unmodelled(tag),
            chance,
        );
    }
    compare(
        "entropy".to_owned(),
        diagnosis.entropy_bits(),
        &expected["entropy_bits"],
    );
    functions(&diagnosis, case, &mut compare);
    given_others(&diagnosis, expected, &mut compare);
    next(&diagnosis, case, &mut compare);
    wrong.extend(explanations(&diagnosis, expected));
    wrong.extend(
        case.by_hand
            .iter()
            .filter(|by_hand| !agrees(expected, by_hand))
            .map(|by_hand| format!("expected values disagree with the derivation {by_hand}")),
    );
    wrong
}

/// A value derived on paper is the one expected; published ones are printed to ten digits.
fn agrees(expected: &Value, by_hand: &Value) -> bool {
    let path = format!("/{}", by_hand["what"].as_str().unwrap_or_default());
    match (
        expected.pointer(&path).and_then(Value::as_f64),
        by_hand["value"].as_f64(),
    ) {
        (Some(expected), Some(by_hand)) => close(expected, by_hand),
        _ => false,
    }
}

fn functions(diagnosis: &Diagnosis, case: &Case, compare: &mut impl FnMut(String, f64, &Value)) {
    let mut found = BTreeMap::new();
    for machine in &case.situation.machines {
        for function in diagnosis.functions(&machine.tag).expect("functions") {
            let target = match function.target {
                catalogue::Target::Function(id) => id,
                catalogue::Target::Rail(name, catalogue::RailSide::High) => format!("{name}.high"),
                catalogue::Target::Rail(name, _) => format!("{name}.present"),
            };
            found.insert(format!("{} {target}", machine.tag), function.chance);
        }
    }
    for (function, chance) in case.expected["functions"].as_object().expect("functions") {
        compare(
            function.clone(),
            found.get(function).copied().unwrap_or(f64::NAN),
            chance,
        );
    }
}

fn given_others(
    diagnosis: &Diagnosis,
    expected: &Value,
    compare: &mut impl FnMut(String, f64, &Value),
) {
    let fits = diagnosis.given_others();
    for fit in expected["given_others"].as_array().expect("fits") {
        let steps: Vec<usize> = fit["steps"]
            .as_array()
            .expect("steps")
            .iter()
            .map(|step| step.as_u64().expect("index") as usize)
            .collect();
        let found = fits
            .iter()
            .find(|fit| fit.steps == steps)
            .map_or(f64::NAN, |fit| fit.p);
        compare(format!("given others {steps:?}"), found, &fit["p"]);
    }
}

fn next(diagnosis: &Diagnosis, case: &Case, compare: &mut impl FnMut(String, f64, &Value)) {
    let wanted = case.expected["next"].as_array().expect("next");
    let mut count = 0;
    for machine in &case.situation.machines {
        let predictions = diagnosis.predictions(&machine.tag).expect("predictions");
        count += predictions.len();
        for prediction in predictions {
            let what = format!("{} {}", machine.tag, prediction.check);
            let Some(expected) = wanted.iter().find(|next| {
                next["machine"] == machine.tag.as_str()
                    && next["check"] == prediction.check.as_str()
            }) else {
                compare(format!("{what} predicted"), f64::NAN, &Value::Null);
                continue;
            };
            for (outcome, chance) in prediction.outcomes {
                compare(
                    format!("{what} {outcome}"),
                    chance,
                    &expected["outcomes"][&outcome],
                );
            }
            compare(
                format!("{what} entropy fall"),
                prediction.entropy_fall_bits,
                &expected["entropy_fall_bits"],
            );
        }
    }
    compare(
        "number of predictions".to_owned(),
        count as f64,
        &wanted.len().into(),
    );
}

/// Shares must agree in order; sets must agree unless shares tie.
fn explanations(diagnosis: &Diagnosis, expected: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    for (tag, list) in expected["explanations"].as_object().expect("explanations") {
        let found = diagnosis.explanations(tag, 5).expect("explanations");
        let list = list.as_array().expect("a list");
        for (place, expected) in list.iter().enumerate() {
            let share = expected["share"].as_f64().expect("a share");
            let mut modes: Vec<String> = expected["modes"]
                .as_array()
                .expect("modes")
                .iter()
                .map(|mode| mode.as_str().expect("a mode").to_owned())
                .collect();
            modes.sort();
            let same = found.iter().any(|found| {
                let mut names: Vec<String> = found
                    .modes
                    .iter()
                    .map(|(part, mode)| format!("{part}.{mode}"))
                    .chain(found.unmodelled.then(|| "unmodelled".to_owned()))
                    .collect();
                names.sort();
                names == modes && close(found.share, share)
            });
            let tied = list.iter().enumerate().any(|(other, tied)| {
                other != place && close(tied["share"].as_f64().unwrap_or(0.0), share)
            });
            let as_likely = found
                .get(place)
                .is_some_and(|found| close(found.share, share));
            if !(same || tied && as_likely) {
                wrong.push(format!(
                    "explanation of {tag} at {place}: expected {expected}, found {found:?}"
                ));
            }
        }
    }
    wrong
}

#[test]
fn every_case_agrees() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules");
    let mut cases: Vec<_> = fs::read_dir(folder)
        .expect("cases")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    cases.sort();
    assert_eq!(cases.len(), 30);
    let mut failures = String::new();
    for case in &cases {
        for difference in differences(&read_case(case)) {
            failures.push_str(&format!(
                "{}: {difference}\n",
                case.file_name()
                    .and_then(|name| name.to_str())
                    .unwrap_or("?")
            ));
        }
    }
    assert!(failures.is_empty(), "\n{failures}");
}
