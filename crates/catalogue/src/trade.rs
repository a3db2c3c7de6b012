//! More rules of the trade: what timing symbols mean, how exact instruments are, what handling does to parts.

use units::Unit;

use crate::fields::Fields;
use crate::problem::{Problem, Problems, shown};
use crate::profile::Mount;
use crate::read::{each, title};
use crate::read_part::read_mount;
use crate::rules::read_file;

/// What a symbol in a device's timing means.
#[derive(Debug, Clone, PartialEq)]
pub struct TimingSymbol {
    /// The symbol of data sheets: `tRAC`.
    pub symbol: String,
    /// In words.
    pub title: String,
    /// What kind of time it is.
    pub kind: TimingKind,
}

/// Kinds of times.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TimingKind {
    /// From asking to valid data; the part takes at most this.
    Access,
    /// From input to output; the part takes at most this.
    Propagation,
    /// Until an output has let go; the part takes at most this.
    Release,
    /// Before an edge; the part needs at least this.
    SetUp,
    /// After an edge; the part needs at least this.
    Hold,
    /// Of a pulse; the part needs at least this.
    Width,
    /// From start to start; the part needs at least this.
    Cycle,
    /// From start to start; the part stands at most this.
    LongestCycle,
}

impl TimingKind {
    /// Whether a smaller figure is the faster part, as with all but the longest cycle.
    #[must_use]
    pub fn smaller_is_faster(self) -> bool {
        self != Self::LongestCycle
    }
}

/// How exact an instrument usually is.
#[derive(Debug, Clone, PartialEq)]
pub struct AccuracyRule {
    /// The instrument: `multimeter`.
    pub instrument: String,
    /// What it measures; none is everything else.
    pub unit: Option<Unit>,
    /// Per cent of the reading.
    pub percent: f64,
    /// Counts of the last digit.
    pub counts: f64,
}

/// What taking out, storing and using again does to parts that sit in one way.
#[derive(Debug, Clone, PartialEq)]
pub struct HandlingRule {
    /// How the part sits.
    pub mount: Mount,
    /// Minutes to take a part of 16 legs out.
    pub minutes: f64,
    /// Chance that a good part comes out good.
    pub survives: f64,
    /// Chance that a pad, track or contact of the board is hurt.
    pub harms_board: f64,
    /// Chance a year that a good loose part goes bad in the drawer.
    pub ages_per_year: f64,
}

/// Reads `rules/timing.toml`.
pub(crate) fn read_symbols(text: &str, file: &str) -> Result<Vec<TimingSymbol>, Vec<Problem>> {
    let kinds = [
        ("access", TimingKind::Access),
        ("propagation", TimingKind::Propagation),
        ("release", TimingKind::Release),
        ("set-up", TimingKind::SetUp),
        ("hold", TimingKind::Hold),
        ("width", TimingKind::Width),
        ("cycle", TimingKind::Cycle),
        ("longest-cycle", TimingKind::LongestCycle),
    ];
    read_file(
        text,
        file,
        "a table of timing symbols",
        |fields, problems| {
            each(
                fields,
                "timing",
                "a timing symbol",
                problems,
                |row, problems| {
                    let symbol = row.id("symbol", problems);
                    let title = title(row, problems);
                    if !row.has("kind") {
                        row.missing("kind", problems);
                    }
                    let kind = row.word("kind", &kinds, problems);
                    Some(TimingSymbol {
                        symbol: symbol?.value,
                        title: title?,
                        kind: kind?,
                    })
                },
            )
        },
    )
}

/// Reads `rules/accuracies.toml`.
pub(crate) fn read_accuracies(text: &str, file: &str) -> Result<Vec<AccuracyRule>, Vec<Problem>> {
    read_file(text, file, "a table of accuracies", |fields, problems| {
        each(fields, "accuracy", "an accuracy", problems, read_accuracy)
    })
}

fn read_accuracy(row: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<AccuracyRule> {
    let instrument = row.id("instrument", problems);
    let quantity = row.text("measures", problems);
    let unit = quantity.as_ref().and_then(|quantity| {
        let unit = Unit::from_quantity_name(&quantity.value);
        if unit.is_none() {
            problems.add(
                &quantity.span,
                "a quantity such as `voltage`",
                shown(&quantity.value),
            );
        }
        unit
    });
    let mut part = |key, problems: &mut Problems<'_>| {
        row.need(key, problems)
            .and_then(|item| item.number("a number of at least 0", |part| part >= 0.0, problems))
    };
    let percent = part("percent", problems);
    let counts = part("counts", problems);
    Some(AccuracyRule {
        instrument: instrument?.value,
        unit,
        percent: percent?,
        counts: counts?,
    })
}

/// Reads `rules/handling.toml`.
pub(crate) fn read_handling(text: &str, file: &str) -> Result<Vec<HandlingRule>, Vec<Problem>> {
    read_file(text, file, "a table of handling", |fields, problems| {
        each(fields, "handling", "handling", problems, read_handling_rule)
    })
}

fn read_handling_rule(row: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<HandlingRule> {
    let mount = read_mount(row, problems);
    let minutes = row.minutes("minutes", problems);
    let mut chance = |key, problems: &mut Problems<'_>| {
        row.need(key, problems)
            .and_then(|item| item.chance(problems))
    };
    let survives = chance("survives", problems);
    let harms_board = chance("harms_board", problems);
    let ages_per_year = chance("ages_per_year", problems);
    Some(HandlingRule {
        mount: mount?,
        minutes: minutes?,
        survives: survives?,
        harms_board: harms_board?,
        ages_per_year: ages_per_year?,
    })
}
