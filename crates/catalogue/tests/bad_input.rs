//! What people get wrong in a profile, and what they are told.

use std::fmt::Write as _;
use std::time::{Duration, Instant};

use catalogue::{Library, check_profile, parse_profile, parse_profile_bytes};
use expect_test::{Expect, expect};

/// A board that is right; cases add to it.
const GOOD: &str = r#"[board]
id = "small"
[[rail]]
name = "+5V"
volts = 5.0
fed_by = ["U30"]
[[block]]
id = "main"
[[part]]
ref = "U30"
block = "main"
mode = [{ id = "low", chance = 0.05 }]
[[part]]
ref = "U12"
block = "main"
mount = "socket"
mode = [{ id = "dead", chance = 0.03 }, { id = "oxide", chance = 0.02, where = "place" }]
[[function]]
id = "clock"
needs = ["U12", "+5V"]
[[check]]
id = "look"
tells = "clock"
"#;

fn problems(text: &str) -> String {
    let mut lines = String::new();
    match parse_profile(text, "b.toml", Library::built_in()) {
        Ok(_) => lines.push_str("no problem\n"),
        Err(problems) => {
            for problem in problems {
                writeln!(lines, "{problem}").expect("a string takes everything");
            }
        }
    }
    lines
}

fn check(text: &str, expect: Expect) {
    expect.assert_eq(&problems(text));
}

/// The good board with lines after it; line 24 is the first of them.
fn check_added(added: &str, expect: Expect) {
    check(&format!("{GOOD}{added}"), expect);
}

/// The good board with one piece exchanged.
fn check_changed(from: &str, to: &str, expect: Expect) {
    assert!(GOOD.contains(from), "{from}");
    check(&GOOD.replacen(from, to, 1), expect);
}

#[test]
fn the_good_board_is_good() {
    check(
        GOOD,
        expect![[r#"
        no problem
    "#]],
    );
}

#[test]
fn empty() {
    check(
        "",
        expect![[r#"
        b.toml:1:1: expected a board profile, found an empty file
    "#]],
    );
    check(
        " \n\n",
        expect![[r#"
        b.toml:1:1: expected a board profile, found an empty file
    "#]],
    );
    check(
        "# nothing but a remark\n",
        expect![[r#"
        b.toml:1:1: expected a table `[board]` with the board's `id`, found a file without it
    "#]],
    );
}

#[test]
fn truncated() {
    check(
        &GOOD[..GOOD.len() - 9],
        expect![[r#"
        b.toml:23:8: expected literal string (string values must be quoted), found end of line or file
    "#]],
    );
    check(
        &GOOD[..155],
        expect![[r#"
            b.toml:12:26: expected `}` (unclosed inline table), found end of line or file
            b.toml:12:26: expected `]` (unclosed array), found end of line or file
            b.toml:12:26: expected `'` (invalid literal string), found end of line or file
        "#]],
    );
    check(
        "[board]\nid = \"small",
        expect![[r#"
        b.toml:2:12: expected `"` (invalid basic string), found end of line or file
    "#]],
    );
    check(
        "[[part]\nref = \"U1\"\n",
        expect![[r#"
            b.toml:1:8: expected `]` (unclosed array table), found end of line or file
        "#]],
    );
}

#[test]
fn every_truncation_is_told_or_read() {
    for end in 0..GOOD.len() {
        problems(&GOOD[..end]);
    }
}

#[test]
fn wrong_encoding() {
    let check = |bytes: &[u8], expect: Expect| {
        let problems =
            parse_profile_bytes(bytes, "b.toml", Library::built_in()).expect_err("no text");
        expect.assert_eq(&problems[0].to_string());
    };
    check(
        b"[board]\ntitle = \"caf\xe9\"\n",
        expect![
            "b.toml:2:13: expected text in UTF-8, found byte `0xe9` at offset 20; hint: save the file as UTF-8"
        ],
    );
    check(
        b"\xff\xfe[\0b\0",
        expect![
            "b.toml:1:1: expected text in UTF-8, found byte `0xff` at offset 0; hint: the file looks like UTF-16; save it as UTF-8"
        ],
    );
    assert!(parse_profile_bytes(GOOD.as_bytes(), "b.toml", Library::built_in()).is_ok());
    let with_mark = format!("\u{feff}{GOOD}");
    assert!(parse_profile_bytes(with_mark.as_bytes(), "b.toml", Library::built_in()).is_ok());
    assert!(parse_profile(&GOOD.replace('\n', "\r\n"), "b.toml", Library::built_in()).is_ok());
}

#[test]
fn noise_is_told_quickly_and_shortly() {
    let noise: Vec<u8> = (0..10_000_000_u64)
        .map(|n| (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 56) as u8)
        .collect();
    let printable: String = noise
        .iter()
        .map(|byte| char::from(byte % 96 + 31))
        .collect();
    let lines: String = noise
        .iter()
        .map(|byte| {
            if byte % 7 == 0 {
                '\n'
            } else {
                char::from(byte % 96 + 31)
            }
        })
        .collect();
    let brackets = "[".repeat(1 << 20);
    let dots = format!("a{} = 1", ".a".repeat(500_000));
    let parts = "[[part]]\nref = 'U1'\n".repeat(40_000);
    let begin = Instant::now();
    assert!(
        parse_profile_bytes(&noise, "n", Library::built_in())
            .expect_err("noise")
            .len()
            < 200
    );
    for text in [
        &printable,
        &printable[..1 << 20],
        &lines[..1 << 20],
        &brackets,
        &dots,
        &parts,
    ] {
        assert!(
            parse_profile(text, "n", Library::built_in())
                .expect_err("noise")
                .len()
                < 200
        );
    }
    assert!(
        begin.elapsed() < Duration::from_secs(30),
        "{:?}",
        begin.elapsed()
    );
}

#[test]
fn unknown_keys() {
    check_changed(
        "volts = 5.0",
        "volts = 5.0\ntolerence = 0.1",
        expect![[r#"
        b.toml:6:1: expected a key that a rail has, found `tolerence`; hint: did you mean `tolerance`?
    "#]],
    );
    check_added(
        "[[parts]]\nref = \"U1\"\n",
        expect![[r#"
        b.toml:24:3: expected a key that a board profile has, found `parts`; hint: did you mean `part`?
    "#]],
    );
    check_changed(
        "chance = 0.05 }",
        "chance = 0.05, colour = 1 }",
        expect![[r#"
        b.toml:12:38: expected a key that a mode has, found `colour`; hint: known are `id`, `title`, `chance`, `where`, `spoils`, `spares`, `shows`, `after`, `cured_by`, `rail`
    "#]],
    );
}

#[test]
fn missing_keys() {
    check_changed(
        "id = \"small\"\n",
        "",
        expect![[r#"
        b.toml:1:1: expected a key `id`, found a board without it
    "#]],
    );
    check_changed(
        "[board]\nid = \"small\"\n",
        "",
        expect![[r#"
        b.toml:1:1: expected a table `[board]` with the board's `id`, found a file without it
    "#]],
    );
    check_changed(
        "volts = 5.0\n",
        "",
        expect![[r#"
        b.toml:3:1: expected a key `volts`, found a rail without it
    "#]],
    );
    check_added(
        "[[part]]\nmount = \"socket\"\n",
        expect![[r#"
        b.toml:24:1: expected a key `ref`, found a part without it
    "#]],
    );
    check_changed(
        "{ id = \"low\", chance = 0.05 }",
        "{ id = \"low\" }",
        expect![[r#"
        b.toml:12:9: expected a key `chance`, found a mode without it
    "#]],
    );
}

#[test]
fn dangling_names() {
    check_changed(
        "\"U12\", \"+5V\"]",
        "\"U13\", \"+5W\", \"zzzzzz\"]",
        expect![[r#"
        b.toml:20:10: expected a part, rail or function, found `U13`; hint: did you mean `U12`?
        b.toml:20:17: expected a part, rail or function, found `+5W`; hint: did you mean `+5V`?
        b.toml:20:24: expected a part, rail or function, found `zzzzzz`; hint: known are `U12`, `U30`, `+5V`, `clock`
    "#]],
    );
    check_changed(
        "fed_by = [\"U30\"]",
        "fed_by = [\"U3O\"]",
        expect![[r#"
        b.toml:6:11: expected a part of this profile, found `U3O`; hint: did you mean `U30`?
    "#]],
    );
    check_changed(
        "tells = \"clock\"",
        "tells = \"clok\"",
        expect![[r#"
        b.toml:23:9: expected a function or a rail of this profile, found `clok`; hint: did you mean `clock`?
    "#]],
    );
    check_changed(
        "tells = \"clock\"",
        "tells = \"U12\"",
        expect![[r#"
            b.toml:23:9: expected a function or a rail (a part is neither), found `U12`; hint: known are `clock`, `+5V`
        "#]],
    );
    check_changed(
        "block = \"main\"\nmount",
        "block = \"mian\"\nmount",
        expect![[r#"
        b.toml:15:9: expected a block of this profile, found `mian`; hint: did you mean `main`?
    "#]],
    );
    check_added(
        "at = [\"U99.6\"]\nrequires = [\"+5V.hihg\"]\n",
        expect![[r#"
        b.toml:24:7: expected a part of this profile, found `U99`; hint: known are `U12`, `U30`
        b.toml:25:13: expected a function or a rail of this profile, found `+5V.hihg`; hint: known are `clock`, `+5V`
    "#]],
    );
    check_added(
        "[[event]]\nid = 'e'\nchance = 0.1\ncauses = [{ mode = 'U12.daed', chance = 1 }, { mode = 'U12', chance = 1 }]\n",
        expect![[r#"
        b.toml:27:20: expected a mode of `U12`, found `daed`; hint: did you mean `dead`?
        b.toml:27:55: expected a mode as `U1.dead`, found `U12`
    "#]],
    );
    check_added(
        "harms = [{ when = '+5V.high', mode = 'U12.oxide', chance = 0.1 }]\n",
        expect![[r#"
        b.toml:24:38: expected a chip mode of `U12`, found `oxide`; hint: known are `dead`
    "#]],
    );
    check_added(
        "[[outside]]\nid = 'brick'\nserves = ['+9V', '+5V.high']\nchance = 0.1\n",
        expect![[r#"
        b.toml:26:11: expected a function or a rail of this profile, found `+9V`; hint: did you mean `+5V`?
        b.toml:26:18: expected a function or a rail's `present`, found `+5V.high`
    "#]],
    );
}

#[test]
fn duplicates() {
    check_added(
        "[[part]]\nref = \"U12\"\nblock = \"main\"\n",
        expect![[r#"
        b.toml:25:7: expected a name used once, found `U12` again; hint: a part of this name is at line 14
    "#]],
    );
    check_added(
        "[[part]]\nref = \"U28-U31\"\nblock = \"main\"\n",
        expect![[r#"
        b.toml:25:7: expected a name used once, found `U30` again; hint: a part of this name is at line 10
    "#]],
    );
    check_added(
        "[[check]]\nid = \"look\"\ntells = \"clock\"\n",
        expect![[r#"
        b.toml:25:6: expected a name used once, found `look` again; hint: a check of this name is at line 22
    "#]],
    );
    check_added(
        "[[function]]\nid = \"U12\"\n",
        expect![[r#"
        b.toml:25:6: expected a name used once, found `U12` again; hint: a part of this name is at line 14
    "#]],
    );
    check_added(
        "[[block]]\nid = \"main\"\n",
        expect![[r#"
        b.toml:25:6: expected a name used once, found `main` again; hint: a block of this name is at line 8
    "#]],
    );
    check_changed(
        "{ id = \"oxide\"",
        "{ id = \"dead\"",
        expect![[r#"
        b.toml:17:48: expected a name used once, found `dead` again; hint: a mode of this name is at line 17
    "#]],
    );
    check_changed(
        "id = \"small\"",
        "id = \"small\"\nid = \"large\"",
        expect![[r#"
        b.toml:3:1: expected valid TOML (duplicate key), found `id`
    "#]],
    );
}

#[test]
fn needs_named_twice() {
    check_changed(
        "\"U12\", \"+5V\"]",
        "\"U12\", \"+5V\", \"U12\", { rail = '+5V', chance = 0.1 }]",
        expect![[r#"
            b.toml:20:24: expected each need once, found `U12` again
            b.toml:20:40: expected each need once, found `+5V` again
        "#]],
    );
}

#[test]
fn loops() {
    check_added(
        "[[function]]\nid = 'a'\nneeds = ['b']\n[[function]]\nid = 'b'\nneeds = [{ function = 'a', chance = 0.5 }]\n",
        expect![[r#"
            b.toml:25:6: expected functions that do not need themselves, found the loop `a` -> `b` -> `a`; hint: cut it by two functions, such as `cpu-could-run` and `cpu-runs`
        "#]],
    );
    check_added(
        "[[function]]\nid = 'a'\nneeds = ['a']\n",
        expect![[r#"
        b.toml:25:6: expected functions that do not need themselves, found the loop `a` -> `a`; hint: cut it by two functions, such as `cpu-could-run` and `cpu-runs`
    "#]],
    );
}

#[test]
fn chances() {
    for chance in [
        "1.2",
        "-0.1",
        "nan",
        "inf",
        "\"seldom\"",
        "true",
        "[0.1]",
        "1_000",
    ] {
        let text = GOOD.replacen("chance = 0.03", &format!("chance = {chance}"), 1);
        assert!(
            problems(&text).contains("b.toml:17:33: expected a chance"),
            "{}",
            problems(&text)
        );
    }
    check_changed(
        "chance = 0.03",
        "chance = 1.2",
        expect![[r#"
        b.toml:17:33: expected a chance, a number in 0 to 1 or one of the words `rare`, `sometimes`, `known culprit`, found chance `1.2`
    "#]],
    );
    check_changed(
        "chance = 0.03",
        "chance = 'known culprits'",
        expect![[r#"
        b.toml:17:33: expected a chance, a number in 0 to 1 or one of the words `rare`, `sometimes`, `known culprit`, found chance `known culprits`
    "#]],
    );
    check_changed(
        "mode = [{ id = \"low\", chance = 0.05 }]",
        "mode = [{ id = \"low\", chance = 0.7 }, { id = \"high\", chance = 0.4 }]",
        expect![[r#"
            b.toml:9:1: expected chip modes whose chances add up to at most 1, found a sum of `1.100000`
        "#]],
    );
}

#[test]
fn rows() {
    let rows = |rows: &str| {
        format!(
            "[[check]]\nid = 'x'\noutcomes = {{ good = 'good', bad = 'bad' }}\ntells = [{rows}]\n"
        )
    };
    let end = "{ otherwise = true, shows = { good = 1 } }";
    let case = |text: &str, expect| check_added(&rows(text), expect);
    case(
        &format!("{{ fails = 'clock', shows = {{ bad = 0.9 }} }}, {end}"),
        expect![[r#"
        b.toml:27:10: expected chances that add up to 1, found a sum of `0.900000`
    "#]],
    );
    case(
        &format!("{{ fails = 'clock', shows = {{ bed = 1.0 }} }}, {end}"),
        expect![[r#"
        b.toml:27:39: expected an outcome of this check, found `bed`; hint: did you mean `bad`?
    "#]],
    );
    case(
        "{ fails = 'clock', shows = { bad = 1.0 } }",
        expect![[r#"
        b.toml:27:9: expected a last row `otherwise = true`, found rows without it; hint: add `{ otherwise = true, shows = { … } }` as the last row
    "#]],
    );
    case(
        &format!("{end}, {{ fails = 'clock', shows = {{ bad = 1.0 }} }}"),
        expect![[r#"
        b.toml:27:54: expected the row `otherwise = true` last, found a row after it, which never applies
    "#]],
    );
    case(
        &format!("{{ shows = {{ bad = 1.0 }} }}, {end}"),
        expect![[r#"
        b.toml:27:10: expected a row with either `fails` or `otherwise = true`, found none or both of them
    "#]],
    );
    check_added(
        "[[check]]\nid = 'x'\noutcomes = { good = 'good', bad = 'bad' }\ntells = 'clock'\n",
        expect![[r#"
        b.toml:27:9: expected rows that tell of the outcomes, found `clock`; hint: write rows `{ fails = …, shows = … }`, or leave `outcomes` out
    "#]],
    );
    check_added(
        "[[check]]\nid = 'x'\noutcomes = { good = 'good' }\ntells = [{ otherwise = true, shows = { good = 1 } }]\n",
        expect![[r#"
        b.toml:26:12: expected at least 2 outcomes, found 1
    "#]],
    );
}

#[test]
fn checks_that_tell_nothing() {
    check_added(
        "[[check]]\nid = 'x'\n",
        expect![[r#"
        b.toml:25:6: expected a check that tells something, found no `tells`; hint: write `tells = "…"` with a function or rail, or rows
    "#]],
    );
    check_added(
        "[[check]]\nid = 'x'\ntells = []\n",
        expect![[r#"
            b.toml:25:6: expected a check that tells something, found no `tells`; hint: write `tells = "…"` with a function or rail, or rows
        "#]],
    );
}

#[test]
fn limits() {
    let limits = |text: &str, expect| check_added(&format!("limits = {{ {text} }}\n"), expect);
    limits(
        "quantity = 'voltage', low = '5.25 V', high = '4.75 V'",
        expect![[r#"
        b.toml:24:10: expected a lower limit below the upper one, found low `5.25 V` above high `4.75 V`; hint: exchange them
    "#]],
    );
    limits(
        "quantity = 'voltige', low = '5.25 V'",
        expect![[r#"
        b.toml:24:23: expected a known quantity, found `voltige`; hint: did you mean `voltage`?
    "#]],
    );
    limits(
        "quantity = 'voltage', low = '5.25 Hz'",
        expect![[r#"
        b.toml:24:40: expected a voltage, found the frequency `5.25 Hz`
    "#]],
    );
    limits(
        "quantity = 'voltage', low = '5.25 parsec'",
        expect![[r#"
        b.toml:24:40: expected a quantity such as `3.49 MHz`, `80 ms` or `4k7`, found `5.25 parsec`; hint: write a unit such as V, A, Hz, s, Ω, F, with a prefix if need be (m is milli, M is mega)
    "#]],
    );
    limits(
        "quantity = 'voltage'",
        expect![[r#"
        b.toml:24:10: expected `low`, `high` or both, found neither of them
    "#]],
    );
    limits(
        "quantity = 'voltage', low = true",
        expect![[r#"
        b.toml:24:40: expected a limit such as `"4.75 V"`, found `true`
    "#]],
    );
}

#[test]
fn wrong_words_and_types() {
    check_changed(
        "mount = \"socket\"",
        "mount = \"sockets\"",
        expect![[r#"
        b.toml:16:9: expected one of `socket`, `soldered`, `plug`, found mount `sockets`; hint: did you mean `socket`?
    "#]],
    );
    check_changed(
        "mount = \"socket\"",
        "mount = \"glued\"",
        expect![[r#"
        b.toml:16:9: expected one of `socket`, `soldered`, `plug`, found mount `glued`
    "#]],
    );
    check_changed(
        "id = \"clock\"",
        "id = \"the clock\"",
        expect![[r#"
        b.toml:19:6: expected a name of one word without dots, commas and quotes, found `the clock`
        b.toml:23:9: expected a function or a rail of this profile, found `clock`; hint: known are `+5V`
    "#]],
    );
    check_changed(
        "volts = 5.0",
        "volts = \"five\"",
        expect![[r#"
        b.toml:5:9: expected volts, a number other than 0, found `five`
    "#]],
    );
    check_changed(
        "id = \"look\"",
        "id = \"look\"\nminutes = \"long\"",
        expect![[r#"
        b.toml:23:11: expected minutes, as a number or as in `8 min`, `30 s`, `1 h`, found `long`
    "#]],
    );
    check_changed(
        "id = \"look\"",
        "id = \"look\"\nset_up = 3",
        expect![[r#"
        b.toml:23:10: expected a text, found `3`
    "#]],
    );
    check_changed(
        "[board]\nid = \"small\"",
        "board = 3",
        expect![[r#"
        b.toml:1:9: expected a table with the keys of a board, found `3`
    "#]],
    );
    check_changed(
        "where = \"place\"",
        "cured_by = { reseat = 0.7 }",
        expect![[r#"
        b.toml:17:83: expected `cured_by` on a place mode, found it on a chip mode; hint: write `where = "place"` beside it, or leave `cured_by` out
    "#]],
    );
    check_changed(
        "mount = \"socket\"",
        "mount = \"socket\"\narea = [1, 2, 3]",
        expect![[r#"
        b.toml:17:8: expected an area as `[x, y, width, height]` in mm, found a list
    "#]],
    );
}

#[test]
fn all_at_once() {
    let text = "[board]\nid = 'x'\nunmodelled = 2\n[[part]]\nref = 'U1'\nblok = 'cpu'\nmode = [{ id = 'dead', chance = 3 }]\n\
                [[function]]\nid = 'f'\nneeds = ['U2']\n[[check]]\nid = 'c'\ntells = 'g'\n";
    check(
        text,
        expect![[r#"
        b.toml:3:14: expected a chance, a number in 0 to 1 or one of the words `rare`, `sometimes`, `known culprit`, found chance `2`
        b.toml:4:1: expected a key `block`, found a part without it
        b.toml:6:1: expected a key that a part has, found `blok`; hint: did you mean `block`?
        b.toml:7:33: expected a chance, a number in 0 to 1 or one of the words `rare`, `sometimes`, `known culprit`, found chance `3`
        b.toml:10:10: expected a part, rail or function, found `U2`; hint: did you mean `U1`?
        b.toml:13:9: expected a function or a rail of this profile, found `g`; hint: did you mean `f`?
    "#]],
    );
}

#[test]
fn smells() {
    let smells = |text: &str| {
        let profile = parse_profile(text, "b.toml", Library::built_in()).expect("a good board");
        check_profile(&profile)
            .iter()
            .map(ToString::to_string)
            .collect::<Vec<_>>()
            .join("\n")
    };
    expect![
        "no check tells `U30.low` from `U12.dead`, though they differ in `clock`, `+5V.present`"
    ]
    .assert_eq(&smells(GOOD));
    let added = "[[function]]\nid = 'tape'\nneeds = ['U12']\n[[part]]\nref = 'U5'\nblock = 'main'\n[[part]]\nref = 'U6'\nblock = 'main'\noptional = true\n";
    expect![[r#"
        no check tells of function `tape` or of one that needs it
        part `U5` has no mode with a chance, so it is never suspected
        no function and no rail needs part `U5`, and it spoils nothing
        no check tells `U30.low` from `U12.dead`, though they differ in `clock`, `tape`, `+5V.present`"#]]
    .assert_eq(&smells(&format!("{GOOD}{added}")));
}
