//! The boards of the fault model's cases are read as they are meant.

use std::fs;
use std::path::Path;

use catalogue::{
    CuredBy, Library, Mount, Need, Profile, RailFault, RailSide, Scope, Site, Target, Tells,
    parse_profile,
};

fn board(name: &str) -> Profile {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/rules")
        .join(format!("{name}.toml"));
    let text = fs::read_to_string(&path).expect("the board is there");
    parse_profile(&text, name, Library::built_in())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

#[test]
fn all_thirty_are_read() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules");
    let mut read = 0;
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let name = entry
            .expect("an entry")
            .file_name()
            .into_string()
            .expect("plain names");
        if let Some(name) = name.strip_suffix(".toml") {
            let profile = board(name);
            assert!(
                !(profile.functions.is_empty() && profile.rails.is_empty()),
                "{name}"
            );
            read += 1;
        }
    }
    assert_eq!(read, 30);
}

#[test]
fn implicit_joints() {
    let board = board("m01-black-screen");
    let joint = |part: &str| {
        board
            .part(part)
            .and_then(|part| part.mode("joint"))
            .cloned()
    };
    let soldered = joint("U30").expect("soldered");
    assert_eq!((soldered.chance, soldered.site), (0.0, Site::Place));
    assert_eq!(
        soldered.cured_by,
        CuredBy {
            resolder: 0.9,
            ..CuredBy::default()
        }
    );
    assert_eq!(
        joint("U2").expect("socketed").cured_by,
        CuredBy {
            reseat: 0.7,
            ..CuredBy::default()
        }
    );
    assert_eq!(joint("U1"), None, "it has a place mode of its own");
}

#[test]
fn short_forms() {
    let board = board("m01-black-screen");
    let mode = |part: &str, mode: &str| {
        board
            .part(part)
            .and_then(|part| part.mode(mode))
            .cloned()
            .expect("a mode")
    };
    assert_eq!(mode("U2", "dead").chance, 0.04);
    assert_eq!(mode("U4", "dead").chance, 0.01);
    assert_eq!(mode("U2", "warm-bit").after_minutes, 8.0);
    assert_eq!(mode("U30", "runaway").rail, RailFault::High);
    assert_eq!(mode("U4", "flaky").shows, 0.4);
    assert_eq!(mode("U3", "jam").spares, ["video"]);
    assert_eq!(
        mode("U3", "jam").spoils[0].target,
        Target::Function("bus".to_owned())
    );
    assert_eq!(board.part("U4").expect("a part").mount, Mount::Plug);
    let clock = &board.function("clock").expect("a function").needs;
    let rail = Target::Rail("+5V".to_owned(), RailSide::Whole);
    assert_eq!(
        clock[..],
        [
            Need::Part("X1".to_owned()),
            Need::Target {
                target: rail,
                chance: 1.0
            }
        ]
    );
    assert_eq!(board.events[0].scope, Scope::Machine);
}

#[test]
fn checks_and_rows() {
    let board = board("m01-black-screen");
    let picture = board.check("picture").expect("a check");
    let ids: Vec<&str> = picture
        .outcomes
        .iter()
        .map(|outcome| outcome.id.as_str())
        .collect();
    assert_eq!(
        ids,
        ["start", "black", "white", "garbage", "nosync"],
        "in the order of the file"
    );
    let Tells::Rows(rows) = &picture.tells else {
        panic!("rows")
    };
    assert_eq!(rows[0].shows, [0.0, 0.2, 0.0, 0.0, 0.8]);
    assert!(rows[3].fails.is_empty());
    let rail = board.check("rail5").expect("a check");
    let limits = rail.limits.expect("limits");
    assert_eq!((limits.low, limits.high), (Some(4.75), Some(5.25)));
    let ids: Vec<&str> = rail
        .outcomes
        .iter()
        .map(|outcome| outcome.id.as_str())
        .collect();
    assert_eq!(ids, ["pass", "fail"]);
    assert!(board_of("r07-repeats-same"));
}

fn board_of(name: &str) -> bool {
    board(name).checks.iter().any(|check| check.repeats_same)
}
