//! The answers against a plain enumeration of all worlds, on boards and stories drawn at random.

#[path = "support/bench.rs"]
mod bench;
#[path = "support/boards.rs"]
mod boards;
#[path = "support/courses.rs"]
mod courses;
#[path = "support/shrink.rs"]
mod shrink;
#[path = "support/worlds.rs"]
mod worlds;

use std::{collections::BTreeMap, fs, path::Path};

use boards::{Dice, Size};
use diagnosis::{Diagnosis, Holder, ModeChance, Situation};
use worlds::Answer;

fn name(mode: &ModeChance) -> String {
    match &mode.holder {
        Holder::Position { machine, part } => format!("{machine} {part}.{}", mode.mode),
        Holder::Marked(mark) => format!("{mark}.{}", mode.mode),
        Holder::Outside(id) => format!("{id}.{}", mode.mode),
    }
}

/// What is compared and how often it was.
#[derive(Default)]
struct Tally {
    wrong: Vec<String>,
    compared: BTreeMap<&'static str, usize>,
}

impl Tally {
    fn number(&mut self, kind: &'static str, what: &str, found: f64, expected: f64) {
        *self.compared.entry(kind).or_default() += 1;
        let allowed = 1e-9 + 1e-9 * expected.abs();
        let near = (found - expected).abs() <= allowed;
        if found != expected && !near {
            self.wrong.push(format!(
                "{kind} {what}: found {found}, enumerated {expected}"
            ));
        }
    }

    /// The same names with the same chances; what is absent counts as 0.
    fn chances(
        &mut self,
        kind: &'static str,
        found: &BTreeMap<String, f64>,
        expected: &BTreeMap<String, f64>,
    ) {
        for (what, &chance) in found {
            let expected = expected.get(what).copied().unwrap_or(f64::NAN);
            self.number(kind, what, chance, expected);
        }
        for (what, &chance) in expected
            .iter()
            .filter(|(what, _)| !found.contains_key(*what))
        {
            self.number(kind, &format!("{what} (absent)"), 0.0, chance);
        }
    }
}

/// Compares all answers about a situation with an enumeration.
fn compare(situation: &Situation, expected: &Answer, tally: &mut Tally) {
    let diagnosis = match Diagnosis::of(situation) {
        Ok(diagnosis) => diagnosis,
        Err(error) => {
            tally.wrong.push(error.to_string());
            return;
        }
    };
    tally.number("P(findings)", "", diagnosis.p_findings(), expected.p);
    // relative, as far as numbers of 16 digits go
    let relative = (diagnosis.log_p_findings() - expected.p.ln()).exp_m1();
    if expected.p > 0.0 && relative.abs() > 1e-9 {
        tally
            .wrong
            .push(format!("log P(findings): off by {relative}"));
    }
    if expected.p <= 0.0 {
        return;
    }
    let modes = diagnosis.modes();
    let found: BTreeMap<String, f64> = modes.iter().map(|m| (name(m), m.chance)).collect();
    assert_eq!(found.len(), modes.len(), "a mode is listed twice");
    tally.chances("mode", &found, &expected.modes);
    let events = diagnosis.events();
    let found = events
        .into_iter()
        .map(|(whose, event, chance)| (format!("{whose} {event}"), chance))
        .collect();
    tally.chances("event", &found, &expected.events);
    let entropy = diagnosis.entropy_bits();
    tally.number("entropy", "", entropy, expected.entropy_bits);
    compare_findings(&diagnosis, expected, tally);
    for machine in &situation.machines {
        let tag = &machine.tag;
        let unmodelled = diagnosis.unmodelled(tag);
        tally.number("unmodelled", tag, unmodelled, expected.unmodelled[tag]);
        compare_functions(&diagnosis, tag, expected, tally);
        compare_explanations(&diagnosis, tag, expected, tally);
        compare_predictions(&diagnosis, tag, expected, tally);
    }
}

/// The same situation reached one step after the other, each time reusing what was compiled before.
fn compare_step_by_step(situation: &Situation, expected: &Answer, tally: &mut Tally) {
    if expected.p <= 0.0 {
        return;
    }
    let start = Situation {
        steps: Vec::new(),
        ..situation.clone()
    };
    let last = situation.steps.iter().try_fold(
        Diagnosis::of(&start).expect("a diagnosis"),
        |before, step| before.then(step.clone()),
    );
    match last {
        Ok(last) => {
            let modes = last.modes();
            let found = modes.iter().map(|mode| (name(mode), mode.chance));
            tally.chances("mode, step by step", &found.collect(), &expected.modes);
        }
        Err(error) => tally.wrong.push(format!("step by step: {error}")),
    }
}

fn compare_findings(diagnosis: &Diagnosis, expected: &Answer, tally: &mut Tally) {
    let found: BTreeMap<Vec<usize>, f64> = diagnosis
        .given_others()
        .into_iter()
        .map(|fit| (fit.steps, fit.p))
        .collect();
    let count = found.len() as f64;
    tally.number(
        "findings",
        "count",
        count,
        expected.given_others.len() as f64,
    );
    for (steps, chance) in &expected.given_others {
        let found = found.get(steps).copied().unwrap_or(f64::NAN);
        tally.number("P(finding | others)", &format!("{steps:?}"), found, *chance);
    }
}

fn compare_functions(diagnosis: &Diagnosis, tag: &str, expected: &Answer, tally: &mut Tally) {
    let functions = diagnosis.functions(tag).expect("functions");
    let found = functions
        .into_iter()
        .map(|f| {
            (
                format!("{tag} {}", catalogue::target_name(&f.target)),
                f.chance,
            )
        })
        .collect();
    let of_machine = expected
        .functions
        .iter()
        .filter(|(function, _)| function.starts_with(&format!("{tag} ")))
        .map(|(function, chance)| (function.clone(), *chance))
        .collect();
    tally.chances("function", &found, &of_machine);
}

fn compare_explanations(diagnosis: &Diagnosis, tag: &str, expected: &Answer, tally: &mut Tally) {
    let found = diagnosis.explanations(tag, 5).expect("explanations");
    let sets = &expected.explanations[tag];
    let mut shares: Vec<f64> = sets.values().copied().collect();
    shares.sort_by(|a, b| b.total_cmp(a));
    shares.truncate(5);
    // sets that are impossible may be told with a share of nothing, or left out
    shares.resize(found.len().max(shares.len()), 0.0);
    let told: f64 = found.iter().map(|explanation| explanation.share).sum();
    tally.number("explanations", "together", told, shares.iter().sum());
    for (explanation, share) in found.iter().zip(shares) {
        let mut set: Vec<String> = explanation
            .modes
            .iter()
            .map(|(part, mode)| format!("{part}.{mode}"))
            .chain(explanation.unmodelled.then(|| "unmodelled".to_owned()))
            .collect();
        set.sort();
        let own = sets.get(&set).copied().unwrap_or(0.0);
        tally.number(
            "explanation",
            &format!("{tag} {set:?}"),
            explanation.share,
            own,
        );
        tally.number("order of explanations", tag, explanation.share, share);
    }
}

fn compare_predictions(diagnosis: &Diagnosis, tag: &str, expected: &Answer, tally: &mut Tally) {
    let found = diagnosis.predictions(tag).expect("predictions");
    let of_machine = expected.predictions.keys().filter(|(own, _)| own == tag);
    let count = of_machine.count() as f64;
    tally.number("predictions", "count", found.len() as f64, count);
    for prediction in found {
        let check = prediction.check;
        let Some(predicted) = expected.predictions.get(&(tag.to_owned(), check.clone())) else {
            tally.wrong.push(format!("{tag} {check} is not open"));
            continue;
        };
        let told: BTreeMap<String, f64> = prediction.outcomes.into_iter().collect();
        let own = predicted.outcomes.iter().cloned().collect();
        tally.chances("outcome", &told, &own);
        let what = format!("{tag} {check}");
        tally.number(
            "entropy fall",
            &what,
            prediction.entropy_fall_bits,
            predicted.fall,
        );
    }
}

/// The smallest case like this one on which the answers differ.
fn smallest(seed: u64, situation: &Situation, most: usize) -> String {
    let differences = |situation: &Situation| {
        let mut tally = Tally::default();
        if let Some(expected) = worlds::enumerate(situation, most) {
            compare(situation, &expected, &mut tally);
        }
        tally.wrong
    };
    let small = shrink::shrink(situation, |situation| !differences(situation).is_empty());
    let profile = small.profiles.values().next().expect("a profile");
    format!(
        "seed {seed}: {:#?}\n{}{:?}\nlots {:?}\n{:#?}\n",
        differences(&small),
        catalogue::print_profile(profile),
        small.machines,
        small.lots,
        small.steps,
    )
}

/// Draws a case and compares it; false if it is too large to enumerate.
fn check(seed: u64, size: impl Fn(&mut Dice) -> Size, most: usize, tally: &mut Tally) -> bool {
    let mut dice = Dice::new(seed);
    let size = size(&mut dice);
    let text = boards::board(&mut dice, size);
    let situation = boards::story(&mut dice, bench::read(&text), size);
    let Some(expected) = worlds::enumerate(&situation, most) else {
        return false;
    };
    let before = tally.wrong.len();
    compare(&situation, &expected, tally);
    compare_step_by_step(&situation, &expected, tally);
    if tally.wrong.len() > before {
        tally.wrong.push(smallest(seed, &situation, most));
    }
    true
}

/// Compares the cases of these seeds; `BRUTE_FORCE_CASES` adds as many after them.
fn compare_seeds(seeds: std::ops::Range<u64>) {
    let more = std::env::var("BRUTE_FORCE_CASES").map_or(0, |n| n.parse().expect("a number"));
    let mut tally = Tally::default();
    let mut done = 0;
    for seed in seeds
        .clone()
        .chain(seeds.end + 1000..seeds.end + 1000 + more)
    {
        done += u64::from(check(seed, Size::small, 20_000, &mut tally));
    }
    assert!(tally.wrong.is_empty(), "{}", tally.wrong.join("\n"));
    // most cases are small enough, and each kind of answer came up often
    assert!(
        done * 10 >= (seeds.end - seeds.start) * 8,
        "{done} compared"
    );
    for kind in KINDS {
        let count = tally.compared.get(kind).copied().unwrap_or(0);
        assert!(count as u64 * 4 >= done, "{kind}: {count} compared");
    }
}

const KINDS: [&str; 9] = [
    "P(findings)",
    "mode",
    "event",
    "unmodelled",
    "function",
    "explanation",
    "P(finding | others)",
    "outcome",
    "entropy fall",
];

#[test]
fn small_boards() {
    compare_seeds(0..150);
}

#[test]
fn more_small_boards() {
    compare_seeds(150..300);
}

/// Sixteen parts with one mode each and little noise: as many worlds as can be listed.
#[test]
fn wide_boards() {
    let mut tally = Tally::default();
    for (parts, seed) in [
        (12, 3),
        (12, 4),
        (14, 2),
        (14, 5),
        (16, 2),
        (16, 3),
        (16, 4),
    ] {
        let done = check(seed, |_| Size::wide(parts), 500_000, &mut tally);
        assert!(done, "{parts} parts, seed {seed}: too large");
    }
    assert!(tally.wrong.is_empty(), "{}", tally.wrong.join("\n"));
}

/// The enumeration itself against the cases that settle the rules: values derived on paper, and all others of the case.
#[test]
fn the_enumeration_keeps_the_rules() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules");
    let mut small = 0;
    for entry in fs::read_dir(folder).expect("cases") {
        let path = entry.expect("an entry").path();
        let case = cases::read_case(&path).expect("a case");
        let Some(answer) = worlds::enumerate(&case.situation, 40_000) else {
            continue;
        };
        small += 1;
        for (what, expected) in values(&case) {
            let found = value(&answer, &what);
            // the cases print twelve digits, published ones ten
            let near = (found - expected).abs() <= 1e-9;
            assert!(near, "{path:?} {what}: {found}, expected {expected}");
        }
    }
    assert_eq!(small, 25, "cases small enough");
}

/// What a case says about numbers: `modes/T-01 U1.dead` and its chance.
fn values(case: &cases::BoardCase) -> Vec<(String, f64)> {
    let mut all: Vec<(String, f64)> = Vec::new();
    for derived in &case.by_hand {
        let what = derived["what"].as_str().expect("what");
        let known = [
            "p_findings",
            "modes/",
            "events/",
            "functions/",
            "unmodelled/",
        ];
        if known.iter().any(|known| what.starts_with(known)) {
            all.push((what.to_owned(), derived["value"].as_f64().expect("a value")));
        }
    }
    for kind in ["modes", "events", "functions", "unmodelled"] {
        for (name, chance) in case.expected[kind].as_object().expect("chances") {
            all.push((format!("{kind}/{name}"), chance.as_f64().expect("a chance")));
        }
    }
    for next in case.expected["next"].as_array().expect("next") {
        let (machine, check) = (&next["machine"], &next["check"]);
        let of = |kind: &str| {
            format!(
                "{kind}/{}/{}",
                machine.as_str().expect("a machine"),
                check.as_str().expect("a check")
            )
        };
        let fall = next["entropy_fall_bits"].as_f64().expect("a fall");
        all.push((of("fall"), fall));
        for (outcome, chance) in next["outcomes"].as_object().expect("outcomes") {
            let what = format!("{}/{outcome}", of("outcome"));
            all.push((what, chance.as_f64().expect("a chance")));
        }
    }
    let others = case.expected["given_others"].as_array().expect("fits");
    for (index, fit) in others.iter().enumerate() {
        all.push((
            format!("given/{index}"),
            fit["p"].as_f64().expect("a chance"),
        ));
    }
    all
}

fn value(answer: &Answer, what: &str) -> f64 {
    let parts: Vec<&str> = what.split('/').collect();
    let next = |tag: &str, check: &str| &answer.predictions[&(tag.to_owned(), check.to_owned())];
    match parts[..] {
        ["p_findings"] => answer.p,
        ["modes", name] => answer.modes[name],
        ["events", name] => answer.events[name],
        ["functions", name] => answer.functions[name],
        ["unmodelled", tag] => answer.unmodelled[tag],
        ["given", index] => answer.given_others[index.parse::<usize>().expect("index")].1,
        ["fall", tag, check] => next(tag, check).fall,
        ["outcome", tag, check, outcome] => {
            let outcomes = &next(tag, check).outcomes;
            let found = outcomes.iter().find(|(id, _)| id == outcome);
            found.map_or(0.0, |(_, chance)| *chance)
        }
        _ => unreachable!("{what} is no value"),
    }
}
