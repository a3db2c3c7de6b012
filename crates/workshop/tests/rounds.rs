//! The next rounds and when to shelve, on the starter that needs no file.

use workshop::{Clock, OpenOptions, TakeIn, Workshop};

/// A pile of so many machines without a schematic.
fn pile(count: usize) -> (tempfile::TempDir, Workshop) {
    let dir = tempfile::tempdir().unwrap();
    let options = OpenOptions {
        who: Some("Ines".to_string()),
        clock: Clock::Fixed("2026-11-12T19:00:00[Europe/Berlin]".parse().unwrap()),
    };
    let workshop = Workshop::open(dir.path(), options).unwrap();
    if count > 0 {
        workshop
            .take_in(&TakeIn {
                line: format!("{count} from Harbour Street, {}.00", 20 * count),
                ..TakeIn::default()
            })
            .unwrap();
    }
    (dir, workshop)
}

fn money(text: &str) -> f64 {
    text.replace('\u{2212}', "-").parse().unwrap()
}

#[test]
fn without_a_pile_there_is_nothing_to_look_at() {
    let (_dir, workshop) = pile(0);
    let view = workshop.rounds().unwrap();
    assert_eq!(
        (view.heading.as_str(), view.rounds.len()),
        ("Nothing is taken in yet.", 0)
    );
}

#[test]
fn one_machine_alone_gets_what_its_card_says() {
    let (_dir, workshop) = pile(1);
    workshop.measure("T-01", "picture black").unwrap();
    let (view, card) = (workshop.rounds().unwrap(), workshop.card("T-01").unwrap());
    let (round, step) = (&view.rounds[0], &card.next[0]);
    assert_eq!((view.rounds.len(), round.looks.len()), (1, 1));
    assert_eq!(round.looks[0].check, step.check);
    assert_eq!(round.looks[0].tags, ["T-01"]);
    assert!((round.minutes - step.minutes).abs() < 1e-9);
    assert_eq!(round.saves, step.saves);
}

#[test]
fn the_same_look_on_all_pays_for_its_set_up_once() {
    let alone = pile(1).1.rounds().unwrap();
    let (_dir, workshop) = pile(5);
    let view = workshop.rounds().unwrap();
    let round = &view.rounds[0];
    assert_eq!(round.looks.len(), 1, "{round:?}");
    assert_eq!(round.looks[0].tags.len(), 5);
    let own = round.minutes - round.set_up_minutes;
    assert!((own - round.looks[0].minutes).abs() < 1e-9);
    let each = money(&round.looks[0].saves) / 5.0;
    let paid = round.set_up_minutes * 12.0 / 60.0;
    assert!((money(&round.saves) - (5.0 * each - paid)).abs() < 0.02);
    if let Some(one) = alone.rounds.first().filter(|_| paid > 0.0) {
        assert!(money(&round.saves) > 5.0 * money(&one.saves));
    }
}

#[test]
fn what_was_left_out_is_not_asked_for_and_what_works_is_not_looked_at() {
    let (_dir, workshop) = pile(3);
    let check = workshop.rounds().unwrap().rounds[0].looks[0].check.clone();
    workshop
        .round_line(&check, "T-02=skip")
        .expect("a look left out");
    workshop.settle("T-03", "works").unwrap();
    let view = workshop.rounds().unwrap();
    let looks = view.rounds.iter().flat_map(|round| &round.looks);
    let on = |tag: &str| -> Vec<String> {
        let with = looks
            .clone()
            .filter(|look| look.tags.iter().any(|one| one == tag));
        with.map(|look| look.check.clone()).collect()
    };
    assert_eq!(on("T-01"), std::slice::from_ref(&check));
    assert!(!on("T-02").contains(&check), "{:?}", on("T-02"));
    assert!(on("T-03").is_empty());
    let said = view.aside.iter().any(|one| one.tags == ["T-03"]);
    assert!(said, "{:?}", view.aside);
}

#[test]
fn a_machine_with_little_hope_waits_for_one_that_nobody_has_looked_at() {
    let (_dir, workshop) = pile(2);
    assert!(
        workshop.card("T-01").unwrap().shelve.is_none(),
        "it is fresh itself"
    );
    for finding in ["picture black", "sound cannot", "warm fail"] {
        workshop.measure("T-01", finding).unwrap();
    }
    let card = workshop.card("T-01").unwrap();
    let shelve = card.shelve.expect("an hour on the other brings more");
    assert_eq!(shelve.waiting.as_deref(), Some("T-02"));
    assert!(money(&shelve.here) < money(&shelve.fresh), "{shelve:?}");
    assert!(shelve.sentence.contains(&shelve.here) && shelve.sentence.contains(&shelve.fresh));
    let row = &workshop.bench().unwrap().rows[0];
    let on_the_bench = row.shelve.as_ref().expect("the bench plan says it too");
    assert_eq!(on_the_bench.sentence, shelve.sentence);
    // once that one is settled there is nothing to wait for but a further machine
    workshop.settle("T-02", "works").unwrap();
    let later = workshop.card("T-01").unwrap().shelve;
    assert!(later.is_none_or(|one| one.waiting.is_none()));
}
