//! The types that a restorer of 8-bit micros was promised, each with what its sheet of facts must say.

use catalogue::{Device, Library};

/// Integrated circuits, by what they are; all have pins, supplies, limits and cautions or times where they matter.
const CHIPS: [(&str, &str); 14] = [
    (
        "processors",
        "z80 z80a z80b z84c0008 8080a 8085a 6502 65c02 6800 6802 6809 6809e 8088",
    ),
    (
        "peripherals",
        "z80-pio z80-ctc z80-sio0 6522 6821 6850 6551 8251 8253 8255 8257 8259a",
    ),
    ("video", "6845 6847 tms9918a"),
    ("static memories", "2102 2114 6116 62256"),
    ("dynamic memories", "4116 4164 41256 4416 4464"),
    ("EPROMs", "2716 2732 2764 27128 27256 27512"),
    ("mask ROMs", "2316 2332 2364"),
    ("sound", "ay-3-8910 sn76489"),
    ("linear", "ne555 lm386 lm324 tl072 lm339 lm1889"),
    ("regulators", "7805 7812 78l05 7905 7912 79l05 lm317"),
    ("drivers", "uln2003 1488 1489 max232"),
    (
        "programmable logic",
        "pal16l8 pal16r8 82s100 gal16v8 gal20v8 gal22v10",
    ),
    ("level translators", "74lvc245 74lvc8t245 txs0108e bss138"),
    (
        "logic",
        "74ls00 74ls04 74ls74 74ls138 74ls157 74ls244 74ls245 74ls373 4001 4017 4066",
    ),
];

/// Passive and mechanical parts: they have no pins that anybody probes, but they fail.
const PARTS: &str = "electrolytic tantalum film-x2 resistor-network crystal coil switch relay ic-socket \
                     edge-connector card-edge cartridge-connector membrane fuse battery";

fn device(id: &str) -> &'static Device {
    Library::built_in()
        .device(id)
        .unwrap_or_else(|| panic!("no device {id}"))
}

/// Chips of the groups named, one after the other.
fn chips(groups: &str) -> impl Iterator<Item = &'static Device> {
    for group in groups.split(", ") {
        assert!(CHIPS.iter().any(|(name, _)| *name == group), "{group}");
    }
    let wanted = move |group: &str| groups.split(", ").any(|one| one == group);
    let ids = CHIPS
        .iter()
        .filter(move |(group, _)| wanted(group))
        .flat_map(|(_, ids)| ids.split(' '));
    ids.map(device).collect::<Vec<_>>().into_iter()
}

#[test]
fn all_are_there_with_package_source_and_faults() {
    let ids = CHIPS.iter().flat_map(|(_, ids)| ids.split(' '));
    for device in ids.chain(PARTS.split_whitespace()).map(device) {
        let said = [&device.title, &device.role, &device.package, &device.source];
        assert!(said.iter().all(|text| !text.is_empty()), "{}", device.id);
        assert!(device.modes().count() > 0, "{}", device.id);
    }
    for (group, ids) in CHIPS {
        for device in ids.split(' ').map(device) {
            assert!(!device.pins.is_empty(), "{group}: {}", device.id);
        }
    }
}

/// As many as were asked for: 180 types, 70 functions of the 74 series, 15 of the 4000 series.
#[test]
fn there_are_enough() {
    let types: Vec<&Device> = Library::built_in()
        .devices()
        .filter(|device| device.variant_of.is_none())
        .collect();
    let of = |start: &str| {
        let mine = types.iter().filter(|device| {
            let rest = device.id.strip_prefix(start);
            rest.is_some_and(|rest| !rest.is_empty() && rest.chars().all(|c| c.is_ascii_digit()))
        });
        mine.count()
    };
    assert!(types.len() >= 180, "{}", types.len());
    assert!(of("74ls") >= 70, "{}", of("74ls"));
    assert!(of("40") >= 15, "{}", of("40"));
}

#[test]
fn supplies_say_their_limits() {
    let library = Library::built_in();
    let most = "processors, peripherals, video, static memories, dynamic memories, EPROMs, mask ROMs, sound, linear, \
                regulators, programmable logic, logic";
    for device in chips(most) {
        assert!(!device.supplies.is_empty(), "{}", device.id);
        let told = |supply: &catalogue::Supply| library.supply_volts(device, &supply.pin).is_some();
        assert!(device.supplies.iter().any(told), "{}", device.id);
    }
}

/// The typical current where a data sheet gives one, at least the highest of a good one.
#[test]
fn supplies_say_what_they_draw() {
    let drawn = "processors, peripherals, video, static memories, dynamic memories, EPROMs, mask ROMs, sound, \
                 programmable logic";
    for device in chips(drawn) {
        let told = |supply: &catalogue::Supply| {
            supply.milliamps.is_some() || supply.most_milliamps.is_some()
        };
        assert!(device.supplies.iter().any(told), "{}", device.id);
    }
}

#[test]
fn what_destroys_is_said() {
    for device in chips(
        "processors, peripherals, video, static memories, dynamic memories, EPROMs, mask ROMs, sound, linear, \
         regulators, drivers, programmable logic, logic",
    ) {
        let maxima = Library::built_in().maxima(device);
        let said = maxima.supply_volts.is_some() || maxima.pin_volts.is_some();
        assert!(said, "{}", device.id);
    }
}

/// What a check of whether a part fits must know.
#[test]
fn times_are_said() {
    let check = |groups: &str, symbols: &str| {
        for device in chips(groups) {
            let any = symbols
                .split(' ')
                .any(|symbol| device.timing.contains_key(symbol));
            assert!(any, "{}: {:?}", device.id, device.timing);
        }
    };
    check("processors, peripherals, sound", "tCYC tRD");
    check("static memories, EPROMs, mask ROMs", "tACC");
    check("dynamic memories", "tRAC");
    check("programmable logic", "tPD tSU");
}

#[test]
fn what_ruins_is_cautioned_against() {
    let check = |id: &str, says: &[&str]| {
        let cautions = device(id).cautions.join(" ");
        for word in says {
            assert!(cautions.contains(word), "{id}: {cautions}");
        }
    };
    check("4116", &["-5 V must come first"]);
    check("4164", &["Never above 7 V"]);
    check("8080a", &["-5 V"]);
    check("7905", &["tab is the input"]);
    check("lm317", &["tab is the output"]);
    check("lithium-cell", &["Never charge"]);
}
