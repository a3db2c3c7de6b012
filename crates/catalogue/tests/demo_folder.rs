//! The demo folder examples/ostrel holds together: read as plain TOML, the board once the roles have completed it.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
};

use toml::{Table, Value};

/// Size of the board drawing in millimetres.
const BOARD: (f64, f64) = (230.0, 150.0);

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel")
}

fn read(path: &Path) -> Table {
    let text =
        fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    text.parse()
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn board() -> Table {
    let path = folder().join("boards/ostrel-8-r2.toml");
    let text = fs::read_to_string(&path).unwrap();
    let profile = catalogue::parse_profile(&text, "board", catalogue::Library::built_in())
        .unwrap_or_else(|problems| panic!("{}", problems[0]));
    catalogue::print_profile(&profile).parse().unwrap()
}

fn vendors() -> Vec<Table> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder().join("vendors"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    paths.sort();
    paths.iter().map(|path| read(path)).collect()
}

fn tables<'t>(table: &'t Table, key: &str) -> Vec<&'t Table> {
    table
        .get(key)
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_table)
        .collect()
}

fn text<'t>(table: &'t Table, key: &str) -> &'t str {
    table.get(key).and_then(Value::as_str).unwrap_or_default()
}

fn texts(value: Option<&Value>) -> Vec<&str> {
    match value {
        Some(Value::String(text)) => vec![text],
        Some(Value::Array(list)) => list.iter().filter_map(Value::as_str).collect(),
        _ => Vec::new(),
    }
}

fn number(value: &Value) -> f64 {
    #[expect(
        clippy::cast_precision_loss,
        reason = "millimetres and counts are small"
    )]
    value
        .as_float()
        .or_else(|| value.as_integer().map(|whole| whole as f64))
        .unwrap_or(f64::NAN)
}

#[test]
fn the_board_has_its_size() {
    let board = board();
    assert_eq!(tables(&board, "part").len(), 60);
    assert_eq!(tables(&board, "function").len(), 30);
    assert_eq!(tables(&board, "check").len(), 33);
}

#[test]
fn parts_lie_on_the_board_beside_each_other() {
    let board = board();
    let areas: Vec<(&str, [f64; 4])> = tables(&board, "part")
        .into_iter()
        .filter_map(|part| {
            let area: Vec<f64> = part.get("area")?.as_array()?.iter().map(number).collect();
            Some((
                text(part, "ref"),
                area.try_into().expect("an area has four figures"),
            ))
        })
        .collect();
    assert_eq!(
        areas.len(),
        58,
        "only the supply and the keyboard membrane are off the board"
    );
    for (index, &(name, [x, y, w, h])) in areas.iter().enumerate() {
        assert!(
            x >= 0.0 && y >= 0.0 && x + w <= BOARD.0 && y + h <= BOARD.1,
            "{name} leaves the board"
        );
        for &(other, [a, b, c, d]) in &areas[index + 1..] {
            let apart = x + w <= a || a + c <= x || y + h <= b || b + d <= y;
            assert!(apart, "{name} and {other} overlap");
        }
    }
}

#[test]
fn every_function_is_told_of_by_a_check() {
    let board = board();
    let mut told = BTreeSet::new();
    for check in tables(&board, "check") {
        told.extend(texts(check.get("tells")));
        told.extend(
            tables(check, "tells")
                .into_iter()
                .flat_map(|row| texts(row.get("fails"))),
        );
    }
    for function in tables(&board, "function") {
        assert!(
            told.contains(text(function, "id")),
            "no check tells of {}",
            text(function, "id")
        );
    }
    for rail in tables(&board, "rail") {
        assert!(
            told.contains(text(rail, "name")),
            "no check tells of {}",
            text(rail, "name")
        );
    }
}

#[test]
fn rows_of_a_table_sum_to_one_over_its_outcomes() {
    for check in tables(&board(), "check") {
        let outcomes = check.get("outcomes").and_then(Value::as_table);
        for row in tables(check, "tells") {
            let shows = row["shows"].as_table().unwrap();
            let sum: f64 = shows.values().map(number).sum();
            assert!(
                (sum - 1.0).abs() < 1e-9,
                "{}: a row sums to {sum}",
                text(check, "id")
            );
            assert!(
                shows.keys().all(|id| outcomes.unwrap().contains_key(id)),
                "{}",
                text(check, "id")
            );
        }
    }
}

#[test]
fn words_typed_for_checks_are_unique() {
    let board = board();
    let mut seen = BTreeMap::new();
    for check in tables(&board, "check") {
        let id = text(check, "id");
        for word in std::iter::once(id).chain(texts(check.get("aliases"))) {
            assert_eq!(
                seen.insert(word.to_lowercase(), id),
                None,
                "`{word}` stands for two checks"
            );
            assert!(
                !word.starts_with(|c: char| c.is_ascii_digit()) || word.contains(['v', 'V']),
                "`{word}`"
            );
        }
        assert!(
            !text(check, "how").is_empty() && !text(check, "title").is_empty(),
            "{id}"
        );
    }
}

#[test]
fn what_can_be_fitted_can_be_bought() {
    let own = fs::read_to_string(folder().join("remedies.toml")).unwrap();
    let library = catalogue::Library::built_in()
        .with_folder([("remedies.toml", own.as_str())])
        .expect("good remedies");
    let own: Table = own.parse().unwrap();
    let sold: BTreeSet<String> = vendors()
        .iter()
        .flat_map(|vendor| items(vendor, "offer"))
        .collect();
    let board = board();
    for remedy in tables(&own, "remedy") {
        let device = text(remedy, "for_device");
        match remedy.get("build") {
            Some(build) => assert_eq!(build.as_str(), Some("ob-2"), "it is built"),
            None => {
                let item = text(remedy, "item");
                assert!(sold.contains(item), "nobody sells {item}");
            }
        }
        assert!(
            tables(&board, "part")
                .iter()
                .any(|part| text(part, "device") == device),
            "{device} is on no board"
        );
    }
    let mut used: BTreeSet<String> = library
        .remedies()
        .iter()
        .filter_map(|remedy| remedy.item.clone())
        .collect();
    for build in tables(&own, "build") {
        for part in build["uses"].as_array().into_iter().flatten() {
            let item = part["item"].as_str().expect("a name").to_owned();
            assert!(sold.contains(&item), "nobody sells {item}");
            used.insert(item);
        }
    }
    let idle: Vec<&String> = sold.difference(&used).collect();
    assert_eq!(
        idle,
        ["dip-socket-20", "dip-socket-40"],
        "no remedy uses these"
    );
    for part in tables(&board, "part") {
        let helped = library.remedies().iter().any(|remedy| {
            let item = remedy.item.as_deref().unwrap_or_default();
            remedy.for_device == text(part, "device") && sold.contains(item)
        });
        let chip = |mode: &&Table| text(mode, "where") != "place";
        let needed = tables(part, "mode").iter().any(chip);
        assert!(
            helped || !needed,
            "nothing on sale puts {} right",
            text(part, "ref")
        );
    }
}

fn items(table: &Table, key: &str) -> Vec<String> {
    tables(table, key)
        .into_iter()
        .map(|entry| text(entry, "item").to_owned())
        .collect()
}

#[test]
fn offers_are_whole() {
    for vendor in vendors() {
        let ids: Vec<&str> = tables(&vendor, "vendor")
            .into_iter()
            .map(|vendor| text(vendor, "id"))
            .collect();
        let mut items = BTreeSet::new();
        for offer in tables(&vendor, "offer") {
            assert_eq!(ids, [text(offer, "vendor")]);
            assert!(
                items.insert(text(offer, "item")),
                "{} twice",
                text(offer, "item")
            );
            let breaks = tables(offer, "breaks");
            let from: Vec<i64> = breaks
                .iter()
                .filter_map(|step| step["from"].as_integer())
                .collect();
            assert!(
                from.is_sorted() && from[0] <= offer["least"].as_integer().unwrap(),
                "{}",
                text(offer, "item")
            );
            assert!(
                breaks.iter().all(|step| step["each"].is_str()),
                "prices are text, so that no cent is lost"
            );
        }
    }
}

#[test]
fn lines_of_the_evening_are_short_and_in_order() {
    let pile = read(&folder().join("pile.toml"));
    let board = board();
    let checks: BTreeSet<&str> = tables(&board, "check")
        .into_iter()
        .flat_map(|check| [vec![text(check, "id")], texts(check.get("aliases"))].concat())
        .collect();
    let mut last = "";
    for step in tables(&pile, "step") {
        assert!(
            text(step, "at") >= last,
            "{} comes after {last}",
            text(step, "at")
        );
        last = text(step, "at");
        if text(step, "do") == "round" {
            assert!(
                checks.contains(text(step, "check")),
                "{}",
                text(step, "check")
            );
        }
        if text(step, "do") == "measure" {
            for finding in text(step, "line").split(';') {
                assert!(finding.trim().chars().count() <= 40, "{finding}");
            }
        }
    }
}
