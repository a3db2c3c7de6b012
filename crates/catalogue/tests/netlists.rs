//! Nets: counts of two real boards, lists that do not fit, buses, places to probe, resistances to ground.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{
    BareBoard, Library, Net, NetFormat, NetPin, Netlist, Ohms, Operation, Profile, buses,
    compare_ohms, name_pins, parse_bare_board, parse_nets, parse_ohms, parse_plain_nets,
    parse_profile, parse_profile_with_nets, print_nets, probe_places,
};
use proptest::prelude::*;

const SMALL: &[u8] = include_bytes!("data/board/small/ipc-d-356.ipc");
const LARGE: &[u8] = include_bytes!("data/board/large/board_ipc356a.ipc");

fn read(bytes: &[u8]) -> BareBoard {
    parse_bare_board(bytes, "board.ipc").unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn count(board: &BareBoard, holds: impl Fn(&catalogue::TestRecord) -> bool) -> usize {
    board.records.iter().filter(|record| holds(record)).count()
}

fn nets_of(board: &BareBoard) -> BTreeMap<&str, usize> {
    let mut nets = BTreeMap::new();
    for name in board
        .records
        .iter()
        .filter_map(|record| record.net.as_deref())
    {
        *nets.entry(name).or_default() += 1;
    }
    nets
}

fn references(board: &BareBoard) -> BTreeSet<&str> {
    board
        .records
        .iter()
        .filter_map(|record| record.reference.as_deref())
        .collect()
}

/// Expected values: counted with other means, as the collection that the file comes from says (tests/data/board/README.md).
#[test]
fn the_small_board() {
    let board = read(SMALL);
    let of = |operation| count(&board, |record| record.operation == operation);
    assert_eq!((board.comments, board.parameters, board.others), (3, 4, 2));
    assert_eq!(
        (
            of(Operation::Through),
            of(Operation::Surface),
            of(Operation::Unplated)
        ),
        (30, 75, 0)
    );
    let nets = nets_of(&board);
    assert_eq!(
        (nets.len(), nets["GND"], nets["VCC"], nets["N$3"]),
        (17, 26, 17, 5)
    );
    assert_eq!(count(&board, |record| record.net.is_none()), 26);
    assert_eq!(references(&board).len(), 21);
    assert_eq!(count(&board, |record| record.via), 14);
    let pins = |name: &str| count(&board, |record| record.reference.as_deref() == Some(name));
    assert_eq!(
        (pins("U2"), pins("U3"), pins("U4"), pins("J1")),
        (28, 8, 8, 6)
    );
    let long = board
        .records
        .iter()
        .find(|record| record.net.as_deref() == Some("A_REALLY_LONG_NET_NAME"));
    let long = long.expect("the long name is put in");
    assert_eq!(
        (long.reference.as_deref(), long.pin.as_str()),
        (Some("NA"), "69")
    );
    let same = |record: &&catalogue::TestRecord| {
        record.reference.as_deref() == Some("U4") && record.pin == "8"
    };
    assert_eq!(
        board.records.iter().find(same).map(|record| record.place),
        Some(long.place)
    );
    let holes = |size| {
        count(&board, |record| {
            record.hole == Some(size) && record.plated == Some(true)
        })
    };
    assert_eq!((holes(24), holes(35), holes(40)), (14, 6, 10));
    let xs = board.records.iter().map(|record| record.place.0);
    let ys = board.records.iter().map(|record| record.place.1);
    assert_eq!((xs.clone().min(), xs.max()), (Some(1200), Some(18050)));
    assert_eq!((ys.clone().min(), ys.max()), (Some(737), Some(13900)));
}

/// Expected values: as for the small board.
#[test]
fn the_large_board() {
    let board = read(LARGE);
    let of = |operation| count(&board, |record| record.operation == operation);
    assert_eq!((board.comments, board.parameters), (767, 35));
    assert_eq!(
        (
            of(Operation::Through),
            of(Operation::Surface),
            of(Operation::Unplated)
        ),
        (1996, 3763, 4)
    );
    let nets = nets_of(&board);
    assert_eq!(nets.len(), 641);
    assert_eq!((nets["GND"], nets["N/C"], nets["+VDIMM"]), (1551, 416, 253));
    assert_eq!(count(&board, |record| record.net.is_none()), 4);
    assert!(nets.values().all(|records| *records > 1));
    assert_eq!(references(&board).len(), 881);
    assert_eq!(count(&board, |record| record.via), 1873);
    let pins = |name: &str| count(&board, |record| record.reference.as_deref() == Some(name));
    assert_eq!((pins("CPU1"), pins("MEM1"), pins("MEM4")), (1170, 96, 96));
    assert_eq!(count(&board, |record| record.midpoint), 2645);
    let access = |side| count(&board, |record| record.access == Some(side));
    assert_eq!((access(1), access(10), access(0)), (2290, 1473, 2000));
    let plated = |plated| count(&board, |record| record.plated == Some(plated));
    assert_eq!((plated(true), plated(false)), (1976, 24));
    let xs = board.records.iter().map(|record| record.place.0);
    let ys = board.records.iter().map(|record| record.place.1);
    assert_eq!((xs.clone().min(), xs.max()), (Some(500), Some(78500)));
    assert_eq!((ys.clone().min(), ys.max()), (Some(-2000), Some(31000)));
    assert_eq!(board.nets().nets.len(), 640);
}

const BOARD: &str = r#"
[board]
id = "made"

[[rail]]
name = "+5V"
volts = 5.0

[[part]]
ref = "U1"
device = "z80a"

[[part]]
ref = "U2"
device = "27128"

[[part]]
ref = "U3"
device = "27128"

[[part]]
ref = "U4"
device = "74ls245"

[[part]]
ref = "J1"
device = "edge-connector"
block = "cpu"

[[check]]
id = "enable"
title = "ROM enable"
how = "Do U2 pin 20 and U3 pins 20 and 22 go low?"
tells = "boot"
"#;

fn profile() -> Profile {
    parse_profile(BOARD, "made.toml", Library::built_in())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

/// Nets by the names of pins: U1 and U2 share the data bus, U3 sits behind U4.
fn nets() -> Netlist {
    let mut text = String::from("CLK: U1.6 J1.7\nCS: U2.20\nCS2: U3./CE\n");
    for bit in 0..8 {
        let next = bit + 1;
        text.push_str(&format!(
            "D{bit}: U1.D{bit} U2.D{bit} U4.A{next} J1.1{bit}\n"
        ));
        text.push_str(&format!("X{bit}: U4.B{next} U3.D{bit}\n"));
    }
    let names = parse_plain_nets(text.as_bytes(), "nets")
        .unwrap_or_else(|problems| panic!("{}", problems[0]));
    names
        .settled(&profile(), Library::built_in(), "nets")
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

#[test]
fn who_shares_a_bus() {
    let found = buses(&nets(), &profile(), Library::built_in());
    let names: Vec<(&str, Vec<&str>)> = found
        .iter()
        .map(|bus| {
            (
                bus.name.as_str(),
                bus.drivers.iter().map(|(part, _)| part.as_str()).collect(),
            )
        })
        .collect();
    assert_eq!(
        names,
        [
            ("D0 to D7", vec!["U1", "U2", "U4"]),
            ("X0 to X7", vec!["U3", "U4"])
        ]
    );
    assert!(found[0].drivers.iter().all(|(_, lines)| *lines == 8));
}

#[test]
fn only_what_touches_the_bus_can_hold_it() {
    let spoils = |profile: &Profile, part: &str| {
        let modes = &profile.part(part).expect("a part").modes;
        modes.iter().any(|mode| {
            mode.spoils
                .iter()
                .any(|spoil| catalogue::target_name(&spoil.target) == "data-bus")
        })
    };
    let before = profile();
    let after =
        parse_profile_with_nets(BOARD.as_bytes(), "made.toml", Library::built_in(), &nets())
            .unwrap_or_else(|problems| panic!("{}", problems[0]));
    assert_eq!(
        (spoils(&before, "U2"), spoils(&before, "U3")),
        (true, true),
        "by their kind alone"
    );
    assert_eq!(
        (spoils(&after, "U2"), spoils(&after, "U3")),
        (true, false),
        "U3 sits behind U4"
    );
    assert!(
        spoils(&after, "U4"),
        "a buffer that does not let go holds the bus"
    );
    assert_eq!(
        after.check("enable").map(|check| check.how.as_str()),
        Some("Do U2 pin 20 (CS) and U3 pins 20 (CS2) and 22 go low?")
    );
}

#[test]
fn where_to_probe() {
    let nets = nets();
    let places = |name: &str| {
        let net = nets.net(name).expect("a net");
        let places = probe_places(net, &profile(), Library::built_in());
        places
            .iter()
            .map(|place| place.at.clone())
            .collect::<Vec<_>>()
            .join(" ")
    };
    assert_eq!(places("CLK"), "J1.7 U1.6");
    assert_eq!(places("D0"), "J1.10 U1.14 U2.11 U4.2");
}

#[test]
fn a_pin_the_device_does_not_have() {
    let refused = |text: &str, expect: &[&str]| {
        let nets = parse_plain_nets(text.as_bytes(), "nets").expect("nets");
        let problems = nets
            .settled(&profile(), Library::built_in(), "nets")
            .expect_err("a wrong pin");
        let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert_eq!(problems, expect);
    };
    refused(
        "CLK: U1.6\nA15: U1.41 U9.99\n",
        &["nets:2:1: expected a pin of U1, a z80a with 40 pins, found `U1.41`"],
    );
    refused(
        "CLK: U1.6\nA: U1.CLK\n",
        &[
            "nets:2:1: expected each pin in one net, found `U1.6`; hint: it is in net CLK at line 1 too",
        ],
    );
    let record = "317CLK              U1    -41   D  35PA00X   1000Y   1000X 500Y   0R  0\n999\n";
    let (nets, format) = parse_nets(record.as_bytes(), "board.ipc").expect("a record");
    assert_eq!(format, NetFormat::BareBoard);
    let problems = nets
        .settled(&profile(), Library::built_in(), "board.ipc")
        .expect_err("a wrong pin");
    assert_eq!(
        problems[0].to_string(),
        "board.ipc:1:1: expected a pin of U1, a z80a with 40 pins, found `U1.41`"
    );
}

#[test]
fn bad_nets() {
    let check = |text: &str, expect: &[&str]| {
        let problems = parse_nets(text.as_bytes(), "nets").expect_err("a problem");
        let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert_eq!(problems, expect, "{text}");
    };
    check(
        "",
        &["nets:1:1: expected nets and their pins, such as `CLK: U1.6 U12.3`, found none"],
    );
    check(
        "CLK U1.6\n",
        &["nets:1:1: expected a net and its pins, such as `CLK: U1.6 U12.3`, found `CLK U1.6`"],
    );
    check(
        "CLK: U1.6 6 U2\nCLK: U3.1\n",
        &[
            "nets:1:11: expected a pin such as `U1.6`, found `6`",
            "nets:1:13: expected a pin such as `U1.6`, found `U2`",
            "nets:2:1: expected each net once, found `CLK` again; hint: it is at line 1 too; begin a line that goes on with a blank",
        ],
    );
    check(
        "U1.6;U12.3\n",
        &["nets:1:1: expected a net and its pins, such as `CLK: U1.6 U12.3`, found `U1.6;U12.3`"],
    );
    assert_eq!(
        parse_plain_nets(b"CLK\tU1.6\tU12.3\r\nD0;U1.14;U2.11\r\n", "x"),
        parse_plain_nets(b"CLK: U1.6 U12.3\nD0: U1.14 U2.11\n", "x"),
        "the cells of a table"
    );
    let small = std::str::from_utf8(SMALL).expect("text");
    let cut = &small[..small.len() / 2];
    let problems = parse_nets(cut.as_bytes(), "board.ipc").expect_err("half a file");
    let last = problems.last().expect("a problem").to_string();
    assert!(
        last.ends_with(
            "expected a last record `999`, found none; hint: the file may have been cut off"
        ),
        "{last}"
    );
    let windows = small.replace('\n', "\r\n");
    assert_eq!(
        parse_nets(windows.as_bytes(), "x"),
        parse_nets(SMALL, "x"),
        "Windows line ends"
    );
}

#[test]
fn pins_are_named_once() {
    let nets = parse_plain_nets(b"CLK: U1.6\nA: U7.7\nB: U7.9\nC: U7.15\n", "nets").expect("nets");
    let check = |text: &str, expect: &str| assert_eq!(name_pins(text, &nets), expect);
    check(
        "Count the frequency at U1 pin 6, probe at x10.",
        "Count the frequency at U1 pin 6 (CLK), probe at x10.",
    );
    check(
        "Do the outputs of U7, pins 7 and 9 to 15, go low?",
        "Do the outputs of U7, pins 7 (A) and 9 (B) to 15 (C), go low?",
    );
    check("Read U1.6.", "Read U1.6 (CLK).");
    check("U1 pin 6 (the clock)", "U1 pin 6 (the clock)");
    check("After 6 s look at 7.", "After 6 s look at 7.");
    check("  two  blanks ", "  two  blanks ");
}

/// Good and suspect ohms and z, computed with Python 3.11's `statistics` (median, and the median distance divided by the
/// 0.75 quantile of the standard normal distribution).
const OHMS: [(f64, f64, f64); 15] = [
    (774.5, 774.1, -0.674489750),
    (12580.1, 13374.3, 0.306188749),
    (33.1, 28.7, -2.932087709),
    (55.3, 61.0, 0.892069957),
    (1454.8, 1473.6, -0.462318289),
    (433.6, 439.9, -0.437139833),
    (4077.9, 3716.6, -2.139999419),
    (93.6, 100.2, 0.416099264),
    (163.7, 181.4, 0.964635110),
    (18684.8, 56054.4, 16.785394421),
    (1867.6, 1947.6, 0.000000000),
    (5473.8, 5218.3, -1.425618336),
    (63.8, 63.8, -0.666283524),
    (4754.7, 5501.2, 1.650297519),
    (582.5, 633.3, 0.661958550),
];

#[test]
fn ratios_against_an_independent_reckoning() {
    let read: Vec<(String, Ohms, Ohms)> = (1..)
        .zip(OHMS)
        .map(|(pin, (good, suspect, _))| {
            (format!("U1.{pin}"), Ohms::Value(good), Ohms::Value(suspect))
        })
        .collect();
    let compared = compare_ohms(&read);
    for (pin, (.., z)) in (1..).zip(OHMS) {
        let at = format!("U1.{pin}");
        let found = compared
            .iter()
            .find(|one| one.at == at)
            .and_then(|one| one.z)
            .expect("a figure");
        assert!((found - z).abs() < 1e-6, "{at}: {found} instead of {z}");
    }
    assert_eq!(
        (compared[0].at.as_str(), compared[1].at.as_str()),
        ("U1.10", "U1.3"),
        "the strangest first"
    );
}

#[test]
fn ohms_as_people_write_them() {
    let read = parse_ohms(b"pin\tnet\tgood\tsuspect\nU1.6\tCLK\t4.52k\t61\nU1.7 OL OL\nU1.8: 1k0, open\nU1.9 4,7k 4.7k\nU2.1 4.52 k 61 R\n", "ohms")
        .unwrap_or_else(|problems| panic!("{}", problems[0]));
    assert_eq!(read.len(), 5);
    assert_eq!((read[4].1, read[4].2), (read[0].1, read[0].2));
    assert_eq!(
        (read[0].1, read[0].2),
        (Ohms::Value(4520.0), Ohms::Value(61.0))
    );
    assert_eq!(read[3].1, Ohms::Value(4700.0));
    let compared = compare_ohms(&read);
    assert_eq!(
        (compared[0].at.as_str(), compared[0].z),
        ("U1.8", None),
        "open on one board"
    );
    let z = |at: &str| {
        compared
            .iter()
            .find(|one| one.at == at)
            .and_then(|one| one.z)
    };
    assert_eq!(z("U1.7"), Some(0.0));
    let refused = |text: &str, expect: &str| {
        let problems = parse_ohms(text.as_bytes(), "ohms").expect_err("a problem");
        assert_eq!(problems[0].to_string(), expect);
    };
    refused(
        "U1.6 4.5k\n",
        "ohms:1:1: expected two resistances, the good board first, found `U1.6 4.5k`",
    );
    refused(
        "U1.6 1 2\nU1.6 1 2\n",
        "ohms:2:1: expected each pin once, found `U1.6` again",
    );
    refused(
        "",
        "ohms:1:1: expected pins with two resistances each, such as `U1.6 4.52k 61`, found none",
    );
    refused(
        "U1.6 5 V\n",
        "ohms:1:1: expected two resistances, the good board first, found `U1.6 5 V`",
    );
}

proptest! {
    #[test]
    fn printed_and_read(nets in prop::collection::btree_map("[A-Z/+][A-Z0-9$_]{0,8}", prop::collection::vec(("[UJR][1-9]", "[1-9][0-9]?"), 1..6), 1..6)) {
        let nets = Netlist { nets: nets.into_iter().map(|(name, pins)| Net {
            name,
            pins: pins.into_iter().map(|(reference, pin)| NetPin { reference, pin, line: 0 }).collect(),
        }).collect() };
        let text = print_nets(&nets);
        let mut read = parse_plain_nets(text.as_bytes(), "nets").unwrap_or_else(|problems| panic!("{}\n{text}", problems[0]));
        for pin in read.nets.iter_mut().flat_map(|net| &mut net.pins) {
            pin.line = 0;
        }
        prop_assert_eq!(read, nets);
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        _ = parse_nets(&bytes, "nets");
        _ = parse_bare_board(&bytes, "nets");
        _ = parse_ohms(&bytes, "ohms");
    }

    #[test]
    fn any_record_is_read_or_refused(tail in "\\PC{0,90}", name in "\\PC{0,60}") {
        _ = parse_bare_board(format!("317{tail}\n999").as_bytes(), "nets");
        _ = name_pins(&name, &nets());
    }
}
