//! Reads a fault network of the schema `perf-bn-1` as the profile of one board with one machine.

use std::{collections::BTreeMap, fs, path::Path, sync::Arc};

use catalogue::{Check, Function, Need, Part, Profile, Target};
use diagnosis::{Action, BenchStep, Machine, Measure, Shown, Situation, Supply};
use serde::Deserialize;
use serde_json::{Map, Value};

use crate::{error::Error, made};

/// The tag of the one machine.
pub const MACHINE: &str = "T-01";

const SCHEMA: &str = "perf-bn-1";
const PROFILE: &str = "network";

/// A network with its sets of findings.
#[derive(Debug, Clone)]
pub struct Network {
    /// Faults as parts with one mode, functions, observations as checks.
    pub profile: Arc<Profile>,
    /// In the order of the file.
    pub sets: Vec<EvidenceSet>,
}

/// Findings, and what is expected of them.
#[derive(Debug, Clone)]
pub struct EvidenceSet {
    /// The findings as steps.
    pub steps: Vec<BenchStep>,
    /// The expected answer; null where the file does not say.
    pub expected: Value,
}

impl Network {
    /// The machine with these steps.
    #[must_use]
    pub fn situation(&self, steps: &[BenchStep]) -> Situation {
        Situation {
            profiles: BTreeMap::from([(PROFILE.to_owned(), Arc::clone(&self.profile))]),
            machines: vec![Machine {
                tag: MACHINE.to_owned(),
                profile: PROFILE.to_owned(),
                ..Machine::default()
            }],
            steps: steps.to_vec(),
            ..Situation::default()
        }
    }
}

#[derive(Deserialize)]
struct NetworkFile {
    schema: String,
    faults: Vec<FaultLine>,
    functions: Vec<FunctionLine>,
    observations: Vec<ObservationLine>,
    evidence_sets: Vec<EvidenceLine>,
    #[serde(default)]
    expected: Vec<Value>,
}

#[derive(Deserialize)]
struct FaultLine {
    id: String,
    prior: f64,
}

#[derive(Deserialize)]
struct FunctionLine {
    id: String,
    leak: f64,
    parents: Vec<ParentLine>,
}

#[derive(Deserialize)]
struct ParentLine {
    id: String,
    strength: f64,
}

#[derive(Deserialize)]
struct ObservationLine {
    id: String,
    function: String,
    false_pass: f64,
    false_fail: f64,
}

#[derive(Deserialize)]
struct EvidenceLine {
    evidence: Map<String, Value>,
}

/// Reads a network file.
///
/// # Errors
/// The file is missing, is not of the schema, or names what it does not have.
pub fn read_network(file: &Path) -> Result<Network, Error> {
    let text = fs::read_to_string(file).map_err(|error| Error::unreadable(file, &error))?;
    parse_network(&text, file)
}

/// Reads a network's text; errors name the file.
///
/// # Errors
/// The text is not of the schema, or names what it does not have.
pub fn parse_network(text: &str, file: &Path) -> Result<Network, Error> {
    let network: NetworkFile =
        serde_json::from_str(text).map_err(|error| Error::json(file, &error))?;
    if network.schema != SCHEMA {
        let found = &network.schema;
        return Err(Error::new(
            file,
            format!("expected the schema `{SCHEMA}`, found `{found}`"),
        ));
    }
    let profile = profile(&network).map_err(|message| Error::new(file, message))?;
    let mut sets = Vec::new();
    for (index, line) in network.evidence_sets.iter().enumerate() {
        let steps = line.evidence.iter().map(|(check, outcome)| {
            if !profile.checks.iter().any(|known| known.id == *check) {
                return Err(format!("expected an observation, found `{check}`"));
            }
            look(check, outcome)
        });
        let steps = steps
            .collect::<Result<_, String>>()
            .map_err(|message| Error::new(file, format!("evidence_sets[{index}]: {message}")))?;
        let expected = network.expected.iter().find(|one| one["index"] == index);
        sets.push(EvidenceSet {
            steps,
            expected: expected.cloned().unwrap_or_default(),
        });
    }
    Ok(Network {
        profile: Arc::new(profile),
        sets,
    })
}

/// One observation made.
fn look(check: &str, outcome: &Value) -> Result<BenchStep, String> {
    let outcome = match outcome.as_str() {
        Some(outcome @ ("pass" | "fail")) => outcome,
        _ => {
            return Err(format!(
                "{check}: expected `pass` or `fail`, found {outcome}"
            ));
        }
    };
    Ok(BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: MACHINE.to_owned(),
            check: check.to_owned(),
            shown: Shown::Outcome(outcome.to_owned()),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    })
}

fn profile(network: &NetworkFile) -> Result<Profile, String> {
    let mut functions: Vec<Function> = Vec::new();
    for line in &network.functions {
        let needs = line.parents.iter().map(|parent| {
            need(parent, network, &functions).ok_or_else(|| {
                format!(
                    "{}: expected a fault or an earlier function, found `{}`",
                    line.id, parent.id
                )
            })
        });
        let needs = needs.collect::<Result<_, String>>()?;
        functions.push(Function {
            id: line.id.clone(),
            title: String::new(),
            needs,
            leak: line.leak,
        });
    }
    for line in &network.observations {
        if !functions.iter().any(|known| known.id == line.function) {
            let (id, found) = (&line.id, &line.function);
            return Err(format!("{id}: expected a function, found `{found}`"));
        }
    }
    Ok(Profile {
        id: PROFILE.to_owned(),
        blocks: vec![made::block()],
        parts: network.faults.iter().map(part).collect(),
        functions,
        checks: network.observations.iter().map(check).collect(),
        ..Profile::default()
    })
}

fn need(parent: &ParentLine, network: &NetworkFile, earlier: &[Function]) -> Option<Need> {
    let chance = parent.strength;
    if network.faults.iter().any(|fault| fault.id == parent.id) {
        return Some(Need::Mode {
            part: parent.id.clone(),
            mode: "bad".to_owned(),
            chance,
        });
    }
    earlier
        .iter()
        .any(|function| function.id == parent.id)
        .then(|| Need::Target {
            target: Target::Function(parent.id.clone()),
            chance,
        })
}

fn part(fault: &FaultLine) -> Part {
    made::part(&fault.id, made::mode("bad", fault.prior))
}

fn check(observation: &ObservationLine) -> Check {
    let errors = [observation.false_pass, observation.false_fail];
    made::telling(&observation.id, &observation.function, errors)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SMALL: &str = r#"{"schema": "perf-bn-1", "faults": [{"id": "F0", "prior": 0.1}],
        "functions": [{"id": "G0", "leak": 0.01, "parents": [{"id": "F0", "strength": 0.9}]}],
        "observations": [{"id": "O0", "function": "G0", "false_pass": 0.02, "false_fail": 0.05}],
        "evidence_sets": [{"evidence": {"O0": "fail"}}]}"#;

    #[test]
    fn wrong_networks_say_what_is_expected() {
        let check = |from: &str, to: &str, expect: &str| {
            let text = SMALL.replacen(from, to, 1);
            let error = parse_network(&text, Path::new("n.json")).unwrap_err();
            assert_eq!(error.file, "n.json");
            assert!(error.message.contains(expect), "{}", error.message);
        };
        assert_eq!(
            parse_network(SMALL, Path::new("n.json"))
                .unwrap()
                .sets
                .len(),
            1
        );
        check(
            "perf-bn-1",
            "perf-bn-2",
            "expected the schema `perf-bn-1`, found `perf-bn-2`",
        );
        check("\"prior\": 0.1", "\"prio\": 0.1", "missing field `prior`");
        check(
            "[{\"id\": \"F0\", \"strength",
            "[{\"id\": \"F9\", \"strength",
            "found `F9`",
        );
        check(
            "\"function\": \"G0\"",
            "\"function\": \"G9\"",
            "expected a function, found `G9`",
        );
        check(
            "{\"O0\": \"fail\"}",
            "{\"O9\": \"fail\"}",
            "expected an observation, found `O9`",
        );
        check("\"fail\"", "\"bad\"", "expected `pass` or `fail`");
    }
}
