//! Logic families: what their inputs take for low and high, and what their outputs give.

use crate::device::Maxima;
use crate::fields::{At, Fields};
use crate::problem::{Problem, Problems};
use crate::read::each;
use crate::read_device::{read_maxima, read_span};
use crate::rules::read_file;

/// A logic family, or the levels of a special input.
#[derive(Debug, Clone, PartialEq)]
pub struct Family {
    /// Identifier: `ls`.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// Where the values come from.
    pub source: String,
    /// Lowest and highest supply at which it works.
    pub volts: Option<(f64, f64)>,
    /// What destroys it.
    pub maxima: Maxima,
    /// The highest voltage that its inputs stand while powered.
    pub stands: Option<Stands>,
    /// What its pins do while it has no supply and others have.
    pub unpowered: Option<Unpowered>,
    /// Input levels, by rising supply.
    pub inputs: Vec<InputLevels>,
    /// Current into an input held low and one held high, in µA; out of it is negative.
    pub input_microamps: Option<(f64, f64)>,
    /// Output levels by supply and load.
    pub outputs: Vec<OutputLevel>,
}

/// What an input takes for low and high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputLevels {
    /// Supply in V.
    pub supply: f64,
    /// The highest voltage that is surely low.
    pub low: f64,
    /// The lowest voltage that is surely high.
    pub high: f64,
}

/// What an output gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutputLevel {
    /// Supply in V.
    pub supply: f64,
    /// Load in mA; into the output is positive.
    pub milliamps: f64,
    /// At most this if `is_low`, else at least this.
    pub volts: f64,
    /// The output is low.
    pub is_low: bool,
}

/// The highest voltage that an input stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stands {
    /// Whatever the supply.
    Volts(f64),
    /// So much above the supply.
    AboveSupply(f64),
}

/// What the pins of a part do while it has no supply and others have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unpowered {
    /// They let go of the line.
    LetGo,
    /// Inputs let go, outputs may load the line.
    LoadAtOutputs,
    /// They feed the part from the line, and pull it down.
    Feed,
}

impl Family {
    /// Input levels at a supply, between two given ones in proportion; none outside what is given.
    #[must_use]
    pub fn input_at(&self, supply: f64) -> Option<InputLevels> {
        if let [only] = self.inputs.as_slice() {
            let (low, high) = self.volts.unwrap_or((only.supply, only.supply));
            return (low..=high)
                .contains(&supply)
                .then_some(InputLevels { supply, ..*only });
        }
        let pair = self
            .inputs
            .windows(2)
            .find(|pair| (pair[0].supply..=pair[1].supply).contains(&supply))?;
        let share = (supply - pair[0].supply) / (pair[1].supply - pair[0].supply);
        let between = |from: f64, to: f64| from + share * (to - from);
        Some(InputLevels {
            supply,
            low: between(pair[0].low, pair[1].low),
            high: between(pair[0].high, pair[1].high),
        })
    }
}

/// Reads a file of families.
pub(crate) fn read_families(text: &str, file: &str) -> Result<Vec<Family>, Vec<Problem>> {
    read_file(
        text,
        file,
        "a file of logic families",
        |fields, problems| each(fields, "family", "a logic family", problems, read_family),
    )
}

fn read_family(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Family> {
    let id = fields.id("id", problems);
    let mut text = |key, problems: &mut Problems<'_>| -> Option<At<String>> {
        fields
            .need(key, problems)
            .and_then(|item| item.text("a text", problems))
    };
    let title = text("title", problems);
    let source = text("source", problems);
    let volts = read_span(fields, "volts", problems);
    let maxima = fields.take("maxima");
    let maxima = maxima
        .and_then(|item| read_maxima(item, problems))
        .unwrap_or_default();
    let stands = read_stands(fields, problems);
    let words = [
        ("lets-go", Unpowered::LetGo),
        ("loads-at-outputs", Unpowered::LoadAtOutputs),
        ("feeds", Unpowered::Feed),
    ];
    let unpowered = fields.word("unpowered", &words, problems);
    let inputs = each(fields, "input", "input levels", problems, read_input);
    if inputs
        .windows(2)
        .any(|pair| pair[0].supply >= pair[1].supply)
    {
        problems.add(&fields.span, "input levels by rising supply", "others");
    }
    let input_microamps = fields.take("input_ua").and_then(|item| {
        let mut row = item.fields("`input_ua`", problems)?;
        let low = number(&mut row, "low", problems);
        let high = number(&mut row, "high", problems);
        row.finish(problems);
        Some((low?, high?))
    });
    let mut outputs = each(fields, "low", "a low output", problems, |row, problems| {
        read_output(row, "most", true, problems)
    });
    outputs.extend(each(
        fields,
        "high",
        "a high output",
        problems,
        |row, problems| read_output(row, "least", false, problems),
    ));
    Some(Family {
        id: id?.value,
        title: title?.value,
        source: source?.value,
        volts,
        maxima,
        stands,
        unpowered,
        inputs,
        input_microamps,
        outputs,
    })
}

fn read_stands(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Stands> {
    let item = fields.take("stands")?;
    let mut row = item.fields("`stands`", problems)?;
    let stands = if row.has("above_supply") {
        number(&mut row, "above_supply", problems).map(Stands::AboveSupply)
    } else {
        number(&mut row, "volts", problems).map(Stands::Volts)
    };
    row.finish(problems);
    stands
}

fn read_input(row: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<InputLevels> {
    let supply = number(row, "at", problems);
    let low = number(row, "low", problems);
    let high = number(row, "high", problems);
    let levels = InputLevels {
        supply: supply?,
        low: low?,
        high: high?,
    };
    if levels.low >= levels.high {
        problems.add(&row.span, "`low` below `high`", "it above");
    }
    Some(levels)
}

fn read_output(
    row: &mut Fields<'_>,
    bound: &'static str,
    is_low: bool,
    problems: &mut Problems<'_>,
) -> Option<OutputLevel> {
    let supply = number(row, "at", problems);
    let milliamps = number(row, "ma", problems);
    let volts = number(row, bound, problems);
    Some(OutputLevel {
        supply: supply?,
        milliamps: milliamps?,
        volts: volts?,
        is_low,
    })
}

fn number(row: &mut Fields<'_>, key: &'static str, problems: &mut Problems<'_>) -> Option<f64> {
    row.need(key, problems)
        .and_then(|item| item.number("a number", |_| true, problems))
}
