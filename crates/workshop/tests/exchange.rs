//! Swaps through the mule and the stock, power-ups, mended tracks, the shelf: on the demo's board, in a folder of its own.

use std::{fs, path::Path};

use workshop::{
    Act, Clock, ErrorKind, Fitted, OpenOptions, PlanLimits, Power, Shelf, TakeIn, Workshop,
    views::JobCard,
};

const EXAMPLE: &str = "../../examples/ostrel";

fn open(dir: &Path) -> Workshop {
    let clock = Clock::Fixed("2026-11-12T19:00:00[Europe/Berlin]".parse().unwrap());
    Workshop::open(dir, OpenOptions { who: None, clock }).unwrap()
}

/// Three machines of the demo's board, and the mule.
fn club() -> (tempfile::TempDir, Workshop) {
    let dir = tempfile::tempdir().unwrap();
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join(EXAMPLE);
    for name in ["workshop.toml", "boards/ostrel-8-r2.toml"] {
        fs::create_dir_all(dir.path().join("boards")).unwrap();
        fs::copy(example.join(name), dir.path().join(name)).unwrap();
    }
    let workshop = open(dir.path());
    for line in ["3 from here, 90.00", "the mule"] {
        let request = TakeIn {
            line: line.to_string(),
            board: Some("ostrel-8-r2".to_string()),
            ..TakeIn::default()
        };
        workshop.take_in(&request).unwrap();
    }
    (dir, workshop)
}

fn swap(part: &str, with: &str) -> Act {
    Act::Swap {
        part: part.to_string(),
        with: with.to_string(),
        there: None,
        old_mark: None,
    }
}

fn chance(card: &JobCard, mode: &str) -> f64 {
    let found = card.modes.iter().find(|one| one.mode == mode);
    found.map(|one| one.chance).unwrap()
}

#[test]
fn the_mule_is_no_machine_of_the_pile() {
    let (_dir, workshop) = club();
    let bench = workshop.bench().unwrap();
    let tags: Vec<&str> = bench.rows.iter().map(|row| row.tag.as_str()).collect();
    assert_eq!(tags, ["T-01", "T-02", "T-03"]);
    assert_eq!(
        workshop
            .plan(&PlanLimits::default())
            .unwrap()
            .decisions
            .len(),
        3
    );
    let mule = workshop.card("mule").unwrap();
    assert_eq!(
        (
            mule.heading.as_str(),
            mule.state.as_str(),
            mule.paid.as_str()
        ),
        ("The mule holds its own chips.", "the mule", "")
    );
    assert!(chance(&mule, "U9.dead") < 1e-12, "its own chips are good");
    let error = workshop.shelve("mule", Shelf::Away).unwrap_err();
    assert_eq!(error.message, "the mule stays on the bench");
    let again = TakeIn {
        line: "our mule".to_string(),
        ..TakeIn::default()
    };
    let error = workshop.take_in(&again).unwrap_err();
    assert!(
        error.message.starts_with("there is `mule` already"),
        "{}",
        error.message
    );
}

#[test]
fn a_mule_that_shows_faults_of_its_own_is_in_doubt() {
    let (_dir, workshop) = club();
    let doubted = |workshop: &Workshop| {
        let said = workshop.card("mule").unwrap().exchanged;
        said.iter()
            .any(|one| one.starts_with("The mule itself is in doubt"))
    };
    workshop
        .measure("mule", "picture start; sound three")
        .unwrap();
    assert!(!doubted(&workshop));
    workshop.act("T-01", &swap("U26", "mule")).unwrap();
    workshop.measure("mule", "sound two").unwrap();
    assert!(!doubted(&workshop), "the chip of T-01 explains that");
    workshop
        .measure("mule", "+5v 3.9; clock fail; reset 20 ms")
        .unwrap();
    assert!(doubted(&workshop), "no chip explains that");
}

#[test]
fn a_fault_that_goes_with_the_chip_is_in_the_chip() {
    let (_dir, workshop) = club();
    workshop
        .measure("T-01", "picture start; sound two")
        .unwrap();
    let before = chance(&workshop.card("T-01").unwrap(), "U26.voice");
    let written = workshop.act("T-01", &swap("U26", "mule")).unwrap();
    assert_eq!(
        written.changed,
        "U26 of T-01 and U26 of the mule have changed places. Look at both: does the fault go with the chip, or stay?"
    );
    workshop.measure("mule", "sound two").unwrap();
    let mule = workshop.card("mule").unwrap();
    let there = chance(&mule, "U26.voice");
    assert!(there > 0.98 && there > before, "{there} after {before}");
    assert!(
        mule.heading
            .starts_with("The mule holds U26 of T-01, bad with "),
        "{}",
        mule.heading
    );
    assert_eq!(
        mule.journal.iter().filter(|row| row.act).count(),
        1,
        "a swap stands on both cards"
    );
    let card = workshop.card("T-01").unwrap();
    assert!(chance(&card, "U26.voice") < 1e-9, "the mule's chip is good");
    assert_eq!(
        card.exchanged,
        ["U26 holds U26 of the mule.", "Its own U26 is in the mule."]
    );
    workshop.measure("T-01", "sound three").unwrap();
    workshop.act("mule", &swap("U26", "T-01")).unwrap();
    let card = workshop.card("T-01").unwrap();
    assert!(chance(&card, "U26.voice") > 0.98 && card.exchanged.is_empty());
    assert!(workshop.card("mule").unwrap().exchanged.is_empty());
}

#[test]
fn a_fault_that_stays_is_in_the_board() {
    let (_dir, workshop) = club();
    workshop
        .measure("T-01", "picture black; sound three")
        .unwrap();
    let before = chance(&workshop.card("T-01").unwrap(), "U14.dead");
    workshop.act("T-01", &swap("U9", "T-02")).unwrap();
    workshop.measure("T-01", "picture black").unwrap();
    workshop.measure("T-02", "picture start").unwrap();
    assert!(chance(&workshop.card("T-01").unwrap(), "U14.dead") > before);
    // the chip of T-01 sits in T-02 now
    assert!(chance(&workshop.card("T-02").unwrap(), "U9.dead") < 0.01);
}

#[test]
fn a_loose_chip_goes_in_by_its_mark() {
    let (_dir, workshop) = club();
    let pull = Act::Pull {
        part: "U9".to_string(),
        mark: Some("blue dot".to_string()),
    };
    workshop.act("T-01", &pull).unwrap();
    let error = workshop.act("T-02", &swap("U9", "blue dot")).unwrap_err();
    assert_eq!(
        (error.message.as_str(), error.hint.as_deref()),
        (
            "U9 of T-02 has no mark yet, so nobody could tell it from others once it is out",
            Some("put a dot or a sticker on it and say so: `--old-mark T-02-U9`")
        )
    );
    let marked = Act::Swap {
        part: "U9".to_string(),
        with: "blue dot".to_string(),
        there: None,
        old_mark: Some("T-02-U9".to_string()),
    };
    workshop.act("T-02", &marked).unwrap();
    // by the mark of a chip that sits in a machine: that machine
    workshop.act("T-01", &swap("U9", "T-02-U9")).unwrap();
    let error = workshop.act("T-03", &swap("U9", "red dot")).unwrap_err();
    assert!(
        error.message.starts_with("there is no machine `red dot`"),
        "{}",
        error.message
    );
    workshop.act("T-03", &swap("U9", "blue dot")).unwrap();
    let card = workshop.card("T-03").unwrap();
    assert_eq!(
        card.exchanged,
        ["U9 holds U9 of T-02.", "Its own U9 is in T-02."]
    );
}

#[test]
fn a_chip_is_in_one_place_only() {
    let (_dir, workshop) = club();
    let refused = |tag: &str, act: &Act, message: &str| {
        let before = workshop.journal(None).unwrap().len();
        let error = workshop.act(tag, act).unwrap_err();
        assert!(error.message.starts_with(message), "{}", error.message);
        assert_eq!(
            workshop.journal(None).unwrap().len(),
            before,
            "nothing was written"
        );
    };
    let there = |with: &str, there: &str| Act::Swap {
        part: "U9".to_string(),
        with: with.to_string(),
        there: Some(there.to_string()),
        old_mark: None,
    };
    refused(
        "T-01",
        &swap("U9", "T-01"),
        "U9 of T-01 cannot change places with itself",
    );
    refused(
        "T-01",
        &there("T-02", "U16"),
        "expected two chips of one type, found `ov-2` in U9 of T-01 and `4164`",
    );
    refused(
        "T-01",
        &there("T-02", "U99"),
        "the board `ostrel-8-r2` has no part `U99`",
    );
    refused("T-01", &swap("U9", "T-77"), "there is no machine `T-77`");
    refused(
        "T-01",
        &Act::Mend("\"\"".to_string()),
        "expected what was mended",
    );
    for tag in ["T-01", "T-02"] {
        let pull = Act::Pull {
            part: "U9".to_string(),
            mark: None,
        };
        workshop.act(tag, &pull).unwrap();
    }
    refused(
        "T-01",
        &swap("U9", "T-02"),
        "U9 of T-01 and U9 of T-02 are both empty",
    );
    // into the gap, and the swap taken back makes the gap again
    workshop.act("T-01", &swap("U9", "mule")).unwrap();
    refused(
        "mule",
        &Act::Reseat(vec!["U9".to_string()]),
        "U9 of mule is empty",
    );
    workshop.undo(None).unwrap();
    refused(
        "T-01",
        &Act::Reseat(vec!["U9".to_string()]),
        "U9 of T-01 is empty",
    );
}

#[test]
fn a_line_that_builds_on_a_swap_holds_it() {
    let (_dir, workshop) = club();
    let pull = |mark: &str| Act::Pull {
        part: "U9".to_string(),
        mark: Some(mark.to_string()),
    };
    workshop.act("T-02", &pull("dot")).unwrap();
    let swapped = workshop.act("T-01", &swap("U9", "T-02")).unwrap().lines[0];
    workshop
        .act("T-02", &Act::Reseat(vec!["U9".to_string()]))
        .unwrap();
    let error = workshop.undo(Some(swapped)).unwrap_err();
    assert_eq!(
        (error.message.as_str(), error.kind),
        ("U9 of T-02 is empty", ErrorKind::Refused)
    );
    workshop.undo(None).unwrap();
    workshop.undo(Some(swapped)).unwrap();
    assert!(workshop.card("T-01").unwrap().exchanged.is_empty());
}

#[test]
fn a_mended_track_ends_the_unknown_fault() {
    let (_dir, workshop) = club();
    workshop
        .settle("T-01", "joint \"track U7.3 to U12.5\"")
        .unwrap();
    assert!(workshop.card("T-01").unwrap().unmodelled > 0.999);
    workshop
        .act("T-01", &Act::Mend("track U7.3 to U12.5".to_string()))
        .unwrap();
    let card = workshop.card("T-01").unwrap();
    assert!(card.unmodelled < 1e-9);
    let row = card.journal.last().unwrap();
    assert_eq!(
        (row.text.as_str(), row.act),
        ("Mended: track U7.3 to U12.5.", true)
    );
    workshop.undo(None).unwrap();
    assert!(workshop.card("T-01").unwrap().unmodelled > 0.999);
}

#[test]
fn the_shelf_keeps_the_findings() {
    let (_dir, workshop) = club();
    workshop.measure("T-02", "picture black").unwrap();
    let before = workshop.card("T-02").unwrap();
    workshop.shelve("T-02", Shelf::Away).unwrap();
    let bench = workshop.bench().unwrap();
    assert_eq!(
        (bench.rows.len(), bench.shelved.as_slice()),
        (2, &["T-02".to_string()][..])
    );
    assert!(
        bench.summary.starts_with("Two machines."),
        "{}",
        bench.summary
    );
    let plan = workshop.plan(&PlanLimits::default()).unwrap();
    assert_eq!(plan.decisions.len(), 2);
    assert!(
        plan.notes
            .contains(&"T-02 is on the shelf and left out.".to_string()),
        "{:?}",
        plan.notes
    );
    // a round has a value for each machine on the bench
    workshop.round_line("sound", "three three").unwrap();
    let card = workshop.card("T-02").unwrap();
    assert_eq!(card.state, "shelved");
    assert!((card.p_findings - before.p_findings).abs() < 1.0);
    assert!((chance(&card, "U9.dead") - chance(&before, "U9.dead")).abs() < 0.01);
    let error = workshop.shelve("T-02", Shelf::Away).unwrap_err();
    assert_eq!(error.message, "T-02 is on the shelf already");
    workshop.shelve("T-02", Shelf::Back).unwrap();
    assert_eq!(workshop.bench().unwrap().rows.len(), 3);
    workshop.undo(None).unwrap();
    assert_eq!(workshop.bench().unwrap().rows.len(), 2);
    for tag in ["T-01", "T-03"] {
        workshop.shelve(tag, Shelf::Away).unwrap();
    }
    let bench = workshop.bench().unwrap();
    assert_eq!(
        (bench.rows.len(), bench.summary.as_str()),
        (0, "No machine is on the bench.")
    );
    assert_eq!(
        workshop.plan(&PlanLimits::default()).unwrap().heading,
        "No machine is on the bench."
    );
}

#[test]
fn a_bench_supply_that_was_said_need_not_be_said_again() {
    let (_dir, workshop) = club();
    workshop.power("T-01", Power::OnBenchSupply).unwrap();
    workshop.measure("T-01", "picture black").unwrap();
    workshop.measure("T-01", "sound three; own supply").unwrap();
    workshop.power("T-01", Power::Off).unwrap();
    workshop.measure("T-01", "keyboard pass").unwrap();
    let rows = workshop.journal(Some("T-01")).unwrap();
    let said: Vec<(&str, &str)> = rows
        .iter()
        .map(|row| (row.text.as_str(), row.after.as_str()))
        .collect();
    assert_eq!(
        said[1..],
        [
            ("Switched on, on a bench supply.", ""),
            ("Picture", "on a bench supply"),
            ("Sound", ""),
            ("Switched off.", ""),
            ("Keyboard", ""),
        ]
    );
}

/// A clock set back between two lines, as a computer without battery does.
#[test]
fn clocks_out_of_order_are_borne() {
    let (dir, workshop) = club();
    workshop.measure("T-01", "picture black").unwrap();
    workshop.power("T-01", Power::Off).unwrap();
    let clock = Clock::Fixed("1999-01-01T00:00:00[Europe/Berlin]".parse().unwrap());
    let late = Workshop::open(dir.path(), OpenOptions { who: None, clock }).unwrap();
    late.measure("T-01", "picture black").unwrap();
    late.act("T-01", &swap("U9", "mule")).unwrap();
    let card = workshop.card("T-01").unwrap();
    assert!(card.p_findings > 0.0);
    assert_eq!(workshop.bench().unwrap().rows.len(), 3);
}

/// The heading says nothing of what another chip showed.
#[test]
fn a_heading_speaks_of_what_sits_there_now() {
    let (_dir, workshop) = club();
    let heading = || workshop.card("T-01").unwrap().heading;
    workshop.measure("T-01", "picture black").unwrap();
    assert!(heading().starts_with("Picture black"), "{}", heading());
    workshop.act("T-01", &swap("U9", "mule")).unwrap();
    assert!(!heading().starts_with("Picture black"), "{}", heading());
    workshop.act("T-01", &swap("U9", "mule")).unwrap();
    assert!(heading().starts_with("Picture black"), "{}", heading());
    let fit = Act::Fit {
        part: "U9".to_string(),
        what: Fitted::New { works: None },
        old_mark: None,
    };
    workshop.act("T-01", &fit).unwrap();
    assert!(!heading().starts_with("Picture black"), "{}", heading());
}
