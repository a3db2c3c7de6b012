//! Files of devices in the short form: read, or refused with all that is wrong.

use catalogue::Library;
use expect_test::{Expect, expect};

fn library() -> &'static Library {
    Library::built_in()
}

/// A chip of four pins in the short form.
const CHIP: &str = r#"[device]
id = "om-3"
title = "module"
role = "glue"
source = "from memory"
package = "DIP-4"
family = "ls"
faults = "gate"
pins = "A0..A1 GND VCC"
input = "A0..A1"
ground = "GND"
supply = [{ pin = "VCC", rail = "+5V", volts = [4.75, 5.25], ma = 1, most_ma = 2 }]
timing = { tPD = 10 }
variants = [
  { id = "om-4", family = "hct" },
  { id = "om-5", timing = { tPD = 5 } },
]
"#;

#[test]
fn pins_in_the_short_form() {
    let mine = library()
        .with_folder([("mine.toml", CHIP)])
        .unwrap_or_else(|problems| panic!("{}", problems[0]));
    let check = |id: &str, expect: Expect| {
        let device = mine.device(id).expect("a device");
        let pins: Vec<String> = device
            .pins
            .iter()
            .map(|pin| {
                let level = pin.level.as_deref().unwrap_or("-");
                format!("{} {} {:?} {level}", pin.number, pin.name, pin.kind)
            })
            .collect();
        let modes: Vec<&str> = device.modes().map(|mode| mode.id.as_str()).collect();
        let most = device.supplies[0].most_milliamps;
        expect.assert_eq(&format!(
            "{}\nmodes {}\nat most {most:?} mA at {:?} V, tPD {:?}",
            pins.join(", "),
            modes.join(" "),
            mine.supply_volts(device, "VCC"),
            device.timing.get("tPD"),
        ));
    };
    check(
        "om-3",
        expect![[r#"
        1 A0 Input ls, 2 A1 Input ls, 3 GND Ground -, 4 VCC Supply +5V
        modes dead warm
        at most Some(2.0) mA at Some((4.75, 5.25)) V, tPD Some(10.0)"#]],
    );
    check(
        "om-4",
        expect![[r#"
        1 A0 Input hct, 2 A1 Input hct, 3 GND Ground -, 4 VCC Supply +5V
        modes dead warm
        at most None mA at Some((4.5, 5.5)) V, tPD None"#]],
    );
    check(
        "om-5",
        expect![[r#"
        1 A0 Input ls, 2 A1 Input ls, 3 GND Ground -, 4 VCC Supply +5V
        modes dead warm
        at most Some(2.0) mA at Some((4.75, 5.25)) V, tPD Some(5.0)"#]],
    );
    assert_eq!(
        mine.device_ids().count(),
        library().device_ids().count() + 3
    );
}

#[test]
fn bad_devices_are_told() {
    let check = |from: &str, to: &str, expect: Expect| {
        let text = CHIP.replacen(from, to, 1);
        assert_ne!(text, CHIP, "{from}");
        let problems = library()
            .with_folder([("mine.toml", text.as_str())])
            .expect_err("bad");
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        expect.assert_eq(&lines.join("\n"));
    };
    check(
        "A0..A1 GND VCC",
        "A0..A2 GND VCC",
        expect![[r#"
        mine.toml:1:1: expected 4 pins, as `package` says, found 5 pins
        mine.toml:9:9: expected a kind for each pin, such as `input = "A0..A7"`, found `A2`"#]],
    );
    check(
        "input = \"A0..A1\"",
        "input = \"A0 B1\"",
        expect![[r#"
        mine.toml:9:9: expected a kind for each pin, such as `input = "A0..A7"`, found `A1`
        mine.toml:10:13: expected a name in `pins`, found `B1`; hint: did you mean `A1`?"#]],
    );
    check(
        "ground = \"GND\"",
        "ground = \"GND A0\"",
        expect!["mine.toml:11:15: expected one kind for each pin, found `A0` again"],
    );
    check(
        "pins = \"A0..A1 GND VCC\"",
        "pins = [{ n = 1, name = 'A0' }]",
        expect![[r#"
            mine.toml:1:1: expected 4 pins, as `package` says, found 1 pins
            mine.toml:10:10: expected kinds in the pins' own tables, or `pins` as a text of names, found `A0`"#]],
    );
    check(
        "\"gate\"",
        "\"gates\"",
        expect![
            "mine.toml:8:10: expected a set of faults, found `gates`; hint: did you mean `gate`?"
        ],
    );
    check(
        "[4.75, 5.25]",
        "[5.25, 4.75]",
        expect![
            "mine.toml:12:48: expected two voltages, the lower first, such as `[4.75, 5.25]`, found a list"
        ],
    );
    check(
        "ma = 1",
        "ma = 3",
        expect!["mine.toml:12:11: expected `ma` of at most `most_ma`, found 3 above 2"],
    );
    check(
        "pin = \"VCC\"",
        "pin = \"VDD\"",
        expect![[r#"
        mine.toml:1:1: expected a name in `pins`, found `VDD`; hint: known are `A0`, `A1`, `GND`, `VCC`
        mine.toml:9:20: expected a kind for each pin, such as `input = "A0..A7"`, found `VCC`"#]],
    );
    check(
        "tPD = 10",
        "tPD = -1",
        expect!["mine.toml:13:18: expected a time in ns, a number of at least 0, found `-1`"],
    );
    check(
        "family = \"hct\"",
        "familie = \"hct\"",
        expect![
            "mine.toml:15:18: expected a key that a variant has, found `familie`; hint: did you mean `family`?"
        ],
    );
    check(
        "id = \"om-4\"",
        "id = \"om-3\"",
        expect![
            "mine.toml:15:10: expected a name used once, found `om-3` again; hint: a device of this name is at line 2"
        ],
    );
    check(
        "title = \"module\"",
        "title = \"module\"\nsuply = 3",
        expect![
            "mine.toml:4:1: expected a key that a device has, found `suply`; hint: did you mean `supply`?"
        ],
    );
}

/// Whatever is cut off a device's file, it is read or refused, never half taken and never a panic.
#[test]
fn every_cut_device_is_told_or_read() {
    for end in 0..CHIP.len() {
        let text = &CHIP[..end];
        if let Ok(mine) = library().with_folder([("mine.toml", text)]) {
            let pins = mine.device("om-3").map_or(0, |device| device.pins.len());
            assert!(pins == 0 || pins == 4, "{text}");
        }
    }
}
