//! What starter profiles are made of: the questions, the blocks, and how often causes sit in each block.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

use crate::built_in::{BLOCKS, QUESTIONS, RATES};
use crate::fields::{Fields, Item};
use crate::problem::{Problem, Problems};
use crate::profile::Profile;
use crate::read::each;
use crate::rules::read_file;

/// A question asked before a starter profile is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Question {
    /// Identifier, also the word on the command line: `cpu`.
    pub id: String,
    /// The question.
    pub ask: String,
    /// What to look at for the answer.
    pub look: String,
    /// The possible answers, the usual one first.
    pub choices: Vec<Choice>,
}

/// A possible answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// Identifier, as typed: `z80`.
    pub id: String,
    /// In words.
    pub title: String,
    /// What is seen then.
    pub example: String,
}

/// How often confirmed causes sat in one block.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockRate {
    /// The block.
    pub block: String,
    /// Repairs of this kind of board with a cause in the block, and all of this kind.
    pub of_kind: (u32, u32),
    /// The same for all kinds.
    pub of_all: (u32, u32),
    /// The share of this kind, leaning on all kinds with the weight of so many repairs.
    pub share: f64,
}

/// A starter that needs no answers.
#[derive(Debug)]
pub(crate) struct Ready {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) answers: BTreeMap<String, String>,
    /// Once it was asked for; none if it cannot be read.
    pub(crate) profile: OnceLock<Option<Arc<Profile>>>,
}

/// A block with its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Template {
    pub(crate) id: String,
    /// Question and the answers with which it is taken; all must hold.
    pub(crate) when: Vec<(String, Vec<String>)>,
    pub(crate) text: String,
}

#[derive(Debug, Default)]
pub(crate) struct Data {
    pub(crate) questions: Vec<Question>,
    pub(crate) ready: Vec<Ready>,
    pub(crate) blocks: Vec<Template>,
    /// The number of repairs by which a kind leans on all.
    pub(crate) weight: f64,
    kinds: Vec<Kind>,
}

/// Counts of one kind of board.
#[derive(Debug, Clone)]
struct Kind {
    id: String,
    cases: u32,
    blocks: BTreeMap<String, u32>,
}

/// The questions asked before a starter profile is written.
#[must_use]
pub fn questions() -> &'static [Question] {
    &data().questions
}

/// How often confirmed causes sat in each block, for a kind of board: `home`, `sbc` or `arcade`.
#[must_use]
pub fn block_rates(kind: &str) -> Vec<BlockRate> {
    data().rates(kind)
}

/// All of it, read once.
pub(crate) fn data() -> &'static Data {
    static DATA: OnceLock<Data> = OnceLock::new();
    DATA.get_or_init(|| {
        let read = read_data();
        debug_assert_eq!(
            read.as_ref().err(),
            None,
            "the starters' files are read by a test"
        );
        read.unwrap_or_default()
    })
}

impl Data {
    pub(crate) fn rates(&self, kind: &str) -> Vec<BlockRate> {
        let own = self.kinds.iter().find(|known| known.id == kind);
        let all_cases: u32 = self.kinds.iter().map(|kind| kind.cases).sum();
        let blocks = self.kinds.first().map(|kind| kind.blocks.keys());
        let rate = |block: &String| {
            let of = |kind: &Kind| kind.blocks.get(block).copied().unwrap_or(0);
            let of_all = (self.kinds.iter().map(of).sum(), all_cases);
            let of_kind = own.map_or((0, 0), |kind| (of(kind), kind.cases));
            let all_share = f64::from(of_all.0) / f64::from(of_all.1.max(1));
            BlockRate {
                block: block.clone(),
                of_kind,
                of_all,
                share: (f64::from(of_kind.0) + self.weight * all_share)
                    / (f64::from(of_kind.1) + self.weight),
            }
        };
        blocks.into_iter().flatten().map(rate).collect()
    }
}

fn read_data() -> Result<Data, Vec<Problem>> {
    let mut data = read_file(
        QUESTIONS,
        "starters/questions.toml",
        "a file of questions",
        |fields, problems| Data {
            questions: each(fields, "question", "a question", problems, read_question),
            ready: each(fields, "starter", "a starter", problems, read_ready),
            ..Data::default()
        },
    )?;
    data.blocks = read_file(
        BLOCKS,
        "starters/blocks.toml",
        "a file of blocks",
        |fields, problems| each(fields, "block", "a block", problems, read_template),
    )?;
    (data.weight, data.kinds) = read_file(
        RATES,
        "rules/rates.toml",
        "a table of rates",
        |fields, problems| {
            let weight = fields.need("weight", problems).and_then(|item| {
                item.number(
                    "a number of repairs, 0 or more",
                    |weight| weight >= 0.0,
                    problems,
                )
            });
            let kinds = each(fields, "rates", "the rates of a kind", problems, read_kind);
            (weight.unwrap_or(0.0), kinds)
        },
    )?;
    Ok(data)
}

fn read_question(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Question> {
    let id = fields.id("id", problems);
    let ask = fields.text("ask", problems);
    let look = fields.text("look", problems);
    let choices = each(
        fields,
        "choice",
        "a choice",
        problems,
        |fields, problems| {
            let id = fields.id("id", problems);
            let title = fields.text("title", problems);
            let example = fields.text("example", problems);
            Some(Choice {
                id: id?.value,
                title: title?.value,
                example: example?.value,
            })
        },
    );
    Some(Question {
        id: id?.value,
        ask: ask?.value,
        look: look?.value,
        choices,
    })
}

fn read_ready(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Ready> {
    let id = fields.id("id", problems);
    let title = fields.text("title", problems);
    let answers = pairs(fields, "answers", problems, |item, problems| {
        item.text("an answer", problems).map(|text| text.value)
    });
    Some(Ready {
        profile: OnceLock::new(),
        id: id?.value,
        title: title?.value,
        answers: answers.into_iter().collect(),
    })
}

fn read_template(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Template> {
    let id = fields.id("id", problems);
    let text = fields.text("text", problems);
    let when = pairs(fields, "when", problems, |item, problems| {
        let answers = item.many().into_iter();
        Some(
            answers
                .filter_map(|item| item.text("an answer", problems))
                .map(|text| text.value)
                .collect(),
        )
    });
    Some(Template {
        id: id?.value,
        when,
        text: text?.value,
    })
}

fn read_kind(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Kind> {
    let id = fields.id("kind", problems);
    let count = |item: Item<'_>, problems: &mut Problems<'_>| {
        let whole = |number: f64| (0.0..1e6).contains(&number) && number.fract() == 0.0;
        // within the range just asked for
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        item.number("a number of repairs", whole, problems)
            .map(|number| number as u32)
    };
    let cases = fields
        .need("cases", problems)
        .and_then(|item| count(item, problems));
    let blocks = pairs(fields, "blocks", problems, count);
    Some(Kind {
        id: id?.value,
        cases: cases?,
        blocks: blocks.into_iter().collect(),
    })
}

/// The keys and values of a table in a field.
fn pairs<T>(
    fields: &mut Fields<'_>,
    key: &'static str,
    problems: &mut Problems<'_>,
    read: impl Fn(Item<'_>, &mut Problems<'_>) -> Option<T>,
) -> Vec<(String, T)> {
    let table = fields
        .take(key)
        .and_then(|item| item.fields("a table", problems));
    let Some(mut table) = table else {
        return Vec::new();
    };
    table
        .rest()
        .into_iter()
        .filter_map(|(name, item)| Some((name.value.to_owned(), read(item, problems)?)))
        .collect()
}
