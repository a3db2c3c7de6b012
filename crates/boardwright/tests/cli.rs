//! The built program in private folders: the whole path, bad input, two writers, exit status, JSON, help.

#[path = "cli/documented.rs"]
mod documented;
#[path = "cli/knowledge.rs"]
mod knowledge;
#[path = "cli/readme.rs"]
mod readme;
#[path = "cli/refusals.rs"]
mod refusals;
mod support;

use documented::Documented;
use expect_test::{Expect, expect, expect_file};
use serde_json::Value;
use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::Stdio;
use std::sync::LazyLock;
use support::Bench;

/// A private folder whose default workshop has the demo's board, vendors and figures, and no machine yet.
fn club() -> Bench {
    let bench = Bench::new();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    for folder in ["", "boards", "vendors"] {
        let entries = std::fs::read_dir(examples.join(folder)).expect("the example's folder");
        for entry in entries {
            let path = entry.expect("an entry").path();
            if path.extension().is_some_and(|ending| ending == "toml")
                && !path.ends_with("pile.toml")
            {
                let name = path
                    .strip_prefix(&examples)
                    .expect("below it")
                    .display()
                    .to_string();
                bench.write(
                    &format!("boardwright/{name}"),
                    std::fs::read(&path).expect("a file"),
                );
            }
        }
    }
    bench
}

/// Inside a workshop that one is the workshop; elsewhere an empty one says which folder it is.
#[test]
fn the_folder_one_stands_in_counts_if_it_is_a_workshop() {
    let bench = Bench::new();
    bench.ok(&["demo", "--once", "--dir", "pile"]);
    let mut inside = bench.command(&["bench"]);
    let inside = inside.current_dir(bench.folder().join("pile")).output();
    let inside = String::from_utf8(inside.expect("it runs").stdout).expect("UTF-8");
    assert!(inside.contains("Eight machines."), "{inside}");
    let elsewhere = bench.ok(&["bench"]);
    let folder = bench.folder().join("boardwright");
    let named = format!(
        "The workshop is {}; --workshop names another.",
        folder.display()
    );
    assert!(
        elsewhere.starts_with("Nothing is taken in yet.") && elsewhere.contains(&named),
        "{elsewhere}"
    );
    assert_eq!(bench.ok(&[]), elsewhere);
}

/// The same with the nine machines of the demo.
fn club_with_pile() -> Bench {
    let bench = club();
    bench.ok(&[
        "take-in",
        "9 from Harbour Street, 270.00",
        "--board",
        "ostrel-8-r2",
        "--except",
        EXCEPTIONS,
    ]);
    bench
}

const EXCEPTIONS: &str = "T-06 battery leaked; T-09 U9 absent; T-01 someone was inside";

/// What `demo --once` printed, and the files it left.
struct Demo {
    printed: String,
    files: Vec<(String, Vec<u8>)>,
}

/// The demo, played once for all tests.
static DEMO: LazyLock<Demo> = LazyLock::new(|| {
    let bench = Bench::new();
    let printed = bench.ok(&["demo", "--once"]);
    let mut files = Vec::new();
    let made = bench.folder().join("boardwright-demo");
    for folder in ["", "boards", "vendors"] {
        for entry in std::fs::read_dir(made.join(folder)).expect("the demo's folder") {
            let path = entry.expect("an entry").path();
            if path.is_file() {
                let name = path
                    .strip_prefix(&made)
                    .expect("below it")
                    .display()
                    .to_string();
                files.push((name, std::fs::read(&path).expect("a file")));
            }
        }
    }
    Demo { printed, files }
});

/// A private folder with the demo's pile in `boardwright-demo`.
fn demo() -> Bench {
    let bench = Bench::new();
    for (name, bytes) in &DEMO.files {
        bench.write(&format!("boardwright-demo/{name}"), bytes);
    }
    bench
}

fn json(bench: &Bench, arguments: &[&str]) -> Value {
    let printed = bench.ok(&[arguments, &["--json"]].concat());
    serde_json::from_str(&printed).expect("JSON")
}

/// Every line of the journal, or those of one machine.
fn journal(bench: &Bench, tag: Option<&str>) -> Vec<Value> {
    let printed = json(bench, &[&["journal"], tag.as_slice()].concat());
    printed["rows"].as_array().expect("rows").clone()
}

/// Puts `[time]`, `[date]` and `[folder]` for what differs from run to run.
fn masked(bench: &Bench, text: &str) -> String {
    let text = text.replace(&bench.folder().display().to_string(), "[folder]");
    let lines = text.split_inclusive('\n').map(|line| {
        if is_date(line) {
            "[date]\n".to_owned()
        } else {
            without_times(line)
        }
    });
    lines.collect()
}

/// A line such as `Thu 12 Nov 2026`.
fn is_date(line: &str) -> bool {
    let words: Vec<&str> = line.split_whitespace().collect();
    let day = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    matches!(words[..], [first, _, _, year] if day.contains(&first) && year.parse::<u16>().is_ok())
}

fn without_times(line: &str) -> String {
    let mut out = String::new();
    let mut rest = line;
    while let Some(first) = rest.chars().next() {
        let bytes = rest.as_bytes();
        let digit = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_digit);
        let time = digit(0) && digit(1) && bytes.get(2) == Some(&b':') && digit(3) && digit(4);
        if time && !out.ends_with(|last: char| last.is_ascii_digit()) {
            out.push_str("[time]");
            rest = &rest[5..];
        } else {
            out.push(first);
            rest = &rest[first.len_utf8()..];
        }
    }
    out
}

fn check_text(bench: &Bench, arguments: &[&str], expect: Expect) {
    let text = bench.ok(arguments);
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "wider than 80 columns:\n{text}"
    );
    expect.assert_eq(&masked(bench, &text));
}

#[test]
fn nine_machines_with_three_exceptions_take_one_command_line() {
    let bench = club();
    check_text(
        &bench,
        &[
            "take-in",
            "9 from Harbour Street, 270.00",
            "--board",
            "ostrel-8-r2",
            "--except",
            EXCEPTIONS,
        ],
        expect![[r#"
            Nine machines, T-01 to T-09, 30.00 each.
            Lot L-01 from Harbour Street; board: Ostrel 8, board revision 2.
            T-06: the battery leaked.
            T-09: U9 is absent.
            T-01: someone was inside before.
        "#]],
    );
    let view = json(&bench, &["bench"]);
    assert_eq!(view["rows"].as_array().expect("rows").len(), 9);
}

#[test]
fn no_file_is_needed_to_begin() {
    let bench = Bench::new();
    check_text(
        &bench,
        &["take-in", "2 from the attic, 0"],
        expect![[r#"
        Two machines, T-01 to T-02, 0.00 each.
        Lot L-01 from the attic; board: Z80 home micro, not known further.
        A starter profile of blocks; it can be split into parts later without losing a
        finding.
    "#]],
    );
    check_text(
        &bench,
        &["measure", "T-01", "picture", "black"],
        expect![[r#"
            The dynamic RAM chips and what drives them: a bit or a chip gone: 18 %, was
            13 %.
                  ✕ │ picture: blank, black or one colour
        "#]],
    );
    let card = bench.ok(&["show", "T-01"]);
    assert!(card.contains("\nSuspects\n"), "{card}");
}

#[test]
fn from_take_in_to_parcels() {
    let bench = club_with_pile();
    check_text(
        &bench,
        &["measure", "T-03", "picture black; sound three"],
        expect![[r#"
            U9, the video controller, is dead: 52 %, was 13 %.
                  ✕ │ picture: blank, black
                  ● │ sound: three voices
        "#]],
    );
    check_text(
        &bench,
        &["measure", "T-03", "+5v", "4.98"],
        expect![[r#"
        It changes no chance by as much as one in two hundred.
              ● │ +5 V, C12, 4.98 V ± 0.04: within 4.75 to 5.25 V (accuracy: common
                │ practice, no source)
    "#]],
    );
    check_text(
        &bench,
        &[
            "round", "reset", "142", "150", "139", "144", "138", "skip", "skip", "skip", "skip",
        ],
        expect![[r#"
            T-01: PS1, the 9 V supply, gives nothing: below 1 %, was 2 %.
                  ● │ reset, U1 pin 26, 142 ms ± 4: within 80 to 300 ms (accuracy: common
                    │ practice, no source)
                  ● │ reset, U1 pin 26, 150 ms ± 4: within 80 to 300 ms (accuracy: common
                    │ practice, no source)
                  ● │ reset, U1 pin 26, 139 ms ± 4: within 80 to 300 ms (accuracy: common
                    │ practice, no source)
                  ● │ reset, U1 pin 26, 144 ms ± 4: within 80 to 300 ms (accuracy: common
                    │ practice, no source)
                  ● │ reset, U1 pin 26, 138 ms ± 4: within 80 to 300 ms (accuracy: common
                    │ practice, no source)
                  – │ reset, U1 pin 26: left out
                  – │ reset, U1 pin 26: left out
                  – │ reset, U1 pin 26: left out
                  – │ reset, U1 pin 26: left out
        "#]],
    );
    check_text(
        &bench,
        &["show", "T-03"],
        expect![[r#"
            T-03, Ostrel 8, board revision 2: on the bench, 30.00 of the lot, 5 min spent
            Picture black: most likely U9.

            Next
              4 min │ Sync at the picture module, U14 pin 4. Saves 7.98.
                    │ Look at U14 pin 4: how deep are the sync pulses?
                    │ pass (27 %): then U14 dead, 31 %
                    │ fail (73 %): then U9 dead, 71 %
              3 min │ Voices at the sound generator, U26 pins 4, 3 and 38. Saves 1.18.
                    │ Look at U26 pins 4, 3 and 38 during the tune: does each show its
                    │ voice?
                    │ pass (92 %): then U9 dead, 53 %
                    │ fail (4 %): then U9 dead, 53 %
                    │ cannot (4 %): then U9 dead, 40 %
              3 min │ Contacts. Saves 0.20.
                    │ ▲ Press with a dry wooden stick, never near the mains part.
                    │ While it runs, press on each socketed chip and tap the board; pass if
                    │ nothing changes.
                    │ pass (81 %): then U9 dead, 59 %
                    │ fail (19 %): then U9 contact, 72 %
            Saved against fitting suspects one at a time, at 12.00 an hour.

            Suspects
               53 % │ U9, the video controller, is dead (was 52 %).
                    │ Speaks for it: picture black, 8 times likelier; sound three voices,
                    │ 1.4 times likelier.
               20 % │ U9, the video controller, makes no contact in its socket (was 20 %).
                    │ Speaks for it: picture black, 5.2 times likelier.
               11 % │ U14, the picture output module OM-3, is dead (was 10 %).
                    │ Speaks for it: picture black, 4.6 times likelier; sound three voices,
                    │ 1.3 times likelier.
                6 % │ J7, the edge connector: dirty or worn fingers (was 6 %).
                    │ Speaks for it: picture black, 2.2 times likelier. Against it: sound
                    │ three voices, 1.3 times less likely.
                5 % │ U11, the screen data latch: an output stuck or open (was 5 %).
                4 % │ The television and its lead is bad (was 4 %).
                4 % │ U14, the picture output module OM-3, has cracked joints (was 4 %).
                2 % │ Something this profile does not know: a track, a via or a cable.
            1 more at 2 % or less. Two can be true at once.

            No finding has spoken yet of draw, contacts, ports, keyboard, load, colour and
            one more: seven of 30 functions, with eleven parts of 60.

            What fits it all
               41 % │ U9 dead, all else good.
               12 % │ U9 contact, all else good.
                7 % │ U14 dead, all else good.
                6 % │ Nothing is wrong with it.
                3 % │ The television and its lead bad, all else good.
               32 % │ all others together

            Without more checks
            U9 reseated, then J7 cleaned, then U14 resoldered, then U9 used original, then
            four more, each with a retest until it works. That takes 50 min on average, it
            works with 74 %, and 46.85 is left after cost.
        "#]],
    );
    check_text(
        &bench,
        &["reseat", "T-03", "U9", "U12"],
        expect![[r#"
            U9, the video controller, makes no contact in its socket: 7 %, was 20 %.
        "#]],
    );
    check_text(
        &bench,
        &["fit", "T-03", "U9", "--works", "0.95", "--old-mark", "dot"],
        expect![[r#"
            U9, the video controller, is dead: 5 %, was 53 %.
        "#]],
    );
    check_text(
        &bench,
        &["measure", "T-03", "picture start"],
        expect![[r#"
            U14, the picture output module OM-3, is dead: 0 %, was 11 %.
                  ● │ picture: start-up screen
        "#]],
    );
    check_text(
        &bench,
        &["settle", "T-07", "works"],
        expect![[r#"
            U9, the video controller, is dead: 0 %, was 13 %.
        "#]],
    );
    check_text(
        &bench,
        &["undo"],
        expect![[r#"
            Taken back: T-07, settled: it works.
            U9, the video controller, is dead: 13 %, was 0 %.
        "#]],
    );
    check_text(
        &bench,
        &["show", "T-03", "--journal"],
        expect![[r#"
            T-03, Ostrel 8, board revision 2: working, 30.00 of the lot, 13 min spent
            Looks whole: 86 % that nothing is wrong.

            Next
              3 min │ Keyboard. Saves 1.48.
                    │ Press every key once and watch the screen.
                    │ all keys (90 %): then J7 contact, 3 %
                    │ some (6 %): then KB1 contact, 23 %
                    │ no key (3 %): then KB1 contact, 20 %
                    │ cannot (1 %): then J7 contact, 3 %
              1 min │ Colour bars. Saves 0.36.
                    │ Are all eight colours of the start-up screen right?
                    │ pass (95 %): then J7 contact, 3 %
                    │ fail (4 %): then X3 dead, 13 %
                    │ cannot (1 %): then J7 contact, 3 %
              1 min │ Sound. Saves 0.11.
                    │ Which voices of the start-up tune are heard?
                    │ three voices (97 %): then J7 contact, 3 %
                    │ two voices (1 %): then U26 voice, 19 %
                    │ none (1 %): then LS1 contact, 7 %
                    │ cannot (1 %): then J7 contact, 3 %
            Saved against fitting suspects one at a time, at 12.00 an hour.

            Suspects
                3 % │ J7, the edge connector: dirty or worn fingers (was 6 %).
                2 % │ KB1, the keyboard membrane: bad contact in the plug (was 2 %).
                1 % │ KB1, the keyboard membrane, has cracked tracks (was 1 %).
              0.8 % │ Something this profile does not know: a track, a via or a cable.

            No finding has spoken yet of draw, contacts, ports, keyboard, load, colour and
            one more: seven of 30 functions, with eleven parts of 60.

            What fits it all
               86 % │ Nothing is wrong with it.
                3 % │ J7 contact, all else good.
                2 % │ KB1 contact, all else good.
                1 % │ KB1 cracked, all else good.
              0.7 % │ C12 dry, all else good.
                8 % │ all others together

            Without more checks
            See whether it works; if not, J7 cleaned, then KB1 reseated, then J5 cleaned,
            then U28 new old stock, then four more, each with a retest until it works. That
            takes 10 min on average, it works with 92 %, and 104.76 is left after cost.

            Journal
            [date]
                  4 │ [time] Ines Taken in with lot L-01, Ostrel 8, board revision 2, 30.00.
                 11 │ [time] Ines Picture black
                 12 │ [time] Ines Sound three voices
                 13 │ [time] Ines +5 V at C12 4.98 V ± 0.04
                 16 │ [time] Ines Reset at U1 pin 26 139 ms ± 4
                 23 │ [time] Ines Reseated U9 and U12. What touches U9 and U12 counts anew
                    │ from here.
                 24 │ [time] Ines Fitted a new part in U9, good with 95 %; the old one is
                    │ marked dot. What touches U9 counts anew from here.
                 25 │ [time] Ines Picture start-up screen
        "#]],
    );
    let plan = bench.ok(&["plan", "--money", "120", "--evenings", "3"]);
    assert!(plan.contains("Proven: "), "{plan}");
    let order = bench.run(&["order"]);
    assert!(order.status < 2, "{order:?}");
}

#[test]
fn a_marked_chip_goes_from_machine_to_machine() {
    let bench = club_with_pile();
    check_text(
        &bench,
        &["pull", "T-06", "U9", "--mark", "red dot"],
        expect![[r#"
            U9, the video controller, makes no contact in its socket: 11 %, was 33 %.
        "#]],
    );
    check_text(
        &bench,
        &["fit", "T-09", "U9", "--mark", "red dot"],
        expect![[r#"
            U9, the video controller, makes no contact in its socket: 3 %, was 6 %.
        "#]],
    );
    check_text(
        &bench,
        &["resolder", "T-06", "U9"],
        expect![[r#"
            U9, the video controller, makes no contact in its socket: 12 %, was 11 %.
        "#]],
    );
    check_text(
        &bench,
        &["clean", "T-06", "--block", "cpu"],
        expect![[r#"
        It changes no chance by as much as one in two hundred.
    "#]],
    );
}

#[test]
fn undo_takes_back_a_line_by_its_number() {
    let bench = club_with_pile();
    let live = || {
        journal(&bench, Some("T-02"))
            .iter()
            .filter(|line| line["taken_back"].is_null())
            .count()
    };
    let before = live();
    bench.ok(&["measure", "T-02", "picture nosync"]);
    let line = json(&bench, &["measure", "T-02", "sound none"])["lines"][0].clone();
    bench.ok(&["undo", &line.to_string()]);
    bench.ok(&["undo"]);
    let rows = json(&bench, &["bench"])["rows"][1]["cells"].clone();
    let taken = rows
        .as_array()
        .expect("cells")
        .iter()
        .filter(|cell| cell["text"] != "")
        .count();
    assert_eq!((live(), taken), (before, 0));
}

#[test]
fn the_demo_says_the_same_each_time() {
    let first = &DEMO.printed;
    assert_eq!(*first, demo().ok(&["demo", "--once"]));
    assert!(
        first.lines().all(|line| line.chars().count() <= 80),
        "wider than 80 columns:\n{first}"
    );
    expect_file!["data/demo.txt"].assert_eq(first);
}

#[test]
fn the_demo_keeps_off_folders_that_are_not_its_own() {
    let bench = Bench::new();
    bench.write("mine/notes.txt", "mine");
    let refused = bench.run(&["demo", "--once", "--dir", "mine"]);
    assert_eq!((refused.status, refused.stdout.as_str()), (2, ""));
    expect![[r#"
        error: `mine` is there already and no demo made it

        hint: name another folder with --dir
    "#]]
    .assert_eq(&refused.stderr);
    assert_eq!(
        std::fs::read_dir(bench.folder().join("mine"))
            .expect("a folder")
            .count(),
        1
    );
}

/// A board of three parts.
const TINY: &str = r#"
[board]
id = "tiny"
title = "Tiny"
derive = false
[[block]]
id = "all"
[[part]]
ref = "U1"
block = "all"
mount = "socket"
mode = [{ id = "dead", chance = 0.2 }]
[[part]]
ref = "U2"
block = "all"
mount = "socket"
mode = [{ id = "dead", chance = 0.2 }]
[[part]]
ref = "U3"
block = "all"
mount = "soldered"
mode = [{ id = "dead", chance = 0.1 }]
[[function]]
id = "clock"
needs = ["U1"]
[[function]]
id = "picture"
needs = ["U2", "U3", "clock"]
[[check]]
id = "clock"
title = "Clock"
minutes = 2
set_up = ["powered", "oscilloscope"]
tells = "clock"
"#;

#[test]
fn a_rehearsal_writes_nothing_and_says_the_same_each_time() {
    let bench = club();
    bench.write("boardwright/boards/tiny.toml", TINY);
    let line = [
        "rehearse",
        "--piles",
        "4",
        "--machines",
        "3",
        "--board",
        "tiny",
    ];
    check_text(
        &bench,
        &line,
        expect![[r#"
        Following the advice, 2.2 of 3 machines work at the end, 51 min for each.
        Four piles of three machines, the same for every way of working; 1.0 whole when
        it came in.

        Worth at the end less money, minutes and harm, by pile
         128.75 ± 110.30 │ ours: what the program advises
                         │ 2.2 ± 0.8 work, 51 ± 68 min for each; 36.00 ± 47.05 in parts,
                         │ 3.0 ± 4.3 of 4.5 ± 5.9 needless; 0.00 ± 0.00 harmed, 0.00 ±
                         │ 0.00 damaged, 0.00 ± 0.00 wrongly said to work
          97.20 ± 103.50 │ fixed-order: the checks in the order of the file, then what
                         │ the first failing one tells of
                         │ 1.2 ± 1.5 work, 41 ± 51 min for each; 10.00 ± 6.36 in parts,
                         │ 1.0 ± 0.0 of 1.2 ± 0.8 needless; 0.00 ± 0.00 harmed, 0.00 ±
                         │ 0.00 damaged, 0.00 ± 0.00 wrongly said to work
                         │ ours less this: 31.55 ± 48.93, 1.00 ± 1.30 working, 9.4 ±
                         │ 22.2 min for each; chance alone may explain it
          74.80 ± 189.33 │ most-probable-first: the likeliest suspect replaced, one
                         │ after another
                         │ 2.0 ± 1.3 work, 78 ± 127 min for each; 64.00 ± 68.15 in
                         │ parts, 6.2 ± 7.2 of 8.0 ± 8.5 needless; 0.00 ± 0.00 harmed,
                         │ 0.50 ± 1.59 damaged, 0.00 ± 0.00 wrongly said to work
                         │ ours less this: 53.95 ± 79.47, 0.25 ± 0.80 working, −27.4 ±
                         │ 61.1 min for each; chance alone may explain it
          98.95 ± 129.67 │ most-information-first: the check that tells most by the
                         │ minute, until a suspect stands out
                         │ 2.2 ± 0.8 work, 72 ± 85 min for each; 56.00 ± 51.96 in parts,
                         │ 5.5 ± 5.3 of 7.0 ± 6.5 needless; 0.00 ± 0.00 harmed, 0.00 ±
                         │ 0.00 damaged, 0.00 ± 0.00 wrongly said to work
                         │ ours less this: 29.80 ± 36.23, 0.00 ± 0.00 working, −21.8 ±
                         │ 33.3 min for each; chance alone may explain it
         109.60 ± 144.27 │ usual-suspects: the usual suspects swapped, socketed ones
                         │ first
                         │ 2.0 ± 1.3 work, 51 ± 75 min for each; 40.00 ± 37.47 in parts,
                         │ 3.8 ± 4.0 of 5.0 ± 4.7 needless; 0.00 ± 0.00 harmed, 0.00 ±
                         │ 0.00 damaged, 0.00 ± 0.00 wrongly said to work
                         │ ours less this: 19.15 ± 35.41, 0.25 ± 0.80 working, −0.4 ±
                         │ 12.2 min for each; chance alone may explain it

        Where the minutes of a pile go
               114 ± 130 │ ours: checks 10, set-ups 11, remedies 69, retests 23
                 52 ± 16 │ fixed-order: checks 4, set-ups 11, remedies 21, retests 16
               156 ± 153 │ most-probable-first: checks 0, set-ups 3, remedies 120,
                         │ retests 33
               163 ± 142 │ most-information-first: checks 14, set-ups 11, remedies 106,
                         │ retests 31
                102 ± 84 │ usual-suspects: checks 0, set-ups 3, remedies 75, retests 24
    "#]],
    );
    let ran = bench.run(&line);
    assert!(ran.stderr.contains("ours: 4 of 4 piles"), "{}", ran.stderr);
    assert_eq!(bench.run(&[&line[..], &["--quiet"]].concat()).stderr, "");
    assert_eq!(journal(&bench, None).len(), 0);
    for (arguments, said) in [
        (["--piles", "0"], "expected 1 to 100000"),
        (["--machines", "100"], "expected 1 to 99"),
        (["--board", "tinny"], "tiny"),
        (["--seed", "x"], "--seed"),
    ] {
        let ran = bench.run(&[&["rehearse"], &arguments[..]].concat());
        assert_eq!(ran.status, 2, "{}", ran.stderr);
        assert!(ran.stderr.contains(said), "{}", ran.stderr);
    }
}

/// Whatever changes no chance by a finding: the mule, power-ups, a mended track, the shelf, suppositions.
#[test]
fn beside_findings() {
    let bench = club_with_pile();
    let check = |arguments: &[&str], expect: Expect| {
        expect.assert_eq(&masked(&bench, &bench.ok(arguments)))
    };
    check(
        &["take-in", "the mule", "--board", "ostrel-8-r2"],
        expect![[r#"
            The mule, a good Ostrel 8, board revision 2: try the pile's chips in it.
        "#]],
    );
    check(
        &["power", "T-03", "on", "--bench"],
        expect![[r#"
        A power-up begins: what comes and goes may show now, or not. Write `minutes 20`
        with what only a warm machine shows.
    "#]],
    );
    check(
        &["power", "T-03", "off"],
        expect![[r#"
        Switched off. The next look with power begins a new power-up.
    "#]],
    );
    check(
        &["measure", "T-03", "picture", "black"],
        expect![[r#"
            U9, the video controller, is dead: 33 %, was 13 %.
                  ✕ │ picture: blank, black
        "#]],
    );
    check(
        &["swap", "T-03", "U9", "mule"],
        expect![[r#"
        U9 of T-03 and U9 of the mule have changed places. Look at both: does the fault
        go with the chip, or stay?
    "#]],
    );
    check(
        &["measure", "mule", "picture", "black"],
        expect![[r#"
            U9, the video controller, is dead: 88 %, was 33 %.
                  ✕ │ picture: blank, black
        "#]],
    );
    check(
        &["show", "mule"],
        expect![[r#"
            mule, Ostrel 8, board revision 2: the mule, 9 min spent
            The mule holds U9 of T-03, bad with 88 %.
            U9 holds U9 of T-03. Its own U9 is in T-03.

            Next
              1 min │ Colour bars. Saves 0.37.
                    │ Are all eight colours of the start-up screen right?
                    │ pass (2 %): then U9 dead, 2 %
                    │ fail (2 %): then U9 dead, 92 %
                    │ cannot (96 %): then U9 dead, 90 %
            Saved against fitting suspects one at a time, at 12.00 an hour.

            Suspects
               88 % │ U9, the video controller, is dead (was 33 %).
                    │ Speaks for it: picture black, 15 times likelier; picture black in
                    │ T-03, 1.9 times likelier.
                7 % │ The television and its lead is bad (was 3 %).
                3 % │ U9, the video controller, makes no contact in its socket (was 1 %).
                2 % │ U9, the video controller, gives up once it is warm (was 2 %).
                0 % │ Something this profile does not know: a track, a via or a cable.

            No finding has spoken yet of draw, contacts, ports, sound, keyboard, load and
            three more: nine of 30 functions, with 16 parts of 60.

            What fits it all
               86 % │ U9 dead, all else good.
                6 % │ The television and its lead bad, all else good.
                2 % │ Nothing is wrong with it.
                2 % │ U9 warm, all else good.
                2 % │ U9 contact, all else good.
                2 % │ all others together

            Without more checks
            See whether it works; if not, U9 used original, then U9 reseated, each with a
            retest until it works. That takes 12 min on average, it works with 84 %, and
            68.09 is left after cost.
        "#]],
    );
    check(
        &["undo"],
        expect![[r#"
            Taken back: mule, picture black.
            U9, the video controller, is dead: 33 %, was 88 %.
        "#]],
    );
    check(
        &["mend", "T-04", "track U7.3 to U12.5"],
        expect![[r#"
            Mended, track U7.3 to U12.5: a fault that the profile does not know is over from
            here. Look again.
        "#]],
    );
    check(
        &["shelve", "T-05"],
        expect![[r#"
        On the shelf: bench plan and plan leave it out, its findings stay.
    "#]],
    );
    check(
        &["shelve", "T-05", "--back"],
        expect![[r#"
        Back on the bench, with all its findings.
    "#]],
    );
    check(
        &["what-if", "T-03", "swap", "U9", "mule"],
        expect![[r#"
            T-03, only supposed: nothing is written.
            If U9 were exchanged with the mule.
            It would work with 4 %; now it does with 16 %.

            Suspects then
                33 % │ U9, the video controller, is dead (now 0 %).
                 9 % │ J7, the edge connector: dirty or worn fingers (now 9 %).
                 7 % │ U12, the RAM data latch, makes no contact in its socket (now 7 %).
                 7 % │ U30, the 5 V regulator, gives too little (now 7 %).
                 7 % │ PS1, the 9 V supply, gives nothing (now 7 %).
                 6 % │ U14, the picture output module OM-3, is dead (now 6 %).
                 6 % │ F1 (fuse, 2 A): blown (now 6 %).
                 6 % │ PS1, the 9 V supply, gives too little under load (now 6 %).
                 4 % │ Something this profile does not know: a track, a via or a cable.

            Next then
               1 min │ Sound. Saves 7.26.
                     │ Which voices of the start-up tune are heard?
                     │ three voices (29 %): then U9 dead, 52 %
                     │ two voices (1 %): then U26 voice, 54 %
                     │ none (36 %): then U9 dead, 34 %
                     │ cannot (33 %): then U30 low, 20 %
              10 min │ Voices at the sound generator, U26 pins 4, 3 and 38. Saves 2.10.
                     │ Look at U26 pins 4, 3 and 38 during the tune: does each show its
                     │ voice? Needs: lid off, oscilloscope.
                     │ pass (34 %): then U9 dead, 48 %
                     │ fail (3 %): then U9 dead, 47 %
                     │ cannot (63 %): then U9 dead, 24 %
             0.5 min │ Power lamp. Saves 0.97.
                     │ Does the lamp beside the switch light?
                     │ pass (77 %): then U9 dead, 38 %
                     │ fail (23 %): then PS1 dead, 28 %

            Without more checks then
            Best left as it is, worth 12.00.

            To write it: boardwright swap T-03 U9 mule
        "#]],
    );
    check(
        &["journal", "T-03"],
        expect![[r#"
            [date]
                  4 │ [time] Ines Taken in with lot L-01, Ostrel 8, board revision 2, 30.00.
                 12 │ [time] Ines Switched on, on a bench supply.
                 13 │ [time] Ines Switched off.
                 14 │ [time] Ines Picture black
                 15 │ [time] Ines Exchanged U9 with the mule. What touches U9 counts anew
                    │ from here, on both.
        "#]],
    );
}

#[test]
fn the_next_rounds() {
    let bench = demo();
    check_text(
        &bench,
        &["--workshop", "boardwright-demo", "round"],
        expect![[r#"
            Next round: U9 in the mule: picture, from T-03, U26 in the mule: sound, from
            T-04 and sound on T-01; 14 min, saves 9.95.
            Two rounds with a look at four machines, 22 min in all. Stand already: powered
            and screen.

            First: 14 min, saves 9.95; 42.64 an hour
               3 min │ Set up, once for all: mule.
               5 min │ U9 in the mule: picture. From T-03; saves 8.50.
                     │ ▲ The set stays closed: its picture tube holds its charge for days.
                     │ What does the set show ten seconds after power-on?
                     │ Write: boardwright swap T-03 U9 mule, then what the mule shows
               5 min │ U26 in the mule: sound. From T-04; saves 1.19.
                     │ Which voices of the start-up tune are heard?
                     │ Write: boardwright swap T-04 U26 mule, then what the mule shows
               1 min │ Sound. On T-01; saves 0.86.
                     │ Which voices of the start-up tune are heard?
                     │ Write: boardwright round sound "T-01=…"

            Then: 7.5 min, saves 4.72; 37.79 an hour
             3.5 min │ Set up, once for all: multimeter, dummy load.
               4 min │ The 9 V supply on a dummy load, PS1. On T-02; saves 5.42.
                     │ ▲ Only the plug is touched; never open the supply. The resistor gets
                     │ hot enough to burn: stand it on a tile.
                     │ Load the supply's own plug with 12 ohms, 10 W, and read the voltage
                     │ across it.
                     │ Write: boardwright round supply-alone "T-02=…"

            Instead of the first
               2 min │ Sound on T-01 and T-03. Saves 1.82.
              14 min │ Video sync on T-03, amplifier on T-02 and T-04 and sound on T-01.
                     │ Saves 9.79. Set up: lid off, oscilloscope.
             9.5 min │ Supply alone on T-02 and sound on T-01 and T-03. Saves 6.55. Set up:
                     │ multimeter, dummy load.

            With an instrument that is not on the bench
              15 min │ Rom read on T-04 and T-06. Saves 1.28. Set up: lid off, programmer.
                     │ Missing: programmer.

            The others
            T-07, T-08 and T-09 go on by their job cards: no further look pays for itself
            there.
            T-06 cannot be switched on: PS1 is absent.
            T-02 could be shelved for now: work on it brings 63.30 an hour at best, work on
            a fresh machine for 27.00 brings 71.39.
            T-04 could be shelved for now: work on it brings 68.73 an hour at best, work on
            a fresh machine for 27.00 brings 71.39.
            T-06 could be shelved for now: work on it brings 0.00 an hour at best, work on a
            fresh machine for 27.00 brings 71.39.

            Saved against fitting suspects one at a time, at 12.00 an hour; a set-up is paid
            once for all machines of a round and stands in those after it. Each machine has
            its best look in one round; after that everything is reckoned anew.
        "#]],
    );
}

#[test]
fn four_machines_alike_are_asked_for_once_more() {
    let bench = demo();
    let run =
        |arguments: &[&str]| bench.ok(&[&["--workshop", "boardwright-demo"], arguments].concat());
    let alike = "T-02=fail; T-04=fail; T-05=fail; T-06=fail";
    run(&["round", "amplifier", alike]);
    let asked = run(&["round"]);
    let says = "◐ Take this again: Four machines (T-02, T-04, T-05 and T-06) showed the same";
    let one_line = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(one_line(&asked).contains(says), "{asked}");
    assert!(one_line(&run(&["bench"])).contains(says));
    run(&["measure", "T-02", "amplifier pass"]);
    assert!(
        !run(&["round"]).contains("Take this again"),
        "it was taken again"
    );
}

#[test]
fn offers_parcels_and_donors() {
    let bench = demo();
    let run =
        |arguments: &[&str]| bench.ok(&[&["--workshop", "boardwright-demo"], arguments].concat());
    bench.write(
        "cart.csv",
        "Your cart (2)\nArticle;Quantity;Price;Total\nOV-2 video controller, used original;1;12,00;12,00\nfuse;5;0,20;1,10\n",
    );
    let looked = run(&["offers", "northgate", "--file", "cart.csv"]);
    expect![[r#"
        One price of northgate is understood, seen on 12 November; one line is not.
        Columns, Article: name; Quantity: quantity; Price: each; Total: total.
        4 columns between semicolons.
        Line 1 is left out: `Your cart (2)`.
        Prices have decimal commas.
          12.00 │ ov-2-used
                │ line 3: OV-2 video controller, used original
        Line 4: 5 at 0.20 make 1.00, but the line says 1.10.
        Nothing was written.
    "#]]
    .assert_eq(&looked);
    let before = run(&["order"]);
    run(&["offers", "northgate", "--file", "cart.csv", "--take"]);
    assert_ne!(run(&["order"]), before);
    run(&["undo"]);
    assert_eq!(run(&["order"]), before);
    expect![[r#"
        One price of farside parts is understood, seen on 12 November.
          25.50 │ ov-2-used; was 24.00
                │ line 1: OV-2 video controller, used original
    "#]]
    .assert_eq(&run(&[
        "offers",
        "farside",
        "OV-2",
        "video",
        "controller,",
        "used",
        "original",
        "25.50",
    ]));
    run(&["undo"]);
    let without = bench.run(&[
        "--workshop",
        "boardwright-demo",
        "order",
        "--without",
        "farside",
    ]);
    assert!(
        without.stdout.contains("Left out: farside parts."),
        "{}",
        without.stdout
    );
    assert_eq!(run(&["order", "--with", "farside"]), before);
    run(&["order", "--placed", "A"]);
    expect![[r#"
        Parcel A, farside parts came in in part; one line is still to come.
        Into the drawer: 1 × ov-2-used and 1 × fuse.
        Not ordered, kept all the same: 1 × fuse.
        Not there: 1 × ov-2-used.
        T-07 can be worked on now: what it needs lies in the drawer.
        T-09 waits for parcel A, farside parts, due Friday 20 November.
        T-02 and T-04 wait for what is still to be ordered.
    "#]]
    .assert_eq(&run(&["receive", "A", "1 ov-2-used; 1 fuse"]));
    expect![[r#"
        Two things in the drawer, one parcel on the way.
        T-07 can be worked on now: what it needs lies in the drawer.
        T-09 waits for parcel A, farside parts, due Friday 20 November.
        T-02 and T-04 wait for what is still to be ordered.

        Without a mark
            1 × │ fuse; parcel A, farside parts
            1 × │ ov-2-used; parcel A, farside parts

        On the way
            1 × │ ov-2-used; parcel A, farside parts

        Used up later, by what is fitted now
         0.19 × │ video controller OV-2, used original; on average in 3 years
    "#]]
    .assert_eq(&run(&["stock"]));
    run(&["undo"]);
    expect![[r#"
        Two chips of T-06 would go into the drawer, 4 min of work.
        The plan gives it up too, for T-03 and T-08.
           85 % │ U9, ov-2
                │ mark T-06.U9
           96 % │ U26, ay-3-8910
                │ mark T-06.U26
        Left in, soldered in: J1, SW1, D1, C1, U30, C12, C13, X1, U13, U32, U15, C9,
        SW2, U4, U5, U6, RN1, U7, U10, U16, U17, U18, U19, U20, U21, U22, U23, U24, U25,
        X2, Q2, C31, U14, X3, Q1, J4, RN2, C20, U27, U28, J5, U29, J6, J7, J8, U33 and
        B1.
        Left in, not asked for: F1, U1, U2, U3, U8, U12, LS1, KB1 and U31.
        Left in, bad with 35 %: U11.
        Nothing was written; `--take` writes it.
    "#]]
    .assert_eq(&run(&["strip", "T-06", "U9", "U26"]));
    run(&["strip", "T-06", "U9", "U26", "--take"]);
    expect![[r#"
        Two things in the drawer, one parcel on the way.
        T-07 and T-09 wait for parcel A, farside parts, due Friday 20 November.
        T-02 and T-04 wait for what is still to be ordered.

        Chips out of machines, each with its chance
           96 % │ ay-3-8910, marked T-06.U26; T-06 U26
           85 % │ ov-2, marked T-06.U9; T-06 U9

        On the way
            2 × │ ov-2-used; parcel A, farside parts

        Used up later, by what is fitted now
         0.19 × │ video controller OV-2, used original; on average in 3 years
    "#]]
    .assert_eq(&run(&["stock"]));
    expect![[r#"
        U9, the video controller, makes no contact in its socket: 2 %, was 4 %.
    "#]]
    .assert_eq(&run(&["fit", "T-09", "U9", "--mark", "T-06.U9"]));
    let refused = bench.run(&["--workshop", "boardwright-demo", "undo"]);
    assert_eq!(
        refused.status, 0,
        "the chip that was fitted comes out again: {}",
        refused.stderr
    );
}

#[test]
fn every_answer_is_as_documented() {
    let mut page = Documented::read();
    let bench = demo();
    let mut check = |status: i32, arguments: &[&str]| {
        let ran =
            bench.run(&[&["--workshop", "boardwright-demo"], arguments, &["--json"]].concat());
        assert_eq!(
            ran.status, status,
            "{arguments:?}\n{}{}",
            ran.stdout, ran.stderr
        );
        page.check(if status == 2 {
            &ran.stderr
        } else {
            &ran.stdout
        })
    };
    check(0, &["bench"]);
    for tag in ["T-01", "T-02", "T-03", "T-04", "T-09"] {
        check(0, &["show", tag]);
    }
    check(0, &["what-if", "T-03", "sound"]);
    check(0, &["what-if", "T-03", "pull", "U9"]);
    check(0, &["journal"]);
    check(0, &["round"]);
    let alike = "T-02=fail; T-04=fail; T-05=fail; T-06=fail";
    check(0, &["round", "amplifier", alike]);
    check(0, &["round"]);
    check(0, &["undo"]);
    check(0, &["plan", "--pin", "T-06 donor"]);
    check(0, &["plan", "--free", "all"]);
    check(0, &["order"]);
    check(0, &["board", "export-network", "T-03"]);
    check(0, &["board", "export-network", "T-03", "--to", "network"]);
    check(0, &["measure", "T-07", "+5v 5.01; picture start"]);
    check(0, &["reseat", "T-07", "U9"]);
    check(0, &["undo"]);
    check(
        0,
        &[
            "take-in",
            "2 from the attic, 0",
            "--except",
            "T-10 someone was inside",
        ],
    );
    check(0, &["order", "--placed", "A"]);
    check(0, &["receive", "A", "1 ov-2-used; 2 74LS04"]);
    check(0, &["stock", "--add", "2 z80a", "--works", "0.8"]);
    check(0, &["stock"]);
    check(0, &["offers"]);
    check(0, &["offers", "--item", "4164-150ns"]);
    bench.write("cart.csv", "name;quantity;each\n4164, 150 ns;8;3,10\n");
    check(0, &["offers", "northgate", "--file", "cart.csv", "--take"]);
    check(0, &["offers", "northgate", "fuse 0.20"]);
    check(0, &["strip", "T-06"]);
    check(
        0,
        &["board", "check", "boardwright-demo/boards/ostrel-8-r2.toml"],
    );
    bench.write("boardwright-demo/boards/tiny.toml", TINY);
    check(
        0,
        &[
            "rehearse",
            "--piles",
            "2",
            "--machines",
            "2",
            "--board",
            "tiny",
        ],
    );
    bench.write(
        "odd.toml",
        format!("{TINY}\n[[function]]\nid = \"tape\"\nneeds = []\n"),
    );
    check(0, &["board", "check", "odd.toml"]);
    check(0, &["board", "new", "--questions"]);
    check(0, &["board", "new", "Ostrel 9", "-a", "ram=dram-three"]);
    let pieces = "U21 6845 socket; U22-U25 74ls166";
    check(0, &["board", "split", "ostrel-9", "video", pieces]);
    check(2, &["board", "split", "ostrel-9", "video", pieces]);
    bench.write("bad.toml", "[board]\nid = 1\n");
    check(1, &["board", "check", "bad.toml"]);
    bench.write("parts.csv", "Ref;Value\nU40;74LS00\n");
    check(0, &["board", "compare", "ostrel-8-r2", "z80-micro"]);
    bench.write("nets.txt", "CLK: U1.6 U32.9\n");
    check(0, &["board", "read-nets", "ostrel-8-r2", "nets.txt"]);
    check(0, &["board", "explain", "U9", "--board", "ostrel-8-r2"]);
    check(0, &["board", "read-parts", "ostrel-8-r2", "parts.csv"]);
    // looked at all over after each of two acts: more than an exact answer can hold
    let shown = bench.run(&["--workshop", "boardwright-demo", "show", "T-08", "--json"]);
    let shown: serde_json::Value = serde_json::from_str(&shown.stdout).expect("JSON");
    let ids = shown["checks"].as_array().expect("checks");
    let all: Vec<String> = ids
        .iter()
        .filter_map(|one| Some(format!("{} ok", one["id"].as_str()?)))
        .collect();
    let all = all.join("; ");
    for block in ["cpu", "ram"] {
        check(0, &["measure", "T-08", &all]);
        check(0, &["reseat", "T-08", block]);
    }
    check(0, &["measure", "T-08", &all]);
    check(0, &["show", "T-08"]);
    check(2, &["show", "T-99"]);
    check(2, &["shew", "T-03"]);
    let again = bench.run(&["demo", "--once", "--json", "--dir", "second"]);
    page.check(&again.stdout);
    let mut said = String::new();
    let mut child = bench
        .command(&["serve", "--port", "0", "--json"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let mut stdout = child.stdout.take().expect("stdout is piped");
    while !said.ends_with("}\n") {
        let mut byte = [0];
        assert_eq!(stdout.read(&mut byte).expect("it speaks"), 1, "{said}");
        said.push(char::from(byte[0]));
    }
    child.kill().expect("it ends");
    child.wait().expect("it ends");
    page.check(&said);
    assert_eq!(
        page.unseen(),
        [""; 0],
        "tables of docs/json.md that nothing was compared with"
    );
}

#[test]
fn exit_status() {
    let bench = club_with_pile();
    let check = |arguments: &[&str], status: i32| {
        assert_eq!(bench.run(arguments).status, status, "{arguments:?}")
    };
    bench.write("bad.toml", "");
    check(&["bench"], 0);
    check(&["show", "T-01"], 0);
    check(&["--help"], 0);
    check(&["--version"], 0);
    check(&[], 0);
    check(
        &["board", "check", "boardwright/boards/ostrel-8-r2.toml"],
        0,
    );
    check(&["board", "check", "bad.toml"], 1);
    check(&["order", "--money", "0"], 1);
    check(&["board", "check", "nowhere.toml"], 2);
    check(&["show", "T-99"], 2);
    check(&["show"], 2);
    check(&["frobnicate"], 2);
    check(&["--workshop", "bad.toml", "bench"], 2);
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let bench = club_with_pile();
    let mut child = bench
        .command(&["bench"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    drop(child.stdout.take());
    let ended = child.wait_with_output().expect("it ends");
    assert_eq!(
        (
            ended.status.code(),
            String::from_utf8_lossy(&ended.stderr).as_ref()
        ),
        (Some(0), "")
    );
}

#[test]
fn a_pipe_gets_no_colour() {
    let bench = demo();
    let mut command = bench.command(&["--workshop", "boardwright-demo", "show", "T-03"]);
    let ran = command.env_remove("NO_COLOR").output().expect("it runs");
    let text = String::from_utf8(ran.stdout).expect("UTF-8");
    assert!(
        text.starts_with("T-03") && !text.contains('\u{1b}'),
        "{text}"
    );
}

#[test]
fn two_processes_write_at_once_and_nothing_is_lost() {
    const EACH: usize = 25;
    let bench = club_with_pile();
    let count = |tag: &str| journal(&bench, Some(tag)).len();
    let before = [count("T-03"), count("T-04")];
    std::thread::scope(|scope| {
        for (tag, who) in [("T-03", "Ines"), ("T-04", "Pavel")] {
            let bench = &bench;
            scope.spawn(move || {
                for nth in 0..EACH {
                    bench.ok(&[
                        "measure",
                        tag,
                        &format!("+5v 4.{nth:02}"),
                        "--who",
                        who,
                        "--quiet",
                    ]);
                }
            });
        }
    });
    assert_eq!(
        [count("T-03"), count("T-04")],
        before.map(|count| count + EACH)
    );
}

#[test]
fn the_pages_are_served_on_this_computer_only() {
    let bench = demo();
    let check = |server: &support::Server, says: &str| {
        let answer = get(&server.page("/"));
        assert!(
            server.address.starts_with("http://127.0.0.1:"),
            "{}",
            server.address
        );
        assert!(
            answer.starts_with("HTTP/1.1 200") && answer.contains(says),
            "{answer}"
        );
    };
    check(
        &bench.serve_with(&["--workshop", "boardwright-demo", "serve", "--port", "0"]),
        "T-03",
    );
    check(&bench.serve(), "Nothing is taken in yet");
}

/// What a server answers to a plain request.
fn get(page: &str) -> String {
    let authority = page
        .strip_prefix("http://")
        .and_then(|rest| rest.strip_suffix('/'))
        .expect("an address");
    let mut stream = std::net::TcpStream::connect(authority).expect("it listens");
    write!(
        stream,
        "GET / HTTP/1.1\r\nHost: {authority}\r\nConnection: close\r\n\r\n"
    )
    .expect("it reads");
    let mut answer = String::new();
    stream.read_to_string(&mut answer).expect("it answers");
    answer
}

#[cfg(unix)]
#[test]
fn ctrl_c_ends_the_pages() {
    let bench = demo();
    let mut child = bench
        .command(&["--workshop", "boardwright-demo", "serve", "--port", "0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts");
    let mut said = [0; 20];
    child
        .stdout
        .as_mut()
        .expect("stdout is piped")
        .read_exact(&mut said)
        .expect("it says where");
    let killed = std::process::Command::new("kill")
        .current_dir(bench.folder())
        .args(["-INT", &child.id().to_string()])
        .status();
    assert!(killed.expect("kill runs").success());
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
}

#[test]
fn help() {
    let bench = Bench::new();
    let mut text = String::new();
    let verbs = "take-in round measure show bench pull fit reseat resolder clean settle strip plan order receive offers stock undo journal serve demo";
    let mut pages = vec![vec!["-h"], vec!["--help"]];
    pages.extend(verbs.split(' ').map(|verb| vec![verb, "--help"]));
    pages.extend(
        ["new", "split", "check", "export-network"].map(|verb| vec!["board", verb, "--help"]),
    );
    for page in pages {
        let help = bench.ok(&page);
        assert!(
            help.lines().all(|line| line.chars().count() <= 80),
            "wider than 80 columns:\n{help}"
        );
        text.push_str(&format!("$ boardwright {}\n{help}\n", page.join(" ")));
    }
    expect_file!["data/help.txt"].assert_eq(&text);
}
