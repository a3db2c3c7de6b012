//! What cannot be read or is not allowed: a clear message, exit status 2, and nothing is changed.

use crate::support::Bench;
use crate::{club_with_pile, journal};
use expect_test::{Expect, expect};

/// Runs a line that must be refused.
fn refused(bench: &Bench, arguments: &[&str]) -> String {
    let before = journal(bench, None);
    let ran = bench.run(arguments);
    let shown: Vec<String> = arguments
        .iter()
        .map(|word| word.chars().take(60).collect())
        .collect();
    assert_eq!(
        (ran.status, ran.stdout.as_str()),
        (2, ""),
        "{shown:?}\n{}",
        ran.stderr
    );
    assert!(
        ran.stderr.starts_with("error: "),
        "{shown:?}\n{}",
        ran.stderr
    );
    assert!(
        ran.stderr.len() < 4000,
        "{shown:?}: {} bytes of message",
        ran.stderr.len()
    );
    assert_eq!(
        journal(bench, None),
        before,
        "{shown:?} changed the journal"
    );
    ran.stderr
}

#[test]
fn lines_that_cannot_be_written() {
    let bench = club_with_pile();
    let check = |arguments: &[&str], expect: Expect| {
        let said = refused(&bench, arguments);
        assert!(
            said.contains("\n\nhint: "),
            "{arguments:?} has no hint:\n{said}"
        );
        expect.assert_eq(&said);
    };
    check(
        &["measure", "T-03", ""],
        expect![[r#"
        error: expected a check and what it showed, such as `picture black`, found
        nothing

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03", ";"],
        expect![[r#"
        error: expected a check and what it showed, such as `picture black`, found
        nothing

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03"],
        expect![[r#"
        error: the following required arguments were not provided: <LINE>

        hint: type it as `boardwright measure <TAG> <LINE>...`, or see `--help`
    "#]],
    );
    check(
        &["measure", "T-03", "+5v"],
        expect![[r#"
        error: `+5v`: expected a voltage such as `5 V`, or `pass`, `fail`, `cannot` or
        `skip`, found nothing

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03", "+5v four"],
        expect![[r#"
        error: `+5v`: expected a voltage such as `5 V`, or `pass`, `fail`, `cannot` or
        `skip`, found `four`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03", "+5v 4.98 MHz"],
        expect![[r#"
        error: `+5v`: expected a voltage in V, found `4.98 MHz`; that is a frequency in
        Hz; check which point or range was meant

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03", "picture purple"],
        expect![[r#"
        error: `picture`: expected `start`, `black`, `white`, `garbage`, `nosync`,
        `cannot` or `skip`, found `purple`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["measure", "T-03", "colour of the case black"],
        expect![[r#"
            error: `colour`: expected `pass`, `fail`, `cannot` or `skip`, found `of the case
            black`

            hint: nothing was written; mend the line and send it again
        "#]],
    );
    check(
        &["measure", "T-03", "picture black; +5v nan"],
        expect![[r#"
            error: `+5v`: expected a voltage such as `5 V`, or `pass`, `fail`, `cannot` or
            `skip`, found `nan`

            hint: nothing was written; mend the line and send it again
        "#]],
    );
    check(
        &["measure", "T-99", "picture black"],
        expect![[r#"
        error: there is no machine `T-99`; nearest are `T-09`, `T-01` or `T-02`

        hint: see the bench plan for all tags
    "#]],
    );
    check(
        &["measure", "picture", "black"],
        expect![[r#"
        error: there is no machine `picture`; nearest are `T-01`, `T-02` or `T-03`

        hint: see the bench plan for all tags
    "#]],
    );
    check(
        &["round", "reset", "142", "150"],
        expect![[r#"
        error: expected 9 values, one a machine from T-01 to T-09, found 2; write `skip`
        for a machine left out, or name them: `T-03=4.98; T-05=fail`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["round", "rest", "142"],
        expect![[r#"
        error: expected 9 values, one a machine from T-01 to T-09, found 1; write `skip`
        for a machine left out, or name them: `T-03=4.98; T-05=fail`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["round", "reset", "T-99=142"],
        expect![[r#"
        error: there is no machine `T-99`; nearest are `T-09`, `T-01` or `T-02`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["show", "T-99"],
        expect![[r#"
        error: there is no machine `T-99`; nearest are `T-09`, `T-01` or `T-02`

        hint: see the bench plan for all tags
    "#]],
    );
    check(
        &["show", "T-03", "T-04"],
        expect![[r#"
        error: unexpected argument `T-04` found

        hint: type it as `boardwright show [OPTIONS] <TAG>`, or see `--help`
    "#]],
    );
    check(
        &["pull", "T-09", "U9"],
        expect![[r#"
        error: U9 of T-09 is empty

        hint: nothing was written
    "#]],
    );
    check(
        &["reseat", "T-09", "U9"],
        expect![[r#"
        error: U9 of T-09 is empty

        hint: nothing was written
    "#]],
    );
    check(
        &["pull", "T-03", "U99"],
        expect![[r#"
        error: the board `ostrel-8-r2` has no part `U99`; nearest are `U19`, `U29` or
        `U9`

        hint: nothing was written
    "#]],
    );
    check(
        &["fit", "T-03", "U9", "--works", "1.2"],
        expect![[r#"
        error: expected a chance from 0 to 1, found `1.2`

        hint: 0.97 is usual for a new part, 0.8 for a used one
    "#]],
    );
    check(
        &["fit", "T-03", "U9", "--works", "good"],
        expect![[r#"
            error: invalid value `good` for `--works <CHANCE>`: expected a chance such as
            0.9 or 90%

            hint: see `boardwright --help`
        "#]],
    );
    check(
        &["fit", "T-03", "U9", "--mark", "no such mark"],
        expect![[r#"
            error: no chip is marked `no such mark`

            hint: nothing was written
        "#]],
    );
    check(
        &["reseat", "T-03", "--block", "engine"],
        expect![[r#"
        error: the board `ostrel-8-r2` has no part or block `engine`; nearest are `RN1`,
        `RN2` or `decode`

        hint: nothing was written
    "#]],
    );
    check(
        &["settle", "T-03", "U9.asleep"],
        expect![[r#"
            error: U9 has no mode `asleep`; known are `dead`, `no-colour`, `warm` or
            `contact`

            hint: write `U9.dead`, `joint "track U7.3 to U12.5"` or `works`
        "#]],
    );
    check(
        &["settle", "T-09", "U9.dead"],
        expect![[r#"
        error: U9 is absent on T-09

        hint: nothing was written
    "#]],
    );
    check(
        &["swap", "T-03", "U9", "mule"],
        expect![[r#"
        error: there is no machine `mule`; nearest are `T-01`, `T-02` or `T-03`, and no
        loose chip has a mark

        hint: name a machine, `mule`, or the mark of a loose chip
    "#]],
    );
    check(
        &["swap", "T-03", "U9", "T-03"],
        expect![[r#"
        error: U9 of T-03 cannot change places with itself

        hint: nothing was written
    "#]],
    );
    check(
        &["swap", "T-03", "U9", "T-04", "U16"],
        expect![[r#"
            error: expected two chips of one type, found `ov-2` in U9 of T-03 and `4164` in
            U16 of T-04

            hint: nothing was written
        "#]],
    );
    check(
        &["power", "T-03", "maybe"],
        expect![[r#"
        error: invalid value `maybe` for `<ON|OFF>` [possible values: on, off]

        hint: see `boardwright --help`
    "#]],
    );
    check(
        &["power", "T-03", "off", "--bench"],
        expect![[r#"
        error: `--bench` says with which supply a machine is switched on

        hint: leave it out when switching off
    "#]],
    );
    check(
        &["mend", "T-03", ""],
        expect![[r#"
        error: expected what was mended, such as `track U7.3 to U12.5`, found nothing

        hint: nothing was written; see `boardwright --help`
    "#]],
    );
    check(
        &["shelve", "T-03", "--back"],
        expect![[r#"
        error: T-03 is on the bench already

        hint: nothing was written
    "#]],
    );
    check(
        &["what-if", "T-03", "dance"],
        expect![[r#"
            error: expected a check, found `dance`; nearest are `sound`, `tape` or
            `video-sync`

            hint: suppose an act (`pull U9`, `reseat U9`, `swap U9 mule`), a check
            (`sound`), or what it shows (`sound none`)
        "#]],
    );
    check(
        &["what-if", "T-03", "pull"],
        expect![[r#"
        error: expected a part after `pull`, found nothing

        hint: such as `pull U9`, `fit U9 new`, `swap U9 mule`, `reseat U9`, `mend
        track`, `settle U9.dead`
    "#]],
    );
    check(
        &["undo", "99999"],
        expect![[r#"
        error: there is no line 99999

        hint: the numbers stand at the start of each line of the journal
    "#]],
    );
    check(
        &["plan", "--money", "much"],
        expect![[r#"
        error: expected an amount such as `6.50` or `6.50 EUR`, found `much`; write the
        currency by its ISO 4217 code, such as EUR

        hint: `none` lifts the limit
    "#]],
    );
    check(
        &["plan", "--evenings", "-1"],
        expect![[r#"
        error: invalid value `−1` for `--evenings <EVENINGS>`, expected a number

        hint: see `boardwright --help`
    "#]],
    );
    check(
        &["take-in", ""],
        expect![[r#"
        error: expected a number of machines first, such as `9 from Harbour Street,
        270.00`, found ``

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["take-in", "nine from somewhere"],
        expect![[r#"
        error: expected a price at the end, such as `9 from Harbour Street, 270.00`,
        found `nine from somewhere`; write `, 0` for a gift

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &["take-in", "0 from Harbour Street, 270.00"],
        expect![[r#"
        error: expected 1 to 500 machines, found `0`

        hint: nothing was written; mend the line and send it again
    "#]],
    );
    check(
        &[
            "take-in",
            "1 from Harbour Street, 10.00",
            "--board",
            "ostrel-9",
        ],
        expect![[r#"
            error: there is no board `ostrel-9`; nearest are `ostrel-8-r2`, `arcade` or
            `sbc`

            hint: put its file into the folder `boards`, or take a starter
        "#]],
    );
    check(
        &[
            "take-in",
            "1 from Harbour Street, 10.00",
            "--except",
            "T-10 U99 absent",
        ],
        expect![[r#"
            error: the board `ostrel-8-r2` has no part `U99`; nearest are `U19`, `U29` or
            `U9`

            hint: nothing was written; mend the line and send it again
        "#]],
    );
    check(
        &[
            "take-in",
            "1 from Harbour Street, 10.00",
            "--except",
            "T-77 battery leaked",
        ],
        expect![[r#"
            error: there is no machine `T-77`; nearest are `T-10`

            hint: nothing was written; mend the line and send it again
        "#]],
    );
    check(
        &["take-in", "1 from Harbour Street, 10.00", "--tags", "T-03"],
        expect![[r#"
            error: there is a machine T-03 already; name a first tag that is free

            hint: nothing was written; mend the line and send it again
        "#]],
    );
    check(
        &["order", "--placed", "Q"],
        expect![[r#"
        error: there is no parcel `Q`; there are no parcels

        hint: nothing was written; see `boardwright bench` for what there is
    "#]],
    );
    check(
        &["board", "export-network", "T-99"],
        expect![[r#"
        error: there is no machine `T-99`; nearest are `T-09`, `T-01` or `T-02`

        hint: see the bench plan for all tags
    "#]],
    );
}

#[test]
fn noise_on_the_line() {
    let bench = club_with_pile();
    let long = "9".repeat(100_000);
    let many = "picture black; ".repeat(6_000);
    let strange = "\u{202e}\u{0}".replace('\u{0}', "\u{7}") + &"ж".repeat(30_000);
    for noise in [long.as_str(), &many, &strange] {
        let said = refused(&bench, &["measure", "T-03", noise]);
        assert!(
            !said.contains('\u{7}') && !said.contains('\u{202e}'),
            "control characters come back:\n{said}"
        );
        refused(&bench, &["round", "reset", noise]);
        refused(&bench, &["take-in", noise]);
        refused(&bench, &["settle", "T-03", noise]);
    }
}

#[cfg(unix)]
#[test]
fn words_that_are_no_text() {
    use std::os::unix::ffi::OsStrExt as _;
    let bench = club_with_pile();
    let before = journal(&bench, None);
    let ran = bench
        .command(&["measure", "T-03"])
        .arg(std::ffi::OsStr::from_bytes(b"picture \xff"))
        .output()
        .expect("it runs");
    assert_eq!(ran.status.code(), Some(2));
    assert!(ran.stderr.starts_with(b"error: "));
    assert_eq!(journal(&bench, None), before);
}

/// Board files that cannot be read, and why.
fn bad_boards() -> Vec<(&'static str, Vec<u8>)> {
    let good = include_str!("../../../../examples/ostrel/boards/ostrel-8-r2.toml");
    let small = "[board]\nid = \"small\"\ntitle = \"Small\"\nunmodelled = 0.05\nderive = false\n[[block]]\nid = \"cpu\"\n";
    let part = "[[part]]\nref = \"U1\"\nblock = \"cpu\"\ndevice = \"z80a\"\nmode = [ { id = \"dead\", chance = 0.03 } ]\n";
    let noise: Vec<u8> = (0u32..10 << 20)
        .map(|nth| (nth.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    let text_noise: Vec<u8> = noise.iter().map(|byte| b' ' + byte % 95).collect();
    let cycle = "[[function]]\nid = \"a\"\nneeds = [\"U1\", \"b\"]\n[[function]]\nid = \"b\"\nneeds = [\"a\"]\n";
    vec![
        ("empty", Vec::new()),
        ("truncated", good.as_bytes()[..good.len() / 2 - 7].to_vec()),
        (
            "wrong encoding",
            good.encode_utf16().flat_map(u16::to_le_bytes).collect(),
        ),
        ("bytes that are no text", noise),
        ("10 MB of noise", text_noise),
        ("duplicate ids", format!("{small}{part}{part}").into_bytes()),
        (
            "cyclic functions",
            format!("{small}{part}{cycle}").into_bytes(),
        ),
        (
            "chance 1.2",
            format!("{small}{}", part.replace("0.03", "1.2")).into_bytes(),
        ),
        (
            "dangling name",
            format!("{small}{part}[[function]]\nid = \"a\"\nneeds = [\"U2\"]\n").into_bytes(),
        ),
    ]
}

#[test]
fn board_files_are_checked() {
    let bench = Bench::new();
    let check = |name: &str, bytes: &[u8], expect: Expect| {
        bench.write("bad.toml", bytes);
        let ran = bench.run(&["board", "check", "bad.toml"]);
        assert_eq!((ran.status, ran.stderr.as_str()), (1, ""), "{name}");
        assert!(
            ran.stdout.len() < 20_000,
            "{name}: {} bytes",
            ran.stdout.len()
        );
        let first: String = ran
            .stdout
            .lines()
            .take(4)
            .map(|line| format!("{line}\n"))
            .collect();
        expect.assert_eq(&first);
    };
    let boards = bad_boards();
    let bytes = |name: &str| {
        &boards
            .iter()
            .find(|board| board.0 == name)
            .expect("a case")
            .1[..]
    };
    check(
        "empty",
        bytes("empty"),
        expect![[r#"
        One problem in bad.toml.

        Line 1, column 1: expected a board profile, found an empty file.
    "#]],
    );
    check(
        "truncated",
        bytes("truncated"),
        expect![[r#"
            2 problems in bad.toml.

            Line 468, column 37: expected `}` (unclosed inline table), found end of line or
            file.
        "#]],
    );
    check(
        "wrong encoding",
        bytes("wrong encoding"),
        expect![[r#"
        21 problems in bad.toml.

        Line 1, column 2: expected printable characters (invalid comment character),
        found end of line or file.
    "#]],
    );
    check(
        "bytes that are no text",
        bytes("bytes that are no text"),
        expect![[r#"
            One problem in bad.toml.

            Line 1, column 2: expected text in UTF-8, found byte `0x9e` at offset 1.
            save the file as UTF-8
        "#]],
    );
    check(
        "10 MB of noise",
        bytes("10 MB of noise"),
        expect![[r#"
        One problem in bad.toml.

        Line 1, column 1: expected a file of at most 1048576 bytes, found 10485760
        bytes.
    "#]],
    );
    check(
        "duplicate ids",
        bytes("duplicate ids"),
        expect![[r#"
            One problem in bad.toml.

            Line 14, column 7: expected a name used once, found `U1` again.
            a part of this name is at line 9
        "#]],
    );
    check(
        "cyclic functions",
        bytes("cyclic functions"),
        expect![[r#"
            One problem in bad.toml.

            Line 14, column 6: expected functions that do not need themselves, found the
            loop `a` -> `b` -> `a`.
        "#]],
    );
    check(
        "chance 1.2",
        bytes("chance 1.2"),
        expect![[r#"
            One problem in bad.toml.

            Line 12, column 34: expected a chance, a number in 0 to 1 or one of the words
            `rare`, `sometimes`, `known culprit`, found chance `1.2`.
        "#]],
    );
    check(
        "dangling name",
        bytes("dangling name"),
        expect![[r#"
            One problem in bad.toml.

            Line 15, column 10: expected a part, rail or function, found `U2`.
            did you mean `U1`?
        "#]],
    );
}

/// Files of the workshop folder that are needed, each with a verb that needs it.
const NEEDED: [(&str, &[&str]); 2] = [
    ("workshop.toml", &["bench"]),
    ("boards/ostrel-8-r2.toml", &["show", "T-03"]),
];

/// Files without which the plan is poorer: it says that they are left out, and why, or that they are far too large.
const LEFT_OUT: [&str; 2] = ["remedies.toml", "vendors/northgate.toml"];

/// Puts each bad file in the place of a good one and looks what the program says.
fn with_bad_files(file: &str, look: impl Fn(&Bench, &str)) {
    let bench = club_with_pile();
    bench.ok(&["plan", "--money", "0"]);
    let before = journal(&bench, None);
    let path = bench.folder().join("boardwright").join(file);
    let good = std::fs::read(&path).expect("the good file");
    for (name, bytes) in bad_boards() {
        if bytes.is_empty() && !file.starts_with("boards/") {
            continue;
        }
        std::fs::write(&path, &bytes).expect("a bad file");
        look(&bench, name);
    }
    std::fs::write(&path, good).expect("the good file");
    assert_eq!(journal(&bench, None), before);
}

#[test]
fn a_bad_file_that_is_needed_is_told_and_changes_nothing() {
    for (file, verb) in NEEDED {
        with_bad_files(file, |bench, name| {
            let ran = bench.run(verb);
            assert_eq!(
                (ran.status, ran.stdout.as_str()),
                (2, ""),
                "{file}, {name}: {}",
                ran.stderr
            );
            assert!(
                ran.stderr.starts_with("error: ") && ran.stderr.len() < 20_000,
                "{file}, {name}: {}",
                ran.stderr
            );
            let end = file.rsplit('/').next().expect("a name");
            assert!(
                ran.stderr.contains(end),
                "{file}, {name}: the message names the file:\n{}",
                ran.stderr
            );
        });
    }
}

#[test]
fn a_bad_file_of_the_plan_is_left_out_and_told() {
    for file in LEFT_OUT {
        with_bad_files(file, |bench, name| {
            let ran = bench.run(&["plan", "--money", "0"]);
            let said = ran.stdout.to_lowercase().replace('\n', " ");
            let left_out = ran.status < 2 && said.contains(&format!("{file} is left out: "));
            let refused = ran.status == 2 && ran.stdout.is_empty() && ran.stderr.contains(file);
            assert!(
                left_out || refused,
                "{file}, {name}: {}{}",
                ran.stdout,
                ran.stderr
            );
        });
    }
}
