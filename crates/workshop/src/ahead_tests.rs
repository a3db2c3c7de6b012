//! A card that was got ready says what one says that was not.

use std::{
    fs,
    path::Path,
    sync::atomic::{AtomicUsize, Ordering},
};

use super::*;
use crate::{Clock, OpenOptions};

const EVENING: &str = "2026-11-12T20:40:00[Europe/Berlin]";

fn open(dir: &Path) -> Workshop {
    let clock = Clock::Fixed(EVENING.parse().unwrap());
    Workshop::open(dir, OpenOptions { who: None, clock }).unwrap()
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// The demo's evening.
fn demo() -> (tempfile::TempDir, Workshop) {
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    let dir = tempfile::tempdir().unwrap();
    copy(&example, dir.path());
    let workshop = open(dir.path());
    let pile = fs::read_to_string(example.join("pile.toml")).unwrap();
    workshop.play(&pile).unwrap();
    (dir, workshop)
}

fn is_taken(workshop: &Workshop) -> bool {
    workshop.fresh().unwrap().cache().ahead.states.is_empty()
}

#[test]
fn cards_say_the_same() {
    let (dir, workshop) = demo();
    let check = |tag: &str, line: &str, later: i64, taken: bool| {
        workshop.card(tag).unwrap();
        assert!(workshop.reckon_ahead(tag, || true).unwrap() > 0, "{tag}");
        let now = workshop.fresh().unwrap().now();
        let then = now.saturating_add(jiff::Span::new().minutes(later));
        workshop.turn(None, Some(then.clone()));
        workshop.measure(tag, line).unwrap();
        assert_eq!(is_taken(&workshop), taken, "{tag} {line}");
        let anew = open(dir.path());
        anew.turn(None, Some(then));
        let card = |workshop: &Workshop| format!("{:#?}", workshop.card(tag).unwrap());
        assert_eq!(card(&workshop), card(&anew), "{tag} {line}");
        workshop.undo(None).unwrap();
    };
    // made before, open, and one that cannot be done
    check("T-01", "picture black", 0, true);
    check("T-01", "voices pass", 0, true);
    check("T-02", "tape cannot", 0, true);
    // two machines that exchanged chips
    check("T-08", "picture start", 5, true);
    // a value nobody could know
    check("T-04", "reset 142 ms", 0, false);
    // it cannot be switched on, says the pile
    check("T-06", "picture black", 0, true);
    // the same power-up, and so late that it was switched off in between
    workshop.measure("T-03", "voices pass").unwrap();
    check("T-03", "picture black", 5, true);
    check("T-03", "picture black", 45, false);
}

#[test]
fn other_settings_are_another_question() {
    let (dir, workshop) = demo();
    workshop.card("T-02").unwrap();
    assert!(workshop.reckon_ahead("T-02", || true).unwrap() > 0);
    let settings = dir.path().join("workshop.toml");
    let text = fs::read_to_string(&settings).unwrap();
    fs::write(&settings, text.replace("\"12.00\" ", "\"120.00\" ")).unwrap();
    workshop.measure("T-02", "picture black").unwrap();
    let card = |workshop: &Workshop| format!("{:#?}", workshop.card("T-02").unwrap());
    let now = card(&workshop);
    assert!(now.contains("120.00"), "{now}");
    assert_eq!(now, card(&open(dir.path())));
}

#[test]
fn others_go_first() {
    let (_dir, workshop) = demo();
    assert_eq!(workshop.reckon_ahead("T-02", || false).unwrap(), 0);
    let left = AtomicUsize::new(3);
    let some = || left.fetch_sub(1, Ordering::Relaxed) > 0;
    assert_eq!(workshop.reckon_ahead("T-02", some).unwrap(), 3);
    let others = workshop.reckon_ahead("T-02", || true).unwrap();
    // nothing is gone through twice
    assert_eq!(workshop.reckon_ahead("T-02", || true).unwrap(), 0);
    workshop.undo(None).unwrap();
    let all = workshop.reckon_ahead("T-02", || true).unwrap();
    assert_eq!(all, others + 3);
    let error = workshop.reckon_ahead("T-77", || true).unwrap_err();
    assert_eq!(error.kind, crate::ErrorKind::NotFound);
}
