//! Views of an invented pile, for tests and for looking at the pages: the program reckons none of them.

#[path = "sample_desk.rs"]
mod desk;

use workshop::views::{
    Again, Aside, Band, Bench, BenchRow, BoardChoice, Cell, CellState, CheckHead, CurvePoint,
    DecisionView, Doubt, Drawing, DrawnPart, ExplanationView, Frame, JobCard, JournalRow, Ledger,
    MoneyLine, NextStep, ParcelLine, ParcelView, PlanView, Progress, RoundLook, RoundToMake,
    RoundsView, RuleView, SettledView, Shelve, SumRow, Suspect, TakenIn, Understood, Word,
};
use workshop::{Error, ErrorKind};

use crate::pages::{
    Refused, Said, Setting, bench, card, missing, offers, parcels, plan, receive, rounds, stock,
    strip, take_in,
};

/// Workshop, hour and person.
pub(crate) fn frame() -> Frame {
    Frame {
        workshop: "Harbour Street".into(),
        date: "Thu 12 Nov 2026".into(),
        time: "19:36".into(),
        who: "Pavel".into(),
        currency: "EUR".into(),
    }
}

/// A reading with its limits: `4.98 V` in `4.75` to `5.25`.
fn band(
    low: Option<f64>,
    high: Option<f64>,
    value: f64,
    half_width: f64,
    unit: &str,
    digits: usize,
) -> Band {
    let out = low.is_some_and(|low| value < low) || high.is_some_and(|high| value > high);
    let text = |limit: f64| format!("{limit}");
    let value_text = format!("{value:.digits$} {unit}");
    let limits = match (low, high) {
        (Some(low), Some(high)) => format!("{low} to {high} {unit}"),
        (Some(low), None) => format!("at least {low} {unit}"),
        (None, Some(high)) => format!("at most {high} {unit}"),
        (None, None) => String::new(),
    };
    Band {
        low,
        high,
        value,
        half_width,
        outside: if out { 1.0 } else { 0.0 },
        low_text: low.map(text),
        high_text: high.map(text),
        sentence: format!(
            "{value_text}, {} {limits}",
            if out { "outside" } else { "within" }
        ),
        value_text,
    }
}

fn read(low: f64, high: f64, value: f64, half_width: f64, unit: &str, digits: usize) -> Cell {
    let band = band(Some(low), Some(high), value, half_width, unit, digits);
    Cell {
        state: band.state(),
        text: band.value_text.clone(),
        band: Some(band),
    }
}

fn word(state: CellState, text: &str) -> Cell {
    Cell {
        state,
        text: text.into(),
        band: None,
    }
}

fn head(
    id: &str,
    title: &str,
    at: &str,
    limits: Option<&str>,
    unit: Option<&str>,
    words: &[(&str, &str)],
) -> CheckHead {
    let common = [("cannot", "cannot tell"), ("skip", "skip")];
    CheckHead {
        id: id.into(),
        title: title.into(),
        at: at.into(),
        limits: limits.map(Into::into),
        unit: unit.map(Into::into),
        how: String::new(),
        caution: None,
        words: words
            .iter()
            .chain(&common)
            .map(|(id, title)| Word {
                id: (*id).into(),
                title: (*title).into(),
            })
            .collect(),
    }
}

fn checks() -> Vec<CheckHead> {
    let mut checks = vec![
        head(
            "picture",
            "Picture",
            "on the set",
            None,
            None,
            &[
                ("start", "start-up screen"),
                ("black", "blank, black"),
                ("white", "blank, white"),
                ("garbage", "garbage"),
                ("nosync", "no sync"),
            ],
        ),
        head(
            "sound",
            "Sound",
            "at start",
            None,
            None,
            &[
                ("three", "three voices"),
                ("two", "two voices"),
                ("none", "none"),
            ],
        ),
        head(
            "+5v",
            "+5 V",
            "at C12",
            Some("4.75 to 5.25 V"),
            Some("V"),
            &[],
        ),
        head(
            "current",
            "Current",
            "9 V lead",
            Some("0.55 to 0.95 A"),
            Some("A"),
            &[],
        ),
        head(
            "clock",
            "Clock",
            "U1 pin 6",
            Some("3.49 to 3.51 MHz"),
            Some("MHz"),
            &[("none", "no signal")],
        ),
        head(
            "reset",
            "Reset",
            "U1 pin 26",
            Some("80 to 300 ms"),
            Some("ms"),
            &[("none", "not released")],
        ),
    ];
    checks[5].how = "Probe U1 pin 26 against ground, switch on, and time the rise.".into();
    checks
}

/// The bench plan in its second round.
pub(crate) fn bench_view() -> Bench {
    use CellState::{Bad, Doubt, Good, Skipped, ToTake};
    let v = |value| read(4.75, 5.25, value, 0.03, "V", 2);
    let a = |value| read(0.55, 0.95, value, 0.01, "A", 2);
    let c = || read(3.49, 3.51, 3.5, 0.0004, "MHz", 3);
    let r = |value| read(80.0, 300.0, value, 4.0, "ms", 0);
    let open = || word(ToTake, "");
    let row =
        |tag: &str, cells: [Cell; 6], says: &str, chance: Option<f64>, state: &str| BenchRow {
            tag: tag.into(),
            cells: cells.into(),
            says: says.into(),
            chance,
            state: state.into(),
            shelve: (tag == "T-06").then(|| shelve(tag)),
        };
    let skipped = || word(Skipped, "skipped");
    Bench {
        heading: "Bench plan, round 2".into(),
        summary:
            "Nine machines, cold, lids off, own supplies. Now: reset at U1 pin 26, 80 to 300 ms."
                .into(),
        now: Some(5),
        checks: checks(),
        rows: vec![
            row(
                "T-01",
                [
                    word(Good, "start"),
                    word(Good, "three voices"),
                    v(5.02),
                    a(0.71),
                    c(),
                    r(142.0),
                ],
                "Works since U12 was reseated. Watch it warm.",
                None,
                "waiting",
            ),
            row(
                "T-02",
                [
                    word(Bad, "no sync"),
                    word(Doubt, "cannot tell"),
                    v(4.61),
                    a(1.08),
                    c(),
                    r(150.0),
                ],
                "Supply: U30 or the brick, 84 %. Too much current as well.",
                Some(0.84),
                "waiting",
            ),
            row(
                "T-03",
                [
                    word(Bad, "black"),
                    word(Good, "three voices"),
                    v(4.98),
                    a(0.74),
                    c(),
                    r(139.0),
                ],
                "Program runs, picture does not: U9, 41 %.",
                Some(0.41),
                "waiting",
            ),
            row(
                "T-04",
                [
                    word(Bad, "garbage"),
                    word(Bad, "none"),
                    v(5.01),
                    a(0.69),
                    c(),
                    r(144.0),
                ],
                "RAM, 88 %: bits 2 and 5, so U16 and U17.",
                Some(0.88),
                "waiting",
            ),
            row(
                "T-05",
                [
                    word(Bad, "white"),
                    word(Bad, "none"),
                    v(5.04),
                    a(0.52),
                    word(Bad, "none"),
                    open(),
                ],
                "No clock: X1 or U13, 81 %. Low current fits.",
                Some(0.81),
                "waiting",
            ),
            row(
                "T-06",
                [
                    skipped(),
                    skipped(),
                    skipped(),
                    skipped(),
                    skipped(),
                    skipped(),
                ],
                "Battery leaked. Not powered; parts for others.",
                None,
                "donor",
            ),
            row(
                "T-07",
                [
                    word(Good, "start"),
                    word(Good, "three voices"),
                    v(5.0),
                    a(0.7),
                    c(),
                    open(),
                ],
                "Looks whole. Next: the proof.",
                None,
                "waiting",
            ),
            row(
                "T-08",
                [
                    word(Good, "start"),
                    word(Bad, "two voices"),
                    v(4.99),
                    a(0.73),
                    c(),
                    open(),
                ],
                "One voice missing: sound board, 92 %.",
                Some(0.92),
                "waiting",
            ),
            row(
                "T-09",
                [
                    word(Bad, "black"),
                    word(Good, "three voices"),
                    v(5.03),
                    a(0.58),
                    c(),
                    open(),
                ],
                "U9 is absent. Nothing else speaks against it.",
                None,
                "waiting",
            ),
        ],
        again: Vec::new(),
        shelved: Vec::new(),
        progress: Progress {
            taken: 44,
            skipped: 6,
            to_take: 4,
            minutes: 8.0,
        },
        money: MoneyLine {
            paid: "270.00".into(),
            spends: "73.67".into(),
            parcels: 2,
            minutes: 235.0,
            working: 7.28,
            machines: 9,
            worth: "829.30".into(),
        },
    }
}

/// How `138` would be read in the open cell.
fn understood() -> Vec<Understood> {
    let cell = read(80.0, 300.0, 138.0, 4.0, "ms", 0);
    vec![Understood {
        check: "reset".into(),
        sentence: "reset, U1 pin 26, 138 ms ± 4: within 80 to 300 ms".into(),
        cell,
        alternatives: vec![Word {
            id: "none".into(),
            title: "not released".into(),
        }],
    }]
}

fn suspect(part: &str, mode: &str, title: &str, why: &str, chance: f64, was: f64) -> Suspect {
    Suspect {
        part: part.into(),
        mode: mode.into(),
        title: title.into(),
        evidence: Vec::new(),
        why: why.into(),
        chance,
        was: Some(was),
    }
}

fn step(check: &str, title: &str, how: &str, minutes: f64, saves: &str) -> NextStep {
    NextStep {
        act: None,
        check: check.into(),
        title: title.into(),
        how: how.into(),
        caution: None,
        minutes,
        saves: saves.into(),
        saves_later: None,
        missing: None,
        outcomes: Vec::new(),
    }
}

fn line(line: i64, time: &str, who: &str, text: &str, entered: &str, after: &str) -> JournalRow {
    JournalRow {
        line,
        date: "Thu 12 Nov 2026".into(),
        time: time.into(),
        who: who.into(),
        text: text.into(),
        entered: entered.into(),
        after: after.into(),
        act: false,
        taken_back: None,
    }
}

fn journal() -> Vec<JournalRow> {
    let taken_back = JournalRow {
        act: true,
        taken_back: Some("taken back at 20:04 by Ines".into()),
        ..line(38, "20:03", "Ines", "Reseated U12.", "", "")
    };
    let act = JournalRow {
        act: true,
        ..line(
            40,
            "20:05",
            "Ines",
            "Reseated U9.",
            "",
            "What touches U9 counts anew from here.",
        )
    };
    vec![
        line(21, "19:13", "Ines", "Picture", "black", ""),
        line(22, "19:14", "Ines", "Sound", "three voices", ""),
        line(27, "19:20", "Ines", "+5 V at C12", "4.98 V", "± 0.03"),
        line(
            28,
            "19:24",
            "Ines",
            "Current at the 9 V lead",
            "0.74 A",
            "± 0.01",
        ),
        line(
            31,
            "19:30",
            "Pavel",
            "Clock at U1 pin 6",
            "3.500 MHz",
            "± 0.0004",
        ),
        line(
            33,
            "19:33",
            "Pavel",
            "Reset released after",
            "139 ms",
            "± 4",
        ),
        taken_back,
        act,
        line(41, "20:07", "Ines", "Picture", "black", ""),
        line(
            43,
            "20:11",
            "Pavel",
            "Dot clock at U9 pin 22",
            "8.31 MHz",
            "in doubt",
        ),
    ]
}

fn drawing() -> Drawing {
    let plain = |area| DrawnPart {
        part: String::new(),
        area,
        ranks: Vec::new(),
    };
    let part = |part: &str, area, ranks: &[usize]| DrawnPart {
        part: part.into(),
        area,
        ranks: ranks.into(),
    };
    Drawing {
        width: 240.0,
        height: 136.0,
        parts: vec![
            plain([11.0, 11.0, 43.0, 16.0]),
            plain([11.0, 35.0, 24.0, 13.0]),
            plain([11.0, 82.0, 67.0, 18.0]),
            plain([11.0, 107.0, 67.0, 18.0]),
            plain([91.0, 82.0, 22.0, 43.0]),
            plain([120.0, 82.0, 22.0, 43.0]),
            plain([149.0, 82.0, 22.0, 43.0]),
            plain([184.0, 82.0, 45.0, 18.0]),
            plain([184.0, 107.0, 45.0, 18.0]),
            part("U9", [92.0, 38.0, 66.0, 26.0], &[1, 2]),
            part("U14", [178.0, 34.0, 51.0, 26.0], &[3]),
            part("X2", [62.0, 48.0, 14.0, 9.0], &[4]),
        ],
        sentence:
            "Board outline: U9 and its socket hold suspects 1 and 2, U14 suspect 3, X2 suspect 4"
                .into(),
    }
}

/// The job card of a machine whose picture stays black.
fn card_view() -> JobCard {
    let mut checks = checks();
    checks.insert(
        0,
        head(
            "dot-clock",
            "Dot clock",
            "U9 pin 22",
            Some("7.98 to 8.02 MHz"),
            Some("MHz"),
            &[("none", "no signal")],
        ),
    );
    checks.push(head(
        "sync",
        "Sync level",
        "U14 pin 4",
        Some("0.25 to 0.35 V"),
        Some("V"),
        &[("none", "no signal")],
    ));
    let mut third = step(
        "sync",
        "Look at sync on U14 pin 4.",
        "Level 0.25 to 0.35 V.",
        4.0,
        "3.10",
    );
    third.missing = Some("an oscilloscope".into());
    let mut second = step(
        "try-u9",
        "Try this U9 in the mule.",
        "Keep its mark.",
        9.0,
        "6.40",
    );
    second.caution = Some("Switch off and wait ten seconds before a chip moves.".into());
    second.outcomes = vec![
        "black (62 %): then U9.dead, 97 %".into(),
        "picture (38 %): then the socket of U9, 51 %".into(),
    ];
    JobCard {
        tag: "T-03".into(),
        board: "Ostrel 8, revision 2".into(),
        paid: "30.00".into(),
        minutes_spent: 41.0,
        heading: "The program runs, the picture stays black: most likely U9.".into(),
        state: "waiting".into(),
        exchanged: Vec::new(),
        p_findings: 0.0004,
        left_out: Vec::new(),
        aside: None,
        doubt: Some(Doubt {
            check: "dot-clock".into(),
            before: "The dot clock of".into(),
            text: "8.31 MHz".into(),
            after: "does not fit the rest: with all other findings it had a chance of 1 in 240.".into(),
            chance: 0.004_17,
            band: Some(band(Some(7.98), Some(8.02), 8.31, 0.001, "MHz", 2)),
        }),
        next: vec![
            step("dot-clock", "Take the dot clock again at U9 pin 22.", "Probe at ×10, ground clip at C31.", 2.0, "7.90"),
            second,
            third,
        ],
        next_note: "Saved against fitting suspects one at a time, at 12.00 an hour.".into(),
        course: "Fit a used U9: 24.00 and 20 min, works after with 71 %, worth 45.10 more than shelving it.".into(),
        shelve: Some(shelve("T-03")),
        suspects: vec![
            suspect("U9", "dead", "U9, the video controller, is dead.", "Black with three voices asks for it; the reseat at 20:05 did not help.", 0.63, 0.41),
            suspect("U9", "socket", "The socket of U9 makes no contact.", "Reseating cures seven in ten of these; this would be one of the three.", 0.15, 0.22),
            suspect("U14", "dead", "U14, the picture output, is dead.", "Only sync at pin 4 can tell it from U9.", 0.14, 0.16),
            suspect("X2", "off", "X2, the dot clock crystal, is off.", "", 0.08, 0.09),
        ],
        unmodelled: 0.03,
        unseen: workshop::views::Unseen { functions: vec!["tape".to_owned()], parts: vec!["J6".to_owned()], sentence: "No finding has spoken yet of tape: one of 30 functions.".to_owned() },
        explanations: [("U9 dead, all else good.", 0.58), ("U9 socket open, all else good.", 0.14), ("U14 dead, all else good.", 0.09), ("X2 off frequency, all else good.", 0.07), ("U9 and U14 both dead.", 0.04)]
            .map(|(title, share)| ExplanationView { title: title.into(), modes: Vec::new(), unmodelled: false, share })
            .into(),
        others: 0.08,
        modes: Vec::new(),
        functions: Vec::new(),
        drawing: Some(drawing()),
        checks,
        journal: journal(),
    }
}

fn sum(rows: &[(&str, &str)]) -> Vec<SumRow> {
    rows.iter()
        .map(|(amount, text)| SumRow {
            amount: (*amount).into(),
            text: (*text).into(),
        })
        .collect()
}

fn decision(
    tag: &str,
    what: &str,
    [money, worth]: [&str; 2],
    [title, text]: [&str; 2],
    chance: f64,
    minutes: f64,
) -> DecisionView {
    DecisionView {
        tag: tag.into(),
        decision: what.into(),
        money: money.into(),
        title: title.into(),
        text: text.into(),
        chance,
        minutes,
        worth: worth.into(),
    }
}

/// The plan over the pile.
fn plan_view() -> PlanView {
    let curve = [
        (0.0, 188.6, 3.76),
        (11.1, 259.6, 4.55),
        (14.3, 263.1, 4.6),
        (18.9, 340.6, 5.45),
        (25.6, 342.4, 5.46),
        (28.8, 345.9, 5.5),
        (33.39, 423.4, 6.38),
        (38.7, 424.6, 6.39),
        (68.37, 478.9, 7.27),
        (73.67, 480.03, 7.28),
    ];
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
            decision(
                "T-01",
                "works",
                ["0.00", "115.00"],
                ["Works.", "Reseated; keep an eye on it warm. Worth 115.00."],
                0.96,
                0.0,
            ),
            decision(
                "T-02",
                "repair",
                ["14.50", "102.30"],
                [
                    "Repair now.",
                    "A new certified 9 V supply, then U30 only if 5 V is still low. Works after with 93 %, worth 102.30, 25 min.",
                ],
                0.93,
                25.0,
            ),
            decision(
                "T-03",
                "repair",
                ["0.00", "92.40"],
                [
                    "Repair now.",
                    "The U9 of T-06. Works after with 84 %, worth 92.40, 55 min.",
                ],
                0.84,
                55.0,
            ),
            decision(
                "T-04",
                "repair",
                ["7.80", "96.80"],
                [
                    "Repair now.",
                    "Two 4164 in place of U16 and U17, modern equivalents. Works after with 88 %, worth 96.80, 40 min.",
                ],
                0.88,
                40.0,
            ),
            decision(
                "T-05",
                "repair",
                ["4.60", "89.10"],
                [
                    "Repair now.",
                    "Crystal X1 and U13 together; they cost less than telling them apart. Works after with 81 %, worth 89.10, 35 min.",
                ],
                0.81,
                35.0,
            ),
            decision(
                "T-06",
                "donor",
                ["0.00", "18.00"],
                [
                    "Give up as a donor.",
                    "U9 goes to T-03; keyboard and case are sold. Brings 18.00, 30 min.",
                ],
                0.0,
                30.0,
            ),
            decision(
                "T-07",
                "works",
                ["0.00", "120.00"],
                ["Works.", "Only the proof is missing. Worth 120.00."],
                0.99,
                0.0,
            ),
            decision(
                "T-08",
                "hold",
                ["0.00", "38.00"],
                [
                    "Hold.",
                    "Shelve it until a sound board is built; 71 % that nothing else is wrong.",
                ],
                0.08,
                0.0,
            ),
            decision(
                "T-09",
                "repair",
                ["24.00", "94.50"],
                [
                    "Repair now.",
                    "A used original U9; nothing else speaks against it. Works after with 90 %, worth 94.50, 20 min.",
                ],
                0.9,
                20.0,
            ),
        ],
        to_build: Vec::new(),
        other_costs: sum(&[
            (
                "5.30",
                "Spares: a third 4164 and a regulator; they save a second postage.",
            ),
            (
                "17.47",
                "Postage 11.40 and import VAT 6.07, in two parcels.",
            ),
        ]),
        sum: sum(&[
            ("829.30", "worth when done, nine machines"),
            ("−235.00", "already there: T-01 and T-07"),
            ("+6.40", "second postage saved by spares"),
            ("−73.67", "money"),
            ("−47.00", "235 min at 12.00 an hour"),
            ("480.03", "left over"),
        ]),
        curve: curve
            .iter()
            .enumerate()
            .map(|(n, (money, left_over, working))| CurvePoint {
                money: *money,
                left_over: *left_over,
                working: *working,
                chosen: n + 1 == curve.len(),
                proven: n != 4,
            })
            .collect(),
        curve_complete: true,
        rules: [
            ("no donor", 102.9, 458.99, "−21.04"),
            ("cheapest first", 96.2, 431.1, "−48.93"),
            ("all used originals", 131.3, 391.55, "−88.48"),
        ]
        .map(|(title, money, left_over, loses)| RuleView {
            title: title.into(),
            money,
            left_over,
            working: 6.9,
            loses: loses.into(),
            proven: true,
        })
        .into(),
        spends: "73.67".into(),
        minutes: 235.0,
        working: 7.28,
        left_over: "480.03".into(),
        changes: sum(&[
            (
                "27.39",
                "A used U9 dearer than this: buy new old stock at kettle & sons.",
            ),
            (
                "73.67",
                "With less than this T-09 is left as it is and 1.13 less is left over.",
            ),
        ]),
        spares: sum(&[(
            "1.20",
            "One more 4164 for 3.90: another will be wanted with 41 %.",
        )]),
        others: sum(&[
            ("−82.80", "T-02 left as it is."),
            ("−21.04", "T-06 kept whole."),
        ]),
        notes: vec![
            "Nobody asked so far sells a keyboard foil for T-08; it is left as it is.".into(),
        ],
    }
}

fn parcel_lines(rows: &[(&str, &str, &str)]) -> Vec<ParcelLine> {
    rows.iter()
        .map(|(amount, text, note)| ParcelLine {
            amount: (*amount).into(),
            text: (*text).into(),
            note: (*note).into(),
        })
        .collect()
}

/// Two parcels, the second ordered already.
fn ledger() -> Ledger {
    let tags = |tags: &[&str]| tags.iter().map(|tag| (*tag).to_owned()).collect();
    Ledger {
        heading: "Two parcels, 73.67 landed.".into(),
        proof: "Proven: nothing cheaper exists among the offers of four vendors asked so far.".into(),
        proven: true,
        gap: "0.00".into(),
        parcels: vec![
            ParcelView {
                letter: "A".into(),
                vendor: "northgate".into(),
                landed: "38.70".into(),
                arrives: "Tuesday 17 November".into(),
                waiting: tags(&["T-02", "T-04", "T-05"]),
                lines: parcel_lines(&[("14.50", "1 × 9 V 1.5 A supply, certified", "for T-02"), ("11.70", "3 × 4164, 150 ns at 3.90", "for T-04 two, one spare"), ("3.50", "2 × crystal 14.000 MHz at 1.75", "for T-05, packs of two"), ("1.10", "2 × 74LS04 at 0.55", "for T-05, least two"), ("1.40", "1 × 7805 regulator", "for U30, a spare"), ("6.50", "postage; free from 60.00, that is 27.80 away", "")]),
                ordered: None,
                received: None,
                to_come: Vec::new(),
                vendor_id: "northgate".into(),
            },
            ParcelView {
                letter: "B".into(),
                vendor: "farside parts".into(),
                landed: "34.97".into(),
                arrives: "Friday 20 November".into(),
                waiting: tags(&["T-09"]),
                lines: parcel_lines(&[("24.00", "1 × video controller U9, used original", "for T-09"), ("4.90", "postage", ""), ("6.07", "import VAT, 21 % of 28.90", "(check with your customs)")]),
                ordered: Some("12 Nov 2026 · Ines".into()),
                received: None,
                to_come: Vec::new(),
                vendor_id: "northgate".into(),
            },
        ],
        landed: "73.67".into(),
        remains: Some("46.33".into()),
        money_limit: Some("120.00".into()),
        why: sum(&[("+4.10", "U9 from kettle & sons instead, new old stock, 39.07 landed."), ("+12.35", "Everything from kettle & sons, one parcel."), ("+4.60", "The three 4164 from lowtide surplus: 1.20 cheaper, 5.80 postage.")]),
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
        ask_again: vec![(18, "The price of U9 at farside parts was seen on 25 October. Up to 27.39 the choice stays.".into())],
        unmet: vec!["1 × keyboard foil, for T-08".into()],
    }
}

/// Boards a machine can be taken in as.
fn boards() -> Vec<BoardChoice> {
    [
        ("starter", "Starter, twelve blocks", true),
        ("ostrel-8-r2", "Ostrel 8, revision 2", false),
    ]
    .map(|(id, title, starter)| BoardChoice {
        id: id.into(),
        title: title.into(),
        starter,
    })
    .into()
}

/// What a lot of nine would be taken in as.
fn taken_in() -> TakenIn {
    TakenIn {
        heading: "Nine machines, T-01 to T-09, 30.00 each.".into(),
        lot: "L-01".into(),
        from: "Harbour Street".into(),
        tags: (1..=9).map(|n| format!("T-{n:02}")).collect(),
        paid: vec!["30.00".into(); 9],
        board: "ostrel-8-r2".into(),
        board_title: "Ostrel 8, revision 2".into(),
        starter: false,
        exceptions: vec![
            "T-06: the battery leaked.".into(),
            "T-09: U9 is absent.".into(),
        ],
        lines: Vec::new(),
    }
}

fn rounds_view() -> RoundsView {
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
    let round = |title: &str, set_up: &str, looks: Vec<RoundLook>| RoundToMake {
        title: title.into(),
        set_ups: vec![set_up.into()],
        set_up_minutes: 4.0,
        minutes: 4.0 + looks.iter().map(|look| look.minutes).sum::<f64>(),
        saves: "9.30".into(),
        saves_an_hour: "50.70".into(),
        missing: None,
        looks,
    };
    let reset = || {
        look(
            "reset",
            "Reset at U1 pin 26",
            &["T-03", "T-04"],
            3.0,
            "4.20",
        )
    };
    RoundsView {
        heading: "Next round: sound on T-02 and T-05; 6 min, saves 9.30.".into(),
        summary: "Two rounds with a look at four machines, 13 min in all.".into(),
        again: vec![Again {
            check: "picture".into(),
            tag: "T-02".into(),
            sentence: "Four machines showed the same for picture: no sync. Take it once more on T-02 with other leads.".into(),
        }],
        rounds: vec![
            round("Sound on T-02 and T-05", "powered", vec![look("sound", "Sound", &["T-02", "T-05"], 2.0, "5.10")]),
            round("Reset on T-03 and T-04", "oscilloscope", vec![reset()]),
        ],
        instead: vec![round("Reset on T-03 and T-04", "oscilloscope", vec![reset()])],
        lacking: vec![RoundToMake {
            missing: Some("chip tester".into()),
            ..round("Latch on T-03", "chip tester", Vec::new())
        }],
        aside: vec![Aside {
            tags: vec!["T-01".into()],
            sentence: "T-01 looks whole or works.".into(),
        }],
        shelve: vec![shelve("T-06")],
        note: "A set-up is paid once for all machines of a round.".into(),
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

/// Every page, in the states it can be in, by name.
pub(crate) fn pages(setting: &Setting<'_>) -> Vec<(&'static str, String)> {
    let error = Error::new(ErrorKind::Usage, "expected a time, found `13x`")
        .hint("write `138` or `138 ms`");
    let refused = Refused {
        typed: "13x",
        error: &error,
    };
    let said = Said {
        tag: Some("T-04".into()),
        sentences: vec!["Written: reset, U1 pin 26, 144 ms ± 4: within 80 to 300 ms.".into()],
        changed: "U16 and U17 stay at 88 %.".into(),
        lines: vec![51],
    };
    let (mut told, on_card) = (
        setting.clone(),
        Said {
            tag: None,
            ..said.clone()
        },
    );
    told.said = Some(&said);
    let mut told_card = setting.clone();
    told_card.said = Some(&on_card);
    let fields = take_in::Fields {
        line: "9 from Harbour Street, 270.00".into(),
        exceptions: "T-06 battery leaked".into(),
        ..take_in::Fields::default()
    };
    let read = understood();
    let taken_in = taken_in();
    let first = take_in::Look {
        first: true,
        ..take_in::Look::default()
    };
    let look = take_in::Look {
        dry_run: Some(&taken_in),
        ..take_in::Look::default()
    };
    let opened = bench::Open {
        machine: Some("T-05"),
        asked: true,
        refused: None,
    };
    let wrong = bench::Open {
        refused: Some(refused),
        ..opened
    };
    let refused_card = card::Entry {
        refused: Some((card::Form::Finding, refused)),
        ..card::Entry::default()
    };
    let reading = card::Entry {
        typed: "138",
        read: &read,
        check: Some("reset"),
        ..card::Entry::default()
    };
    let none = Error::new(ErrorKind::NotFound, "there is no machine `T-99`");
    let limits = plan::RefusedLimits {
        typed: plan::Typed::Limits {
            money: "much",
            evenings: "3",
            working: "",
        },
        error: &error,
    };
    vec![
        (
            "bench",
            bench::bench(setting, &bench_view(), &bench::Open::default()),
        ),
        ("bench-open", bench::bench(&told, &bench_view(), &opened)),
        ("bench-wrong", bench::bench(setting, &bench_view(), &wrong)),
        (
            "card",
            card::card(setting, &card_view(), &card::Entry::default()),
        ),
        ("card-read", card::card(&told_card, &card_view(), &reading)),
        (
            "card-wrong",
            card::card(setting, &card_view(), &refused_card),
        ),
        ("rounds", rounds::rounds(setting, &rounds_view())),
        ("plan", plan::plan(setting, &plan_view(), None)),
        (
            "plan-wrong",
            plan::plan(setting, &plan_view(), Some(limits)),
        ),
        ("parcels", parcels::parcels(setting, &ledger())),
        (
            "offers",
            offers::offers(
                setting,
                &desk::offers(),
                &offers::Fields::default(),
                offers::Look::default(),
            ),
        ),
        (
            "offers-look",
            offers::offers(
                setting,
                &desk::offers(),
                &desk::pasted(),
                offers::Look {
                    read: Some(&desk::read()),
                    error: None,
                },
            ),
        ),
        (
            "offers-wrong",
            offers::offers(
                setting,
                &desk::offers(),
                &desk::pasted(),
                offers::Look {
                    read: None,
                    error: Some(&error),
                },
            ),
        ),
        ("history", offers::history(setting, &desk::history())),
        (
            "stock",
            stock::stock(setting, &desk::stock(), stock::Entry::default()),
        ),
        (
            "received",
            receive::receive(
                setting,
                &ledger().parcels[0],
                receive::Entry {
                    what: "3 4164-150ns",
                    would: Some(&desk::came_in()),
                    error: None,
                },
            ),
        ),
        ("strip", strip::strip(setting, &desk::strip(), Some(&error))),
        (
            "first",
            take_in::take_in(setting, &boards(), &take_in::Fields::default(), first),
        ),
        (
            "take-in",
            take_in::take_in(setting, &boards(), &fields, look),
        ),
        ("missing", missing::missing(setting, &none, &taken_in.tags)),
    ]
    .into_iter()
    .map(|(name, markup)| (name, markup.into_string()))
    .collect()
}
