//! How much of the usual a board takes: keys that scale, still or leave out what roles and devices bring.

use catalogue::{Library, Need, Profile, Target, parse_profile};
use expect_test::{Expect, expect};

const BOARD: &str = r#"
[board]
id = "short"

[[rail]]
name = "+5V"
volts = 5.0

[[part]]
ref = "U1"
device = "z80a"
mount = "socket"

[[part]]
ref = "U2"
device = "27128"
mount = "socket"

[[part]]
ref = "X1"
device = "crystal-14.000"

[[part]]
ref = "U30"
device = "7805"
"#;

/// The board with more in its `[board]`, and more behind.
fn read(board: &str, more: &str) -> Profile {
    let text = BOARD.replacen("id = \"short\"\n", &format!("id = \"short\"\n{board}\n"), 1);
    parse_profile(&(text + more), "short.toml", Library::built_in())
        .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn modes(profile: &Profile, part: &str) -> String {
    let part = profile.part(part).expect("a part");
    let mode = |mode: &catalogue::Mode| format!("{} {:.4} {}", mode.id, mode.chance, mode.shows);
    part.modes.iter().map(mode).collect::<Vec<_>>().join(", ")
}

fn check(board: &str, expect: Expect) {
    let profile = read(board, "");
    expect.assert_eq(&modes(&profile, "U1"));
}

#[test]
fn what_devices_bring_is_scaled_and_stilled() {
    check(
        "",
        expect![
            "dead 0.0300 1, jam 0.0080 1, warm 0.0050 1, wrong 0.0020 1, contact 0.0100 0.7, misseated 0.0020 1"
        ],
    );
    check(
        "chances = 0.5",
        expect![
            "dead 0.0150 1, jam 0.0040 1, warm 0.0025 1, wrong 0.0010 1, contact 0.0050 0.7, misseated 0.0010 1"
        ],
    );
    check(
        "at_times = false",
        expect![
            "dead 0.0300 1, jam 0.0080 1, wrong 0.0020 1, contact 0.0100 1, misseated 0.0020 1"
        ],
    );
}

#[test]
fn what_the_file_says_is_neither_scaled_nor_stilled() {
    let own = "[[part]]\nref = 'U9'\nrole = 'video'\ndevice = 'own'\nmount = 'socket'\nmode = [{ id = 'warm', chance = 0.1, after = '8 min' }]\n";
    let profile = read("chances = 0.5\nat_times = false", own);
    expect!["warm 0.1000 1, contact 0.0050 1, misseated 0.0010 1"]
        .assert_eq(&modes(&profile, "U9"));
    assert_eq!(
        profile.part("U9").map(|part| part.modes[0].after_minutes),
        Some(8.0)
    );
}

#[test]
fn what_roles_bring_can_be_left_out() {
    let has = |profile: &Profile, id: &str| {
        (
            profile.function(id).is_some(),
            profile.check(id).is_some(),
            profile.events.iter().any(|event| event.id == id),
        )
    };
    let all = read("", "");
    assert_eq!(has(&all, "steady"), (true, true, false));
    assert_eq!(has(&all, "damp"), (false, false, true));
    let less = read("without = ['steady', 'damp', 'rom']", "");
    for id in ["steady", "damp", "rom"] {
        assert_eq!(has(&less, id), (false, false, false), "{id}");
    }
    let boot = less.function("boot").expect("it stays");
    let names = |need: &Need| matches!(need, Need::Target { target: Target::Function(id), .. } if id == "rom");
    assert!(
        !boot.needs.iter().any(names),
        "nothing hangs on it any more"
    );

    let text = BOARD.replacen(
        "id = \"short\"\n",
        "id = \"short\"\nwithout = ['stedy']\n",
        1,
    );
    let problems = parse_profile(&text, "short.toml", Library::built_in()).expect_err("a slip");
    expect!["short.toml:4:12: expected a mode, function, check or event that devices and roles bring, found `stedy`; hint: did you mean `steady`?"]
        .assert_eq(&problems[0].to_string());
}

#[test]
fn a_low_rail_breaks_as_often_as_it_says() {
    let needs = |profile: &Profile| {
        let clock = profile.function("cpu-run").expect("it is derived");
        let rail = |need: &Need| match need {
            Need::Target {
                target: Target::Rail(name, side),
                chance,
            } => Some(format!("{name} {side:?} {chance}")),
            _ => None,
        };
        clock
            .needs
            .iter()
            .filter_map(rail)
            .collect::<Vec<_>>()
            .join(", ")
    };
    let whole = needs(&read("", ""));
    let text = BOARD.replacen("volts = 5.0\n", "volts = 5.0\nbreaks = 0.4\n", 1);
    let part = parse_profile(&text, "short.toml", Library::built_in()).expect("good");
    expect!["+5V Whole 1"].assert_eq(&whole);
    expect!["+5V Present 0.4, +5V High 1"].assert_eq(&needs(&part));
}

#[test]
fn a_check_without_tells_completes_the_usual_one() {
    let more = "[[check]]\nid = 'cpu-clock'\nset_up = ['lid-off', 'powered', 'frequency-counter']\n\
                limits = { quantity = 'frequency', low = '3.49 MHz', high = '3.51 MHz' }\n";
    let usual = read("", "");
    let usual = usual.check("cpu-clock").expect("it is derived");
    let profile = read("", more);
    let mine = profile.check("cpu-clock").expect("it is there");
    assert!(mine.limits.is_some() && usual.limits.is_none());
    assert_eq!(mine.set_up[2], "frequency-counter");
    assert_eq!(
        (&mine.title, &mine.how, &mine.at, &mine.aliases),
        (&usual.title, &usual.how, &usual.at, &usual.aliases)
    );
    // one that says what it tells of stands alone
    let alone = read("", &format!("{more}tells = 'reset'\n"));
    assert_eq!(
        alone.check("cpu-clock").map(|check| check.at.len()),
        Some(0)
    );
    // and where roles bring none of this name, something is missing
    let text = format!("{BOARD}{}", more.replace("cpu-clock", "tick"));
    let problems = parse_profile(&text, "short.toml", Library::built_in()).expect_err("no tells");
    assert!(
        problems[0].to_string().contains("no `tells`"),
        "{}",
        problems[0]
    );
}

#[test]
fn ways_to_fail_can_be_left_out() {
    check(
        "without = [\"jam\", \"wrong\", \"contact\"]",
        expect!["dead 0.0300 1, warm 0.0050 1, misseated 0.0020 1"],
    );
}

#[test]
fn a_function_keeps_the_usual_title_and_leak() {
    let more = r#"
[[function]]
id = "reset"
needs = ["U30"]
[[function]]
id = "clock"
title = "the clock ticks"
needs = ["X1"]
leak = 0.5
"#;
    let profile = read("", more);
    let told = |id: &str| {
        let mut functions = profile.functions.iter();
        let found = functions.find(|function| function.id == id);
        let found = found.expect("a function");
        format!("{}: {}, {}", found.title, found.needs.len(), found.leak)
    };
    expect![[r#"
        the reset line goes and then rests: 1, 0.002
        the clock ticks: 1, 0.5"#]]
    .assert_eq(&format!("{}\n{}", told("reset"), told("clock")));
}

#[test]
fn a_usual_check_is_made_where_the_board_says() {
    let more = r#"
[[check]]
id = "+5v"
at = ["U30.3"]
[[check]]
id = "cpu-clock"
at = ["X1"]
"#;
    let profile = read("", more);
    let told = |id: &str| {
        let found = profile.check(id).expect("a check");
        format!("{}: {}", found.at.join(" "), found.how)
    };
    expect![[r#"
        U30.3: Measure +5V against ground at U30 pin 3; it should be 4.75 to 5.25 V.
        X1: Probe X1 against ground; look for a clean square wave."#]]
    .assert_eq(&format!("{}\n{}", told("+5v"), told("cpu-clock")));
}

#[test]
fn one_is_written_for_each_of_several_parts() {
    let more = r#"
[[part]]
ref = "U4-U6"
device = "4164"
[[function]]
id = "bit-"
each = ["U5", "U4-U6"]
title = "bit {n} of {part} holds"
needs = ["{part}", "clock"]
[[check]]
id = "bit"
each = ["U5", "U4"]
title = "Bit {n}"
how = "Is bit {n} good at {part}?"
at = ["{part}"]
requires = ["bit-{n}"]
tells = "bit-{n}"
[[check]]
id = "cell"
each = ["U5", "U4"]
title = "Cell {n}"
how = "What does cell {n} say?"
outcomes = { low = "low", high = "high" }
harms = [{ when = "bit-{n}", mode = "{part}.dead", chance = 0.1 }]
tells = [
  { fails = ["bit-{n}", "clock"], shows = { low = 1.0 } },
  { otherwise = true, shows = { high = 1.0 } },
]
"#;
    let profile = read("", more);
    let functions = profile.functions.iter();
    let functions = functions.filter(|function| function.id.starts_with("bit"));
    let mut lines: Vec<String> = functions
        .map(|function| {
            let needs = function.needs.iter().map(|need| format!("{need:?}"));
            let needs = needs.collect::<Vec<_>>().join(" ");
            format!("{}: {}; {needs}", function.id, function.title)
        })
        .collect();
    let checks = profile.checks.iter();
    let checks = checks.filter(|check| check.id.starts_with("bit"));
    lines.extend(checks.map(|check| {
        let at = check.at.join(" ");
        format!(
            "{}: {}; {} {at}; {:?}",
            check.id, check.title, check.how, check.requires
        )
    }));
    let cells = profile.checks.iter();
    let cells = cells.filter(|check| check.id.starts_with("cell"));
    lines.extend(cells.map(|check| format!("{}: {:?} {:?}", check.id, check.tells, check.harms)));
    expect![[r#"
        bit-0: bit 0 of U5 holds; Part("U5") Target { target: Function("clock"), chance: 1.0 }
        bit-1: bit 1 of U4 holds; Part("U4") Target { target: Function("clock"), chance: 1.0 }
        bit-2: bit 2 of U5 holds; Part("U5") Target { target: Function("clock"), chance: 1.0 }
        bit-3: bit 3 of U6 holds; Part("U6") Target { target: Function("clock"), chance: 1.0 }
        bit0: Bit 0; Is bit 0 good at U5? U5; [Function("bit-0")]
        bit1: Bit 1; Is bit 1 good at U4? U4; [Function("bit-1")]
        cell0: Rows([Row { fails: [Function("bit-0"), Function("clock")], shows: [1.0, 0.0] }, Row { fails: [], shows: [0.0, 1.0] }]) [Harm { when: Function("bit-0"), part: "U5", mode: "dead", chance: 0.1 }]
        cell1: Rows([Row { fails: [Function("bit-1"), Function("clock")], shows: [1.0, 0.0] }, Row { fails: [], shows: [0.0, 1.0] }]) [Harm { when: Function("bit-1"), part: "U4", mode: "dead", chance: 0.1 }]"#]]
    .assert_eq(&lines.join("\n"));
}

/// What is watched on the screen cannot be done while nothing is seen there.
#[test]
fn what_is_watched_needs_a_screen() {
    let told = |starter: &str| -> String {
        let profile = catalogue::starter(starter).expect("a starter");
        let checks = ["keyboard", "ram-test", "steady", "ports", "disk"];
        let lines = checks.iter().filter_map(|id| {
            let requires = &profile.check(id)?.requires;
            let names = requires.iter().map(|target| match target {
                Target::Function(id) | Target::Rail(id, _) => id.as_str(),
            });
            Some(format!("{id}: {}", names.collect::<Vec<_>>().join(" ")))
        });
        lines.collect::<Vec<_>>().join("\n")
    };
    expect![[r#"
        keyboard: boot picture signal
        ram-test: cpu-run signal
        steady: boot signal
        ports: boot signal"#]]
    .assert_eq(&told("z80-micro"));
    expect![[r#"
        keyboard: boot display
        ram-test: cpu-run display
        steady: boot
        ports: boot"#]]
    .assert_eq(&told("sbc"));
}
