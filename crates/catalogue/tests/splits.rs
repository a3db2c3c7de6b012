//! Parts taken to pieces: what stays is what the docs of `split` say.

use catalogue::{Library, Profile, Site, parse_profile, split_board, starter_text};
use expect_test::{Expect, expect};

fn library() -> &'static Library {
    Library::built_in()
}

fn starter(id: &str) -> String {
    starter_text(id).expect("a starter")
}

fn good(profile: &Profile, parts: &[String], site: Site) -> f64 {
    let side = |part: &String| {
        let part = profile.part(part).expect("a part");
        let modes = part.modes.iter().filter(|mode| mode.site == site);
        1.0 - modes.map(|mode| mode.chance).sum::<f64>()
    };
    parts.iter().map(side).product()
}

/// For every block of every starter: nothing of it is bad with the same chance as before, and each mode has nearly its own.
#[test]
fn pieces_together_are_the_whole() {
    for id in catalogue::starter_ids() {
        let text = starter(id);
        let before = parse_profile(&text, id, library()).expect("a profile");
        for part in &before.parts {
            let whole = part.reference.clone();
            let list = "U21 6845; U22-U25 74ls166; Q1 transistor";
            let split = split_board(&text, id, &whole, list, library()).expect("a split");
            assert_eq!(split.pieces, ["U21", "U22", "U23", "U24", "U25", "Q1"]);
            assert_eq!(split.after.now(&whole), split.pieces);
            assert!(split.after.part(&whole).is_none());
            for site in [Site::Chip, Site::Place] {
                let was = good(&before, std::slice::from_ref(&whole), site);
                let is = good(&split.after, &split.pieces, site);
                assert!(
                    (was - is).abs() < 1e-12,
                    "{id} {whole} {site:?}: {was} {is}"
                );
            }
            for mode in &part.modes {
                let pieces = split
                    .pieces
                    .iter()
                    .filter_map(|piece| split.after.part(piece));
                let sum: f64 = pieces
                    .filter_map(|piece| piece.mode(&mode.id))
                    .map(|piece| piece.chance)
                    .sum();
                let most =
                    mode.chance * (1.0 + part.modes.iter().map(|mode| mode.chance).sum::<f64>());
                assert!(
                    (mode.chance - 1e-12..=most + 1e-12).contains(&sum),
                    "{id} {whole}.{}: {} {sum}",
                    mode.id,
                    mode.chance
                );
            }
            for event in &before.events {
                let spared = |profile: &Profile, parts: &[String]| -> f64 {
                    let event = profile.events.iter().find(|known| known.id == event.id);
                    let causes = event.into_iter().flat_map(|event| &event.causes);
                    let mine = causes.filter(|cause| parts.contains(&cause.part));
                    mine.map(|cause| 1.0 - cause.chance).product()
                };
                let was = spared(&before, std::slice::from_ref(&whole));
                let is = spared(&split.after, &split.pieces);
                assert!((was - is).abs() < 1e-12, "{id} {whole} {}", event.id);
            }
            let ids = |profile: &Profile| -> Vec<String> {
                let functions = profile.functions.iter().map(|function| &function.id);
                let checks = profile.checks.iter().map(|check| &check.id);
                functions.chain(checks).cloned().collect()
            };
            assert_eq!(ids(&before), ids(&split.after), "{id} {whole}");
        }
    }
}

#[test]
fn blocks_are_found_and_pins_are_those_of_the_pieces() {
    let text = starter("z80-micro");
    let split = split_board(
        &text,
        "mine",
        "video",
        "U21 6845 socket; U22,U24 74LS166",
        library(),
    )
    .expect("a split");
    assert_eq!(split.whole, "VIDEO");
    assert_eq!(split.pieces, ["U21", "U22", "U24"]);
    let check = split.after.check("video-sync").expect("a check");
    assert_eq!(check.at, ["U21.39"]);
    assert!(check.how.contains("U21 pin 39"), "{}", check.how);
    let more = split_board(&split.text, "mine", "video", "U30", library()).expect("more pieces");
    assert_eq!(more.pieces, ["U21", "U22", "U24", "U30"]);
    let cpu =
        split_board(&more.text, "mine", "CPU", "U1 z80a; U4 74ls245", library()).expect("a split");
    let clock = cpu.after.check("cpu-clock").expect("a check");
    assert_eq!(clock.at, ["U1.6"]);
}

#[test]
fn bad_lists_are_refused_whole() {
    let text = starter("z80-micro");
    let check = |whole: &str, list: &str, expect: Expect| {
        let wrong = split_board(&text, "mine.toml", whole, list, library()).expect_err("a problem");
        expect.assert_eq(&wrong.join("\n"));
    };
    check(
        "video",
        "",
        expect!["expected pieces as `U21 6845; U22-U25 74ls166`, found nothing"],
    );
    check(
        "vidoe",
        "U21 6845",
        expect!["expected a part or a block of the board, found `vidoe`; did you mean `VIDEO`?"],
    );
    check(
        "video",
        "U21 6845; U22 74ls1666",
        expect![
            "expected a device of the catalogue, found `74ls1666` in `U22 74ls1666`; did you mean `74ls166`?"
        ],
    );
    check(
        "video",
        "U21 6845 U22 74ls166",
        expect!["expected `;` before the next piece, found `U22` in `U21 6845 U22 74ls166`"],
    );
    check(
        "video",
        "U21 6845; U21 74ls166",
        expect!["expected positions that nothing has yet, found `U21`"],
    );
    check(
        "video",
        "U25-U22 74ls166; ? 6845",
        expect![[r#"
        expected positions as `U21`, `U22-U25` or `U22,U24`, found `U25-U22` in `U25-U22 74ls166`
        expected positions as `U21`, `U22-U25` or `U22,U24`, found `?` in `? 6845`"#]],
    );
    check(
        "video",
        "RAM 4164",
        expect!["expected positions that nothing has yet, found `RAM`"],
    );
}

#[test]
fn pieces_in_a_file_are_checked() {
    let check = |from: &str, to: &str, expect: Expect| {
        let text = starter("z80-micro").replacen(from, to, 1);
        let wrong = parse_profile(&text, "mine.toml", library()).expect_err("a problem");
        let lines: Vec<String> = wrong.iter().map(ToString::to_string).collect();
        expect.assert_eq(&lines.join("\n"));
    };
    check(
        "role = \"video\"",
        "of = \"VIDOE\"",
        expect![[r#"
            mine.toml:199:6: expected a part that is no piece itself, found `VIDOE`; hint: known are `SUPPLY`, `CLOCK`, `RESET`, `CPU`, `ROM`, `RAM`, `DECODE`, `SOUND`, `KEYBOARD`, `PORTS`, `OUTPUT`, `BOARD`
            mine.toml:202:10: expected a piece without modes, as it shares those of its whole, found `dead`
            mine.toml:203:82: expected a function of this profile, found `video-sync`
            mine.toml:204:95: expected a function of this profile, found `video-sync`
            mine.toml:205:125: expected a function of this profile, found `video-sync`"#]],
    );
    check(
        "role = \"video\"",
        "role = \"vidoe\"",
        expect![[r#"
            mine.toml:199:8: expected a role of the catalogue, found `vidoe`; hint: did you mean `video`?
            mine.toml:203:82: expected a function of this profile, found `video-sync`
            mine.toml:204:95: expected a function of this profile, found `video-sync`
            mine.toml:205:125: expected a function of this profile, found `video-sync`"#]],
    );
    check(
        "role = \"video\"",
        "share = 0.5",
        expect![[r#"
            mine.toml:195:1: expected `share` beside `of`, for a piece of a part, found `share = 0.5` without `of`
            mine.toml:203:82: expected a function of this profile, found `video-sync`
            mine.toml:204:95: expected a function of this profile, found `video-sync`
            mine.toml:205:125: expected a function of this profile, found `video-sync`"#]],
    );
}
