//! Made-up views for the tests of this folder: every kind of line once.

use workshop::views::{
    Again, Aside, Band, Bench, BenchRow, Cell, CellState, CheckHead, CurvePoint, DecisionView,
    Doubt, ExplanationView, JobCard, JournalRow, Ledger, MoneyLine, NextStep, ParcelLine,
    ParcelView, PlanView, Progress, RoundLook, RoundToMake, RoundsView, RuleView, SettledView,
    Shelve, SumRow, Suspect,
};

fn check(id: &str, title: &str, at: &str, limits: Option<&str>) -> CheckHead {
    CheckHead {
        id: id.into(),
        title: title.into(),
        at: at.into(),
        limits: limits.map(Into::into),
        unit: None,
        how: "Probe against ground.".into(),
        caution: (id == "reset").then(|| "The tip must not slip to pin 25.".into()),
        words: Vec::new(),
    }
}

fn cell(state: CellState, text: &str) -> Cell {
    Cell {
        state,
        text: text.into(),
        band: None,
    }
}

fn row(tag: &str, cells: Vec<Cell>, says: &str, state: &str) -> BenchRow {
    BenchRow {
        tag: tag.into(),
        cells,
        says: says.into(),
        chance: None,
        state: state.into(),
        shelve: (tag == "T-02").then(|| shelve(tag)),
    }
}

fn shelve(tag: &str) -> Shelve {
    Shelve {
        tag: tag.into(),
        sentence: format!(
            "{tag} could be shelved for now: work on it brings 3.10 an hour at best, work on a fresh machine for 30.00 brings 7.80."
        ),
        brief: "Could be shelved: 3.10 an hour at best, a fresh machine 7.80.".into(),
        waiting: None,
        here: "3.10".into(),
        fresh: "7.80".into(),
    }
}

fn again() -> Again {
    Again {
        check: "picture".into(),
        tag: "T-02".into(),
        sentence: "Four machines showed the same for picture: no sync. Take it once more on T-02 with other leads.".into(),
    }
}

/// Two rounds, one instead, one instrument that is missing.
pub(super) fn rounds() -> RoundsView {
    let look = |check: &str, title: &str, tags: &[&str], minutes: f64, saves: &str| RoundLook {
        act: None,
        check: check.into(),
        title: title.into(),
        how: "Probe against ground.".into(),
        caution: (check == "reset").then(|| "The tip must not slip to pin 25.".into()),
        tags: tags.iter().map(ToString::to_string).collect(),
        minutes,
        saves: saves.into(),
    };
    let round = |title: &str, set_ups: &[&str], looks: Vec<RoundLook>| RoundToMake {
        title: title.into(),
        set_ups: set_ups.iter().map(ToString::to_string).collect(),
        set_up_minutes: 2.0 * set_ups.len() as f64,
        minutes: 2.0 * set_ups.len() as f64 + looks.iter().map(|look| look.minutes).sum::<f64>(),
        saves: "9.30".into(),
        saves_an_hour: "50.70".into(),
        missing: None,
        looks,
    };
    let sound = || look("sound", "Sound", &["T-02", "T-05"], 2.0, "5.10");
    let reset = || look("reset", "Reset at U1 pin 26", &["T-03"], 3.0, "4.20");
    RoundsView {
        heading: "Next round: sound on T-02 and T-05, 4 min, saves 9.30.".into(),
        summary: "Two rounds with a look at three machines, 11 min in all.".into(),
        again: vec![again()],
        rounds: vec![
            round("Sound on T-02 and T-05", &["powered"], vec![sound()]),
            round(
                "Reset at U1 pin 26 on T-03",
                &["lid off", "oscilloscope"],
                vec![reset()],
            ),
        ],
        instead: vec![round(
            "Reset at U1 pin 26 on T-03",
            &["lid off"],
            vec![reset()],
        )],
        lacking: vec![RoundToMake {
            missing: Some("chip tester".into()),
            ..round("Latch in the tester on T-03", &["chip tester"], Vec::new())
        }],
        aside: vec![Aside {
            tags: vec!["T-01".into()],
            sentence: "T-01 looks whole or works.".into(),
        }],
        shelve: vec![shelve("T-02")],
        note: "A set-up is paid once for all machines of a round.".into(),
    }
}

fn sum(amount: &str, text: &str) -> SumRow {
    SumRow {
        amount: amount.into(),
        text: text.into(),
    }
}

pub(super) fn bench() -> Bench {
    use CellState::{Bad, Doubt, Good, Skipped, ToTake};
    Bench {
        heading: "Bench plan, round 2".into(),
        summary: "Four machines. Now: reset at U1 pin 26, 80 to 300 ms.".into(),
        now: Some(2),
        checks: vec![
            check("picture", "Picture on the set", "", None),
            check("+5v", "+5 V", "C12", Some("4.75 to 5.25 V")),
            check("reset", "Reset", "U1 pin 26", Some("80 to 300 ms")),
        ],
        rows: vec![
            row(
                "T-01",
                vec![
                    cell(Good, "start"),
                    cell(Good, "5.02 V"),
                    cell(Good, "142 ms"),
                ],
                "Works since U12 was reseated.",
                "working",
            ),
            row(
                "T-02",
                vec![cell(Bad, "no sync"), cell(Bad, "4.61 V"), cell(ToTake, "")],
                "Supply: U30 or the brick, 84 %.",
                "on the bench",
            ),
            row(
                "T-03",
                vec![
                    cell(Doubt, "cannot tell"),
                    cell(Good, "4.98 V"),
                    cell(Skipped, ""),
                ],
                "Program runs, picture does not: U9, 41 %.",
                "waiting",
            ),
            row(
                "T-06",
                vec![cell(Skipped, ""), cell(Skipped, ""), cell(Skipped, "")],
                "Battery leaked. Not powered.",
                "donor",
            ),
        ],
        again: vec![again()],
        shelved: Vec::new(),
        progress: Progress {
            taken: 7,
            skipped: 4,
            to_take: 1,
            minutes: 8.0,
        },
        money: MoneyLine {
            paid: "270.00".into(),
            spends: "73.67".into(),
            parcels: 2,
            minutes: 235.0,
            working: 3.28,
            machines: 4,
            worth: "829.30".into(),
        },
    }
}

pub(super) fn card() -> JobCard {
    let suspect = |part: &str, title: &str, why: &str, chance: f64, was: Option<f64>| Suspect {
        part: part.into(),
        mode: "dead".into(),
        title: title.into(),
        evidence: Vec::new(),
        why: why.into(),
        chance,
        was,
    };
    let explanation = |title: &str, share: f64| ExplanationView {
        title: title.into(),
        modes: Vec::new(),
        unmodelled: false,
        share,
    };
    JobCard {
        tag: "T-03".into(),
        board: "Ostrel 8, revision 2".into(),
        paid: "30.00".into(),
        minutes_spent: 41.0,
        heading: "The program runs, the picture stays black: most likely U9.".into(),
        state: "on the bench".into(),
        exchanged: Vec::new(),
        p_findings: 0.001,
        left_out: Vec::new(),
        aside: None,
        doubt: Some(Doubt {
            check: "dot-clock".into(),
            before: "The dot clock of".into(),
            text: "8.31".into(),
            after: "does not fit the rest: with all other findings it had a chance of 1 in 240."
                .into(),
            chance: 1.0 / 240.0,
            band: Some(Band {
                low: Some(7.98e6),
                high: Some(8.02e6),
                value: 8.31e6,
                half_width: 1e3,
                outside: 1.0,
                low_text: Some("7.98".into()),
                high_text: Some("8.02".into()),
                value_text: "8.31 MHz".into(),
                sentence: "8.31 MHz, outside 7.98 to 8.02 MHz".into(),
            }),
        }),
        next: vec![
            NextStep {
                act: None,
                check: "dot-clock".into(),
                title: "Take the dot clock again at U9 pin 22.".into(),
                how: "Probe at ×10, ground clip at C31.".into(),
                caution: Some("Clip the ground first.".into()),
                minutes: 2.0,
                saves: "7.90".into(),
                saves_later: None,
                missing: None,
                outcomes: vec!["within (62 %): then U9 is dead, 91 %".into()],
            },
            NextStep {
                act: None,
                check: "sync".into(),
                title: "Look at sync on U14 pin 4.".into(),
                how: String::new(),
                caution: None,
                minutes: 4.5,
                saves: "3.10".into(),
                saves_later: None,
                missing: Some("oscilloscope".into()),
                outcomes: Vec::new(),
            },
        ],
        next_note: "Saved against fitting suspects one at a time, at 12.00 an hour.".into(),
        course: "Fit U9, then U14: 31 min and 24.80 on average.".into(),
        shelve: Some(shelve("T-03")),
        suspects: vec![
            suspect(
                "U9",
                "U9, the video controller, is dead.",
                "Black with three voices asks for it; the reseat at 20:05 did not help.",
                0.63,
                Some(0.41),
            ),
            suspect("U9", "The socket of U9 makes no contact.", "", 0.15, None),
            suspect("R4", "R4 is open.", "", 0.004, None),
            suspect("R5", "R5 is open.", "", 0.000_1, None),
        ],
        unmodelled: 0.03,
        unseen: workshop::views::Unseen {
            functions: vec!["tape".to_owned()],
            parts: vec!["J6".to_owned()],
            sentence: "No finding has spoken yet of tape: one of 30 functions.".to_owned(),
        },
        explanations: vec![
            explanation("U9 dead, all else good.", 0.58),
            explanation("U9 and U14 both dead.", 0.04),
        ],
        others: 0.38,
        modes: Vec::new(),
        functions: Vec::new(),
        drawing: None,
        checks: Vec::new(),
        journal: vec![
            journal(11, "Picture", "black", "", false, None),
            journal(12, "+5 V at C12", "4.98 V", "± 0.03", false, None),
            journal(
                13,
                "Reseated U12.",
                "",
                "",
                true,
                Some("taken back at 20:04 by Ines"),
            ),
        ],
    }
}

fn journal(
    line: i64,
    text: &str,
    entered: &str,
    after: &str,
    act: bool,
    taken_back: Option<&str>,
) -> JournalRow {
    JournalRow {
        line,
        date: "Thu 12 Nov 2026".into(),
        time: "19:13".into(),
        who: "Ines".into(),
        text: text.into(),
        entered: entered.into(),
        after: after.into(),
        act,
        taken_back: taken_back.map(Into::into),
    }
}

pub(super) fn plan() -> PlanView {
    let decision = |tag: &str, money: &str, title: &str, text: &str, chance: f64| DecisionView {
        tag: tag.into(),
        decision: "repair".into(),
        money: money.into(),
        title: title.into(),
        text: text.into(),
        chance,
        minutes: 25.0,
        worth: "102.30".into(),
    };
    PlanView {
        heading: "Spend 73.67 and two evenings; seven of nine should work.".into(),
        proof: "Proven: nothing better exists within 120.00 and three evenings.".into(),
        proven: true,
        improving: false,
        gap: "0.00".into(),
        money_limit: Some("120.00".into()),
        evenings_limit: Some(3.0),
        working_limit: None,
        evening_minutes: 150.0,
        settled: vec![SettledView {
            typed: "T-06 donor".into(),
            text: "T-06 is given up; that costs nothing.".into(),
            cost: "0.00".into(),
        }],
        decisions: vec![
            decision("T-01", "0.00", "Works.", "", 0.97),
            decision(
                "T-02",
                "14.50",
                "Repair now.",
                "A new certified 9 V supply, then regulator U30 only if 5 V is still low.",
                0.93,
            ),
        ],
        to_build: Vec::new(),
        other_costs: vec![sum(
            "17.47",
            "Postage 11.40 and import tax 6.07, in two parcels.",
        )],
        sum: vec![
            sum("829.30", "worth when done, nine machines"),
            sum("−349.27", "money and minutes"),
            sum("480.03", "left over"),
        ],
        curve: vec![
            CurvePoint {
                money: 0.0,
                left_over: 300.0,
                working: 2.0,
                chosen: false,
                proven: true,
            },
            CurvePoint {
                money: 73.67,
                left_over: 480.03,
                working: 7.28,
                chosen: true,
                proven: true,
            },
            CurvePoint {
                money: 90.0,
                left_over: 470.0,
                working: 7.3,
                chosen: false,
                proven: false,
            },
        ],
        curve_complete: true,
        rules: vec![RuleView {
            title: "cheapest first".into(),
            money: 96.2,
            left_over: 431.1,
            working: 6.9,
            loses: "−48.93".into(),
            proven: true,
        }],
        spends: "73.67".into(),
        minutes: 235.0,
        working: 7.28,
        left_over: "480.03".into(),
        changes: vec![sum(
            "27.39",
            "A used U9 dearer than this: buy new old stock.",
        )],
        spares: vec![sum("1.20", "One more 4164 for 3.90.")],
        others: vec![sum("−82.80", "T-02 left as it is.")],
        notes: vec!["Nobody sells U14.".into()],
    }
}

pub(super) fn ledger() -> Ledger {
    let line = |amount: &str, text: &str, note: &str| ParcelLine {
        amount: amount.into(),
        text: text.into(),
        note: note.into(),
    };
    Ledger {
        heading: "One parcel, 32.70 landed.".into(),
        proof: "Proven: nothing cheaper exists among the offers of four vendors asked so far."
            .into(),
        proven: true,
        gap: "0.00".into(),
        parcels: vec![ParcelView {
            letter: "A".into(),
            vendor: "northgate".into(),
            landed: "32.70".into(),
            arrives: "Tuesday 17 November".into(),
            waiting: vec!["T-02".into(), "T-04".into()],
            lines: vec![
                line("14.50", "1 × 9 V 1.5 A supply, certified", "for T-02"),
                line(
                    "11.70",
                    "3 × 4164, 150 ns at 3.90",
                    "for T-04 two, one spare",
                ),
                line("6.50", "postage; free from 60.00, that is 33.80 away", ""),
            ],
            ordered: Some("on 12 Nov by Ines".into()),
            received: None,
            to_come: Vec::new(),
            vendor_id: "northgate".into(),
        }],
        landed: "32.70".into(),
        remains: Some("87.30".into()),
        money_limit: Some("120.00".into()),
        why: vec![sum("+4.10", "The supply from kettle & sons instead.")],
        turns: vec![SumRow {
            amount: "27.39".into(),
            text: "Video controller U9 at farside parts, 24.00 now: up to here the choice stays.".into(),
        }],
        late: vec![SumRow {
            amount: "88.10".into(),
            text: "Parcel A, northgate: while it is late, T-02 waits; mended, it is worth this much more.".into(),
        }],
        left_out: vec![("kettle".into(), "kettle & sons".into())],
        bother: "A parcel also counts 3.00 of bother when choosing; it is not in the sums.".into(),
        ask_again: vec![(
            18,
            "The price of U9 at farside parts was seen on 25 October.".into(),
        )],
        unmet: vec!["U14, picture output".into()],
    }
}
