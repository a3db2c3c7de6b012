//! Pin-outs of the built-in devices: whole, without contradiction, and agreeing with lists made by other means.

use std::collections::BTreeSet;

use catalogue::{Device, Library, PinKind};

fn library() -> &'static Library {
    Library::built_in()
}

fn device(id: &str) -> &'static Device {
    library()
        .device(id)
        .unwrap_or_else(|| panic!("no device {id}"))
}

/// Name of a pin by its number.
fn at(id: &str, number: u32) -> &'static str {
    let pins = &device(id).pins;
    let pin = pins.iter().find(|pin| pin.number == number);
    pin.map_or("", |pin| &pin.name)
}

/// Devices with pins; each variant has the pins of its device, so those are enough.
fn with_pins() -> impl Iterator<Item = &'static Device> {
    library()
        .devices()
        .filter(|device| device.variant_of.is_none() && !device.pins.is_empty())
}

/// `DIP-40` has 40 pins.
fn pins_of_package(package: &str) -> usize {
    let digits = package.rsplit(['-', ' ']).next().unwrap_or_default();
    match package {
        "TO-220" | "TO-92" => 3,
        _ => digits.parse().unwrap_or(0),
    }
}

#[test]
fn pins_agree_with_the_package() {
    for device in with_pins() {
        let count = pins_of_package(&device.package);
        assert_eq!(device.pins.len(), count, "{}", device.id);
        let numbers = device.pins.iter().map(|pin| pin.number as usize);
        assert!(numbers.eq(1..=count), "{}", device.id);
    }
}

/// A name stands at one pin, but for supplies, grounds, pins without use, and the two gain pins of the LM386.
#[test]
fn names_are_used_once() {
    for device in with_pins().filter(|device| device.id != "lm386") {
        let mut seen = BTreeSet::new();
        for pin in &device.pins {
            let again = matches!(
                pin.kind,
                PinKind::Supply | PinKind::Ground | PinKind::Unconnected
            );
            assert!(
                seen.insert(&pin.name) || again,
                "{} {}",
                device.id,
                pin.name
            );
        }
    }
}

#[test]
fn chips_have_supply_and_ground() {
    // Fed through the line they serve, or with their lower supply in place of a ground.
    let without_ground = "lm324 tl074 lm358 tl072 lm741 lm311 4n25 bss138 lm317";
    let without_supply = "uln2003 uln2803 4n25 bss138";
    for device in with_pins() {
        let has = |kind| device.pins.iter().any(|pin| pin.kind == kind);
        let listed = |list: &str| list.split(' ').any(|id| id == device.id);
        assert_ne!(
            has(PinKind::Ground),
            listed(without_ground),
            "{}",
            device.id
        );
        assert_ne!(
            has(PinKind::Supply),
            listed(without_supply),
            "{}",
            device.id
        );
        for supply in &device.supplies {
            assert!(device.pin(&supply.pin).is_some(), "{}", device.id);
        }
    }
}

/// Every digital pin knows its levels, every level is a family.
#[test]
fn levels_are_families() {
    for device in library().devices() {
        for pin in device.pins.iter().filter(|pin| pin.kind.is_digital()) {
            let known = pin.level.as_deref().and_then(|id| library().family(id));
            let linear = device.family.is_none() && pin.level.is_none();
            assert!(known.is_some() || linear, "{} {}", device.id, pin.name);
        }
    }
}

/// Logic has its supply and ground at the corners, but for the types listed here.
/// Source: the supply lines of the TTL and CMOS data books, from memory, written down apart from the devices.
#[test]
fn logic_is_fed_at_the_corners() {
    let odd = [
        ("74ls73", 4, 11),
        ("74ls75", 5, 12),
        ("74ls76", 5, 13),
        ("74ls83", 5, 12),
        ("74ls90", 5, 10),
        ("74ls92", 5, 10),
        ("74ls93", 5, 10),
        ("4049", 1, 8),
        ("4050", 1, 8),
    ];
    let mut corners = 0;
    for device in with_pins().filter(|device| {
        (device.id.starts_with("74") || device.id.starts_with('4'))
            && device.package.starts_with("DIP")
    }) {
        let family = device.family.as_deref().unwrap_or_default();
        if !matches!(family, "74" | "ls" | "s" | "4000b") || device.supplies.len() > 1 {
            continue;
        }
        let count = u32::try_from(device.pins.len()).expect("few pins");
        let (supply, ground) = odd
            .iter()
            .find(|(id, ..)| *id == device.id)
            .map_or((count, count / 2), |&(_, supply, ground)| (supply, ground));
        let kind = |number: u32| device.pins[number as usize - 1].kind;
        assert_eq!(kind(supply), PinKind::Supply, "{}", device.id);
        assert_eq!(kind(ground), PinKind::Ground, "{}", device.id);
        corners += 1;
    }
    assert!(corners >= 150, "{corners}");
}

/// How many functions of each series the catalogue has.
#[test]
fn the_series_are_there() {
    let of = |family: &[&str], start: &str| {
        with_pins()
            .filter(|device| device.id.starts_with(start))
            .filter(|device| family.contains(&device.family.as_deref().unwrap_or_default()))
            .count()
    };
    assert!(of(&["74", "ls", "s"], "74") >= 110);
    assert!(of(&["4000b"], "4") >= 40);
}

/// Supplies and key pins of chips that are not of a logic series: device, then `number name` pairs.
/// Source: data sheets of the makers, from memory, written down apart from the devices.
const KEY_PINS: &[(&str, &str)] = &[
    (
        "z80a",
        "6 CLK, 11 VCC, 16 /INT, 19 /MREQ, 26 /RESET, 27 /M1, 29 GND, 30 A0, 5 A15, 14 D0",
    ),
    (
        "8080a",
        "2 GND, 11 VBB, 20 VCC, 28 VDD, 12 RESET, 22 PHI1, 15 PHI2, 10 D0, 25 A0",
    ),
    ("8085a", "20 VSS, 40 VCC, 30 ALE, 36 /RESETIN, 12 AD0, 1 X1"),
    (
        "6502",
        "1 VSS, 8 VCC, 21 VSS, 37 PHI0, 39 PHI2OUT, 40 /RES, 4 /IRQ, 6 /NMI, 9 A0, 33 D0, 34 R//W, 38 /SO",
    ),
    ("65c02", "1 VSS, 8 VCC, 21 VSS, 37 PHI0, 40 /RES, 33 D0"),
    (
        "w65c02s",
        "1 /VP, 8 VDD, 21 VSS, 36 BE, 37 PHI2, 40 /RES, 33 D0",
    ),
    (
        "6507",
        "1 /RES, 2 VSS, 4 VCC, 5 A0, 25 D0, 26 R//W, 27 PHI0",
    ),
    (
        "6800",
        "1 VSS, 8 VCC, 21 VSS, 3 PHI1, 37 PHI2, 40 /RESET, 33 D0, 5 VMA",
    ),
    ("6802", "1 VSS, 8 VCC, 21 VSS, 35 VCCSB, 37 E, 40 /RESET"),
    (
        "6809",
        "1 VSS, 7 VCC, 34 E, 35 Q, 37 /RESET, 40 /HALT, 8 A0, 31 D0",
    ),
    (
        "8088",
        "1 GND, 20 GND, 40 VCC, 19 CLK, 21 RESET, 16 AD0, 33 MN//MX",
    ),
    ("8039", "20 VSS, 40 VCC, 26 VDD, 4 /RESET, 12 DB0, 9 /PSEN"),
    ("1802", "20 VSS, 16 VCC, 40 VDD, 1 CLOCK, 3 /CLEAR, 15 BUS0"),
    ("z80-pio", "11 GND, 26 VCC, 25 CLK, 37 /M1, 15 A0, 27 B0"),
    ("z80-ctc", "5 GND, 24 VCC, 15 CLK, 17 /RESET, 25 D0"),
    (
        "z80-sio0",
        "9 VCC, 31 GND, 20 CLK, 21 /RESET, 15 TXDA, 12 RXDA, 40 D0",
    ),
    (
        "6522",
        "1 VSS, 20 VCC, 2 PA0, 10 PB0, 25 PHI2, 34 /RES, 33 D0, 21 /IRQ",
    ),
    (
        "6821",
        "1 VSS, 20 VCC, 2 PA0, 10 PB0, 25 E, 34 /RESET, 33 D0, 21 R//W",
    ),
    ("6850", "1 VSS, 12 VCC, 14 E, 2 RXD, 6 TXD, 22 D0"),
    (
        "6551",
        "1 VSS, 15 VCC, 4 /RES, 10 TXD, 12 RXD, 27 PHI2, 18 D0",
    ),
    (
        "6845",
        "1 VSS, 20 VCC, 21 CLK, 39 HSYNC, 40 VSYNC, 33 D0, 4 MA0",
    ),
    (
        "6847",
        "1 VSS, 17 VCC, 33 CLK, 28 Y, 37 /FS, 38 /HS, 3 DD0, 40 DD7, 22 DA0",
    ),
    (
        "6532",
        "1 VSS, 20 VCC, 39 PHI2, 34 /RES, 8 PA0, 24 PB0, 7 A0",
    ),
    (
        "8251",
        "4 GND, 26 VCC, 20 CLK, 21 RESET, 19 TXD, 3 RXD, 27 D0",
    ),
    ("8253", "12 GND, 24 VCC, 8 D0, 9 CLK0, 10 OUT0, 22 /RD"),
    (
        "8255",
        "7 GND, 26 VCC, 35 RESET, 34 D0, 4 PA0, 18 PB0, 14 PC0, 6 /CS",
    ),
    ("8257", "20 GND, 31 VCC, 12 CLK, 13 RESET, 30 D0, 32 A0"),
    ("8259a", "14 GND, 28 VCC, 1 /CS, 17 INT, 11 D0, 18 IR0"),
    ("8224", "8 GND, 16 VCC, 9 VDD, 11 PHI1, 10 PHI2, 1 RESET"),
    ("8228", "14 GND, 28 VCC, 15 D0, 13 DB0, 24 /MEMR"),
    ("8212", "12 GND, 24 VCC, 3 DI1, 4 DO1, 14 /CLR"),
    ("8279", "20 VSS, 40 VCC, 3 CLK, 12 DB0"),
    (
        "tms9918a",
        "12 VSS, 33 VCC, 34 /RESET, 36 COMVID, 40 XTAL1, 39 XTAL2",
    ),
    ("upd765", "20 GND, 40 VCC, 1 RESET, 19 CLK, 6 DB0"),
    ("wd1793", "20 VSS, 21 VCC, 40 VDD, 24 CLK, 19 /MR, 7 DAL0"),
    ("wd1770", "14 GND, 15 VCC, 18 CLK, 13 /MR, 5 DAL0"),
    ("16450", "20 GND, 40 VCC, 1 D0, 11 SOUT, 10 SIN, 35 MR"),
    ("146818", "12 VSS, 24 VDD, 2 OSC1, 18 /RESET, 4 AD0"),
    ("2102", "9 GND, 10 VCC, 12 DOUT, 11 DIN, 13 /CE, 3 R//W"),
    ("2114", "9 GND, 18 VCC, 8 /CS, 10 /WE, 14 D1"),
    (
        "4116",
        "1 VBB, 8 VDD, 9 VCC, 16 VSS, 4 /RAS, 15 /CAS, 14 DOUT, 2 DIN",
    ),
    (
        "4164",
        "8 VCC, 16 VSS, 4 /RAS, 15 /CAS, 14 DOUT, 2 DIN, 3 /WE, 9 A7",
    ),
    ("4416", "9 VCC, 18 VSS, 5 /RAS, 16 /CAS, 4 /WE, 1 /OE"),
    ("6810", "1 GND, 24 VCC, 2 D0, 23 A0, 16 R//W"),
    ("2708", "12 VSS, 24 VCC, 19 VDD, 21 VBB, 8 A0, 9 D0, 20 /CS"),
    (
        "27c010",
        "16 GND, 32 VCC, 22 /CE, 24 /OE, 12 A0, 13 D0, 1 VPP",
    ),
    ("82s123", "8 GND, 16 VCC, 15 /CE, 10 A0, 1 O1"),
    ("82s129", "8 GND, 16 VCC, 5 A0, 12 O1, 13 /CE1, 14 /CE2"),
    (
        "ay-3-8910",
        "1 VSS, 40 VCC, 22 CLK, 23 /RESET, 4 A, 3 B, 38 C, 37 DA0, 27 BDIR",
    ),
    (
        "ay-3-8912",
        "6 VSS, 3 VCC, 15 CLK, 16 /RESET, 5 A, 4 B, 1 C, 28 DA0, 18 BDIR",
    ),
    ("sn76489", "8 GND, 16 VCC, 14 CLK, 7 AOUT, 4 READY, 5 /WE"),
    ("pal16l8", "10 GND, 20 VCC, 1 I1, 11 I10"),
    ("gal22v10", "12 GND, 24 VCC, 1 CLK, 13 I11"),
    ("82s100", "14 GND, 28 VCC, 19 /CE, 9 I0, 18 F0"),
    ("1488", "1 VEE, 14 VCC, 7 GND, 3 1Y"),
    ("1489", "14 VCC, 7 GND, 1 1A, 3 1Y"),
    (
        "max232",
        "16 VCC, 15 GND, 14 T1OUT, 13 R1IN, 12 R1OUT, 11 T1IN",
    ),
    ("ne555", "1 GND, 8 VCC, 3 OUT, 4 /RESET"),
    ("ne556", "7 GND, 14 VCC, 5 1OUT, 9 2OUT"),
    ("lm386", "4 GND, 6 VS, 5 OUT"),
    ("lm324", "4 V+, 11 V-, 1 OUT1"),
    ("tl072", "8 V+, 4 V-, 1 OUT1, 7 OUT2"),
    ("lm339", "3 VCC, 12 GND, 2 OUT1, 1 OUT2"),
    ("uln2003", "8 GND, 9 COM, 16 1C"),
    ("7805", "1 IN, 2 GND, 3 OUT"),
    ("7905", "1 GND, 2 IN, 3 OUT"),
    ("lm317", "1 ADJ, 2 OUT, 3 IN"),
    ("78l05", "1 OUT, 2 GND, 3 IN"),
    ("74lvc8t245", "1 VCCA, 24 VCCB, 12 GND, 2 DIR, 22 /OE"),
];

#[test]
fn key_pins() {
    for (id, pins) in KEY_PINS {
        for pair in pins.split(", ") {
            let (number, name) = pair.split_once(' ').expect("a pair");
            let number = number.parse().expect("a number");
            assert_eq!(at(id, number), name, "{id} pin {number}");
        }
    }
}

/// Numbers of the pins at which two devices differ by name.
fn differ(one: &str, other: &str) -> Vec<u32> {
    let pins = device(one).pins.iter().zip(&device(other).pins);
    pins.filter(|(a, b)| a.name != b.name)
        .map(|(a, _)| a.number)
        .collect()
}

/// Families that share a socket differ where the drawings say, and nowhere else.
/// Source: JEDEC's byte-wide pin-outs and the makers' second-source lists, from memory.
#[test]
fn relatives_differ_where_they_should() {
    let check = |one: &str, other: &str, pins: &[u32]| {
        assert_eq!(differ(one, other), pins, "{one} and {other}");
    };
    check("2716", "2732", &[21]);
    check("2716", "6116", &[21]);
    check("2332", "2364", &[20, 21]);
    check("2316", "2332", &[18, 21]);
    check("2764", "27128", &[26]);
    check("27128", "27256", &[27]);
    check("27256", "27512", &[1]);
    check("27256", "62256", &[1, 27]);
    check("27256", "28c256", &[1, 27]);
    check("62256", "28c256", &[]);
    check("6264", "62256", &[1, 20, 26]);
    check("4164", "41256", &[1]);
    check("4416", "4464", &[]);
    check("4116", "4164", &[1, 8, 9]);
    check("6502", "65c02", &[]);
    check("6502", "w65c02s", &[1, 5, 8, 36, 37]);
    check("6809", "6809e", &[33, 36, 38, 39]);
    check("8253", "8253-5", &[]);
    check("8257", "8237a", &[5, 14, 15, 24, 25, 36]);
    check("ay-3-8910", "ym2149", &[26]);
    check("82s123", "82s23", &[]);
    check("74ls241", "74ls244", &[19]);
    check("74ls245", "74ls640", &[]);
    check("74ls245", "74ls641", &[]);
    check("74ls373", "74ls374", &[11]);
    check("74ls573", "74ls574", &[11]);
    check("74ls273", "74ls374", &[1]);
    check("74ls273", "74ls377", &[1]);
    check(
        "74ls374",
        "74ls574",
        &[2, 3, 4, 5, 6, 7, 8, 9, 12, 13, 14, 15, 16, 17, 18, 19],
    );
    check("74ls00", "74ls08", &[]);
    check("74ls00", "74ls32", &[]);
    check("74ls00", "74ls86", &[]);
    check(
        "74ls00",
        "74ls02",
        &[1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 12, 13],
    );
    check("74ls161", "74ls163", &[]);
    check("74ls190", "74ls191", &[]);
    check("74ls123", "74ls221", &[]);
    check("74ls125", "74ls126", &[1, 4, 10, 13]);
    check("74ls151", "74ls251", &[]);
    check("74ls153", "74ls253", &[]);
    check("74ls157", "74ls257", &[]);
    check("74ls158", "74ls258", &[]);
    check("74ls155", "74ls156", &[]);
    check("4011", "4081", &[]);
    check("4011", "4093", &[]);
    check("4069", "40106", &[]);
    check("4016", "4066", &[]);
    check("4020", "4060", &[9, 10, 11, 12, 13, 14, 15]);
    check("4528", "4538", &[]);
    check("lm358", "tl072", &[]);
}

/// A 74LS240 drives inverted, from the same pins as a 74LS244; inputs and outputs stand crosswise.
#[test]
fn bus_drivers_are_arranged_crosswise() {
    for line in 1..=4 {
        for (id, bar) in [("74ls244", ""), ("74ls240", "/")] {
            assert_eq!(at(id, 2 * line), format!("1A{line}"));
            assert_eq!(at(id, 20 - 2 * line), format!("{bar}1Y{line}"));
            assert_eq!(at(id, 9 + 2 * line), format!("2A{line}"));
            assert_eq!(at(id, 11 - 2 * line), format!("{bar}2Y{line}"));
        }
    }
    for pin in 2..=9 {
        assert_eq!(at("74ls245", pin), format!("A{}", pin - 1));
        assert_eq!(at("74ls245", 20 - pin), format!("B{}", pin - 1));
        assert_eq!(at("74ls541", 20 - pin), format!("Y{}", pin - 1));
        assert_eq!(at("74ls573", 21 - pin), format!("Q{}", pin - 1));
    }
}

/// A processor, memory or port has each line of its buses once, and as many as its size says.
#[test]
fn buses_are_whole() {
    let check = |id: &str, name: &str, lines: u32| {
        let device = device(id);
        for line in 0..lines {
            assert!(
                device.pin(&format!("{name}{line}")).is_some(),
                "{id} {name}{line}"
            );
        }
        assert!(
            device.pin(&format!("{name}{lines}")).is_none(),
            "{id} {name}{lines}"
        );
    };
    for id in [
        "z80a", "8080a", "6502", "65c02", "w65c02s", "6800", "6802", "6809", "6809e",
    ] {
        check(id, "A", 16);
        check(id, "D", 8);
    }
    check("6507", "A", 13);
    for (id, lines) in [
        ("2708", 10),
        ("2716", 11),
        ("2732", 12),
        ("2764", 13),
        ("27128", 14),
        ("27256", 15),
        ("27512", 16),
        ("27c010", 17),
        ("2316", 11),
        ("2332", 12),
        ("2364", 13),
        ("6810", 7),
        ("6116", 11),
        ("6264", 13),
        ("62256", 15),
        ("28c64", 13),
        ("28c256", 15),
        ("39sf010", 17),
    ] {
        check(id, "A", lines);
        check(id, "D", 8);
    }
    for (id, lines) in [
        ("2102", 10),
        ("2114", 10),
        ("4116", 7),
        ("4164", 8),
        ("41256", 9),
        ("4416", 8),
        ("4464", 8),
        ("82s123", 5),
        ("82s129", 8),
        ("74s189", 4),
    ] {
        check(id, "A", lines);
    }
    for id in [
        "z80-pio", "z80-ctc", "z80-sio0", "6522", "6821", "6840", "6850", "6551", "6845", "6532",
        "8251", "8253", "8255", "8257", "8237a", "8259a", "16450",
    ] {
        check(id, "D", 8);
    }
    for port in ["PA", "PB"] {
        for id in ["6522", "6821", "6532", "8255"] {
            check(id, port, 8);
        }
    }
}
