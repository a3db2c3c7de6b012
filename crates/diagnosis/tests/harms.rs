//! A look that may harm a chip, made over and over, against the sums written out.

use std::{collections::BTreeMap, sync::Arc};

use catalogue::{Library, parse_profile};
use diagnosis::{Action, BenchStep, Diagnosis, Holder, Machine, Measure, Shown, Situation, Supply};

/// PS1 is too high in one case of ten; each `load` then kills a good U9 with 0.3. U9 is dead from the start in one case of five.
const BOARD: &str = r#"
[board]
id = "b"
title = "b"
unmodelled = 0.0
[[rail]]
name = "+5V"
volts = 5.0
tolerance = 0.05
fed_by = ["PS1"]
[[block]]
id = "all"
[[part]]
ref = "PS1"
block = "all"
mount = "plug"
[[part.mode]]
id = "high"
chance = 0.1
rail = "high"
[[part]]
ref = "U9"
block = "all"
mount = "socket"
[[part.mode]]
id = "dead"
chance = 0.2
[[function]]
id = "video"
needs = ["U9"]
leak = 0.0
[[function]]
id = "load"
leak = 0.0
[[check]]
id = "picture"
title = "Picture"
minutes = 1
tells = "video"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
[[check]]
id = "load"
title = "Load"
minutes = 1
tells = "load"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
harms = [{ when = "+5V.high", mode = "U9.dead", chance = 0.3 }]
"#;

/// `p` and `f`: a picture that is right or not; `l`: a load.
fn diagnosis(story: &str) -> Diagnosis {
    let profile = parse_profile(BOARD, "b.toml", Library::built_in()).expect("a board");
    let look = |letter: char| {
        let (check, shown) = match letter {
            'l' => ("load", "pass"),
            'p' => ("picture", "pass"),
            _ => ("picture", "fail"),
        };
        let measure = Measure {
            machine: "T-01".to_owned(),
            check: check.to_owned(),
            shown: Shown::Outcome(shown.to_owned()),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        };
        BenchStep {
            time: None,
            action: Action::Measure(measure),
        }
    };
    let machine = Machine {
        tag: "T-01".to_owned(),
        profile: "b".to_owned(),
        ..Machine::default()
    };
    let situation = Situation {
        profiles: BTreeMap::from([("b".to_owned(), Arc::new(profile))]),
        machines: vec![machine],
        steps: story.chars().map(look).collect(),
        ..Situation::default()
    };
    Diagnosis::of(&situation).expect("a diagnosis")
}

#[test]
fn the_look_that_harmed_is_found_out() {
    let check = |story: &str, p: f64, dead: f64, high: f64| {
        let known = diagnosis(story);
        assert!((known.p_findings() - p).abs() < 1e-15, "{story}: {p}");
        let chance = |part: &str| -> f64 {
            let here = |holder: &Holder| matches!(holder, Holder::Position { part: other, .. } if other == part);
            let modes = known.modes();
            let of = modes.iter().filter(|mode| here(&mode.holder));
            of.map(|mode| mode.chance).sum()
        };
        assert!(
            (chance("U9") - dead).abs() < 1e-12,
            "{story}: U9 {}",
            chance("U9")
        );
        assert!(
            (chance("PS1") - high).abs() < 1e-12,
            "{story}: PS1 {}",
            chance("PS1")
        );
    };
    let kept = |looks: i32| 0.7_f64.powi(looks);
    let good = |looks: i32| 0.8 * (0.9 + 0.1 * kept(looks));
    let spared = |looks: i32| 0.1 * kept(looks) / (0.9 + 0.1 * kept(looks));
    check("", 1.0, 0.2, 0.1);
    check("lp", good(1), 0.0, spared(1));
    check("plplplp", good(3), 0.0, spared(3));
    check("llllp", good(4), 0.0, spared(4));
    // the third look was it
    check("plplplf", 0.8 * 0.1 * kept(2) * 0.3, 1.0, 1.0);
    // one of the last two
    check("plpllf", 0.8 * 0.1 * (kept(1) - kept(3)), 1.0, 1.0);
    // dead from the start, or by one of three looks
    check(
        "lllf",
        0.2 + 0.8 * 0.1 * (1.0 - kept(3)),
        1.0,
        (0.02 + 0.08 * (1.0 - kept(3))) / (0.2 + 0.08 * (1.0 - kept(3))),
    );
}
