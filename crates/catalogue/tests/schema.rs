//! The description of the profile format has exactly the keys that the reader knows.

use std::collections::BTreeSet;

use catalogue::{Library, PROFILE_TABLES, parse_profile};

/// The keys that the reader names when it meets one that it does not know.
fn known(text: &str) -> BTreeSet<String> {
    let problems = parse_profile(text, "b.toml", Library::built_in()).expect_err("an unknown key");
    let unknown = problems
        .iter()
        .find(|problem| problem.found.contains("zzzzzz"));
    let unknown = unknown.unwrap_or_else(|| panic!("{text}: {problems:?}"));
    let hint = unknown.hint.as_deref().unwrap_or_default();
    let names = hint
        .strip_prefix("known are ")
        .unwrap_or_else(|| panic!("{text}: {hint}"));
    names
        .split(", ")
        .map(|name| name.trim_matches('`').to_owned())
        .collect()
}

fn check(table: &str, text: &str) {
    let shape = PROFILE_TABLES
        .iter()
        .find(|shape| shape.name == table)
        .expect("a table");
    let described: BTreeSet<String> = shape.keys.iter().map(|key| key.name.to_owned()).collect();
    let head = if table == "board" {
        ""
    } else {
        "[board]\nid = 'b'\n"
    };
    assert_eq!(known(&format!("{head}{text}")), described, "{table}");
}

#[test]
fn every_table_has_the_keys_of_the_reader() {
    let cases = [
        ("board", "[board]\nid = 'b'\nzzzzzz = 1\n"),
        ("rail", "[[rail]]\nzzzzzz = 1\n"),
        ("block", "[[block]]\nzzzzzz = 1\n"),
        ("outside", "[[outside]]\nzzzzzz = 1\n"),
        ("part", "[[part]]\nzzzzzz = 1\n"),
        ("mode", "[[part]]\nref = 'U1'\n[[part.mode]]\nzzzzzz = 1\n"),
        (
            "spoil",
            "[[part]]\nref = 'U1'\nmode = [{ id = 'a', chance = 0, spoils = [{ zzzzzz = 1 }] }]\n",
        ),
        (
            "cures",
            "[[part]]\nref = 'U1'\nmode = [{ id = 'a', chance = 0, cured_by = { zzzzzz = 1 } }]\n",
        ),
        ("event", "[[event]]\nzzzzzz = 1\n"),
        (
            "cause",
            "[[event]]\nid = 'e'\nchance = 0\ncauses = [{ zzzzzz = 1 }]\n",
        ),
        ("function", "[[function]]\nzzzzzz = 1\n"),
        ("need", "[[function]]\nid = 'f'\nneeds = [{ zzzzzz = 1 }]\n"),
        ("check", "[[check]]\nzzzzzz = 1\n"),
        ("harm", "[[check]]\nid = 'c'\nharms = [{ zzzzzz = 1 }]\n"),
        (
            "row",
            "[[check]]\nid = 'c'\ntells = [{ zzzzzz = 1, otherwise = true, shows = { a = 1 } }]\n",
        ),
        (
            "limits",
            "[[check]]\nid = 'c'\nlimits = { zzzzzz = 1, quantity = 'voltage', low = '1 V' }\n",
        ),
    ];
    for (table, text) in cases {
        check(table, text);
    }
    let checked: BTreeSet<&str> = cases
        .iter()
        .map(|(table, _)| *table)
        .chain(["profile"])
        .collect();
    let all: BTreeSet<&str> = PROFILE_TABLES.iter().map(|shape| shape.name).collect();
    assert_eq!(checked, all);
    let file = known("zzzzzz = 1\n[board]\nid = 'b'\n");
    assert_eq!(
        file,
        PROFILE_TABLES[0]
            .keys
            .iter()
            .map(|key| key.name.to_owned())
            .collect()
    );
}
