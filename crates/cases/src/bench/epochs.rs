//! Six epochs on made-up boards of 70 parts and 24 functions: one part is fitted an epoch, one power-up, five looks.
//!
//! The boards are random, each from its seed, and so is the truth behind what the looks show; a part that comes and goes is there in half
//! of the power-ups.

use std::{
    collections::{BTreeMap, BTreeSet},
    io::{self, Write},
    sync::Arc,
    time::Instant,
};

use catalogue::{Function, Mode, Need, Part, Profile, Target};
use diagnosis::{Action, BenchStep, Chip, Diagnosis, Machine, Measure, Shown, Situation, Supply};
use serde_json::{Value, json};

use super::{Plan, Section, memory, verdict::Verdict};
use cases::{Dice, made};

const PARTS: u32 = 70;
const FUNCTIONS: u32 = 24;
const EPOCHS: usize = 6;
const LOOKS: usize = 5;
/// Parts that come and go: in two parts, and in a tenth of them.
const FLAKY: [u32; 2] = [2, 7];
/// Boards of each kind.
const BOARDS: u64 = 9;
const TAG: &str = "T-01";

/// Times the whole diagnosis of each board, and prints a line for each kind.
pub(super) fn run(_plan: &Plan, out: &mut dyn Write) -> io::Result<Section> {
    let mut record = Vec::new();
    let mut seconds = Vec::new();
    let mut bytes = Vec::new();
    let mut bounded = Vec::new();
    for flaky in FLAKY {
        let mut refused = 0;
        let mut worst = 0.0_f64;
        let mut bounds = Vec::new();
        for seed in 1..=BOARDS {
            let situation = situation(flaky, seed);
            let start = memory::start();
            let begun = Instant::now();
            let answer = Diagnosis::of(&situation).map(|diagnosis| {
                let modes = diagnosis.modes().len();
                let aside = diagnosis.aside();
                (modes, diagnosis.width(), diagnosis.entries(), aside)
            });
            let took = begun.elapsed().as_secs_f64();
            let held = start
                .zip(memory::peak())
                .map(|(start, peak)| peak.saturating_sub(start));
            worst = worst.max(took);
            refused += u32::from(answer.is_err());
            let at = format!("board {seed}, {flaky} parts come and go");
            if flaky == FLAKY[0] {
                let took = if answer.is_ok() { took } else { f64::INFINITY };
                seconds.push((took, at.clone()));
                bytes.extend(held.map(|held| (held as f64, at.clone())));
            } else {
                let took = if answer.is_ok() { took } else { f64::INFINITY };
                bounded.push((took, at.clone()));
            }
            let aside = answer.as_ref().ok().and_then(|answer| answer.3.as_ref());
            bounds.extend(aside.map(|aside| (aside.at_most, aside.modes.len())));
            record.push(json!({
                "aside": aside.map(|aside| aside.modes.len()),
                "aside_at_most": aside.map(|aside| aside.at_most),
                "flaky": flaky, "seed": seed, "seconds": took, "bytes": held,
                "width": answer.as_ref().map_or(Value::Null, |answer| answer.1.into()),
                "entries": answer.as_ref().map_or(Value::Null, |answer| answer.2.into()),
            }));
        }
        writeln!(
            out,
            "epochs   {flaky} of {PARTS} parts come and go: {BOARDS} boards, slowest {:.0} ms, {refused} refused; set aside (at most, modes): {bounds:.4?}",
            worst * 1e3
        )?;
    }
    Ok(Section {
        record: record.into(),
        verdicts: vec![
            Verdict::worst("six epochs, seconds", 0.5, seconds),
            Verdict::worst("six epochs, bytes", 1e9, bytes),
            Verdict::worst("six epochs, a tenth comes and goes, seconds", 1.0, bounded),
        ],
    })
}

fn situation(flaky: u32, seed: u64) -> Situation {
    let mut dice = Dice::new(seed);
    let profile = Arc::new(board(&mut dice, flaky));
    let steps = story(&mut dice, &profile);
    Situation {
        profiles: BTreeMap::from([(profile.id.clone(), Arc::clone(&profile))]),
        machines: vec![Machine {
            tag: TAG.to_owned(),
            profile: profile.id.clone(),
            ..Machine::default()
        }],
        steps,
        ..Situation::default()
    }
}

/// Every function needs one or two earlier ones and some parts; a few parts spoil a second function now and then.
fn board(dice: &mut Dice, flaky: u32) -> Profile {
    let mut functions: Vec<Function> = (0..FUNCTIONS)
        .map(|number| Function {
            id: format!("F{number}"),
            title: String::new(),
            needs: Vec::new(),
            leak: 0.001,
        })
        .collect();
    for number in 1..FUNCTIONS {
        let of: BTreeSet<u32> = (0..1 + dice.roll(2)).map(|_| dice.roll(number)).collect();
        let needs = of.into_iter().map(|of| Need::Target {
            target: Target::Function(format!("F{of}")),
            chance: 1.0,
        });
        functions[number as usize].needs.extend(needs);
    }
    let mut parts: Vec<Part> = Vec::new();
    for number in 0..PARTS {
        let mode = Mode {
            shows: if number < flaky { 0.5 } else { 1.0 },
            ..made::mode("bad", 0.01 + f64::from(dice.roll(100)) / 2000.0)
        };
        let part = made::part(&format!("U{number}"), mode);
        let home = dice.roll(FUNCTIONS) as usize;
        functions[home]
            .needs
            .push(Need::Part(part.reference.clone()));
        if dice.happens(0.3) {
            functions[dice.roll(FUNCTIONS) as usize]
                .needs
                .push(Need::Mode {
                    part: part.reference.clone(),
                    mode: "bad".to_owned(),
                    chance: 0.3,
                });
        }
        parts.push(part);
    }
    let checks = functions.iter().map(|function| made::check(&function.id));
    Profile {
        id: "made".to_owned(),
        unmodelled: 0.05,
        checks: checks.collect(),
        blocks: vec![made::block()],
        parts,
        functions,
        ..Profile::default()
    }
}

/// What is true, and what the looks show of it.
fn story(dice: &mut Dice, profile: &Profile) -> Vec<BenchStep> {
    let chance = |part: &Part| part.modes[0].chance;
    let mut bad: Vec<bool> = profile
        .parts
        .iter()
        .map(|part| dice.happens(chance(part)))
        .collect();
    bad[dice.roll(PARTS) as usize] = true;
    let mut steps = Vec::new();
    for epoch in 0..EPOCHS {
        if epoch > 0 {
            let part = dice.roll(PARTS);
            bad[part as usize] = false;
            steps.push(Action::Fit {
                machine: TAG.to_owned(),
                part: format!("U{part}"),
                chip: Chip::New { works: 0.97 },
                old_mark: None,
            });
        }
        steps.push(Action::Power {
            machine: TAG.to_owned(),
            supply: Supply::Usual,
        });
        let there: Vec<bool> = bad
            .iter()
            .zip(&profile.parts)
            .map(|(bad, part)| *bad && dice.happens(part.modes[0].shows))
            .collect();
        let fails = failing(profile, &there);
        for _ in 0..LOOKS {
            let look = dice.roll(FUNCTIONS);
            let seen = fails[look as usize] != dice.happens(0.02);
            steps.push(Action::Measure(Measure {
                machine: TAG.to_owned(),
                check: format!("F{look}"),
                shown: Shown::Outcome(if seen { "fail" } else { "pass" }.to_owned()),
                person: None,
                minutes_on: None,
                supply: Supply::Usual,
            }));
        }
    }
    let untimed = |action| BenchStep { time: None, action };
    steps.into_iter().map(untimed).collect()
}

fn failing(profile: &Profile, there: &[bool]) -> Vec<bool> {
    let number = |id: &str| id[1..].parse::<usize>().unwrap_or(0);
    let mut fails: Vec<bool> = Vec::with_capacity(profile.functions.len());
    for function in &profile.functions {
        let broken = function.needs.iter().any(|need| match need {
            Need::Part(part) => there[number(part)],
            Need::Target {
                target: Target::Function(id),
                ..
            } => fails[number(id)],
            _ => false,
        });
        fails.push(broken);
    }
    fails
}
