//! Reads checks and what they tell.

use toml::de::DeValue;

use crate::fields::{At, Fields, Item};
use crate::limits::read_limits;
use crate::problem::{Problems, shown};
use crate::profile::{Check, Outcome};
use crate::raw::{RawCheck, RawHarm, RawRow, RawTells};
use crate::read::{each, needed_chance, title};

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
