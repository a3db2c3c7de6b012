//! Input that makes no sense, or hardly any: an error that says so, or numbers that stay numbers.

#[path = "support/bench.rs"]
mod bench;

use bench::{measured, one_machine, read};
use catalogue::Site;
use diagnosis::{
    Action, BenchStep, Chip, Diagnosis, Economy, Machine, Places, RemedyCost, Shown, Situation,
    Supply, Treatment, Truth,
};

const BOARD: &str = r#"
[board]
id = "b"
unmodelled = 0.05
[[block]]
id = "one"
[[rail]]
name = "+5V"
volts = 5.0
fed_by = ["U30"]
[[outside]]
id = "brick"
serves = ["+5V"]
chance = 0.1
[[part]]
ref = "U30"
block = "one"
[[part.mode]]
id = "low"
chance = 0.1
[[part]]
ref = "U1"
block = "one"
mount = "socket"
[[part.mode]]
id = "dead"
chance = 0.1
[[part]]
ref = "U2"
block = "one"
mount = "socket"
[[part.mode]]
id = "dead"
chance = 0.1
[[event]]
id = "flood"
chance = 0.2
causes = [{ mode = "U1.dead", chance = 0.5 }]
[[function]]
id = "f"
needs = ["U1", "+5V"]
[[function]]
id = "g"
needs = ["U2", "f"]
[[check]]
id = "look"
minutes = 1
set_up = ["powered"]
tells = "f"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
[[check]]
id = "hear"
minutes = 1
set_up = ["powered"]
requires = ["f"]
tells = "g"
false_pass = 0.01
false_fail = 0.01
blunder = 0.02
"#;

fn act(action: Action) -> BenchStep {
    BenchStep { time: None, action }
}

fn pull(part: &str, mark: Option<&str>) -> BenchStep {
    act(Action::Pull {
        machine: "T-1".to_owned(),
        part: part.to_owned(),
        mark: mark.map(str::to_owned),
    })
}

fn fit(machine: &str, part: &str, mark: &str) -> BenchStep {
    act(Action::Fit {
        machine: machine.to_owned(),
        part: part.to_owned(),
        chip: Chip::Marked(mark.to_owned()),
        old_mark: None,
    })
}

fn settle(machine: Option<&str>, truth: Truth) -> BenchStep {
    act(Action::Settle {
        machine: machine.map(str::to_owned),
        truth,
    })
}

fn mode(part: &str, mode: &str) -> Truth {
    Truth::Mode {
        part: part.to_owned(),
        mode: mode.to_owned(),
    }
}

fn see(check: &str, outcome: &str) -> BenchStep {
    measured("T-1", check, Shown::Outcome(outcome.to_owned()))
}

/// Two machines of the board.
fn two(steps: Vec<BenchStep>) -> Situation {
    let mut situation = one_machine(read(BOARD), steps);
    let mut other = situation.machines[0].clone();
    other.tag = "T-2".to_owned();
    situation.machines.push(other);
    situation
}

/// What is wrong with the refusal of a situation: the step to blame, a piece of the message.
fn refused(situation: &Situation, step: Option<usize>, piece: &str) -> Option<String> {
    let error = match Diagnosis::of(situation) {
        Ok(_) => return Some(format!("{piece}: accepted\n{:?}", situation.steps.last())),
        Err(error) => error,
    };
    let message = error.to_string();
    // a sentence for people: no final dot, no debug output
    let plain = !message.ends_with('.') && !message.contains("Some(");
    let good = error.step == step && message.contains(piece) && plain;
    (!good).then(|| format!("{piece}, step {step:?}: {error:?}"))
}

#[track_caller]
fn none_wrong(wrong: &[String]) {
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn unknown_names_are_refused() {
    let reading = Shown::Reading {
        value: 5.0,
        components: Vec::new(),
    };
    let cases: Vec<(BenchStep, &str)> = vec![
        (measured("T-9", "look", Shown::Cannot), "`T-9`"),
        (measured("T-1", "taste", Shown::Cannot), "`taste`"),
        (measured("T-1", "taste", Shown::Skipped), "`taste`"),
        (see("look", "purple"), "`purple`"),
        (measured("T-1", "look", reading), "`look`"),
        (pull("U7", None), "`U7`"),
        (fit("T-1", "U1", "dot-9"), "`dot-9`"),
        (fit("T-9", "U1", "dot-9"), "`T-9`"),
        (settle(Some("T-1"), mode("U1", "asleep")), "`asleep`"),
        (settle(Some("T-1"), mode("U7", "dead")), "`U7`"),
        (settle(Some("T-9"), Truth::Works), "`T-9`"),
        (
            settle(
                None,
                Truth::MarkedMode {
                    mark: "dot-9".to_owned(),
                    mode: "dead".to_owned(),
                },
            ),
            "`dot-9`",
        ),
        (
            act(Action::Power {
                machine: "T-9".to_owned(),
                supply: Supply::Usual,
            }),
            "`T-9`",
        ),
        (
            act(Action::SetUp {
                machine: "T-9".to_owned(),
            }),
            "`T-9`",
        ),
        (
            act(Action::Mend {
                machine: "T-9".to_owned(),
            }),
            "`T-9`",
        ),
        (
            act(Action::Swap {
                a: ("T-1".to_owned(), "U1".to_owned()),
                b: ("T-1".to_owned(), "U7".to_owned()),
            }),
            "`U7`",
        ),
        (
            act(Action::Treat {
                machine: "T-1".to_owned(),
                treatment: Treatment::Clean,
                places: Places::Parts(vec!["U1".to_owned(), "U7".to_owned()]),
            }),
            "`U7`",
        ),
        (
            act(Action::Treat {
                machine: "T-1".to_owned(),
                treatment: Treatment::Reseat,
                places: Places::Block("attic".to_owned()),
            }),
            "`attic`",
        ),
    ];
    let mut wrong = Vec::new();
    for (step, piece) in cases {
        // after a good one, so that the step is told by its number
        let situation = one_machine(read(BOARD), vec![see("look", "pass"), step]);
        wrong.extend(refused(&situation, Some(1), piece));
    }
    none_wrong(&wrong);
}

#[test]
fn machines_that_make_no_sense_are_refused() {
    type Spoil = fn(&mut Machine);
    let cases: [(Spoil, &str); 5] = [
        (|machine| machine.profile = "z".to_owned(), "`z`"),
        (|machine| machine.empty = vec!["U7".to_owned()], "`U7`"),
        (
            |machine| machine.outside = Some(vec!["moon".to_owned()]),
            "`moon`",
        ),
        (
            |machine| {
                machine.known.insert("fire".to_owned(), true);
            },
            "`fire`",
        ),
        (|machine| machine.tag = "T-2".to_owned(), "`T-2`"),
    ];
    let mut wrong = Vec::new();
    for (spoil, piece) in cases {
        let mut situation = two(Vec::new());
        spoil(&mut situation.machines[0]);
        wrong.extend(refused(&situation, None, piece));
    }
    none_wrong(&wrong);
}

#[test]
fn a_part_of_too_many_modes_is_refused() {
    let low = "[[part.mode]]\nid = \"low\"\nchance = 0.1\n";
    let mode = |number| format!("[[part.mode]]\nid = \"m{number}\"\nchance = 0.001\n");
    let more: String = (0..64).map(mode).collect();
    let text = BOARD.replacen(low, &format!("{low}{more}"), 1);
    let wrong = refused(&one_machine(read(&text), Vec::new()), None, "part `U30`");
    none_wrong(&Vec::from_iter(wrong));
}

#[test]
fn chips_are_in_one_place_at_a_time() {
    let settled = settle(Some("T-1"), mode("U1", "dead"));
    let fitted_twice = [
        pull("U1", Some("dot-1")),
        fit("T-2", "U1", "dot-1"),
        fit("T-1", "U1", "dot-1"),
    ];
    let cases: [(&[BenchStep], &str); 4] = [
        (&fitted_twice, "`dot-1`"),
        (&[pull("U1", None), pull("U1", None)], "U1"),
        // one mark for two chips
        (
            &[pull("U1", Some("dot-1")), pull("U2", Some("dot-1"))],
            "`dot-1`",
        ),
        // the truth about a chip that is not there
        (&[pull("U1", None), settled], "U1"),
    ];
    let mut wrong = Vec::new();
    for (steps, piece) in cases {
        let last = steps.len() - 1;
        wrong.extend(refused(&two(steps.to_vec()), Some(last), piece));
    }
    none_wrong(&wrong);
}

#[test]
fn questions_about_unknown_machines_are_refused() {
    let diagnosis = Diagnosis::of(one_machine(read(BOARD), Vec::new())).expect("a diagnosis");
    let economy = Economy::default();
    let errors = [
        diagnosis.explanations("T-9", 5).err(),
        diagnosis.functions("T-9").err(),
        diagnosis.predictions("T-9").err(),
        diagnosis.next("T-9", &economy).err(),
        diagnosis.export_network("T-9").err(),
    ];
    for error in errors {
        let message = error.expect("an error").to_string();
        assert!(message.contains("`T-9`"), "{message}");
    }
    assert_eq!(diagnosis.unmodelled("T-9"), 0.0);
}

/// Every number of every answer.
fn numbers(situation: &Situation) -> Vec<(String, f64)> {
    let diagnosis = Diagnosis::of(situation).expect("a diagnosis");
    let mut all = vec![("P".to_owned(), diagnosis.p_findings())];
    for mode in diagnosis.modes() {
        all.push((format!("{:?} {}", mode.holder, mode.mode), mode.chance));
    }
    for (whose, event, chance) in diagnosis.events() {
        all.push((format!("{whose} {event}"), chance));
    }
    for fit in diagnosis.given_others() {
        all.push((format!("{:?} given others", fit.steps), fit.p));
    }
    for machine in &situation.machines {
        let tag = &machine.tag;
        all.push((format!("unmodelled {tag}"), diagnosis.unmodelled(tag)));
        for explanation in diagnosis.explanations(tag, 5).expect("explanations") {
            all.push((format!("{:?}", explanation.modes), explanation.share));
        }
        for function in diagnosis.functions(tag).expect("functions") {
            all.push((format!("{:?}", function.target), function.chance));
        }
        for prediction in diagnosis.predictions(tag).expect("predictions") {
            for (outcome, chance) in prediction.outcomes {
                all.push((format!("{} {outcome}", prediction.check), chance));
            }
        }
    }
    all
}

/// Numbers that are no chances, and values that are no numbers; nothing may panic either.
fn no_chances(situation: &Situation) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut number = |what: String, good: bool| wrong.extend((!good).then_some(what));
    for (what, chance) in numbers(situation) {
        let good = (-1e-9..=1.0 + 1e-9).contains(&chance);
        number(format!("{what}: {chance}"), good);
    }
    let diagnosis = Diagnosis::of(situation).expect("a diagnosis");
    let entropy = diagnosis.entropy_bits();
    number(format!("entropy {entropy}"), entropy.is_finite());
    let log = diagnosis.log_p_findings();
    number(format!("log P {log}"), !log.is_nan());
    for machine in &situation.machines {
        let (steps, course) = diagnosis.next(&machine.tag, &economy()).expect("advice");
        let values = [course.value, course.works, course.minutes];
        number(format!("{course:?}"), values.iter().all(|v| v.is_finite()));
        for step in &steps {
            let chances = step.outcomes.iter().all(|(_, chance)| chance.is_finite());
            number(format!("{step:?}"), step.saving.is_finite() && chances);
        }
        for prediction in diagnosis.predictions(&machine.tag).expect("predictions") {
            let fall = prediction.entropy_fall_bits;
            number(
                format!("{} falls by {fall}", prediction.check),
                fall.is_finite(),
            );
        }
        let network = diagnosis.export_network(&machine.tag).expect("a network");
        let finite = |word: &str| word.parse().is_ok_and(f64::is_finite);
        let good = network.uai.split_whitespace().skip(1).all(finite);
        number(format!("the network {}", network.uai), good);
    }
    if !wrong.is_empty() {
        wrong.push(format!("after {:?}", situation.steps));
    }
    wrong
}

fn economy() -> Economy {
    let remedy = RemedyCost {
        part: "U1".to_owned(),
        site: Site::Chip,
        minutes: 5.0,
        money: 5.0,
        works: 0.9,
        title: "another".to_owned(),
    };
    Economy {
        rate_per_minute: 0.5,
        worth: 100.0,
        remedies: vec![remedy],
        ..Economy::default()
    }
}

#[test]
fn findings_that_contradict_each_other() {
    let contradictions = [
        vec![see("look", "pass"), see("look", "fail")],
        vec![
            settle(Some("T-1"), mode("U1", "dead")),
            settle(Some("T-1"), Truth::Works),
        ],
        vec![
            settle(Some("T-1"), Truth::Works),
            see("look", "fail"),
            see("hear", "pass"),
        ],
        // a joint that nothing has touched cannot be bad
        vec![settle(Some("T-1"), mode("U1", "joint"))],
        vec![
            settle(Some("T-1"), mode("U1", "dead")),
            pull("U1", Some("dot-1")),
            see("look", "pass"),
        ],
    ];
    let mut wrong = Vec::new();
    for steps in contradictions {
        let situation = two(steps);
        wrong.extend(no_chances(&situation));
        let diagnosis = Diagnosis::of(&situation).expect("a diagnosis");
        let (p, log) = (diagnosis.p_findings(), diagnosis.log_p_findings());
        if p != 0.0 || log != f64::NEG_INFINITY {
            wrong.push(format!("P {p}, log P {log} after {:?}", situation.steps));
        }
    }
    none_wrong(&wrong);
}

/// The board with another chance in place of one that stands there.
fn with(replaced: &str, by: &str) -> String {
    assert!(BOARD.contains(replaced), "{replaced}");
    BOARD.replace(replaced, by)
}

#[test]
fn chances_of_0_and_1() {
    let boards = [
        with("chance = 0.1", "chance = 0.0"),
        with("chance = 0.1", "chance = 1.0"),
        with("unmodelled = 0.05", "unmodelled = 0"),
        with("unmodelled = 0.05", "unmodelled = 1"),
        with("chance = 0.2\ncauses", "chance = 1\ncauses"),
        with("chance = 0.2\ncauses", "chance = 0\ncauses"),
        with("chance = 0.5 }", "chance = 1 }"),
        with("blunder = 0.02", "blunder = 1"),
        with("false_pass = 0.01", "false_pass = 1"),
        with(
            "needs = [\"U2\", \"f\"]",
            "needs = [\"U2\", \"f\"]\nleak = 1",
        ),
        with("needs = [\"U2\", \"f\"]", "needs = []"),
    ];
    let stories = [
        Vec::new(),
        vec![see("look", "pass"), see("hear", "fail")],
        vec![see("look", "fail"), see("hear", "pass")],
        vec![measured("T-1", "hear", Shown::Cannot)],
        vec![
            see("look", "fail"),
            pull("U1", Some("dot-1")),
            fit("T-1", "U1", "dot-1"),
            see("look", "pass"),
        ],
        vec![
            see("hear", "fail"),
            act(Action::Fit {
                machine: "T-1".to_owned(),
                part: "U1".to_owned(),
                chip: Chip::New { works: 0.0 },
                old_mark: Some("dot-1".to_owned()),
            }),
            see("look", "fail"),
        ],
        vec![settle(Some("T-1"), Truth::Works), see("hear", "fail")],
    ];
    let mut wrong = Vec::new();
    for board in boards {
        for story in &stories {
            wrong.extend(no_chances(&one_machine(read(&board), story.clone())));
        }
    }
    none_wrong(&wrong);
}

#[test]
fn nothing_at_all() {
    assert_eq!(numbers(&Situation::default()), [("P".to_owned(), 1.0)]);
    let bare = read("[board]\nid = \"b\"\n[[block]]\nid = \"one\"\n");
    none_wrong(&no_chances(&one_machine(bare, Vec::new())));
}

#[test]
fn readings_far_out() {
    let board = BOARD.replacen(
        "tells = \"f\"",
        "tells = \"f\"\nlimits = { quantity = \"voltage\", low = \"4.75 V\", high = \"5.25 V\" }",
        1,
    );
    let mut wrong = Vec::new();
    for value in [5.0, 0.0, -1e300, 1e300, 4.75, f64::MIN_POSITIVE] {
        for percent in [0.0, 0.5, 1e6] {
            let components = vec![units::Component {
                percent,
                counts: 0.0,
                digit: 0.0,
            }];
            let shown = Shown::Reading { value, components };
            let steps = vec![measured("T-1", "look", shown), see("hear", "pass")];
            wrong.extend(no_chances(&one_machine(read(&board), steps)));
        }
    }
    none_wrong(&wrong);
}
