//! The catalogue's own files: all embedded, all well formed, all agreeing with one another.

use std::fs;
use std::path::Path;

use catalogue::{Library, Profile, RemedyKind, Site, check_profile, parse_profile, print_profile};
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

fn read(text: &str) -> Profile {
    parse_profile(text, "short.toml", library())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
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
