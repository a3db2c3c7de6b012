//! A profile file as it was read: every value checked by itself, names not yet looked up.

use toml::de::DeValue;

use crate::fields::{At, Fields, Item};
use crate::limits::read_limits;
use crate::problem::{Problems, shown};
use crate::profile::{Check, CuredBy, Mode, Mount, Outcome, RailFault, Scope, Site, Tells};
use crate::range::expand_range;
use crate::source::Span;

/// Everything of one file.
#[derive(Debug, Default)]
pub(crate) struct Raw {
    pub(crate) board: RawBoard,
    pub(crate) rails: Vec<RawRail>,
    pub(crate) blocks: Vec<RawBlock>,
    pub(crate) outside: Vec<RawOutside>,
    pub(crate) parts: Vec<RawPart>,
    pub(crate) events: Vec<RawEvent>,
    pub(crate) functions: Vec<RawFunction>,
    pub(crate) checks: Vec<RawCheck>,
}

/// `[board]`.
#[derive(Debug, Default)]
pub(crate) struct RawBoard {
    pub(crate) id: String,
    pub(crate) title: Option<String>,
    pub(crate) unmodelled: Option<f64>,
    pub(crate) derive: bool,
}

/// `[[rail]]`.
#[derive(Debug)]
pub(crate) struct RawRail {
    pub(crate) name: At<String>,
    pub(crate) volts: f64,
    pub(crate) tolerance: f64,
    pub(crate) fed_by: Vec<At<String>>,
    pub(crate) leak: f64,
}

/// `[[block]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawBlock {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
}

/// `[[outside]]`.
#[derive(Debug)]
pub(crate) struct RawOutside {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) serves: Vec<At<String>>,
    pub(crate) chance: f64,
}

/// `[[part]]`, one for each position of a range.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawPart {
    pub(crate) reference: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) block: Option<At<String>>,
    pub(crate) device: Option<At<String>>,
    pub(crate) mount: Option<Mount>,
    pub(crate) optional: bool,
    pub(crate) modes: Vec<RawMode>,
    pub(crate) area: Option<[f64; 4]>,
    pub(crate) span: Span,
}

/// `[[part.mode]]`; `spoils` and `spares` of the inner mode are still empty.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawMode {
    pub(crate) mode: Mode,
    pub(crate) spoils: Vec<(At<String>, f64)>,
    pub(crate) spares: Vec<At<String>>,
    pub(crate) span: Span,
}

/// `[[event]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawEvent {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) chance: f64,
    pub(crate) scope: Scope,
    pub(crate) causes: Vec<(At<String>, f64)>,
}

/// `[[function]]`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawFunction {
    pub(crate) id: At<String>,
    pub(crate) title: Option<String>,
    pub(crate) needs: Vec<RawNeed>,
    pub(crate) leak: f64,
}

/// One entry of `needs`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum RawNeed {
    /// A bare name.
    Name(At<String>),
    /// `{ mode = "U1.weak", chance = 0.6 }`.
    Mode(At<String>, f64),
    /// `{ function = "reset", chance = 1.0 }`, also with `rail`.
    Target(At<String>, f64),
}

/// `[[check]]`; names in the inner check are still empty.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawCheck {
    pub(crate) id: At<String>,
    pub(crate) check: Check,
    pub(crate) minutes: Option<f64>,
    pub(crate) false_pass: Option<f64>,
    pub(crate) false_fail: Option<f64>,
    pub(crate) blunder: Option<f64>,
    pub(crate) requires: Vec<At<String>>,
    pub(crate) harms: Vec<RawHarm>,
    pub(crate) at: Vec<At<String>>,
    pub(crate) outcomes: Option<Vec<At<Outcome>>>,
    pub(crate) tells: Option<RawTells>,
    pub(crate) limits_span: Option<Span>,
    pub(crate) errors_span: Option<Span>,
}

/// `harms`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawHarm {
    pub(crate) when: At<String>,
    pub(crate) mode: At<String>,
    pub(crate) chance: f64,
}

/// `tells`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum RawTells {
    /// One function or rail.
    Target(At<String>),
    /// A table of rows.
    Rows(Vec<RawRow>, Span),
}

/// One row of `tells`.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RawRow {
    pub(crate) fails: Vec<At<String>>,
    pub(crate) otherwise: bool,
    pub(crate) shows: Vec<(At<String>, f64)>,
    pub(crate) span: Span,
}

impl RawCheck {
    /// A check of which nothing is said yet.
    pub(crate) fn empty(id: At<String>) -> Self {
        let check = Check {
            id: id.value.clone(),
            aliases: Vec::new(),
            title: String::new(),
            how: String::new(),
            caution: None,
            minutes: 0.0,
            set_up: Vec::new(),
            requires: Vec::new(),
            harms: Vec::new(),
            at: Vec::new(),
            outcomes: Vec::new(),
            tells: Tells::Rows(Vec::new()),
            blunder: 0.0,
            limits: None,
            repeats_same: false,
        };
        Self {
            id,
            check,
            minutes: None,
            false_pass: None,
            false_fail: None,
            blunder: None,
            requires: Vec::new(),
            harms: Vec::new(),
            at: Vec::new(),
            outcomes: None,
            tells: None,
            limits_span: None,
            errors_span: None,
        }
    }
}

impl RawNeed {
    /// What it names.
    pub(crate) fn name(&self) -> &str {
        match self {
            Self::Name(name) | Self::Mode(name, _) | Self::Target(name, _) => &name.value,
        }
    }
}

/// Reads a whole file.
pub(crate) fn read(file: &mut Fields<'_>, problems: &mut Problems<'_>) -> Raw {
    let mut raw = Raw::default();
    match file
        .take("board")
        .map(|item| item.fields("a board", problems))
    {
        Some(Some(fields)) => raw.board = read_board(fields, problems),
        Some(None) => {}
        None if problems.broken => {}
        None => problems.add(
            &(0..0),
            "a table `[board]` with the board's `id`",
            "a file without it",
        ),
    }
    raw.rails = each(file, "rail", "a rail", problems, read_rail);
    raw.blocks = each(file, "block", "a block", problems, read_block);
    raw.outside = each(file, "outside", "a thing outside", problems, read_outside);
    raw.parts = each(file, "part", "a part", problems, read_parts)
        .into_iter()
        .flatten()
        .collect();
    raw.events = each(file, "event", "an event", problems, read_event);
    raw.functions = each(file, "function", "a function", problems, read_function);
    raw.checks = each(file, "check", "a check", problems, read_check);
    raw
}

/// Reads each table under a key.
pub(crate) fn each<T>(
    file: &mut Fields<'_>,
    key: &'static str,
    what: &'static str,
    problems: &mut Problems<'_>,
    read: impl Fn(&mut Fields<'_>, &mut Problems<'_>) -> Option<T>,
) -> Vec<T> {
    let mut all = Vec::new();
    for mut fields in file.tables(key, what, problems) {
        all.extend(read(&mut fields, problems));
        fields.finish(problems);
    }
    all
}

fn read_board(mut fields: Fields<'_>, problems: &mut Problems<'_>) -> RawBoard {
    let board = RawBoard {
        id: fields
            .id("id", problems)
            .map(|id| id.value)
            .unwrap_or_default(),
        title: title(&mut fields, problems),
        unmodelled: fields.chance("unmodelled", problems),
        derive: fields.flag("derive", problems).unwrap_or(true),
    };
    fields.finish(problems);
    board
}

fn title(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<String> {
    fields.text("title", problems).map(|title| title.value)
}

fn read_rail(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawRail> {
    let name = fields
        .need("name", problems)
        .and_then(|item| item.text("a text such as `+5V`", problems));
    let volts = fields.need("volts", problems).and_then(|item| {
        item.number(
            "volts, a number other than 0",
            |volts| volts != 0.0,
            problems,
        )
    });
    let tolerance = fields.take("tolerance").and_then(|item| {
        item.number(
            "a tolerance above 0 and below 1",
            |tolerance| tolerance > 0.0 && tolerance < 1.0,
            problems,
        )
    });
    let fed_by = fields.texts("fed_by", problems);
    let leak = fields.chance("leak", problems).unwrap_or(0.0);
    let name = name.filter(|name| {
        let side = name.value.ends_with(".present") || name.value.ends_with(".high");
        let good = !side && !name.value.is_empty() && !name.value.contains(char::is_whitespace);
        if !good {
            problems.add(
                &name.span,
                "a rail's name in one word such as `+5V`",
                shown(&name.value),
            );
        }
        good
    })?;
    Some(RawRail {
        name,
        volts: volts.unwrap_or(0.0),
        tolerance: tolerance.unwrap_or(0.05),
        fed_by,
        leak,
    })
}

/// Reads `[[block]]`.
pub(crate) fn read_block(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawBlock> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    Some(RawBlock { id: id?, title })
}

fn read_outside(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawOutside> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    let serves = fields.texts("serves", problems);
    let chance = needed_chance(fields, problems);
    Some(RawOutside {
        id: id?,
        title,
        serves,
        chance,
    })
}

fn needed_chance(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> f64 {
    fields
        .need("chance", problems)
        .and_then(|item| item.chance(problems))
        .unwrap_or(0.0)
}

const MOUNTS: [(&str, Mount); 3] = [
    ("socket", Mount::Socket),
    ("soldered", Mount::Soldered),
    ("plug", Mount::Plug),
];

/// The mount of a part or of a device, if the field is there.
pub(crate) fn read_mount(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Mount> {
    fields.word("mount", &MOUNTS, problems)
}

/// The word for a mount.
pub(crate) fn mount_word(mount: Mount) -> &'static str {
    MOUNTS
        .iter()
        .find(|&&(_, known)| known == mount)
        .map_or("", |&(word, _)| word)
}

fn read_parts(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Vec<RawPart>> {
    let reference = fields.id("ref", problems);
    let mut part = RawPart {
        reference: At::new(String::new(), fields.span.clone()),
        title: title(fields, problems),
        block: fields.text("block", problems),
        device: fields.text("device", problems),
        mount: read_mount(fields, problems),
        optional: fields.flag("optional", problems).unwrap_or(false),
        modes: read_modes(fields, problems),
        area: fields
            .take("area")
            .and_then(|item| numbers(item, "an area as `[x, y, width, height]` in mm", problems)),
        span: fields.span.clone(),
    };
    let step: Option<[f64; 2]> = fields
        .take("step")
        .and_then(|item| numbers(item, "a step as `[x, y]` in mm", problems));
    let reference = reference?;
    let Some(members) = expand_range(&reference.value) else {
        part.reference = reference;
        return Some(vec![part]);
    };
    let mut parts = Vec::new();
    for member in members {
        part.reference = At::new(member, reference.span.clone());
        parts.push(part.clone());
        match (&mut part.area, step) {
            (Some(area), Some(step)) => {
                area[0] += step[0];
                area[1] += step[1];
            }
            _ => part.area = None,
        }
    }
    Some(parts)
}

fn numbers<const N: usize>(
    item: Item<'_>,
    expected: &str,
    problems: &mut Problems<'_>,
) -> Option<[f64; N]> {
    let whole = item.clone();
    let list: Vec<f64> = item
        .many()
        .iter()
        .filter_map(Item::as_number)
        .filter(|number| number.is_finite())
        .collect();
    let numbers = list.try_into().ok();
    if numbers.is_none() {
        whole.wrong(expected, problems);
    }
    numbers
}

/// The `mode` tables of a part or a device.
pub(crate) fn read_modes(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Vec<RawMode> {
    each(fields, "mode", "a mode", problems, read_mode)
}

fn read_mode(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawMode> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    let chance = needed_chance(fields, problems);
    let site = fields
        .word(
            "where",
            &[("chip", Site::Chip), ("place", Site::Place)],
            problems,
        )
        .unwrap_or(Site::Chip);
    let spoils = each(
        fields,
        "spoils",
        "an entry of `spoils`",
        problems,
        read_spoil,
    );
    let spares = fields.texts("spares", problems);
    let shows = fields.chance("shows", problems).unwrap_or(1.0);
    let after_minutes = fields.minutes("after", problems).unwrap_or(0.0);
    let cured_by = fields
        .take("cured_by")
        .and_then(|item| read_cured_by(item, site, problems))
        .unwrap_or_default();
    let rail = fields
        .word(
            "rail",
            &[("low", RailFault::Low), ("high", RailFault::High)],
            problems,
        )
        .unwrap_or(RailFault::Low);
    let id = id?;
    let title = title.unwrap_or_else(|| id.value.clone());
    let mode = Mode {
        id: id.value,
        title,
        chance,
        site,
        spoils: Vec::new(),
        spares: Vec::new(),
        shows,
        after_minutes,
        cured_by,
        rail,
    };
    Some(RawMode {
        mode,
        spoils,
        spares,
        span: id.span,
    })
}

fn read_spoil(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<(At<String>, f64)> {
    let function = fields.text("function", problems);
    let rail = fields.text("rail", problems);
    let chance = fields.chance("chance", problems).unwrap_or(1.0);
    let Some(target) = function.or(rail) else {
        fields.missing("function", problems);
        return None;
    };
    Some((target, chance))
}

fn read_cured_by(item: Item<'_>, site: Site, problems: &mut Problems<'_>) -> Option<CuredBy> {
    let span = item.span.clone();
    let mut fields = item.fields("an entry of `cured_by`", problems)?;
    let cured_by = CuredBy {
        reseat: fields.chance("reseat", problems).unwrap_or(0.0),
        resolder: fields.chance("resolder", problems).unwrap_or(0.0),
        clean: fields.chance("clean", problems).unwrap_or(0.0),
    };
    fields.finish(problems);
    if site == Site::Chip {
        let hint = Some("write `where = \"place\"` beside it, or leave `cured_by` out".to_owned());
        problems.add_with(
            &span,
            "`cured_by` on a place mode",
            "it on a chip mode",
            hint,
        );
    }
    Some(cured_by)
}

/// Reads `[[event]]`.
pub(crate) fn read_event(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawEvent> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    let chance = needed_chance(fields, problems);
    let words = [("machine", Scope::Machine), ("lot", Scope::Lot)];
    let scope = fields
        .word("scope", &words, problems)
        .unwrap_or(Scope::Machine);
    let causes = each(
        fields,
        "causes",
        "an entry of `causes`",
        problems,
        |cause, problems| {
            let mode = cause
                .need("mode", problems)
                .and_then(|item| item.text("a mode as `U1.dead`", problems));
            let chance = needed_chance(cause, problems);
            Some((mode?, chance))
        },
    );
    Some(RawEvent {
        id: id?,
        title,
        chance,
        scope,
        causes,
    })
}

/// Reads `[[function]]`.
pub(crate) fn read_function(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<RawFunction> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    let leak = fields.chance("leak", problems).unwrap_or(0.0);
    let items = fields.take("needs").map(Item::many).unwrap_or_default();
    let needs = items
        .into_iter()
        .filter_map(|item| read_need(item, problems))
        .collect();
    Some(RawFunction {
        id: id?,
        title,
        needs,
        leak,
    })
}

fn read_need(item: Item<'_>, problems: &mut Problems<'_>) -> Option<RawNeed> {
    if let DeValue::String(_) = item.value {
        return item.text("", problems).map(RawNeed::Name);
    }
    let mut fields = item.fields("an entry of `needs`", problems)?;
    let mode = fields.text("mode", problems);
    let target = fields
        .text("function", problems)
        .or_else(|| fields.text("rail", problems));
    let chance = fields.chance("chance", problems).unwrap_or(1.0);
    let need = match (mode, target) {
        (Some(mode), None) => Some(RawNeed::Mode(mode, chance)),
        (None, Some(target)) => Some(RawNeed::Target(target, chance)),
        _ => {
            problems.add(
                &fields.span,
                "one of the keys `mode`, `function`, `rail`",
                "none or several of them",
            );
            None
        }
    };
    fields.finish(problems);
    need
}

/// Reads `[[check]]`.
pub(crate) fn read_check(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawCheck> {
    let id = fields.id("id", problems);
    let mut raw = RawCheck::empty(At::new(String::new(), fields.span.clone()));
    raw.errors_span = fields
        .span_of("false_pass")
        .or_else(|| fields.span_of("false_fail"));
    raw.limits_span = fields.span_of("limits");
    raw.minutes = fields.minutes("minutes", problems);
    raw.false_pass = fields.chance("false_pass", problems);
    raw.false_fail = fields.chance("false_fail", problems);
    raw.blunder = fields.chance("blunder", problems);
    raw.requires = fields.texts("requires", problems);
    raw.harms = each(fields, "harms", "an entry of `harms`", problems, read_harm);
    raw.at = fields.texts("at", problems);
    raw.outcomes = fields
        .take("outcomes")
        .and_then(|item| read_outcomes(item, problems));
    raw.tells = fields
        .take("tells")
        .and_then(|item| read_tells(item, problems));
    read_check_head(&mut raw.check, fields, problems);
    raw.id = id?;
    raw.check.id.clone_from(&raw.id.value);
    Some(raw)
}

fn read_check_head(check: &mut Check, fields: &mut Fields<'_>, problems: &mut Problems<'_>) {
    let plain = |text: At<String>| text.value;
    check.aliases = fields
        .texts("aliases", problems)
        .into_iter()
        .map(plain)
        .collect();
    check.set_up = fields
        .texts("set_up", problems)
        .into_iter()
        .map(plain)
        .collect();
    check.title = title(fields, problems).unwrap_or_default();
    check.how = fields.text("how", problems).map(plain).unwrap_or_default();
    check.caution = fields.text("caution", problems).map(plain);
    check.limits = fields
        .take("limits")
        .and_then(|item| read_limits(item, problems));
    check.repeats_same = fields
        .word("repeats", &[("same", true), ("anew", false)], problems)
        .unwrap_or(false);
}

fn read_harm(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawHarm> {
    let when = fields
        .need("when", problems)
        .and_then(|item| item.text("a function or rail", problems));
    let mode = fields
        .need("mode", problems)
        .and_then(|item| item.text("a mode as `U1.dead`", problems));
    let chance = needed_chance(fields, problems);
    Some(RawHarm {
        when: when?,
        mode: mode?,
        chance,
    })
}

fn read_outcomes(item: Item<'_>, problems: &mut Problems<'_>) -> Option<Vec<At<Outcome>>> {
    let span = item.span.clone();
    let mut outcomes = Vec::new();
    for (key, title) in item.fields("outcomes", problems)?.rest() {
        if key.value.is_empty()
            || key.value.contains(char::is_whitespace)
            || key.value.contains(';')
        {
            problems.add(&key.span, "an outcome of one word", shown(key.value));
        }
        let title = title
            .text("the outcome's title as a text", problems)
            .map(|title| title.value)
            .unwrap_or_default();
        outcomes.push(At::new(
            Outcome {
                id: key.value.to_owned(),
                title,
            },
            key.span,
        ));
    }
    if outcomes.len() < 2 {
        problems.add(&span, "at least 2 outcomes", outcomes.len().to_string());
    }
    Some(outcomes)
}

fn read_tells(item: Item<'_>, problems: &mut Problems<'_>) -> Option<RawTells> {
    if let DeValue::String(_) = item.value {
        return item.text("", problems).map(RawTells::Target);
    }
    let span = item.span.clone();
    let mut rows = Vec::new();
    for row in item.many() {
        if let Some(mut fields) = row.fields("a row of `tells`", problems) {
            rows.extend(read_row(&mut fields, problems));
            fields.finish(problems);
        }
    }
    Some(RawTells::Rows(rows, span))
}

fn read_row(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawRow> {
    let span = fields.span.clone();
    let fails = fields.texts("fails", problems);
    let otherwise = fields.flag("otherwise", problems).unwrap_or(false);
    let shows = fields.need("shows", problems)?;
    let mut chances = Vec::new();
    for (key, item) in shows.fields("`shows`", problems)?.rest() {
        let chance = item.chance(problems)?;
        chances.push((At::new(key.value.to_owned(), key.span), chance));
    }
    if otherwise == fails.is_empty() {
        return Some(RawRow {
            fails,
            otherwise,
            shows: chances,
            span,
        });
    }
    problems.add(
        &span,
        "a row with either `fails` or `otherwise = true`",
        "none or both of them",
    );
    None
}
