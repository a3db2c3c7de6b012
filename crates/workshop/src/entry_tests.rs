//! Entry lines, understood and refused.

use super::*;
use expect_test::{Expect, expect};
use proptest::prelude::*;

const BOARD: &str = r#"
[board]
id = "small"
title = "A small board"
derive = false

[[rail]]
name = "+5V"
volts = 5.0
tolerance = 0.05
fed_by = ["U30"]

[[block]]
id = "all"

[[part]]
ref = "U1"
block = "all"
mount = "socket"
mode = [{ id = "dead", title = "is dead", chance = 0.03 }]

[[part]]
ref = "U30"
block = "all"
mount = "soldered"
mode = [{ id = "dead", title = "is dead", chance = 0.03 }]

[[function]]
id = "clock"
needs = ["U1", "+5V"]

[[function]]
id = "picture"
needs = ["U1", "clock"]

[[check]]
id = "rail"
title = "+5 V at C12"
minutes = 1
tells = "+5V"
limits = { quantity = "voltage", low = "4.75 V", high = "5.25 V" }

[[check]]
id = "clock"
title = "Clock"
minutes = 1
tells = "clock"
limits = { quantity = "frequency", low = "3.49 MHz", high = "3.51 MHz" }

[[check]]
id = "dot-clock"
title = "Dot clock"
aliases = ["dots"]
minutes = 1
tells = "clock"
limits = { quantity = "frequency", low = "7.98 MHz", high = "8.02 MHz" }

[[check]]
id = "reset"
title = "Reset"
minutes = 1
tells = "clock"
limits = { quantity = "time", low = "80 ms", high = "300 ms" }

[[check]]
id = "current"
title = "Current"
minutes = 1
tells = "clock"
limits = { quantity = "current", low = "0.55 A", high = "0.95 A" }

[[check]]
id = "keys"
title = "Keyboard scan"
minutes = 1
tells = "picture"

[[check]]
id = "picture"
title = "What does the screen show?"
aliases = ["screen"]
minutes = 1
outcomes = { start = "start-up screen", black = "blank, black", white = "blank, white", nosync = "no sync" }
tells = [
  { fails = "picture", shows = { black = 0.5, white = 0.3, nosync = 0.2 } },
  { otherwise = true, shows = { start = 0.98, black = 0.02 } },
]
"#;

fn profile() -> Profile {
    catalogue::parse_profile(BOARD, "small.toml", catalogue::Library::built_in())
        .unwrap_or_else(|problems| panic!("{problems:?}"))
}

fn with<T>(open: Option<&str>, act: impl FnOnce(&Reader<'_>) -> T) -> T {
    let profile = profile();
    let settings = Settings::read(crate::settings::DEFAULT).unwrap();
    let open = open.map(|id| profile.check(id).unwrap());
    act(&Reader {
        profile: &profile,
        settings: &settings,
        open,
    })
}

fn say(understanding: &Understanding) -> String {
    let mut lines: Vec<String> = Vec::new();
    for finding in &understanding.findings {
        let shown = match &finding.shown {
            Shown::Outcome(id) => id.clone(),
            Shown::Reading { value, unit, .. } => format!("{value} {unit}"),
            other => format!("{other:?}"),
        };
        lines.push(format!("{} = {shown}", finding.check));
    }
    if understanding.supply == Some(Supply::Bench) {
        lines.push("bench".to_string());
    }
    lines.extend(
        understanding
            .minutes_on
            .map(|minutes| format!("{minutes} min")),
    );
    lines.join(", ")
}

fn check(line: &str, expect: &str) {
    let found = with(None, |reader| reader.line(line))
        .unwrap_or_else(|problems| panic!("{line}: {problems:?}"));
    assert_eq!(say(&found), expect, "{line}");
}

fn refuse(line: &str, expect: Expect) {
    let problems = with(None, |reader| reader.line(line)).expect_err(line);
    expect.assert_eq(&problems.join("\n"));
}

#[test]
fn checks_by_any_of_their_names() {
    check("rail 4.77", "rail = 4.77 V");
    check("+5v 4.77", "rail = 4.77 V");
    check("+5V 4,77 V", "rail = 4.77 V");
    check("+5 V at C12 4.77", "rail = 4.77 V");
    check("picture black", "picture = black");
    check("pic black", "picture = black");
    check("screen black", "picture = black");
    check("what does the screen show? black", "picture = black");
    check("dot clock 8.004M", "dot-clock = 8004000 Hz");
    check("Dot-Clock: 8.004 MHz", "dot-clock = 8004000 Hz");
    check("dots 8.004", "dot-clock = 8004000 Hz");
    check("clock 3.5M", "clock = 3500000 Hz");
    check("clock=3.5M", "clock = 3500000 Hz");
    check("keyboard ok", "keys = pass");
}

#[test]
fn values_as_people_write_them() {
    check("clock no signal", "clock = fail");
    check("clock none", "clock = fail");
    check("clock fail", "clock = fail");
    check("picture start-up screen", "picture = start");
    check("picture ok", "picture = start");
    check("picture no sync", "picture = nosync");
    check("picture sync", "picture = nosync");
    check("picture cannot", "picture = Cannot");
    check("picture skip", "picture = Skipped");
    check("reset 138", "reset = 0.138 s");
    check("reset 0.138", "reset = 0.138 s");
    check("reset 138 ms", "reset = 0.138 s");
    check("current 0.71", "current = 0.71 A");
    check("current 710", "current = 0.71 A");
    check("current 710mA", "current = 0.71 A");
    check("current 0", "current = 0 A");
    check("clock 3500000", "clock = 3500000 Hz");
    check("clock 3500k", "clock = 3500000 Hz");
}

#[test]
fn several_on_one_line() {
    check(
        "+5v 4.77; picture black; dot clock 8.004M; clock no signal",
        "rail = 4.77 V, picture = black, dot-clock = 8004000 Hz, clock = fail",
    );
    check(
        "+5v 4.77\npicture black;;",
        "rail = 4.77 V, picture = black",
    );
    check(
        "+5v 4.9; supply bench; 12 min",
        "rail = 4.9 V, bench, 12 min",
    );
    check(
        "minutes 12; +5v 4.9; bench supply",
        "rail = 4.9 V, bench, 12 min",
    );
    check(
        "picture black after 20 min; keys fail",
        "picture = black, keys = fail, 20 min",
    );
    check("picture black, minutes 7,5", "picture = black, 7.5 min");
}

#[test]
fn a_bare_value_belongs_to_the_open_check() {
    let check = |open: &str, line: &str, expect: &str| {
        let found = with(Some(open), |reader| reader.line(line))
            .unwrap_or_else(|problems| panic!("{line}: {problems:?}"));
        assert_eq!(say(&found), expect, "{line}");
    };
    check("dot-clock", "8.004M", "dot-clock = 8004000 Hz");
    check("dot-clock", "no signal", "dot-clock = fail");
    check("picture", "black", "picture = black");
    check("picture", "no sync", "picture = nosync");
    check(
        "rail",
        "4.77; picture black",
        "rail = 4.77 V, picture = black",
    );
    check("picture", "rail 4.77", "rail = 4.77 V");
    let problems = with(Some("picture"), |reader| reader.line("purple")).unwrap_err();
    assert_eq!(
        problems,
        [
            "`picture`: expected `start`, `black`, `white`, `nosync`, `cannot` or `skip`, found `purple`"
        ]
    );
}

#[test]
fn all_that_is_wrong_is_said_at_once() {
    refuse(
        "",
        expect!["expected a check and what it showed, such as `picture black`, found nothing"],
    );
    refuse(
        "12 min",
        expect!["expected a check and what it showed, such as `picture black`, found nothing"],
    );
    refuse(
        "pictre black; picture purple; +5v 3.5 MHz; +5v five",
        expect![[r#"
            expected a check, found `pictre black`; nearest are `picture`, `dot-clock` or `reset`
            `picture`: expected `start`, `black`, `white`, `nosync`, `cannot` or `skip`, found `purple`
            `rail`: expected a voltage in V, found `3.5 MHz`; that is a frequency in Hz; check which point or range was meant
            `rail`: expected a voltage such as `5 V`, or `pass`, `fail`, `cannot` or `skip`, found `five`"#]],
    );
    refuse(
        "picture",
        expect![
            "`picture`: expected `start`, `black`, `white`, `nosync`, `cannot` or `skip`, found nothing"
        ],
    );
    refuse(
        "picture blank",
        expect!["`picture`: `blank` could be `black` or `white`; write which"],
    );
    refuse(
        "picture bad",
        expect!["`picture`: `bad` could be `black`, `white` or `nosync`; write which"],
    );
    refuse(
        "c 5",
        expect!["`c 5` could be `clock` or `current`; write one of these"],
    );
    refuse(
        "current 20",
        expect!["`current`: `20` could be 20 mA or 20 A; write the unit"],
    );
    refuse(
        "+5v 4610",
        expect!["`rail`: `4610` would be 4.610 kV; if 4.610 V is meant, write the unit"],
    );
    refuse(
        "+5v 4.61 kV",
        expect!["`rail`: `4.61 kV` is 878 times the limit there; look at the unit"],
    );
    refuse(
        "minutes -5; picture black",
        expect![
            "expected a check, found `minutes -5`; nearest are `dot-clock`, `picture` or `keys`"
        ],
    );
    refuse(
        "+5v 4.7.7",
        expect![
            "`rail`: expected a voltage in V, found `4.7.7`; write one decimal mark, comma or dot, and no thousands separators"
        ],
    );
    let noise = "x".repeat(10_000_000);
    refuse(
        &noise,
        expect!["expected a line of at most 4000 characters, found 10000000"],
    );
}

#[test]
fn rounds() {
    let tags: Vec<String> = ["T-01", "T-02", "T-03"].map(str::to_string).to_vec();
    let check = |line: &str, expect: &[(&str, &str)]| {
        let found = round_entries(line, &tags).unwrap();
        let found: Vec<(&str, &str)> = found
            .iter()
            .map(|(tag, value)| (tag.as_str(), value.as_str()))
            .collect();
        assert_eq!(found, expect, "{line}");
    };
    check(
        "5.02 4,61 skip",
        &[("T-01", "5.02"), ("T-02", "4,61"), ("T-03", "skip")],
    );
    check(
        "5.02 V, 4.61 V, 142 ms",
        &[("T-01", "5.02 V"), ("T-02", "4.61 V"), ("T-03", "142 ms")],
    );
    check("T-03=4.98; t1=black", &[("T-03", "4.98"), ("t1", "black")]);
    check("3=no sync", &[("3", "no sync")]);
    let refuse = |line: &str, expect: &str| {
        assert_eq!(round_entries(line, &tags).unwrap_err().join("\n"), expect)
    };
    refuse(
        "5.02 4.61",
        "expected 3 values, one a machine from T-01 to T-03, found 2; write `skip` for a machine left out, or name them: `T-03=4.98; T-05=fail`",
    );
    refuse(
        "T-01=5; x",
        "expected a machine and a value such as `T-03=4.98`, found `x`",
    );
}

#[test]
fn tags_as_they_are_typed() {
    let tags: Vec<String> = ["T-01", "T-02", "T-10"].map(str::to_string).to_vec();
    let check =
        |typed: &str, tag: &str| assert_eq!(find_tag(typed, &tags).as_deref(), Ok(tag), "{typed}");
    check("T-01", "T-01");
    check("t1", "T-01");
    check("t 10", "T-10");
    check("2", "T-02");
    check("the t-02", "T-02");
    let refuse =
        |typed: &str, expect: &str| assert_eq!(find_tag(typed, &tags).unwrap_err(), expect);
    refuse(
        "T-09",
        "there is no machine `T-09`; nearest are `T-01`, `T-02` or `T-10`",
    );
    refuse(
        "",
        "there is no machine ``; nearest are `T-01`, `T-02` or `T-10`",
    );
}

proptest! {
    #[test]
    fn any_line_is_read_without_panic(line in ".*", open in prop::bool::ANY) {
        with(open.then_some("picture"), |reader| { let _ = reader.line(&line); });
        let _ = round_entries(&line, &["T-01".to_string(), "T-02".to_string()]);
    }

    #[test]
    fn near_misses_are_read_without_panic(line in "((pict|rail|clock|\\+5v|dot|c|min|supply)[ =:]?(black|4[.,]7|no|8M|-|skip)?;? ?){0,5}") {
        with(None, |reader| { let _ = reader.line(&line); });
    }

    #[test]
    fn what_was_understood_is_read_again_the_same(value in -2000i32..2000, digits in 0usize..4) {
        let typed = format!("{:.digits$} V", f64::from(value) / 100.0);
        with(None, |reader| {
            let first = reader.line(&format!("rail {typed}")).unwrap();
            let again = reader.line(&format!("{} {}", first.findings[0].check, first.findings[0].text)).unwrap();
            assert_eq!(first, again);
        });
    }
}
