//! Reads a profile file table by table.

use toml::de::DeValue;

use crate::fields::{Fields, Item};
use crate::one_each::{read_checks, read_functions};
use crate::problem::{Problems, shown};
use crate::profile::Scope;
use crate::raw::{Raw, RawBlock, RawBoard, RawEvent, RawFunction, RawNeed, RawOutside, RawRail};
use crate::read_part::read_parts;

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
    raw.functions = each(file, "function", "a function", problems, read_functions)
        .into_iter()
        .flatten()
        .collect();
    raw.checks = each(file, "check", "a check", problems, read_checks)
        .into_iter()
        .flatten()
        .collect();
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
        at_times: fields.flag("at_times", problems).unwrap_or(true),
        chances: fields.chance("chances", problems),
        without: fields.texts("without", problems),
    };
    fields.finish(problems);
    board
}

/// The title, if there is one.
pub(crate) fn title(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<String> {
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
    let breaks = fields.chance("breaks", problems).unwrap_or(1.0);
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
        breaks,
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

/// The chance that must be there.
pub(crate) fn needed_chance(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> f64 {
    fields
        .need("chance", problems)
        .and_then(|item| item.chance(problems))
        .unwrap_or(0.0)
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
    let leak = fields.chance("leak", problems);
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
