//! Short forms: ranges of parts, patterns, words for chances, quantities.

use catalogue::{Library, Need, Profile, parse_profile};
use expect_test::{Expect, expect};

const BOARD: &str = r#"
[board]
id = "short"
[[block]]
id = "ram"
[[part]]
ref = "U16-U19"
block = "ram"
mount = "socket"
area = [10, 20, 8, 20]
step = [12, 0.5]
mode = [{ id = "dead", chance = "known culprit" }, { id = "contact", chance = "rare", where = "place" }]
[[part]]
ref = "U2"
block = "ram"
mode = [{ id = "contact", chance = "sometimes", where = "place" }]
[[event]]
id = "damp"
chance = 0.1
causes = [{ mode = "*.contact", chance = 0.2 }, { mode = "U16-U17.dead", chance = 0.3 }]
[[function]]
id = "ram"
needs = ["U16-U18", { mode = "U1*.contact", chance = 0.5 }]
[[check]]
id = "test"
tells = "ram"
minutes = "90 s"
"#;

fn board() -> Profile {
    parse_profile(BOARD, "short.toml", Library::built_in()).expect("a good board")
}

#[test]
fn a_range_makes_several_parts() {
    let board = board();
    let areas: Vec<_> = board
        .parts
        .iter()
        .map(|part| {
            (
                part.reference.as_str(),
                part.area.map(|area| (area[0], area[1])),
            )
        })
        .collect();
    let step = |x, y| Some((x, y));
    assert_eq!(
        areas,
        [
            ("U16", step(10.0, 20.0)),
            ("U17", step(22.0, 20.5)),
            ("U18", step(34.0, 21.0)),
            ("U19", step(46.0, 21.5)),
            ("U2", None)
        ]
    );
    assert_eq!(board.parts[3].modes[0].chance, 0.15);
}

#[test]
fn ranges_and_patterns_name_several() {
    let board = board();
    let causes: Vec<String> = board.events[0]
        .causes
        .iter()
        .map(|cause| format!("{}.{}", cause.part, cause.mode))
        .collect();
    expect!["U16.contact U17.contact U18.contact U19.contact U2.contact U16.dead U17.dead"]
        .assert_eq(&causes.join(" "));
    let parts = board.functions[0]
        .needs
        .iter()
        .filter(|need| matches!(need, Need::Part(_)))
        .count();
    assert_eq!((parts, board.functions[0].needs.len()), (3, 7));
    assert_eq!(board.checks[0].minutes, 1.5);
}

#[test]
fn ranges_that_are_none() {
    let check = |from: &str, to: &str, expect: Expect| {
        assert!(BOARD.contains(from), "{from}");
        let text = BOARD.replacen(from, to, 1);
        let problems = parse_profile(&text, "short.toml", Library::built_in()).expect_err("bad");
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        expect.assert_eq(&lines.join("\n"));
    };
    check(
        "\"U16-U18\"",
        "\"U16-U25\"",
        expect![
            "short.toml:23:10: expected a part, rail or function, found `U16-U25`; hint: known are `U16`, `U17`, `U18`, `U19`, `U2`, `ram`"
        ],
    );
    check(
        "\"U16-U18\"",
        "\"U18-U16\"",
        expect![
            "short.toml:23:10: expected a part, rail or function, found `U18-U16`; hint: known are `U16`, `U17`, `U18`, `U19`, `U2`, `ram`"
        ],
    );
    check(
        "*.contact",
        "*.contract",
        expect![
            "short.toml:20:20: expected a mode of `U16`, found `contract`; hint: did you mean `contact`?"
        ],
    );
    check(
        "U1*.contact",
        "X*.contact",
        expect![
            "short.toml:23:30: expected a part of this profile, found `X*`; hint: known are `U16`, `U17`, `U18`, `U19`, `U2`"
        ],
    );
    check(
        "U16-U17.dead",
        "U2.dead",
        expect![
            "short.toml:20:58: expected a mode of `U2`, found `dead`; hint: known are `contact`"
        ],
    );
}
