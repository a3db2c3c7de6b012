//! Published worked examples in the public profile format.

use std::{collections::BTreeMap, collections::BTreeSet, fs, path::Path, sync::Arc};

use catalogue::{Library, Profile};
use diagnosis::{Action, BenchStep, Diagnosis, Holder, Machine, Measure, Shown, Situation, Supply};

fn profile(text: &str) -> Profile {
    catalogue::parse_profile(text, "board.toml", &Library::default())
        .unwrap_or_else(|problems| panic!("{problems:?}"))
}

fn situation(profile: Profile, known: &[(&str, bool)], findings: &[(&str, &str)]) -> Situation {
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
    Situation {
        machines: vec![Machine {
            tag: "T-01".to_owned(),
            profile: profile.id.clone(),
            known: known
                .iter()
                .map(|(event, known)| ((*event).to_owned(), *known))
                .collect(),
            ..Machine::default()
        }],
        steps: findings.iter().map(look).collect(),
        profiles: BTreeMap::from([(profile.id.clone(), Arc::new(profile))]),
        ..Situation::default()
    }
}

fn chance(diagnosis: &Diagnosis, part: &str, mode: &str) -> f64 {
    let holder = Holder::Position {
        machine: "T-01".to_owned(),
        part: part.to_owned(),
    };
    diagnosis
        .modes()
        .into_iter()
        .find(|chance| chance.holder == holder && chance.mode == mode)
        .map_or(f64::NAN, |chance| chance.chance)
}

#[track_caller]
fn assert_close(what: &str, found: f64, expected: f64, error: f64) {
    assert!(
        (found - expected).abs() <= error,
        "{what}: found {found}, expected {expected}"
    );
}

/// A profile whose conflicts are functions that need exactly their parts, looked at without noise.
fn polybox(conflicts: &BTreeSet<BTreeSet<&str>>) -> (Profile, Vec<(String, &'static str)>) {
    let mut text = "[board]\nid = \"polybox\"\ntitle = \"Polybox\"\nunmodelled = 0.0\n[[block]]\nid = \"box\"\n".to_owned();
    for part in ["M1", "M2", "M3", "A1", "A2"] {
        text += &format!(
            "[[part]]\nref = \"{part}\"\nblock = \"box\"\nmount = \"socket\"\n[[part.mode]]\nid = \"bad\"\nchance = 0.01\n"
        );
    }
    let mut findings = Vec::new();
    for (index, conflict) in conflicts.iter().enumerate() {
        let needs: Vec<String> = conflict.iter().map(|part| format!("\"{part}\"")).collect();
        text += &format!(
            "[[function]]\nid = \"f{index}\"\nneeds = [{}]\nleak = 0.0\n",
            needs.join(", ")
        );
        text += &format!(
            "[[check]]\nid = \"look{index}\"\ntitle = \"look\"\nminutes = 1\ntells = \"f{index}\"\nfalse_pass = 0.0\nfalse_fail = 0.0\nblunder = 0.0\n"
        );
        findings.push((format!("look{index}"), "fail"));
    }
    (profile(&text), findings)
}

/// Minimal sets that hit every given set.
fn minimal_hitting_sets<'a>(sets: &[&[&'a str]]) -> BTreeSet<BTreeSet<&'a str>> {
    let mut hitting: BTreeSet<BTreeSet<&str>> = BTreeSet::from([BTreeSet::new()]);
    for set in sets {
        hitting = hitting
            .into_iter()
            .flat_map(|hit| {
                let extended = set.iter().map(|element| {
                    hit.iter()
                        .copied()
                        .chain([*element])
                        .collect::<BTreeSet<_>>()
                });
                if set.iter().any(|element| hit.contains(element)) {
                    vec![hit.clone()]
                } else {
                    extended.collect()
                }
            })
            .collect();
    }
    hitting
        .iter()
        .filter(|set| {
            !hitting
                .iter()
                .any(|other| other != *set && other.is_subset(set))
        })
        .cloned()
        .collect()
}

/// Minimal diagnoses after observations lead to conflicts, those to the sets the program finds.
fn check_polybox(minimal: &[&[&str]], candidates: usize) -> Diagnosis {
    let conflicts = minimal_hitting_sets(minimal);
    let (profile, findings) = polybox(&conflicts);
    let findings: Vec<(&str, &str)> = findings
        .iter()
        .map(|(check, outcome)| (check.as_str(), *outcome))
        .collect();
    let diagnosis = Diagnosis::of(situation(profile, &[], &findings)).expect("a diagnosis");
    let explanations = diagnosis.explanations("T-01", 64).expect("explanations");
    assert_eq!(
        explanations.len(),
        candidates,
        "consistent candidates of 32"
    );
    let sets: Vec<BTreeSet<&str>> = explanations
        .iter()
        .map(|explanation| {
            explanation
                .modes
                .iter()
                .map(|(part, _)| part.as_str())
                .collect()
        })
        .collect();
    let found: BTreeSet<BTreeSet<&str>> = sets
        .iter()
        .filter(|set| {
            !sets
                .iter()
                .any(|other| other != *set && other.is_subset(set))
        })
        .cloned()
        .collect();
    let expected: BTreeSet<BTreeSet<&str>> = minimal
        .iter()
        .map(|set| set.iter().copied().collect())
        .collect();
    assert_eq!(found, expected);
    for (explanation, set) in explanations.iter().zip(&sets) {
        let prior = 0.01_f64.powi(set.len() as i32) * 0.99_f64.powi(5 - set.len() as i32);
        assert_close(
            "share",
            explanation.share,
            prior / diagnosis.p_findings(),
            1e-12,
        );
    }
    diagnosis
}

/// J. de Kleer, B. C. Williams, "Diagnosing multiple faults", Artificial Intelligence 32 (1987), 97–130: the polybox with
/// F = 10 and G = 12 observed, minimal diagnoses before and after each probe; the counts and chances by enumeration of all 32 candidates.
#[test]
fn polybox_before_and_after_each_probe() {
    let minimal: &[&[&str]] = &[&["A1"], &["M1"], &["A2", "M2"], &["M2", "M3"]];
    assert_eq!(
        minimal_hitting_sets(minimal),
        BTreeSet::from([
            BTreeSet::from(["A1", "M1", "M2"]),
            BTreeSet::from(["A1", "A2", "M1", "M3"])
        ])
    );
    let diagnosis = check_polybox(minimal, 27);
    assert_close("P(findings)", diagnosis.p_findings(), 0.0200950399, 1e-12);
    for (part, expected) in [
        ("A1", 0.4976352398),
        ("M1", 0.4976352398),
        ("M2", 0.0196088140),
        ("A2", 0.0147802643),
        ("M3", 0.0147802643),
    ] {
        assert_close(part, chance(&diagnosis, part, "bad"), expected, 1e-10);
    }
    let best = diagnosis.explanations("T-01", 1).expect("explanations");
    assert_close("single fault", best[0].share, 0.4780264258, 1e-10);
    check_polybox(&[&["M1"]], 16); // X = 4
    check_polybox(&[&["A1"], &["A2", "M2"], &["M2", "M3"]], 22); // X = 6
    check_polybox(&[&["A1"], &["M1"]], 24); // Y = 6
    check_polybox(&[&["A2", "M2"], &["M2", "M3"]], 12); // Y = 4
}

/// S. L. Lauritzen, D. J. Spiegelhalter, J. R. Statist. Soc. B 50 (1988), 157–224: tables as in the model file of pgmpy (MIT),
/// posteriors by a general-purpose library's exact propagation, ten digits.
#[test]
fn chest_clinic() {
    let names = [
        "asia", "tub", "smoke", "lung", "bronc", "either", "xray", "dysp",
    ];
    // what is given, P(given), posteriors in that order; NaN where given
    let nan = f64::NAN;
    type Row = (&'static str, f64, [f64; 8]);
    let rows: [Row; 11] = [
        (
            "",
            1.0,
            [
                0.01, 0.0104, 0.5, 0.055, 0.45, 0.064828, 0.11029004, 0.4359706,
            ],
        ),
        (
            "dysp=y",
            0.4359706,
            [
                0.0103249508,
                0.0188453075,
                0.6339968796,
                0.1027592228,
                0.8339673363,
                0.1205358343,
                0.1620983259,
                nan,
            ],
        ),
        (
            "asia=y dysp=y",
            0.004501375,
            [
                nan,
                0.0877509650,
                0.6259198578,
                0.0995251451,
                0.8114020716,
                0.1822998528,
                0.2195388631,
                nan,
            ],
        ),
        (
            "asia=y smoke=y dysp=y",
            0.0028175,
            [
                nan,
                0.0727595386,
                nan,
                0.1455190772,
                0.8672582076,
                0.2110026619,
                0.2462324756,
                nan,
            ],
        ),
        (
            "asia=y smoke=n dysp=y",
            0.001683875,
            [
                nan,
                0.1128349788,
                nan,
                0.0225669958,
                0.7179422463,
                0.1342736248,
                0.1748744711,
                nan,
            ],
        ),
        (
            "xray=y",
            0.11029004,
            [
                0.0131555397,
                0.0924108832,
                0.6877538534,
                0.4887114013,
                0.5063261560,
                0.5760396859,
                nan,
                0.6407659694,
            ],
        ),
        (
            "xray=y dysp=y",
            0.0706701044,
            [
                0.0139836605,
                0.1139333254,
                0.7856103861,
                0.6212527967,
                0.6818685385,
                0.7287250930,
                nan,
                nan,
            ],
        ),
        (
            "smoke=y xray=y dysp=y",
            0.055519168,
            [
                0.0124958645,
                0.0752662576,
                nan,
                0.7237140153,
                0.7137055080,
                0.7914536471,
                nan,
                nan,
            ],
        ),
        (
            "asia=y smoke=n xray=n dysp=y",
            0.00138940825,
            [
                nan,
                0.0027349773,
                nan,
                0.0005469955,
                0.7728300879,
                0.0032546230,
                nan,
                nan,
            ],
        ),
        (
            "asia=y smoke=n xray=y dysp=y",
            0.00029446675,
            [
                nan,
                0.6323294566,
                nan,
                0.1264658913,
                0.4589601373,
                0.7524720533,
                nan,
                nan,
            ],
        ),
        (
            "xray=n dysp=n",
            0.5244094644,
            [
                0.0096030432,
                0.0000832937,
                0.3876031647,
                0.0003890090,
                0.1501875045,
                0.0004682570,
                nan,
                nan,
            ],
        ),
    ];
    let text = fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules/p2-chest-clinic/board.toml"),
    )
    .expect("a board");
    for (given, p, expected) in rows {
        let mut known = Vec::new();
        let mut findings = Vec::new();
        let mut prior = 1.0;
        for (name, yes) in given
            .split_whitespace()
            .filter_map(|one| one.split_once('='))
            .map(|(name, value)| (name, value == "y"))
        {
            match name {
                "asia" => {
                    (
                        known.push((name, yes)),
                        prior *= if yes { 0.01 } else { 0.99 },
                    )
                        .1
                }
                "smoke" => (known.push((name, yes)), prior *= 0.5).1,
                "xray" => findings.push((name, if yes { "fail" } else { "pass" })),
                _ => findings.push((name, if yes { "yes" } else { "no" })),
            }
        }
        let diagnosis =
            Diagnosis::of(situation(profile(&text), &known, &findings)).expect("a diagnosis");
        // what is known from the history costs nothing: its prior is put back here
        assert_close(
            &format!("P({given})"),
            diagnosis.p_findings() * prior,
            p,
            1e-10,
        );
        let events = diagnosis.events();
        let functions = diagnosis.functions("T-01").expect("functions");
        let predictions = diagnosis.predictions("T-01").expect("predictions");
        for (name, expected) in names
            .into_iter()
            .zip(expected)
            .filter(|(_, expected)| !expected.is_nan())
        {
            let predicted = |outcome: usize| {
                predictions
                    .iter()
                    .find(|prediction| prediction.check == name)
                    .map_or(f64::NAN, |prediction| prediction.outcomes[outcome].1)
            };
            let found = match name {
                "asia" | "smoke" => events
                    .iter()
                    .find(|event| event.1 == name)
                    .map_or(f64::NAN, |event| event.2),
                "either" => functions[0].chance,
                "xray" => predicted(1),
                "dysp" => predicted(0),
                part => chance(&diagnosis, part, "yes"),
            };
            assert_close(&format!("P({name} | {given})"), found, expected, 1e-9);
        }
    }
}

/// S. Russell, P. Norvig, "Artificial Intelligence: A Modern Approach", the noisy-OR table of fever (from memory): inhibitions cold
/// 0.6, flu 0.2, malaria 0.1.
#[test]
fn fever() {
    let text = "[board]\nid = \"fever\"\ntitle = \"Fever\"\nunmodelled = 0.0\n[[block]]\nid = \"all\"\n\
        [[part]]\nref = \"P\"\nblock = \"all\"\nmount = \"socket\"\n[[part.mode]]\nid = \"cold\"\nchance = 0.1\n\
        [[part]]\nref = \"Q\"\nblock = \"all\"\nmount = \"socket\"\n[[part.mode]]\nid = \"flu\"\nchance = 0.1\n\
        [[part]]\nref = \"R\"\nblock = \"all\"\nmount = \"socket\"\n[[part.mode]]\nid = \"malaria\"\nchance = 0.1\n\
        [[function]]\nid = \"no-fever\"\nleak = 0.0\nneeds = [{ mode = \"P.cold\", chance = 0.4 }, { mode = \"Q.flu\", chance = 0.8 }, { mode = \"R.malaria\", chance = 0.9 }]\n";
    let looks: String = ["P", "Q", "R"].map(|part| {
        format!("[[function]]\nid = \"{part}-well\"\nleak = 0.0\nneeds = [\"{part}\"]\n[[check]]\nid = \"{part}-look\"\ntitle = \"look\"\nminutes = 1\ntells = \"{part}-well\"\nfalse_pass = 0.0\nfalse_fail = 0.0\nblunder = 0.0\n")
    }).concat();
    let profile = profile(&format!("{text}{looks}"));
    let table = [
        ("---", 0.0),
        ("--R", 0.9),
        ("-Q-", 0.8),
        ("-QR", 0.98),
        ("P--", 0.4),
        ("P-R", 0.94),
        ("PQ-", 0.88),
        ("PQR", 0.988),
    ];
    for (present, expected) in table {
        let outcome = |part| {
            if present.contains(part) {
                "fail"
            } else {
                "pass"
            }
        };
        let findings = [
            ("P-look", outcome("P")),
            ("Q-look", outcome("Q")),
            ("R-look", outcome("R")),
        ];
        let diagnosis =
            Diagnosis::of(situation(profile.clone(), &[], &findings)).expect("a diagnosis");
        assert_close(
            present,
            diagnosis.functions("T-01").expect("functions")[0].chance,
            expected,
            1e-12,
        );
    }
}

/// The p/C rule (Kadane & Simon 1977; Heckerman, Breese & Rommelse, CACM 38(3), 1995): one part with four modes, exactly one of them
/// present, chances 0.40, 0.25, 0.20, 0.15, costs 100, 20, 50, 10. Best order 4, 2, 1, 3 with expected cost 97.0; the order 1, 2, 3, 4
/// costs 131.0; both by enumeration of all 24 orders.
#[test]
fn chance_by_cost() {
    let chances = [0.40, 0.25, 0.20, 0.15];
    let costs = [100.0, 20.0, 50.0, 10.0];
    let modes: String = chances
        .iter()
        .enumerate()
        .map(|(mode, chance)| format!("[[part.mode]]\nid = \"m{}\"\nchance = {chance}\n", mode + 1))
        .collect();
    let text = format!(
        "[board]\nid = \"one\"\ntitle = \"One\"\nunmodelled = 0.0\n[[block]]\nid = \"all\"\n[[part]]\nref = \"U1\"\nblock = \"all\"\nmount = \"socket\"\n{modes}[[function]]\nid = \"f\"\nneeds = [\"U1\"]\nleak = 0.0\n"
    );
    let diagnosis = Diagnosis::of(situation(profile(&text), &[], &[])).expect("a diagnosis");
    let suspects: Vec<(f64, f64)> = (0..4)
        .map(|mode| {
            (
                chance(&diagnosis, "U1", &format!("m{}", mode + 1)),
                costs[mode],
            )
        })
        .collect();
    let order = diagnosis::by_chance_and_cost(&suspects);
    assert_eq!(order, [3, 1, 0, 2]);
    assert_close(
        "best",
        diagnosis::expected_cost(&suspects, &order),
        97.0,
        1e-9,
    );
    assert_close(
        "as listed",
        diagnosis::expected_cost(&suspects, &[0, 1, 2, 3]),
        131.0,
        1e-9,
    );
}
