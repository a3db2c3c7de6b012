//! Reads a case folder: a board profile and the steps made with machines of it.

use std::{collections::BTreeMap, fs, path::Path, sync::Arc};

use catalogue::{Library, Profile};
use diagnosis::{
    Action, BenchStep, Chip, Machine, Measure, Places, Shown, Situation, Supply, Treatment, Truth,
};
use serde_json::Value;
use units::Component;

/// A case with what is expected of it.
pub(crate) struct Case {
    pub(crate) situation: Situation,
    pub(crate) expected: Value,
    /// Values derived on paper: `what` is a path into `expected`.
    pub(crate) by_hand: Vec<Value>,
}

pub(crate) fn read_case(folder: &Path) -> Case {
    let board = fs::read_to_string(folder.join("board.toml")).expect("a case has a board");
    let case: Value = serde_json::from_str(
        &fs::read_to_string(folder.join("case.json")).expect("a case has steps"),
    )
    .expect("JSON");
    let profile = catalogue::parse_profile(&board, "board.toml", &Library::default())
        .unwrap_or_else(|problems| panic!("{folder:?}: {problems:?}"));
    Case {
        situation: situation(profile, &case),
        expected: case["expected"].clone(),
        by_hand: case["by_hand"].as_array().cloned().unwrap_or_default(),
    }
}

fn text(value: &Value) -> Option<String> {
    value.as_str().map(str::to_owned)
}

fn texts(value: &Value) -> Vec<String> {
    value
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(text)
        .collect()
}

fn known(value: &Value) -> BTreeMap<String, bool> {
    value
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|(event, known)| Some((event.clone(), known.as_bool()?)))
        .collect()
}

pub(crate) fn situation(profile: Profile, case: &Value) -> Situation {
    let machines = case["machines"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|machine| Machine {
            tag: text(&machine["tag"]).expect("a tag"),
            profile: profile.id.clone(),
            lot: text(&machine["lot"]),
            known: known(&machine["known"]),
            empty: texts(&machine["empty"]),
            outside: machine["outside"]
                .is_array()
                .then(|| texts(&machine["outside"])),
            mule: machine["mule"] == true,
        });
    let lots = case["lots"]
        .as_object()
        .into_iter()
        .flatten()
        .map(|(lot, about)| (lot.clone(), known(&about["known"])));
    Situation {
        machines: machines.collect(),
        lots: lots.collect(),
        steps: case["steps"]
            .as_array()
            .into_iter()
            .flatten()
            .map(step)
            .collect(),
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
    }
}

fn step(step: &Value) -> BenchStep {
    BenchStep {
        time: step["time"].as_str().map(minutes),
        action: action(step),
    }
}

/// Minutes of an ISO time of one month.
fn minutes(time: &str) -> f64 {
    let numbers: Vec<f64> = time
        .split(|c: char| !c.is_ascii_digit())
        .filter_map(|part| part.parse().ok())
        .collect();
    numbers[2] * 1440.0 + numbers[3] * 60.0 + numbers[4]
}

fn action(step: &Value) -> Action {
    let machine = text(&step["machine"]).unwrap_or_default();
    let part = text(&step["part"]).unwrap_or_default();
    let supply = if step["supply"] == "bench" {
        Supply::Bench
    } else {
        Supply::Usual
    };
    match step["do"].as_str().expect("what was done") {
        "measure" => Action::Measure(Measure {
            machine,
            check: text(&step["check"]).expect("a check"),
            shown: shown(step),
            person: text(&step["person"]),
            minutes_on: step["minutes_on"].as_f64(),
            supply,
        }),
        "power" => Action::Power { machine, supply },
        "set-up" => Action::SetUp { machine },
        "pull" => Action::Pull {
            machine,
            part,
            mark: text(&step["mark"]),
        },
        "fit" => {
            let chip = text(&step["mark"]).map_or_else(
                || Chip::New {
                    works: step["works"].as_f64().unwrap_or(1.0),
                },
                Chip::Marked,
            );
            Action::Fit {
                machine,
                part,
                chip,
                old_mark: text(&step["old_mark"]),
            }
        }
        "swap" => {
            let end = |value: &Value| {
                (
                    text(&value[0]).expect("a machine"),
                    text(&value[1]).expect("a part"),
                )
            };
            Action::Swap {
                a: end(&step["a"]),
                b: end(&step["b"]),
            }
        }
        "mend" => Action::Mend { machine },
        "settle" => settle(step),
        other => {
            let treatment = match other {
                "reseat" => Treatment::Reseat,
                "resolder" => Treatment::Resolder,
                "clean" => Treatment::Clean,
                other => panic!("unknown step {other}"),
            };
            let places = text(&step["block"])
                .map_or_else(|| Places::Parts(texts(&step["parts"])), Places::Block);
            Action::Treat {
                machine,
                treatment,
                places,
            }
        }
    }
}

fn settle(step: &Value) -> Action {
    let machine = text(&step["machine"]);
    let mode = text(&step["mode"]);
    let truth = match (text(&step["mark"]), mode) {
        (Some(mark), Some(mode)) => Truth::MarkedMode {
            mark,
            mode: mode.rsplit('.').next().expect("a mode").to_owned(),
        },
        (None, Some(mode)) => {
            let (part, mode) = mode.split_once('.').expect("part and mode");
            Truth::Mode {
                part: part.to_owned(),
                mode: mode.to_owned(),
            }
        }
        (_, None) if step["works"] == true => Truth::Works,
        (_, None) => Truth::Unmodelled,
    };
    Action::Settle { machine, truth }
}

fn shown(step: &Value) -> Shown {
    match step["outcome"].as_str() {
        Some("cannot") => Shown::Cannot,
        Some("skipped") => Shown::Skipped,
        Some(outcome) => Shown::Outcome(outcome.to_owned()),
        None => {
            let component = |value: &Value| Component {
                percent: value["percent"].as_f64().unwrap_or(0.0),
                counts: value["counts"].as_f64().unwrap_or(0.0),
                digit: value["digit"].as_f64().unwrap_or(0.0),
            };
            let components = match &step["instrument"] {
                Value::Array(list) => list.iter().map(component).collect(),
                one => vec![component(one)],
            };
            Shown::Reading {
                value: step["reading"].as_f64().expect("a reading"),
                components,
            }
        }
    }
}
