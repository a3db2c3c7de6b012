//! Each smell fires on a made board, and on nothing that ships.

use std::fs;
use std::path::Path;

use catalogue::{
    Library, Profile, check_profile, parse_profile, same_looks, starter, starter_ids,
    unknown_devices,
};

/// A board on which nothing smells: two chips behind one another, each with its check.
const GOOD: &str = r#"
[board]
id = "made"
derive = false

[[rail]]
name = "+5V"
volts = 5.0
fed_by = ["U9"]

[[block]]
id = "main"

[[part]]
ref = "U1"
block = "main"
mode = [{ id = "dead", chance = 0.1 }]

[[part]]
ref = "U2"
block = "main"
mode = [{ id = "dead", chance = 0.1 }]

[[part]]
ref = "U9"
block = "main"
mode = [{ id = "dead", chance = 0.1 }]

[[function]]
id = "clock"
needs = ["U1", "+5V"]

[[function]]
id = "run"
needs = ["U2", "clock"]

[[check]]
id = "volts"
title = "Volts"
how = "Measure."
tells = "+5V"

[[check]]
id = "clock"
title = "Clock"
how = "Look."
tells = "clock"

[[check]]
id = "run"
title = "Run"
how = "Look."
tells = "run"
"#;

fn profile(text: &str) -> Profile {
    parse_profile(text, "made.toml", Library::built_in())
        .unwrap_or_else(|problems| panic!("{}\n{text}", problems[0]))
}

fn smells(text: &str) -> Vec<String> {
    check_profile(&profile(text))
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// The good board with one text in place of another smells so.
fn check(from: &str, to: &str, expect: &[&str]) {
    assert!(GOOD.contains(from), "{from}");
    assert_eq!(smells(&GOOD.replacen(from, to, 1)), expect, "{to}");
}

/// The good board with these texts in place of others does not smell, though it nearly does.
fn near_miss(changes: &[(&str, &str)]) {
    let text = changes.iter().fold(GOOD.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    assert_eq!(smells(&text), [""; 0], "{changes:?}");
}

const CLOCK_CHECK: &str =
    "[[check]]\nid = \"clock\"\ntitle = \"Clock\"\nhow = \"Look.\"\ntells = \"clock\"\n";

const U2: &str = "ref = \"U2\"\nblock = \"main\"\nmode = [{ id = \"dead\", chance = 0.1 }]";

#[test]
fn nothing_smells_on_a_good_board() {
    assert_eq!(smells(GOOD), [""; 0]);
}

#[test]
fn nothing_that_ships_smells() {
    let demo =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel/boards/ostrel-8-r2.toml");
    let demo = fs::read_to_string(demo).expect("the demo's board");
    assert_eq!(smells(&demo), [""; 0], "the demo");
    for id in starter_ids() {
        let starter = starter(id).expect("it is there");
        assert_eq!(check_profile(&starter), [], "{id}");
    }
}

#[test]
fn a_function_nothing_tests() {
    check(
        "[[check]]\nid = \"run\"\ntitle = \"Run\"\nhow = \"Look.\"\ntells = \"run\"\n",
        "",
        &["no check tells of function `run` or of one that needs it"],
    );
    // told of by a row of a table
    near_miss(&[(
        "tells = \"run\"\n",
        "outcomes = { a = \"a\", b = \"b\" }\ntells = [{ fails = \"run\", shows = { a = 1.0 } }, { otherwise = true, shows = { b = 1.0 } }]\n",
    )]);
    // told of by the check of what needs it
    near_miss(&[
        (CLOCK_CHECK, ""),
        (
            "needs = [\"U2\", \"clock\"]",
            "needs = [\"U2\", { function = \"clock\", chance = 0.5 }]",
        ),
    ]);
}

#[test]
fn a_part_with_no_mode() {
    let bare = "ref = \"U2\"\nblock = \"main\"";
    check(
        U2,
        bare,
        &["part `U2` has no mode with a chance, so it is never suspected"],
    );
    // only an event strikes it
    near_miss(&[
        (U2, &U2.replace("0.1", "0.0")),
        (
            "[[function]]",
            "[[event]]\nid = \"flood\"\nchance = 0.1\ncauses = [{ mode = \"U2.dead\", chance = 0.5 }]\n\n[[function]]",
        ),
    ]);
    near_miss(&[(U2, &format!("{bare}\noptional = true"))]);
}

#[test]
fn a_part_nothing_needs() {
    check(
        "needs = [\"U2\", \"clock\"]",
        "needs = [\"clock\"]",
        &["no function and no rail needs part `U2`, and it spoils nothing"],
    );
    // nothing needs it, but it pulls something down
    near_miss(&[
        ("needs = [\"U2\", \"clock\"]", "needs = [\"clock\"]"),
        (
            U2,
            &U2.replace(
                "0.1 }",
                "0.1, spoils = [{ function = \"run\", chance = 0.5 }] }",
            ),
        ),
    ]);
}

#[test]
fn a_mode_that_breaks_nothing() {
    let dull = |more: &str| {
        U2.replace(
            "}]",
            &format!("}}, {{ id = \"dull\", chance = 0.1, spares = [\"run\"]{more} }}]"),
        )
    };
    check(
        U2,
        &dull(""),
        &["mode `U2.dull` breaks nothing, so nothing ever shows it"],
    );
    // it spares what the part is for, and pulls down something else
    near_miss(&[(
        U2,
        &dull(", spoils = [{ function = \"clock\", chance = 0.5 }]"),
    )]);
}

#[test]
fn two_modes_no_check_can_tell_apart() {
    check(
        CLOCK_CHECK,
        "",
        &["no check tells `U1.dead` from `U2.dead`, though they differ in `clock`, `run`"],
    );
}

#[test]
fn modes_told_apart_by_their_time_or_their_chance_do_not_smell() {
    near_miss(&[
        (CLOCK_CHECK, ""),
        ("chance = 0.1 }", "chance = 0.1, after = \"8 min\" }"),
    ]);
    near_miss(&[
        (CLOCK_CHECK, ""),
        ("chance = 0.1 }", "chance = 0.1, shows = 0.5 }"),
    ]);
}

#[test]
fn a_check_that_can_never_change_a_decision() {
    let lone = "tells = \"lone\"\n\n[[function]]\nid = \"lone\"\nneeds = []\nleak = 0.1\n";
    check(
        "tells = \"run\"\n",
        lone,
        &[
            "no check tells of function `run` or of one that needs it",
            "check `run` can never change a decision: no mode of a part breaks what it tells of",
        ],
    );
    check(
        "tells = \"run\"\n",
        "tells = \"run\"\nfalse_pass = 0.6\nfalse_fail = 0.4\n",
        &["check `run` can never change a decision: it shows the same whether that fails or not"],
    );
    check(
        "tells = \"run\"\n",
        "tells = \"run\"\nblunder = 1.0\n",
        &["check `run` can never change a decision: its `blunder` is 1"],
    );
    check(
        "tells = \"run\"\n",
        "outcomes = { a = \"a\", b = \"b\" }\ntells = [{ fails = \"run\", shows = { a = 0.5, b = 0.5 } }, { otherwise = true, shows = { a = 0.5, b = 0.5 } }]\n",
        &["check `run` can never change a decision: it shows the same whether that fails or not"],
    );
    // no part breaks it, but a thing outside does
    near_miss(&[
        (
            "tells = \"run\"\n",
            &lone.replace(
                "leak = 0.1",
                "leak = 0.1\n\n[[check]]\nid = \"run-too\"\ntells = \"run\"",
            ),
        ),
        (
            "[[block]]",
            "[[outside]]\nid = \"lead\"\nserves = [\"lone\"]\nchance = 0.1\n\n[[block]]",
        ),
    ]);
    for errors in [
        "false_pass = 0.6\nfalse_fail = 0.39\n",
        "blunder = 0.99\n",
        // whether it can be done at all tells something
        "false_pass = 0.6\nfalse_fail = 0.4\nrequires = [\"clock\"]\n",
    ] {
        near_miss(&[("tells = \"run\"\n", &format!("tells = \"run\"\n{errors}"))]);
    }
}

#[test]
fn a_row_that_never_decides() {
    check(
        "tells = \"run\"\n",
        "outcomes = { a = \"a\", b = \"b\" }\ntells = [{ fails = \"run\", shows = { a = 1.0 } }, { fails = [\"run\", \"clock\"], shows = { a = 0.5, b = 0.5 } }, { otherwise = true, shows = { b = 1.0 } }]\n",
        &["row 2 of check `run` never decides, as row 1 always does before it"],
    );
    near_miss(&[(
        "tells = \"run\"\n",
        "outcomes = { a = \"a\", b = \"b\" }\ntells = [{ fails = [\"run\", \"clock\"], shows = { a = 1.0 } }, { fails = \"run\", shows = { a = 0.5, b = 0.5 } }, { otherwise = true, shows = { b = 1.0 } }]\n",
    )]);
}

#[test]
fn a_device_the_catalogue_does_not_know() {
    let check = |device: &str, expect: &[&str]| {
        let named = U2.replace("mode =", &format!("device = \"{device}\"\nmode ="));
        let found: Vec<String> =
            unknown_devices(&profile(&GOOD.replacen(U2, &named, 1)), Library::built_in())
                .iter()
                .map(ToString::to_string)
                .collect();
        assert_eq!(found, expect, "{device}");
    };
    check(
        "74ls2455",
        &[
            "part `U2` names device `74ls2455`, which the catalogue does not know; nearest is `74ls245`",
        ],
    );
    check(
        "ov-2",
        &["part `U2` names device `ov-2`, which the catalogue does not know"],
    );
    check("74ls245", &[]);
    check("74hct245", &[]);
}

#[test]
fn parts_that_serve_one_function_look_the_same_and_are_meant_so() {
    let text = GOOD.replacen(
        "needs = [\"U2\", \"clock\"]",
        "needs = [\"U2\", \"U3\", \"clock\"]",
        1,
    ) + "\n[[part]]\nref = \"U3\"\nblock = \"main\"\nmode = [{ id = \"dead\", chance = 0.1 }]\n";
    let profile = profile(&text);
    assert_eq!(check_profile(&profile), []);
    let same = same_looks(&profile);
    assert_eq!(same.len(), 1);
    assert_eq!(
        (same[0].modes.join(" "), same[0].breaks.join(" ")),
        ("U2.dead U3.dead".to_owned(), "run".to_owned())
    );
}
