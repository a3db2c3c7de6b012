//! `docs/json.md` against what the program prints: keys and types are exactly those of the page.

use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

const PAGE: &str = include_str!("../../../../docs/json.md");

/// The page as data.
pub(crate) struct Documented {
    /// Schema and the table it has the keys of.
    schemas: BTreeMap<String, String>,
    /// Tables: key and type, in order.
    tables: BTreeMap<String, Vec<(String, String)>>,
    /// Tables that something printed was compared with.
    seen: BTreeSet<String>,
}

impl Documented {
    /// Reads the page.
    pub(crate) fn read() -> Documented {
        let mut page = Documented {
            schemas: BTreeMap::new(),
            tables: BTreeMap::new(),
            seen: BTreeSet::new(),
        };
        let mut section = String::new();
        for line in PAGE.lines() {
            if let Some(title) = line.strip_prefix("## ").or(line.strip_prefix("### ")) {
                section = title.to_owned();
            }
            let cells: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
            if !line.starts_with("| `") || cells.len() != 3 {
                continue;
            }
            let name = cells[0].trim_matches('`').to_owned();
            if section == "Answers" {
                page.schemas.insert(name, cells[2].to_owned());
            } else {
                page.tables
                    .entry(section.clone())
                    .or_default()
                    .push((name, cells[1].to_owned()));
            }
        }
        page
    }

    /// Compares an answer with the page.
    pub(crate) fn check(&mut self, printed: &str) -> Value {
        let mut value: Value =
            serde_json::from_str(printed).unwrap_or_else(|error| panic!("{error}:\n{printed}"));
        let object = value
            .as_object()
            .unwrap_or_else(|| panic!("an answer is an object:\n{printed}"));
        let first = object.keys().next().map(String::as_str);
        assert_eq!(first, Some("schema"), "the schema comes first:\n{printed}");
        let whole = value.clone();
        let schema = value
            .as_object_mut()
            .and_then(|object| object.shift_remove("schema"));
        let schema = schema
            .as_ref()
            .and_then(Value::as_str)
            .expect("the schema is text")
            .to_owned();
        let table = self
            .schemas
            .get(&schema)
            .unwrap_or_else(|| panic!("`{schema}` is not on the page"))
            .clone();
        self.compare(&table, &value, &schema);
        whole
    }

    /// Tables that nothing printed was compared with.
    pub(crate) fn unseen(&self) -> Vec<&str> {
        self.tables
            .keys()
            .filter(|name| !self.seen.contains(*name))
            .map(String::as_str)
            .collect()
    }

    fn compare(&mut self, kind: &str, value: &Value, path: &str) {
        if let Some(kind) = kind.strip_suffix(" or null") {
            if !value.is_null() {
                self.compare(kind, value, path);
            }
            return;
        }
        if let Some(kind) = kind.strip_prefix("list of ") {
            let list = value
                .as_array()
                .unwrap_or_else(|| panic!("{path}: expected a list, found {value}"));
            return list
                .iter()
                .for_each(|one| self.compare(kind, one, &format!("{path}[]")));
        }
        if let Some((first, second)) = kind
            .strip_prefix("pair of ")
            .and_then(|kinds| kinds.split_once(" and "))
        {
            let pair = value.as_array().filter(|pair| pair.len() == 2);
            let pair = pair.unwrap_or_else(|| panic!("{path}: expected a pair, found {value}"));
            self.compare(first, &pair[0], path);
            return self.compare(second, &pair[1], path);
        }
        let right = match kind {
            "text" => value.is_string(),
            "number" => value.is_number(),
            "whole number" => value.is_i64() || value.is_u64(),
            "true or false" => value.is_boolean(),
            table => return self.compare_table(table, value, path),
        };
        assert!(right, "{path}: expected {kind}, found {value}");
    }

    fn compare_table(&mut self, table: &str, value: &Value, path: &str) {
        let rows = self
            .tables
            .get(table)
            .unwrap_or_else(|| panic!("{path}: no table `{table}` on the page"))
            .clone();
        let object = value
            .as_object()
            .unwrap_or_else(|| panic!("{path}: expected {table}, found {value}"));
        let printed: Vec<&str> = object.keys().map(String::as_str).collect();
        let documented: Vec<&str> = rows.iter().map(|(key, _)| key.as_str()).collect();
        assert_eq!(
            printed, documented,
            "{path}: printed keys, then the keys of `{table}` in docs/json.md"
        );
        self.seen.insert(table.to_owned());
        for (key, kind) in &rows {
            self.compare(kind, &object[key], &format!("{path}.{key}"));
        }
    }
}
