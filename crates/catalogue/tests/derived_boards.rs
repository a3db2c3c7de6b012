//! What parts and rails bring: functions, checks, events and modes, in an order that begins with the supply.

mod support;

use catalogue::{Library, check_profile, parse_profile, print_profile, unknown_devices};
use expect_test::{Expect, expect};
use support::{ids, read};

fn library() -> &'static Library {
    Library::built_in()
}

/// Parts and rails only.
const SHORT: &str = r#"
[board]
id = "short"
[[rail]]
name = "+5V"
volts = 5.0
[[part]]
ref = "VR1"
device = "7805"
[[part]]
ref = "U1"
device = "z80a"
mount = "socket"
[[part]]
ref = "X1"
device = "crystal"
[[part]]
ref = "U2"
block = "clock"
device = "74ls04"
[[part]]
ref = "U3"
device = "27128"
mount = "socket"
[[part]]
ref = "U4-U11"
device = "4164"
mount = "socket"
[[part]]
ref = "U12"
device = "74ls138"
[[part]]
ref = "U13"
device = "6845"
mount = "socket"
[[part]]
ref = "U14"
block = "video"
device = "74ls166"
[[part]]
ref = "M1"
device = "modulator"
[[part]]
ref = "U15"
device = "ay-3-8910"
[[part]]
ref = "U16"
device = "8255"
[[part]]
ref = "J1"
device = "membrane-connector"
[[part]]
ref = "U17"
device = "ne555"
[[part]]
ref = "U18"
device = "74ls245"
"#;

#[test]
fn parts_and_rails_bring_the_rest() {
    let profile = read(SHORT);
    expect![[r#"
        functions: draw cool contacts gates cpu-chip ram-chips video-chip clock reset data-bus cpu-run decode rom ram ports boot steady video-sync picture signal sound keyboard
        checks: +5v current picture start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips video-chip video-ram key-lead supply-parts video-sync sound keyboard ports contacts other-screen
        events: overvoltage liquid damp someone-inside"#]].assert_eq(&ids(&profile));
    assert_eq!(check_profile(&profile), []);
    assert_eq!(unknown_devices(&profile, library()), []);
    assert_eq!(read(&print_profile(&profile)), profile);
    let printed = print_profile(&profile);
    let section = |head: &str| {
        let from = printed.find(head).unwrap_or_else(|| panic!("{head}"));
        printed[from..]
            .split("\n\n")
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    expect![[r#"
        [[rail]]
        name = "+5V"
        volts = 5.0
        tolerance = 0.05
        fed_by = ["VR1"]"#]]
    .assert_eq(&section("[[rail]]"));
    expect![[r#"
        [[part]]
        ref = "U1"
        title = "Z80A CPU, 4 MHz, NMOS"
        block = "cpu"
        device = "z80a"
        mount = "socket"
        [[part.mode]]
        id = "dead"
        title = "does nothing"
        chance = 0.03
        [[part.mode]]
        id = "jam"
        title = "holds a data line"
        chance = 0.008
        spoils = [{ function = "data-bus", chance = 0.9 }]
        [[part.mode]]
        id = "warm"
        title = "fails once warm"
        chance = 0.005
        after = 8.0
        [[part.mode]]
        id = "wrong"
        title = "wrong type or revision fitted"
        chance = 0.002
        [[part.mode]]
        id = "contact"
        title = "bad contact in the socket"
        chance = 0.01
        where = "place"
        shows = 0.7
        cured_by = { reseat = 0.7, resolder = 0.2, clean = 0.6 }
        [[part.mode]]
        id = "misseated"
        title = "a leg bent under or one row off"
        chance = 0.002
        where = "place"
        cured_by = { reseat = 0.95 }"#]]
    .assert_eq(&section("[[part]]\nref = \"U1\""));
    expect![[r#"
        [[part]]
        ref = "U2"
        title = "six inverters"
        block = "clock"
        device = "74ls04"
        mount = "soldered"
        [[part.mode]]
        id = "dead"
        title = "an output stuck or open"
        chance = 0.01
        [[part.mode]]
        id = "warm"
        title = "slow or failing once warm"
        chance = 0.002
        after = 8.0
        [[part.mode]]
        id = "joint"
        title = "cracked or dry joint"
        chance = 0.001
        where = "place"
        shows = 0.7
        cured_by = { resolder = 0.9 }"#]]
    .assert_eq(&section("[[part]]\nref = \"U2\""));
    expect![[r#"
        [[function]]
        id = "clock"
        title = "the clock reaches the CPU"
        needs = ["X1", "U2", "+5V"]
        leak = 0.002"#]]
    .assert_eq(&section("[[function]]\nid = \"clock\""));
    expect![[r#"
        [[function]]
        id = "picture"
        title = "the video circuit paints what is in memory"
        needs = ["U13", "U14", "+5V", "video-sync", { function = "ram", chance = 0.5 }, { function = "rom", chance = 0.15 }]
        leak = 0.003"#]]
    .assert_eq(&section("[[function]]\nid = \"picture\""));
    expect![[r#"
        [[check]]
        id = "+5v"
        aliases = ["+5V"]
        title = "+5V supply"
        how = "Measure +5V against ground at U1 pin 11; it should be 4.75 to 5.25 V."
        caution = "Keep the probe from bridging two pins."
        minutes = 1.0
        set_up = ["lid-off", "powered", "multimeter"]
        at = ["U1.11"]
        tells = "+5V"
        false_pass = 0.01
        false_fail = 0.01
        blunder = 0.02
        limits = { quantity = "voltage", low = "4.75 V", high = "5.25 V" }"#]]
    .assert_eq(&section("[[check]]\nid = \"+5v\""));
    expect![[r#"
        [[check]]
        id = "cpu-clock"
        aliases = ["clock"]
        title = "Clock at the CPU"
        how = "Probe U1 pin 6 against ground; look for a clean square wave."
        minutes = 2.0
        set_up = ["lid-off", "powered", "oscilloscope"]
        at = ["U1.6"]
        tells = "clock"
        false_pass = 0.01
        false_fail = 0.02
        blunder = 0.03"#]]
    .assert_eq(&section("[[check]]\nid = \"cpu-clock\""));
    expect![[r#"
        [[check]]
        id = "picture"
        aliases = ["screen"]
        title = "What does the screen show?"
        how = "Connect a screen that is known to be good, switch on and wait 10 seconds."
        minutes = 1.0
        set_up = ["powered", "screen"]
        outcomes = { start = "start-up screen", faulty = "it runs, but characters, colours or objects are wrong", black = "blank, black or one colour", white = "blank, white", garbage = "garbage", nosync = "no sync" }
        tells = [
          { fails = ["signal"], shows = { faulty = 0.08, black = 0.35, garbage = 0.02, nosync = 0.55 } },
          { fails = ["video-sync"], shows = { black = 0.35, garbage = 0.1, nosync = 0.55 } },
          { fails = ["boot", "picture"], shows = { faulty = 0.02, black = 0.36, white = 0.12, garbage = 0.5 } },
          { fails = ["picture"], shows = { faulty = 0.8, black = 0.08, white = 0.02, garbage = 0.1 } },
          { fails = ["boot", "ram"], shows = { faulty = 0.02, black = 0.25, white = 0.13, garbage = 0.6 } },
          { fails = ["boot"], shows = { faulty = 0.02, black = 0.4, white = 0.18, garbage = 0.4 } },
          { fails = ["ram"], shows = { start = 0.5, faulty = 0.4, garbage = 0.1 } },
          { fails = ["rom"], shows = { start = 0.5, faulty = 0.45, garbage = 0.05 } },
          { otherwise = true, shows = { start = 0.96, faulty = 0.03, garbage = 0.01 } },
        ]
        blunder = 0.01"#]].assert_eq(&section("[[check]]\nid = \"picture\""));
}

#[test]
fn written_things_replace_and_add() {
    let text = format!(
        "{SHORT}[[function]]\nid = 'clock'\nneeds = ['X1']\n[[function]]\nid = 'tape'\nneeds = ['U16']\n\
         [[check]]\nid = 'cpu-clock'\ntells = 'clock'\n[[check]]\nid = 'beep'\ntells = 'sound'\n[[event]]\nid = 'damp'\nchance = 0.5\n"
    );
    let profile = read(&text);
    expect![[r#"
        functions: draw cool contacts gates cpu-chip ram-chips video-chip clock reset data-bus cpu-run decode rom ram ports boot steady video-sync picture signal sound keyboard tape
        checks: +5v current picture start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips video-chip video-ram key-lead supply-parts video-sync sound keyboard ports contacts other-screen beep
        events: overvoltage liquid damp someone-inside"#]].assert_eq(&ids(&profile));
    assert_eq!(
        profile
            .function("clock")
            .map(|function| function.needs.len()),
        Some(1)
    );
    assert_eq!(
        profile.check("cpu-clock").map(|check| check.title.as_str()),
        Some("cpu-clock")
    );
    assert_eq!(
        profile.check("sound").map(|check| check.aliases.len()),
        Some(0),
        "`beep` is a check now"
    );
    let without = read(
        &SHORT
            .replace(
                "id = \"short\"",
                "id = \"short\"\nderive = false\n[[block]]\nid = \"b\"",
            )
            .replace("device =", "block = \"b\"\ndevice =")
            .replace("block = \"clock\"\n", "")
            .replace("block = \"video\"\n", ""),
    );
    expect![[r#"
        functions: 
        checks: 
        events: "#]]
    .assert_eq(&ids(&without));
}

#[test]
fn modes_of_a_part_replace_those_of_its_device() {
    let modes = |mode: &str| {
        let profile = read(&SHORT.replacen(
            "device = \"z80a\"",
            &format!("device = \"z80a\"\nmode = [{mode}]"),
            1,
        ));
        let part = profile.part("U1").expect("a part").clone();
        part.modes
            .iter()
            .map(|mode| mode.id.clone())
            .collect::<Vec<_>>()
            .join(" ")
    };
    expect!["dead jam warm wrong contact misseated"].assert_eq(&modes(""));
    expect!["slow contact misseated"].assert_eq(&modes("{ id = 'slow', chance = 0.1 }"));
    expect!["oxide dead jam warm wrong"]
        .assert_eq(&modes("{ id = 'oxide', chance = 0.1, where = 'place' }"));
}

#[test]
fn unknown_devices_are_told() {
    let check = |from: &str, to: &str, expect: Expect| {
        let lines = match parse_profile(&SHORT.replacen(from, to, 1), "short.toml", library()) {
            Ok(profile) => unknown_devices(&profile, library())
                .iter()
                .map(ToString::to_string)
                .collect::<Vec<_>>(),
            Err(problems) => problems.iter().map(ToString::to_string).collect(),
        };
        expect.assert_eq(&lines.join("\n"));
    };
    check(
        "\"z80a\"",
        "\"z8oa\"",
        expect![
            "short.toml:12:10: expected a device of the catalogue, or modes of the part's own, found `z8oa`; hint: did you mean `z80a`?"
        ],
    );
    check(
        "\"z80a\"",
        "\"om-3\"\nblock = \"cpu\"\nmode = [{ id = 'dead', chance = 0.1 }]",
        expect!["part `U1` names device `om-3`, which the catalogue does not know"],
    );
}

/// Boards of which nothing but rails and parts is written: each gets its checks in an order that begins with the supply.
#[test]
fn rails_and_parts_alone_bring_an_order_of_checks() {
    let check = |rails: &[(&str, f64)], parts: &[(&str, &str)], expect: Expect| {
        let mut text = "[board]\nid = \"made\"\n".to_owned();
        for (name, volts) in rails {
            text += &format!("[[rail]]\nname = \"{name}\"\nvolts = {volts:?}\n");
        }
        for (reference, device) in parts {
            text += &format!("[[part]]\nref = \"{reference}\"\ndevice = \"{device}\"\n");
        }
        let profile = read(&text);
        assert!(profile.rails.iter().all(|rail| !rail.fed_by.is_empty()));
        let said = |id: &str| {
            let check = profile.check(id)?;
            Some(format!("{id} at {}: {}", check.at.join(" "), check.how))
        };
        let pins = ["cpu-clock", "cpu-reset", "cpu-fetch", "rom-select"].map(said);
        let pins: Vec<String> = pins.into_iter().flatten().collect();
        let ids = profile.checks.iter().map(|check| check.id.as_str());
        let ids: Vec<&str> = ids.collect();
        expect.assert_eq(&format!("{}\n{}", ids.join(" "), pins.join("\n")));
    };
    check(
        &[("+5V", 5.0), ("+12V", 12.0), ("-5V", -5.0)],
        &[
            ("U30", "7805"),
            ("U31", "7812"),
            ("U32", "icl7660"),
            ("BR1", "bridge-rectifier"),
            ("X1", "crystal"),
            ("U1", "z80a"),
            ("U2", "2716"),
            ("U3-U10", "4116"),
            ("U11", "74ls138"),
            ("U12-U14", "74ls157"),
            ("U15", "6845"),
            ("U16", "8255"),
            ("C1", "electrolytic"),
        ],
        expect![[r#"
            +5v +12v -5v current picture start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips video-chip video-ram supply-parts video-sync ports contacts
            cpu-clock at U1.6: Probe U1 pin 6 against ground; look for a clean square wave.
            cpu-reset at U1.26: Watch U1 pin 26 while switching on; it should go low for a moment and then rest high.
            cpu-fetch at U1.27: Probe U1 pin 27; a running CPU pulses it without pause.
            rom-select at U2.18: Probe U2 pin 18 after switching on; it should pulse."#]],
    );
    check(
        &[("+5V", 5.0)],
        &[
            ("U30", "7805"),
            ("X1", "crystal"),
            ("U1", "6502"),
            ("U2", "2332"),
            ("U3-U4", "2114"),
            ("U5", "6522"),
            ("U6", "74ls145"),
            ("U7", "6840"),
            ("U8", "74ls00"),
        ],
        expect![[r#"
            +5v current start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips supply-parts ports contacts
            cpu-clock at U1.39: Probe U1 pin 39 against ground; look for a clean square wave.
            cpu-reset at U1.40: Watch U1 pin 40 while switching on; it should go low for a moment and then rest high.
            cpu-fetch at U1.7: Probe U1 pin 7; a running CPU pulses it without pause.
            rom-select at U2.20: Probe U2 pin 20 after switching on; it should pulse."#]],
    );
    check(
        &[("+5V", 5.0)],
        &[
            ("F1", "fuse"),
            ("U1", "8088"),
            ("U2", "8284a"),
            ("U3", "8259a"),
            ("U4", "8237a"),
            ("U5", "2764"),
            ("U6-U13", "4164"),
            ("U14", "8255"),
            ("U15", "upd765"),
            ("U16", "74ls245"),
            ("U17", "pal16l8"),
            ("U18", "1488"),
        ],
        expect![[r#"
            +5v current start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips supply-parts ports disk contacts
            cpu-clock at U1.19: Probe U1 pin 19 against ground; look for a clean square wave.
            cpu-reset at U1.21: Watch U1 pin 21 while switching on; it should go high for a moment and then rest low.
            cpu-fetch at U1.25: Probe U1 pin 25; a running CPU pulses it without pause.
            rom-select at U5.20: Probe U5 pin 20 after switching on; it should pulse."#]],
    );
}
