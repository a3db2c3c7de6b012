//! Reading of spanned TOML values: each field is taken once, what is left over is unknown.

use toml::de::{DeTable, DeValue};
use units::{Quantity, Unit};

use crate::problem::{Problems, list, nearest, shown};
use crate::source::Span;

/// Words for chances, with what they stand for.
pub(crate) const CHANCE_WORDS: [(&str, f64); 3] =
    [("rare", 0.01), ("sometimes", 0.04), ("known culprit", 0.15)];

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct At<T> {
    pub(crate) value: T,
    pub(crate) span: Span,
}

impl<T> At<T> {
    pub(crate) fn new(value: T, span: Span) -> Self {
        Self { value, span }
    }
}

/// A TOML value and where it stands.
#[derive(Debug, Clone)]
pub(crate) struct Item<'t> {
    pub(crate) value: &'t DeValue<'t>,
    pub(crate) span: Span,
}

/// The fields of one table, in the order of the file.
#[derive(Debug)]
pub(crate) struct Fields<'t> {
    what: &'static str,
    /// Where the table begins.
    pub(crate) span: Span,
    entries: Vec<(At<&'t str>, Item<'t>)>,
    known: Vec<&'static str>,
}

impl<'t> Fields<'t> {
    /// The fields of a table; `what` names it in messages.
    pub(crate) fn new(table: &'t DeTable<'t>, span: Span, what: &'static str) -> Self {
        let mut entries: Vec<_> = table
            .iter()
            .map(|(key, value)| {
                let key = At::new(key.get_ref().as_ref(), key.span());
                (
                    key,
                    Item {
                        value: value.get_ref(),
                        span: value.span(),
                    },
                )
            })
            .collect();
        entries.sort_by_key(|(key, _)| key.span.start);
        Self {
            what,
            span,
            entries,
            known: Vec::new(),
        }
    }

    /// Takes a field out.
    pub(crate) fn take(&mut self, key: &'static str) -> Option<Item<'t>> {
        self.known.push(key);
        let index = self
            .entries
            .iter()
            .position(|(name, _)| name.value == key)?;
        Some(self.entries.remove(index).1)
    }

    /// Where a field's value stands, if it is there.
    pub(crate) fn span_of(&self, key: &str) -> Option<Span> {
        self.entries
            .iter()
            .find(|(name, _)| name.value == key)
            .map(|(_, item)| item.span.clone())
    }

    /// Whether a field is there.
    pub(crate) fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|(name, _)| name.value == key)
    }

    /// Takes a field that must be there.
    pub(crate) fn need(
        &mut self,
        key: &'static str,
        problems: &mut Problems<'_>,
    ) -> Option<Item<'t>> {
        let item = self.take(key);
        if item.is_none() {
            self.missing(key, problems);
        }
        item
    }

    /// Says that a field is missing, unless the text is broken anyway.
    pub(crate) fn missing(&self, key: &str, problems: &mut Problems<'_>) {
        if !problems.broken {
            problems.add(
                &self.span,
                format!("a key `{key}`"),
                format!("{} without it", self.what),
            );
        }
    }

    /// All fields that are left, with their names.
    pub(crate) fn rest(&mut self) -> Vec<(At<&'t str>, Item<'t>)> {
        std::mem::take(&mut self.entries)
    }

    /// Tells what nobody has taken; in a broken text only what looks like a slip of the pen.
    pub(crate) fn finish(self, problems: &mut Problems<'_>) {
        for (key, _) in &self.entries {
            let near = nearest(key.value, self.known.iter().copied())
                .filter(|hint| hint.starts_with("did"));
            if near.is_none() && problems.broken {
                continue;
            }
            let hint =
                near.or_else(|| Some(format!("known are {}", list(self.known.iter().copied()))));
            let expected = format!("a key that {} has", self.what);
            problems.add_with(&key.span, expected, shown(key.value), hint);
        }
    }

    /// A text field.
    pub(crate) fn text(
        &mut self,
        key: &'static str,
        problems: &mut Problems<'_>,
    ) -> Option<At<String>> {
        self.take(key)
            .and_then(|item| item.text("a text", problems))
    }

    /// A text field that must be there and be one word.
    pub(crate) fn id(
        &mut self,
        key: &'static str,
        problems: &mut Problems<'_>,
    ) -> Option<At<String>> {
        let text = self.need(key, problems)?.text("a text", problems)?;
        check_id(text, problems)
    }

    /// A list of texts; one text alone counts as a list of one.
    pub(crate) fn texts(
        &mut self,
        key: &'static str,
        problems: &mut Problems<'_>,
    ) -> Vec<At<String>> {
        let items = self.take(key).map(Item::many).unwrap_or_default();
        items
            .into_iter()
            .filter_map(|item| item.text("a text", problems))
            .collect()
    }

    /// A chance: a number or a word.
    pub(crate) fn chance(&mut self, key: &'static str, problems: &mut Problems<'_>) -> Option<f64> {
        self.take(key).and_then(|item| item.chance(problems))
    }

    /// Minutes: a number, or a text such as `8 min`.
    pub(crate) fn minutes(
        &mut self,
        key: &'static str,
        problems: &mut Problems<'_>,
    ) -> Option<f64> {
        self.take(key).and_then(|item| item.minutes(problems))
    }

    /// Yes or no.
    pub(crate) fn flag(&mut self, key: &'static str, problems: &mut Problems<'_>) -> Option<bool> {
        let item = self.take(key)?;
        if let DeValue::Boolean(flag) = item.value {
            return Some(*flag);
        }
        item.wrong("`true` or `false`", problems);
        None
    }

    /// One of a few words.
    pub(crate) fn word<T: Copy>(
        &mut self,
        key: &'static str,
        words: &[(&str, T)],
        problems: &mut Problems<'_>,
    ) -> Option<T> {
        let expected = format!("one of {}", list(words.iter().map(|&(word, _)| word)));
        let text = self.take(key)?.text(&expected, problems)?;
        let found = words.iter().find(|&&(word, _)| word == text.value);
        if found.is_none() {
            let near = nearest(&text.value, words.iter().map(|&(word, _)| word))
                .filter(|hint| hint.starts_with("did"));
            problems.add_with(
                &text.span,
                expected,
                format!("{key} {}", shown(&text.value)),
                near,
            );
        }
        found.map(|&(_, value)| value)
    }

    /// The tables of an array of tables.
    pub(crate) fn tables(
        &mut self,
        key: &'static str,
        what: &'static str,
        problems: &mut Problems<'_>,
    ) -> Vec<Fields<'t>> {
        let items = self.take(key).map(Item::many).unwrap_or_default();
        items
            .into_iter()
            .filter_map(|item| item.fields(what, problems))
            .collect()
    }
}

impl<'t> Item<'t> {
    /// The elements of an array; a single value counts as an array of one.
    pub(crate) fn many(self) -> Vec<Item<'t>> {
        match self.value {
            DeValue::Array(array) => array
                .iter()
                .map(|element| Item {
                    value: element.get_ref(),
                    span: element.span(),
                })
                .collect(),
            _ => vec![self],
        }
    }

    /// As a table.
    pub(crate) fn fields(
        self,
        what: &'static str,
        problems: &mut Problems<'_>,
    ) -> Option<Fields<'t>> {
        if let DeValue::Table(table) = self.value {
            return Some(Fields::new(table, self.span, what));
        }
        self.wrong(&format!("a table with the keys of {what}"), problems);
        None
    }

    /// As a text.
    pub(crate) fn text(self, expected: &str, problems: &mut Problems<'_>) -> Option<At<String>> {
        if let DeValue::String(text) = self.value {
            return Some(At::new(text.clone().into_owned(), self.span));
        }
        self.wrong(expected, problems);
        None
    }

    /// As a finite number that holds a condition.
    pub(crate) fn number(
        self,
        expected: &str,
        holds: impl Fn(f64) -> bool,
        problems: &mut Problems<'_>,
    ) -> Option<f64> {
        let number = self
            .as_number()
            .filter(|&number| number.is_finite() && holds(number));
        if number.is_none() {
            self.wrong(expected, problems);
        }
        number
    }

    /// As a chance.
    pub(crate) fn chance(self, problems: &mut Problems<'_>) -> Option<f64> {
        let chance = match self.value {
            DeValue::String(word) => CHANCE_WORDS
                .iter()
                .find(|(known, _)| known == word)
                .map(|&(_, chance)| chance),
            _ => self
                .as_number()
                .filter(|number| (0.0..=1.0).contains(number)),
        };
        if chance.is_none() {
            let words = list(CHANCE_WORDS.iter().map(|&(word, _)| word));
            self.wrong_with(
                &format!("a chance, a number in 0 to 1 or one of the words {words}"),
                "chance ",
                problems,
            );
        }
        chance
    }

    /// As minutes.
    pub(crate) fn minutes(self, problems: &mut Problems<'_>) -> Option<f64> {
        let minutes = match self.value {
            DeValue::String(text) => minutes_of(text),
            _ => self.as_number(),
        };
        let minutes = minutes.filter(|minutes| minutes.is_finite() && *minutes >= 0.0);
        if minutes.is_none() {
            self.wrong(
                "minutes, as a number or as in `8 min`, `30 s`, `1 h`",
                problems,
            );
        }
        minutes
    }

    /// Integer or float as a number.
    pub(crate) fn as_number(&self) -> Option<f64> {
        match self.value {
            DeValue::Float(float) => float.as_str().replace('_', "").parse().ok(),
            #[expect(
                clippy::cast_precision_loss,
                reason = "values in profiles are far below 2^53"
            )]
            DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
                .ok()
                .map(|whole| whole as f64),
            _ => None,
        }
    }

    /// Says that this is not what was expected.
    pub(crate) fn wrong(&self, expected: &str, problems: &mut Problems<'_>) {
        self.wrong_with(expected, "", problems);
    }

    fn wrong_with(&self, expected: &str, found: &str, problems: &mut Problems<'_>) {
        let text = match self.value {
            DeValue::String(text) => shown(text),
            DeValue::Table(_) => "a table".to_owned(),
            DeValue::Array(_) => "a list".to_owned(),
            _ => shown(problems.source().slice(&self.span)),
        };
        problems.add(&self.span, expected, format!("{found}{text}"));
    }
}

/// A name that can be typed as one word and used before a dot.
pub(crate) fn check_id(text: At<String>, problems: &mut Problems<'_>) -> Option<At<String>> {
    let bad = |letter: char| {
        letter.is_whitespace() || letter.is_control() || ".;,`\"'{}*".contains(letter)
    };
    if text.value.is_empty() || text.value.contains(bad) {
        problems.add(
            &text.span,
            "a name of one word without dots, commas and quotes",
            shown(&text.value),
        );
        return None;
    }
    Some(text)
}

/// `8 min`, `30 s`, `1 h`.
fn minutes_of(text: &str) -> Option<f64> {
    let quantity: Quantity = text.parse().ok()?;
    (quantity.unit == Unit::Second).then_some(quantity.value / 60.0)
}
