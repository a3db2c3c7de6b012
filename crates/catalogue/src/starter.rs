//! Starter profiles: boards of which only the kind is known, written from the answers to a few questions.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::sync::Arc;

use crate::library::Library;
use crate::parse::parse_profile;
use crate::profile::Profile;
use crate::starter_data::{BlockRate, Data, Question, Ready, Template, data};

/// Chance that a machine has a fault which a starter does not know.
const UNMODELLED: f64 = 0.04;

/// Ids of the starters that need no answers.
pub fn starter_ids() -> impl Iterator<Item = &'static str> {
    data().ready.iter().map(|ready| ready.id.as_str())
}

/// The starter profile of this id, such as `z80-micro`; it is read when it is first asked for.
#[must_use]
pub fn starter(id: &str) -> Option<Arc<Profile>> {
    let ready = data().ready.iter().find(|ready| ready.id == id)?;
    let read = || {
        let profile = parse_profile(&starter_text(id)?, id, Library::built_in());
        debug_assert_eq!(
            profile.as_ref().err(),
            None,
            "the starters are read by a test"
        );
        profile.ok().map(Arc::new)
    };
    ready.profile.get_or_init(read).clone()
}

/// The text of a starter profile, to begin a file of one's own with.
#[must_use]
pub fn starter_text(id: &str) -> Option<String> {
    let data = data();
    let ready = data.ready.iter().find(|ready| ready.id == id)?;
    Some(Writer::new(data, complete(data, &ready.answers)).text(&ready.id, &ready.title))
}

/// A starter profile by the answers; what is not answered is as usual for this kind of board.
///
/// # Errors
/// A sentence for each answer that is none, with what would be one.
pub fn new_board(
    id: &str,
    title: &str,
    answers: &BTreeMap<String, String>,
) -> Result<String, Vec<String>> {
    let data = data();
    let wrong = problems(&data.questions, answers);
    if wrong.is_empty() {
        Ok(Writer::new(data, complete(data, answers)).text(id, title))
    } else {
        Err(wrong)
    }
}

fn problems(questions: &[Question], answers: &BTreeMap<String, String>) -> Vec<String> {
    let words = |ids: Vec<&str>| ids.join("`, `");
    let mut wrong = Vec::new();
    for (id, answer) in answers {
        let Some(question) = questions.iter().find(|question| question.id == *id) else {
            let known = questions.iter().map(|question| question.id.as_str());
            wrong.push(format!(
                "expected one of the questions `{}`, found `{id}`",
                words(known.collect())
            ));
            continue;
        };
        let choices = question.choices.iter().map(|choice| choice.id.as_str());
        if !choices.clone().any(|choice| choice == answer) {
            wrong.push(format!(
                "expected for `{id}` one of `{}`, found `{answer}`",
                words(choices.collect())
            ));
        }
    }
    wrong
}

/// The answers, completed by those of the nearest ready starter and then by the first choices.
fn complete(data: &Data, answers: &BTreeMap<String, String>) -> BTreeMap<String, String> {
    let agrees = |ready: &Ready, key: &str| match answers.get(key) {
        Some(answer) => answer_of(data, ready, key) == Some(answer.as_str()),
        None => false,
    };
    let near = |ready: &&Ready| (agrees(ready, "kind"), agrees(ready, "cpu"));
    let mut nearest = data.ready.first();
    for ready in &data.ready {
        if nearest.is_none_or(|best| near(&ready) > near(&best)) {
            nearest = Some(ready);
        }
    }
    data.questions
        .iter()
        .filter_map(|question| {
            let given = answers.get(&question.id).map(String::as_str);
            let usual = || nearest.and_then(|ready| answer_of(data, ready, &question.id));
            Some((question.id.clone(), given.or_else(usual)?.to_owned()))
        })
        .collect()
}

fn answer_of<'d>(data: &'d Data, ready: &'d Ready, key: &str) -> Option<&'d str> {
    let first = || {
        let question = data.questions.iter().find(|question| question.id == key)?;
        question.choices.first().map(|choice| choice.id.as_str())
    };
    ready.answers.get(key).map(String::as_str).or_else(first)
}

/// Writes one profile.
struct Writer<'d> {
    data: &'d Data,
    answers: BTreeMap<String, String>,
    rates: Vec<BlockRate>,
    /// What the rates are multiplied with, so that a faulty machine shows them.
    scale: f64,
}

impl<'d> Writer<'d> {
    fn new(data: &'d Data, answers: BTreeMap<String, String>) -> Self {
        let kind = answers.get("kind").map_or("", String::as_str);
        let mut writer = Self {
            data,
            rates: data.rates(kind),
            scale: 1.0,
            answers,
        };
        let blocks: BTreeSet<&str> = writer.blocks().map(|block| block.id.as_str()).collect();
        let mut shares: Vec<f64> = writer
            .rates
            .iter()
            .filter(|rate| blocks.contains(rate.block.as_str()))
            .map(|rate| rate.share)
            .collect();
        shares.push(UNMODELLED);
        writer.scale = chance_of_any(&shares);
        writer
    }

    fn blocks(&self) -> impl Iterator<Item = &'d Template> {
        let taken = |block: &&Template| {
            block.when.iter().all(|(question, among)| {
                let answer = self.answers.get(question);
                answer.is_some_and(|answer| among.contains(answer))
            })
        };
        self.data.blocks.iter().filter(taken)
    }

    fn is(&self, question: &str, answer: &str) -> bool {
        self.answers
            .get(question)
            .is_some_and(|known| known == answer)
    }

    fn text(&self, id: &str, title: &str) -> String {
        let mut text = self.head(id, title);
        for block in self.blocks() {
            text.push('\n');
            if let Some(rate) = self.rate(&block.id) {
                text.push_str(&self.remark(rate));
            }
            text.push_str(&self.filled(block));
        }
        text
    }

    fn head(&self, id: &str, title: &str) -> String {
        let answers: Vec<String> = self
            .data
            .questions
            .iter()
            .filter_map(|question| {
                let answer = self.answers.get(&question.id)?;
                let choice = question
                    .choices
                    .iter()
                    .find(|choice| choice.id == *answer)?;
                Some(format!(
                    "#   {}: {} ({})",
                    question.id, choice.id, choice.title
                ))
            })
            .collect();
        let mut text = format!(
            "# {title}: a board of which only this is known.\n{}\n#\n\
             # Each block is one part until you know its chips: `boardwright board split {id} video \"U21 6845; U22-U25 74ls166\"`.\n\
             # Functions, checks and events come from the roles of the parts; write one out to replace it.\n\
             # Chances: (repairs of this kind with a cause in the block + {weight} x share in all kinds) / (repairs of this kind + {weight}),\n\
             # times {scale}, the chance that a machine of such a pile is not whole, as this makes a faulty machine show these shares.\n\n\
             [board]\nid = {}\ntitle = {}\nunmodelled = {UNMODELLED}\n",
            answers.join("\n"),
            quoted(id),
            quoted(title),
            weight = self.data.weight,
            scale = short(self.scale),
        );
        text.push_str(&rail("+5V", 5.0, "[\"SUPPLY\"]"));
        if self.is("ram", "dram-three") {
            text.push_str(&rail("+12V", 12.0, "[\"SUPPLY\", \"RAILS\"]"));
            text.push_str(&rail("-5V", -5.0, "[\"SUPPLY\", \"RAILS\"]"));
        }
        for block in ids(self.blocks()) {
            let known = Library::built_in().roles().blocks.iter();
            let title = known
                .clone()
                .find(|known| known.id.value == block)
                .and_then(|known| known.title.clone());
            if let Some(title) = title {
                let _ = write!(
                    text,
                    "\n[[block]]\nid = \"{block}\"\ntitle = {}\n",
                    quoted(&title)
                );
            }
        }
        if !self.is("video", "none") {
            text.push_str("\n[[outside]]\nid = \"screen\"\ntitle = \"the screen and its lead\"\nserves = [\"signal\"]\nchance = 0.02\n");
        }
        text
    }

    /// The rate of a block; the converter of the lesser rails is half of the supply's.
    fn rate(&self, block: &str) -> Option<&BlockRate> {
        let name = if block == "rails" { "supply" } else { block };
        self.rates.iter().find(|rate| rate.block == name)
    }

    fn remark(&self, rate: &BlockRate) -> String {
        let (k, n) = rate.of_kind;
        let (all, cases) = rate.of_all;
        format!(
            "# {}: {k} of {n} repairs of this kind, {all} of {cases} of all: {} x {} = {}\n",
            rate.block,
            short(rate.share),
            short(self.scale),
            short(rate.share * self.scale)
        )
    }

    /// The text of a block with chances, mounts and places filled in.
    fn filled(&self, block: &Template) -> String {
        let halved =
            self.is("ram", "dram-three") && matches!(block.id.as_str(), "supply" | "rails");
        let chance = self.rate(&block.id).map_or(0.0, |rate| rate.share) * self.scale;
        let chance = if halved { chance / 2.0 } else { chance };
        let mut text = String::new();
        let mut rest = block.text.trim_start_matches('\n');
        while let Some((before, after)) = rest.split_once('{') {
            text.push_str(before);
            let inside = after
                .split_once('}')
                .filter(|(word, _)| !word.contains(['=', '{', '\n']));
            match inside.and_then(|(word, after)| Some((self.word(word, chance)?, after))) {
                Some((filled, after)) => {
                    text.push_str(&filled);
                    rest = after;
                }
                None => {
                    text.push('{');
                    rest = after;
                }
            }
        }
        text.push_str(rest);
        text
    }

    fn word(&self, word: &str, chance: f64) -> Option<String> {
        let large = !self.is("sockets", "none");
        let small = self.is("sockets", "most");
        let mount = |socketed| if socketed { "socket" } else { "soldered" };
        Some(match word {
            "mount" => mount(large).to_owned(),
            "small" => mount(small).to_owned(),
            "cpu" if self.is("cpu", "z80") => "z80a".to_owned(),
            "cpu" => self.answers.get("cpu")?.clone(),
            "place" => place(large, 0.25 * chance),
            _ => match word.strip_prefix("smallplace ") {
                Some(share) => place(small, share.parse::<f64>().ok()? * chance),
                None => short(word.parse::<f64>().ok()? * chance),
            },
        })
    }
}

fn ids<'d>(blocks: impl Iterator<Item = &'d Template>) -> Vec<&'d str> {
    let mut seen = BTreeSet::new();
    blocks
        .map(|block| block.id.as_str())
        .filter(|id| seen.insert(*id))
        .collect()
}

fn rail(name: &str, volts: f64, fed_by: &str) -> String {
    format!(
        "\n[[rail]]\nname = \"{name}\"\nvolts = {volts:.1}\ntolerance = 0.05\nfed_by = {fed_by}\n"
    )
}

/// What goes bad where a chip sits.
fn place(socketed: bool, chance: f64) -> String {
    let chance = short(chance);
    if socketed {
        format!(
            "{{ id = \"contact\", title = \"bad contact in a socket\", chance = {chance}, where = \"place\", cured_by = {{ reseat = 0.7, clean = 0.6 }} }}"
        )
    } else {
        format!(
            "{{ id = \"joint\", title = \"bad joint or torn hole\", chance = {chance}, where = \"place\", cured_by = {{ resolder = 0.9 }} }}"
        )
    }
}

/// The chance s that anything is wrong for which the chances s × share make a faulty machine show the shares.
fn chance_of_any(shares: &[f64]) -> f64 {
    let mut scale = 1.0;
    for _ in 0..200 {
        let none: f64 = shares.iter().map(|share| 1.0 - scale * share).product();
        scale = 1.0 - none;
    }
    scale
}

/// A chance with three digits.
fn short(chance: f64) -> String {
    let places = if chance < 0.0995 { 4 } else { 3 };
    let text = format!("{chance:.places$}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    text.to_owned()
}

fn quoted(text: &str) -> String {
    format!(
        "\"{}\"",
        text.replace('\\', "\\\\")
            .replace('"', "\\\"")
            .replace(['\n', '\r'], " ")
    )
}
