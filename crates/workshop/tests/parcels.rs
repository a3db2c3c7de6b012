//! Offers in, parcels in, the drawer, donors: on the demo's pile.

use std::{fs, path::Path};

use expect_test::{Expect, expect};
use workshop::{
    Act, Clock, Fitted, OffersIn, OpenOptions, PlanLimits, Receive, StockChange, Strip, Workshop,
    views::{CameIn, OffersRead, StockView},
};

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

/// The demo's evening, on the day after.
fn demo() -> (tempfile::TempDir, Workshop) {
    let dir = tempfile::tempdir().unwrap();
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    copy(&example, dir.path());
    let clock = Clock::Fixed("2026-11-12T21:30:00[Europe/Berlin]".parse().unwrap());
    let workshop = Workshop::open(dir.path(), OpenOptions { who: None, clock }).unwrap();
    let pile = fs::read_to_string(example.join("pile.toml")).unwrap();
    workshop
        .play(&pile)
        .unwrap_or_else(|error| panic!("{}", error.message));
    (dir, workshop)
}

fn typed(workshop: &Workshop, vendor: &str, line: &str) -> OffersRead {
    workshop
        .offers_in(&OffersIn {
            vendor: vendor.into(),
            text: line.into(),
            typed: true,
            take: true,
            ..OffersIn::default()
        })
        .unwrap_or_else(|error| panic!("{}", error.message))
}

fn show_read(read: &OffersRead) -> String {
    let mut text = format!("{}\n", read.heading);
    for (heading, role) in &read.columns {
        text += &format!("  {heading}: {role}\n");
    }
    for row in &read.rows {
        text += &format!("{} {} <- {} {}", row.price, row.item, row.title, row.more);
        text += if row.wanted {
            ""
        } else {
            " (nobody asks for it)"
        };
        text += &format!(" {} {}\n", row.before, row.doubt);
    }
    for line in read.notes.iter().chain(&read.refused) {
        text += &format!("- {line}\n");
    }
    text.lines()
        .map(str::trim_end)
        .map(|line| format!("{line}\n"))
        .collect()
}

fn show_in(came: &CameIn) -> String {
    let mut text = format!("{}\n", came.heading);
    for (word, list) in [
        ("came", &came.came),
        ("not ordered", &came.wrong),
        ("missing", &came.missing),
        ("-", &came.waits),
    ] {
        for one in list {
            text += &format!("{word}: {one}\n");
        }
    }
    text
}

fn show_stock(stock: &StockView) -> String {
    let mut text = format!("{}\n", stock.heading);
    for (word, rows) in [
        ("has", &stock.things),
        ("chip", &stock.chips),
        ("coming", &stock.coming),
    ] {
        for row in rows {
            let mark = row.mark.as_deref().unwrap_or_default();
            text += &format!("{word} {} {} {mark} | {}\n", row.amount, row.what, row.from);
        }
    }
    for one in &stock.waits {
        text += &format!("- {one}\n");
    }
    text
}

fn check(expect: Expect, text: &str) {
    expect.assert_eq(text);
}

fn landed(workshop: &Workshop) -> (String, Vec<String>) {
    let ledger = workshop.order(&PlanLimits::default()).unwrap();
    let to_order = ledger
        .parcels
        .iter()
        .filter(|parcel| parcel.ordered.is_none());
    (
        ledger.landed.clone(),
        to_order.map(|parcel| parcel.vendor.clone()).collect(),
    )
}

/// What a fresh machine brings an hour is kept from card to card; not so when a part costs less.
#[test]
fn a_new_price_is_heeded_on_the_next_card() {
    let (dir, workshop) = demo();
    let fresh = |workshop: &Workshop| {
        let shelve = workshop.card("T-06").unwrap().shelve;
        shelve.expect("it could be shelved").fresh
    };
    let before = fresh(&workshop);
    typed(&workshop, "north", "ov-2-used 1.00");
    let after = fresh(&workshop);
    assert_ne!(before, after);
    let clock = Clock::Fixed("2026-11-12T21:30:00[Europe/Berlin]".parse().unwrap());
    let anew = Workshop::open(dir.path(), OpenOptions { who: None, clock }).unwrap();
    assert_eq!(fresh(&anew), after);
}

#[test]
fn a_pasted_cart_is_looked_at_then_taken_then_taken_back() {
    let (_dir, workshop) = demo();
    let before = landed(&workshop);
    let cart = "Your cart\n1 x OV-2 video controller, used original  € 12,00  € 12,00\nBlue LED  10  0,05  0,50\nfuse  -0,20\n";
    let mut asked = OffersIn {
        vendor: "north".into(),
        text: cart.into(),
        ..OffersIn::default()
    };
    let looked = workshop.offers_in(&asked).unwrap();
    check(
        expect![[r#"
        Two prices of northgate are understood, seen on 12 November; one line is not.
        12.00 ov-2-used <- OV-2 video controller, used original
        0.05 blue-led <- Blue LED each from 10 (nobody asks for it)
        - Line 1 is left out: `Your cart`.
        - Line 4: expected a price above 0, found `-0.20`.
    "#]],
        &show_read(&looked),
    );
    assert!(looked.lines.is_empty());
    assert_eq!(landed(&workshop), before);
    asked.take = true;
    let taken = workshop.offers_in(&asked).unwrap();
    assert_eq!(taken.lines.len(), 1);
    check(
        expect![[r#"
        ("61.10", ["northgate"])
    "#]],
        &format!("{:?}\n", landed(&workshop)),
    );
    workshop.undo(None).unwrap();
    assert_eq!(landed(&workshop), before);
}

#[test]
fn one_break_next_to_the_quantity() {
    let (_dir, workshop) = demo();
    check(
        expect![[r#"
            One price of northgate is understood, seen on 12 November.
            3.10 4164-150ns <- 4164-150ns each from 8 was 3.40
        "#]],
        &show_read(&typed(&workshop, "northgate", "4164-150ns 8 at 3,10")),
    );
    check(
        expect![[r#"
            Two prices of northgate are understood, seen on 12 November.
            3.95 4164-150ns <- 4164, 150 ns  was 3.90
            0.90 74ls245-dip20 <- 74LS245 0.95 each from 10 was 0.95 10 cost 0.95 each, more than 1 at 0.9; look whether that is a slip.
        "#]],
        &show_read(&typed(
            &workshop,
            "northgate",
            "4164, 150 ns 3.95; 74LS245 1 at 0.9 10 at 0.95",
        )),
    );
    let view = workshop.offers().unwrap();
    let north = view
        .vendors
        .iter()
        .find(|vendor| vendor.id == "northgate")
        .unwrap();
    let row = north
        .offers
        .iter()
        .find(|row| row.item == "4164-150ns")
        .unwrap();
    assert_eq!(
        (row.price.as_str(), row.more.as_str()),
        ("3.95", "3.10 each from 8; 40 there")
    );
    assert_eq!(view.heading, "69 offers of five vendors, 1 to ask again.");
    let past = workshop.history("4164-150ns").unwrap();
    let prices: Vec<String> = past
        .prices
        .iter()
        .map(|one| format!("{} {} {} {}", one.day, one.vendor, one.price, one.at))
        .collect();
    check(
        expect![[r#"
            3.50 now at lowtide surplus; least so far 3.10 at northgate on 12 November.
            2026-11-09 lowtide surplus 3.50 from 2
            2026-11-10 northgate 3.90 
            2026-11-11 kettle & sons 5.20 
            2026-11-12 northgate 3.10 from 8
            2026-11-12 northgate 3.95 
        "#]],
        &format!("{}\n{}\n", past.heading, prices.join("\n")),
    );
}

#[test]
fn offers_that_cannot_be() {
    let (_dir, workshop) = demo();
    let refused = |vendor: &str, text: &str, typed: bool| {
        let asked = OffersIn {
            vendor: vendor.into(),
            text: text.into(),
            typed,
            take: true,
            ..OffersIn::default()
        };
        let error = workshop.offers_in(&asked).unwrap_err();
        format!("{} ({})", error.message, error.hint.unwrap_or_default())
    };
    let cases = [
        refused("swan", "fuse 0.20", true),
        refused("northgate", "fuse -0.20", true),
        refused("northgate", "fuse 0", true),
        refused("northgate", "name;each\nfuse;0.20 CHF\n", false),
        refused("northgate", "name;each\nfuse;0\n", false),
        refused("northgate", "hello", false),
    ];
    check(
        expect![[r#"
        there is no vendor `swan`; nearest are `farside`, `kettle` or `lowtide` (a new vendor is a `[[vendor]]` with `id`, `currency` and `days` in a file of the folder `vendors`)
        expected a price above 0, found `-0.20` (write `4164-150ns 3.90`, or `4164-150ns 1 at 3.90 8 at 3.40 pack 2 stock 40`)
        expected a price above 0, found `0` (write `4164-150ns 3.90`, or `4164-150ns 1 at 3.90 8 at 3.40 pack 2 stock 40`)
        expected prices in EUR as northgate asks, found prices in CHF (and workshop.toml has no rate for CHF: add `CHF = "..."` under `[rates]`)
        Line 2: expected a price above 0, found `0`. (one thing a line with its price, or a table; `--columns` says what the columns are)
        expected prices, found none (one thing a line with its price, or a table; `--columns` says what the columns are)"#]],
        &cases.join("\n"),
    );
}

#[test]
fn a_parcel_comes_in_by_halves_and_is_taken_back() {
    let (_dir, workshop) = demo();
    workshop.ordered("A").unwrap();
    let ordered = show_stock(&workshop.stock().unwrap());
    let asked = |what: &str, closed: bool| Receive {
        letter: "a".into(),
        what: what.into(),
        closed,
        dry_run: false,
    };
    let unknown = workshop.receive(&asked("everything", false)).unwrap_err();
    check(
        expect!["expected something of the parcel, found `everything`; nearest are `ov-2-used`"],
        &unknown.to_string(),
    );
    let half = workshop
        .receive(&asked("1 ov-2-used and 2 x 74LS04", false))
        .unwrap();
    check(
        expect![[r#"
        Parcel A, farside parts came in in part; one line is still to come.
        came: 1 × ov-2-used
        came: 2 × 74ls04-dip14
        not ordered: 2 × 74ls04-dip14
        missing: 1 × ov-2-used
        -: T-07 can be worked on now: what it needs lies in the drawer.
        -: T-09 waits for parcel A, farside parts, due Friday 20 November.
        -: T-02 and T-04 wait for what is still to be ordered.
    "#]],
        &show_in(&half),
    );
    check(
        expect![[r#"
            Three things in the drawer, one parcel on the way.
            has 2 × 74ls04-dip14  | parcel A, farside parts
            has 1 × ov-2-used  | parcel A, farside parts
            coming 1 × ov-2-used  | parcel A, farside parts
            - T-07 can be worked on now: what it needs lies in the drawer.
            - T-09 waits for parcel A, farside parts, due Friday 20 November.
            - T-02 and T-04 wait for what is still to be ordered.
        "#]],
        &show_stock(&workshop.stock().unwrap()),
    );
    let rest = workshop.receive(&asked("", false)).unwrap();
    check(
        expect![[r#"
        Parcel A, farside parts came in whole.
        came: 1 × ov-2-used
        -: T-07 and T-09 can be worked on now: what they need lies in the drawer.
        -: T-02 and T-04 wait for what is still to be ordered.
    "#]],
        &show_in(&rest),
    );
    let again = workshop.receive(&asked("", false)).unwrap_err();
    assert!(
        again.message.contains("came in already"),
        "{}",
        again.message
    );
    workshop.undo(None).unwrap();
    workshop.undo(None).unwrap();
    assert_eq!(show_stock(&workshop.stock().unwrap()), ordered);
    let end = workshop.receive(&asked("", true)).unwrap();
    check(
        expect![[r#"
        Parcel A, farside parts came in; one line will not come any more.
        missing: 2 × ov-2-used
        -: T-07 waits for what is still to be ordered.
    "#]],
        &show_in(&end),
    );
    assert!(
        workshop
            .receive(&Receive {
                letter: "Q".into(),
                ..Receive::default()
            })
            .is_err()
    );
}

#[test]
fn what_would_change_the_order() {
    let (_dir, workshop) = demo();
    let show = |workshop: &Workshop| {
        let ledger = workshop.order(&PlanLimits::default()).unwrap();
        let mut text = format!("{}\n", ledger.heading);
        for (word, rows) in [
            ("why", &ledger.why),
            ("turns", &ledger.turns),
            ("late", &ledger.late),
        ] {
            for row in rows {
                text += &format!("{word} {} {}\n", row.amount, row.text);
            }
        }
        for (days, again) in &ledger.ask_again {
            text += &format!("{days} days: {again}\n");
        }
        text
    };
    let before = show(&workshop);
    check(
        expect![[r#"
            Two parcels, 94.21 landed.
            why +2.32 Without farside parts: northgate and tarnside boards, 78.50 landed; the plan leaves this much less.
            why +14.21 Without northgate: two parcels, 108.42 landed.
            turns 7.90 4164, 150 ns at northgate, 3.90 now: up to here the choice stays.
            turns 10.50 7805 regulator at northgate, 1.40 now: up to here the choice stays.
            turns 28.71 9 V 1.5 A supply, certified at northgate, 14.50 now: up to here the choice stays.
            turns 8.15 9 V 2 A supply, certified at kettle & sons, 19.90 now: from here down it would be taken.
            late 161.47 Parcel A, farside parts: while it is late, T-07 and T-09 wait; mended, they are worth this much more.
            late 118.90 Parcel B, northgate: while it is late, T-02 and T-04 wait; mended, they are worth this much more.
            18 days: The price of video controller OV-2, used original at farside parts was seen on 25 October. Nobody else sells it.
        "#]],
        &before,
    );
    workshop.leave_out("farside", true).unwrap();
    check(
        expect![[r#"
            Two parcels, 78.50 landed.
            why +20.29 Without northgate: kettle & sons, 102.00 landed; the plan leaves this much less.
            why +11.69 Without tarnside boards: kettle & sons and northgate, 119.67 landed; the plan leaves this much less.
            turns 7.90 4164, 150 ns at northgate, 3.90 now: up to here the choice stays.
            turns 10.50 7805 regulator at northgate, 1.40 now: up to here the choice stays.
            turns 26.20 9 V 1.5 A supply, certified at northgate, 14.50 now: up to here the choice stays.
            turns 4.99 9 V 2 A supply, certified at kettle & sons, 19.90 now: from here down it would be taken.
            late 275.53 Parcel A, northgate: while it is late, T-02, T-04, T-07 and T-09 wait; mended, they are worth this much more.
            late 156.63 Parcel B, tarnside boards: while it is late, T-07 and T-09 wait; mended, they are worth this much more.
        "#]],
        &show(&workshop),
    );
    workshop.undo(None).unwrap();
    assert_eq!(show(&workshop), before);
}

#[test]
fn the_plan_uses_the_drawer_first() {
    let (_dir, workshop) = demo();
    let before = landed(&workshop);
    let put = |what: &str, works: Option<&str>, out: bool| {
        workshop.keep(&StockChange {
            what: what.into(),
            out,
            works: works.map(str::to_string),
            note: "from the attic".into(),
        })
    };
    assert!(put("1 ov-2-used", None, true).is_err());
    let said = put("1 ov-2-used", None, false).unwrap().changed;
    check(
        expect![[r#"
            1 × ov-2-used in the drawer now; the plan uses what is there before it buys.
        "#]],
        &format!("{said}\n"),
    );
    check(
        expect![[r#"
            ("65.17", ["farside parts", "northgate"])
            One thing in the drawer, nothing on its way.
            has 1 × ov-2-used  | from the attic
            - T-07 can be worked on now: what it needs lies in the drawer.
            - T-02, T-04 and T-09 wait for what is still to be ordered.
        "#]],
        &format!(
            "{:?}\n{}",
            landed(&workshop),
            show_stock(&workshop.stock().unwrap())
        ),
    );
    put("1 ov-2-used", None, true).unwrap();
    assert_eq!(landed(&workshop), before);
    put("2 × ov-2", Some("90 %"), false).unwrap();
    check(
        expect![[r#"
            ("30.20", ["northgate"])
            Two things in the drawer, nothing on its way.
            has 2 × ov-2  | from the attic; each good with 90 %
            - T-02 and T-04 wait for what is still to be ordered.
        "#]],
        &format!(
            "{:?}\n{}",
            landed(&workshop),
            show_stock(&workshop.stock().unwrap())
        ),
    );
}

/// Sockets that have a use one day fill a parcel up to free postage, and only then; ordered, they are wished for no more.
#[test]
fn a_wish_fills_a_parcel_where_that_is_no_dearer() {
    let (dir, workshop) = demo();
    let before = workshop.order(&PlanLimits::default()).unwrap();
    let postage = |ledger: &workshop::views::Ledger| {
        let parcels = ledger.parcels.iter();
        let own = parcels.filter(|parcel| parcel.vendor == "northgate");
        let lines = own.flat_map(|parcel| &parcel.lines);
        let line = lines
            .into_iter()
            .find(|line| line.text.starts_with("postage"));
        line.unwrap().text.clone()
    };
    assert!(postage(&before).ends_with("that is 36.30 away"));
    assert_eq!(
        workshop.wish("2 dip-socket-40", false).unwrap().changed,
        "2 × dip-socket-40 wanted for the drawer: ordered along where that makes the order no dearer."
    );
    assert_eq!(
        workshop.wish("dip-sockt-40", false).unwrap().changed,
        "1 × dip-sockt-40 wanted for the drawer; nobody offers anything of that name (nearest are `dip-socket-40`, `dip-socket-20` or `pin-strip-40`), so the wish waits until a price list does."
    );
    workshop.wish("dip-sockt-40", true).unwrap();
    let far = workshop.order(&PlanLimits::default()).unwrap();
    assert_eq!(far.landed, before.landed);
    assert!(postage(&far).ends_with("that is 36.30 away and no wish fills it"));
    let file = dir.path().join("vendors/northgate.toml");
    let text = std::fs::read_to_string(&file).unwrap();
    let near = text.replacen(
        "{ from = \"60\", fee = \"0\" }",
        "{ from = \"26\", fee = \"0\" }",
        1,
    );
    std::fs::write(&file, near).unwrap();
    let filled = workshop.order(&PlanLimits::default()).unwrap();
    assert_eq!(postage(&filled), "postage, free");
    let lines: Vec<_> = filled.parcels.iter().flat_map(|one| &one.lines).collect();
    let wished = lines.iter().find(|line| line.note == "for the drawer two");
    assert!(wished.is_some(), "{lines:?}");
    let waiting = filled.parcels.iter().flat_map(|one| &one.waiting);
    assert!(waiting.into_iter().all(|tag| tag.starts_with("T-")));
    let plan = workshop.plan(&PlanLimits::default()).unwrap();
    let coins = |text: &str| (text.parse::<f64>().unwrap() * 100.0).round();
    let machines: f64 = plan.decisions.iter().map(|one| coins(&one.money)).sum();
    let others: f64 = plan.other_costs.iter().map(|row| coins(&row.amount)).sum();
    assert_eq!(machines + others, coins(&plan.spends));
    let stock = workshop.stock().unwrap();
    assert_eq!(stock.wishes[0].what, "dip-socket-40");
    assert!(!stock.used_later.is_empty());
    let parcel = filled.parcels.iter().find(|one| one.vendor == "northgate");
    workshop.ordered(&parcel.unwrap().letter).unwrap();
    assert!(workshop.stock().unwrap().wishes.is_empty());
    assert!(workshop.wish("dip-socket-40", true).is_err());
}

#[test]
fn a_donor_into_the_drawer() {
    let (_dir, workshop) = demo();
    let mut asked = Strip {
        tag: "T-06".into(),
        ..Strip::default()
    };
    let looked = workshop.strip(&asked).unwrap();
    let rows: Vec<String> = looked
        .chips
        .iter()
        .map(|row| {
            format!(
                "{} {} {:.2} {} {}",
                row.part, row.device, row.good, row.mark, row.note
            )
        })
        .collect();
    check(
        expect![[r#"
            Eleven chips of T-06 would go into the drawer, 22 min of work.
            The plan gives it up too, for T-03 and T-08.
            F1 fuse 0.98 T-06.F1 
            U1 z80a 0.98 T-06.U1 
            U2 27128 0.98 T-06.U2 
            U3 27128 0.98 T-06.U3 
            U8 og-1 0.97 T-06.U8 
            U12 74ls373 0.99 T-06.U12 
            U9 ov-2 0.85 T-06.U9 
            U26 ay-3-8910 0.96 T-06.U26 
            LS1 speaker 0.99 T-06.LS1 
            KB1 membrane 0.98 T-06.KB1 
            U31 146818 0.99 T-06.U31 
            48 left in
        "#]],
        &format!(
            "{}\n{}\n{}\n{} left in\n",
            looked.heading,
            looked.plan,
            rows.join("\n"),
            looked.left.len()
        ),
    );
    let before = show_stock(&workshop.stock().unwrap());
    asked.take = true;
    let taken = workshop.strip(&asked).unwrap();
    check(
        expect![[r#"
        Eleven chips of T-06 in the drawer, marked T-06.F1 and so on; T-06 is put away.
    "#]],
        &format!("{}\n", taken.heading),
    );
    let stock = workshop.stock().unwrap();
    assert_eq!(stock.chips.len(), looked.chips.len());
    check(
        expect![[r#"
            Eleven things in the drawer, nothing on its way.
            chip 98 % fuse T-06.F1 | T-06 F1
            chip 98 % membrane T-06.KB1 | T-06 KB1
            chip 99 % speaker T-06.LS1 | T-06 LS1
            chip 98 % z80a T-06.U1 | T-06 U1
            chip 99 % 74ls373 T-06.U12 | T-06 U12
            chip 98 % 27128 T-06.U2 | T-06 U2
            chip 96 % ay-3-8910 T-06.U26 | T-06 U26
            chip 98 % 27128 T-06.U3 | T-06 U3
            chip 99 % 146818 T-06.U31 | T-06 U31
            chip 97 % og-1 T-06.U8 | T-06 U8
            chip 85 % ov-2 T-06.U9 | T-06 U9
            - T-02, T-04, T-07 and T-09 wait for what is still to be ordered.
        "#]],
        &show_stock(&stock),
    );
    workshop.undo(None).unwrap();
    assert_eq!(show_stock(&workshop.stock().unwrap()), before);
}

/// Each parcel keeps a letter of its own, whichever is ordered first; what comes no more keeps nobody waiting.
#[test]
fn parcels_keep_their_letters() {
    let (_dir, workshop) = demo();
    let ledger = || workshop.order(&PlanLimits::default()).unwrap();
    let letters = |ledger: &workshop::views::Ledger| {
        let parcels = ledger.parcels.iter();
        let each = parcels.map(|parcel| (parcel.letter.clone(), parcel.vendor_id.clone()));
        let mut each: Vec<(String, String)> = each.collect();
        each.sort();
        each
    };
    let before = letters(&ledger());
    assert_eq!(before.len(), 2);
    workshop.ordered("B").unwrap();
    assert_eq!(letters(&ledger()), before);
    workshop.ordered("A").unwrap();
    assert_eq!(letters(&ledger()), before);
    let none = Receive {
        letter: "A".into(),
        closed: true,
        ..Receive::default()
    };
    workshop.receive(&none).unwrap();
    let ledger = ledger();
    let closed = ledger.parcels.iter().find(|parcel| parcel.letter == "A");
    assert_eq!(closed.unwrap().waiting, Vec::<String>::new());
}

/// A number that counts nothing is refused, not taken for a name.
#[test]
fn counts_are_whole() {
    let (_dir, workshop) = demo();
    for what in [
        "-3 4164",
        "\u{2212}3 4164",
        "1.5 4164",
        "1,5 4164",
        "0 4164",
    ] {
        let change = StockChange {
            what: what.into(),
            ..StockChange::default()
        };
        let error = workshop.keep(&change).unwrap_err();
        assert!(
            error.message.starts_with("expected how many of what"),
            "{what}: {}",
            error.message
        );
    }
}

/// A new part comes out of the drawer, out of a parcel that nobody booked in, or out of neither, and a fit says which.
#[test]
fn a_fit_says_where_the_part_came_from() {
    let (_dir, workshop) = demo();
    let put = |what: &str, works: Option<&str>| {
        let change = StockChange {
            what: what.into(),
            works: works.map(Into::into),
            ..StockChange::default()
        };
        workshop.keep(&change).unwrap();
    };
    let fit = |tag: &str, part: &str| {
        let act = Act::Fit {
            part: part.into(),
            what: Fitted::New { works: None },
            old_mark: None,
        };
        let changed = workshop.act(tag, &act).unwrap().changed;
        changed
            .lines()
            .skip(1)
            .map(|line| format!("{line}\n"))
            .collect::<String>()
    };
    put("2 4164-150ns", None);
    put("1 ov-2-used", Some("50 %"));
    let fits = [("T-04", "U16"), ("T-04", "U16"), ("T-07", "U9")];
    let said: String = fits.into_iter().map(|(tag, part)| fit(tag, part)).collect();
    check(
        expect![[r#"
        One 4164-150ns is out of the drawer, 1 left.
        What sat in U16 is no longer kept track of; if it may be used again, take this back and give it a mark.
        The last 4164-150ns is out of the drawer.
        What sat in U16 is no longer kept track of; if it may be used again, take this back and give it a mark.
        It did not come out of the drawer; the ov-2-used there is good with 50 %, and is fitted with that chance said.
        What sat in U9 is no longer kept track of; if it may be used again, take this back and give it a mark.
    "#]],
        &said,
    );
}

/// Offers of a vendor whom no file describes are told, with the file they are in.
#[test]
fn offers_of_nobody_are_told() {
    let (dir, workshop) = demo();
    let file = dir.path().join("vendors/northgate.toml");
    let text = fs::read_to_string(&file).unwrap();
    let wrong = text.replace("vendor = \"northgate\"", "vendor = \"nrthgate\"");
    fs::write(&file, wrong).unwrap();
    let unmet = workshop.order(&PlanLimits::default()).unwrap().unmet;
    let told = "35 offers in vendors/northgate.toml left out: no file describes vendor `nrthgate`; nearest are `northgate`, `kettle` or `farside`";
    assert!(unmet.iter().any(|line| line == told), "{unmet:?}");
}

/// A marked chip goes only where its type sits.
#[test]
fn a_marked_chip_of_another_type_is_refused() {
    let (_dir, workshop) = demo();
    let all = Strip {
        tag: "T-06".into(),
        take: true,
        ..Strip::default()
    };
    workshop.strip(&all).unwrap();
    let fit = |mark: &str| workshop::Act::Fit {
        part: "U9".into(),
        what: workshop::Fitted::Marked(mark.into()),
        old_mark: None,
    };
    let error = workshop.act("T-09", &fit("T-06.U26")).unwrap_err();
    assert_eq!(
        error.message,
        "expected two chips of one type, found `ov-2` in U9 of T-09 and `ay-3-8910` in U26 of T-06"
    );
    workshop.act("T-09", &fit("T-06.U9")).unwrap();
}

/// What a line that is taken back would leave in the air is told once.
#[test]
fn what_builds_on_a_line_is_told_once() {
    let (_dir, workshop) = demo();
    let error = workshop.undo(Some(1)).unwrap_err();
    let mut lines: Vec<&str> = error.message.lines().collect();
    let all = lines.len();
    lines.sort_unstable();
    lines.dedup();
    assert_eq!(lines.len(), all, "{}", error.message);
    assert!(
        error
            .hint
            .unwrap()
            .ends_with("builds on it; take that back first")
    );
}

/// Without price lists nothing can be bought, without worths nothing pays, and the plan says so.
#[test]
fn a_plan_without_prices_or_worths_says_so() {
    let (dir, workshop) = demo();
    let notes = || workshop.plan(&PlanLimits::default()).unwrap().notes;
    let told = |start: &str| notes().iter().any(|note| note.starts_with(start));
    let (prices, worth) = (
        "No vendor's prices are known yet",
        "By workshop.toml no machine is worth more",
    );
    assert!(!told(prices) && !told(worth));
    fs::remove_dir_all(dir.path().join("vendors")).unwrap();
    assert!(told(prices) && !told(worth));
    fs::write(dir.path().join("workshop.toml"), "").unwrap();
    assert!(told(worth));
}

/// Once something is ordered, the plan keeps to what is left of the money.
#[test]
fn a_limit_is_what_is_left_of_it() {
    let (_dir, workshop) = demo();
    let proof = || workshop.plan(&PlanLimits::default()).unwrap().proof;
    assert!(proof().contains("within 120.00 and"), "{}", proof());
    workshop.ordered("A").unwrap();
    assert!(
        proof().contains("within the 55.99 left of 120.00 and"),
        "{}",
        proof()
    );
}
