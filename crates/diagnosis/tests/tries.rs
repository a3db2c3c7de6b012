//! Chips tried in the mule: against the swap itself, and against a look at the chip in its own machine.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Library, Part, Profile, Site, parse_profile};
use diagnosis::{
    Action, BenchStep, Diagnosis, Economy, Machine, Measure, Moving, RemedyCost, Shown, Situation,
    Step, Supply, Trial,
};

/// A good chip comes into the mule with a joint that is bad in one case of a hundred: black then with 0.01 × 0.9 + 0.99 × 0.02.
/// `probe` shows the same of the chip in its own place.
const BOARD: &str = r#"
[board]
id = "b"
title = "b"
unmodelled = 0.0
[[block]]
id = "video"
[[part]]
ref = "U1"
block = "video"
mount = "soldered"
[[part.mode]]
id = "dead"
chance = 0.1
[[part]]
ref = "U9"
block = "video"
mount = "socket"
[[part.mode]]
id = "dead"
chance = 0.2
[[function]]
id = "video"
needs = ["U1", "U9"]
[[function]]
id = "chip"
needs = ["U9"]
[[check]]
id = "picture"
title = "Picture"
minutes = 2
blunder = 0.0
outcomes = { start = "start", black = "black" }
tells = [
  { fails = "video", shows = { black = 0.9, start = 0.1 } },
  { otherwise = true, shows = { black = 0.02, start = 0.98 } },
]
[[check]]
id = "probe"
title = "Probe"
minutes = 6
blunder = 0.0
outcomes = { start = "start", black = "black" }
tells = [
  { fails = "chip", shows = { black = 0.9, start = 0.1 } },
  { otherwise = true, shows = { black = 0.0288, start = 0.9712 } },
]
"#;

fn board() -> Arc<Profile> {
    Arc::new(parse_profile(BOARD, "b.toml", Library::built_in()).expect("a board"))
}

fn seen(machine: &str, check: &str, shown: &str) -> BenchStep {
    BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: machine.to_owned(),
            check: check.to_owned(),
            shown: Shown::Outcome(shown.to_owned()),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    }
}

fn bench(steps: Vec<BenchStep>) -> Situation {
    let machine = |tag: &str, mule: bool| Machine {
        tag: tag.to_owned(),
        profile: "b".to_owned(),
        mule,
        ..Machine::default()
    };
    Situation {
        profiles: BTreeMap::from([("b".to_owned(), board())]),
        machines: vec![machine("T-01", false), machine("mule", true)],
        steps,
        ..Situation::default()
    }
}

fn economy() -> Economy {
    let remedy = |part: &str, money: f64| RemedyCost {
        part: part.to_owned(),
        site: Site::Chip,
        minutes: 10.0,
        money,
        works: 0.95,
        title: "new".to_owned(),
    };
    Economy {
        rate_per_minute: 0.2,
        worth: 90.0,
        hold: 5.0,
        retest_minutes: 3.0,
        remedies: vec![remedy("U1", 11.0), remedy("U9", 23.0)],
        ..Economy::default()
    }
}

fn tries(situation: &Situation, moving: Moving) -> Vec<Step> {
    let diagnosis = Diagnosis::of(situation).expect("a diagnosis");
    let trial = |part: &Part| Ok(Trial::of(&board(), part)?.map(Arc::new));
    diagnosis
        .tries("T-01", &economy(), trial, |_| moving)
        .expect("tries")
}

#[test]
fn a_try_shows_what_the_swap_would_show() {
    let check = |steps: Vec<BenchStep>| {
        let situation = bench(steps);
        let moving = Moving {
            minutes: 4.0,
            harm: 0.0,
        };
        let one = tries(&situation, moving).pop().expect("a try of U9");
        assert_eq!(one.tried.as_deref(), Some("U9"));
        let mut swapped = situation;
        let place = |tag: &str| (tag.to_owned(), "U9".to_owned());
        swapped.steps.push(BenchStep {
            time: None,
            action: Action::Swap {
                a: place("T-01"),
                b: place("mule"),
            },
        });
        let known = Diagnosis::of(&swapped).expect("a diagnosis");
        let looks = known.predictions("mule").expect("predictions");
        let look = looks.iter().find(|look| look.check == one.check);
        for (found, expected) in one.outcomes.iter().zip(&look.expect("the look").outcomes) {
            assert_eq!(found.0, expected.0);
            assert!(
                (found.1 - expected.1).abs() < 1e-12,
                "{found:?} {expected:?}"
            );
        }
    };
    check(vec![]);
    check(vec![seen("T-01", "picture", "black")]);
    check(vec![
        seen("T-01", "picture", "black"),
        seen("T-01", "probe", "start"),
    ]);
}

#[test]
fn a_try_saves_what_such_a_look_would_save() {
    let check = |steps: Vec<BenchStep>| {
        let situation = bench(steps);
        let moving = Moving {
            minutes: 4.0,
            harm: 0.0,
        };
        let one = tries(&situation, moving).pop().expect("a try of U9");
        assert_eq!((one.check.as_str(), one.minutes), ("picture", 6.0));
        let diagnosis = Diagnosis::of(&situation).expect("a diagnosis");
        let (steps, _) = diagnosis.next("T-01", &economy()).expect("advice");
        let probe = steps.iter().find(|step| step.check == "probe");
        let probe = probe.expect("a probe");
        for (found, expected) in [
            (one.saving, probe.saving),
            (one.saving_later, probe.saving_later),
        ] {
            assert!((found - expected).abs() < 1e-9, "{found} {expected}");
        }
        assert_eq!(one.outcomes[0].0, probe.outcomes[0].0);
        let leader = |step: &Step| {
            let then = step.then.iter();
            then.map(|(_, mode)| mode.as_ref().map(|mode| mode.mode.clone()))
                .collect::<Vec<_>>()
        };
        assert_eq!(leader(&one), leader(probe));
    };
    check(vec![seen("T-01", "picture", "black")]);
    check(vec![
        seen("T-01", "picture", "black"),
        seen("T-01", "picture", "black"),
    ]);
}

#[test]
fn nothing_is_tried_that_is_soldered_or_hardly_a_suspect() {
    let board = board();
    let tried = |part: &&Part| Trial::of(&board, part).expect("a trial").is_some();
    let tried = board.parts.iter().filter(tried);
    let parts: Vec<&str> = tried.map(|part| part.reference.as_str()).collect();
    assert_eq!(parts, ["U9"]);
    let good = vec![
        seen("T-01", "picture", "start"),
        seen("T-01", "probe", "start"),
    ];
    let moving = Moving {
        minutes: 4.0,
        harm: 0.0,
    };
    assert_eq!(tries(&bench(good), moving), []);
}
