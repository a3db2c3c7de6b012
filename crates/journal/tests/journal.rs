//! The journal keeps what it was given, whatever happens around it.

use std::{
    fs,
    io::{BufRead, BufReader, Write},
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::Duration,
};

use jiff::ZonedDateTime;
use journal::{
    Act, Chip, Component, Draft, Error, Journal, Line, Offered, Places, Shown, Supply, Truth,
};
use proptest::prelude::*;

fn now() -> ZonedDateTime {
    "2026-11-12T19:00:00+01:00[Europe/Berlin]".parse().unwrap()
}

fn note(text: &str) -> Draft {
    let shown = Shown::Outcome("pass".to_string());
    let line = Line::Finding {
        check: "picture".to_string(),
        text: text.to_string(),
        shown,
        supply: Supply::Usual,
        minutes_on: None,
    };
    Draft {
        machine: Some("T-01".to_string()),
        epoch: 0,
        line,
    }
}

/// Adds a line, trying again when others were faster.
fn add(journal: &mut Journal, who: &str, draft: &Draft) -> i64 {
    loop {
        let last = journal.last().unwrap();
        match journal.append(last, &now(), who, std::slice::from_ref(draft)) {
            Ok(entries) => return entries[0].id,
            Err(Error::Moved) => {}
            Err(error) => panic!("{error}"),
        }
    }
}

fn folder() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("journal.db");
    (dir, path)
}

#[test]
fn lines_come_back_in_order() {
    let (_dir, path) = folder();
    let mut journal = Journal::open(&path).unwrap();
    assert_eq!(journal.last().unwrap(), 0);
    let written = journal
        .append(0, &now(), "Ines", &[note("a"), note("b")])
        .unwrap();
    assert_eq!(
        written
            .iter()
            .map(|entry| (entry.id, entry.batch))
            .collect::<Vec<_>>(),
        [(1, 1), (2, 1)]
    );
    drop(journal);
    let journal = Journal::open(&path).unwrap();
    assert_eq!(journal.all().unwrap(), written);
    assert_eq!(journal.after(1).unwrap(), written[1..]);
}

#[test]
fn a_write_builds_on_what_it_saw() {
    let (_dir, path) = folder();
    let mut journal = Journal::open(&path).unwrap();
    add(&mut journal, "Ines", &note("a"));
    assert!(matches!(
        journal.append(0, &now(), "Pavel", &[note("b")]),
        Err(Error::Moved)
    ));
    let missing = Draft {
        machine: None,
        epoch: 0,
        line: Line::TakenBack { line: 7 },
    };
    assert!(matches!(
        journal.append(1, &now(), "Pavel", &[note("b"), missing]),
        Err(Error::NoSuchLine(7))
    ));
    assert_eq!(
        journal.last().unwrap(),
        1,
        "nothing of a refused write stands"
    );
}

#[test]
fn a_line_is_never_changed() {
    let (_dir, path) = folder();
    let mut journal = Journal::open(&path).unwrap();
    add(&mut journal, "Ines", &note("a"));
    let raw = rusqlite::Connection::open(&path).unwrap();
    let refused = |sql: &str| raw.execute(sql, []).unwrap_err().to_string();
    assert_eq!(
        refused("UPDATE line SET who = 'x'"),
        "a journal line is never changed"
    );
    assert_eq!(
        refused("DELETE FROM line"),
        "a journal line is never removed"
    );
    let replace = "INSERT OR REPLACE INTO line VALUES (1, 1, '', '', NULL, 0, '', '{}')";
    assert_eq!(refused(replace), "a journal line is never replaced");
    assert_eq!(journal.all().unwrap().len(), 1);
}

/// Limits were written without a number of working machines once, and settled decisions without vendors; such journals
/// are read, and what has none is still written so.
#[test]
fn limits_of_old_journals_are_read() {
    let (_dir, path) = folder();
    let mut journal = Journal::open(&path).unwrap();
    let raw = rusqlite::Connection::open(&path).unwrap();
    let old = [
        ("limits", r#"{"money":"60.00","evenings":2.0}"#),
        ("limits", r#"{"money":null,"evenings":null}"#),
        ("pinned", r#"{"pins":["T-06 donor"]}"#),
    ];
    for (at, (kind, content)) in old.iter().enumerate() {
        let written = "INSERT INTO line (batch, time, who, machine, epoch, kind, content) VALUES (?1, ?2, 'Ines', NULL, 0, ?3, ?4)";
        let at = i64::try_from(at).unwrap() + 1;
        raw.execute(written, (at, now().to_string(), kind, content))
            .unwrap();
    }
    let lines: Vec<Line> = journal
        .all()
        .unwrap()
        .into_iter()
        .map(|entry| entry.line)
        .collect();
    let limits = |money: Option<&str>, evenings| Line::Limits {
        money: money.map(str::to_string),
        evenings,
        working: None,
    };
    let pinned = Line::Pinned {
        pins: vec!["T-06 donor".to_string()],
        without: Vec::new(),
    };
    let expected = [limits(Some("60.00"), Some(2.0)), limits(None, None), pinned];
    assert_eq!(lines, expected);
    let draft = Draft {
        machine: None,
        epoch: 0,
        line: expected[0].clone(),
    };
    let id = add(&mut journal, "Ines", &draft);
    let content: String = raw
        .query_row("SELECT content FROM line WHERE id = ?1", [id], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(content, old[0].1);
}

#[test]
fn a_file_that_is_no_journal_is_left_alone() {
    let check = |content: &[u8], says: &str| {
        let (_dir, path) = folder();
        fs::write(&path, content).unwrap();
        let error = Journal::open(&path).unwrap_err();
        let text = error
            .to_string()
            .replace(&*path.display().to_string(), "FILE");
        assert_eq!(text, says);
        assert_eq!(fs::read(&path).unwrap(), content, "nothing is changed");
    };
    check(
        b"a shopping list",
        "expected a journal, found something else in `FILE`",
    );
    let noise: Vec<u8> = (0..10_000_000_u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    check(&noise, "expected a journal, found something else in `FILE`");
    check(
        &database("CREATE TABLE recipe (name TEXT)"),
        "expected a journal, found something else in `FILE`",
    );
    let newer = "PRAGMA application_id = 0x42774a6f; PRAGMA user_version = 99; CREATE TABLE line (id INTEGER)";
    check(
        &database(newer),
        "the journal `FILE` was written by a later release: expected version 1 or earlier, found 99",
    );
}

fn database(sql: &str) -> Vec<u8> {
    let (_dir, path) = folder();
    rusqlite::Connection::open(&path)
        .unwrap()
        .execute_batch(sql)
        .unwrap();
    fs::read(path).unwrap()
}

#[test]
fn an_empty_file_becomes_a_journal() {
    let (_dir, path) = folder();
    fs::write(&path, b"").unwrap();
    let mut journal = Journal::open(&path).unwrap();
    assert_eq!(add(&mut journal, "Ines", &note("a")), 1);
}

#[test]
fn a_journal_cut_short_is_named_as_such() {
    let (_dir, path) = folder();
    let mut journal = Journal::open(&path).unwrap();
    for i in 0..200 {
        add(&mut journal, "Ines", &note(&format!("line {i}")));
    }
    drop(journal);
    let whole = fs::read(&path).unwrap();
    let half = &whole[..whole.len() / 2];
    fs::write(&path, half).unwrap();
    let error = Journal::open(&path)
        .and_then(|journal| journal.all())
        .unwrap_err();
    assert!(matches!(error, Error::Damaged(_)), "{error}");
    assert_eq!(fs::read(&path).unwrap(), half);
}

#[test]
fn a_held_journal_is_named_as_such() {
    let (_dir, path) = folder();
    drop(Journal::open(&path).unwrap());
    let other = rusqlite::Connection::open(&path).unwrap();
    other.execute_batch("BEGIN EXCLUSIVE").unwrap();
    let mut journal = Journal::open_patiently(&path, Duration::from_millis(50)).unwrap();
    let error = journal.append(0, &now(), "Ines", &[note("a")]).unwrap_err();
    assert!(matches!(error, Error::Locked(_)), "{error}");
    other.execute_batch("ROLLBACK").unwrap();
    assert_eq!(add(&mut journal, "Ines", &note("a")), 1);
}

#[test]
fn a_folder_that_is_not_there() {
    let error = Journal::open(Path::new("/no/such/folder/journal.db")).unwrap_err();
    assert!(matches!(error, Error::Io { .. }), "{error}");
}

const CHILD: &str = "JOURNAL_TEST_CHILD";

/// The body of the child processes below; does nothing when run as a test.
#[test]
fn child() {
    let Ok(order) = std::env::var(CHILD) else {
        return;
    };
    let (who, path) = order.split_once('=').unwrap();
    let mut journal = Journal::open(Path::new(path)).unwrap();
    let lines = if who == "endless" { usize::MAX } else { 200 };
    let mut out = std::io::stdout();
    for i in 0..lines {
        let id = add(&mut journal, who, &note(&format!("{who} {i}")));
        writeln!(out, "\nwritten {id} {who} {i}").unwrap();
    }
}

fn start(who: &str, path: &Path) -> std::process::Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["child", "--exact", "--nocapture"])
        .env(CHILD, format!("{who}={}", path.display()))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn two_processes_lose_nothing() {
    let (_dir, path) = folder();
    let mut children = [start("Ines", &path), start("Pavel", &path)];
    for child in &mut children {
        let mut out = BufReader::new(child.stdout.take().unwrap());
        std::io::copy(&mut out, &mut std::io::sink()).unwrap();
        assert!(child.wait().unwrap().success());
    }
    let entries = Journal::open(&path).unwrap().all().unwrap();
    assert_eq!(
        entries.iter().map(|entry| entry.id).collect::<Vec<_>>(),
        (1..=400).collect::<Vec<_>>()
    );
    for who in ["Ines", "Pavel"] {
        let texts = entries
            .iter()
            .filter(|entry| entry.who == who)
            .map(|entry| &entry.line);
        let expected: Vec<Line> = (0..200).map(|i| note(&format!("{who} {i}")).line).collect();
        assert!(texts.eq(expected.iter()), "the lines of {who}, in order");
    }
}

#[test]
fn what_was_acknowledged_survives_a_kill() {
    let (_dir, path) = folder();
    let mut child = start("endless", &path);
    let out = BufReader::new(child.stdout.take().unwrap());
    let mut acknowledged = Vec::new();
    for line in out.lines() {
        let line = line.unwrap();
        let Some(rest) = line.strip_prefix("written ") else {
            continue;
        };
        let mut words = rest.splitn(2, ' ');
        let id: i64 = words.next().unwrap().parse().unwrap();
        acknowledged.push((id, words.next().unwrap().to_string()));
        if acknowledged.len() == 50 {
            child.kill().unwrap();
        }
    }
    child.wait().unwrap();
    assert!(acknowledged.len() >= 50);
    let entries = Journal::open(&path).unwrap().all().unwrap();
    for (id, text) in acknowledged {
        let entry = entries
            .iter()
            .find(|entry| entry.id == id)
            .expect("an acknowledged line is there");
        assert_eq!(entry.line, note(&text).line);
    }
}

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        any::<f64>().prop_filter("finite", |x| x.is_finite()),
        -1e3..1e3
    ]
}

fn line() -> impl Strategy<Value = Line> {
    let text = ".*";
    let component = (number(), number(), number()).prop_map(|(percent, counts, digit)| Component {
        percent,
        counts,
        digit,
    });
    let shown = prop_oneof![
        text.prop_map(Shown::Outcome),
        Just(Shown::Cannot),
        Just(Shown::Skipped),
        (
            number(),
            text,
            number(),
            text,
            prop::collection::vec(component, 0..3)
        )
            .prop_map(
                |(value, unit, digit, instrument, components)| Shown::Reading {
                    value,
                    unit,
                    digit,
                    instrument,
                    components
                }
            ),
    ];
    let names = prop::collection::vec(text, 0..3);
    let places = prop_oneof![
        names.clone().prop_map(Places::Parts),
        text.prop_map(Places::Block)
    ];
    let act = prop_oneof![
        (text, prop::option::of(text)).prop_map(|(part, mark)| Act::Pull { part, mark }),
        (text, number(), prop::option::of(text)).prop_map(|(part, works, old_mark)| Act::Fit {
            part,
            chip: Chip::New { works },
            old_mark
        }),
        (text, text).prop_map(|(part, mark)| Act::Fit {
            part,
            chip: Chip::Marked(mark),
            old_mark: None
        }),
        (text, text, text).prop_map(|(part, with, there)| Act::Swap { part, with, there }),
        text.prop_map(|what| Act::Mend { what }),
        places.clone().prop_map(Act::Reseat),
        places.clone().prop_map(Act::Resolder),
        places.prop_map(Act::Clean),
    ];
    let truth = prop_oneof![
        (text, text).prop_map(|(part, mode)| Truth::Mode { part, mode }),
        text.prop_map(Truth::Joint),
        Just(Truth::Works),
    ];
    let counted = prop::collection::vec((text, any::<u32>()), 0..3);
    let some = || prop::option::of(any::<u32>());
    let breaks = prop::collection::vec((any::<u32>(), text), 0..3);
    let offered = (text, text, (some(), some(), some()), breaks, any::<bool>()).prop_map(
        |(item, title, (pack, least, stock), breaks, whole)| Offered {
            item,
            title,
            pack,
            least,
            stock,
            breaks,
            whole,
        },
    );
    prop_oneof![
        (text, text, names.clone(), names).prop_map(|(lot, board, empty, events)| Line::TakenIn {
            lot,
            board,
            paid: "30.00".to_string(),
            empty,
            events,
            mule: false
        }),
        text.prop_map(|board| Line::TakenIn {
            lot: String::new(),
            board,
            paid: String::new(),
            empty: Vec::new(),
            events: Vec::new(),
            mule: true
        }),
        (any::<bool>(), any::<bool>()).prop_map(|(on, bench)| Line::Power {
            on,
            supply: if bench { Supply::Bench } else { Supply::Usual }
        }),
        any::<bool>().prop_map(|away| Line::Shelved { away }),
        (text, text, shown, prop::option::of(number())).prop_map(
            |(check, text, shown, minutes_on)| Line::Finding {
                check,
                text,
                shown,
                supply: Supply::Bench,
                minutes_on
            }
        ),
        act.prop_map(|done| Line::Act { done }),
        truth.prop_map(|truth| Line::Settled { truth }),
        (
            prop::option::of(text),
            prop::option::of(number()),
            prop::option::of(number())
        )
            .prop_map(|(money, evenings, working)| Line::Limits {
                money,
                evenings,
                working
            }),
        (
            prop::collection::vec(text, 0..3),
            prop::collection::vec(text, 0..3)
        )
            .prop_map(|(pins, without)| Line::Pinned { pins, without }),
        (any::<i64>(), counted.clone(), any::<bool>()).prop_map(|(parcel, items, closed)| {
            Line::Received {
                parcel,
                items,
                closed,
            }
        }),
        (text, any::<i64>(), prop::option::of(number()), text).prop_map(
            |(item, count, works, note)| Line::Kept {
                item,
                count,
                works,
                note
            }
        ),
        (text, any::<u32>()).prop_map(|(item, count)| Line::Wish { item, count }),
        (text, text, text, prop::collection::vec(offered, 0..3)).prop_map(
            |(vendor, seen, how, offers)| Line::Offers {
                vendor,
                seen,
                how,
                offers
            }
        ),
        prop::collection::vec((text, text), 0..3).prop_map(|chips| Line::Act {
            done: Act::Strip { chips }
        }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn a_written_line_comes_back_the_same(lines in prop::collection::vec(line(), 1..8), who in ".*", machine in prop::option::of(".*")) {
        let (_dir, path) = folder();
        let mut journal = Journal::open(&path).unwrap();
        let drafts: Vec<Draft> = lines.into_iter().map(|line| Draft { machine: machine.clone(), epoch: 3, line }).collect();
        let written = journal.append(0, &now(), &who, &drafts).unwrap();
        prop_assert_eq!(journal.all().unwrap(), written);
    }
}
