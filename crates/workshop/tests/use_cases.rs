//! What a person does, in a folder of its own, on the starter that needs no file.

use std::{fs, path::Path, sync::Arc};

use proptest::prelude::*;
use workshop::{
    Act, Clock, ErrorKind, Fitted, OpenOptions, PlanLimits, Power, Shelf, TakeIn, Workshop,
    views::CellState,
};

fn open(dir: &Path) -> Workshop {
    let clock = Clock::Fixed("2026-11-12T19:00:00[Europe/Berlin]".parse().unwrap());
    Workshop::open(
        dir,
        OpenOptions {
            who: Some("Ines".to_string()),
            clock,
        },
    )
    .unwrap_or_else(|error| panic!("{}", error.message))
}

fn folder() -> (tempfile::TempDir, Workshop) {
    let dir = tempfile::tempdir().unwrap();
    let workshop = open(dir.path());
    (dir, workshop)
}

fn lot(line: &str, exceptions: &[&str]) -> TakeIn {
    TakeIn {
        line: line.to_string(),
        exceptions: exceptions.iter().map(ToString::to_string).collect(),
        ..TakeIn::default()
    }
}

fn pile(count: usize) -> (tempfile::TempDir, Workshop) {
    let (dir, workshop) = folder();
    workshop
        .take_in(&lot(&format!("{count} from Harbour Street, 100.00"), &[]))
        .unwrap();
    (dir, workshop)
}

fn lines(workshop: &Workshop) -> usize {
    workshop.journal(None).unwrap().len()
}

fn is_shared<T: Send + Sync>() {}

#[test]
fn a_workshop_may_be_shared() {
    is_shared::<Workshop>();
}

#[test]
fn the_first_use_makes_the_folder() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("new/place");
    let workshop = open(&path);
    assert!(workshop.is_empty().unwrap());
    for name in ["workshop.toml", "journal.db", "boards", "vendors"] {
        assert!(path.join(name).exists(), "{name}");
    }
    let frame = workshop.frame();
    assert_eq!(
        (frame.date.as_str(), frame.time.as_str(), frame.who.as_str()),
        ("Thu 12 Nov 2026", "19:00", "Ines")
    );
    assert!(
        workshop
            .boards()
            .iter()
            .any(|board| board.starter && board.id == "z80-micro")
    );
    let bench = workshop.bench().unwrap();
    assert_eq!(
        (bench.rows.len(), bench.summary.as_str()),
        (0, "Nothing is taken in yet.")
    );
    assert_eq!(
        workshop.plan(&PlanLimits::default()).unwrap().heading,
        "Nothing is taken in yet."
    );
    assert_eq!(
        workshop.card("T-01").unwrap_err().message,
        "there is no machine `T-01`; nothing is taken in yet"
    );
}

#[test]
fn a_lot_is_taken_in() {
    let (_dir, workshop) = folder();
    let request = lot(
        "3 from Harbour Street, 100.00",
        &["T-02 the supply ran too high; T-03 CPU absent"],
    );
    let would = workshop
        .take_in(&TakeIn {
            dry_run: true,
            ..request.clone()
        })
        .unwrap();
    assert!(
        workshop.is_empty().unwrap() && would.lines.is_empty(),
        "a dry run writes nothing"
    );
    let taken = workshop.take_in(&request).unwrap();
    assert_eq!(taken.heading, would.heading);
    assert_eq!(taken.heading, "Three machines, T-01 to T-03, 33.33 each.");
    assert_eq!(taken.paid, ["33.34", "33.33", "33.33"]);
    assert_eq!(taken.exceptions.len(), 1 + 1);
    assert!(taken.starter);
    let more = workshop.take_in(&lot("1 from the attic, 0", &[])).unwrap();
    assert_eq!(
        (more.tags, more.lot.as_str()),
        (vec!["T-04".to_string()], "L-02")
    );
    assert!(
        workshop
            .card("T-03")
            .unwrap()
            .heading
            .starts_with("CPU is absent")
    );
}

#[test]
fn a_bad_take_in_says_all_and_writes_nothing() {
    let (_dir, workshop) = folder();
    let error = workshop
        .take_in(&lot(
            "3 from Harbour Street, 100.00",
            &["T-09 CPU absent", "T-01 XYZ absent", "T-02 board no-such"],
        ))
        .unwrap_err();
    for part in [
        "there is no machine `T-09`",
        "has no part `XYZ`",
        "there is no board `no-such`",
    ] {
        assert!(error.message.contains(part), "{}", error.message);
    }
    assert!(workshop.is_empty().unwrap());
    let board = TakeIn {
        board: Some("nothing".to_string()),
        ..lot("1 from here, 1", &[])
    };
    assert_eq!(
        workshop.take_in(&board).unwrap_err().kind,
        ErrorKind::NotFound
    );
}

#[test]
fn a_finding_is_written_and_taken_back() {
    let (_dir, workshop) = pile(2);
    let before = workshop.card("T-01").unwrap();
    let written = workshop.measure("T-01", "+5v 4.10").unwrap();
    assert_eq!(written.lines.len(), 1);
    assert!(written.changed.contains(", was "), "{}", written.changed);
    let after = workshop.card("T-01").unwrap();
    let supply = after
        .suspects
        .iter()
        .find(|suspect| suspect.part == "SUPPLY")
        .unwrap();
    assert!(
        supply.chance > supply.was.unwrap(),
        "the supply is more suspect than before"
    );
    let undone = workshop.undo(None).unwrap();
    assert!(
        undone.text.starts_with("Taken back: T-01, "),
        "{}",
        undone.text
    );
    let back = workshop.card("T-01").unwrap();
    assert!((back.p_findings - before.p_findings).abs() < 1e-12);
    assert_eq!(
        back.journal
            .iter()
            .filter(|row| row.taken_back.is_some())
            .count(),
        1,
        "the line stays"
    );
    assert_eq!(
        workshop.undo(Some(written.lines[0])).unwrap_err().kind,
        ErrorKind::Refused
    );
    assert_eq!(
        workshop.undo(Some(999)).unwrap_err().kind,
        ErrorKind::NotFound
    );
}

#[test]
fn what_is_wrong_is_said_at_once_and_nothing_is_written() {
    let (_dir, workshop) = pile(2);
    let before = lines(&workshop);
    let refused = |result: Result<workshop::views::Written, workshop::Error>, parts: &[&str]| {
        let error = result.unwrap_err();
        for part in parts {
            assert!(error.message.contains(part), "{}", error.message);
        }
    };
    refused(
        workshop.measure("T-07", "+5v 5.00"),
        &["there is no machine `T-07`; nearest are `T-01` or `T-02`"],
    );
    refused(
        workshop.measure("T-01", "+5v 5.00; picture purple; +5v 3 MHz"),
        &["found `purple`", "expected a voltage in V"],
    );
    refused(
        workshop.round_line("picture", "start"),
        &["expected 2 values"],
    );
    refused(
        workshop.round_line("picture", "T-01=purple; T-09=start"),
        &["found `purple`", "no machine `T-09`"],
    );
    refused(
        workshop.round_line("nonsense", "a b"),
        &["expected a check, found `nonsense`"],
    );
    refused(
        workshop.act(
            "T-01",
            &Act::Pull {
                part: "XX".to_string(),
                mark: None,
            },
        ),
        &["has no part `XX`"],
    );
    refused(
        workshop.act(
            "T-01",
            &Act::Reseat(vec!["RAM".to_string(), "YY".to_string()]),
        ),
        &["soldered", "`YY`"],
    );
    refused(
        workshop.settle("T-01", "CPU.melted"),
        &["CPU has no mode `melted`; known are "],
    );
    refused(
        workshop.settle("T-01", "nonsense"),
        &["expected a part and its mode"],
    );
    assert_eq!(lines(&workshop), before);
}

#[test]
fn a_round_fills_a_column() {
    let (_dir, workshop) = pile(3);
    let first = workshop.bench().unwrap();
    assert_eq!(first.progress.to_take, 3 * first.checks.len());
    let written = workshop.round_line("+5v", "5.02 4.10 skip").unwrap();
    assert_eq!((written.lines.len(), written.understood.len()), (3, 3));
    workshop
        .round("+5v", &[("T-03".to_string(), "4.99".to_string())])
        .unwrap();
    let bench = workshop.bench().unwrap();
    let states: Vec<CellState> = bench.rows.iter().map(|row| row.cells[0].state).collect();
    assert_eq!(states, [CellState::Good, CellState::Bad, CellState::Good]);
}

#[test]
fn chips_move_with_their_marks() {
    let (_dir, workshop) = pile(2);
    let pull = |mark: &str| Act::Pull {
        part: "CPU".to_string(),
        mark: Some(mark.to_string()),
    };
    let fit = |mark: &str| Act::Fit {
        part: "cpu".to_string(),
        what: Fitted::Marked(mark.to_string()),
        old_mark: None,
    };
    workshop.act("T-01", &pull("dot-1")).unwrap();
    assert!(
        workshop
            .card("T-01")
            .unwrap()
            .heading
            .starts_with("CPU is absent")
    );
    let refused = |act: &Act, tag: &str, message: &str| {
        assert_eq!(workshop.act(tag, act).unwrap_err().message, message)
    };
    refused(&pull("dot-2"), "T-01", "CPU of T-01 is empty");
    refused(
        &pull("dot-1"),
        "T-02",
        "the mark `dot-1` is on another chip",
    );
    refused(&fit("dot-9"), "T-01", "no chip is marked `dot-9`");
    workshop.act("T-01", &fit("dot-1")).unwrap();
    refused(
        &fit("dot-1"),
        "T-02",
        "the chip marked `dot-1` sits in CPU of T-01",
    );
    let new = |works| Act::Fit {
        part: "CPU".to_string(),
        what: Fitted::New { works },
        old_mark: Some("old".to_string()),
    };
    assert_eq!(
        workshop.act("T-02", &new(Some(1.2))).unwrap_err().message,
        "expected a chance from 0 to 1, found `1.2`"
    );
    workshop.act("T-02", &new(None)).unwrap();
    assert_eq!(
        workshop
            .card("T-02")
            .unwrap()
            .journal
            .iter()
            .filter(|row| row.act)
            .count(),
        1
    );
}

#[test]
fn a_line_that_others_build_on_stays() {
    let (_dir, workshop) = pile(1);
    let pulled = workshop
        .act(
            "T-01",
            &Act::Pull {
                part: "CPU".to_string(),
                mark: Some("dot".to_string()),
            },
        )
        .unwrap();
    workshop
        .act(
            "T-01",
            &Act::Fit {
                part: "CPU".to_string(),
                what: Fitted::Marked("dot".to_string()),
                old_mark: None,
            },
        )
        .unwrap();
    let error = workshop.undo(Some(pulled.lines[0])).unwrap_err();
    assert_eq!(
        (error.message.as_str(), error.kind),
        ("no chip is marked `dot`", ErrorKind::Refused)
    );
    assert!(error.hint.unwrap().contains("builds on it"));
    workshop.undo(None).unwrap();
    workshop.undo(Some(pulled.lines[0])).unwrap();
}

#[test]
fn the_truth_is_settled() {
    let (_dir, workshop) = pile(1);
    workshop.settle("T-01", "CPU.dead").unwrap();
    let card = workshop.card("T-01").unwrap();
    assert!(
        card.heading.ends_with("that is settled."),
        "{}",
        card.heading
    );
    let dead = card
        .modes
        .iter()
        .find(|mode| mode.mode == "CPU.dead")
        .unwrap();
    assert!((dead.chance - 1.0).abs() < 1e-12);
    let error = workshop.settle("T-01", "works").unwrap_err();
    assert!(
        error
            .message
            .starts_with("that cannot be true together with the rest"),
        "{}",
        error.message
    );
    workshop.undo(None).unwrap();
    workshop.settle("T-01", "works").unwrap();
    let card = workshop.card("T-01").unwrap();
    assert_eq!(
        (card.heading.as_str(), card.state.as_str()),
        ("It works; that is settled.", "working")
    );
    assert_eq!(
        workshop.plan(&PlanLimits::default()).unwrap().decisions[0].decision,
        "works"
    );
}

#[test]
fn limits_are_remembered() {
    let (_dir, workshop) = pile(2);
    let limits = |money: &str, evenings| PlanLimits {
        money: Some(money.to_string()),
        evenings,
        ..PlanLimits::default()
    };
    let plan = workshop.plan(&limits("50", Some(2.0))).unwrap();
    assert_eq!(
        (plan.money_limit.as_deref(), plan.evenings_limit),
        (Some("50.00"), Some(2.0))
    );
    let before = lines(&workshop);
    let plan = workshop.plan(&PlanLimits::default()).unwrap();
    assert_eq!(
        (plan.money_limit.as_deref(), plan.evenings_limit),
        (Some("50.00"), Some(2.0))
    );
    let lifted = workshop.plan(&limits("none", Some(0.0))).unwrap();
    assert_eq!((lifted.money_limit, lifted.evenings_limit), (None, None));
    assert_eq!(lines(&workshop), before + 1);
    assert!(
        workshop
            .plan(&limits("much", None))
            .unwrap_err()
            .message
            .starts_with("expected an amount")
    );
    assert_eq!(
        workshop.plan(&limits("-5", None)).unwrap_err().kind,
        ErrorKind::Usage
    );
    assert_eq!(
        workshop
            .plan(&PlanLimits {
                evenings: Some(-1.0),
                ..PlanLimits::default()
            })
            .unwrap_err()
            .kind,
        ErrorKind::Usage
    );
}

#[test]
fn another_window_is_noticed() {
    let (dir, one) = pile(1);
    let other = open(dir.path());
    one.measure("T-01", "+5v 5.00").unwrap();
    assert_eq!(lines(&other), lines(&one));
    other.measure("T-01", "+5v 5.01").unwrap();
    assert_eq!(one.card("T-01").unwrap().journal.len(), 3);
}

#[test]
fn several_write_at_once_and_lose_nothing() {
    const EACH: usize = 15;
    let (dir, workshop) = folder();
    let path = Arc::new(dir.path().to_path_buf());
    let writers: Vec<_> = (0..3)
        .map(|_| {
            let path = Arc::clone(&path);
            std::thread::spawn(move || {
                let own = open(&path);
                for _ in 0..EACH {
                    own.take_in(&lot("1 from here, 1.00", &[])).unwrap();
                }
            })
        })
        .collect();
    writers
        .into_iter()
        .for_each(|writer| writer.join().unwrap());
    let tags: Vec<String> = workshop
        .journal(None)
        .unwrap()
        .iter()
        .filter_map(|row| row.text.split_once(": Taken in"))
        .map(|(tag, _)| tag.to_string())
        .collect();
    let mut once = tags.clone();
    once.sort();
    once.dedup();
    assert_eq!(
        (tags.len(), once.len()),
        (3 * EACH, 3 * EACH),
        "each machine has a tag of its own"
    );
}

#[test]
fn files_are_read_again_when_they_change() {
    let (dir, workshop) = folder();
    let text = catalogue::starter_text("z80-micro")
        .unwrap()
        .replace("id = \"z80-micro\"", "id = \"mine\"");
    fs::write(dir.path().join("boards/mine.toml"), &text).unwrap();
    assert!(
        workshop
            .boards()
            .iter()
            .any(|board| board.id == "mine" && !board.starter)
    );
    assert_eq!(
        workshop.take_in(&lot("1 from here, 1", &[])).unwrap().board,
        "mine",
        "the only board of the folder is taken"
    );
    fs::write(dir.path().join("boards/mine.toml"), "[board]\nid = 3").unwrap();
    let error = workshop.card("T-01").unwrap_err();
    assert!(
        error.message.contains("boards/mine.toml:2:"),
        "{}",
        error.message
    );
    fs::write(dir.path().join("boards/mine.toml"), &text).unwrap();
    assert!(workshop.card("T-01").is_ok());
}

#[test]
fn bad_files_change_nothing() {
    let check = |name: &str, content: &[u8], says: &str| {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join(name), content).unwrap();
        let error = Workshop::open(dir.path(), OpenOptions::default()).unwrap_err();
        assert!(error.message.contains(says), "{name}: {}", error.message);
        assert_eq!(fs::read(dir.path().join(name)).unwrap(), content);
        let begun = dir.path().join("journal.db").exists();
        assert_eq!(begun, name == "journal.db", "{name}");
    };
    check(
        "workshop.toml",
        b"currency = 'doubloon'",
        "expected an ISO 4217 code",
    );
    check("workshop.toml", b"\xff\xfe\x00", "expected UTF-8 text");
    check("workshop.toml", b"name = ", "workshop.toml cannot be read");
    check(
        "journal.db",
        b"a shopping list, surely not a journal",
        "expected a journal",
    );
    check(
        "workshop.toml",
        &vec![b'#'; 10_000_000],
        "at most 4000000 bytes",
    );
}

#[test]
fn a_broken_vendor_file_is_named_in_the_plan() {
    let (dir, workshop) = pile(1);
    fs::write(
        dir.path().join("vendors/northgate.toml"),
        "[[vendor]]\nid = 3\n",
    )
    .unwrap();
    let plan = workshop.plan(&PlanLimits::default()).unwrap();
    assert!(
        plan.notes
            .iter()
            .any(|note| note.contains("vendors/northgate.toml is left out")),
        "{:?}",
        plan.notes
    );
}

#[test]
fn a_script_stops_at_what_is_refused() {
    let (_dir, workshop) = folder();
    let script = "[[step]]\ndo = 'take-in'\nline = '1 from here, 1'\n[[step]]\ndo = 'measure'\nmachine = 'T-05'\nline = '+5v 5'";
    let error = workshop.play(script).unwrap_err();
    assert!(
        error
            .message
            .starts_with("step 2: there is no machine `T-05`"),
        "{}",
        error.message
    );
    assert_eq!(
        workshop.play("[[step]]\ndo = 'dance'").unwrap_err().kind,
        ErrorKind::Usage
    );
    assert!(
        workshop
            .play("nonsense")
            .unwrap_err()
            .message
            .starts_with("the script cannot be read")
    );
}

#[derive(Debug, Clone)]
enum Deed {
    Measure(usize, &'static str),
    Act(usize, Act),
    Settle(usize, &'static str),
    Power(usize, Power),
    Shelve(usize, Shelf),
    Undo(Option<i64>),
}

fn deed() -> impl Strategy<Value = Deed> {
    let lines = prop::sample::select(vec![
        "+5v 5.01",
        "+5v 4.2; picture black",
        "picture ok; sound cannot",
        "keys skip",
        "nonsense",
    ]);
    let mark = prop::sample::select(vec!["dot-1", "dot-2"]);
    let acts = prop_oneof![
        mark.clone().prop_map(|mark| Act::Pull {
            part: "CPU".to_string(),
            mark: Some(mark.to_string())
        }),
        mark.prop_map(|mark| Act::Fit {
            part: "CPU".to_string(),
            what: Fitted::Marked(mark.to_string()),
            old_mark: None
        }),
        Just(Act::Fit {
            part: "ROM".to_string(),
            what: Fitted::New { works: None },
            old_mark: None
        }),
        Just(Act::Reseat(vec!["video".to_string()])),
        prop::sample::select(vec!["T-01", "T-02", "mule", "dot-1"]).prop_map(|with| Act::Swap {
            part: "CPU".to_string(),
            with: with.to_string(),
            there: None,
            old_mark: Some("dot-2".to_string())
        }),
        Just(Act::Mend("a track".to_string())),
    ];
    let truths = prop::sample::select(vec!["works", "CPU.dead", "joint \"a track\""]);
    prop_oneof![
        (0usize..3, lines).prop_map(|(machine, line)| Deed::Measure(machine, line)),
        (0usize..3, acts).prop_map(|(machine, act)| Deed::Act(machine, act)),
        (0usize..3, truths).prop_map(|(machine, truth)| Deed::Settle(machine, truth)),
        (
            0usize..3,
            prop::sample::select(vec![Power::On, Power::OnBenchSupply, Power::Off])
        )
            .prop_map(|(machine, power)| Deed::Power(machine, power)),
        (
            0usize..3,
            prop::sample::select(vec![Shelf::Away, Shelf::Back])
        )
            .prop_map(|(machine, shelf)| Deed::Shelve(machine, shelf)),
        prop::option::of(1i64..20).prop_map(Deed::Undo),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(8))]
    #[test]
    fn whatever_is_done_the_bench_can_be_shown(deeds in prop::collection::vec(deed(), 1..8)) {
        let (_dir, workshop) = pile(2);
        workshop.take_in(&lot("the mule", &[])).unwrap();
        let tag = |machine: &usize| format!("T-{:02}", machine + 1);
        for deed in &deeds {
            let before = lines(&workshop);
            let result = match deed {
                Deed::Measure(machine, line) => workshop.measure(&tag(machine), line).map(|_| ()),
                Deed::Act(machine, act) => workshop.act(&tag(machine), act).map(|_| ()),
                Deed::Settle(machine, truth) => workshop.settle(&tag(machine), truth).map(|_| ()),
                Deed::Power(machine, power) => workshop.power(&tag(machine), *power).map(|_| ()),
                Deed::Shelve(machine, shelf) => workshop.shelve(&tag(machine), *shelf).map(|_| ()),
                Deed::Undo(line) => workshop.undo(*line).map(|_| ()),
            };
            let after = lines(&workshop);
            match result {
                Ok(()) => prop_assert!(after >= before, "a line never goes"),
                Err(error) => {
                    prop_assert_eq!(after, before, "a refusal writes nothing");
                    prop_assert!(error.kind != ErrorKind::Internal, "{}", error.message);
                }
            }
        }
        // lines that rule each other out are named, and silence nobody
        prop_assert!(workshop.bench().unwrap().rows.len() <= 2);
        for tag in ["T-01", "T-02", "mule"] {
            if let Err(error) = workshop.card(tag) {
                prop_assert_eq!(error.kind, ErrorKind::NotFound, "{}", tag);
            }
        }
    }
}

/// That the file of another machine's board is gone stops no act.
#[test]
fn a_lost_board_stops_no_act_elsewhere() {
    let (dir, workshop) = pile(2);
    let boards = dir.path().join("boards");
    fs::create_dir_all(&boards).unwrap();
    fs::write(boards.join("other.toml"), "[board]\nid = \"other\"\n").unwrap();
    let other = TakeIn {
        board: Some("other".to_string()),
        ..lot("1 from the fair, 5.00", &[])
    };
    workshop.take_in(&other).unwrap();
    fs::remove_file(boards.join("other.toml")).unwrap();
    let before = lines(&workshop);
    let act = Act::Mend("a track".to_string());
    workshop.act("T-01", &act).unwrap();
    assert_eq!(lines(&workshop), before + 1);
}
