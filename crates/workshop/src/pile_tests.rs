//! What stands after lines.

use super::*;
use journal::{Shown, Supply};

fn entries(lines: &[(&str, Line)]) -> Vec<Entry> {
    let time: jiff::ZonedDateTime = "2026-11-12T19:00:00+01:00[Europe/Berlin]".parse().unwrap();
    let entry = |(id, (tag, line)): (i64, &(&str, Line))| Entry {
        id,
        batch: id,
        time: time.clone(),
        who: "Ines".to_string(),
        machine: (!tag.is_empty()).then(|| (*tag).to_string()),
        epoch: 0,
        line: line.clone(),
    };
    (1..).zip(lines).map(entry).collect()
}

fn machine() -> Line {
    Line::TakenIn {
        lot: "L-01".to_string(),
        board: "b".to_string(),
        paid: "30.00".to_string(),
        empty: vec!["U9".to_string()],
        events: Vec::new(),
        mule: false,
    }
}

fn finding() -> Line {
    Line::Finding {
        check: "picture".to_string(),
        text: "black".to_string(),
        shown: Shown::Outcome("black".to_string()),
        supply: Supply::Usual,
        minutes_on: None,
    }
}

fn pull(part: &str, mark: Option<&str>) -> Line {
    Line::Act {
        done: Act::Pull {
            part: part.to_string(),
            mark: mark.map(str::to_string),
        },
    }
}

fn fit(part: &str, mark: &str) -> Line {
    let chip = Chip::Marked(mark.to_string());
    Line::Act {
        done: Act::Fit {
            part: part.to_string(),
            chip,
            old_mark: None,
        },
    }
}

fn back(line: i64) -> Line {
    Line::TakenBack { line }
}

fn check(lines: &[(&str, Line)], problems: &[&str]) -> Pile {
    let pile = Pile::of(entries(lines));
    let found: Vec<&str> = pile
        .problems
        .iter()
        .map(|problem| problem.what.as_str())
        .collect();
    assert_eq!(found, problems);
    pile
}

#[test]
fn chips_go_where_they_are_put() {
    let pile = check(
        &[
            ("T-01", machine()),
            ("T-02", machine()),
            ("T-01", pull("U1", Some("dot"))),
            ("T-02", fit("U9", "dot")),
        ],
        &[],
    );
    assert_eq!(
        pile.marks["dot"],
        Place::In {
            machine: "T-02".to_string(),
            part: "U9".to_string()
        }
    );
    assert!(pile.machine("T-02").unwrap().empty.is_empty());
    assert_eq!(pile.machine("T-01").unwrap().epoch, 1);
}

#[test]
fn contradictions_are_named() {
    check(
        &[("T-01", machine()), ("T-01", pull("U9", None))],
        &["U9 of T-01 is empty"],
    );
    check(
        &[("T-01", machine()), ("T-01", fit("U9", "dot"))],
        &["no chip is marked `dot`"],
    );
    check(&[("T-02", finding())], &["T-02 is not taken in"]);
    check(
        &[("T-01", machine()), ("T-01", machine())],
        &["T-01 is there already"],
    );
    check(
        &[
            ("T-01", machine()),
            ("T-01", pull("U1", Some("dot"))),
            ("T-01", pull("U2", Some("dot"))),
        ],
        &["the mark `dot` is on another chip"],
    );
}

#[test]
fn a_line_taken_back_does_not_count() {
    let lines = [
        ("T-01", machine()),
        ("T-01", pull("U1", Some("dot"))),
        ("T-02", machine()),
        ("T-02", fit("U9", "dot")),
    ];
    let with = |more: &[Line]| {
        let more: Vec<(&str, Line)> = more.iter().map(|line| ("", line.clone())).collect();
        [lines.to_vec(), more].concat()
    };
    check(&with(&[back(2)]), &["no chip is marked `dot`"]);
    check(&with(&[back(2), back(5)]), &[]);
    check(&with(&[back(4), back(2)]), &[]);
}

fn swap(part: &str, with: &str) -> Line {
    let (part, with, there) = (part.to_string(), with.to_string(), part.to_string());
    Line::Act {
        done: Act::Swap { part, with, there },
    }
}

#[test]
fn a_swap_takes_marks_and_gaps_along() {
    let start = [
        ("T-01", machine()),
        ("T-02", machine()),
        ("T-01", pull("U1", Some("dot"))),
        ("T-01", fit("U1", "dot")),
    ];
    let with = |more: &[(&str, Line)], problems: &[&str]| check(&[&start, more].concat(), problems);
    let there = |pile: &Pile, tag: &str| {
        let (machine, part) = (tag.to_string(), "U1".to_string());
        assert_eq!(pile.marks["dot"], Place::In { machine, part });
    };
    let pile = with(&[("T-01", swap("U1", "T-02"))], &[]);
    there(&pile, "T-02");
    assert_eq!(pile.guest_at("T-01", "U1"), Some(("T-02", "U1")));
    let two = pile.machine("T-02").unwrap();
    assert_eq!((two.epoch, two.opened, two.lines.len()), (1, 5, 2));
    let pile = with(
        &[("T-01", swap("U1", "T-02")), ("T-02", swap("U1", "T-01"))],
        &[],
    );
    there(&pile, "T-01");
    assert_eq!(pile.guest_at("T-01", "U1"), None);
    let pile = with(
        &[("T-01", pull("U1", None)), ("T-02", swap("U1", "T-01"))],
        &[],
    );
    assert!(pile.machine("T-02").unwrap().empty.contains("U1"));
    assert_eq!(pile.marks["dot"], Place::Loose);
    with(
        &[("T-01", swap("U9", "T-02"))],
        &["U9 of T-01 and U9 of T-02 are both empty"],
    );
    with(
        &[("T-01", swap("U1", "T-01"))],
        &["U1 of T-01 cannot change places with itself"],
    );
    with(&[("T-01", swap("U1", "T-07"))], &["T-07 is not taken in"]);
    // the swap taken back leaves the chip where the later line does not look for it
    with(
        &[
            ("T-01", swap("U1", "T-02")),
            ("T-02", pull("U1", None)),
            ("T-01", fit("U9", "dot")),
            ("", back(5)),
        ],
        &["the chip marked `dot` sits in U1 of T-01"],
    );
}

#[test]
fn a_machine_is_put_away_once() {
    let shelved = |away| ("T-01", Line::Shelved { away });
    let pile = check(&[("T-01", machine()), shelved(true)], &[]);
    assert_eq!(pile.on_bench().count(), 0);
    let pile = check(&[("T-01", machine()), shelved(true), shelved(false)], &[]);
    assert_eq!(pile.on_bench().count(), 1);
    check(
        &[("T-01", machine()), shelved(true), shelved(true)],
        &["T-01 is on the shelf already"],
    );
}

#[test]
fn tags_are_in_their_order() {
    let pile = check(
        &[("T-10", machine()), ("T-9", machine()), ("A", machine())],
        &[],
    );
    let tags: Vec<&str> = pile
        .machines
        .iter()
        .map(|machine| machine.tag.as_str())
        .collect();
    assert_eq!(tags, ["A", "T-9", "T-10"]);
    assert_eq!(tag_parts("T-07"), Some(("T-", 7, 2)));
    assert_eq!(tag_parts("ü7"), Some(("ü", 7, 1)));
    assert_eq!(tag_parts("T"), None);
}
