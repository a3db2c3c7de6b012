//! Answers as JSON, in the shape of the files' expected values.

use std::time::Instant;

use catalogue::{RailSide, Target};
use diagnosis::{BenchStep, Diagnosis, Error, Holder, ModeChance, Situation};
use serde_json::{Map, Value, json};

use crate::network::{MACHINE, Network};

/// How many explanations a case lists for each machine.
const EXPLANATIONS: usize = 5;

/// What a case's `expected` holds, answered.
///
/// # Errors
/// The situation cannot be diagnosed.
pub fn answer_case(situation: &Situation) -> Result<Value, Error> {
    let diagnosis = Diagnosis::of(situation)?;
    let tags = || situation.machines.iter().map(|machine| &machine.tag[..]);
    let mut functions = Map::new();
    let mut explanations = Map::new();
    let mut next = Vec::new();
    for tag in tags() {
        for function in diagnosis.functions(tag)? {
            let name = format!("{tag} {}", target_name(&function.target));
            functions.insert(name, function.chance.into());
        }
        explanations.insert(tag.to_owned(), explained(&diagnosis, tag)?);
        next.extend(predicted(&diagnosis, tag)?);
    }
    let events = diagnosis.events();
    let fits = diagnosis.given_others();
    Ok(json!({
        "p_findings": diagnosis.p_findings(),
        "modes": diagnosis.modes().iter().map(named).collect::<Map<_, _>>(),
        "events": events
            .into_iter()
            .map(|(whose, event, chance)| (format!("{whose} {event}"), chance.into()))
            .collect::<Map<_, _>>(),
        "functions": functions,
        "unmodelled": tags()
            .map(|tag| (tag.to_owned(), diagnosis.unmodelled(tag).into()))
            .collect::<Map<_, _>>(),
        "explanations": explanations,
        "given_others": fits
            .iter()
            .map(|fit| json!({"steps": fit.steps, "p": fit.p}))
            .collect::<Vec<_>>(),
        "next": next,
        "entropy_bits": diagnosis.entropy_bits(),
    }))
}

fn named(mode: &ModeChance) -> (String, Value) {
    let name = match &mode.holder {
        Holder::Position { machine, part } => format!("{machine} {part}.{}", mode.mode),
        Holder::Marked(mark) => format!("{mark}.{}", mode.mode),
        Holder::Outside(id) => format!("{id}.{}", mode.mode),
    };
    (name, mode.chance.into())
}

fn target_name(target: &Target) -> String {
    match target {
        Target::Function(id) => id.clone(),
        Target::Rail(name, RailSide::High) => format!("{name}.high"),
        Target::Rail(name, _) => format!("{name}.present"),
    }
}

fn explained(diagnosis: &Diagnosis, tag: &str) -> Result<Value, Error> {
    let explanations = diagnosis.explanations(tag, EXPLANATIONS)?;
    Ok(explanations
        .into_iter()
        .map(|explanation| {
            let modes = explanation.modes.iter();
            let names: Vec<String> = modes
                .map(|(part, mode)| format!("{part}.{mode}"))
                .chain(explanation.unmodelled.then(|| "unmodelled".to_owned()))
                .collect();
            json!({"modes": names, "share": explanation.share})
        })
        .collect())
}

fn predicted(diagnosis: &Diagnosis, tag: &str) -> Result<Vec<Value>, Error> {
    let predictions = diagnosis.predictions(tag)?;
    let line = |prediction: diagnosis::Prediction| {
        let outcomes = prediction.outcomes.into_iter();
        json!({
            "machine": tag,
            "check": prediction.check,
            "outcomes": outcomes.map(|(id, chance)| (id, chance.into())).collect::<Map<_, _>>(),
            "entropy_fall_bits": prediction.entropy_fall_bits,
        })
    };
    Ok(predictions.into_iter().map(line).collect())
}

/// The answer to one set of findings of a network; `seconds` is the time from the findings to all posteriors.
///
/// # Errors
/// The findings cannot be diagnosed.
pub fn answer_network(
    network: &Network,
    index: usize,
    steps: &[BenchStep],
) -> Result<Value, Error> {
    let situation = network.situation(steps);
    let start = Instant::now();
    let diagnosis = Diagnosis::of(&situation)?;
    let modes = diagnosis.modes();
    let p = diagnosis.p_findings();
    let seconds = start.elapsed().as_secs_f64();
    Ok(json!({
        "index": index,
        "evidence_prob": p,
        "posteriors": modes.iter().map(fault).collect::<Map<_, _>>(),
        "entropy_bits": diagnosis.entropy_bits(),
        "eig": gains(&diagnosis)?,
        "seconds": seconds,
    }))
}

fn fault(mode: &ModeChance) -> (String, Value) {
    match &mode.holder {
        Holder::Position { part, .. } => (part.clone(), mode.chance.into()),
        _ => named(mode),
    }
}

/// What each observation not yet made would show and tell: `p_fail` and `gain_bits`.
///
/// # Errors
/// The answer would be too large.
pub fn gains(diagnosis: &Diagnosis) -> Result<Value, Error> {
    let predictions = diagnosis.predictions(MACHINE)?;
    let gain = |prediction: diagnosis::Prediction| {
        let fail = prediction.outcomes.iter().find(|(id, _)| id == "fail");
        let gain = json!({
            "p_fail": fail.map_or(0.0, |(_, chance)| *chance),
            "gain_bits": prediction.entropy_fall_bits,
        });
        (prediction.check, gain)
    };
    Ok(Value::Object(predictions.into_iter().map(gain).collect()))
}
