//! The catalogue's own files: all embedded, all well formed, all agreeing with one another.

use std::fs;
use std::path::Path;

use catalogue::{
    Library, Profile, RemedyKind, Site, block_rates, check_profile, new_board, parse_profile,
    print_profile, questions, starter, starter_ids, starter_text, unknown_devices,
};
use expect_test::{Expect, expect};

fn library() -> &'static Library {
    Library::built_in()
}

#[test]
fn every_file_is_embedded() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../catalogue");
    let list = include_str!("../src/built_in.rs");
    for kind in ["devices", "families", "remedies", "rules", "starters"] {
        for entry in fs::read_dir(folder.join(kind)).expect("the folder is there") {
            let name = format!(
                "{kind}/{}",
                entry.expect("an entry").file_name().to_string_lossy()
            );
            assert!(
                list.contains(&format!("{name}\"")),
                "{name} is not in src/built_in.rs"
            );
        }
    }
}

#[test]
fn devices_are_well_formed() {
    let types = library()
        .devices()
        .filter(|device| device.variant_of.is_none());
    assert!(types.count() >= 300);
    for device in library().devices() {
        assert!(
            !device.source.is_empty() && !device.title.is_empty(),
            "{}",
            device.id
        );
        for site in [Site::Chip, Site::Place] {
            let sum: f64 = device
                .modes()
                .filter(|mode| mode.site == site)
                .map(|mode| mode.chance)
                .sum();
            assert!(sum < 0.6, "{}: {sum}", device.id);
        }
        assert!(device.modes().next().is_some(), "{}", device.id);
    }
}

#[test]
fn remedies_are_for_known_devices() {
    for remedy in library().remedies() {
        assert!(
            remedy.for_device == "*" || library().device(&remedy.for_device).is_some(),
            "{}",
            remedy.id
        );
        assert!(
            remedy.works > 0.5 && remedy.fails_per_year < 0.2,
            "{}",
            remedy.id
        );
        let bought = remedy.item.is_some() || remedy.build.is_some();
        let by_hand = matches!(
            remedy.kind,
            RemedyKind::Reseat | RemedyKind::Resolder | RemedyKind::Clean | RemedyKind::Salvage
        );
        assert_ne!(bought, by_hand, "{}", remedy.id);
    }
}

#[test]
fn every_device_has_a_remedy_for_each_mode() {
    for device in library().devices() {
        for mode in device.modes() {
            let cured = library()
                .remedies_for(Some(&device.id), "any")
                .any(|remedy| remedy.cures(mode));
            assert!(cured, "{} {}", device.id, mode.id);
        }
        let of = device.variant_of.as_deref().unwrap_or(&device.id);
        let own = library()
            .remedies()
            .iter()
            .any(|remedy| remedy.for_device == of);
        assert!(own, "{} has no remedy of its own", device.id);
    }
}

#[test]
fn a_folder_adds_and_replaces() {
    let text = "[[remedy]]\nid = '4164-nos'\nfor_device = '4164'\nkind = 'new-old-stock'\nitem = 'x'\nminutes = 1\nworks = 0.5\n\
                [device]\nid = 'om-3'\ntitle = 'module'\nrole = 'glue'\nsource = 'from memory'\nmode = [{ id = 'dead', chance = 'rare' }]\n";
    let mine = library().with_folder([("mine.toml", text)]).expect("good");
    assert_eq!(
        mine.remedy("4164-nos").map(|remedy| remedy.works),
        Some(0.5)
    );
    assert_eq!(
        mine.device("om-3").map(|device| device.role.as_str()),
        Some("glue")
    );
    assert_eq!(mine.remedies().len(), library().remedies().len());
}

#[test]
fn boards_to_build_are_read() {
    let text = "[[build]]\nid = 'ob-2'\ntitle = 'picture board'\nuses = [{ item = 'blank' }, { item = 'strip', n = 2 }]\n\
                set_up_minutes = 20\nminutes = '30 min'\nprogram_minutes = 4\nyield = 0.9\n";
    let mine = library().with_folder([("mine.toml", text)]).expect("good");
    let build = mine.build("ob-2").expect("it is there");
    assert_eq!(
        build.uses,
        [("blank".to_owned(), 1), ("strip".to_owned(), 2)]
    );
    let minutes = (build.set_up_minutes, build.minutes, build.program_minutes);
    assert_eq!((minutes, build.yields), ((20.0, 30.0, 4.0), 0.9));
    let wrong =
        "[[build]]\nid = 'ob-2'\nuses = [{ item = 'blank', n = 1.5 }, { n = 2 }]\nyields = 0.9\n";
    let problems = library()
        .with_folder([("mine.toml", wrong)])
        .expect_err("bad");
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    expect![[r#"
        mine.toml:1:1: expected a key `minutes`, found a board to build without it
        mine.toml:1:1: expected a key `yield`, found a board to build without it
        mine.toml:3:31: expected a whole number from 1 to 1000, found `1.5`
        mine.toml:3:38: expected a key `item`, found an item of a board without it
        mine.toml:4:1: expected a key that a board to build has, found `yields`; hint: did you mean `yield`?"#]].assert_eq(&lines.join("\n"));
}

#[test]
fn bad_folders_are_told() {
    let check = |text: &str, expect: Expect| {
        let problems = library()
            .with_folder([("mine.toml", text)])
            .expect_err("bad");
        let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
        expect.assert_eq(&lines.join("\n"));
    };
    check(
        "",
        expect!["mine.toml:1:1: expected a file of devices and remedies, found an empty file"],
    );
    check(
        "[[remedy]]\nid = 'a'\nfor_device = '4164'\nkind = 'new'\nworks = 2\n",
        expect![[r#"
            mine.toml:4:8: expected one of `reseat`, `resolder`, `clean`, `salvage`, `used-original`, `new-old-stock`, `modern-equivalent`, `adapter`, `home-built`, `programmed-logic`, found kind `new`
            mine.toml:5:9: expected a chance, a number in 0 to 1 or one of the words `rare`, `sometimes`, `known culprit`, found chance `2`"#]],
    );
    check(
        "[[remedy]]\nid = 'a'\n",
        expect![[r#"
            mine.toml:1:1: expected a key `for_device`, found a remedy without it
            mine.toml:1:1: expected a key `kind`, found a remedy without it
            mine.toml:1:1: expected a key `works`, found a remedy without it"#]],
    );
    check(
        "[device]\nid = 'a'\ntitle = 'a'\nrole = 'cpo'\nsource = 'me'\npins = [{ n = 1, name = 'A', kind = 'inputs' }, { n = 1, name = 'B' }, { n = 0.5, name = 'C' }]\n",
        expect![[r#"
            mine.toml:1:1: expected each pin number once, found `1` twice
            mine.toml:2:6: expected a device of a known role, found `cpo`; hint: did you mean `cpu`?
            mine.toml:6:37: expected one of `input`, `output`, `bidirectional`, `tristate`, `open-collector`, `supply`, `ground`, `passive`, `analogue`, `unconnected`, found kind `inputs`; hint: did you mean `input`?
            mine.toml:6:78: expected a pin number, found `0.5`"#]],
    );
    let twice = "[[remedy]]\nid = 'a'\nfor_device = '*'\nkind = 'clean'\nworks = 1\n".repeat(2);
    check(
        &twice,
        expect![
            "mine.toml:7:6: expected a name used once, found `a` again; hint: a remedy of this name is at line 2"
        ],
    );
}

fn ids(profile: &Profile) -> String {
    let functions: Vec<&str> = profile
        .functions
        .iter()
        .map(|function| function.id.as_str())
        .collect();
    let checks: Vec<&str> = profile
        .checks
        .iter()
        .map(|check| check.id.as_str())
        .collect();
    let events: Vec<&str> = profile
        .events
        .iter()
        .map(|event| event.id.as_str())
        .collect();
    format!(
        "functions: {}\nchecks: {}\nevents: {}",
        functions.join(" "),
        checks.join(" "),
        events.join(" ")
    )
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

fn read(text: &str) -> Profile {
    parse_profile(text, "short.toml", library())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

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

#[test]
fn starters_are_good() {
    assert_eq!(
        starter_ids().collect::<Vec<_>>(),
        [
            "z80-micro",
            "6502-micro",
            "6809-micro",
            "8088-micro",
            "sbc",
            "arcade"
        ]
    );
    assert_eq!(starter("nothing"), None);
    for id in starter_ids() {
        let text = starter_text(id).expect("a starter");
        let profile = read(&text);
        assert_eq!(check_profile(&profile), [], "{id}");
        assert_eq!(unknown_devices(&profile, library()), [], "{id}");
        assert_eq!(read(&print_profile(&profile)), profile, "{id}");
    }
    let profile = starter("z80-micro").expect("a starter");
    assert_eq!(profile.parts.len(), 13);
    expect![[r#"
        functions: draw cool contacts whole gates cpu-chip ram-chips video-chip clock reset data-bus cpu-run decode rom ram ports boot steady video-sync picture signal sound keyboard
        checks: +5v current picture start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips video-chip video-ram key-lead supply-parts video-sync sound keyboard ports contacts tracks other-screen
        events: overvoltage lost-rail liquid damp battery someone-inside"#]].assert_eq(&ids(&profile));
    expect![[r#"
        functions: draw cool contacts whole gates cpu-chip ram-chips clock reset data-bus cpu-run decode rom ram ports boot steady display keyboard
        checks: +5v current display start steady cpu-clock cpu-reset cpu-fetch data-lines rom-select gates rom-read warm-chips ram-test cpu-chip ram-chips key-lead supply-parts keyboard ports contacts tracks
        events: overvoltage liquid damp battery someone-inside"#]].assert_eq(&ids(&starter("sbc").expect("a starter")));
}

/// Every set of answers that a person can give makes a profile that is read.
#[test]
fn all_answers_make_a_profile() {
    assert!((8..=12).contains(&questions().len()));
    let mut written = 0;
    for question in questions() {
        for choice in &question.choices {
            for other in questions() {
                for more in &other.choices {
                    let answers = [(&question.id, &choice.id), (&other.id, &more.id)];
                    let answers = answers
                        .into_iter()
                        .map(|(id, answer)| (id.clone(), answer.clone()))
                        .collect();
                    let text = new_board("mine", "Mine \"8\"", &answers).expect("answers");
                    assert!(text.len() < 16_000);
                    let profile = read(&text);
                    assert!(profile.parts.len() >= 8);
                    written += 1;
                }
            }
        }
    }
    assert!(written > 500, "{written}");
    let wrong = [
        ("cpu".to_owned(), "z90".to_owned()),
        ("colour".to_owned(), "red".to_owned()),
    ];
    expect![[r#"
        expected one of the questions `kind`, `cpu`, `ram`, `sockets`, `video`, `sound`, `keyboard`, `supply`, `ports`, `battery`, found `colour`
        expected for `cpu` one of `z80`, `6502`, `6809`, `8088`, found `z90`"#]].assert_eq(
        &new_board("mine", "Mine", &wrong.into()).expect_err("wrong answers").join("\n"),
    );
}

/// A kind of few repairs leans on all.
#[test]
fn rates_lean_on_all_kinds() {
    let rates = block_rates("sbc");
    let ram = rates
        .iter()
        .find(|rate| rate.block == "ram")
        .expect("a rate");
    assert_eq!((ram.of_kind, ram.of_all), ((1, 2), (13, 46)));
    assert!((ram.share - (1.0 + 20.0 * 13.0 / 46.0) / 22.0).abs() < 1e-12);
}

/// Chance that a block has a fault, against the share of cases with a cause in that block, in a collection of 46 documented
/// repairs of home micros (95 % intervals after Wilson): the starter's priors lie inside.
#[test]
fn priors_of_the_starter_lie_in_the_published_intervals() {
    let profile = starter("z80-micro").expect("a starter");
    for (part, low, high) in [
        ("CLOCK", 0.0224, 0.1750),
        ("CPU", 0.0473, 0.2304),
        ("DECODE", 0.0757, 0.2822),
        ("KEYBOARD", 0.0757, 0.2822),
        ("OUTPUT", 0.0038, 0.1134),
        ("PORTS", 0.0473, 0.2304),
        ("RAM", 0.1732, 0.4255),
        ("RESET", 0.0120, 0.1453),
        ("ROM", 0.0343, 0.2032),
        ("SOUND", 0.0224, 0.1750),
        ("SUPPLY", 0.0343, 0.2032),
        ("VIDEO", 0.1732, 0.4255),
    ] {
        let good: f64 = profile
            .part(part)
            .expect("a part")
            .modes
            .iter()
            .map(|mode| {
                let events: f64 = profile
                    .events
                    .iter()
                    .flat_map(|event| event.causes.iter().map(move |cause| (event, cause)))
                    .filter(|(_, cause)| cause.part == part && cause.mode == mode.id)
                    .map(|(event, cause)| 1.0 - event.chance * cause.chance)
                    .product();
                (1.0 - mode.chance) * events
            })
            .product();
        assert!(
            (low..high).contains(&(1.0 - good)),
            "{part}: {}",
            1.0 - good
        );
    }
}

/// The demo's own boards and remedies are read, and nothing in them smells.
#[test]
fn the_demo_is_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    let text = |name: &str| fs::read_to_string(folder.join(name)).expect("the file is there");
    let mine = library()
        .with_folder([("remedies.toml", text("remedies.toml").as_str())])
        .expect("good remedies");
    assert!(mine.remedies().len() > library().remedies().len());
    let profile = read(&text("boards/ostrel-8-r2.toml"));
    assert!(
        profile.parts.len() >= 55 && profile.checks.len() >= 30,
        "{}",
        profile.parts.len()
    );
    assert_eq!(check_profile(&profile), []);
    assert_eq!(read(&print_profile(&profile)), profile);
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

#[test]
fn a_remedy_for_several_devices() {
    let text = "[[remedy]]\nid = '{device}-mine'\nfor_device = ['4164', '41256']\nkind = 'new'\nitem = '{device}'\nworks = 1\n"
        .replace("'new'", "'new-old-stock'");
    let mine = library()
        .with_folder([("mine.toml", text.as_str())])
        .expect("good");
    let items = |device: &str| {
        let remedies = mine.remedies_for(Some(device), "any");
        let own = remedies.filter(|remedy| remedy.id.ends_with("-mine"));
        own.filter_map(|remedy| remedy.item.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(items("4164"), ["4164"]);
    assert_eq!(items("4164-150"), ["4164"]);
    assert_eq!(items("41256"), ["41256"]);
    assert_eq!(items("4116"), [""; 0]);
    let wrong = text.replace("{device}-mine", "mine");
    let problems = library().with_folder([("mine.toml", wrong.as_str())]);
    expect!["mine.toml:2:6: expected `{device}` in the id of a remedy for several, found `mine`"]
        .assert_eq(&problems.expect_err("bad")[0].to_string());
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
