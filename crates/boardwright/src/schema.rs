//! The profile format as a JSON Schema, draft 2020-12, for editors that complete and check while one types.

use serde_json::{Map, Value, json};
use workshop::schema::{KeyShape, PROFILE_TABLES, TableShape, ValueShape, chance_words};

/// The whole schema as text.
pub(crate) fn text() -> String {
    format!("{:#}\n", schema())
}

fn schema() -> Value {
    let mut definitions = Map::new();
    definitions.insert("chance".to_owned(), chance());
    definitions.insert(
        "minutes".to_owned(),
        json!({ "anyOf": [{ "type": "number", "minimum": 0 }, { "type": "string" }] }),
    );
    definitions.insert("texts".to_owned(), json!({ "anyOf": [{ "type": "string" }, { "type": "array", "items": { "type": "string" } }] }));
    for shape in PROFILE_TABLES.iter().skip(1) {
        definitions.insert(shape.name.to_owned(), table(shape));
    }
    let mut whole = Map::new();
    whole.insert(
        "$schema".to_owned(),
        json!("https://json-schema.org/draft/2020-12/schema"),
    );
    whole.insert(
        "$comment".to_owned(),
        json!("made by `boardwright board schema`; do not edit"),
    );
    whole.insert("title".to_owned(), json!("Boardwright board profile"));
    if let Some(file) = PROFILE_TABLES.first()
        && let Value::Object(keys) = table(file)
    {
        whole.extend(keys);
    }
    whole.insert("$defs".to_owned(), Value::Object(definitions));
    Value::Object(whole)
}

fn chance() -> Value {
    let words = chance_words();
    json!({ "anyOf": [{ "type": "number", "minimum": 0, "maximum": 1 }, { "enum": words }] })
}

fn table(shape: &TableShape) -> Value {
    let needed: Vec<&str> = shape
        .keys
        .iter()
        .filter(|key| key.needed)
        .map(|key| key.name)
        .collect();
    let keys: Map<String, Value> = shape
        .keys
        .iter()
        .map(|key| (key.name.to_owned(), property(key)))
        .collect();
    json!({ "type": "object", "properties": keys, "required": needed, "additionalProperties": false })
}

fn property(key: &KeyShape) -> Value {
    let mut value = value(key.value);
    if let Value::Object(keys) = &mut value {
        keys.insert("description".to_owned(), json!(key.about));
    }
    value
}

fn definition(name: &str) -> Value {
    json!({ "$ref": format!("#/$defs/{name}") })
}

fn value(shape: ValueShape) -> Value {
    match shape {
        ValueShape::Text => json!({ "type": "string" }),
        ValueShape::Name => json!({ "type": "string", "pattern": "^[^\\s.;,`\"'{}*]+$" }),
        ValueShape::Word(words) => json!({ "enum": words }),
        ValueShape::Texts => definition("texts"),
        ValueShape::Number => json!({ "type": "number" }),
        ValueShape::Chance => definition("chance"),
        ValueShape::Minutes => definition("minutes"),
        ValueShape::Flag => json!({ "type": "boolean" }),
        ValueShape::Numbers(many) => {
            json!({ "type": "array", "items": { "type": "number" }, "minItems": many, "maxItems": many })
        }
        ValueShape::Table(name) => definition(name),
        ValueShape::Tables(name) => one_or_many(vec![definition(name)]),
        ValueShape::TextsOrTables(name) => {
            one_or_many(vec![json!({ "type": "string" }), definition(name)])
        }
        ValueShape::TextByName => {
            json!({ "type": "object", "additionalProperties": { "type": "string" }, "minProperties": 2 })
        }
        ValueShape::ChanceByName => {
            json!({ "type": "object", "additionalProperties": definition("chance") })
        }
        ValueShape::Quantity => json!({ "type": ["string", "number"] }),
    }
}

/// A single value counts as a list of one.
fn one_or_many(kinds: Vec<Value>) -> Value {
    let one = if kinds.len() == 1 {
        kinds[0].clone()
    } else {
        json!({ "anyOf": kinds })
    };
    json!({ "anyOf": [one, { "type": "array", "items": one }] })
}

#[cfg(test)]
mod tests {
    use expect_test::expect_file;

    #[test]
    fn the_generated_file_is_current() {
        expect_file!["../../../catalogue/profile.schema.json"].assert_eq(&super::text());
    }
}
