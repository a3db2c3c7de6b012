//! Suppositions and contradictions, on the demo's board and on a small one, in folders of their own.

use std::{fs, path::Path};

use workshop::{Act, Clock, ErrorKind, Fitted, OpenOptions, TakeIn, Workshop, views::WhatIf};

/// A board on which findings can rule each other out.
const STRICT: &str = r#"
[board]
id = "strict"
title = "Strict"
unmodelled = 0.0
derive = false
[[block]]
id = "all"
[[part]]
ref = "U1"
block = "all"
mount = "socket"
mode = [{ id = "dead", chance = 0.1 }]
[[part]]
ref = "U2"
block = "all"
mount = "socket"
mode = [{ id = "dead", chance = 0.1 }]
[[function]]
id = "f"
needs = ["U1"]
leak = 0.0
[[function]]
id = "g"
needs = ["U1", "U2"]
leak = 0.0
[[check]]
id = "look"
title = "Look"
minutes = 1
tells = "f"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
[[check]]
id = "listen"
title = "Listen"
minutes = 1
tells = "g"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
"#;

fn open(dir: &Path) -> Workshop {
    let clock = Clock::Fixed("2026-11-12T19:00:00[Europe/Berlin]".parse().unwrap());
    Workshop::open(dir, OpenOptions { who: None, clock }).unwrap()
}

/// Two machines of a board.
fn pile(id: &str, board: &str) -> (tempfile::TempDir, Workshop) {
    let dir = tempfile::tempdir().unwrap();
    fs::create_dir_all(dir.path().join("boards")).unwrap();
    fs::write(dir.path().join(format!("boards/{id}.toml")), board).unwrap();
    let workshop = open(dir.path());
    let request = TakeIn {
        line: "2 from here, 60.00".to_string(),
        board: Some(id.to_string()),
        ..TakeIn::default()
    };
    workshop.take_in(&request).unwrap();
    (dir, workshop)
}

fn ostrel() -> (tempfile::TempDir, Workshop) {
    pile(
        "ostrel-8-r2",
        include_str!("../../../examples/ostrel/boards/ostrel-8-r2.toml"),
    )
}

fn then(view: &WhatIf, part: &str, mode: &str) -> Option<f64> {
    let found = view
        .suspects
        .iter()
        .find(|one| one.part == part && one.mode == mode);
    found.and_then(|one| one.then)
}

/// Does for real what a line supposes.
type Write = fn(&Workshop);

/// What is supposed comes true: the card then says what was said before.
#[test]
fn what_is_supposed_is_what_follows() {
    let cases: [(&str, Write); 6] = [
        ("sound none", |workshop| {
            drop(workshop.measure("T-01", "sound none").unwrap())
        }),
        ("+5v 4.61; current 1.1", |workshop| {
            drop(workshop.measure("T-01", "+5v 4.61; current 1.1").unwrap())
        }),
        ("reseat U9 U12", |workshop| {
            let act = Act::Reseat(vec!["U9".to_string(), "U12".to_string()]);
            drop(workshop.act("T-01", &act).unwrap());
        }),
        ("fit U9 0.9", |workshop| {
            let what = Fitted::New { works: Some(0.9) };
            let act = Act::Fit {
                part: "U9".to_string(),
                what,
                old_mark: None,
            };
            drop(workshop.act("T-01", &act).unwrap());
        }),
        ("swap U9 T-02", |workshop| {
            let (part, with) = ("U9".to_string(), "T-02".to_string());
            let act = Act::Swap {
                part,
                with,
                there: None,
                old_mark: None,
            };
            drop(workshop.act("T-01", &act).unwrap());
        }),
        ("settle U9.dead", |workshop| {
            drop(workshop.settle("T-01", "U9.dead").unwrap())
        }),
    ];
    let (_dir, workshop) = ostrel();
    workshop
        .measure("T-01", "picture black; sound three")
        .unwrap();
    for (line, write) in cases {
        let before = workshop.journal(None).unwrap().len();
        let view = workshop.what_if("T-01", line).unwrap();
        assert_eq!(
            workshop.journal(None).unwrap().len(),
            before,
            "{line}: nothing is written"
        );
        write(&workshop);
        let card = workshop.card("T-01").unwrap();
        for suspect in &view.suspects {
            let name = format!("{}.{}", suspect.part, suspect.mode);
            let found = card
                .modes
                .iter()
                .find(|mode| mode.mode == name)
                .map(|mode| mode.chance);
            match (suspect.then, found) {
                (Some(then), Some(found)) => assert!((then - found).abs() < 1e-9, "{line}: {name}"),
                (then, found) => assert_eq!(then, found, "{line}: {name}"),
            }
        }
        assert_eq!(view.course, card.course, "{line}");
        workshop.undo(None).unwrap();
    }
}

#[test]
fn the_answers_of_a_check_share_all_chance() {
    let (_dir, workshop) = ostrel();
    workshop.measure("T-01", "picture black").unwrap();
    let view = workshop.what_if("T-01", "sound").unwrap();
    let sum: f64 = view.answers.iter().map(|answer| answer.chance).sum();
    assert!((sum - 1.0).abs() < 1e-9, "{sum}");
    let words: Vec<&str> = view
        .answers
        .iter()
        .map(|answer| answer.word.as_str())
        .collect();
    assert_eq!(words, ["three", "two", "none", "cannot"]);
    assert!(view.record.is_none() && view.works.is_none());
    for answer in &view.answers {
        let alone = workshop
            .what_if("T-01", &format!("sound {}", answer.word))
            .unwrap();
        assert!((alone.chance.unwrap() - answer.chance).abs() < 1e-9);
        assert_eq!(
            alone.record.unwrap().command,
            format!("measure T-01 sound {}", answer.word)
        );
    }
    assert_eq!(view.title(), "What would sound tell?");
}

#[test]
fn acts_say_what_they_would_do() {
    let (_dir, workshop) = ostrel();
    workshop
        .measure("T-01", "picture black; sound three")
        .unwrap();
    let view = workshop.what_if("T-01", "pull U9").unwrap();
    assert_eq!((view.works, then(&view, "U9", "dead")), (Some(0.0), None));
    assert!(
        view.suspects
            .iter()
            .any(|one| one.mode == "dead" && one.part == "U9" && one.now > 0.5)
    );
    let view = workshop.what_if("T-01", "fit U9 new").unwrap();
    assert!(
        view.works.unwrap() > 3.0 * view.works_now,
        "{} {:?}",
        view.works_now,
        view.works
    );
    assert_eq!(view.record.unwrap().command, "fit T-01 U9");
    let view = workshop.what_if("T-01", "mend track").unwrap();
    assert_eq!(view.unmodelled, Some(0.0));
}

#[test]
fn what_cannot_be_supposed_is_said() {
    let (_dir, workshop) = ostrel();
    let refused = |line: &str, kind: ErrorKind, part: &str| {
        let error = workshop.what_if("T-01", line).unwrap_err();
        assert!(error.message.contains(part), "{line}: {}", error.message);
        assert_eq!(error.kind, kind, "{line}");
        assert!(error.hint.is_some(), "{line}");
    };
    refused("", ErrorKind::Usage, "expected a check and what it showed");
    refused("pull", ErrorKind::Usage, "expected a part after `pull`");
    refused("swap U9", ErrorKind::Usage, "who it is exchanged with");
    refused("settle", ErrorKind::Usage, "expected a truth");
    refused("pull U99", ErrorKind::NotFound, "has no part `U99`");
    refused(
        "swap U9 mule",
        ErrorKind::NotFound,
        "there is no machine `mule`",
    );
    refused("dance", ErrorKind::Usage, "expected a check, found `dance`");
    refused(
        &"x".repeat(2000),
        ErrorKind::Usage,
        "at most 1000 characters",
    );
    workshop.settle("T-01", "U9.dead").unwrap();
    refused(
        "settle works",
        ErrorKind::Refused,
        "cannot be true together",
    );
    assert_eq!(
        workshop.what_if("T-09", "pull U9").unwrap_err().kind,
        ErrorKind::NotFound
    );
}

/// P = 0: the pair is named, the later line does not count, and everything else goes on.
#[test]
fn a_contradiction_names_its_pair_and_stops_nothing() {
    let (_dir, workshop) = pile("strict", STRICT);
    let first = workshop.measure("T-01", "look fail").unwrap().lines[0];
    workshop.measure("T-02", "look pass").unwrap();
    let written = workshop.measure("T-01", "listen pass").unwrap();
    let second = written.lines[0];
    let sentence = format!(
        "Line {second} (T-01, listen pass) cannot be true together with line {first} (T-01, look fail). It does not count until one of them is taken back."
    );
    assert_eq!(written.changed, sentence);
    let card = workshop.card("T-01").unwrap();
    assert_eq!(card.left_out, [sentence]);
    let dead = card
        .modes
        .iter()
        .find(|mode| mode.mode == "U1.dead")
        .unwrap();
    assert!((dead.chance - 1.0).abs() < 1e-12, "the earlier line counts");
    assert!(workshop.card("T-02").unwrap().left_out.is_empty());
    let bench = workshop.bench().unwrap();
    assert!(
        bench.rows[0]
            .says
            .starts_with(&format!("Line {second} does not count")),
        "{}",
        bench.rows[0].says
    );
    // what follows from the lines that count is reckoned on, and a third contradiction is another line
    let third = workshop.measure("T-01", "look pass").unwrap().lines[0];
    assert_eq!(workshop.card("T-01").unwrap().left_out.len(), 2);
    workshop.undo(Some(third)).unwrap();
    workshop.undo(Some(first)).unwrap();
    let card = workshop.card("T-01").unwrap();
    assert!(card.left_out.is_empty());
    let error = workshop.settle("T-01", "U1.dead").unwrap_err();
    assert_eq!(
        error.message,
        format!(
            "that cannot be true together with the rest: line {second} would have been impossible"
        )
    );
}

/// A profile edited in the middle: what it lost is left out, and the rest goes on.
#[test]
fn a_board_that_lost_a_part_is_borne() {
    let (dir, workshop) = pile("strict", STRICT);
    workshop.measure("T-01", "look pass; listen fail").unwrap();
    let act = Act::Reseat(vec!["U2".to_string()]);
    let line = workshop.act("T-01", &act).unwrap().lines[0];
    let without = STRICT
        .replace("[[part]]\nref = \"U2\"\nblock = \"all\"\nmount = \"socket\"\nmode = [{ id = \"dead\", chance = 0.1 }]\n", "")
        .replace("needs = [\"U1\", \"U2\"]", "needs = [\"U1\"]");
    fs::write(dir.path().join("boards/strict.toml"), without).unwrap();
    let card = open(dir.path()).card("T-01").unwrap();
    let said = card.left_out.join("\n");
    assert!(
        said.contains(&format!("Line {line} (T-01, reseated U2) cannot be used")),
        "{said}"
    );
    assert!(
        said.contains("does not count until one of them is taken back"),
        "{said}"
    );
}
