//! The starters: every set of answers makes a profile, and its chances lie where repairs lie.

mod support;

use catalogue::{
    Library, block_rates, check_profile, new_board, print_profile, questions, starter, starter_ids,
    starter_text, unknown_devices,
};
use expect_test::expect;
use support::{ids, read};

fn library() -> &'static Library {
    Library::built_in()
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
