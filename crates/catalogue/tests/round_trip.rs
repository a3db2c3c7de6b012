//! Any text is read without a panic; a printed profile is read back equal.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use catalogue::{
    Block, Cause, Check, CuredBy, Event, Function, Harm, Library, Mode, Mount, Need, Outcome,
    Outside, Part, Profile, Rail, RailFault, RailSide, Row, Scope, Site, Spoil, Target, Tells,
    parse_profile, parse_profile_bytes, print_profile,
};
use proptest::prelude::*;
use units::{Limits, Unit};

fn check_read_back(profile: &Profile) {
    let text = print_profile(profile);
    match parse_profile(&text, "printed", Library::built_in()) {
        Ok(read) => {
            let (read, printed) = (format!("{read:#?}"), format!("{profile:#?}"));
            let different = read
                .lines()
                .zip(printed.lines())
                .find(|(read, printed)| read != printed);
            assert_eq!(different, None, "{text}");
            assert_eq!(read, printed, "{text}");
        }
        Err(problems) => panic!("{}\n{text}", problems[0]),
    }
}

#[test]
fn boards_of_the_rules() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/rules");
    for entry in fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("an entry").path();
        if path
            .extension()
            .is_some_and(|extension| extension == "toml")
        {
            let text = fs::read_to_string(&path).expect("readable");
            check_read_back(
                &parse_profile(&text, "board", Library::built_in()).expect("a good board"),
            );
        }
    }
}

const PARTS: [&str; 4] = ["U1", "U2", "X1", "VR-1"];
const FUNCTIONS: [&str; 3] = ["clock", "reset", "boot-2"];
const RAILS: [&str; 2] = ["+5V", "+3.3V"];

fn title() -> impl Strategy<Value = String> {
    prop_oneof![
        "[ -~]{1,12}",
        "\\PC{1,8}",
        Just("a \"b\" \\ \n\t\u{1}\u{7f}é".to_owned())
    ]
}

fn chance() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), Just(1.0), 0.0..1.0f64, Just(1e-9)]
}

fn target() -> impl Strategy<Value = Target> {
    let side = prop_oneof![
        Just(RailSide::Whole),
        Just(RailSide::Present),
        Just(RailSide::High)
    ];
    prop_oneof![
        prop::sample::select(&FUNCTIONS[..]).prop_map(|id| Target::Function(id.to_owned())),
        (prop::sample::select(&RAILS[..]), side)
            .prop_map(|(rail, side)| Target::Rail(rail.to_owned(), side)),
    ]
}

fn present() -> impl Strategy<Value = Target> {
    target().prop_map(|target| match target {
        Target::Rail(rail, _) => Target::Rail(rail, RailSide::Present),
        function => function,
    })
}

prop_compose! {
    fn mode(id: &'static str, site: Site)(
        title in title(), chance in 0.0..0.5f64, shows in chance(), after_minutes in 0.0..90.0f64, high in any::<bool>(),
        spoils in prop::collection::vec((present(), chance()), 0..3), spares in prop::sample::subsequence(&FUNCTIONS[..], 0..3),
        cures in (chance(), chance(), chance()),
    ) -> Mode {
        let cured_by = CuredBy { reseat: cures.0, resolder: cures.1, clean: cures.2 };
        Mode {
            id: id.to_owned(), title, chance, site, shows, after_minutes,
            spoils: spoils.into_iter().map(|(target, chance)| Spoil { target, chance }).collect(),
            spares: spares.into_iter().map(str::to_owned).collect(),
            cured_by: if site == Site::Place { cured_by } else { CuredBy::default() },
            rail: if high { RailFault::High } else { RailFault::Low },
        }
    }
}

prop_compose! {
    fn part(reference: &'static str)(
        title in title(), chip in mode("dead", Site::Chip), other in mode("warm_bit", Site::Chip), place in mode("oxide", Site::Place),
        mount in prop_oneof![Just(Mount::Socket), Just(Mount::Soldered), Just(Mount::Plug)], optional in any::<bool>(),
        area in prop::option::of([0.0..300.0f64, 0.0..300.0, 0.1..50.0, 0.1..50.0]), device in prop::option::of("[a-z0-9-]{1,8}"),
    ) -> Part {
        Part { reference: reference.to_owned(), title, block: "main".to_owned(), device, mount, optional, modes: vec![chip, other, place], area }
    }
}

fn need() -> impl Strategy<Value = Need> {
    prop_oneof![
        prop::sample::select(&PARTS[..]).prop_map(|part| Need::Part(part.to_owned())),
        (prop::sample::select(&PARTS[..]), chance()).prop_map(|(part, chance)| Need::Mode {
            part: part.to_owned(),
            mode: "dead".to_owned(),
            chance
        }),
        (prop::sample::select(&RAILS[..]), chance()).prop_map(|(rail, chance)| Need::Target {
            target: Target::Rail(rail.to_owned(), RailSide::High),
            chance
        }),
    ]
}

/// Up to three needs, each of another thing.
fn needs() -> impl Strategy<Value = Vec<Need>> {
    prop::collection::vec(need(), 0..4).prop_map(|needs| {
        let key = |need: &Need| match need {
            Need::Part(part) => part.clone(),
            Need::Mode { part, mode, .. } => format!("{part}.{mode}"),
            Need::Target { target, .. } => format!("{target:?}"),
        };
        needs
            .into_iter()
            .map(|need| (key(&need), need))
            .collect::<BTreeMap<_, _>>()
            .into_values()
            .collect()
    })
}

fn tells() -> impl Strategy<Value = (Vec<Outcome>, Tells)> {
    let outcome = |id: &str, title: &str| Outcome {
        id: id.to_owned(),
        title: title.to_owned(),
    };
    let two = vec![outcome("pass", "pass"), outcome("fail", "fail")];
    let three = vec![
        outcome("no sync", "x"),
        outcome("b", "blank, \"black\""),
        outcome("c+", ""),
    ];
    let three = three.into_iter().map(|mut outcome| {
        outcome.id = outcome.id.replace(' ', "-");
        outcome
    });
    let three: Vec<Outcome> = three.collect();
    let row = (prop::collection::vec(target(), 1..3), 0.0..1.0f64).prop_map(|(fails, first)| Row {
        fails,
        shows: vec![first, 1.0 - first, 0.0],
    });
    prop_oneof![
        (target(), chance(), chance()).prop_map(move |(target, false_pass, false_fail)| {
            (
                two.clone(),
                Tells::Target {
                    target,
                    false_pass,
                    false_fail,
                },
            )
        }),
        prop::collection::vec(row, 0..3).prop_map(move |mut rows| {
            rows.push(Row {
                fails: Vec::new(),
                shows: vec![0.0, 0.25, 0.75],
            });
            (three.clone(), Tells::Rows(rows))
        }),
    ]
}

prop_compose! {
    fn check(id: &'static str)(
        texts in [title(), title()], caution in prop::option::of(title()), minutes in 0.0..60.0f64,
        set_up in prop::collection::vec("[a-z-]{1,9}", 0..3), requires in prop::collection::vec(target(), 0..3),
        harm in prop::option::of((target(), chance())), tells in tells(), blunder in chance(), repeats_same in any::<bool>(),
        limits in prop::option::of((-1e6..1e6f64, 0.0..1e6f64, any::<(bool, bool)>())),
    ) -> Check {
        let [title, how] = texts;
        let limits = limits.filter(|_| matches!(tells.1, Tells::Target { .. })).map(|(low, width, which)| Limits {
            unit: Unit::Hertz,
            low: Some(low).filter(|_| which.0 || !which.1),
            high: Some(low + width).filter(|_| which.1),
        });
        Check {
            id: id.to_owned(), aliases: vec![format!("{id}-too")], title, how, caution, minutes, set_up, requires, blunder, limits, repeats_same,
            harms: harm.into_iter().map(|(when, chance)| Harm { when, part: "U1".to_owned(), mode: "dead".to_owned(), chance }).collect(),
            at: vec!["U1.6".to_owned(), "the back".to_owned()], outcomes: tells.0, tells: tells.1,
        }
    }
}

prop_compose! {
    fn profile()(
        title in title(), unmodelled in chance(), parts in (part("U1"), part("U2"), part("X1"), part("VR-1")),
        rails in [(1.0..15.0f64, chance()), (-15.0..-1.0f64, chance())],
        needs in [needs(), needs(), needs()],
        links in [chance(), chance()], leaks in [chance(), chance(), chance()], checks in (check("look"), check("+5v")),
        outside in (title(), prop::collection::vec(present(), 0..3), chance()), event in (title(), chance(), any::<bool>(), chance()),
    ) -> Profile {
        let mut functions: Vec<Function> = FUNCTIONS.iter().zip(needs).zip(leaks)
            .map(|((id, needs), leak)| Function { id: (*id).to_owned(), title: format!("the {id}"), needs, leak }).collect();
        for (index, chance) in links.into_iter().enumerate() {
            let target = Target::Function(FUNCTIONS[index].to_owned());
            functions[index + 1].needs.push(Need::Target { target, chance });
        }
        let rails = RAILS.iter().zip(rails).map(|(name, (volts, leak))| {
            Rail { name: (*name).to_owned(), volts, tolerance: 0.05, fed_by: vec!["VR-1".to_owned()], leak }
        }).collect();
        Profile {
            id: "board-1".to_owned(), title, unmodelled, rails, functions,
            blocks: vec![Block { id: "main".to_owned(), title: "Main".to_owned() }],
            outside: vec![Outside { id: "brick".to_owned(), title: outside.0, serves: outside.1, chance: outside.2 }],
            parts: vec![parts.0, parts.1, parts.2, parts.3],
            events: vec![Event {
                id: "damp".to_owned(), title: event.0, chance: event.1, scope: if event.2 { Scope::Lot } else { Scope::Machine },
                causes: vec![Cause { part: "X1".to_owned(), mode: "oxide".to_owned(), chance: event.3 }],
            }],
            checks: vec![checks.0, checks.1],
            ..Profile::default()
        }
    }
}

const KEYS: &str = "board rail block outside part part.mode event function check id ref name needs tells shows fails otherwise outcomes limits harms \
    causes at chance after cured_by spoils where step area volts quantity low high serves requires";

fn near_miss() -> impl Strategy<Value = String> {
    let keys: Vec<&str> = KEYS.split(' ').collect();
    let value = "([0-9.e+-]{1,4}|'[A-Z0-9.*+-]{0,7}'|\\{[a-z0-9= ,'.]{0,20}\\}|\\[[a-z0-9',{}]{0,12}\\]|true)";
    (prop::sample::select(keys), 0..3usize, value).prop_map(|(key, kind, value)| match kind {
        0 => format!("[[{key}]]\n"),
        1 => format!("[{key}]\n"),
        _ => format!("{key} = {value}\n"),
    })
}

proptest! {
    #[test]
    fn a_printed_profile_is_read_back_equal(profile in profile()) {
        check_read_back(&profile);
    }

    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,200}") {
        let _ = parse_profile(&text, "any", Library::built_in());
    }

    #[test]
    fn any_bytes_are_read_without_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = parse_profile_bytes(&bytes, "any", Library::built_in());
    }

    #[test]
    fn near_misses_are_read_without_panic(lines in prop::collection::vec(near_miss(), 0..20)) {
        let _ = parse_profile(&lines.concat(), "any", Library::built_in());
    }

    #[test]
    fn a_damaged_profile_is_read_without_panic(at in 0.0..1.0f64, length in 0..20usize, put in "\\PC{0,4}") {
        let good = include_str!("data/rules/m01-black-screen.toml");
        let from = (at * good.len() as f64) as usize;
        let to = (from + length).min(good.len());
        if good.is_char_boundary(from) && good.is_char_boundary(to) {
            let _ = parse_profile(&format!("{}{put}{}", &good[..from], &good[to..]), "any", Library::built_in());
        }
    }
}
